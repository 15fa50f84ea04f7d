//! What a path was: a bead with its mid-glass time and speed, or nothing. What a bead could have done
//! (`rise`) is weighed against chance, as the glass was in that moment (`moment`).

use crate::base::GlassKind;
use crate::bead::bore::Bore;
use crate::bead::clutter::Clutter;
use crate::bead::known::speed_speaks;
use crate::bead::moment::Moment;
use crate::bead::rise::{COVERS_VARY, FEWEST_SIGHTINGS, Rise};
use crate::bead::track::{Path, Sighting};

/// Of so few sightings one may be unlike the others: of a bead that parts from the nozzle or leaves at the
/// top.
const FEW: usize = 4;
/// Chance that a bead on its way is not seen in one frame.
const UNSEEN_CHANCE: f32 = 0.1;
/// Evidence (natural logarithm) that the whole height takes away by which a path begins above the middle,
/// in a tube, whose nozzle stands far below, so that it should have been seen before, and in a port.
const BEGUN_ABOVE_COSTS: (f32, f32) = (60.0, 0.0);
/// Share of the frames of its way in which it is seen under which it needs more evidence, in a tube and in
/// a port (where a bead is in sight for a few frames only): what comes and goes is no bead.
const USUAL_COVER: (f32, f32) = (0.85, 0.7);
/// Evidence (natural logarithm) that all the missing share takes away, in a calm glass and in drift.
const GAPS_COST: (f32, f32) = (60.0, 40.0);
/// Share of the height through which a bead is usually seen to rise, in a tube and in a port, and the
/// evidence (natural logarithm) that all of it takes away when it is missing.
const USUAL_RISE: (f32, f32) = (0.5, 0.16);
const SHORTNESS_COSTS: f32 = 40.0;
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
/// Width over height under which a bead of oil needs more evidence, in a tube (which widens it) and
/// in a port: half of it lit, and lengthened by half its height while the shutter is open. Streaks
/// of moving light are far more slender.
const USUALLY_WIDER: (f32, f32) = (0.6, 0.45);
/// The same over which it does, as it would be without the glass: a drop is flattened by a sixth at the
/// most, lit from above half of its height may show, and of a small one the height is known to a sample. In
/// a tube, where also the way across is uncertain, and in a port.
const USUALLY_FLATTER: (f32, f32) = (1.6, 1.4);
/// That evidence (natural logarithm) for each squared e-fold of slenderness or flatness.
const SLENDERNESS_COSTS: f32 = 30.0;
/// Speed from which on a path may be gas, in diameters of its sightings a second: oil in water
/// rises 16 to 31 diameters a second, gas at least 70; the geometric mean. Only a rough guess while
/// the path is judged; the kind is decided from the bead's measured size.
const GAS_DIAMETERS_PER_S: f32 = 46.0;
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
/// Evidence (natural logarithm) that is taken away from what may be a first bead and is faint.
const FAINT_COSTS: f32 = 16.0;
/// A round glass draws whatever it mirrors out into a streak along its axis, of which noise and steam
/// show pieces that come and go, one above the other. In a tube the usual width is then so many times as
/// much,
const STREAK_WIDTH: f32 = 1.33;
/// and company weighs so many times as much.
const STREAK_COMPANY: f32 = 1.5;
/// Spread of a clear bead's width over its height, natural logarithm, and the range over which chance
/// finds lie evenly: from a seventh to four.
const ROUNDNESS: (f32, f32) = (0.2, 3.3);

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

/// Judges a path. None when it was no bead, or did not pass mid-glass.
#[must_use]
pub fn explain(path: &Path, bore: &Bore, clutter: &Clutter) -> Option<Explained> {
    let rise = Rise::of(path, bore)?;
    let moment = Moment::of(&rise, bore, clutter);
    let rows_per_s = rise.fit.rows_per_s;
    let diameters_per_s = rise.diameters_per_s();
    let by_itself = speed_speaks(diameters_per_s);
    let roundly = if moment.is_clear {
        roundness(rise.shape())
    } else {
        0.0
    };
    let surplus = evidence(&rise, &moment, bore, clutter)
        - clutter.chance_runs(bore.frames_per_s)
        - costs(&rise, &moment, bore)
        + by_itself
        + roundly
        - bore.lane.off(rise.col, (bore.cols, bore.axis));
    let look = (rows_per_s, rise.height, rise.weight);
    let is_silent = moment.is_restless && bore.known.is_empty();
    let mut all = surplus;
    if moment.drifts || is_silent || (moment.is_clear && !bore.known.is_empty()) {
        all += bore.known.speaks(look, diameters_per_s) - by_itself;
    }
    // By itself too little, and nobody saw it come up to the middle.
    let is_half_seen = surplus < 0.0 && rise.begins_above > 0.0;
    let is_glimpse = rise.points.len() < FEWEST_SIGHTINGS
        && !(moment.is_clear && !bore.drift && bore.known.is_like(look));
    if all < 0.0 || is_half_seen || is_glimpse {
        return None;
    }
    let confidence = 1.0 - 0.5 * (-all / 4.0).exp() - 0.004;
    Some(Explained {
        at_secs: rise.fit.at_secs,
        rows_per_s,
        height: rise.height,
        width: rise.width,
        confidence,
        surplus,
        col: rise.col,
        strength: rise.weight,
        cover: rise.cover,
        diameters_per_s,
        rows: rise.points.iter().map(|p| (p.frame, p.seen.row)).collect(),
    })
}

