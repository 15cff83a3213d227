//! Who is in which class.

use super::{Failure, RosterArgs, logbook};
use jiff::Timestamp;
use std::process::ExitCode;

/// Make a class.
pub(super) fn new(name: &str) -> Result<ExitCode, Failure> {
    let mut book = logbook()?;
    if let Some(there) = book.class_looks_like(name)? {
        let (name, id) = (there.name, there.id);
        return Err(
            format!("there is a class of this name already, or of one that looks like it: {name} ({id})").into(),
        );
    }
    let class = book.add_class(name, Timestamp::now())?;
    println!("{}  {}", class.id, class.name);
    Ok(ExitCode::SUCCESS)
}

/// Take students into a class, or out of it.
pub(super) fn set(args: &RosterArgs, member: bool) -> Result<ExitCode, Failure> {
    let mut book = logbook()?;
    let class = book.find_class(&args.class)?;
    // All are looked up first: nobody is taken in when one name is wrong.
    let students: Result<Vec<_>, _> = args.students.iter().map(|s| book.find_student(s)).collect();
    for student in students? {
        book.set_member(class.id, student.id, member, Timestamp::now())?;
        let what = if member { "is in" } else { "is no longer in" };
        println!("{} {what} {}.", student.name, class.name);
    }
    Ok(ExitCode::SUCCESS)
}

/// List the classes.
pub(super) fn list() -> Result<ExitCode, Failure> {
    let book = logbook()?;
    let classes = book.classes()?;
    if classes.is_empty() {
        println!("There are no classes yet: make one with cableside class new NAME");
    }
    for class in classes {
        let names: Vec<String> = book.members(class.id)?.into_iter().map(|s| s.name).collect();
        println!("{}: {}", class.name, names.join(", "));
    }
    Ok(ExitCode::SUCCESS)
}
