//! What a judged call comes to: the one thing that matters, in one sentence, and what was said for each element.

use super::look;
use super::words::Words;
use crate::call::{ElementVerdict, Outcome, Verdict};
use crate::drill::{Answer, Note};
use crate::site::{Site, Step};
use crate::sound::ClipTrouble;
use crate::worker::Judged;

/// A press shorter than this was let go at once, seconds.
const LET_GO: f64 = 0.4;

/// What a call comes to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
    /// Judged as any other.
    Call,
    /// Hardly a word of it is of this call.
    AnotherCall,
    /// Nothing of what was asked for is in it.
    NoAnswer,
    /// The key was let go at once.
    LetGo,
    /// The microphone failed.
    Void,
    /// Stop was called, where another call was wanted.
    Stopped,
    /// It was said that something is not ready.
    HeldBack,
}

/// What a judged call is.
pub(super) fn kind(judged: &Judged) -> Kind {
    if judged.void {
        return Kind::Void;
    }
    if matches!(judged.answer, Answer::Stopped(_)) {
        return Kind::Stopped;
    }
    if judged.answer == Answer::NothingMoves {
        return Kind::HeldBack;
    }
    let j = &judged.judgement;
    let short = judged.clip.as_ref().is_some_and(|c| {
        let held = c.keying.map_or(c.seconds(), |k| k.press_to_release);
        held < LET_GO
    });
    if short && j.outcome != Outcome::Pass {
        return Kind::LetGo;
    }
    let now: Vec<&ElementVerdict> = j
        .elements
        .iter()
        .filter(|e| e.critical && !judged.kept.contains(&e.element))
        .collect();
    // A wrong value is of this call too.
    let of_this = |e: &&&ElementVerdict| matches!(e.verdict, Verdict::Said | Verdict::Wrong);
    let said = now.iter().filter(of_this).count();
    let undone = matches!(j.outcome, Outcome::NotYet | Outcome::SayAgain);
    if judged.attempt == 1 && undone && now.len() >= 3 && 3 * said <= now.len() {
        return Kind::AnotherCall;
    }
    // An answer to a question holds one part alone.
    let none = |e: &&ElementVerdict| e.verdict == Verdict::Missing && e.heard.is_none();
    if judged.attempt > 1 && j.outcome == Outcome::NotYet && !now.is_empty() && now.iter().all(none) {
        return Kind::NoAnswer;
    }
    Kind::Call
}

/// The one thing that matters. `open`: the words of the call may be named; on a retry they are not, or it were reading aloud.
pub(super) fn one_thing(words: Words, site: &Site, step: &Step, judged: &Judged, open: bool) -> String {
    let say = |key| words.say(key).to_owned();
    match kind(judged) {
        Kind::Void => return void(words, judged),
        Kind::Stopped => return say("one.stopped"),
        Kind::HeldBack => return say("one.held_back"),
        Kind::LetGo => return say("one.let_go"),
        Kind::AnotherCall => return say("one.another_call"),
        Kind::NoAnswer => return say("one.no_answer"),
        Kind::Call => {}
    }
    let j = &judged.judgement;
    match j.outcome {
        // Where hands are busy silence is right: nobody waits for these words.
        Outcome::NothingHeard if step.may_be_left_out => Note::LeftOut.text(words.language()),
        Outcome::NothingHeard => match judged.evidence.silence {
            Some(silence) => silence.text(words.language()),
            None => say("one.nothing"),
        },
        Outcome::Pass if site.is_stop(step) => say("one.stop_passed"),
        Outcome::Pass => {
            let left_out = j.elements.iter().filter(|e| e.verdict == Verdict::Missing);
            let parts: Vec<String> = left_out.map(|e| part(words, site, e)).collect();
            if parts.is_empty() {
                say("one.pass")
            } else {
                words.fill("one.pass_without", &[("parts", &parts.join(", "))])
            }
        }
        Outcome::SayAgain => {
            let open = j.elements.iter().filter(|e| e.critical && e.verdict == Verdict::Unsure);
            let parts: Vec<String> = open.map(|e| part(words, site, e)).collect();
            words.fill("one.unsure", &[("parts", &parts.join(", "))])
        }
        Outcome::NotYet => match j.raised(site) {
            Some(e) => fault(words, site, e, open),
            None => say("one.not_yet"),
        },
    }
}

