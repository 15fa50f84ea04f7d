//! What a path did, and whether a bead could have done it: it rises through the glass, keeps rising, keeps
//! its shape, and is no larger than its bore. What speaks for it beyond that is weighed in `explain`.

use std::ops::RangeInclusive;

use crate::base::GlassKind;
use crate::bead::bore::Bore;
use crate::bead::crossing::{Crossing, crossing};
use crate::bead::moment::FAINTLY;
use crate::bead::path::moving;
use crate::bead::steady::median;
use crate::bead::track::{Path, Sighting};

/// Share of a tube's height through which a bead must be seen to rise.
const LEAST_RISE_TUBE: f32 = 0.24;
/// The same for a port: a bead leaves the nozzle near the middle of it and is at the top three
/// frames later.
const LEAST_RISE_PORT: f32 = 0.16;
/// Fewest sightings: at 15 frames a second a fast bead crosses a port in three.
pub(super) const FEWEST_SIGHTINGS: usize = 3;
/// The same of what is clear and like the other beads of its feed: a large bead that parts from the nozzle
/// between two such frames is seen twice on its way.
const FEWEST_OF_KNOWN: usize = 2;
/// Share of the height by which the path may begin above the middle: what rises came from below,
/// but a bead that leaves the nozzle is one with it at first.
const BEGINS_ABOVE: f32 = 0.25;
/// Share of the height by which the path may end below the middle.
const ENDS_BELOW: f32 = 0.1;
/// Least share of the frames between first and last sighting in which it was seen.
const LEAST_COVER: f32 = 0.6;
/// Most scatter about a smooth path, as a share of the height.
const MOST_SCATTER: f32 = 0.045;
/// Longest passage through the whole glass, seconds: cold, heavy oil in a long glass.
const LONGEST_PASSAGE_SECS: f32 = 8.0;
/// Tallest bead, as a share of the height of a tube (a port may hold one of half its height).
const TALLEST_SHARE: f32 = 0.5;
/// Tallest bead in a tube, as a share of its width: what rises in a bore is no longer than wide.
const TALLEST_IN_TUBE: f32 = 0.65;
/// Least share of the steps from sighting to sighting that go up.
const LEAST_UPS: f32 = 0.8;
/// Least progress in each of the last two quarters of the time, against the mean: only while it
/// lets go of the nozzle may a bead be slow, and it never rests.
const LEAST_PROGRESS: f32 = 0.4;
/// How far the share of one bead may lie under that of the others of its glass.
pub(super) const COVERS_VARY: f32 = 0.2;
/// Most and least width over height: a ball on the axis of a tube is 1.33 times as wide as high,
/// near its wall less; of a bubble lit from the front only a glint may be seen.
const SHAPES: RangeInclusive<f32> = 0.15..=4.0;
/// Widest bead, as a share of the glass.
const WIDEST_SHARE: f32 = 0.85;
/// Slowest rise of oil, in its own diameters a second: a quarter of what oil does in hot water.
/// Cold heavy oil that fills half its bore is not slower (wall effect of Clift, Grace and Weber,
/// chapter 9: 0.65).
const SLOWEST_DIAMETERS_PER_S: f32 = 4.0;
/// The same while steam or reflections drift over the glass: they too move upwards, at up to
/// seven of their own heights a second.
const SLOWEST_IN_DRIFT: f32 = 9.0;
/// Widening by a round, water-filled glass: the refractive index of water.
const WATER_INDEX: f32 = 1.333;

/// What a path did that a bead could have done.
#[derive(Debug)]
pub(super) struct Rise<'a> {
    /// Its sightings from when it moved.
    pub(super) points: &'a [Sighting],
    /// Those in which it was alone and whole; all when they are too few.
    pub(super) lone: Vec<&'a Sighting>,
    /// How it crosses the middle.
    pub(super) fit: Crossing,
    /// Share of the height through which it was seen to rise.
    pub(super) share: f32,
    /// By which share of the height it begins above the middle; below it this is negative.
    pub(super) begins_above: f32,
    /// Share of the frames of its way in which it was seen.
    pub(super) cover: f32,
    /// Frames of its way in which it was not.
    pub(super) unseen: f32,
    /// Usual height, rows.
    pub(super) height: f32,
    /// Usual width, columns.
    pub(super) width: f32,
    /// That width as it would be without the glass.
    pub(super) across: f32,
    /// Usual weight, grey levels × samples.
    pub(super) weight: f32,
    /// Usual place across, columns.
    pub(super) col: f32,
}

