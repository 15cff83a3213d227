//! Begin and end of each word in the sound: the decoder's attention says which frames each token was read from, in order;
//! energy says where the sound between two pauses begins and ends.

use super::decoder::{Decoder, FRAMES, Token};
use super::evidence::syllables;
use super::lattice::Lattice;
use super::search::{Found, Path};
use crate::call::Place;

/// A word's place is known when at least this share of one of its tokens' attention lies in it or close by.
const THERE: f32 = 0.3;
/// Close by: frames of 20 ms.
const NEAR: usize = 6;
/// A border moves to the nearest edge of a pause when it is this close (seconds).
const SNAP: f32 = 0.2;

/// The place of each word of a path; `None` where the attention does not show it. `sounding` are the stretches with sound,
/// `seconds` the length of the sound heard.
pub fn of_words(decoder: &impl Decoder, path: &Path, sounding: &[Place], seconds: f32) -> Vec<Option<Place>> {
    let frames = (seconds * FRAMES).ceil() as usize;
    let rows: Option<Vec<Vec<f32>>> = (0..=path.tokens.len())
        .map(|t| row(decoder, &path.tokens[..t], frames))
        .collect();
    let Some(rows) = rows.filter(|_| frames > 0) else {
        return vec![None; path.words.len()];
    };
    let borders = align(&contrast(&rows), frames);
    path.spans
        .iter()
        .map(|tokens| {
            let (from, to) = (borders[tokens.start], borders[tokens.end]);
            let (near_from, near_to) = (from.saturating_sub(NEAR), (to + NEAR).min(frames));
            let there = tokens
                .clone()
                .any(|t| rows[t][near_from..near_to].iter().sum::<f32>() >= THERE);
            let place = Place {
                begin: from as f32 / FRAMES,
                end: to as f32 / FRAMES,
            };
            (there && from < to).then(|| snapped(place, sounding))?
        })
        .collect()
}

/// Shorter pieces before the first and after the last word belong to them (seconds)...
const AT_ENDS: f32 = 0.12;
/// ...and shorter pieces between two words, where the border is less certain.
const BETWEEN: f32 = 0.6;

/// Paths lighter than the best by more than this are not asked (nats).
const ASKED: f32 = 20.0;
/// Sound without words costs this (nats a second) beyond what may be a breath or a wrong border (seconds).
const UNREAD: f32 = 6.0;
const BREATH: f32 = 0.3;
/// No more than this in all (nats): words that explain the sound much worse are not what was spoken there either, and what
/// is left unread then says so.
const MOST_UNREAD: f32 = 6.0;
/// The same where the model is sure of the whole text that it wrote: then what is left out was spoken.
const MOST_UNREAD_SURE: f32 = 30.0;

/// Makes paths lighter that leave sound unread, and puts them in order again: the model writes the beginning of a call and
/// stops as willingly as it writes the whole, but the rest was spoken.
pub fn weigh_unread(
    decoder: &impl Decoder,
    found: &mut Found,
    lattice: &Lattice,
    sounding: &[Place],
    seconds: f32,
    sure: bool,
) {
    let most = if sure { MOST_UNREAD_SURE } else { MOST_UNREAD };
    let best = found.paths.first().map_or(0.0, |p| p.score);
    for path in found.paths.iter_mut().take_while(|p| p.score > best - ASKED) {
        let places = of_words(decoder, path, sounding, seconds);
        let syllables: Vec<usize> = path
            .words
            .iter()
            .map(|w| syllables(lattice.language, lattice.word(*w)))
            .collect();
        let unread = unread(&places, &syllables, sounding, false);
        let too_much: f32 = unread.iter().map(|u| (u.end - u.begin - BREATH).max(0.0)).sum();
        path.score -= (UNREAD * too_much).min(most);
    }
    found
        .paths
        .sort_by(|a, b| b.score.total_cmp(&a.score).then_with(|| a.words.cmp(&b.words)));
}

