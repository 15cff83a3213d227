//! The launch point drawn from the site's facts: the field seen from the launch point, the winch at its far end, the cables on
//! their sides, the glider on one of them with heads in the cockpit and the registration on the fuselage, and
//! what happens in a hazard. Vectors only, all measures as shares of the picture, so that it is crisp at any size.
//!
//! Nothing is told by colour alone: what matters differs in shape, place or writing. The picture's accessible description has
//! the same facts as plain facts, never in the words of the call.
//!
//! A page shows it with [`View::of`] and [`View::ui`].

mod field;
mod glider;

use super::words::{Words, capital};
use crate::call::Situation;
use crate::drill::launch::{Phase, phase_of};
use crate::site::{Direction, Site, Step};
use eframe::egui::accesskit::Role;
use eframe::egui::{Color32, Pos2, Rect, Sense, Ui, Vec2, WidgetInfo};

/// Height of the picture as a share of its width.
const SHAPE: f32 = 0.5;
/// Least and greatest width, points.
const WIDTHS: std::ops::RangeInclusive<f32> = 40.0..=1400.0;

/// What the launch has come to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Moment {
    /// Nothing is hooked on yet.
    Before,
    /// Somebody kneels at the hook; nobody holds the wing.
    HookingOn,
    /// The cable is on and lies in bows; wings level.
    Waiting,
    /// The slack goes out: the last bow.
    Slack,
    /// In the air, on the cable.
    Climb,
    /// The cable is down.
    After,
}

impl Moment {
    /// Where a whole launch is at a step.
    pub(super) fn of(site: &Site, step: &Step) -> Self {
        match phase_of(site, step) {
            Phase::Waiting => Self::Before,
            Phase::HookingOn => Self::HookingOn,
            Phase::Ready => Self::Waiting,
            Phase::SlackOut => Self::Slack,
            Phase::Climb | Phase::Top => Self::Climb,
            Phase::CableDown => Self::After,
        }
    }
}

/// What happens that must stop a launch, as far as it can be drawn.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Danger {
    Wing,
    Walker,
    Traffic,
    Loop,
    Car,
    Canopy,
}

impl Danger {
    /// By the hazard's id in the site's files.
    fn of(id: &str) -> Option<Self> {
        match id {
            "wing drops" => Some(Self::Wing),
            "walker" => Some(Self::Walker),
            "traffic" => Some(Self::Traffic),
            "cable runs over" => Some(Self::Loop),
            "car crosses" => Some(Self::Car),
            "canopy" => Some(Self::Canopy),
            _ => None,
        }
    }
}

/// How much is written into the picture.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, serde::Serialize, serde::Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// The situation is written out beside the picture.
    #[default]
    Written,
    /// The cables have boards with their names.
    Boards,
    /// As at the field: which cable it is follows from its side and the launch direction.
    Bare,
}

/// One picture.
#[derive(Debug, Clone)]
pub(super) struct View<'a> {
    site: &'a Site,
    situation: &'a Situation,
    direction: &'a Direction,
    moment: Moment,
    hazard: Option<&'a str>,
    level: Level,
}

/// The directions change as a day's wind does: after some situations.
const TURNS_A_DIRECTION: u32 = 4;

/// The launch direction in the `number`th situation, counted from 1, where the situation itself has none; `None` at a site without any.
pub(super) fn direction<'s>(site: &'s Site, situation: &Situation, number: u32) -> Option<&'s Direction> {
    if situation.direction.is_some() {
        return situation.direction(site);
    }
    let n = site.directions.len();
    let day = number.saturating_sub(1) / TURNS_A_DIRECTION;
    site.directions.get(day as usize % n.max(1))
}

/// The launch direction of a whole launch, the same one for the same seed; `None` at a site without any.
pub(super) fn direction_of<'s>(site: &'s Site, situation: &Situation, seed: u64) -> Option<&'s Direction> {
    if situation.direction.is_some() {
        return situation.direction(site);
    }
    let n = site.directions.len() as u64;
    site.directions.get(seed.checked_rem(n)? as usize)
}