impl<'a> Rise<'a> {
    /// None when it is no bead's, or did not pass mid-glass.
    pub(super) fn of(path: &'a Path, bore: &Bore) -> Option<Self> {
        let points = moving(&path.points);
        let (first, last) = (points.first()?, points.last()?);
        let fewest = if bore.known.is_empty() {
            FEWEST_SIGHTINGS
        } else {
            FEWEST_OF_KNOWN
        };
        if points.len() < fewest {
            return None;
        }
        let middle = bore.rows / 2.0 - 0.5;
        let rise = first.seen.row - last.seen.row;
        let least = match bore.kind {
            GlassKind::Tube => LEAST_RISE_TUBE,
            GlassKind::Port => LEAST_RISE_PORT,
        };
        if rise < least * bore.rows || last.seen.row > middle + ENDS_BELOW * bore.rows {
            return None;
        }
        // In sight from the first frame on and above the middle already: it passed before.
        let begins_above = (middle - first.seen.row) / bore.rows;
        let is_old = begins_above > 0.0 && first.frame <= bore.first_frame + 1;
        if begins_above > BEGINS_ABOVE || is_old {
            return None;
        }
        if !goes_up(points) {
            return None;
        }
        let lone: Vec<&Sighting> = whole(points, bore.rows);
        let fit = crossing(&lone, middle, bore.rows)?;
        let is_rough = fit.scatter > MOST_SCATTER * bore.rows + 1.0;
        if is_rough || fit.rows_per_s <= 0.0 || bore.rows / fit.rows_per_s > LONGEST_PASSAGE_SECS {
            return None;
        }
        let (height, width) = size(&lone, middle);
        if !fits(height, width, bore) || !goes_on(points) {
            return None;
        }
        let slowest = if bore.drift {
            SLOWEST_IN_DRIFT
        } else {
            SLOWEST_DIAMETERS_PER_S
        };
        if fit.rows_per_s < slowest * height {
            return None;
        }
        let usual = |of: fn(&Sighting) -> f32| {
            let mut values: Vec<f32> = lone.iter().map(|p| of(p)).collect();
            median(&mut values)
        };
        let (weight, col) = (usual(|p| p.seen.weight), usual(|p| p.seen.col));
        let way = Self {
            points,
            fit,
            share: rise / bore.rows,
            begins_above,
            cover: 1.0,
            unseen: 0.0,
            height,
            width,
            across: match bore.kind {
                GlassKind::Tube => width / WATER_INDEX,
                GlassKind::Port => width,
            },
            weight,
            col,
            lone,
        };
        way.covered(path, bore)
    }

    /// With the share of the frames of its way in which it was seen; none when it was too seldom. Frames in
    /// which it was behind something count for what stands out only: of specks in steam there is always one
    /// where another was lost.
    fn covered(self, path: &Path, bore: &Bore) -> Option<Self> {
        let (first, last) = (self.points.first()?, self.points.last()?);
        let hidden = if self.stands_out() >= FAINTLY * bore.grain {
            path.hidden
        } else {
            0
        };
        let seen = self.points.len() as f32;
        let frames = (last.frame - first.frame + 1).saturating_sub(path.repeats + hidden);
        let frames = (frames as f32).max(seen);
        let cover = seen / frames;
        (cover >= LEAST_COVER.min(bore.cover - COVERS_VARY)).then_some(Self {
            cover,
            unseen: frames - seen,
            ..self
        })
    }