/// No syllable is shorter than this, and hardly one longer (seconds).
const SHORTEST_SYLLABLE: f32 = 0.05;
const LONGEST_SYLLABLE: f32 = 0.35;
/// The last word of a call may be drawn out to this for each syllable (seconds).
const DRAWN_OUT: f32 = 0.45;

/// However slowly somebody speaks, a word lasts no longer than this for each syllable, and once more (seconds). Of 380 calls judged with an
/// outcome none that passed has a longer word; the places that are longer are those of words that the sound of others was given to.
const AT_LENGTH: f32 = 0.5;
const AT_LENGTH_ONCE: f32 = 1.5;

/// Places no longer than their words can be spoken. The frames behind the last word that was read go to it, however many they are: the
/// rest of them was read by nobody. The first word keeps its end, every other its beginning.
pub fn as_spoken(places: &[Option<Place>], syllables: &[usize]) -> Vec<Option<Place>> {
    let mut first = true;
    let spoken = |(place, syllables): (&Option<Place>, &usize)| {
        let longest = AT_LENGTH_ONCE + AT_LENGTH * *syllables as f32;
        let place = (*place)?;
        let keeps_its_end = std::mem::take(&mut first) && places.len() > 1;
        let cut = if keeps_its_end {
            Place {
                begin: place.begin.max(place.end - longest),
                ..place
            }
        } else {
            Place {
                end: place.end.min(place.begin + longest),
                ..place
            }
        };
        Some(cut)
    };
    places.iter().zip(syllables).map(spoken).collect()
}

/// The stretches of sound that no word was read from. A word whose place is not known, or is shorter than it can be spoken,
/// is taken to fill the room between its neighbours; at the beginning and at the end of the call it fills what its syllables
/// can. `syllables` of each word.
///
/// `ended`: the model itself wrote these words and ended; then the last word may be drawn out in the same breath.
pub fn unread(places: &[Option<Place>], syllables: &[usize], sounding: &[Place], ended: bool) -> Vec<Place> {
    let known: Vec<(usize, Place)> = places
        .iter()
        .zip(syllables)
        .enumerate()
        .filter_map(|(n, (p, s))| p.map(|p| (n, p, *s)))
        .filter(|(_, p, s)| p.end - p.begin >= SHORTEST_SYLLABLE * *s as f32)
        .map(|(n, p, _)| (n, p))
        .collect();
    let mut read: Vec<Place> = known.iter().map(|(_, p)| *p).collect();
    for pair in known.windows(2).filter(|p| p[1].0 > p[0].0 + 1) {
        read.push(pair[0].1.with(pair[1].1));
    }
    let room = |words: &[usize]| LONGEST_SYLLABLE * words.iter().sum::<usize>() as f32;
    if let (Some((first, begin)), Some((last, end))) = (known.first(), known.last()) {
        let before = room(&syllables[..*first]);
        let after = room(&syllables[(last + 1).min(syllables.len())..]);
        read.extend(filled(sounding.iter().rev().copied(), before, |s, left| Place {
            begin: s.begin.max(s.end.min(begin.begin) - left),
            end: s.end.min(begin.begin),
        }));
        read.extend(filled(sounding.iter().copied(), after, |s, left| Place {
            begin: s.begin.max(end.end),
            end: s.end.min(s.begin.max(end.end) + left),
        }));
    }
    if let Some((n, last)) = known.last().filter(|(n, _)| ended && n + 1 == places.len())
        && let Some(breath) = sounding.iter().find(|s| (s.begin..=s.end).contains(&last.end))
    {
        let longest = last.begin + DRAWN_OUT * syllables[*n] as f32;
        let end = breath.end.min(longest).max(last.end);
        read.push(Place { begin: last.end, end });
    }
    let first = read.iter().map(|r| r.begin).fold(f32::INFINITY, f32::min);
    let last = read.iter().map(|r| r.end).fold(f32::NEG_INFINITY, f32::max);
    let mut out = Vec::new();
    let mut keep = |begin: f32, end: f32| {
        let inside = begin >= first && end <= last;
        if end - begin > if inside { BETWEEN } else { AT_ENDS } {
            out.push(Place { begin, end });
        }
    };
    for s in sounding {
        let mut at = s.begin;
        let mut inside: Vec<&Place> = read.iter().filter(|r| r.end > s.begin && r.begin < s.end).collect();
        inside.sort_by(|a, b| a.begin.total_cmp(&b.begin));
        for r in inside {
            keep(at, r.begin);
            at = at.max(r.end);
        }
        keep(at, s.end);
    }
    out
}

