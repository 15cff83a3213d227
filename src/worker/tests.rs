use super::second::SecondState;
use super::*;
use crate::call::{Evidence, Outcome, Verdict, Vocabulary};
use crate::drill::{Answer, TurnState, Want};
use crate::hear::{HearError, Recogniser};
use crate::logbook::{Logbook, ModelUsed, Whose};
use crate::sound::Clip;
use std::path::Path;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};
use std::time::Instant;

mod calls;
mod home;
mod office;

/// Where it is told to hear this, it crashes.
const CRASH: &str = "crash";

/// Hears what it is told to, after a while.
struct Script {
    text: Arc<Mutex<String>>,
    takes: Duration,
}

impl Recogniser for Script {
    fn hear(&mut self, _: &Clip, vocabulary: &Vocabulary, cancel: &AtomicBool) -> Result<Evidence, HearError> {
        // Let go of before it crashes: the test goes on with it.
        let text = self.text.lock().unwrap().clone();
        assert_ne!(text, CRASH, "as the test wants it");
        let end = Instant::now() + self.takes;
        while Instant::now() < end {
            if cancel.load(Ordering::Relaxed) {
                return Err(HearError::Cancelled);
            }
            std::thread::sleep(Duration::from_millis(5));
        }
        Ok(Evidence::typed(vocabulary, &text))
    }

    fn model(&self) -> &'static str {
        "script"
    }
}

/// A worker without devices and what it was told to hear.
struct Desk {
    worker: Worker,
    text: Arc<Mutex<String>>,
    wakes: Arc<AtomicUsize>,
}

const SITUATION: &str = "G-CLRM,2,north";

impl Desk {
    fn with(logbook: LogbookPlace, takes: Duration, model: Result<(), String>) -> Self {
        let text = Arc::new(Mutex::new(String::new()));
        let heard = text.clone();
        let loader = Loader::new(move || {
            model.clone().map(|()| Loaded {
                recogniser: Box::new(Script {
                    text: heard.clone(),
                    takes,
                }),
                model: ModelUsed {
                    name: "script".into(),
                    sha1: "0".repeat(40),
                },
            })
        })
        .with_second(move |_, _, cancel| {
            let end = Instant::now() + takes;
            while Instant::now() < end {
                if cancel.load(Ordering::Relaxed) {
                    return Err(HearError::Cancelled);
                }
                std::thread::sleep(Duration::from_millis(5));
            }
            Ok("wind golf charlie".to_owned())
        });
        let wakes = Arc::new(AtomicUsize::new(0));
        let counted = wakes.clone();
        let options = Options {
            phrases: None,
            logbook,
            loader,
            sound: false,
            input: None,
            output: None,
            situation: Some(SITUATION.parse().unwrap()),
            direction: None,
            step: "ready".into(),
        };
        let worker = Worker::start(options, move || {
            counted.fetch_add(1, Ordering::Relaxed);
        })
        .unwrap();
        Self { worker, text, wakes }
    }

    fn at(folder: &Path) -> Self {
        Self::with(place(folder), Duration::ZERO, Ok(()))
    }

    fn send(&self, command: Command) {
        self.worker.send(command);
    }

    /// Waits for an event, letting others pass.
    fn until<T>(&self, wanted: impl Fn(&Event) -> Option<T>) -> T {
        let end = Instant::now() + Duration::from_secs(10);
        let mut passed = Vec::new();
        while let Some(event) = self.worker.wait(end.saturating_duration_since(Instant::now())) {
            if let Some(t) = wanted(&event) {
                return t;
            }
            passed.push(event);
        }
        panic!("waited in vain; what came: {passed:#?}");
    }

    fn state(&self, state: TurnState) {
        self.until(|e| matches!(e, Event::State(s) if *s == state).then_some(()));
    }

    fn trouble(&self, part: &str) -> String {
        self.until(|e| match e {
            Event::Trouble(t) if t.text.contains(part) => Some(t.text.clone()),
            _ => None,
        })
    }

