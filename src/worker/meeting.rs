//! A class at this computer: who is in which class, who is called, the live board.

pub use super::message::meeting::{ClassCommand, ClassEvent};

use crate::class::Board;
use crate::logbook::{Logbook, LogbookError};
use crate::report::{Group, Scope};
use crate::site::Site;
use jiff::Timestamp;
use jiff::civil::Date;
use jiff::tz::TimeZone;
use std::collections::HashMap;
use uuid::Uuid;

/// The newest calls of each student that the board stands on: enough for the latest calls of each element, and for a day.
const NEWEST: u32 = 60;

/// The board as it stands in the logbook now. `members` are ids and names; `date` is the day of the meeting.
pub fn board_of(logbook: &Logbook, site: &Site, members: &[(Uuid, String)], date: Date) -> Result<Board, LogbookError> {
    let names = HashMap::new();
    let scope = Scope {
        site,
        date,
        from: None,
        until: None,
        names: &names,
    };
    let ids: Vec<Uuid> = members.iter().map(|(id, _)| *id).collect();
    let rows = logbook.practised_lately(&ids, &site.id, NEWEST)?;
    let all = Group::new(&scope, "", members, &rows);
    let only_today = Scope {
        from: Some(date),
        until: Some(date),
        ..scope
    };
    Ok(Board::new(&Group::new(&only_today, "", members, &rows), &all))
}

/// What the logbook's thread does about it; `site` is the one in use.
pub(super) fn obey(
    logbook: &mut Logbook,
    command: ClassCommand,
    site: Option<&Site>,
    now: Timestamp,
) -> Result<ClassEvent, LogbookError> {
    match (command, site) {
        (ClassCommand::New(name), _) => {
            if let Some(there) = logbook.class_looks_like(&name)? {
                let other = there.name;
                return Err(LogbookError::LooksLike { name, other });
            }
            logbook.add_class(&name, now)?;
        }
        (ClassCommand::Member { class, student, member }, _) => {
            logbook.set_member(class, student, member, now)?;
        }
        (ClassCommand::Board(class), Some(site)) => {
            let students = match class {
                Some(class) => logbook.members(class)?,
                None => logbook.students()?,
            };
            let members: Vec<(Uuid, String)> = students
                .into_iter()
                .filter(|s| class.is_some() || !s.is_instructor())
                .map(|s| (s.id, s.name))
                .collect();
            let date = TimeZone::system().to_datetime(now).date();
            return Ok(ClassEvent::Board(Box::new(board_of(logbook, site, &members, date)?)));
        }
        // Nobody is called by the logbook.
        (ClassCommand::List | ClassCommand::Call(_), _) | (ClassCommand::Board(_), None) => {}
    }
    Ok(ClassEvent::Classes(logbook.classes()?))
}