/// Parts of stretches of sound, in their order, until their lengths add up to `room` (seconds). `part` takes from one stretch
/// what may be filled, no more than what is left.
fn filled(stretches: impl Iterator<Item = Place>, room: f32, part: impl Fn(Place, f32) -> Place) -> Vec<Place> {
    let mut left = room;
    let mut out = Vec::new();
    for s in stretches {
        let p = part(s, left);
        if left > 0.0 && p.begin < p.end {
            left -= p.end - p.begin;
            out.push(p);
        }
    }
    out
}

/// What the model looked at when it chose the token after a text.
fn row(decoder: &impl Decoder, text: &[Token], frames: usize) -> Option<Vec<f32>> {
    let odds = decoder.known(text)?;
    let mut looks = odds.looks.clone();
    looks.resize(frames, 0.0);
    Some(looks)
}

/// Each frame's weights against those of the other rows: what one row alone looks at stands out.
fn contrast(rows: &[Vec<f32>]) -> Vec<Vec<f32>> {
    let frames = rows.first().map_or(0, Vec::len);
    let mut out = rows.to_vec();
    for f in 0..frames {
        let mean = rows.iter().map(|r| r[f]).sum::<f32>() / rows.len() as f32;
        let spread = rows.iter().map(|r| (r[f] - mean).powi(2)).sum::<f32>() / rows.len() as f32;
        for r in &mut out {
            r[f] = (r[f] - mean) / (spread.sqrt() + 1e-4);
        }
    }
    out
}

/// Cuts the frames into one run for each row, in order, so that the rows' weights in their runs are greatest; a run may be
/// empty. Returns where each run begins, and the end of the last.
fn align(rows: &[Vec<f32>], frames: usize) -> Vec<usize> {
    // best[r][f]: greatest sum with the first f frames in the first r rows.
    let mut best = vec![vec![f32::NEG_INFINITY; frames + 1]; rows.len() + 1];
    let mut stayed = vec![vec![false; frames + 1]; rows.len() + 1];
    best[0][0] = 0.0;
    for (r, row) in rows.iter().enumerate() {
        for f in 0..=frames {
            let opened = best[r][f];
            let grown = if f > 0 {
                best[r + 1][f - 1] + row[f - 1]
            } else {
                f32::NEG_INFINITY
            };
            stayed[r + 1][f] = grown > opened;
            best[r + 1][f] = grown.max(opened);
        }
    }
    let mut borders = vec![frames; rows.len() + 1];
    let mut f = frames;
    for r in (0..rows.len()).rev() {
        while f > 0 && stayed[r + 1][f] {
            f -= 1;
        }
        borders[r] = f;
    }
    borders
}

