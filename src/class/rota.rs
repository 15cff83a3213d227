//! Whose turn it is: one after another in the order of the class, until everybody had as many calls as were asked for.

/// Whose turn it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rota {
    /// Calls each member still has to make.
    left: Vec<u32>,
    next: usize,
    /// How many were called in vain since the last call was made: until now, and before the one called now.
    in_vain: usize,
    in_vain_before: usize,
}

impl Rota {
    /// So many members with so many calls each.
    pub fn new(members: usize, calls: u32) -> Self {
        Self {
            left: vec![calls; members],
            next: 0,
            in_vain: 0,
            in_vain_before: 0,
        }
    }

    /// The next member with calls left, by place in the class; `None` when everybody is done, or everybody who is not was
    /// called in vain.
    pub fn call_next(&mut self) -> Option<usize> {
        let count = self.left.len();
        if self.in_vain >= self.left.iter().filter(|n| **n > 0).count() {
            return None;
        }
        let member = (0..count)
            .map(|i| (self.next + i) % count)
            .find(|i| self.left[*i] > 0)?;
        self.left[member] -= 1;
        self.next = member + 1;
        self.in_vain_before = std::mem::take(&mut self.in_vain);
        Some(member)
    }

    /// The member called last is not there: the call is still to be made, in a later round.
    pub fn pass(&mut self, member: usize) {
        if let Some(left) = self.left.get_mut(member) {
            *left += 1;
            self.in_vain = self.in_vain_before + 1;
        }
    }

    /// Calls still to be made.
    pub fn left(&self) -> u32 {
        self.left.iter().sum()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_after_another_and_who_is_away_is_called_again() {
        let mut rota = Rota::new(3, 2);
        assert_eq!(rota.left(), 6);
        assert_eq!([rota.call_next(), rota.call_next()], [Some(0), Some(1)]);
        assert_eq!(rota.call_next(), Some(2));
        rota.pass(2);
        assert_eq!([rota.call_next(), rota.call_next()], [Some(0), Some(1)]);
        assert_eq!(rota.left(), 2);
        // Late, but there.
        assert_eq!(rota.call_next(), Some(2));
        assert_eq!([rota.call_next(), rota.call_next()], [Some(2), None]);
        assert_eq!(Rota::new(0, 3).call_next(), None);
    }

    #[test]
    fn nobody_there_is_the_end() {
        let mut rota = Rota::new(2, 2);
        assert_eq!(rota.call_next(), Some(0));
        assert_eq!(rota.call_next(), Some(1));
        rota.pass(1);
        assert_eq!(rota.call_next(), Some(0));
        assert_eq!(
            rota.call_next(),
            Some(1),
            "only who was away is left, and is called once more"
        );
        rota.pass(1);
        assert_eq!(rota.call_next(), None);
        assert_eq!(rota.left(), 2);
    }
}
