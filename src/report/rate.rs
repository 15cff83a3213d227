//! Shares with their intervals, and when an element is called steady.

use serde::Serialize;

/// Below this many decided calls nothing is said about an element: "too few calls".
pub const FEW: u64 = 5;
/// Steadiness looks at this many of the latest decided calls, so that old slips fade.
pub const LATELY: usize = 20;
/// Steady: the interval of the latest calls lies at or above this share. Not steady: it lies below.
pub const TARGET: f64 = 0.75;

/// So many of so many, with the interval that holds the true share 19 times of 20.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Share {
    /// How often it came.
    pub came: u64,
    /// Of how many.
    pub of: u64,
    /// Lower end of the interval, 0 to 1.
    pub low: f64,
    /// Upper end of the interval, 0 to 1.
    pub high: f64,
}

impl Share {
    /// `came` of `of`; the interval is Wilson's score interval with z = 1.96 (0 to 1 when there is nothing).
    pub fn new(came: u64, of: u64) -> Self {
        let (low, high) = crate::wilson::interval(came, of);
        Self { came, of, low, high }
    }

    /// How often it did not come; `None` where it always did.
    pub fn missed(&self) -> Option<Self> {
        (self.came < self.of).then(|| Self::new(self.of - self.came, self.of))
    }

    /// 0 to 1; `None` when there is nothing.
    pub fn value(&self) -> Option<f64> {
        (self.of > 0).then(|| self.came as f64 / self.of as f64)
    }

    /// How it stands, by the rules above.
    pub fn standing(&self) -> Standing {
        if self.of < FEW {
            Standing::TooFew
        } else if self.low >= TARGET {
            Standing::Steady
        } else if self.high < TARGET {
            Standing::NotSteady
        } else {
            Standing::Open
        }
    }
}

/// How reliably an element comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Standing {
    /// Fewer than [`FEW`] decided calls.
    TooFew,
    /// At least three of four, as far as the calls tell.
    Steady,
    /// Fewer than three of four, as far as the calls tell.
    NotSteady,
    /// The calls do not tell.
    Open,
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Check values: R. G. Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17
    /// (1998), table I, method 3 (score without continuity correction), 95 %.
    #[test]
    fn intervals_are_the_published_ones() {
        for (came, of, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let s = Share::new(came, of);
            assert!((s.low - low).abs() < 6e-5 && (s.high - high).abs() < 6e-5, "{s:?}");
        }
        assert_eq!((Share::new(0, 0).low, Share::new(0, 0).high), (0.0, 1.0));
    }

    #[test]
    fn few_calls_say_nothing() {
        assert_eq!(Share::new(4, 4).standing(), Standing::TooFew);
        assert_eq!(Share::new(5, 5).standing(), Standing::Open);
        assert_eq!(Share::new(12, 12).standing(), Standing::Steady);
        assert_eq!(Share::new(19, 20).standing(), Standing::Steady);
        assert_eq!(Share::new(18, 20).standing(), Standing::Open);
        assert_eq!(Share::new(11, 20).standing(), Standing::NotSteady);
    }
}
