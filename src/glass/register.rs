//! Where the glasses stand after the camera was moved for good: finds an old picture again in a new
//! one, shifted, turned and scaled, and carries outlines along. A person's outlines so keep their
//! shape, and feeds their names and bands. Pure: two pictures and outlines in, outlines or nothing
//! out; when to ask, and what to do with the answer, is left to others.
//!
//! Three steps: every shift, turn and scale at a small size; the best of those, made exact on ever
//! larger pictures; then each glass by the texture round it, because a camera that moved sees near
//! and far things differently. Nothing is said when the new picture does not show the old one for
//! sure: too little agrees, or another place agrees nearly as well.

mod fit;
mod level;
mod seek;
mod shift;
mod usual;

use std::sync::OnceLock;

use image::GrayImage;

use crate::base::GlassKind;
use crate::glass::Outline;
use fit::{FEWEST_SPOTS, Fit, Prior, fit};
use level::{Level, Spot};
use shift::Shift;
use usual::Usual;

/// Width of the largest picture that is worked on, pixels; wider ones are reduced by a whole factor.
const WORKING_WIDTH_PX: u32 = 500;
/// Width at which everything is tried, about; the least that shows a glass of 36 pixels in 640.
const ROUGH_WIDTH_PX: usize = 110;
/// Steep places of the whole picture used to try everything, and to make the best exact.
const ROUGH_SPOTS: usize = 170;
const WHOLE_SPOTS: usize = 700;
/// Parts of the picture, each way, that give their own steepest places.
const CELLS: usize = 8;
/// Steep places round one glass.
const GLASS_SPOTS: usize = 360;
/// How far round a glass texture is sought, parts of its width.
const ROUND: f64 = 0.6;
/// Part of a glass, across, inside which beads, nozzle and reflections move: left out.
const INNER: f64 = 0.86;
/// Part of the whole picture's texture that must agree. Demo pictures that were knocked agree to
/// 0.95 and more in every light, faded to a fifth, or noisy; another lubricator of the same make
/// agrees to 0.75 at most, and somebody in the view may hide a quarter.
const SURE_WHOLE: f64 = 0.7;
/// Another place agreeing by more than this part of the best makes it unsure.
const RIVAL: f64 = 0.8;
/// Places nearer than this part of the picture's width are the same place, not rivals.
const SAME_PLACE: f64 = 0.03;
/// Part of the texture that must still be in sight.
const IN_SIGHT: f64 = 0.45;
/// Part of the texture round a glass that must agree: as above.
const SURE_GLASS: f64 = 0.65;
/// How far a glass may stand off the place that the whole picture foretells: parts of its width
/// (one deviation); near things move farther than what is behind them.
const OFF_PLACE: f64 = 0.06;
/// The same for its scale and turn, part and radians.
const OFF_TURN: f64 = 0.02;
/// Width of the copy for glances, pixels, about: a pixel and a half of the picture is a third of one
/// here, and a fit is good to a twentieth.
const GLANCE_WIDTH_PX: u32 = 330;
/// Part of the texture that must be in sight near the old place.
const NEAR_IN_SIGHT: f64 = 0.8;
/// The camera stands still when this much agrees, and no corner moved by more, pixels.
const STAYS: f64 = 0.85;
const STAYS_PX: f64 = 1.0;
/// Part of an outline's area that must lie in the new picture.
const INSIDE: f64 = 0.9;

/// One glass, found again.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Followed {
    /// Where it is in the new picture: the old outline, shifted, turned and scaled.
    pub outline: Outline,
    /// Part of the texture round it that is where it should be, 0 to 1.
    pub agreeing: f64,
    /// Whether it can be relied on: it lies in the picture and its surround agrees.
    pub sure: Certainty,
}

/// Whether a glass was found again.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Certainty {
    /// It was.
    Sure,
    /// It should be there, but its surround does not look as before: something is in the way.
    Hidden,
    /// It lies outside the new picture, or partly.
    Outside,
}

/// An old picture found again in a new one.
#[derive(Clone, Debug, PartialEq)]
pub struct Registered {
    /// The glasses, in the order of the outlines given.
    pub glasses: Vec<Followed>,
    /// Part of the whole picture's texture that agrees, 0 to 1.
    pub agreeing: f64,
    /// How far the middle of the picture moved, pixels (right, down).
    pub shift_px: (f64, f64),
    /// How far the picture turned, degrees clockwise.
    pub turn_deg: f64,
    /// How much larger it became: 1 is the same size.
    pub scale: f64,
}