/// Evidence (natural logarithm) that is taken away by what is unusual in a bead: it shrinks or grows, is
/// slow, slender, seen now and then, on a short part of its way or late, or is a first one that hardly
/// stands out.
fn costs(rise: &Rise<'_>, moment: &Moment, bore: &Bore) -> f32 {
    let by_kind = |(tube, port): (f32, f32)| match bore.kind {
        GlassKind::Tube => tube,
        GlassKind::Port => port,
    };
    let wider = if moment.may_be_streak {
        STREAK_WIDTH
    } else {
        1.0
    };
    let slender = if rise.diameters_per_s() <= GAS_DIAMETERS_PER_S || moment.is_restless {
        (by_kind(USUALLY_WIDER) * wider * rise.height / rise.width.max(0.1))
            .ln()
            .max(0.0)
    } else {
        0.0
    };
    let flat = (rise.shape() / by_kind(USUALLY_FLATTER)).ln().max(0.0);
    let slow = (USUALLY_FASTER * rise.height / rise.fit.rows_per_s).ln();
    let usual_cover = by_kind(USUAL_COVER).min(bore.cover - COVERS_VARY / 2.0);
    UNLIKE_COSTS * unlike(rise, moment)
        + SLOWNESS_COSTS * slow.max(0.0).powi(2)
        + SLENDERNESS_COSTS * (slender.powi(2) + flat.powi(2))
        + by_drift(GAPS_COST, moment) * (usual_cover - rise.cover).max(0.0)
        + SHORTNESS_COSTS * (by_kind(USUAL_RISE) - rise.share).max(0.0)
        + by_kind(BEGUN_ABOVE_COSTS) * rise.begins_above.max(0.0)
        + if moment.is_faint { FAINT_COSTS } else { 0.0 }
}

fn by_drift((calm, in_drift): (f32, f32), moment: &Moment) -> f32 {
    if moment.drifts { in_drift } else { calm }
}

/// Up to how many sightings one may be unlike the others.
fn few(moment: &Moment) -> usize {
    if moment.is_clear { FEW } else { 0 }
}

/// Share of its sightings that are missing to the usual share of those that look like one thing.
fn unlike(rise: &Rise<'_>, moment: &Moment) -> f32 {
    let lone = &rise.lone;
    let shade: f32 = lone.iter().map(|p| p.seen.level.signum()).sum();
    let most = if moment.is_first {
        SAME_STRENGTH
    } else {
        f32::MAX
    };
    let is_same = |p: &&&Sighting| {
        let ratio = |a: f32, b: f32| a.max(b) / a.min(b).max(1e-3);
        ratio(p.seen.height, rise.height) < SAME_HEIGHT
            && ratio(p.seen.weight, rise.weight) < most
            && (!moment.is_first || p.seen.level * shade > 0.0)
    };
    let pardoned = usize::from(lone.len() <= few(moment));
    let same = lone.iter().filter(is_same).count() + pardoned;
    (USUALLY_SAME - same as f32 / lone.len().max(1) as f32).max(0.0)
}

/// Evidence (natural logarithm) from how round it is: its width, as it would be without the glass, over its
/// height. It only ever adds: of a bead that is lit from the side half may show.
fn roundness(width_over_height: f32) -> f32 {
    let (spread, range) = ROUNDNESS;
    let off = width_over_height.max(1e-3).ln() / spread;
    ((range / (spread * std::f32::consts::TAU.sqrt())).ln() - 0.5 * off * off).max(0.0)
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
fn likeness(points: &[&Sighting], few: usize) -> f32 {
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
    let least = steps.iter().copied().fold(1.0, f32::min).max(MOST_ALIKE);
    (-usual.ln() * count).max(if points.len() <= few {
        -least.ln()
    } else {
        0.0
    })
}

/// Evidence (natural logarithm) of its sightings: how much less likely they are by chance than by a bead,
/// and how alike they are; less where they depend on each other.
fn evidence(rise: &Rise<'_>, moment: &Moment, bore: &Bore, clutter: &Clutter) -> f32 {
    let fresh = fresh(&rise.lone, rise.fit.rows_per_s);
    let unseen = rise.unseen * UNSEEN_CHANCE.max(1.0 - bore.cover).ln();
    let sightings = by_chance(&fresh, rise, moment, clutter);
    let all = sightings + likeness(&fresh, few(moment)) + unseen.min(0.0);
    let steady = match (moment.drifts, bore.kind) {
        (true, GlassKind::Tube) => EVIDENCE_IN_DRIFT.0,
        (true, GlassKind::Port) => EVIDENCE_IN_DRIFT.1,
        (false, _) => 1.0,
    };
    let step = rise.fit.rows_per_s / bore.frames_per_s.max(1.0) / rise.height.max(1.0);
    let anew = (step / ANOTHER_SIGHTING).min(1.0);
    let more = if moment.may_be_streak {
        STREAK_COMPANY
    } else {
        1.0
    };
    let company = more * by_drift(COMPANY_SHARE, moment) * moment.company;
    all * anew * steady / (1.0 + company)
}

/// How much less likely these sightings are by chance than by a bead, natural logarithm. The two
/// least likely ones only had to turn up somewhere; all others had to lie on their path.
fn by_chance(points: &[&Sighting], rise: &Rise<'_>, moment: &Moment, clutter: &Clutter) -> f32 {
    let aside: Vec<f32> = points
        .windows(2)
        .filter_map(|w| Some(w.get(1)?.seen.col - w.first()?.seen.col))
        .collect();
    let drift = (aside.iter().map(|d| d * d).sum::<f32>() / aside.len().max(1) as f32).sqrt();
    let gate = (4.0 * rise.fit.scatter.max(0.4) + 1.0) * (4.0 * drift.max(0.4) + 1.0);
    let mut odds: Vec<(f32, f32)> = points
        .iter()
        .map(|p| {
            let (row, weight) = (p.seen.row, p.seen.weight);
            let mut expected = clutter.expected(p.frame, row, weight, gate);
            if moment.may_be_streak {
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
    on_path + somewhere
}