impl<'a> View<'a> {
    /// The picture of a step of a situation. `hazard` is the id of what happens.
    pub(super) fn of(
        site: &'a Site,
        step: &Step,
        situation: &'a Situation,
        direction: &'a Direction,
        hazard: Option<&'a str>,
        level: Level,
    ) -> Self {
        Self {
            site,
            situation,
            direction,
            moment: Moment::of(site, step),
            hazard,
            level,
        }
    }

    /// Draw it as wide as there is room, at most `height` high, with its description.
    pub(super) fn ui(&self, ui: &mut Ui, words: Words, height: f32) {
        let width = ui.available_width().min(height / SHAPE);
        let width = width.clamp(*WIDTHS.start(), *WIDTHS.end());
        let (place, response) = ui.allocate_exact_size(Vec2::new(width, width * SHAPE), Sense::hover());
        let text = self.describe(words);
        response.widget_info(|| WidgetInfo::labeled(Role::Image, true, &text));
        if ui.is_rect_visible(place) {
            self.paint(ui, words, place);
        }
    }

    fn paint(&self, ui: &Ui, words: Words, place: Rect) {
        let painter = ui.painter_at(place);
        let ink = Ink::of(ui.visuals().dark_mode);
        let canvas = Canvas {
            painter: &painter,
            place,
            ink,
        };
        let danger = self.hazard.and_then(Danger::of);
        field::ground(&canvas);
        field::winch(&canvas);
        self.cables(&canvas, danger);
        match danger {
            Some(Danger::Walker) => field::walker(&canvas),
            Some(Danger::Car) => field::retrieve_car(&canvas, -self.side()),
            Some(Danger::Traffic) => glider::far(&canvas, canvas.at(0.50, 0.17), 0.050, 0.0),
            _ => {}
        }
        match self.moment {
            Moment::Climb => glider::far(&canvas, canvas.at(0.47, 0.14), 0.038, 0.45),
            Moment::After => field::retrieve_car(&canvas, self.side()),
            _ => {
                let aircraft = self.site.aircraft(&self.situation.callsign);
                // What it is called by stands on it in large letters.
                let sign = aircraft.filter(|a| a.said_by.iter().any(|s| s.contains("competition sign")));
                let sign = sign.and_then(|a| a.competition_sign.clone());
                glider::near(
                    &canvas,
                    &glider::Near {
                        side: self.side(),
                        registration: &sign.unwrap_or_else(|| self.situation.callsign.to_string()),
                        seats: aircraft
                            .map_or(self.situation.crew, |a| a.seats)
                            .max(self.situation.crew),
                        heads: self.situation.crew,
                        hook: match self.moment {
                            Moment::Before => glider::Hook::Free,
                            Moment::HookingOn => glider::Hook::Helper,
                            _ => glider::Hook::Cable,
                        },
                        left_wing_drops: danger == Some(Danger::Wing),
                        canopy_open: danger == Some(Danger::Canopy),
                    },
                );
            }
        }
        field::caption(&canvas, &capital(&self.direction.name));
        if self.hazard.is_some() && danger.is_none() {
            field::sign(&canvas, words.say("scene.look"));
        }
    }

    /// -1 where the glider stands at the left, 1 at the right.
    fn side(&self) -> f32 {
        let cables = &self.direction.cables_left_to_right;
        let at = cables.iter().position(|c| *c == self.situation.cable).unwrap_or(0);
        if at * 2 < cables.len() { -1.0 } else { 1.0 }
    }