/// Finds `before` again in `after` and carries the outlines along: [`Known`] for a single time. None
/// when it is not found for sure.
///
/// ```
/// use beadtally::{base::GlassKind, glass::{Outline, register}};
/// let picture = |dx: f32| image::GrayImage::from_fn(320, 240, |x, y| {
///     let (x, y) = (x as f32 - dx, y as f32);
///     let waves = (x * 0.11).sin() + (y * 0.07 + x * 0.03).sin() + (x * y * 0.0006).cos();
///     image::Luma([(128.0 + 35.0 * waves) as u8])
/// });
/// let tube = Outline::upright(GlassKind::Tube, 150.0, 60.0, 30.0, 120.0);
/// let moved = register(&picture(0.0), &picture(12.0), &[tube]).unwrap();
/// assert!((moved.glasses[0].outline.centre_x_px - tube.centre_x_px - 12.0).abs() < 0.3);
/// ```
#[must_use]
pub fn register(before: &GrayImage, after: &GrayImage, outlines: &[Outline]) -> Option<Registered> {
    match Known::new(before, outlines)?.again(after, Effort::Whole) {
        Again::Found(found) => Some(found),
        Again::Stays => Some(Registered {
            glasses: outlines
                .iter()
                .map(|outline| Followed {
                    outline: *outline,
                    agreeing: 1.0,
                    sure: Certainty::Sure,
                })
                .collect(),
            agreeing: 1.0,
            shift_px: (0.0, 0.0),
            turn_deg: 0.0,
            scale: 1.0,
        }),
        Again::Unsure => None,
    }
}

/// Follows glasses that moved but little, for a single time: see [`Known::follow`].
#[must_use]
pub fn follow(
    before: &GrayImage,
    after: &GrayImage,
    outlines: &[Outline],
    shifts_px: &[(f64, f64)],
) -> Vec<Followed> {
    Known::new(before, outlines).map_or(Vec::new(), |known| known.follow(after, shifts_px))
}

/// What a look at a new picture brought.
#[derive(Clone, Debug, PartialEq)]
pub enum Again {
    /// Nearly all of the texture is where it was: the camera stands still.
    Stays,
    /// The old picture was found again, elsewhere or partly hidden.
    Found(Registered),
    /// It was not found for sure.
    Unsure,
}

/// How hard to look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Effort {
    /// Near the old place only, on a small copy: a hundredth of the cost.
    Glance,
    /// Everywhere that a knock can have brought it.
    Whole,
}

/// An old picture made ready to be found again and again: what it costs to prepare is spent once.
#[derive(Clone, Debug)]
pub struct Known {
    size: (u32, u32),
    factor: u32,
    outlines: Vec<Outline>,
    /// From the working size to the rough one.
    levels: Vec<Level>,
    /// Steep places of the whole picture, for each level; sought when first needed, for most pictures
    /// are never looked for as a whole.
    spots: OnceLock<Vec<Vec<Spot>>>,
    /// Steep places round each glass, for the two largest levels.
    rounds: Vec<[Vec<Spot>; 2]>,
    /// Factor and steep places of the copy for glances.
    glance_factor: u32,
    glance: Level,
    glance_spots: OnceLock<Vec<Spot>>,
    /// How much of the texture agrees while all stands where it stood, of the whole picture and round
    /// each glass: noise and coding spoil some of it.
    usual: Usual,
}

impl Known {
    /// Prepares a picture in which the outlines are right; none when it is too small.
    #[must_use]
    pub fn new(luma: &GrayImage, outlines: &[Outline]) -> Option<Self> {
        if luma.width() < 64 || luma.height() < 48 {
            return None;
        }
        let factor = luma.width().div_ceil(WORKING_WIDTH_PX).max(1);
        let levels = pyramid(luma, factor);
        let rounds = outlines
            .iter()
            .map(|outline| {
                [0, 1].map(|index| levels.get(index).map_or(Vec::new(), |l| round(l, outline)))
            })
            .collect();
        let glance_factor = luma.width().div_ceil(GLANCE_WIDTH_PX).max(1);
        Some(Self {
            size: luma.dimensions(),
            factor,
            outlines: outlines.to_vec(),
            levels,
            spots: OnceLock::new(),
            rounds,
            glance_factor,
            glance: Level::of(luma, glance_factor),
            glance_spots: OnceLock::new(),
            usual: Usual {
                whole: 1.0,
                glasses: vec![1.0; outlines.len()],
            },
        })
    }

