//! Tests of what stands in `../look.rs`.

use super::*;

/// Contrast by the formula of WCAG 2.2, "relative luminance" and "contrast ratio".
fn contrast(a: Color32, b: Color32) -> f64 {
    let luminance = |c: Color32| {
        let part = |v: u8| {
            let s = f64::from(v) / 255.0;
            if s <= 0.04045 {
                s / 12.92
            } else {
                ((s + 0.055) / 1.055).powf(2.4)
            }
        };
        0.2126 * part(c.r()) + 0.7152 * part(c.g()) + 0.0722 * part(c.b())
    };
    let (x, y) = (luminance(a), luminance(b));
    (x.max(y) + 0.05) / (x.min(y) + 0.05)
}

#[test]
fn the_formula_gives_the_published_values() {
    // White on black is 21:1 by definition; #767676 on white is the well-known lightest grey of 4.5:1 (WCAG's own example).
    assert!((contrast(Color32::WHITE, Color32::BLACK) - 21.0).abs() < 1e-9);
    let grey = contrast(Color32::from_rgb(0x76, 0x76, 0x76), Color32::WHITE);
    assert!((grey - 4.54).abs() < 0.005, "{grey}");
}

#[test]
fn every_colour_can_be_seen_on_its_ground() {
    for (colour, ground, least) in PAIRS {
        for dark in [false, true] {
            let found = contrast(colour.of(dark), ground.of(dark));
            let theme = if dark { "dark" } else { "light" };
            println!("| {colour:?} on {ground:?} | {theme} | {found:.1} | {least} |");
            assert!(found >= least, "{colour:?} on {ground:?}, {theme}: {found:.2}");
        }
    }
}

#[test]
fn every_colour_that_is_drawn_is_measured() {
    for (hue, ..) in HUES {
        let measured = PAIRS.iter().any(|(colour, ground, _)| *colour == hue || *ground == hue);
        assert!(measured, "{hue:?} stands in no pair");
    }
}