    fn cables(&self, canvas: &Canvas<'_>, danger: Option<Danger>) {
        let cables = &self.direction.cables_left_to_right;
        let n = cables.len();
        for (i, id) in cables.iter().enumerate() {
            let own = *id == self.situation.cable;
            let hooked = own && !matches!(self.moment, Moment::Before | Moment::HookingOn | Moment::After);
            let end = if hooked && self.moment == Moment::Climb {
                canvas.at(0.47, 0.155)
            } else if hooked {
                glider::hook(canvas, self.side())
            } else {
                let at = cables.iter().position(|c| *c == self.situation.cable);
                // A loose end beside the glider lies further ahead, so that the glider stands on no cable but its own.
                let beside = at.is_some_and(|at| at.abs_diff(i) == 1 && n > 2);
                field::cable_end(canvas, i, n, beside)
            };
            let lie = match self.moment {
                _ if !hooked => field::Lie::Loose,
                Moment::Slack if danger == Some(Danger::Loop) => field::Lie::UnderTheWheel,
                Moment::Slack => field::Lie::LastBow,
                Moment::Climb => field::Lie::Tight,
                _ => field::Lie::Bows,
            };
            field::cable(canvas, end, i, n, lie);
            if self.level != Level::Bare {
                field::board(canvas, i, n, &capital(self.site.cable_taught(id)));
            }
        }
    }

    /// The facts of the picture in words; the same at every level but for the cables' names.
    pub(super) fn describe(&self, words: Words) -> String {
        let cables = &self.direction.cables_left_to_right;
        let mut out = vec![words.fill("scene.field", &[("direction", &self.direction.name)])];
        if cables.len() > 1 && self.level != Level::Bare {
            let names: Vec<&str> = cables.iter().map(|c| self.site.cable_taught(c)).collect();
            out.push(words.fill("scene.cables", &[("cables", &names.join(", "))]));
        }
        let callsign = self.situation.callsign.to_string();
        let kind = self.site.about_glider(&self.situation.callsign);
        let on_ground = !matches!(self.moment, Moment::Climb | Moment::After);
        let at = cables.iter().position(|c| *c == self.situation.cable);
        match (on_ground, at) {
            (true, Some(i)) => {
                let (n, of) = ((i + 1).to_string(), cables.len().to_string());
                let facts = [("callsign", callsign.as_str()), ("kind", &kind), ("n", &n), ("of", &of)];
                out.push(words.fill("scene.glider_at", &facts));
            }
            _ => out.push(words.fill("scene.glider", &[("callsign", &callsign), ("kind", &kind)])),
        }
        if on_ground {
            out.push(words.fill("scene.heads", &[("n", &self.situation.crew.to_string())]));
        }
        out.push(
            words
                .say(match self.moment {
                    Moment::Before => "scene.before",
                    Moment::HookingOn => "scene.hooking_on",
                    Moment::Waiting => "scene.waiting",
                    Moment::Slack => "scene.slack",
                    Moment::Climb => "scene.climb",
                    Moment::After => "scene.after",
                })
                .to_owned(),
        );
        let hazard = self.hazard.and_then(|id| self.site.hazards.iter().find(|h| h.id == id));
        out.extend(hazard.map(|h| h.scene.clone()));
        out.join(" ")
    }
}

/// Colours of a picture, by what they are for.
#[derive(Debug, Clone, Copy)]
struct Ink {
    sky: [Color32; 2],
    far: Color32,
    grass: [Color32; 2],
    strip: Color32,
    line: Color32,
    body: Color32,
    shade: Color32,
    glass: Color32,
    mark: Color32,
    board: Color32,
    sock: Color32,
}

impl Ink {
    fn of(dark: bool) -> Self {
        let rgb = Color32::from_rgb;
        if dark {
            Self {
                sky: [rgb(38, 50, 74), rgb(92, 96, 112)],
                far: rgb(40, 56, 58),
                grass: [rgb(58, 76, 60), rgb(34, 48, 38)],
                strip: rgb(72, 92, 70),
                line: rgb(14, 18, 22),
                body: rgb(232, 232, 226),
                shade: rgb(176, 180, 184),
                glass: rgb(120, 150, 176),
                mark: rgb(14, 18, 22),
                board: rgb(238, 226, 180),
                sock: rgb(226, 130, 70),
            }
        } else {
            Self {
                sky: [rgb(168, 200, 226), rgb(232, 238, 236)],
                far: rgb(126, 152, 140),
                grass: [rgb(164, 186, 138), rgb(118, 150, 98)],
                strip: rgb(188, 206, 156),
                line: rgb(34, 40, 46),
                body: rgb(252, 252, 248),
                shade: rgb(204, 208, 210),
                glass: rgb(150, 186, 208),
                mark: rgb(20, 26, 34),
                board: rgb(255, 246, 206),
                sock: rgb(214, 96, 40),
            }
        }
    }
}