    /// Learns how much agrees in a later picture of the same place, in which nobody stands before the
    /// glasses: what was found of them there, and where they stood, as for [`Known::follow`]. So much
    /// is then asked for when the picture is sought again.
    pub fn learn(&mut self, after: &GrayImage, shifts_px: &[(f64, f64)], found: &[Followed]) {
        for (usual, found) in self.usual.glasses.iter_mut().zip(found) {
            Usual::follow(usual, found.agreeing);
        }
        let exact = self.levels.len().saturating_sub(2);
        if after.dimensions() != self.size || shifts_px.is_empty() {
            return;
        }
        let new = pyramid(after, self.factor);
        let (Some(level), Some(spots)) = (new.get(exact), self.spots().get(exact)) else {
            return;
        };
        let middle = (level.width as f64 / 2.0, level.height as f64 / 2.0);
        let mean = |of: fn(&(f64, f64)) -> f64| {
            shifts_px.iter().map(of).sum::<f64>() / shifts_px.len() as f64 / f64::from(level.factor)
        };
        let start = Shift::new(middle, (mean(|s| s.0), mean(|s| s.1)), 0.0, 1.0);
        let agreeing = fit(level, spots, start, None).agreeing;
        Usual::follow(&mut self.usual.whole, agreeing);
    }

    /// Steep places of the whole picture, for each level.
    fn spots(&self) -> &[Vec<Spot>] {
        self.spots.get_or_init(|| {
            let rough = self.levels.len() - 1;
            let levels = self.levels.iter().enumerate();
            levels
                .map(|(index, level)| {
                    let most = if index == rough {
                        ROUGH_SPOTS
                    } else {
                        WHOLE_SPOTS
                    };
                    whole_spots(level, &self.outlines, most)
                })
                .collect()
        })
    }

    /// Steep places of the copy for glances.
    fn glance_spots(&self) -> &[Spot] {
        self.glance_spots
            .get_or_init(|| whole_spots(&self.glance, &self.outlines, WHOLE_SPOTS))
    }

    /// Looks for the old picture in a new one. It is unsure when the pictures are of different sizes,
    /// hold too little texture, or do not show the same thing beyond doubt. The whole effort reaches
    /// over a seventh of the picture's width, 8° of turn, and 15 % of scale; a glance over a
    /// hundredth or so.
    #[must_use]
    pub fn again(&self, after: &GrayImage, effort: Effort) -> Again {
        if after.dimensions() != self.size {
            return Again::Unsure;
        }
        let near = self.glance(after);
        let start = match near {
            Some(near) if near.agreeing > STAYS && self.farthest_px(&near.shift) < STAYS_PX => {
                return Again::Stays;
            }
            Some(near) => Some(near),
            None if effort == Effort::Glance => return Again::Unsure,
            None => None,
        };
        let new = pyramid(after, self.factor);
        let Some(whole) = start
            .map(|near| self.finer(&new, near, self.levels.len()))
            .or_else(|| self.sought(&new))
        else {
            return Again::Unsure;
        };
        let glasses = self
            .outlines
            .iter()
            .zip(&self.rounds)
            .zip(&self.usual.glasses)
            .map(|((outline, rounds), usual)| {
                let mut found = glass(rounds, &new, outline, whole.shift, whole.agreeing);
                if found.sure == Certainty::Hidden && found.agreeing >= SURE_GLASS * usual {
                    found.sure = Certainty::Sure;
                }
                found
            })
            .collect();
        Again::Found(Registered {
            glasses,
            agreeing: whole.agreeing,
            shift_px: (whole.shift.dx, whole.shift.dy),
            turn_deg: whole.shift.turn_deg(),
            scale: whole.shift.scale(),
        })
    }

    /// Follows glasses that moved but little, each by the texture round it: `shifts_px` says where
    /// each is thought to stand (right, down), to within a few pixels. A slow zoom or a sagging stand
    /// is followed so, some seconds at a time. A picture of another size gives no glass.
    #[must_use]
    pub fn follow(&self, after: &GrayImage, shifts_px: &[(f64, f64)]) -> Vec<Followed> {
        if after.dimensions() != self.size {
            return Vec::new();
        }
        let whole = Level::of(after, self.factor);
        let half = whole.halved();
        let new = [whole, half];
        self.outlines
            .iter()
            .zip(&self.rounds)
            .zip(shifts_px)
            .map(|((outline, rounds), shift)| {
                let middle = (outline.centre_x_px, outline.centre_y_px);
                let foretold = Shift::new(middle, *shift, 0.0, 1.0);
                glass(rounds, &new, outline, foretold, 0.0)
            })
            .collect()
    }

