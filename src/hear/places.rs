//! Begin and end of each word in the sound: the decoder's attention says which frames each token was read from, in order;
//! energy says where the sound between two pauses begins and ends.

use super::search::{Decoder, Path, Token};
use super::whisper::FRAMES;
use crate::call::Place;

/// A word's place is known when at least this share of one of its tokens' attention lies in it or close by.
const THERE: f32 = 0.3;
/// Close by: frames of 20 ms.
const NEAR: usize = 6;
/// A border moves to the nearest edge of a pause when it is this close (seconds).
const SNAP: f32 = 0.2;

/// The place of each word of a path; `None` where the attention does not show it. `words` are the tokens of each word,
/// `sounding` the stretches with sound, `seconds` the length of the sound heard.
pub fn of_words(
    decoder: &impl Decoder,
    path: &Path,
    words: &[std::ops::Range<usize>],
    sounding: &[Place],
    seconds: f32,
) -> Vec<Option<Place>> {
    let frames = (seconds * FRAMES).ceil() as usize;
    let rows: Option<Vec<Vec<f32>>> = (0..=path.tokens.len())
        .map(|t| row(decoder, &path.tokens[..t], frames))
        .collect();
    let Some(rows) = rows.filter(|_| frames > 0) else {
        return vec![None; words.len()];
    };
    let borders = align(&contrast(&rows), frames);
    words
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

/// The stretches of sound that no word was read from. A word whose place is not known is taken to fill the room between its
/// neighbours; at the beginning and at the end of the call it is taken to fill nothing.
pub fn unread(places: &[Option<Place>], sounding: &[Place]) -> Vec<Place> {
    let mut read: Vec<Place> = places.iter().flatten().copied().collect();
    let known: Vec<usize> = (0..places.len()).filter(|n| places[*n].is_some()).collect();
    for pair in known.windows(2).filter(|p| p[1] > p[0] + 1) {
        if let (Some(a), Some(b)) = (places[pair[0]], places[pair[1]]) {
            read.push(a.with(b));
        }
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
        assert_eq!(unread(&[], &sounding), sounding);
        let words = [Some(place(0.05, 0.5)), None, Some(place(1.0, 1.4))];
        assert_eq!(unread(&words, &sounding), [place(1.4, 2.0), place(3.0, 4.0)]);
        assert_eq!(unread(&[None, Some(place(3.0, 3.95))], &sounding), [place(0.0, 2.0)]);
    }

    #[test]
    fn a_border_in_a_pause_goes_to_the_sound() {
        let sounding = [Place { begin: 0.5, end: 1.0 }, Place { begin: 2.0, end: 3.0 }];
        let place = snapped(Place { begin: 0.1, end: 1.6 }, &sounding).unwrap();
        assert_eq!(place, sounding[0]);
        assert_eq!(snapped(Place { begin: 1.3, end: 1.7 }, &sounding), None);
    }
}
