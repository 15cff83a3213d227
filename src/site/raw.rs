//! The files of a site as written: nothing checked but the shape. Field by field documented in `phrases/README.md`.

use super::language::Language;
use serde::Deserialize;
use std::collections::BTreeMap;
use toml::Spanned;

type Text = Spanned<String>;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHead {
    pub id: Text,
    pub name: Text,
    pub language: Language,
    pub version: Text,
    pub rules_date: Spanned<toml::value::Datetime>,
    #[serde(default)]
    pub invented: bool,
    #[serde(default)]
    pub about: String,
    pub caution: Text,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawStation {
    pub id: Text,
    pub name: Text,
    pub address: Text,
    #[serde(default)]
    pub understood: Vec<Text>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawDirection {
    pub id: Text,
    pub name: Text,
    #[serde(default)]
    pub usual: bool,
    pub cables_left_to_right: Vec<Text>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCable {
    pub id: Text,
    pub taught: Text,
    /// The winch it belongs to, where there are several.
    #[serde(default)]
    pub station: Option<Text>,
    #[serde(default)]
    pub understood: Vec<Text>,
}

#[derive(Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum RawNeed {
    Never,
    Optional,
    Required,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawCustoms {
    #[serde(default)]
    pub calls_winch: Option<Text>,
    #[serde(default)]
    pub says_slack_out: Option<Text>,
    #[serde(default)]
    pub slack_out_times: Option<Spanned<u8>>,
    #[serde(default)]
    pub stop_times: Option<Spanned<u8>>,
    pub callsign: Text,
    pub number_pairs_in_callsign: Text,
    #[serde(default)]
    pub type_in_ready_call: Option<Spanned<RawNeed>>,
    #[serde(default)]
    pub cable_may_be_dropped_when_single: bool,
    #[serde(default)]
    pub readback_by_winch: Vec<Text>,
    #[serde(default)]
    pub release_pulls: Option<Spanned<u8>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawSignal {
    #[serde(default)]
    pub id: Option<Text>,
    #[serde(default)]
    pub by: Option<Text>,
    /// What is seen or heard; sites written before signals had an effect call it `light`.
    #[serde(alias = "light")]
    pub shows: Text,
    pub meaning: Text,
    #[serde(default)]
    pub stops: bool,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawAircraft {
    pub registration: Text,
    #[serde(rename = "type")]
    pub kind: Text,
    pub seats: Spanned<u8>,
    #[serde(default)]
    pub competition_sign: Option<Text>,
    #[serde(default)]
    pub said_by: Vec<Text>,
    #[serde(default)]
    pub weak_link: Option<String>,
    /// Crew or type said only for some aircraft: overrides the site's custom.
    #[serde(default)]
    pub say_type: Option<bool>,
    #[serde(default)]
    pub say_crew: Option<bool>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawWording {
    pub id: Text,
    pub taught: Text,
    #[serde(default)]
    pub understood: Vec<Text>,
    #[serde(default)]
    pub scene: Option<String>,
    /// The glider's types for which it is the right one.
    #[serde(default)]
    pub types: Vec<Text>,
    /// The cable that is launched when this value is dealt.
    #[serde(default)]
    pub cable: Option<Text>,
    /// The launch directions in which it is the right one.
    #[serde(default)]
    pub directions: Vec<Text>,
    /// What makes it differ from the right one, told when it was heard instead.
    #[serde(default)]
    pub why: Option<Text>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawNumber {
    pub from: Spanned<u16>,
    pub to: Spanned<u16>,
    /// With `{number}` in it.
    pub taught: Text,
    #[serde(default)]
    pub understood: Vec<Text>,
    pub scene: Text,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawElement {
    /// What the element is for; without it its id says so.
    #[serde(default, rename = "for")]
    pub purpose: Option<Text>,
    pub label: Text,
    /// How it is asked for, in words.
    #[serde(default)]
    pub asked: Option<Text>,
    pub why: Text,
    #[serde(default)]
    pub value: Vec<RawWording>,
    #[serde(default)]
    pub incomplete: Vec<Text>,
    #[serde(default)]
    pub other: Vec<RawWording>,
    #[serde(default)]
    pub negated: Vec<Text>,
    /// Its values are numbers that are dealt.
    #[serde(default)]
    pub number: Option<RawNumber>,
    /// How often the words are said; fewer times leave the element missing.
    #[serde(default)]
    pub times: Option<Spanned<u8>>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLine {
    pub role: Text,
    pub text: Text,
    /// A recording of the line, a path inside the site's folder.
    #[serde(default)]
    pub clip: Option<Text>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawStep {
    pub id: Text,
    pub title: Text,
    pub speaker: Text,
    pub to: Text,
    #[serde(default)]
    pub by: Option<Text>,
    #[serde(default)]
    pub scene: Option<String>,
    #[serde(default)]
    pub readback_of: Option<Text>,
    /// The hands are busy: silence is right too.
    #[serde(default)]
    pub may_be_left_out: bool,
    /// The release is pulled with the words.
    #[serde(default)]
    pub with_release: bool,
    /// The signal given, where by = "signal".
    #[serde(default)]
    pub signal: Option<Text>,
    /// The signal that is given instead when the radio is dead.
    #[serde(default)]
    pub backup: Option<Text>,
    #[serde(default)]
    pub elements: Vec<Text>,
    #[serde(default)]
    pub critical: Vec<Text>,
    pub taught: Text,
    #[serde(default)]
    pub also_right: Vec<Text>,
    #[serde(default)]
    pub prompt: Option<RawLine>,
    #[serde(default)]
    pub answer: Option<RawLine>,
    #[serde(default)]
    pub ask_again: Option<RawLine>,
    #[serde(default)]
    pub ask_all_again: Option<RawLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawLaunch {
    pub order: Vec<Text>,
    #[serde(default)]
    pub sometimes: Vec<Text>,
    pub no_answer: Text,
    /// The winch driver's refusal, and what he says when the winch is ready.
    #[serde(default)]
    pub refusal: Option<RawLine>,
    #[serde(default)]
    pub ready_again: Option<RawLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHazard {
    pub id: Text,
    pub label: Text,
    pub scene: Text,
    pub during: Vec<Text>,
    #[serde(default)]
    pub sound: Option<Text>,
    /// A recording of it, a path inside the site's folder.
    #[serde(default)]
    pub clip: Option<Text>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawFailure {
    pub id: Text,
    pub label: Text,
    pub scene: Text,
    pub after: Vec<Text>,
    /// Only where these elements have these values.
    #[serde(default)]
    pub when: BTreeMap<String, Text>,
    /// The height band in which it happens.
    #[serde(default)]
    pub band: Option<Text>,
    /// The step whose words may follow.
    #[serde(default)]
    pub call: Option<Text>,
    #[serde(default)]
    pub sound: Option<Text>,
    #[serde(default)]
    pub clip: Option<Text>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawHalt {
    pub id: Text,
    pub during: Vec<Text>,
    /// Who calls stop, and how.
    pub called: RawLine,
    /// Who says that it is settled.
    pub cleared: RawLine,
    /// The step from which the launch begins again.
    pub again: Text,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawRole {
    pub id: Text,
    pub name: Text,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawInterruption {
    pub id: Text,
    pub kind: Text,
    #[serde(default)]
    pub during: Vec<Text>,
    #[serde(default)]
    pub sound: Option<Text>,
    #[serde(default)]
    pub clip: Option<Text>,
    #[serde(default)]
    pub line: Vec<RawLine>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawEventuality {
    pub id: Text,
    pub label: Text,
    #[serde(default)]
    pub why: Option<String>,
    /// The words, where they are the same for every glider and day.
    #[serde(default)]
    pub taught: Option<Text>,
    #[serde(default)]
    pub understood: Vec<Text>,
    /// Else one for each type or day.
    #[serde(default)]
    pub value: Vec<RawWording>,
    #[serde(default)]
    pub incomplete: Vec<Text>,
    #[serde(default)]
    pub other: Vec<RawWording>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub struct RawBand {
    pub name: Text,
    /// Above the field.
    pub from: Spanned<u16>,
    #[serde(default)]
    pub to: Option<Spanned<u16>>,
    /// "metres" or "feet".
    #[serde(default)]
    pub unit: Option<Text>,
    pub answer: Text,
}

/// The elements of `words.toml`, by id.
pub type RawElements = BTreeMap<String, RawElement>;
