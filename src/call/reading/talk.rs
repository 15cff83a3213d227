//! Names that are small talk as well.

use super::Reader;
use crate::call::stance::Stance;
use crate::site::Purpose;

impl Reader<'_> {
    /// A cable's name that is small talk as well ("right") is the cable where the call has its cable. Elsewhere it is small talk beside
    /// the cable that was named, and else nobody can tell.
    pub(super) fn small_talk(&mut self) {
        let mut at = 0;
        while let Some(mention) = self.reading.mentions.get(at) {
            let (element, all) = (mention.element, &self.reading.mentions);
            let of = |n: usize| all.get(n).map(|m| m.element);
            let talk = self.vocabulary.purposes.get(element) == Some(&Purpose::Cable)
                && self.vocabulary.language.is_small_talk(&mention.words);
            let before = at.checked_sub(1).and_then(of).map(|e| (e, element));
            let behind = of(at + 1).map(|e| (element, e));
            let placed = [before, behind]
                .iter()
                .flatten()
                .any(|pair| self.vocabulary.beside.contains(pair));
            let alone = all.iter().all(|m| m.element == element);
            let another = all
                .iter()
                .enumerate()
                .any(|(n, m)| n != at && m.element == element && m.said != mention.said);
            if !talk || placed || alone && !another {
                at += 1;
            } else if another && !alone {
                // What a correction has taken back is told by its place.
                self.back.remove(at);
                self.reading.fillers.push(self.reading.mentions.remove(at).words);
            } else {
                let by = mention.words.clone();
                self.reading.mentions[at].bear(Stance::Open, &by);
                at += 1;
            }
        }
    }
}