fn void(words: Words, judged: &Judged) -> String {
    let troubles = judged.clip.iter().flat_map(|c| &c.troubles);
    let key = troubles.fold("one.void_lost", |key, t| match t {
        ClipTrouble::AllZeros { .. } => "one.void_muted",
        ClipTrouble::Dropped { .. } if key != "one.void_muted" => "one.void_dropped",
        ClipTrouble::DeviceLost { .. } => "one.void_lost",
        _ => key,
    });
    words.say(key).to_owned()
}

/// One fault in a sentence: what was said, and what is so.
fn fault(words: Words, site: &Site, e: &ElementVerdict, open: bool) -> String {
    let part = part(words, site, e);
    let right = site
        .taught_words(&e.element, &e.expected)
        .unwrap_or_else(|| e.expected.clone());
    let heard = said(site, e);
    let facts = [
        ("part", part.as_str()),
        ("right", right.as_str()),
        ("heard", heard.as_deref().unwrap_or_default()),
    ];
    let key = match (e.verdict, heard.is_some(), open) {
        (Verdict::Wrong, true, _) => "one.wrong",
        (Verdict::Wrong, false, _) => "one.wrong_unknown",
        (_, true, true) => "one.half",
        (_, false, true) => "one.missing",
        (_, _, false) => "one.missing_hidden",
    };
    words.fill(key, &facts)
}

/// An element's name inside a sentence.
fn part(words: Words, site: &Site, e: &ElementVerdict) -> String {
    let label = site
        .elements
        .get(&e.element)
        .map_or(e.element.as_str(), |x| x.label.as_str());
    if words == Words::English {
        site.language.inside_a_sentence(label)
    } else {
        label.to_owned()
    }
}

/// What was said for an element, in the site's words; `None` where nothing was.
pub(super) fn said(site: &Site, e: &ElementVerdict) -> Option<String> {
    let heard = e.heard.as_ref()?;
    Some(site.taught_words(&e.element, heard).unwrap_or_else(|| heard.clone()))
}

/// The word for a verdict. Half of an element's words were heard and are shown: "missing" beside them would contradict them.
pub(super) fn key(e: &ElementVerdict) -> &'static str {
    if e.verdict == Verdict::Missing && e.heard.is_some() {
        "verdict.half"
    } else {
        look::verdict_key(e.verdict)
    }
}

