//! What a path was: a bead with its mid-glass time and speed, or nothing. The tests
//! are those of physics: it rises through the glass, steadily, as one compact thing.

use crate::base::GlassKind;
use crate::bead::clutter::Clutter;
use crate::bead::crossing::{Crossing, crossing};
use crate::bead::known::{Known, speed_speaks};
pub use crate::bead::lane::Lane;
use crate::bead::track::{Path, Sighting};

/// Share of a tube's height through which a bead must be seen to rise.
const LEAST_RISE_TUBE: f32 = 0.24;
/// The same for a port: a bead leaves the nozzle near the middle of it and is at the top three
/// frames later.
const LEAST_RISE_PORT: f32 = 0.16;
/// Fewest sightings: at 15 frames a second a fast bead crosses a port in three.
const FEWEST_SIGHTINGS: usize = 3;
/// Chance that a bead on its way is not seen in one frame.
const UNSEEN_CHANCE: f32 = 0.1;
/// Share of the height by which the path may begin above the middle: what rises came from below,
/// but a bead that leaves the nozzle is one with it at first.
const BEGINS_ABOVE: f32 = 0.25;
/// Evidence (natural logarithm) that the whole height takes away by which the path of a tube begins
/// above the middle: its nozzle stands far below, so it should have been seen before.
const BEGUN_ABOVE_COSTS: f32 = 60.0;
/// Share of the height by which the path may end below the middle.
const ENDS_BELOW: f32 = 0.1;
/// Least share of the frames between first and last sighting in which it was seen.
const LEAST_COVER: f32 = 0.6;
/// The same under which it needs more evidence, in a tube and in a port (where a bead is in sight
/// for a few frames only): what comes and goes is no bead.
const USUAL_COVER: (f32, f32) = (0.85, 0.7);
/// How far the share of one bead may lie under that of the others of its glass.
const COVERS_VARY: f32 = 0.2;
/// Evidence (natural logarithm) that all the missing share takes away, in a calm glass and in drift.
const GAPS_COST: (f32, f32) = (60.0, 40.0);
/// Share of a tube's height through which a bead is usually seen to rise, and the evidence (natural
/// logarithm) that all of it takes away when it is missing.
const USUAL_RISE_TUBE: f32 = 0.5;
const SHORTNESS_COSTS: f32 = 40.0;
/// Most scatter about a smooth path, as a share of the height.
const MOST_SCATTER: f32 = 0.045;
/// Longest passage through the whole glass, seconds: cold, heavy oil in a long glass.
const LONGEST_PASSAGE_SECS: f32 = 8.0;
/// Tallest bead, as a share of the height of a tube (a port may hold one of half its height).
const TALLEST_SHARE: f32 = 0.5;
/// Tallest bead in a tube, as a share of its width: what rises in a bore is no longer than wide.
const TALLEST_IN_TUBE: f32 = 0.65;
/// Least progress in each of the last two quarters of the time, against the mean: only while it
/// lets go of the nozzle may a bead be slow, and it never rests.
const LEAST_PROGRESS: f32 = 0.4;
/// Likeness is not believed beyond this difference of strength, natural logarithm.
const MOST_ALIKE: f32 = 0.15;
/// Sightings within this ratio of the usual height count as the same thing.
const SAME_HEIGHT: f32 = 1.6;
/// The same of strength, and it is dark or bright throughout, until beads of oil are known in a restless
/// glass: what flashes up on its way is a mirrored lamp.
const SAME_STRENGTH: f32 = 4.0;
/// Usual share of such sightings: what shrinks or grows on its way may be light, not oil.
const USUALLY_SAME: f32 = 0.75;
/// Evidence (natural logarithm) that all the missing share takes away.
const UNLIKE_COSTS: f32 = 40.0;
/// Most and least width over height: a ball on the axis of a tube is 1.33 times as wide as high,
/// near its wall less; of a bubble lit from the front only a glint may be seen.
const SHAPES: std::ops::RangeInclusive<f32> = 0.15..=4.0;
/// Width over height under which a bead of oil needs more evidence, in a tube (which widens it) and
/// in a port: half of it lit, and lengthened by half its height while the shutter is open. Streaks
/// of moving light are far more slender.
const USUALLY_WIDER: (f32, f32) = (0.6, 0.45);
/// That evidence (natural logarithm) for each squared e-fold of slenderness.
const SLENDERNESS_COSTS: f32 = 30.0;
/// Widest bead, as a share of the glass.
const WIDEST_SHARE: f32 = 0.85;
/// Speed from which on a path may be gas, in diameters of its sightings a second: oil in water
/// rises 16 to 31 diameters a second, gas at least 70; the geometric mean. Only a rough guess while
/// the path is judged; the kind is decided from the bead's measured size.
const GAS_DIAMETERS_PER_S: f32 = 46.0;
/// Widening by a round, water-filled glass: the refractive index of water.
const WATER_INDEX: f32 = 1.333;
/// Slowest rise of oil, in its own diameters a second: a quarter of what oil does in hot water.
/// Cold heavy oil that fills half its bore is not slower (wall effect of Clift, Grace and Weber,
/// chapter 9: 0.65).
const SLOWEST_DIAMETERS_PER_S: f32 = 4.0;
/// The same while steam or reflections drift over the glass: they too move upwards, at up to
/// seven of their own heights a second.
const SLOWEST_IN_DRIFT: f32 = 9.0;
/// Rise under which a path needs more evidence, in its own diameters a second: what oil in hot
/// water does at the least, near the wall of its bore.
const USUALLY_FASTER: f32 = 14.0;
/// That evidence (natural logarithm) for each squared e-fold of slowness.
const SLOWNESS_COSTS: f32 = 60.0;
/// Share of the evidence that counts while something drifts: one puff looks alike for several
/// frames, so its sightings are not as independent as those of noise. In a tube, and in a port.
const EVIDENCE_IN_DRIFT: (f32, f32) = (0.9, 0.8);
/// Share of the rise it should have made from which a sighting is of another moment.
const ANEW_SHARE: f32 = 0.2;
/// Rise from one frame to the next, in its own heights, from which two sightings are two: what hardly
/// moves is the same thing seen once more, be it oil or a streak of light.
const ANOTHER_SIGHTING: f32 = 0.25;
/// By how much each further thing of such strength that is in the glass at the same time, on the
/// mean, lessens the worth of the evidence: they may be pieces of one thing, whose sightings depend
/// on each other. A bead in a calm glass is alone. In a calm glass and in drift.
const COMPANY_SHARE: (f32, f32) = (0.3, 0.2);
/// Such company from which a glass counts as restless though nothing drifts over it, until beads are
/// known.
const RESTLESS_COMPANY: f32 = 0.05;
/// What turns up so often in a frame in an eighth of the glass is common there: the glass is restless.
const COMMON: f32 = 0.02;
/// Until beads of oil are known, what is common and stands out by less than so many spreads of single
/// samples may be a piece of something else, for a coder draws noise out into specks that wander:
const FAINTLY: f32 = 2.8;
/// this much more evidence (natural logarithm) is needed then.
const FAINT_COSTS: f32 = 16.0;
/// A round glass draws whatever it mirrors out into a streak along its axis, of which noise and steam
/// show pieces that come and go, one above the other. In a tube the usual width is then so many times as
/// much,
const STREAK_WIDTH: f32 = 1.33;
/// and company weighs so many times as much.
const STREAK_COMPANY: f32 = 1.5;

