//! Whose turn it is: one after another in the order of the class, until everybody had as many calls as were asked for.

/// Whose turn it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rota {
    /// Calls each member still has to make; `None` for who has left.
    left: Vec<Option<u32>>,
    next: usize,
}

impl Rota {
    /// So many members with so many calls each.
    pub fn new(members: usize, calls: u32) -> Self {
        Self {
            left: vec![Some(calls); members],
            next: 0,
        }
    }

    /// The next member with calls left, by place in the class; `None` when everybody is done.
    pub fn call_next(&mut self) -> Option<usize> {
        let count = self.left.len();
        let member = (0..count)
            .map(|i| (self.next + i) % count)
            .find(|i| self.left[*i].is_some_and(|n| n > 0))?;
        self.left[member] = self.left[member].map(|n| n - 1);
        self.next = member + 1;
        Some(member)
    }

    /// This member is not there (any more).
    pub fn leave(&mut self, member: usize) {
        if let Some(left) = self.left.get_mut(member) {
            *left = None;
        }
    }

    /// Calls still to be made.
    pub fn left(&self) -> u32 {
        self.left.iter().flatten().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_after_another_and_who_leaves_is_passed_over() {
        let mut rota = Rota::new(3, 2);
        assert_eq!(rota.left(), 6);
        assert_eq!([rota.call_next(), rota.call_next()], [Some(0), Some(1)]);
        rota.leave(2);
        assert_eq!(
            [rota.call_next(), rota.call_next(), rota.call_next()],
            [Some(0), Some(1), None]
        );
        assert_eq!(Rota::new(0, 3).call_next(), None);
    }
}