    /// Speed in its own diameters a second. Motion lengthens a fast bubble and never widens it, so the
    /// height alone will not do; of a bead lit from the side only half its width may show, so the width
    /// alone will not do either.
    pub(super) fn diameters_per_s(&self) -> f32 {
        self.fit.rows_per_s / (self.height * self.across).sqrt().max(1.0)
    }

    /// Width, as it would be without the glass, over height.
    pub(super) fn shape(&self) -> f32 {
        self.across / self.height.max(1.0)
    }

    /// By how much its usual sighting stands out of the picture at rest, grey levels.
    pub(super) fn stands_out(&self) -> f32 {
        let area = std::f32::consts::FRAC_PI_4 * self.height * self.width;
        self.weight / area.max(1.0)
    }

    /// Mean of something over its sightings.
    pub(super) fn mean(&self, of: impl Fn(&Sighting) -> f32) -> f32 {
        self.points.iter().map(of).sum::<f32>() / self.points.len() as f32
    }
}

/// Whether what is so high and wide can be a bead in that bore.
fn fits(height: f32, width: f32, bore: &Bore) -> bool {
    let tallest = match bore.kind {
        GlassKind::Tube => (TALLEST_IN_TUBE * bore.cols).min(TALLEST_SHARE * bore.rows),
        GlassKind::Port => TALLEST_SHARE * bore.rows,
    };
    height <= tallest
        && width <= WIDEST_SHARE * bore.cols
        && SHAPES.contains(&(width / height.max(1.0)))
}

/// Whether it went up from most sightings to the next.
fn goes_up(points: &[Sighting]) -> bool {
    let ups = points
        .windows(2)
        .filter(|w| w[1].seen.row < w[0].seen.row + 0.5)
        .count();
    ups as f32 / (points.len() - 1) as f32 >= LEAST_UPS
}

/// Whether it kept rising all the way.
fn goes_on(points: &[Sighting]) -> bool {
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return false;
    };
    let (secs, rise) = (last.at_secs - first.at_secs, first.seen.row - last.seen.row);
    if points.len() < 12 || secs <= 0.0 {
        return true;
    }
    // Row at each quarter of the time, straight between the sightings beside it.
    let row_at = |quarter: u8| {
        let at = first.at_secs + secs * f64::from(quarter) / 4.0;
        let after = points.partition_point(|p| p.at_secs < at);
        let (a, b) = match (points.get(after.saturating_sub(1)), points.get(after)) {
            (Some(a), Some(b)) => (a, b),
            (Some(a), None) => (a, a),
            _ => (first, last),
        };
        let between = (b.at_secs - a.at_secs).max(1e-9);
        let share = ((at - a.at_secs) / between).clamp(0.0, 1.0) as f32;
        a.seen.row + share * (b.seen.row - a.seen.row)
    };
    (2..4).all(|quarter| row_at(quarter) - row_at(quarter + 1) >= LEAST_PROGRESS * rise / 4.0)
}

/// Sightings in which it was alone and whole (not cut off by the ends of the glass).
fn whole(points: &[Sighting], rows: f32) -> Vec<&Sighting> {
    let lone: Vec<&Sighting> = points
        .iter()
        .filter(|p| !p.shared && p.seen.top > 0.7 && p.seen.bottom < rows - 0.7)
        .collect();
    if lone.len() >= FEWEST_SIGHTINGS {
        lone
    } else {
        points.iter().collect()
    }
}

/// Median height and width of the sightings in the middle half of the glass.
fn size(points: &[&Sighting], middle: f32) -> (f32, f32) {
    let mut sorted: Vec<&&Sighting> = points.iter().collect();
    sorted.sort_by(|a, b| {
        (a.seen.row - middle)
            .abs()
            .total_cmp(&(b.seen.row - middle).abs())
    });
    let near = sorted
        .get(..sorted.len().div_ceil(2).max(3).min(sorted.len()))
        .unwrap_or(&[]);
    let mut heights: Vec<f32> = near.iter().map(|p| p.seen.height).collect();
    let mut widths: Vec<f32> = near.iter().map(|p| p.seen.width).collect();
    (median(&mut heights), median(&mut widths))
}
