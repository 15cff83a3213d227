//! PINs of instructors, for computers that are shared.
//!
//! Only a slow salted hash is stored (Argon2id, RFC 9106). A PIN of few digits keeps honest people out of each other's way;
//! who has the file can try them all, or take the PIN out of it: whoever owns the file owns the logbook.
//!
//! Wrong tries make the next one wait, for all PINs together; the count stands in the logbook, so that starting the program
//! again does not help. A forgotten PIN goes a day after somebody said so, if nobody gave it meanwhile.

use argon2::password_hash::SaltString;
use argon2::{Argon2, Params, PasswordHash, PasswordHasher, PasswordVerifier};
use jiff::{SignedDuration, Timestamp};
use rusqlite::{OptionalExtension, Transaction};
use uuid::Uuid;

use super::rows::{Id, Millis};
use super::{Logbook, LogbookError, Result, Student, students};

/// So many wrong tries are free.
const FREE: u32 = 3;
/// What the next one then waits; it doubles with each.
const FIRST_WAIT_S: u64 = 5;
/// No longer than this.
const LONGEST_WAIT_S: u64 = 15 * 60;
/// A forgotten PIN goes so long after somebody said that it is forgotten.
const FORGOTTEN_AFTER: SignedDuration = SignedDuration::from_hours(24);

const TRIES: &str = "pin_tries";
const FORGOTTEN: &str = "pin_forgotten:";

impl Logbook {
    /// Sets, changes or removes a PIN: 4 to 64 characters.
    pub fn set_pin(&mut self, id: Uuid, pin: Option<&str>, now: Timestamp) -> Result<()> {
        let hash = pin.map(hashed).transpose()?;
        let transaction = self.write("store a PIN")?;
        let store = || -> rusqlite::Result<usize> {
            let changed = transaction.execute(
                "UPDATE student SET pin = ?2, pin_at = max(?3, pin_at + 1), changed_at = max(?3, changed_at) WHERE id = ?1",
                (Id(id), hash, Millis(now)),
            )?;
            unset(&transaction, &format!("{FORGOTTEN}{id}"))?;
            transaction.commit()?;
            Ok(changed)
        };
        if store().map_err(self.sorted("store a PIN"))? == 0 {
            Err(students::unknown(id))
        } else {
            Ok(())
        }
    }

    /// Whether this is the person's PIN; false where they have none. Takes some hundredths of a second on purpose; after
    /// several wrong ones it is refused until some time has passed.
    pub fn check_pin(&mut self, id: Uuid, pin: &str, now: Timestamp) -> Result<bool> {
        self.student(id)?;
        Ok(self.whose_pin(&[id], pin, now)?.is_some())
    }

    /// The instructors who have a PIN. Where there is one, what an instructor does asks for it.
    pub fn pin_holders(&self) -> Result<Vec<Student>> {
        let all = self.students()?.into_iter();
        Ok(all.filter(|s| s.has_pin && s.is_instructor()).collect())
    }

    /// Lets pass what only an instructor may do: with the PIN of any of them, or where nobody has one.
    pub fn authorise(&mut self, pin: Option<&str>, now: Timestamp) -> Result<()> {
        let holders = self.pin_holders()?;
        if holders.is_empty() {
            return Ok(());
        }
        let who = holders.iter().map(|s| s.name.as_str()).collect::<Vec<_>>().join(", ");
        let ids: Vec<Uuid> = holders.iter().map(|s| s.id).collect();
        match pin {
            None => Err(LogbookError::PinNeeded { who }),
            Some(pin) if self.whose_pin(&ids, pin, now)?.is_none() => Err(LogbookError::WrongPin { who }),
            Some(_) => Ok(()),
        }
    }

    /// Says that a PIN is forgotten. `Some`: when it will go, if nobody gives it before; said again after that it goes, and
    /// the answer is `None`.
    pub fn forgotten_pin(&mut self, id: Uuid, now: Timestamp) -> Result<Option<Timestamp>> {
        if !self.student(id)?.has_pin {
            return Ok(None);
        }
        let name = format!("{FORGOTTEN}{id}");
        let said = self.said_forgotten(&name)?.filter(|said| *said <= now);
        if said.is_some_and(|said| now.duration_since(said) >= FORGOTTEN_AFTER) {
            self.set_pin(id, None, now)?;
            return Ok(None);
        }
        let said = said.unwrap_or(now);
        let transaction = self.write("note a forgotten PIN")?;
        set(&transaction, &name, &said.as_millisecond().to_string(), now)
            .and_then(|()| transaction.commit())
            .map_err(self.sorted("note a forgotten PIN"))?;
        Ok(said.checked_add(FORGOTTEN_AFTER).ok())
    }

    /// When somebody said that this PIN is forgotten.
    pub fn pin_said_forgotten(&self, id: Uuid) -> Result<Option<Timestamp>> {
        self.said_forgotten(&format!("{FORGOTTEN}{id}"))
    }