/// A bead in samples of the straightened glass.
#[derive(Clone, Debug)]
pub struct Explained {
    /// Source time at mid-glass, seconds.
    pub at_secs: f64,
    /// Rise speed about mid-glass, rows a second.
    pub rows_per_s: f32,
    /// Height, rows.
    pub height: f32,
    /// Width, columns.
    pub width: f32,
    /// 0 to 1.
    pub confidence: f32,
    /// Evidence beyond what chance would need, natural logarithm, without what speaks for it because
    /// others of the feed were like it.
    pub surplus: f32,
    /// Usual place across, columns.
    pub col: f32,
    /// Usual weight of its sightings, grey levels × samples.
    pub strength: f32,
    /// Share of the frames of its way in which it was seen.
    pub cover: f32,
    /// Rise speed in its own diameters a second, by a rough guess at those.
    pub diameters_per_s: f32,
    /// Sightings it rests on: frame number and row.
    pub rows: Vec<(u64, f32)>,
}

impl Explained {
    /// Whether it rose as slowly for its size as oil does, by a rough guess.
    #[must_use]
    pub fn is_slow(&self) -> bool {
        self.diameters_per_s <= GAS_DIAMETERS_PER_S
    }
}

/// The glass a path was seen in.
#[derive(Clone, Copy, Debug)]
pub struct Bore {
    /// Rows of the straightened glass.
    pub rows: f32,
    /// Width of the glass, columns.
    pub cols: f32,
    /// Column of its axis.
    pub axis: f32,
    /// Tube or port.
    pub kind: GlassKind,
    /// Number of the first frame that was looked at since the start or the last blind spell.
    pub first_frame: u64,
    /// Frames a second.
    pub frames_per_s: f32,
    /// Whether steam or reflections drift over the glass.
    pub drift: bool,
    /// Where beads have risen.
    pub lane: Lane,
    /// Share of the frames of their way in which they were seen.
    pub cover: f32,
    /// Usual spread of single samples, grey levels.
    pub grain: f32,
    /// What its beads are like, while it gives drops: asked in a restless glass only.
    pub known: Known,
}

