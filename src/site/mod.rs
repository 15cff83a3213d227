//! A club's launch place and its phrases: a folder of TOML files becomes a checked [`Site`].
//!
//! Pure: files are read by [`crate::folders`] and handed in as [`Files`].

mod air;
pub mod bundled;
pub mod callsign;
mod check;
pub mod edit;
pub mod language;
pub mod naming;
pub mod number;
pub mod problem;
mod purpose;
mod raw;
mod sound;
pub mod spelling;
mod template;
mod texts;
pub mod words;

pub use air::{Band, Failure, Halt, Signal};
pub use callsign::Callsign;
pub use language::Language;
pub use problem::{Problem, Problems};
pub use purpose::Purpose;
pub use sound::{Noise, Sound};
pub use template::{fill, placeholders, without};

use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

/// The files of a site's folder that must be there.
pub const FILES: [&str; 4] = ["site.toml", "fleet.toml", "words.toml", "steps.toml"];
/// The file that may be there: the briefing before a launch.
pub const BRIEFING: &str = "briefing.toml";

/// What was read from a site's folder.
#[derive(Debug, Clone, Default)]
pub struct Files {
    /// The folder as the user named it, for messages.
    pub folder: String,
    /// Text of each TOML file found, by file name.
    pub texts: BTreeMap<String, String>,
    /// Every other file in the folder, as paths with `/` relative to it (recorded prompts).
    pub others: BTreeSet<String>,
    /// Files that could not be read, with the reason.
    pub unreadable: BTreeMap<String, String>,
    /// Recordings that cannot be played, with the reason, where somebody has listened to them.
    pub unplayable: BTreeMap<String, String>,
}

/// A checked site. Fields hold what the files say; nothing in it can contradict itself.
#[derive(Debug, Clone, PartialEq)]
pub struct Site {
    /// Short name, the folder's name: lower-case letters, digits and hyphens.
    pub id: String,
    /// Name on screen.
    pub name: String,
    /// Language of the calls.
    pub language: Language,
    /// Version of the site's files, as the club counts.
    pub version: String,
    /// Date of the rules the site's files follow, `YYYY-MM-DD`.
    pub rules_date: String,
    /// No real place: said on screen.
    pub invented: bool,
    /// One line about the place.
    pub about: String,
    /// Caution shown on screen, on prints and in debriefs.
    pub caution: String,
    /// Names on screen of who speaks, by the name that steps use; who has none is called by that.
    pub roles: BTreeMap<String, String>,
    /// Stations on the frequency.
    pub stations: Vec<Station>,
    /// Launch directions; the usual one first.
    pub directions: Vec<Direction>,
    /// Cables.
    pub cables: Vec<Wording>,
    /// The station of the winch that has a cable, by the cable's id; empty where there is one winch.
    pub winches: BTreeMap<String, String>,
    /// Customs of the place.
    pub customs: Customs,
    /// Light signals of the place; empty unless the site names some. They have opposite meanings in different countries.
    pub signals: Vec<Signal>,
    /// The club's aircraft.
    pub fleet: Vec<Aircraft>,
    /// Elements by id.
    pub elements: BTreeMap<String, Element>,
    /// Steps in the order of the launch.
    pub steps: Vec<Step>,
    /// A whole launch; `None` where the site has only single steps.
    pub launch: Option<Launch>,
    /// What can go wrong at the launch point.
    pub hazards: Vec<Hazard>,
    /// What can fail in the air.
    pub failures: Vec<Failure>,
    /// Stops that somebody else calls.
    pub halts: Vec<Halt>,
    /// What interrupts whoever is at work at the launch point, and what else is on the frequency.
    pub interruptions: Vec<Interruption>,
    /// Eventualities to be spoken before each launch, in order.
    pub eventualities: Vec<Eventuality>,
    /// Height bands of the briefing, lowest first.
    pub bands: Vec<Band>,
    /// What the files say and the program does not use yet; no reason not to use the site.
    pub notices: Vec<Problem>,
}

/// A station on the frequency.
#[derive(Debug, Clone, PartialEq)]
pub struct Station {
    /// Id used by steps.
    pub id: String,
    /// Name on screen.
    pub name: String,
    /// The words a call to it begins with.
    pub address: Wording,
}

/// A launch direction. Left and right swap with it.
#[derive(Debug, Clone, PartialEq)]
pub struct Direction {
    /// Id.
    pub id: String,
    /// Name on screen.
    pub name: String,
    /// Cable ids as seen from the launch point by somebody who faces the winch.
    pub cables_left_to_right: Vec<String>,
}