    fn said_forgotten(&self, name: &str) -> Result<Option<Timestamp>> {
        let found: Option<String> = self
            .connection
            .query_row("SELECT value FROM setting WHERE name = ?1", [name], |r| r.get(0))
            .optional()
            .map_err(self.sorted("read a setting"))?;
        Ok(found
            .and_then(|ms| ms.parse().ok())
            .and_then(|ms| Timestamp::from_millisecond(ms).ok()))
    }

    /// Whose of these the PIN is.
    fn whose_pin(&mut self, ids: &[Uuid], pin: &str, now: Timestamp) -> Result<Option<Uuid>> {
        self.count_a_try(now)?;
        let mut right = None;
        for id in ids {
            let stored: Option<String> = self
                .connection
                .query_row("SELECT pin FROM student WHERE id = ?1", [Id(*id)], |r| r.get(0))
                .optional()
                .map_err(self.sorted("read a PIN"))?
                .flatten();
            let Some(stored) = stored else { continue };
            let parsed = usable_hash(&stored).map_err(|e| LogbookError::Damaged {
                detail: format!("a PIN's hash: {e}"),
                path: self.path.clone(),
            })?;
            if Argon2::default().verify_password(pin.as_bytes(), &parsed).is_ok() {
                right = Some(*id);
                break;
            }
        }
        if let Some(id) = right {
            let transaction = self.write("note a PIN given")?;
            unset(&transaction, TRIES)
                .and_then(|()| unset(&transaction, &format!("{FORGOTTEN}{id}")))
                .and_then(|()| transaction.commit())
                .map_err(self.sorted("note a PIN given"))?;
        }
        Ok(right)
    }

    /// Counts before trying: a try that is cut off counts, too.
    fn count_a_try(&mut self, now: Timestamp) -> Result<()> {
        let transaction = self.write("count a try")?;
        let count = || -> rusqlite::Result<Option<u64>> {
            let found: Option<String> = transaction
                .query_row("SELECT value FROM setting WHERE name = ?1", [TRIES], |r| r.get(0))
                .optional()?;
            let (tries, last) = found
                .as_deref()
                .and_then(|v| v.split_once(' '))
                .and_then(|(n, ms)| Some((n.parse::<u32>().ok()?, ms.parse::<i64>().ok()?)))
                .unwrap_or((0, 0));
            let wait = tries
                .checked_sub(FREE)
                .map_or(0, |over| 1000 * (FIRST_WAIT_S << over.min(20)).min(LONGEST_WAIT_S));
            let now_ms = now.as_millisecond();
            // A clock that was put back has not waited: the time counts from now on.
            let waited = u64::try_from(now_ms - last).unwrap_or(0);
            let refused = (waited < wait).then(|| wait - waited);
            let (tries, since) = match refused {
                None => (tries.saturating_add(1), now_ms),
                Some(_) => (tries, last.min(now_ms)),
            };
            set(&transaction, TRIES, &format!("{tries} {since}"), now)?;
            transaction.commit()?;
            Ok(refused)
        };
        match count().map_err(self.sorted("count a try"))? {
            None => Ok(()),
            Some(ms) => Err(LogbookError::PinWait {
                seconds: ms.div_ceil(1000),
            }),
        }
    }
}

fn set(transaction: &Transaction<'_>, name: &str, value: &str, now: Timestamp) -> rusqlite::Result<()> {
    let sql = "INSERT OR REPLACE INTO setting (name, value, changed_at) VALUES (?1, ?2, ?3)";
    transaction.execute(sql, (name, value, Millis(now))).map(|_| ())
}

fn unset(transaction: &Transaction<'_>, name: &str) -> rusqlite::Result<()> {
    transaction
        .execute("DELETE FROM setting WHERE name = ?1", [name])
        .map(|_| ())
}

/// A stored hash, if it asks for no more than this program's own hashes do, by far: what stands in a file must not take
/// all memory or an hour.
pub(super) fn usable_hash(stored: &str) -> std::result::Result<PasswordHash<'_>, String> {
    /// Sixteen times the default of 19 MiB, ten times its rounds.
    const MOST: (u32, u32, u32) = (16 * Params::DEFAULT_M_COST, 10 * Params::DEFAULT_T_COST, 16);
    let parsed = PasswordHash::new(stored).map_err(|e| e.to_string())?;
    let costs = Params::try_from(&parsed).map_err(|e| e.to_string())?;
    if costs.m_cost() > MOST.0 || costs.t_cost() > MOST.1 || costs.p_cost() > MOST.2 {
        return Err("it asks for more memory or time than any of this program's".to_owned());
    }
    Ok(parsed)
}

fn hashed(pin: &str) -> Result<String> {
    if !(4..=64).contains(&pin.chars().count()) {
        return Err(LogbookError::Invalid {
            why: "a PIN has 4 to 64 characters".to_owned(),
        });
    }
    let failed = |e: argon2::password_hash::Error| LogbookError::Invalid {
        why: format!("the PIN could not be hashed ({e})"),
    };
    // 122 of a random identifier's 128 bits are random, from the system's source.
    let salt = SaltString::encode_b64(Uuid::new_v4().as_bytes()).map_err(failed)?;
    let hash = Argon2::default().hash_password(pin.as_bytes(), &salt).map_err(failed)?;
    Ok(hash.to_string())
}