/// Judges a path. None when it was no bead, or did not pass mid-glass.
#[must_use]
pub fn explain(path: &Path, bore: &Bore, clutter: &Clutter) -> Option<Explained> {
    let points = moving(&path.points);
    let (first, last) = (points.first()?, points.last()?);
    if points.len() < FEWEST_SIGHTINGS {
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
    if begins_above > BEGINS_ABOVE || (begins_above > 0.0 && first.frame <= bore.first_frame + 1) {
        return None;
    }
    let frames = (last.frame - first.frame + 1).saturating_sub(path.repeats);
    let frames = frames.max(points.len() as u64) as f32;
    let cover = points.len() as f32 / frames;
    if cover < LEAST_COVER.min(bore.cover - COVERS_VARY) {
        return None;
    }
    let ups = points
        .windows(2)
        .filter(|w| w[1].seen.row < w[0].seen.row + 0.5)
        .count() as f32
        / (points.len() - 1) as f32;
    if ups < 0.8 {
        return None;
    }
    let lone: Vec<&Sighting> = whole(points, bore.rows);
    let path_fit = crossing(&lone, middle, bore.rows)?;
    let (at_secs, rows_per_s, scatter) = (path_fit.at_secs, path_fit.rows_per_s, path_fit.scatter);
    if scatter > MOST_SCATTER * bore.rows + 1.0 || rows_per_s <= 0.0 {
        return None;
    }
    if bore.rows / rows_per_s > LONGEST_PASSAGE_SECS {
        return None;
    }
    let (height, width) = size(&lone, middle);
    let tallest = match bore.kind {
        GlassKind::Tube => (TALLEST_IN_TUBE * bore.cols).min(TALLEST_SHARE * bore.rows),
        GlassKind::Port => TALLEST_SHARE * bore.rows,
    };
    if height > tallest || width > WIDEST_SHARE * bore.cols {
        return None;
    }
    if !SHAPES.contains(&(width / height.max(1.0))) || !goes_on(points) {
        return None;
    }
    let across = match bore.kind {
        GlassKind::Tube => width / WATER_INDEX,
        GlassKind::Port => width,
    };
    // Motion lengthens a fast bubble and never widens it, so the height alone will not do; of a bead
    // lit from the side only half its width may show, so the width alone will not do either.
    let diameter = (height * across).sqrt().max(1.0);
    let slowest = if bore.drift {
        SLOWEST_IN_DRIFT
    } else {
        SLOWEST_DIAMETERS_PER_S
    };
    if rows_per_s < slowest * height {
        return None;
    }
    let mut weights: Vec<f32> = lone.iter().map(|p| p.seen.weight).collect();
    let weight = crate::bead::steady::median(&mut weights);
    let unseen = frames - points.len() as f32;
    let mut cols: Vec<f32> = lone.iter().map(|p| p.seen.col).collect();
    let col = crate::bead::steady::median(&mut cols);
    let slowness = (USUALLY_FASTER * height / rows_per_s).ln().max(0.0);
    let (usual_cover, usual_width, usual_rise) = match bore.kind {
        GlassKind::Tube => (USUAL_COVER.0, USUALLY_WIDER.0, USUAL_RISE_TUBE),
        GlassKind::Port => (USUAL_COVER.1, USUALLY_WIDER.1, LEAST_RISE_PORT),
    };
    let usual_cover = usual_cover.min(bore.cover - COVERS_VARY / 2.0);
    let gaps = (usual_cover - cover).max(0.0);
    let short = (usual_rise - rise / bore.rows).max(0.0);
    let late = match bore.kind {
        GlassKind::Tube => BEGUN_ABOVE_COSTS * begins_above.max(0.0),
        GlassKind::Port => 0.0,
    };
    let company = |p: &Sighting| clutter.company(p.frame, weight);
    let company = points.iter().map(company).sum::<f32>() / points.len() as f32;
    let often = |p: &Sighting| clutter.anywhere(p.frame, p.seen.row, p.seen.weight);
    let often = points.iter().map(often).sum::<f32>() / points.len() as f32;
    let is_restless = bore.drift || company > RESTLESS_COMPANY;
    let is_silent = is_restless && bore.known.is_empty();
    let is_first = (is_restless || often > COMMON) && !bore.known.has_oil();
    let shade: f32 = lone.iter().map(|p| p.seen.level.signum()).sum();
    let most_unlike = if is_first { SAME_STRENGTH } else { f32::MAX };
    let is_same = |p: &&&Sighting| {
        let ratio = |a: f32, b: f32| a.max(b) / a.min(b).max(1e-3);
        ratio(p.seen.height, height) < SAME_HEIGHT
            && ratio(p.seen.weight, weight) < most_unlike
            && (!is_first || p.seen.level * shade > 0.0)
    };
    let same = lone.iter().filter(is_same).count();
    let unlike = (USUALLY_SAME - same as f32 / lone.len().max(1) as f32).max(0.0);
    let stands_out = weight / (std::f32::consts::FRAC_PI_4 * height * width).max(1.0);
    let is_faint = is_first && often > COMMON && stands_out < FAINTLY * bore.grain;
    let may_be_streak = is_faint && bore.kind == GlassKind::Tube;
    let (wider, more) = if may_be_streak {
        (STREAK_WIDTH, STREAK_COMPANY)
    } else {
        (1.0, 1.0)
    };
    let faintly = if is_faint { FAINT_COSTS } else { 0.0 };
    let usual_width = usual_width * wider;
    let slender = if rows_per_s / diameter <= GAS_DIAMETERS_PER_S || bore.drift {
        (usual_width * height / width.max(0.1)).ln().max(0.0)
    } else {
        0.0
    };
    let by_drift = |pair: (f32, f32)| if bore.drift { pair.1 } else { pair.0 };
    let steady = match (bore.drift, bore.kind) {
        (true, GlassKind::Tube) => EVIDENCE_IN_DRIFT.0,
        (true, GlassKind::Port) => EVIDENCE_IN_DRIFT.1,
        (false, _) => 1.0,
    };
    let step = rows_per_s / bore.frames_per_s.max(1.0) / height.max(1.0);
    let anew = (step / ANOTHER_SIGHTING).min(1.0);
    let worth = anew * steady / (1.0 + more * by_drift(COMPANY_SHARE) * company);
    let unseen_chance = UNSEEN_CHANCE.max(1.0 - bore.cover);
    let fresh = fresh(&lone, rows_per_s);
    let look = (rows_per_s, height, weight);
    let by_itself = speed_speaks(rows_per_s / diameter);
    let unseen = unseen * unseen_chance.ln();
    let surplus = worth * evidence(&fresh, (&path_fit, may_be_streak), clutter, unseen)
        - clutter.chance_runs(bore.frames_per_s)
        - UNLIKE_COSTS * unlike
        - SLOWNESS_COSTS * slowness.powi(2)
        - SLENDERNESS_COSTS * slender.powi(2)
        - by_drift(GAPS_COST) * gaps
        - SHORTNESS_COSTS * short
        - late
        - faintly
        + by_itself
        - bore.lane.off(col, (bore.cols, bore.axis));
    let mut all = surplus;
    if bore.drift || is_silent {
        all += bore.known.speaks(look, rows_per_s / diameter) - by_itself;
    }
    // By itself too little, and nobody saw it come up to the middle.
    let is_half_seen = surplus < 0.0 && begins_above > 0.0;
    if all < 0.0 || is_half_seen {
        return None;
    }
    let confidence = 1.0 - 0.5 * (-all / 4.0).exp() - 0.004;
    Some(Explained {
        at_secs,
        rows_per_s,
        height,
        width,
        confidence,
        surplus,
        col,
        strength: weight,
        cover,
        diameters_per_s: rows_per_s / diameter,
        rows: points.iter().map(|p| (p.frame, p.seen.row)).collect(),
    })
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

/// Leaves out the time in which it stood still before it rose.
fn moving(points: &[Sighting]) -> &[Sighting] {
    let Some(first) = points.first() else {
        return points;
    };
    let start = points
        .iter()
        .rposition(|p| p.seen.row > first.seen.row - 2.0)
        .unwrap_or(0);
    points.get(start..).unwrap_or(points)
}

/// Sightings in which it was alone and whole (not cut off by the ends of the glass).
fn whole(points: &[Sighting], rows: f32) -> Vec<&Sighting> {
    let lone: Vec<&Sighting> = points
        .iter()
        .filter(|p| !p.shared && p.seen.top > 0.7 && p.seen.bottom < rows - 0.7)
        .collect();
    if lone.len() >= 3 {
        lone
    } else {
        points.iter().collect()
    }
}

/// Sightings that are of another moment: a picture that comes once more, or a piece of it that a coder
/// left as it was, shows a thing where it had been though it should have risen.
fn fresh<'a>(points: &[&'a Sighting], rows_per_s: f32) -> Vec<&'a Sighting> {
    let mut kept: Vec<&Sighting> = Vec::with_capacity(points.len());
    for point in points {
        let risen = kept.last().is_none_or(|last| {
            let step = rows_per_s * (point.at_secs - last.at_secs) as f32;
            last.seen.row - point.seen.row > ANEW_SHARE * step
        });
        if risen {
            kept.push(point);
        }
    }
    kept
}