/// A value and the words for it.
#[derive(Debug, Clone, PartialEq)]
pub struct Wording {
    /// The value in results.
    pub id: String,
    /// Words the club teaches.
    pub taught: String,
    /// Words that mean the same and pass with advice.
    pub understood: Vec<String>,
    /// What is seen when this is the right value.
    pub scene: Option<String>,
    /// The glider's types for which it is the right one; empty where the type does not matter.
    pub types: Vec<String>,
    /// The launch directions in which it is the right one; empty where the direction does not matter.
    pub directions: Vec<String>,
    /// The cable that goes with it where it is dealt: the one that is launched first on such a day.
    pub cable: Option<String>,
    /// What makes it differ from the right one, told when it was heard instead.
    pub why: Option<String>,
}

impl Wording {
    /// A value with its words alone.
    pub(crate) fn plain(id: impl Into<String>, taught: impl Into<String>, understood: Vec<String>) -> Self {
        Self {
            id: id.into(),
            taught: taught.into(),
            understood,
            scene: None,
            types: Vec::new(),
            directions: Vec::new(),
            cable: None,
            why: None,
        }
    }

    /// All words for it, those taught first.
    pub fn texts(&self) -> impl Iterator<Item = &String> {
        std::iter::once(&self.taught).chain(&self.understood)
    }
}

/// May or must something be said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Need {
    /// Not part of the call.
    Never,
    /// May be said.
    Optional,
    /// Must be said.
    Required,
}

/// How the aircraft may be called.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CallsignCustom {
    /// Every character of the registration.
    Full,
    /// A short form once contact is made and the ground has used it (CAP 413 1.8.2).
    ShortAfterContact,
}

/// Customs of a place.
#[derive(Debug, Clone, PartialEq)]
pub struct Customs {
    /// Full or short callsigns.
    pub callsign: CallsignCustom,
    /// Whether "forty-seven sixty-one" is forbidden; otherwise it passes with advice.
    pub number_pairs_forbidden: bool,
    /// Type in the ready call; where the site does not say, it is a part like the others.
    pub type_in_ready_call: Option<Need>,
    /// Whether the cable's name may be dropped while only one is laid.
    pub cable_may_be_dropped_when_single: bool,
    /// Elements the winch driver reads back.
    pub readback_by_winch: Vec<String>,
    /// How often the release is pulled at the top.
    pub release_pulls: u8,
}

/// An aircraft of the club.
#[derive(Debug, Clone, PartialEq)]
pub struct Aircraft {
    /// Registration.
    pub registration: Callsign,
    /// Type name.
    pub kind: String,
    /// 1 or 2.
    pub seats: u8,
    /// Competition sign.
    pub competition_sign: Option<String>,
    /// Spoken forms: `registration`, `competition sign`, `last letters`, `type`.
    pub said_by: Vec<String>,
    /// The weak link named in the type's own data.
    pub weak_link: Option<String>,
    /// Overrides the site's custom for the type in the ready call.
    pub say_type: Option<bool>,
    /// Overrides whether the crew is said.
    pub say_crew: Option<bool>,
}

/// A part of a call.
#[derive(Debug, Clone, PartialEq)]
pub struct Element {
    /// Id: `address`, `callsign`, `crew` ...
    pub id: String,
    /// What it is for.
    pub purpose: Purpose,
    /// How it is asked for, in words ("are you ready"); `None` where its label will do.
    pub asked: Option<String>,
    /// Name on screen.
    pub label: String,
    /// One sentence: why it is said.
    pub why: String,
    /// Its values. Empty for the callsign, whose values are spelled.
    pub values: Vec<Wording>,
    /// Half of a wording: heard alone it leaves the element missing.
    pub incomplete: Vec<String>,
    /// Wordings of another value ("aerotow").
    pub other: Vec<Wording>,
    /// Wordings that deny the element ("not ready").
    pub negated: Vec<String>,
}

impl Element {
    /// Is its value dealt anew for each call? Not where the situation, the glider's type or the launch direction settles it.
    pub fn is_dealt(&self) -> bool {
        let open = |v: &Wording| v.types.is_empty() && v.directions.is_empty();
        !self.purpose.is_settled() && self.values.len() > 1 && self.values.iter().all(open)
    }

    /// Does the launch direction decide its right value?
    pub fn by_direction(&self) -> bool {
        self.purpose == Purpose::Direction || self.values.iter().any(|v| !v.directions.is_empty())
    }
}

/// How a step is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// On the frequency.
    Radio,
    /// Aloud, to people nearby.
    Voice,
    /// By hand: the release is operated, nothing is said.
    Hand,
    /// With a signal of the site's own, without words.
    Signal,
}

