//! Words, dates and shares in the site's language.

use super::rate::{Share, Standing};
use crate::logbook::Verdict;
use crate::site::Language;
use jiff::civil::Date;

/// Chooses between the two languages a site can be in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Tongue(pub Language);

impl Tongue {
    /// The text in the language.
    pub fn of<'t>(self, english: &'t str, german: &'t str) -> &'t str {
        match self.0 {
            Language::GERMAN => german,
            _ => english,
        }
    }

    /// A day in a table.
    pub fn short(self, day: Date) -> String {
        match self.0 {
            Language::GERMAN => format!("{:02}.{:02}.{}", day.day(), day.month(), day.year()),
            _ => day.to_string(),
        }
    }

    /// A day in a sentence.
    pub fn long(self, day: Date) -> String {
        const ENGLISH: [&str; 12] = [
            "January",
            "February",
            "March",
            "April",
            "May",
            "June",
            "July",
            "August",
            "September",
            "October",
            "November",
            "December",
        ];
        const GERMAN: [&str; 12] = [
            "Januar",
            "Februar",
            "März",
            "April",
            "Mai",
            "Juni",
            "Juli",
            "August",
            "September",
            "Oktober",
            "November",
            "Dezember",
        ];
        let month = usize::from(day.month().unsigned_abs().saturating_sub(1)).min(11);
        match self.0 {
            Language::GERMAN => format!("{}. {} {}", day.day(), GERMAN[month], day.year()),
            _ => format!("{} {} {}", day.day(), ENGLISH[month], day.year()),
        }
    }

    /// A share of 0 to 1 as whole per cent.
    pub fn percent(self, share: f64) -> String {
        let whole = (share * 100.0).round();
        match self.0 {
            // A space that does not break.
            Language::GERMAN => format!("{whole:.0}\u{a0}%"),
            _ => format!("{whole:.0}%"),
        }
    }

    /// "18 of 20".
    pub fn so_many(self, share: &Share) -> String {
        format!("{} {} {}", share.came, self.of("of", "von"), share.of)
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
            Standing::TooFew => self.of("too few calls", "zu wenige Meldungen"),
            Standing::Steady => self.of("steady", "sitzt"),
            Standing::NotSteady => self.of("not steady", "sitzt noch nicht"),
            Standing::Open => self.of("not clear yet", "noch offen"),
        }
    }

    /// A verdict in words.
    pub fn verdict(self, verdict: Verdict) -> &'static str {
        match verdict {
            Verdict::Said => self.of("said", "gesagt"),
            Verdict::Wrong => self.of("wrong", "falsch"),
            Verdict::Missing => self.of("missing", "fehlt"),
            Verdict::Unsure => self.of("unsure", "unklar"),
        }
    }

    /// Who speaks, in words; a name the program does not know stays as the site has it.
    pub fn role(self, role: &str) -> &str {
        if self.0 != Language::GERMAN {
            return role;
        }
        match role {
            "pilot" => "Pilot",
            "wing runner" => "Flächenhalter",
            "winch driver" => "Windenfahrer",
            "retrieve driver" => "Lepo-Fahrer",
            "controller" => "Startleiter",
            "instructor" => "Fluglehrer",
            "anybody" => "jeder",
            "telephone" => "am Telefon",
            other => other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

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