/// What stands on the tile of an element that this call said something about: what was said, as it was said where that is known.
pub(super) fn on_tile(site: &Site, step: &Step, judged: &Judged, e: &ElementVerdict) -> Option<String> {
    let number = step.elements.iter().position(|x| *x == e.element)?;
    let best = judged.evidence.readings.first().map(|r| &r.reading);
    let mention = best.and_then(|r| {
        let mut mentions = r.mentions.iter().filter(|m| m.element == number);
        mentions.next_back().and_then(|m| r.words.get(m.span.0..m.span.1))
    });
    match (e.verdict, mention) {
        // Words that are this element's only in one way to read them are none of its own: beside "missing" stands nothing.
        (Verdict::Missing, _) => e.heard.clone(),
        (_, Some(spoken)) if !spoken.is_empty() => Some(spoken.join(" ")),
        _ => said(site, e),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::call::{Evidence, Situation, Vocabulary, judge, judge::Limits};
    use crate::drill::Turn;
    use crate::site::Callsign;

    fn judged(typed: &str) -> Judged {
        let site = super::super::pagetest::larkmoor();
        let step = site.step("ready").unwrap();
        let situation = Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north");
        let evidence = Evidence::typed(&Vocabulary::of(&site, step), typed);
        let judgement = judge(&site, step, &situation, &evidence, &Limits::DEFAULT);
        let answer = Turn::new(situation).judged(&site, step, &judgement);
        Judged {
            id: uuid::Uuid::nil(),
            judgement,
            kept: Vec::new(),
            evidence,
            answer,
            attempt: 1,
            troubles: Vec::new(),
            spoken: false,
            clip: None,
            milliseconds: 1,
            over: false,
            void: false,
        }
    }

    fn says(typed: &str, open: bool) -> String {
        let site = super::super::pagetest::larkmoor();
        one_thing(Words::English, &site, site.step("ready").unwrap(), &judged(typed), open)
    }

    #[test]
    fn the_first_line_names_what_was_said_and_what_is_so() {
        let south = "winch, golf charlie lima romeo mike, two up, south winch cable, ready";
        assert_eq!(says(south, false), "You said \"south\"; the cable is \"north\".");
        let crewless = "winch, golf charlie lima romeo mike, north winch cable, ready";
        assert!(
            !says(crewless, false).contains("two up"),
            "on a retry the words are the student's"
        );
        assert!(says(crewless, true).contains("two up"));
        let right = "winch, golf charlie lima romeo mike, two up, north winch cable, ready";
        assert_eq!(says(right, true), Words::English.say("one.pass"));
    }

    #[test]
    fn what_is_no_call_of_this_kind_is_met_kindly() {
        let hello = judged("hello winch we are ready to go");
        assert_eq!(kind(&hello), Kind::AnotherCall);
        assert_eq!(
            kind(&judged(
                "winch, golf charlie lima romeo mike, two up, south winch cable"
            )),
            Kind::Call
        );
        assert_eq!(kind(&Judged { void: true, ..hello }), Kind::Void);
    }

    #[test]
    fn what_was_said_in_the_attempt_before_is_remembered_in_its_own_words() {
        use crate::worker::{Dealt, Event};
        let mut shown = super::super::shown::Shown::default();
        let call = judged("winch, golf charlie lima romeo mike, on the north winch cable, ready");
        shown.take(Event::SiteLoaded(super::super::pagetest::larkmoor()));
        shown.take(Event::Dealt(Dealt {
            situation: Situation::new(Callsign::parse("G-CLRM").unwrap(), 2, "north"),
            step: "ready".into(),
            number: 1,
        }));
        let id = call.id;
        let said = on_tile(
            shown.site.as_ref().unwrap(),
            shown.step().unwrap().1,
            &call,
            call.judgement.element("cable").unwrap(),
        );
        shown.take(Event::Judged(Box::new(call)));
        shown.take(Event::Stored(id));
        assert_eq!(shown.earlier.get("cable"), said.as_ref());
        assert!(!shown.earlier.contains_key("crew"), "it was not said");
        let more = Judged {
            kept: vec!["cable".into()],
            ..judged("two up")
        };
        shown.take(Event::Judged(Box::new(more)));
        shown.take(Event::Stored(id));
        assert_eq!(
            shown.earlier.get("cable"),
            said.as_ref(),
            "the answer says nothing of it"
        );
        assert_eq!(shown.earlier.get("crew").map(String::as_str), Some("two up"));
        shown.take(Event::Student(None));
        assert!(shown.earlier.is_empty());
    }

    #[test]
    fn a_tile_shows_what_was_said() {
        let site = super::super::pagetest::larkmoor();
        let step = site.step("ready").unwrap();
        let call = judged("winch, golf charlie lima romeo mike, on the south cable, ready");
        let tile = |id: &str| on_tile(&site, step, &call, call.judgement.element(id).unwrap());
        assert_eq!(tile("crew"), None);
        assert!(tile("cable").unwrap().contains("south"));
        assert_eq!(tile("callsign").as_deref(), Some("golf charlie lima romeo mike"));
    }
}
