//! Words, dates and shares in the site's language.

use super::rate::{Share, Standing};
use crate::logbook::Verdict;
use crate::site::Language;
use jiff::civil::Date;

/// The words of a report, in the site's language.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Tongue(pub Language);

impl Tongue {
    /// A text by its key.
    pub fn say(self, key: &'static str) -> &'static str {
        self.0.say(key)
    }

    fn date(self, key: &str, day: Date) -> String {
        let month = self.0.text(&format!("month.{}", day.month()), &[]);
        let (d, dd, mm) = (
            day.day().to_string(),
            format!("{:02}", day.day()),
            format!("{:02}", day.month()),
        );
        let year = format!("{:04}", day.year());
        let parts = [
            ("day", d.as_str()),
            ("dd", &dd),
            ("mm", &mm),
            ("month", &month),
            ("year", &year),
        ];
        self.0.text(key, &parts)
    }

    /// A day in a table.
    pub fn short(self, day: Date) -> String {
        self.date("date.short", day)
    }

    /// A day in a sentence.
    pub fn long(self, day: Date) -> String {
        self.date("date.long", day)
    }

    /// A share of 0 to 1 as whole per cent.
    pub fn percent(self, share: f64) -> String {
        let whole = format!("{:.0}", (share * 100.0).round());
        self.0.text("number.percent", &[("n", &whole)])
    }

    /// "18 of 20".
    pub fn so_many(self, share: &Share) -> String {
        format!("{} {} {}", share.came, self.say("report.of"), share.of)
    }

    /// "72-97%", nothing when there is nothing.
    pub fn interval(self, share: &Share) -> String {
        if share.of == 0 {
            return String::new();
        }
        let low = (share.low * 100.0).round();
        format!("{low:.0}\u{2013}{}", self.percent(share.high))
    }

    /// A standing in words.
    pub fn standing(self, standing: Standing) -> &'static str {
        match standing {
            Standing::TooFew => self.say("report.too_few_calls"),
            Standing::Steady => self.say("report.steady"),
            Standing::NotSteady => self.say("report.not_steady"),
            Standing::Open => self.say("report.not_clear_yet"),
        }
    }

    /// A verdict in words.
    pub fn verdict(self, verdict: Verdict) -> &'static str {
        match verdict {
            Verdict::Said => self.say("verdict.said"),
            Verdict::Wrong => self.say("verdict.wrong"),
            Verdict::Missing => self.say("verdict.missing"),
            Verdict::Unsure => self.say("verdict.unsure"),
        }
    }

    /// Who speaks, in words; a name the program does not know stays as the site has it.
    pub fn role(self, role: &str) -> &str {
        const KNOWN: [(&str, &str); 8] = [
            ("pilot", "role.pilot"),
            ("wing runner", "role.wing runner"),
            ("winch driver", "role.winch driver"),
            ("retrieve driver", "role.retrieve driver"),
            ("controller", "role.controller"),
            ("instructor", "role.instructor"),
            ("anybody", "role.anybody"),
            ("telephone", "role.telephone"),
        ];
        let known = KNOWN.iter().find(|(id, _)| *id == role);
        known.map_or(role, |(_, key)| self.say(key))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn every_text_that_a_report_asks_for_is_there() {
        let sources = [
            include_str!("paper.rs"),
            include_str!("print.rs"),
            include_str!("tongue.rs"),
            include_str!("wall.rs"),
        ];
        let mut keys = 0;
        for source in sources {
            for part in source.split("say(\"").skip(1) {
                let key = part.split('"').next().unwrap();
                assert_ne!(Language::GERMAN.say(key), key);
                keys += 1;
            }
        }
        assert!(keys > 60, "{keys}");
    }

    #[test]
    fn dates_and_shares_in_both_languages() {
        let (english, german) = (Tongue(Language::ENGLISH), Tongue(Language::GERMAN));
        let day = date(2026, 3, 7);
        assert_eq!([english.short(day), english.long(day)], ["2026-03-07", "7 March 2026"]);
        assert_eq!([german.short(day), german.long(day)], ["07.03.2026", "7. März 2026"]);
        let share = Share::new(18, 20);
        assert_eq!(
            [english.so_many(&share), english.interval(&share)],
            ["18 of 20", "70\u{2013}97%"]
        );
        assert_eq!(
            [german.so_many(&share), german.interval(&share)],
            ["18 von 20", "70\u{2013}97\u{a0}%"]
        );
        assert_eq!(english.interval(&Share::new(0, 0)), "");
    }
}