    fn judged(&self) -> Judged {
        self.until(|e| match e {
            Event::Judged(j) => Some((**j).clone()),
            _ => None,
        })
    }

    fn stored(&self) {
        self.until(|e| matches!(e, Event::Stored(_)).then_some(()));
    }

    fn begin(&self) {
        self.send(Command::LoadSite(SiteRequest("larkmoor".into())));
        self.send(Command::Next);
        self.state(TurnState::YourCall);
    }
}

fn place(folder: &Path) -> LogbookPlace {
    LogbookPlace::Disk {
        file: folder.join("logbook.sqlite"),
        recordings: folder.join("recordings"),
    }
}

fn book(folder: &Path) -> Logbook {
    Logbook::open(&folder.join("logbook.sqlite"), &folder.join("recordings")).unwrap()
}

fn clip() -> Clip {
    Clip::from_samples(vec![0.1; 16_000])
}

#[test]
fn a_recogniser_that_crashes_is_told_and_started_again() {
    let desk = Desk::with(LogbookPlace::Memory, Duration::ZERO, Ok(()));
    desk.begin();
    CRASH.clone_into(&mut desk.text.lock().unwrap());
    desk.send(Command::Speak(Box::new(clip())));
    desk.state(TurnState::Judging);
    desk.trouble("crashed on this call and was started again");
    // Nothing waits in judging: the same call can be made again.
    desk.state(TurnState::YourCall);
    "winch golf charlie lima romeo mike two up north winch cable ready".clone_into(&mut desk.text.lock().unwrap());
    desk.send(Command::Speak(Box::new(clip())));
    assert_eq!(desk.judged().judgement.outcome, Outcome::Pass);
}

#[test]
fn a_second_listener_writes_down_the_last_call_and_can_be_stopped() {
    let second = |desk: &Desk, id| {
        desk.until(|e| match e {
            Event::Second(of, state) if *of == id && *state != SecondState::Listening => Some(state.clone()),
            _ => None,
        })
    };
    let desk = Desk::with(LogbookPlace::Memory, Duration::ZERO, Ok(()));
    desk.begin();
    "winch".clone_into(&mut desk.text.lock().unwrap());
    desk.send(Command::Speak(Box::new(clip())));
    let attempt = desk.judged().id;
    let recording = None;
    desk.send(Command::Second { attempt, recording });
    assert_eq!(
        second(&desk, attempt),
        SecondState::Wrote("wind golf charlie".to_owned())
    );

    let desk = Desk::with(LogbookPlace::Memory, Duration::from_secs(2), Ok(()));
    desk.begin();
    "winch".clone_into(&mut desk.text.lock().unwrap());
    desk.send(Command::Speak(Box::new(clip())));
    let attempt = desk.judged().id;
    desk.send(Command::Second { attempt, recording });
    desk.send(Command::StopSecond);
    assert_eq!(second(&desk, attempt), SecondState::Stopped);
}