    /// The map near the old place, in picture pixels, when enough agrees there.
    fn glance(&self, after: &GrayImage) -> Option<Fit> {
        if self.glance_spots().len() < FEWEST_SPOTS {
            return None;
        }
        let level = Level::of(after, self.glance_factor);
        let middle = (level.width as f64 / 2.0, level.height as f64 / 2.0);
        let still = Shift::new(middle, (0.0, 0.0), 0.0, 1.0);
        let near = fit(&level, self.glance_spots(), still, None);
        (near.agreeing > SURE_WHOLE && near.in_sight > NEAR_IN_SIGHT && possible(&near.shift)).then(
            || Fit {
                shift: near.shift.in_pixels(f64::from(self.glance_factor)),
                ..near
            },
        )
    }

    /// How far a map moves the corners of the picture, pixels.
    fn farthest_px(&self, shift: &Shift) -> f64 {
        let (w, h) = (f64::from(self.size.0), f64::from(self.size.1));
        [(0.0, 0.0), (w, 0.0), (0.0, h), (w, h)]
            .into_iter()
            .map(|(x, y)| {
                let (u, v) = shift.map(x, y);
                (u - x).hypot(v - y)
            })
            .fold(0.0, f64::max)
    }

    /// The map of the whole picture, in picture pixels, when it is beyond doubt.
    fn sought(&self, new: &[Level]) -> Option<Fit> {
        let old = &self.levels;
        let rough = old.len() - 1;
        let spots = self.spots().get(rough)?;
        if spots.len() < FEWEST_SPOTS {
            return None;
        }
        let starts = seek::seek(&new[rough], spots);
        // The best, made exact one or two sizes up; those that lead to the same place are one.
        let exact = rough.saturating_sub(1);
        let spots = self.spots().get(exact)?;
        let grow = f64::from(old[rough].factor / old[exact].factor);
        let mut fits: Vec<Fit> = Vec::new();
        let apart = SAME_PLACE * new[exact].width as f64;
        for (_, start) in starts {
            let found = fit(&new[exact], spots, start.in_pixels(grow), None);
            if found.in_sight < IN_SIGHT || !possible(&found.shift) {
                continue;
            }
            let corners = |s: &Shift| {
                let (w, h) = (new[exact].width as f64, new[exact].height as f64);
                [
                    (0.2 * w, 0.2 * h),
                    (0.8 * w, 0.2 * h),
                    (0.2 * w, 0.8 * h),
                    (0.8 * w, 0.8 * h),
                ]
                .map(|(x, y)| s.map(x, y))
            };
            let same = fits.iter_mut().find(|other| {
                corners(&other.shift)
                    .into_iter()
                    .zip(corners(&found.shift))
                    .all(|(a, b)| (a.0 - b.0).hypot(a.1 - b.1) < apart)
            });
            match same {
                Some(other)
                    if other.agreeing * other.in_sight < found.agreeing * found.in_sight =>
                {
                    *other = found;
                }
                Some(_) => {}
                None => fits.push(found),
            }
        }
        fits.sort_by(|a, b| (b.agreeing * b.in_sight).total_cmp(&(a.agreeing * a.in_sight)));
        let best = fits.first().copied()?;
        let rival = fits.get(1).map_or(0.0, |f| f.agreeing * f.in_sight);
        if best.agreeing < SURE_WHOLE * self.usual.whole
            || rival > RIVAL * best.agreeing * best.in_sight
        {
            return None;
        }
        let shift = best.shift.in_pixels(f64::from(old[exact].factor));
        Some(self.finer(new, Fit { shift, ..best }, exact))
    }

    /// A map (picture pixels) made exact on the levels larger than `from`, down to the working size.
    fn finer(&self, new: &[Level], start: Fit, from: usize) -> Fit {
        let mut last = start;
        for index in (0..from.min(self.levels.len())).rev() {
            let (Some(level), Some(spots)) = (new.get(index), self.spots().get(index)) else {
                continue;
            };
            let factor = f64::from(level.factor);
            let finer = fit(level, spots, last.shift.in_pixels(1.0 / factor), None);
            // Far things and near things part at this size: the smaller picture's answer stands then.
            if finer.agreeing > 0.5 * start.agreeing {
                last = Fit {
                    shift: finer.shift.in_pixels(factor),
                    ..finer
                };
            }
        }
        Fit {
            agreeing: start.agreeing,
            ..last
        }
    }
}

/// The picture at working size, half of it, and so on down to the rough size.
fn pyramid(luma: &GrayImage, factor: u32) -> Vec<Level> {
    let mut levels = vec![Level::of(luma, factor)];
    while let Some(last) = levels.last()
        && last.width >= 2 * ROUGH_WIDTH_PX - ROUGH_WIDTH_PX / 2
    {
        let half = last.halved();
        levels.push(half);
    }
    levels
}

