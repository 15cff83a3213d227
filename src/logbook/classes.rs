//! Classes: a name and its members. An instructor is a student row with the role [`super::INSTRUCTOR`].

use jiff::Timestamp;
use rusqlite::Row;
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use super::alike::alike;
use super::rows::{Id, Millis};
use super::students::checked_name;
use super::{Logbook, LogbookError, Result, Student};

/// A class.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Class {
    /// Globally unique.
    pub id: Uuid,
    /// 1 to 100 characters, need not be unique.
    pub name: String,
    /// Its members, by id.
    pub members: Vec<Uuid>,
    /// When it was made.
    pub created_at: Timestamp,
    /// When its name last changed.
    pub changed_at: Timestamp,
}

impl Logbook {
    /// Makes a class without members.
    pub fn add_class(&mut self, name: &str, now: Timestamp) -> Result<Class> {
        let name = checked_name("class", name)?;
        let id = Uuid::new_v4();
        let transaction = self.write("add a class")?;
        transaction
            .execute(
                "INSERT INTO class (id, name, created_at, changed_at) VALUES (?1, ?2, ?3, ?3)",
                (Id(id), name, Millis(now)),
            )
            .and_then(|_| transaction.commit())
            .map_err(self.sorted("add a class"))?;
        self.class(id)
    }

    /// Which class is here already under a name that looks like this one.
    pub fn class_looks_like(&self, name: &str) -> Result<Option<Class>> {
        Ok(self.classes()?.into_iter().find(|c| alike(&c.name, name)))
    }

    /// Renames a class.
    pub fn rename_class(&mut self, id: Uuid, name: &str, now: Timestamp) -> Result<Class> {
        let name = checked_name("class", name)?;
        let transaction = self.write("rename a class")?;
        transaction
            .execute(
                "UPDATE class SET name = ?2, changed_at = max(?3, changed_at + 1) WHERE id = ?1",
                (Id(id), name, Millis(now)),
            )
            .and_then(|_| transaction.commit())
            .map_err(self.sorted("rename a class"))?;
        self.class(id)
    }

    /// Takes a student into a class, or out of it.
    pub fn set_member(&mut self, class: Uuid, student: Uuid, member: bool, now: Timestamp) -> Result<Class> {
        self.class(class)?;
        self.student(student)?;
        let transaction = self.write("change a class")?;
        transaction
            .execute(
                "INSERT INTO class_member (class_id, student_id, member, changed_at) VALUES (?1, ?2, ?3, ?4)
                 ON CONFLICT DO UPDATE SET member = excluded.member, changed_at = max(excluded.changed_at, changed_at + 1)",
                (Id(class), Id(student), member, Millis(now)),
            )
            .and_then(|_| transaction.commit())
            .map_err(self.sorted("change a class"))?;
        self.class(class)
    }

    /// Removes a class for good. Its members stay, with all they practised.
    pub fn remove_class(&mut self, id: Uuid, now: Timestamp) -> Result<()> {
        self.class(id)?;
        let transaction = self.write("remove a class")?;
        let remove = || -> rusqlite::Result<()> {
            transaction.execute("DELETE FROM class WHERE id = ?1", [Id(id)])?;
            transaction.execute(
                "INSERT OR REPLACE INTO tombstone (id, deleted_at, what) VALUES (?1, ?2, 'class')",
                (Id(id), Millis(now)),
            )?;
            transaction.commit()
        };
        remove().map_err(self.sorted("remove a class"))
    }

    /// One class.
    pub fn class(&self, id: Uuid) -> Result<Class> {
        let classes = self.classes()?;
        classes
            .into_iter()
            .find(|c| c.id == id)
            .ok_or_else(|| unknown(&id.to_string(), &[]))
    }

    /// All classes, by name.
    pub fn classes(&self) -> Result<Vec<Class>> {
        let read = || -> rusqlite::Result<Vec<Class>> {
            let mut statement = self
                .connection
                .prepare_cached("SELECT id, name, created_at, changed_at FROM class")?;
            let mut classes: Vec<Class> = self.readable("class", statement.query([])?, class)?;
            let mut members = self.connection.prepare_cached(
                "SELECT student_id FROM class_member WHERE class_id = ?1 AND member = 1 ORDER BY student_id",
            )?;
            for class in &mut classes {
                class.members = self.readable("member of a class", members.query([Id(class.id)])?, |r| {
                    Ok(r.get::<_, Id>(0)?.0)
                })?;
            }
            Ok(classes)
        };
        let mut classes = read().map_err(self.sorted("read the classes"))?;
        classes.sort_by_cached_key(|c| (c.name.to_lowercase(), c.id));
        Ok(classes)
    }

    /// The students of a class, by name.
    pub fn members(&self, class: Uuid) -> Result<Vec<Student>> {
        let members = self.class(class)?.members;
        let students = self.students()?;
        Ok(students.into_iter().filter(|s| members.contains(&s.id)).collect())
    }

    /// The one class meant by a name (case does not matter), an id, or the beginning of an id of at least eight
    /// characters.
    pub fn find_class(&self, asked: &str) -> Result<Class> {
        let wanted = asked.trim().to_lowercase();
        let classes = self.classes()?;
        let fits = |c: &&Class| {
            c.name.to_lowercase() == wanted || (wanted.len() >= 8 && c.id.to_string().starts_with(&wanted))
        };
        let matches: Vec<&Class> = classes.iter().filter(fits).collect();
        match matches[..] {
            [one] => Ok(one.clone()),
            [] => Err(unknown(asked, &classes)),
            _ => Err(LogbookError::Invalid {
                why: format!(
                    "\"{asked}\" could be any of these classes; say the id instead: {}",
                    matches.iter().map(|c| c.id.to_string()).collect::<Vec<_>>().join(", ")
                ),
            }),
        }
    }
}

fn unknown(asked: &str, classes: &[Class]) -> LogbookError {
    LogbookError::NoSuchClass {
        asked: asked.to_owned(),
        known: classes.iter().map(|c| c.name.clone()).collect(),
    }
}

pub(super) fn class(row: &Row<'_>) -> rusqlite::Result<Class> {
    Ok(Class {
        id: row.get::<_, Id>(0)?.0,
        name: row.get(1)?,
        members: Vec::new(),
        created_at: row.get::<_, Millis>(2)?.0,
        changed_at: row.get::<_, Millis>(3)?.0,
    })
}