#[test]
fn a_turn_over_two_calls_is_judged_answered_and_kept() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.send(Command::AddStudent {
        name: "Robin".into(),
        consent: true,
        by: None,
    });
    let robin = desk.until(|e| match e {
        Event::Student(s) => s.clone(),
        _ => None,
    });
    desk.begin();
    *desk.text.lock().unwrap() = "winch golf charlie lima romeo mike north winch cable ready".into();
    desk.send(Command::Speak(Box::new(clip())));
    desk.state(TurnState::Judging);
    let first = desk.judged();
    assert_eq!(first.judgement.outcome, Outcome::NotYet);
    assert_eq!(first.judgement.element("crew").unwrap().verdict, Verdict::Missing);
    assert_eq!(first.answer.line().unwrap().text, "Say again: how many on board?");
    desk.state(TurnState::YourCall);
    // The answer is typed and need hold only what was asked.
    desk.send(Command::Type("two up".into()));
    let second = desk.judged();
    assert_eq!((second.attempt, second.judgement.outcome), (2, Outcome::Pass));
    assert!(matches!(second.answer, Answer::Complete(_)));
    desk.state(TurnState::Done);
    // A complete call is not spoken again.
    desk.send(Command::Type("two up".into()));
    assert!(desk.wakes.load(Ordering::Relaxed) > 5);
    drop(desk);

    let book = book(dir.path());
    let mut kept = book.attempts(Whose::Student(robin.id), 0, 10).unwrap();
    kept.sort_by_key(|a| a.turn_attempt);
    assert_eq!(kept.len(), 2);
    assert_eq!(kept[0].turn, kept[1].turn);
    let first = book.attempt(kept[0].id).unwrap().unwrap().attempt;
    assert_eq!(first.model.unwrap().name, "script");
    assert_eq!(
        first.situation,
        serde_json::json!({"callsign": "G-CLRM", "crew": 2, "cable": "north"})
    );
    let second = book.attempt(kept[1].id).unwrap().unwrap().attempt;
    assert_eq!((second.model, second.outcome), (None, crate::logbook::Outcome::Pass));
}

#[test]
fn a_call_being_judged_is_thrown_away_at_once() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::with(place(dir.path()), Duration::from_secs(20), Ok(()));
    desk.begin();
    desk.send(Command::Speak(Box::new(clip())));
    desk.state(TurnState::Judging);
    let start = Instant::now();
    desk.send(Command::Cancel);
    desk.state(TurnState::YourCall);
    assert!(start.elapsed() < Duration::from_millis(300), "{:?}", start.elapsed());
    // The next one waits for nothing.
    desk.send(Command::Type("winch".into()));
    assert_eq!(desk.judged().attempt, 1);
}

#[test]
fn without_a_model_calls_are_typed_and_it_is_looked_for_again_when_asked() {
    let dir = tempfile::tempdir().unwrap();
    let way_out = "Run `cableside model fetch base`";
    let desk = Desk::with(place(dir.path()), Duration::ZERO, Err(way_out.into()));
    let missing = |e: &Event| match e {
        Event::Model(ModelState::Missing(why)) => Some(why.text.clone()),
        _ => None,
    };
    assert_eq!(desk.until(missing), way_out);
    desk.begin();
    desk.send(Command::Press);
    desk.trouble(way_out);
    desk.send(Command::Type("winch".into()));
    desk.judged();
    desk.send(Command::LoadModel);
    desk.until(missing);
}

#[test]
fn a_logbook_that_cannot_be_opened_is_told_and_practice_goes_on() {
    let dir = tempfile::tempdir().unwrap();
    std::fs::write(dir.path().join("logbook.sqlite"), "no database at all, but some text").unwrap();
    let desk = Desk::at(dir.path());
    let told = desk.trouble("gone when the program ends");
    assert!(told.contains("set-aside"), "{told}");
    desk.send(Command::AddStudent {
        name: "Robin".into(),
        consent: true,
        by: None,
    });
    desk.until(|e| matches!(e, Event::Student(Some(_))).then_some(()));
    desk.begin();
    desk.send(Command::Type("winch".into()));
    desk.judged();
    desk.stored();
    drop(desk);
    assert!(!dir.path().join("recordings").exists());
}

/// The next change of the launch that is what is waited for.
fn flown(desk: &Desk, wanted: impl Fn(&Flown) -> bool) -> Flown {
    desk.until(|e| match e {
        Event::Launch(Some(f)) if wanted(f) => Some((**f).clone()),
        _ => None,
    })
}

fn launch(desk: &Desk, role: &str, course: crate::drill::Course, steps: &[&str]) {
    desk.send(Command::LoadSite(SiteRequest("larkmoor".into())));
    desk.send(Command::Launch(Box::new(LaunchRequest {
        role: role.into(),
        steps: Some(steps.iter().map(|s| (*s).to_owned()).collect()),
        course: Some(course),
        ..LaunchRequest::default()
    })));
}