/// Evidence from likeness: one bead looks alike from frame to frame, chance finds do not. Taken as
/// the odds of two chance strengths lying as close together as these do.
fn likeness(points: &[&Sighting]) -> f32 {
    let mut steps: Vec<f32> = points
        .windows(2)
        .filter_map(|w| {
            let (a, b) = (
                w.first()?.seen.weight.max(1.0),
                w.get(1)?.seen.weight.max(1.0),
            );
            Some((a / b).ln().abs())
        })
        .collect();
    let count = steps.len() as f32;
    let usual = crate::bead::steady::median(&mut steps).clamp(MOST_ALIKE, 1.0);
    -usual.ln() * count
}

/// How much less likely these sightings are by chance than by a bead, natural logarithm. The two
/// least likely ones only had to turn up somewhere; all others had to lie on their path.
fn evidence(
    points: &[&Sighting],
    (fit, may_be_streak): (&Crossing, bool),
    clutter: &Clutter,
    unseen: f32,
) -> f32 {
    let aside: Vec<f32> = points
        .windows(2)
        .filter_map(|w| Some(w.get(1)?.seen.col - w.first()?.seen.col))
        .collect();
    let drift = (aside.iter().map(|d| d * d).sum::<f32>() / aside.len().max(1) as f32).sqrt();
    let gate = (4.0 * fit.scatter.max(0.4) + 1.0) * (4.0 * drift.max(0.4) + 1.0);
    let mut odds: Vec<(f32, f32)> = points
        .iter()
        .map(|p| {
            let (row, weight) = (p.seen.row, p.seen.weight);
            let mut expected = clutter.expected(p.frame, row, weight, gate);
            if may_be_streak {
                let there = clutter.expected_in_column(p.frame, p.seen.col, weight, gate);
                expected = expected.max(there);
            }
            (-expected.ln(), -clutter.anywhere(p.frame, row, weight).ln())
        })
        .collect();
    odds.sort_by(|a, b| a.0.total_cmp(&b.0));
    let free = odds.len().saturating_sub(2);
    let on_path: f32 = odds.iter().take(free).map(|o| o.0).sum();
    let somewhere: f32 = odds.iter().skip(free).map(|o| o.1.max(0.0)).sum();
    on_path + somewhere + likeness(points) + unseen.min(0.0)
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
    (
        crate::bead::steady::median(&mut heights),
        crate::bead::steady::median(&mut widths),
    )
}
