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

use image::GrayImage;

use crate::base::GlassKind;
use crate::glass::Outline;
use fit::{FEWEST_SPOTS, Fit, Prior, fit};
use level::{Level, Spot};
use shift::Shift;

/// Width of the largest picture that is worked on, pixels; wider ones are reduced by a whole factor.
const WORKING_WIDTH_PX: u32 = 1000;
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

/// Finds `before` again in `after` and carries the outlines along. None when the two pictures are
/// of different sizes, hold too little texture, or do not show the same thing beyond doubt. Reaches
/// over a seventh of the picture's width, 8° of turn, and 15 % of scale.
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
    if before.dimensions() != after.dimensions() || before.width() < 64 || before.height() < 48 {
        return None;
    }
    let factor = before.width().div_ceil(WORKING_WIDTH_PX).max(1);
    let old = pyramid(before, factor);
    let new = pyramid(after, factor);
    let whole = whole(&old, &new, outlines)?;
    let full = whole.shift;
    let glasses = outlines
        .iter()
        .map(|outline| glass(&old, &new, outline, full, whole.agreeing))
        .collect();
    Some(Registered {
        glasses,
        agreeing: whole.agreeing,
        shift_px: (full.dx, full.dy),
        turn_deg: full.turn_deg(),
        scale: full.scale(),
    })
}

/// Follows glasses that moved but little, each by the texture round it: `shifts_px` says where each
/// is thought to stand (right, down), to within a few pixels. A slow zoom or a sagging stand is
/// followed so, some seconds at a time. Pictures of different sizes give no glass.
#[must_use]
pub fn follow(
    before: &GrayImage,
    after: &GrayImage,
    outlines: &[Outline],
    shifts_px: &[(f64, f64)],
) -> Vec<Followed> {
    if before.dimensions() != after.dimensions() || before.width() < 64 || before.height() < 48 {
        return Vec::new();
    }
    let factor = before.width().div_ceil(WORKING_WIDTH_PX).max(1);
    let levels = |luma: &GrayImage| {
        let whole = Level::of(luma, factor);
        let half = whole.halved();
        [whole, half]
    };
    let (old, new) = (levels(before), levels(after));
    outlines
        .iter()
        .zip(shifts_px)
        .map(|(outline, shift)| {
            let middle = (outline.centre_x_px, outline.centre_y_px);
            glass(
                &old,
                &new,
                outline,
                Shift::new(middle, *shift, 0.0, 1.0),
                0.0,
            )
        })
        .collect()
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

/// The map of the whole picture, in picture pixels, when it is beyond doubt.
fn whole(old: &[Level], new: &[Level], outlines: &[Outline]) -> Option<Fit> {
    let spots_of = |level: &Level, most: usize| -> Vec<Spot> {
        let all = [0.0, 0.0, level.width as f32, level.height as f32];
        level.spots(all, CELLS, most, |x, y| !within_any(outlines, level, x, y))
    };
    let rough = old.len() - 1;
    let spots = spots_of(&old[rough], ROUGH_SPOTS);
    if spots.len() < FEWEST_SPOTS {
        return None;
    }
    let starts = seek::seek(&new[rough], &spots);
    // The best, made exact one or two sizes up; those that lead to the same place are one.
    let exact = rough.saturating_sub(1);
    let spots = spots_of(&old[exact], WHOLE_SPOTS);
    let grow = f64::from(old[rough].factor / old[exact].factor);
    let mut fits: Vec<Fit> = Vec::new();
    let apart = SAME_PLACE * new[exact].width as f64;
    for (_, start) in starts {
        let found = fit(&new[exact], &spots, start.in_pixels(grow), None);
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
            Some(other) if other.agreeing * other.in_sight < found.agreeing * found.in_sight => {
                *other = found;
            }
            Some(_) => {}
            None => fits.push(found),
        }
    }
    fits.sort_by(|a, b| (b.agreeing * b.in_sight).total_cmp(&(a.agreeing * a.in_sight)));
    let best = fits.first().copied()?;
    let rival = fits.get(1).map_or(0.0, |f| f.agreeing * f.in_sight);
    if best.agreeing < SURE_WHOLE || rival > RIVAL * best.agreeing * best.in_sight {
        return None;
    }
    // Down to the working size.
    let mut shift = best.shift;
    let mut last = best;
    for level in (0..exact).rev() {
        shift = shift.in_pixels(f64::from(old[level + 1].factor / old[level].factor));
        let spots = spots_of(&old[level], WHOLE_SPOTS);
        let finer = fit(&new[level], &spots, shift, None);
        // Far things and near things part at this size: the smaller picture's answer stands then.
        if finer.agreeing > 0.5 * best.agreeing {
            shift = finer.shift;
            last = finer;
        }
    }
    Some(Fit {
        shift: shift.in_pixels(f64::from(old[0].factor)),
        agreeing: best.agreeing,
        ..last
    })
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
    old: &[Level],
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
    for level in (0..old.len().min(2)).rev() {
        let factor = f64::from(old[level].factor);
        let spots = round(&old[level], outline);
        if spots.len() < FEWEST_SPOTS {
            continue;
        }
        let prior = Prior {
            shift: foretold.in_pixels(1.0 / factor),
            place_px: (OFF_PLACE * outline.width_px / factor).max(0.5),
            turn: OFF_TURN,
        };
        let found = fit(
            &new[level],
            &spots,
            shift.in_pixels(1.0 / factor),
            Some(&prior),
        );
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
