//! What the logbook keeps of a launch as a whole: its beginning, at once, and its time line.

use super::super::Conductor;
use crate::logbook::{NewRun, RunKind};
use crate::worker::keeper;
use jiff::Timestamp;

impl Conductor {
    /// The logbook hears of it at once, so that a launch broken off is kept too.
    pub(super) fn begin_run(&self) {
        let Some(flight) = self.activity.flight() else { return };
        let now = Timestamp::now();
        // Plain data of texts and numbers: this cannot fail.
        let json = |v: serde_json::Result<serde_json::Value>| v.unwrap_or_default();
        self.order(keeper::Order::BeginRun(Box::new(NewRun {
            id: flight.id,
            kind: RunKind::Launch,
            student: self.student.as_ref().map(|s| s.id),
            class: None,
            started_at: now,
            utc_offset_seconds: jiff::tz::TimeZone::system().to_offset(now).seconds(),
            site: flight.site.id.clone(),
            site_version: flight.site.version.clone(),
            role: Some(flight.launch.role.clone()),
            seed: Some(flight.seed.to_string()),
            situation: json(serde_json::to_value(&flight.launch.situation)),
            course: json(serde_json::to_value(flight.launch.course())),
        })));
    }

    /// The time line so far, and the ending if there is one.
    pub(super) fn keep_record(&self) {
        let Some(flight) = self.activity.flight() else { return };
        let entries = flight.times.iter().zip(flight.launch.record());
        let record = entries
            .map(|(at, entry)| serde_json::json!({ "at_seconds": at, "entry": entry }))
            .collect();
        let ending = flight
            .launch
            .ending()
            .map(|e| serde_json::to_value(e).unwrap_or_default());
        self.order(keeper::Order::UpdateRun {
            id: flight.id,
            ending: ending.and_then(|e| e.as_str().map(str::to_owned)),
            record,
        });
    }
}
