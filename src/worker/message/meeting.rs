//! What a class at this computer is asked and tells.

use crate::class::Board;
use crate::logbook::Class;
use uuid::Uuid;

/// What the class page wants.
#[derive(Debug)]
pub enum ClassCommand {
    /// Which classes are there?
    List,
    /// Make a class.
    New(String),
    /// Take a student into a class, or out of it.
    Member {
        /// The class.
        class: Uuid,
        /// The student.
        student: Uuid,
        /// In it.
        member: bool,
    },
    /// The board of a class; without one, of everybody but instructors.
    Board(Option<Uuid>),
    /// Call somebody up, in the site's language.
    Call(String),
}

/// What the class page is told.
#[derive(Debug)]
pub enum ClassEvent {
    /// All classes, by name.
    Classes(Vec<Class>),
    /// The board.
    Board(Box<Board>),
}