#[test]
fn a_launch_goes_from_the_call_to_the_release_and_its_calls_are_kept() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    let steps = ["ready", "readback", "slack", "release"];
    launch(&desk, "pilot", crate::drill::Course::default(), &steps);
    let mine = |want| move |f: &Flown| f.state == TurnState::YourCall && f.want == Some(want);
    let plain = flown(&desk, mine(Want::Call));
    assert_eq!(plain.words, None);
    *desk.text.lock().unwrap() = "winch golf charlie lima romeo mike north winch cable ready".into();
    desk.send(Command::Speak(Box::new(clip())));
    flown(&desk, |f| f.state == TurnState::Judging);
    let asked = flown(&desk, |f| f.saying.is_some());
    assert_eq!(asked.saying.unwrap().text, "Say again: how many on board?");
    flown(&desk, mine(Want::Call));
    desk.send(Command::ShowWords);
    let shown = flown(&desk, |f| f.words.is_some());
    assert!(shown.words.unwrap().contains("Lima Romeo Mike"));
    desk.send(Command::Type("two up".into()));
    let heard = flown(&desk, mine(Want::Readback));
    assert_eq!(heard.words, None, "they were of the call before");
    desk.send(Command::LetPass);
    flown(&desk, mine(Want::Release));
    desk.send(Command::Hand);
    desk.send(Command::Hand);
    let end = flown(&desk, |f| f.ending.is_some());
    assert_eq!(end.ending, Some(crate::drill::Ending::Complete));
    assert_eq!(end.state, TurnState::Done);
    assert!(end.record.windows(2).all(|w| w[0].0 <= w[1].0));
    drop(desk);
    let kept = book(dir.path()).attempts(Whose::Anyone, 0, 10).unwrap();
    assert_eq!(kept.len(), 2);
    assert_eq!(kept[0].turn, kept[1].turn);
    // The newest first: what was read aloud is marked as such.
    assert!(
        kept[0].situation.to_string().contains("with-words"),
        "{}",
        kept[0].situation
    );
    assert!(
        !kept[1].situation.to_string().contains("with-words"),
        "{}",
        kept[1].situation
    );
    let runs = book(dir.path()).runs(Whose::Anyone, 0, 10).unwrap();
    assert_eq!(runs.len(), 1);
    assert_eq!(runs[0].ending.as_deref(), Some("complete"));
    assert_eq!(runs[0].record.as_array().unwrap().len(), end.record.len());
    let in_run = kept[0].part.run.as_ref().unwrap();
    assert_eq!((in_run.run, in_run.role.as_deref()), (runs[0].run.id, Some("pilot")));
}

#[test]
fn in_a_hazard_the_hand_is_obeyed_and_silence_is_an_answer_after_a_time() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    let course = || crate::drill::Course {
        hazard: Some(("wing drops".into(), "slack".into())),
        ..Default::default()
    };
    launch(&desk, "pilot", course(), &["slack"]);
    let now = flown(&desk, |f| f.want == Some(Want::Hazard));
    assert_eq!(now.picture.hazard.as_deref(), Some("wing drops"));
    desk.send(Command::Hand);
    flown(&desk, |f| f.want == Some(Want::Words));
    desk.send(Command::LetPass);
    let end = flown(&desk, |f| f.ending.is_some());
    assert_eq!(end.ending, Some(crate::drill::Ending::ByHand));
    // Nobody does anything: the hazard does not wait.
    let begun = Instant::now();
    launch(&desk, "wing runner", course(), &["slack"]);
    let end = flown(&desk, |f| f.ending.is_some());
    assert_eq!(end.ending, Some(crate::drill::Ending::HazardMissed));
    let waited = begun.elapsed().as_secs_f32();
    let patience = crate::drill::Pace::Normal.patience(Want::Hazard);
    assert!((patience..patience + 3.0).contains(&waited), "{waited}");
}