/// Steep places of a level's whole picture, outside the glasses.
fn whole_spots(level: &Level, outlines: &[Outline], most: usize) -> Vec<Spot> {
    let all = [0.0, 0.0, level.width as f32, level.height as f32];
    level.spots(all, CELLS, most, |x, y| !within_any(outlines, level, x, y))
}

/// Whether a knock can have done it.
fn possible(shift: &Shift) -> bool {
    (0.8..1.25).contains(&shift.scale()) && shift.turn_deg().abs() < 10.0
}

/// Whether a place of a level lies inside a glass, where beads move.
fn within_any(outlines: &[Outline], level: &Level, x: f32, y: f32) -> bool {
    let factor = f64::from(level.factor);
    outlines
        .iter()
        .any(|o| inner(o, f64::from(x) * factor, f64::from(y) * factor))
}

fn inner(outline: &Outline, x_px: f64, y_px: f64) -> bool {
    let reach = outline.width_px + outline.height_px;
    if (x_px - outline.centre_x_px).abs() > reach || (y_px - outline.centre_y_px).abs() > reach {
        return false;
    }
    let (across, along) = outline.glass_from_picture(x_px, y_px);
    let (u, v) = (
        2.0 * across / outline.width_px / INNER,
        2.0 * along / outline.height_px,
    );
    match outline.kind {
        GlassKind::Tube => u.abs() < 1.0 && v.abs() < 0.97,
        GlassKind::Port => u.hypot(v / INNER) < 1.0,
    }
}

/// One glass, from where it is foretold; `agreeing` stands when too little texture is round it to
/// tell better.
fn glass(
    rounds: &[Vec<Spot>; 2],
    new: &[Level],
    outline: &Outline,
    foretold: Shift,
    mut agreeing: f64,
) -> Followed {
    let foretold = foretold.about((outline.centre_x_px, outline.centre_y_px));
    let moved = carried(outline, &foretold);
    let (width, height) = (
        f64::from(new[0].factor) * new[0].width as f64,
        f64::from(new[0].factor) * new[0].height as f64,
    );
    if share_inside(&moved, width, height) < INSIDE {
        return Followed {
            outline: moved,
            agreeing: 0.0,
            sure: Certainty::Outside,
        };
    }
    let mut shift = foretold;
    for (level, spots) in new.iter().zip(rounds).rev() {
        let factor = f64::from(level.factor);
        if spots.len() < FEWEST_SPOTS {
            continue;
        }
        let prior = Prior {
            shift: foretold.in_pixels(1.0 / factor),
            place_px: (OFF_PLACE * outline.width_px / factor).max(0.5),
            turn: OFF_TURN,
        };
        let found = fit(level, spots, shift.in_pixels(1.0 / factor), Some(&prior));
        if found.in_sight >= IN_SIGHT {
            shift = found.shift.in_pixels(factor);
            agreeing = found.agreeing;
        }
    }
    let outline = carried(outline, &shift);
    let sure = if share_inside(&outline, width, height) < INSIDE {
        Certainty::Outside
    } else if agreeing < SURE_GLASS {
        Certainty::Hidden
    } else {
        Certainty::Sure
    };
    Followed {
        outline,
        agreeing,
        sure,
    }
}

/// Steep places round a glass, not in it.
fn round(level: &Level, outline: &Outline) -> Vec<Spot> {
    let factor = f64::from(level.factor);
    let (edge, margin) = (outline.upright_box(), ROUND * outline.width_px);
    let part = [
        edge.x - margin,
        edge.y - margin,
        edge.x + edge.width + margin,
        edge.y + edge.height + margin,
    ]
    .map(|v| (v / factor) as f32);
    level.spots(part, CELLS / 2, GLASS_SPOTS, |x, y| {
        !inner(outline, f64::from(x) * factor, f64::from(y) * factor)
    })
}

/// An outline moved along.
fn carried(outline: &Outline, shift: &Shift) -> Outline {
    let (x, y) = shift.map(outline.centre_x_px, outline.centre_y_px);
    Outline {
        kind: outline.kind,
        centre_x_px: x,
        centre_y_px: y,
        width_px: outline.width_px * shift.scale(),
        height_px: outline.height_px * shift.scale(),
        angle_deg: outline.angle_deg + shift.turn_deg(),
    }
}

/// Part of an outline's upright box that lies in a picture of this size.
fn share_inside(outline: &Outline, width: f64, height: f64) -> f64 {
    let b = outline.upright_box();
    let along = |from: f64, size: f64, end: f64| {
        ((from + size).min(end) - from.max(0.0)).max(0.0) / size.max(1e-9)
    };
    along(b.x, b.width, width) * along(b.y, b.height, height)
}
