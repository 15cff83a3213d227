//! Whose turn it is: one after another in the order of the class, until everybody had as many calls as were asked for.

/// Whose turn it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rota {
    /// Calls each member still has to make.
    left: Vec<u32>,
    /// How many times each was called in vain, one after another.
    in_vain: Vec<u32>,
    next: usize,
    /// Who was called last.
    last: Option<usize>,
}

/// Whoever was called so many times in vain is away.
const AWAY: u32 = 2;

impl Rota {
    /// So many members with so many calls each.
    pub fn new(members: usize, calls: u32) -> Self {
        Self {
            left: vec![calls; members],
            in_vain: vec![0; members],
            next: 0,
            last: None,
        }
    }

    /// The next member with calls left, by place in the class; `None` when everybody is done, or everybody who is not was
    /// called twice in vain.
    pub fn call_next(&mut self) -> Option<usize> {
        // Who was called last and not passed over has come.
        if let Some(came) = self.last.take() {
            self.in_vain[came] = 0;
        }
        if self.away().len() == self.left.iter().filter(|n| **n > 0).count() {
            return None;
        }
        let count = self.left.len();
        let member = (0..count)
            .map(|i| (self.next + i) % count)
            .find(|i| self.left[*i] > 0)?;
        self.left[member] -= 1;
        self.next = member + 1;
        self.last = Some(member);
        Some(member)
    }

    /// The member called last is not there: the call is still to be made, in a later round.
    pub fn pass(&mut self, member: usize) {
        if self.last == Some(member) {
            self.left[member] += 1;
            self.in_vain[member] += 1;
            self.last = None;
        }
    }

    /// Calls this member still has to make, by place; the one under way is made.
    pub fn left_of(&self, member: usize) -> u32 {
        self.left.get(member).copied().unwrap_or_default()
    }

    /// Calls still to be made.
    pub fn left(&self) -> u32 {
        self.left.iter().sum()
    }

    /// Who has calls left and was called twice in vain, by place.
    pub fn away(&self) -> Vec<usize> {
        let away = |i: &usize| self.left[*i] > 0 && self.in_vain[*i] >= AWAY;
        (0..self.left.len()).filter(away).collect()
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
        assert_eq!([0, 1, 2, 3].map(|m| rota.left_of(m)), [1, 1, 1, 0]);
        rota.pass(2);
        assert_eq!([rota.call_next(), rota.call_next()], [Some(0), Some(1)]);
        assert_eq!((rota.left(), rota.left_of(2)), (2, 2));
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

    #[test]
    fn many_who_are_away_are_each_called_once_more() {
        let mut rota = Rota::new(4, 1);
        assert_eq!(rota.call_next(), Some(0));
        for round in 0..2 {
            for member in 1..4 {
                assert_eq!(rota.call_next(), Some(member), "round {round}");
                rota.pass(member);
            }
        }
        assert_eq!(rota.call_next(), None);
        assert_eq!(rota.away(), [1, 2, 3]);
    }
}
