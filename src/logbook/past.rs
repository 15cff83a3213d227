//! A student's past calls at a site, as the plan takes them.

use jiff::Timestamp;
use rusqlite::{Row, params};
use uuid::Uuid;

use super::rows::{Id, Json, Millis};
use super::{Logbook, Outcome, Result, Verdict};
use crate::call::Situation;
use crate::plan::{Answered, Level, Moment, Past};

/// So many of the latest first attempts are read: months of practice, and still at once.
const AT_MOST: u32 = 3000;

/// Where in the dealt situation's object the level stands.
pub const LEVEL: &str = "level";

impl Logbook {
    /// A student's first attempts at a site, oldest first, at most the latest 3000. Those held out and those in which
    /// nothing was heard are not among them; an instructor's verdict stands before the program's. Attempts whose situation
    /// this version cannot read are passed over.
    pub fn past(&self, student: Uuid, site: &str) -> Result<Vec<Past>> {
        let read = || -> rusqlite::Result<Vec<Past>> {
            let mut attempts = self.connection.prepare_cached(ATTEMPTS)?;
            let rows: Vec<(i64, Option<Past>)> =
                self.readable("attempt", attempts.query(params![Id(student), site, AT_MOST])?, |r| {
                    Ok((r.get(0)?, past(r, site)?))
                })?;
            let mut verdicts = self.connection.prepare_cached(VERDICTS)?;
            let mut all = Vec::with_capacity(rows.len());
            for (number, past) in rows.into_iter().rev() {
                let Some(mut past) = past else { continue };
                let answered = |r: &Row<'_>| {
                    Ok(Answered {
                        element: r.get(0)?,
                        verdict: r.get::<_, Verdict>(1)?,
                        heard: r.get(2)?,
                    })
                };
                past.verdicts = self.readable("verdict", verdicts.query([number])?, answered)?;
                all.push(past);
            }
            Ok(all)
        };
        read().map_err(self.sorted("read past calls"))
    }
}

/// Only a stop called in another step is asked for in the large column of evidence, and only where the call did not
/// pass. The text is the judgement's field as JSON is written here; inside a JSON string the quotes would be escaped.
const ATTEMPTS: &str = "
    SELECT number, started_at, utc_offset_seconds, step, situation, coalesce(overruled_outcome, outcome),
        CASE WHEN outcome = 'pass' OR step = 'stop' THEN 0 ELSE instr(evidence, '\"stop\":true') > 0 END
    FROM attempt
    WHERE student_id = ?1 AND site = ?2 AND kind = 'call' AND turn_attempt = 1 AND held_out = 0
        AND coalesce(overruled_outcome, outcome) <> 'nothing heard'
    ORDER BY started_at DESC, number DESC LIMIT ?3";

const VERDICTS: &str = "SELECT element, coalesce(overruled_verdict, verdict), heard FROM element_verdict WHERE attempt = ?1 ORDER BY position";

