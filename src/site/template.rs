//! Calls with names in braces.

/// The names in braces of a template, in order.
pub fn placeholders(template: &str) -> Vec<&str> {
    let mut names = Vec::new();
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        let Some(close) = rest[open..].find('}') else {
            break;
        };
        names.push(&rest[open + 1..open + close]);
        rest = &rest[open + close + 1..];
    }
    names
}

/// A template without some of its elements: a part between commas goes as a whole when nothing else is named in it.
pub fn without(template: &str, drop: impl Fn(&str) -> bool) -> String {
    const ENDS: [char; 3] = ['.', '?', '!'];
    if !placeholders(template).into_iter().any(&drop) {
        return template.to_owned();
    }
    let piece = |piece: &str| {
        let names = placeholders(piece);
        let gone: Vec<&str> = names.iter().copied().filter(|n| drop(n)).collect();
        if gone.is_empty() {
            return Some(piece.trim().to_owned());
        }
        if gone.len() == names.len() {
            return None;
        }
        let mut left = piece.to_owned();
        for name in gone {
            left = left.replace(&format!("{{{name}}}"), "");
        }
        Some(left.split_whitespace().collect::<Vec<_>>().join(" "))
    };
    let sentences = template.split_inclusive(ENDS).filter_map(|sentence| {
        let body = sentence.trim_end_matches(ENDS);
        let pieces: Vec<String> = body.split(',').filter_map(piece).collect();
        let end = &sentence[body.len()..];
        (!pieces.is_empty()).then(|| format!("{}{end}", pieces.join(", ")))
    });
    sentences.collect::<Vec<_>>().join(" ")
}

/// Fill a template's braces.
pub fn fill(template: &str, value: impl Fn(&str) -> Option<String>) -> String {
    let mut out = String::new();
    let mut rest = template;
    while let Some(open) = rest.find('{') {
        let Some(close) = rest[open..].find('}') else {
            break;
        };
        out.push_str(&rest[..open]);
        let name = &rest[open + 1..open + close];
        out.push_str(&value(name).unwrap_or_default());
        rest = &rest[open + close + 1..];
    }
    out.push_str(rest);
    out
}
