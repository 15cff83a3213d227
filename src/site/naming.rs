//! How a glider may be called at a site: by registration, sign, last letters or type, whole and short; how a cable is.

use super::{Aircraft, Callsign, CallsignCustom, Purpose, Site, Step, fill};

impl Site {
    /// A cable as it is called here, with the words for the launch where the ready call has them beside it: "north winch
    /// cable", "Windenseil See", "Seil Bach".
    pub fn cable_called(&self, cable: &str) -> String {
        let step = self.ready_step();
        let beside = step.and_then(|step| {
            let at = |purpose| step.elements.get(self.place_in(step, purpose)?);
            let (name, method) = (at(Purpose::Cable)?, at(Purpose::Method)?);
            let both = [format!("{{{name}}} {{{method}}}"), format!("{{{method}}} {{{name}}}")];
            let both = both.into_iter().find(|both| step.taught.contains(both.as_str()))?;
            let words = self.elements.get(method)?.values.first()?.taught.as_str();
            let own = self.cable_taught(cable);
            Some(fill(&both, |element| {
                let text = if element == name { own } else { words };
                Some(text.to_owned())
            }))
        });
        beside.unwrap_or_else(|| self.cable_plain(cable))
    }

    /// A cable in plain words, which are not those of a call: "north cable", "Seil See".
    pub fn cable_plain(&self, cable: &str) -> String {
        let name = self.cable_taught(cable);
        if name.contains(' ') {
            return name.to_owned();
        }
        self.language.text("cable.plain", &[("cable", name)])
    }

    /// The name of a cable as it is taught.
    pub fn cable_taught<'s>(&'s self, cable: &'s str) -> &'s str {
        let own = self.cables.iter().find(|c| c.id == cable);
        own.map_or(cable, |c| c.taught.as_str())
    }
}

/// The forms of a step, the taught one first; each form is the parts that are said. There is at least one. `contact`: the glider was called on the
/// frequency before and answered.
pub fn forms(site: &Site, step: &Step, callsign: &Callsign, contact: bool) -> Vec<Vec<String>> {
    // Where the type is a part of its own the callsign is what stands beside it.
    let typed = site.place_in(step, Purpose::Type).is_some();
    let short = contact && site.customs.callsign == CallsignCustom::ShortAfterContact;
    let named = names(callsign, site.aircraft(callsign), typed);
    if !short {
        return named.into_iter().map(|n| n.whole).fold(Vec::new(), with_new);
    }
    // What might be another glider's name as well is no name.
    let others: Vec<Vec<String>> = site
        .fleet
        .iter()
        .filter(|a| a.registration != *callsign)
        .flat_map(|a| names(&a.registration, Some(a), typed))
        .flat_map(|n| n.short.into_iter().chain([n.whole]))
        .collect();
    let all = named.into_iter().flat_map(|n| {
        let short = n.short.into_iter().filter(|s| !others.contains(s));
        short.chain([n.whole]).collect::<Vec<_>>()
    });
    all.fold(Vec::new(), with_new)
}

/// A way to name a glider: whole, and shortened as it may be once it has called and was answered.
struct Named {
    whole: Vec<String>,
    short: Vec<Vec<String>>,
}

fn with_new(mut all: Vec<Vec<String>>, form: Vec<String>) -> Vec<Vec<String>> {
    if !all.contains(&form) {
        all.push(form);
    }
    all
}

/// The ways in which a glider is named, as its site has them; a visitor by registration. At least one.
fn names(callsign: &Callsign, aircraft: Option<&Aircraft>, typed: bool) -> Vec<Named> {
    let chars: Vec<char> = callsign.chars().chars().collect();
    let written = |chars: &[char]| Callsign::from_chars(chars).map(|c| c.to_string());
    let last = |n: usize| chars.len().checked_sub(n).and_then(|from| written(&chars[from..]));
    let sign = || {
        // One character will do: "Osprey two".
        let chars: Vec<char> = aircraft?.competition_sign.as_ref()?.chars().collect();
        written(&chars)
    };
    let kind = || aircraft.filter(|_| !typed).map(|a| a.kind.clone());
    let parts = |parts: [Option<String>; 2]| parts.into_iter().flatten().collect::<Vec<String>>();
    let registration = || Named {
        whole: vec![callsign.to_string()],
        // The first and at least the last two characters (SERA.14050, type a).
        short: [2, 3]
            .into_iter()
            .filter(|n| n + 1 < chars.len() && chars.len() > 3)
            .filter_map(|n| written(&[&chars[..1], &chars[chars.len() - n..]].concat()))
            .map(|c| vec![c])
            .collect(),
    };
    let said_by = aircraft.map(|a| a.said_by.as_slice()).unwrap_or_default();
    let forms = said_by.iter().map(|form| {
        // Of a type and a sign the sign alone is the short form; the others are as short as they are.
        let (whole, short) = match form.as_str() {
            "competition sign" => ([sign(), None], None),
            "last letters" => ([last(2), None], None),
            "type" => ([kind(), None], None),
            "type and competition sign" => ([kind(), sign()], sign()),
            "type and last letters" => ([kind(), last(2)], last(2)),
            _ => return registration(),
        };
        Named {
            whole: parts(whole),
            short: short.into_iter().map(|s| vec![s]).collect(),
        }
    });
    let mut all: Vec<Named> = forms.filter(|n| !n.whole.is_empty()).collect();
    if all.is_empty() {
        all.push(registration());
    }
    all
}
