//! Cableside trains glider students to make the radio calls of a winch launch.
//!
//! The map, one line a room (the rooms and what each must not know are described in DEVELOPERS.md):
//!
//! * [`site`]: a club's phrases: raw file, checked [`site::Site`], letters, digits, callsigns. Pure.
//! * [`call`]: one call: situation, verdicts, outcome, advice, score. Pure.
//! * [`class`]: whose turn, who missed what, practice handed out, results taken back. Pure.
//! * [`hear`]: a clip becomes evidence: the speech model and its search; the only room that names the second listener's library.
//! * [`drill`]: a turn as a state machine: situations dealt, what the other side answers. Pure.
//! * [`plan`]: what to practise next: steadiness, spaced repetition, levels, sessions. Pure.
//! * [`sound`]: the only room that names the sound libraries: files, devices, levels, radio channel.
//! * [`voice`]: what the other side says: recorded clip first, synthesised speech second.
//! * [`logbook`]: the student's record in SQLite.
//! * [`report`]: what was practised, as PDF, CSV, JSON; the sheet for the wall. Pure.
//! * [`worker`]: the threads behind a window or a terminal: commands in, events out.
//! * [`window`]: pages that show what the worker told and hand back what the student wants.
//! * [`model`]: find, verify, rebuild, fetch the speech model's file.
//! * [`command`]: the subcommands; the only room that prints.
//! * [`folders`]: where files are on each platform; sites' folders and archives.
//! * [`files`]: how a file is made, replaced or removed, with several programs at it; locks.
//! * `wilson`: the interval beside every rate. Pure.

pub mod call;
pub mod class;
pub mod command;
pub mod drill;
pub mod files;
pub mod folders;
pub mod hear;
pub mod logbook;
pub mod model;
pub mod plan;
pub mod report;
pub mod site;
pub mod sound;
pub mod voice;
mod wilson;
pub mod window;
pub mod worker;