impl By {
    /// Is something said?
    pub fn has_words(self) -> bool {
        matches!(self, Self::Radio | Self::Voice)
    }
}

/// A whole launch.
#[derive(Debug, Clone, PartialEq)]
pub struct Launch {
    /// Step ids in order.
    pub order: Vec<String>,
    /// Those of them that are not part of every launch.
    pub sometimes: Vec<String>,
    /// What the site does when the winch does not answer a second call either.
    pub no_answer: String,
    /// How the winch driver refuses a ready call, and how he says that the winch is ready again.
    pub refusal: Option<Box<[Line; 2]>>,
}

/// Something seen at the launch point that must stop a launch. What is right is no site's choice: who flies pulls the
/// release, anybody else calls stop.
#[derive(Debug, Clone, PartialEq)]
pub struct Hazard {
    /// Id.
    pub id: String,
    /// Name on screen.
    pub label: String,
    /// What is seen.
    pub scene: String,
    /// Steps in which it can happen.
    pub during: Vec<String>,
    /// What is heard of it.
    pub sound: Option<Sound>,
}

/// What an interruption asks of the student.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Interrupts {
    /// Others speak on the frequency: they are waited for.
    Traffic,
    /// Others speak nearby: nothing is wanted.
    Chatter,
    /// Somebody asks the student something: an answer may be given, and the work goes on where it was.
    Question,
}

/// An interruption.
#[derive(Debug, Clone, PartialEq)]
pub struct Interruption {
    /// Id.
    pub id: String,
    /// What it asks of the student.
    pub kind: Interrupts,
    /// Steps before whose call it can come; empty for any.
    pub during: Vec<String>,
    /// What is heard before the words.
    pub sound: Option<Sound>,
    /// Who says what; `{callsign}` and `{cable}` are another glider's.
    pub lines: Vec<Line>,
}

/// A line the other side speaks.
#[derive(Debug, Clone, PartialEq)]
pub struct Line {
    /// Who speaks.
    pub role: String,
    /// Text with `{element}` in braces.
    pub text: String,
    /// A recording, relative to the site's folder.
    pub clip: Option<String>,
}

/// An exchange of the launch.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// Id.
    pub id: String,
    /// Name on screen.
    pub title: String,
    /// Who makes the call.
    pub speaker: String,
    /// The station called.
    pub to: String,
    /// Radio, voice or hand.
    pub by: By,
    /// What is seen before it.
    pub scene: Option<String>,
    /// The step whose values it reads back as they were heard.
    pub readback_of: Option<String>,
    /// The hands are busy: silence is right too, and nothing ends for it.
    pub may_be_left_out: bool,
    /// The pilot pulls the release with the words.
    pub with_release: bool,
    /// The signal that is given, where it is done by one.
    pub signal: Option<String>,
    /// The signal that is given in its place when the radio is dead.
    pub backup: Option<String>,
    /// Element ids in the taught order.
    pub elements: Vec<String>,
    /// Elements that decide the outcome.
    pub critical: Vec<String>,
    /// The call as taught, with `{element}` in braces.
    pub taught: String,
    /// Other right shapes.
    pub also_right: Vec<String>,
    /// What is said before the student's turn.
    pub prompt: Option<Line>,
    /// Answer to a complete call.
    pub answer: Option<Line>,
    /// Question for one element; `{asked}` stands for its label.
    pub ask_again: Option<Line>,
    /// Question for the whole call.
    pub ask_all_again: Option<Line>,
}

/// A part of the briefing spoken before each launch; its id is an element of the briefing's step too.
#[derive(Debug, Clone, PartialEq)]
pub struct Eventuality {
    /// Its element.
    pub id: String,
    /// Name on screen.
    pub label: String,
}

impl Site {
    /// Check a site's files. All problems are reported at once.
    pub fn check(files: &Files) -> Result<Self, Problems> {
        check::check(files)
    }

    /// A step by id.
    pub fn step(&self, id: &str) -> Option<&Step> {
        self.steps.iter().find(|s| s.id == id)
    }

    /// What an element is for; by its id where the site has no such element.
    pub fn purpose(&self, element: &str) -> Purpose {
        self.elements
            .get(element)
            .map_or_else(|| Purpose::of_id(element), |e| e.purpose)
    }

    /// The site's element for a purpose, where it has just one in mind: the first by id.
    pub fn element_for(&self, purpose: Purpose) -> Option<&Element> {
        self.elements.values().find(|e| e.purpose == purpose)
    }

    /// The station that is called in a step: of several winches the one that has the cable.
    pub fn called<'s>(&'s self, step: &'s Step, cable: &str) -> &'s str {
        let a_winch = self.winches.values().any(|w| *w == step.to);
        let of_cable = self.winches.get(cable).filter(|_| a_winch);
        of_cable.unwrap_or(&step.to)
    }