/// Where it is drawn.
struct Canvas<'p> {
    painter: &'p eframe::egui::Painter,
    place: Rect,
    ink: Ink,
}

impl Canvas<'_> {
    /// A point by its share of width and height.
    fn at(&self, x: f32, y: f32) -> Pos2 {
        self.place.min + Vec2::new(x * self.place.width(), y * self.place.height())
    }

    /// A length by its share of the width.
    fn wide(&self, share: f32) -> f32 {
        share * self.place.width()
    }

    /// The width of an outline.
    fn stroke(&self) -> f32 {
        self.wide(0.0028).clamp(0.8, 3.5)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::site::{Callsign, bundled};

    fn site(name: &str) -> Site {
        Site::check(&bundled::files(name).unwrap()).unwrap()
    }

    #[test]
    fn the_side_follows_the_launch_direction() {
        for (name, cable) in [("larkmoor", "north"), ("erlengrund", "wald")] {
            let site = site(name);
            let situation = Situation::new(Callsign::parse("D-1234").unwrap(), 1, cable);
            let step = site.step("ready").unwrap();
            let winch_side = |number| {
                let direction = direction(&site, &situation, number).unwrap();
                View::of(&site, step, &situation, direction, None, Level::Bare).side()
            };
            assert!(
                (winch_side(1) + winch_side(1 + TURNS_A_DIRECTION)).abs() < 0.1,
                "{name}"
            );
            assert!((winch_side(1) - winch_side(TURNS_A_DIRECTION)).abs() < 0.1, "{name}");
        }
    }

    #[test]
    fn the_description_has_the_facts_and_not_the_words_of_the_call() {
        let site = site("larkmoor");
        let step = site.step("ready").unwrap();
        let situation = Situation::new(Callsign::parse("D-2058").unwrap(), 1, "south");
        let view = |level| {
            let east = direction(&site, &situation, 1).unwrap();
            View::of(&site, step, &situation, east, Some("walker"), level).describe(Words::English)
        };
        let text = view(Level::Boards);
        for fact in ["D-2058", "Redwing", "2 of 2", "north, south", "east", "dog", "1"] {
            assert!(text.contains(fact), "{fact}: {text}");
        }
        for word in ["solo", "two zero five eight", "winch cable", "ready", "stop"] {
            assert!(!text.to_lowercase().contains(word), "{word}: {text}");
        }
        assert!(
            !view(Level::Bare).contains("south"),
            "the name is to be read from the side"
        );
    }

    #[test]
    fn each_step_has_its_moment() {
        for name in ["larkmoor", "erlengrund"] {
            let site = site(name);
            let moment = |id: &str| Moment::of(&site, site.step(id).unwrap());
            for (id, wanted) in [
                ("briefing", Moment::Before),
                ("close echo", Moment::HookingOn),
                ("ready", Moment::Waiting),
                ("slack", Moment::Slack),
                ("release", Moment::Climb),
                ("retrieve", Moment::After),
            ] {
                if site.step(id).is_some() {
                    assert_eq!(moment(id), wanted, "{name} {id}");
                }
            }
        }
    }

    #[test]
    fn every_hazard_that_ships_can_be_drawn() {
        for name in ["larkmoor", "erlengrund"] {
            for hazard in &site(name).hazards {
                // A crack in a link and how cables lie are too small for this picture: there the sign says to look.
                let small = [
                    "damaged link",
                    "other cable",
                    "anderes Seil",
                    "cables crossed",
                    "Seile gekreuzt",
                    "cable still out",
                    "zweites Seil",
                ];
                let drawn = Danger::of(&hazard.id).is_some();
                assert_ne!(drawn, small.contains(&hazard.id.as_str()), "{name}: {}", hazard.id);
            }
        }
    }
}