#[test]
fn a_launch_is_given_up_for_a_turn_and_a_role_that_is_not_there_is_named() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    launch(&desk, "signaller", crate::drill::Course::default(), &["ready"]);
    let told = desk.trouble("nobody is \"signaller\"");
    assert!(told.contains("wing runner"), "{told}");
    launch(&desk, "pilot", crate::drill::Course::default(), &["ready"]);
    flown(&desk, |f| f.state == TurnState::YourCall);
    desk.send(Command::Next);
    desk.until(|e| matches!(e, Event::Launch(None)).then_some(()));
    desk.state(TurnState::YourCall);
    // What belongs to a launch does nothing in a turn.
    for command in [Command::Hand, Command::LetPass, Command::Typing, Command::LeaveLaunch] {
        desk.send(command);
    }
    desk.send(Command::Type("winch".into()));
    assert_eq!(desk.judged().attempt, 1);
}

#[test]
fn without_a_loudspeaker_the_call_of_an_ear_drill_is_read_and_counts_for_nothing() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.send(Command::LoadSite(SiteRequest("larkmoor".into())));
    let ear = |e: &Event| match e {
        Event::Ear(ear) => Some((**ear).clone()),
        _ => None,
    };
    for number in 1..4 {
        desk.send(Command::Ear(EarRequest::default()));
        let dealt = desk.until(ear);
        assert_eq!((dealt.number, &dealt.answer), (number, &None));
        desk.trouble("no loudspeaker");
        assert!(!dealt.unheard && desk.until(ear).unheard);
        desk.send(Command::AnswerEar(dealt.task.right.clone()));
        let answered = desk.until(ear);
        assert_eq!((answered.answer, answered.right), (Some(dealt.task.right), 0));
    }
    drop(desk);
    assert_eq!(book(dir.path()).attempts(Whose::Anyone, 0, 10).unwrap(), []);
}

#[test]
fn what_cannot_be_done_is_said() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.send(Command::Next);
    desk.trouble("Choose a site");
    desk.send(Command::LoadSite(SiteRequest("nowhere".into())));
    desk.trouble("larkmoor");
    desk.send(Command::LoadSite(SiteRequest("erlengrund".into())));
    desk.send(Command::Next);
    desk.trouble("no cable \"north\"");
    desk.send(Command::ChooseStudentByName("Nobody".into()));
    let told = desk.until(|e| match e {
        Event::NoSuchStudent(why) => Some(why.text.clone()),
        _ => None,
    });
    assert!(told.contains("No student"), "{told}");
    desk.begin();
    desk.send(Command::Press);
    desk.trouble("no microphone");
    desk.send(Command::PlayOwn);
    desk.trouble("no spoken call");
    // Commands out of place do nothing.
    for command in [
        Command::Release,
        Command::Cancel,
        Command::StopPlaying,
        Command::PlayAnswer,
    ] {
        desk.send(command);
    }
    desk.send(Command::Type(String::new()));
    assert_eq!(desk.judged().judgement.outcome, Outcome::NothingHeard);
}

#[test]
fn an_attempt_is_held_out_of_the_record_and_put_back() {
    let dir = tempfile::tempdir().unwrap();
    let desk = Desk::at(dir.path());
    desk.begin();
    desk.send(Command::Type("winch".into()));
    let attempt = desk.judged().id;
    desk.stored();
    for held in [true, false, true] {
        desk.send(Command::HoldOut { attempt, held });
        desk.until(|e| matches!(e, Event::HeldOut { held: h, .. } if *h == held).then_some(()));
    }
    desk.send(Command::HoldOut {
        attempt: uuid::Uuid::from_u128(1),
        held: true,
    });
    desk.trouble("attempt");
    drop(desk);
    assert!(book(dir.path()).attempt(attempt).unwrap().unwrap().attempt.held_out);
}