fn past(row: &Row<'_>, site: &str) -> rusqlite::Result<Option<Past>> {
    let at: Timestamp = row.get::<_, Millis>(1)?.0;
    let dealt: serde_json::Value = row.get::<_, Json<_>>(4)?.0;
    let level = dealt.get(LEVEL).and_then(|l| Level::of(l.as_str()?));
    let Ok(situation) = serde_json::from_value::<Situation>(dealt) else {
        return Ok(None);
    };
    Ok(Some(Past {
        at: Moment {
            ms: at.as_millisecond(),
            utc_offset_seconds: row.get(2)?,
        },
        site: site.to_owned(),
        step: row.get(3)?,
        situation,
        level,
        first_attempt: true,
        held_out: false,
        outcome: row.get::<_, Outcome>(5)?,
        stopped: row.get(6)?,
        verdicts: Vec::new(),
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::logbook::{ElementVerdict, NewAttempt, NewStudent, Part, Timings};
    use crate::plan::{Item, Plan};
    use std::sync::Arc;

    fn at(second: i64) -> Timestamp {
        Timestamp::from_second(1_795_000_000 + second).unwrap()
    }

    fn attempt(student: Uuid, second: i64, cable: Verdict) -> NewAttempt {
        NewAttempt {
            id: Uuid::new_v4(),
            student: Some(student),
            started_at: at(second),
            utc_offset_seconds: 3600,
            site: "larkmoor".into(),
            site_version: "1".into(),
            step: "ready".into(),
            situation: serde_json::json!({"callsign": "G-CLRM", "crew": 2, "cable": "north", "level": "launch-point"}),
            part: Part::default(),
            turn: Uuid::new_v4(),
            turn_attempt: 1,
            model: None,
            program_version: "0".into(),
            outcome: Outcome::NotYet,
            score: None,
            timings: Timings::default(),
            transcript: String::new(),
            evidence: serde_json::json!({"judgement": {"stop": false}, "this_call": {"stop": false}}),
            recording: None,
            held_out: false,
            elements: vec![
                ElementVerdict::new("callsign", Verdict::Said, Some("G-CLRM".into())),
                ElementVerdict::new("cable", cable, Some("south".into())),
            ],
        }
    }

    #[test]
    fn only_what_counts_is_handed_over_oldest_first() {
        let mut logbook = Logbook::in_memory(std::path::Path::new(".")).unwrap();
        let mut add = |name: &str| {
            let new = NewStudent {
                name: name.into(),
                ..NewStudent::default()
            };
            logbook.add_student(&new, at(0)).unwrap().id
        };
        let (ilse, other) = (add("Ilse"), add("Otto"));
        let changes: [fn(&mut NewAttempt); 7] = [
            |_| (),
            |a| a.turn_attempt = 2,
            |a| a.held_out = true,
            |a| a.outcome = Outcome::NothingHeard,
            |a| a.site = "erlengrund".into(),
            |a| a.situation = serde_json::json!({"callsign": "?"}),
            |a| a.evidence = serde_json::json!({"judgement": {"stop": true}, "this_call": {"stop": true}}),
        ];
        for (seconds, change) in (0_i64..).zip(&changes) {
            // Stored newest first.
            let mut a = attempt(ilse, 100 - seconds, Verdict::Wrong);
            change(&mut a);
            logbook.record(&a, at(200)).unwrap();
        }
        logbook.record(&attempt(other, 5, Verdict::Said), at(200)).unwrap();
        let past = logbook.past(ilse, "larkmoor").unwrap();
        let times: Vec<(i64, bool)> = past
            .iter()
            .map(|p| (p.at.ms / 1000 - 1_795_000_000, p.stopped))
            .collect();
        assert_eq!(times, [(94, true), (100, false)]);
        assert_eq!(past[1].level, Some(Level::LaunchPoint));
        assert_eq!(past[1].situation.cable, "north");
        assert_eq!(past[1].verdict("cable").unwrap().heard.as_deref(), Some("south"));

        let site = Arc::new(crate::folders::load_site("larkmoor", None).unwrap().0);
        let plan = Plan::from_past(&site, &["ready"], &past, past[1].at);
        let pair = plan.steadiness(&Item::pair("cable", "north", "south"));
        assert_eq!((pair.calls, pair.right), (1, 0), "the stop is no error");
    }

    #[test]
    fn an_instructors_verdict_stands_before_the_programs() {
        let mut logbook = Logbook::in_memory(std::path::Path::new(".")).unwrap();
        let new = NewStudent {
            name: "Ilse".into(),
            ..NewStudent::default()
        };
        let ilse = logbook.add_student(&new, at(0)).unwrap().id;
        logbook.record(&attempt(ilse, 1, Verdict::Wrong), at(2)).unwrap();
        logbook
            .connection
            .execute(
                "UPDATE element_verdict SET overruled_verdict = 'said' WHERE element = 'cable'",
                [],
            )
            .unwrap();
        let past = logbook.past(ilse, "larkmoor").unwrap();
        assert_eq!(past[0].verdict("cable").unwrap().verdict, Verdict::Said);
    }
}