/// A place without the pauses at its ends: the attention says which word, energy says where its sound is.
fn snapped(place: Place, sounding: &[Place]) -> Option<Place> {
    let mut place = place;
    for s in sounding {
        if (place.begin - s.begin).abs() < SNAP {
            place.begin = s.begin;
        }
        if (place.end - s.end).abs() < SNAP {
            place.end = s.end;
        }
    }
    // What begins or ends in a pause begins or ends with the sound beside it.
    let inside = |at: f32| sounding.iter().any(|s| (s.begin..=s.end).contains(&at));
    if !inside(place.begin) {
        place.begin = sounding.iter().map(|s| s.begin).find(|b| *b >= place.begin)?;
    }
    if !inside(place.end) {
        place.end = sounding.iter().rev().map(|s| s.end).find(|e| *e <= place.end)?;
    }
    (place.begin < place.end).then_some(place)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn frames_go_to_the_rows_that_look_at_them() {
        let rows = vec![
            vec![1.0, 1.0, 0.0, 0.0, 0.0],
            vec![0.0, 0.0, 0.0, 0.0, 0.0],
            vec![0.0, 0.0, 1.0, 1.0, 0.0],
            vec![0.0, 0.0, 0.0, 0.0, 1.0],
        ];
        let borders = align(&contrast(&rows), 5);
        assert_eq!(borders, [0, 2, 2, 4, 5]);
    }

    #[test]
    fn sound_without_words_is_found() {
        let place = |begin, end| Place { begin, end };
        let sounding = [place(0.0, 2.0), place(3.0, 4.0)];
        assert_eq!(unread(&[], &[], &sounding, false), sounding);
        let words = [Some(place(0.05, 0.5)), None, Some(place(1.0, 1.4))];
        assert_eq!(
            unread(&words, &[1, 1, 1], &sounding, false),
            [place(1.4, 2.0), place(3.0, 4.0)]
        );
        // A word without a place at the end fills what its syllables can, and so does one squeezed to nothing.
        let end = [Some(place(0.0, 2.0)), None];
        assert_eq!(unread(&end, &[5, 1], &sounding, false), [place(3.35, 4.0)]);
        assert_eq!(unread(&end, &[5, 3], &sounding, false), []);
        let squeezed = [Some(place(0.0, 1.4)), Some(place(1.4, 1.45))];
        assert_eq!(unread(&squeezed, &[5, 2], &[place(0.0, 2.0)], false), []);
        // A last word of two syllables is drawn out where the model ended with it, in the same breath.
        let drawn = [Some(place(0.0, 1.4)), Some(place(1.4, 1.7))];
        assert_eq!(unread(&drawn, &[5, 2], &sounding, true), [place(3.0, 4.0)]);
        assert_eq!(unread(&drawn, &[5, 2], &sounding, false).len(), 2);
        assert_eq!(
            unread(&squeezed[..1], &[5], &[place(0.0, 2.0)], false),
            [place(1.4, 2.0)]
        );
    }

    /// Twenty seconds of other words behind a call are not its last word.
    #[test]
    fn a_word_lasts_no_longer_than_it_can_be_spoken() {
        let place = |begin, end| Place { begin, end };
        let words = [
            Some(place(0.0, 0.6)),
            None,
            Some(place(0.6, 1.0)),
            Some(place(1.0, 29.0)),
        ];
        let spoken = as_spoken(&words, &[1, 1, 1, 2]);
        assert_eq!(spoken, [words[0], None, words[2], Some(place(1.0, 3.5))]);
        let left = unread(&spoken, &[1, 1, 1, 2], &[place(0.0, 29.0)], false);
        assert_eq!(left, [place(3.5, 29.0)]);
        let before = [Some(place(0.0, 20.0)), Some(place(20.0, 20.5))];
        assert_eq!(as_spoken(&before, &[1, 1]), [Some(place(18.0, 20.0)), before[1]]);
        let slow = [Some(place(0.0, 1.9)), Some(place(1.9, 4.3))];
        assert_eq!(as_spoken(&slow, &[1, 2]), slow);
    }

    #[test]
    fn a_border_in_a_pause_goes_to_the_sound() {
        let sounding = [Place { begin: 0.5, end: 1.0 }, Place { begin: 2.0, end: 3.0 }];
        let place = snapped(Place { begin: 0.1, end: 1.6 }, &sounding).unwrap();
        assert_eq!(place, sounding[0]);
        assert_eq!(snapped(Place { begin: 1.3, end: 1.7 }, &sounding), None);
    }
}