    /// The place of a purpose among the elements of a step.
    pub fn place_in(&self, step: &Step, purpose: Purpose) -> Option<usize> {
        step.elements.iter().position(|e| self.purpose(e) == purpose)
    }

    /// The step whose call stops everything.
    pub fn stop_step(&self) -> Option<&Step> {
        self.steps.iter().find(|s| self.place_in(s, Purpose::Stop).is_some())
    }

    /// The step of the ready call: the last that says readiness to somebody on the frequency, else the last that says it.
    pub fn ready_step(&self) -> Option<&Step> {
        let says = |s: &&Step| self.place_in(s, Purpose::Readiness).is_some();
        let on_air = self.steps.iter().filter(says).rfind(|s| s.by == By::Radio);
        on_air.or_else(|| self.steps.iter().rfind(says))
    }

    /// Is it the step whose call stops everything?
    pub fn is_stop(&self, step: &Step) -> bool {
        self.place_in(step, Purpose::Stop).is_some()
    }

    /// The name on screen of whoever speaks: the site's own, else the one its language has.
    pub fn role_name<'s>(&'s self, role: &'s str) -> &'s str {
        let own = self.roles.get(role).map(String::as_str);
        own.or_else(|| self.language.known(&format!("role.{role}")))
            .unwrap_or(role)
    }

    /// An aircraft by registration.
    pub fn aircraft(&self, registration: &Callsign) -> Option<&Aircraft> {
        self.fleet.iter().find(|a| &a.registration == registration)
    }

    /// What is known of a glider beside its registration, for whoever must name it: its type and its competition sign.
    pub fn about_glider(&self, registration: &Callsign) -> String {
        let Some(aircraft) = self.aircraft(registration) else {
            return String::new();
        };
        let sign = aircraft.competition_sign.as_deref();
        let parts: Vec<&str> = std::iter::once(aircraft.kind.as_str()).chain(sign).collect();
        parts.join(", ")
    }

    /// The words for a glider however it is named: its characters, its type, or its type and then characters.
    fn callsign_words(&self, value: &str) -> Option<String> {
        // A competition sign may be one character, which alone is no callsign.
        let chars = |text: &str| Callsign::from_chars(&text.chars().collect::<Vec<char>>());
        let spelled = |text: &str| chars(text).map(|c| c.spoken(self.language));
        let kind = self.fleet.iter().map(|a| &a.kind).filter(|k| {
            let rest = value.strip_prefix(k.as_str());
            rest.is_some_and(|r| r.is_empty() || r.starts_with(' '))
        });
        let Some(kind) = kind.max_by_key(|k| k.len()) else {
            return spelled(value);
        };
        let words = self.type_texts(kind).into_iter().next()?;
        match value[kind.len()..].trim() {
            "" => Some(words),
            rest => Some(format!("{words} {}", spelled(rest)?)),
        }
    }

    /// How a type is said, the taught words first: as the element for it has it, else its name with the digits as words.
    pub(crate) fn type_texts(&self, kind: &str) -> Vec<String> {
        let known = self
            .element_for(Purpose::Type)
            .and_then(|e| e.values.iter().find(|v| v.id == kind));
        let as_words = |text: &str| {
            // In print a name keeps its capitals.
            let mut written = text.split(|c: char| !c.is_alphanumeric());
            let mut as_written = |w: String| {
                let same = written.find(|o| o.to_lowercase() == w);
                same.map_or(w, str::to_owned)
            };
            let word = |w: String| match w.parse::<u8>() {
                Ok(d) if d < 10 => self.language.digit_word(d).to_owned(),
                _ => as_written(w),
            };
            let words: Vec<String> = words::of(text).into_iter().map(word).collect();
            words.join(" ")
        };
        match known.filter(|v| v.taught != kind) {
            Some(v) => v.texts().cloned().collect(),
            None => vec![as_words(kind)],
        }
    }

    /// A signal by its id.
    pub fn signal(&self, id: &str) -> Option<&Signal> {
        self.signals.iter().find(|s| s.id == id)
    }

    /// The words taught for a value of an element; `None` when the site has no such value.
    pub fn taught_words(&self, element: &str, value: &str) -> Option<String> {
        if self.purpose(element) == Purpose::Callsign {
            return self.callsign_words(value);
        }
        let element = self.elements.get(element)?;
        let mut wordings = element.values.iter().chain(&element.other);
        // Where nothing is said there are no words.
        let known = wordings.find(|w| w.id == value && !w.taught.is_empty());
        known.map(|w| w.taught.clone())
    }
}
