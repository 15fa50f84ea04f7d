//! Guesses of tubes: on a suggested axis, the fittings at both ends, the silhouettes on both
//! sides, the nozzle at the foot.

use super::axes::{Axis, NARROWEST_PX, SLIMMEST, SQUATTEST};
use super::bounds::{Between, Bound, between, crossing_edges};
use super::group::Guess;
use super::nozzle::{Nozzle, Within, nozzles};
use super::patch::Patch;
use super::plane::Slopes;
use super::pose::Pose;
use crate::base::GlassKind;

/// Parts of the height on which the sides are measured one by one: a side may change from bright
/// to dark half-way when what stands behind it changes, and must show on most of them.
const STRETCHES: usize = 5;
/// Slope of a side, averaged over a stretch, that is worth the name, in parts of the threshold
/// for a single place: an average of many rows is far quieter.
const FAINT_SIDE: f32 = 0.4;
/// Most guesses on one axis.
const MOST_WIDTHS: usize = 7;
/// Pairs of ends tried for each pair of sides: the nozzle tells which foot is the right one.
const MOST_ENDS: usize = 4;
/// Ends below this score are no fittings.
const FIRM: f32 = 0.12;
/// A guess this good on an axis needs no guess without sides beside it.
const WELL_SEEN: f32 = 0.3;
/// What a glass is worth whose sides do not show.
const UNSEEN: f32 = 0.62;
/// What a post loses when another as good stands beside it.
const COMPANY: f32 = 0.5;
/// A fitting holds its glass closely: what is lost for each width by which it is wider.
const LOOSE: f32 = 1.2;
/// Width taken when no side shows, part of the fittings' width: glasses are a little narrower
/// than what holds them.
const HELD: f32 = 0.8;
/// Part of a glass with edges along its height at which it is half believed.
const UNEVEN: f32 = 0.12;
/// How well the fittings must show then, 0 to 1.
const HELD_FAST: f32 = 0.7;
/// Rows and columns of a patch are no finer than this part of its height.
const FINEST: f32 = 1.0 / 200.0;
/// As above, part of its reach to one side.
const FINEST_ACROSS: f32 = 1.0 / 56.0;

/// All plausible tubes on the suggested axes.
pub(super) fn tube_guesses(slopes: &Slopes, axes: &[Axis], threshold: f32) -> Vec<Guess> {
    let mut guesses = Vec::new();
    for axis in axes {
        on_axis(slopes, axis, threshold, &mut guesses);
    }
    guesses
}

fn on_axis(slopes: &Slopes, axis: &Axis, threshold: f32, guesses: &mut Vec<Guess>) {
    let (top, bottom) = (axis.head.1 - 2.0, axis.foot.1 + 2.0);
    let step = ((bottom - top) * FINEST)
        .max(axis.reach * FINEST_ACROSS)
        .max(1.0);
    let patch = Patch::cut(slopes, axis.pose, axis.reach, top, bottom, step);
    let edges = crossing_edges(&patch, axis.strip, threshold);
    let heights = (
        SQUATTEST * NARROWEST_PX.max(1.9 * axis.strip),
        SLIMMEST * 2.0 * axis.reach,
    );
    let inside = |(near, far): (f32, f32), at: f32| {
        let (low, high) = (near.min(far), near.max(far));
        let off = (low - at).max(at - high).max(0.0);
        (-off / (0.3 * axis.strip + 1.0)).exp()
    };
    let margin = 0.12 * axis.strip + 2.0;
    let expected = |upper: &Bound, lower: &Bound| {
        inside(axis.head, upper.along) * inside(axis.foot, lower.along)
    };
    let Some(ends) = between(&edges, heights, margin, expected)
        .first()
        .copied()
        .filter(|ends| ends.score > FIRM)
    else {
        return;
    };
    let sides = Sides::measure(&patch, &ends, axis.lean_doubt, threshold);
    let pairs = sides.pairs(&patch, &ends);
    let height = ends.lower.along - ends.upper.along;
    let before = guesses.len();
    let faint = FAINT_SIDE * threshold;
    let widest = pairs
        .iter()
        .take(MOST_WIDTHS)
        .map(|p| p.right - p.left)
        .fold(2.0 * axis.strip, f32::max);
    // Posts by the ends they were looked for between: pairs mostly share them.
    let mut looked: Vec<(f32, f32, Vec<Nozzle>)> = Vec::new();
    let mut posts_between = |ends: &Between| -> Vec<Nozzle> {
        let (head, foot) = (ends.upper.along, ends.lower.along);
        if let Some((_, _, posts)) = looked
            .iter()
            .find(|l| (l.0 - head).abs() < 1.5 && (l.1 - foot).abs() < 0.5)
        {
            return posts.clone();
        }
        let within = Within::Strip {
            half: (0.4 * widest).min(axis.reach),
            sag: ends.lower.sag,
        };
        let posts = nozzles(&patch, within, head, foot, threshold);
        looked.push((head, foot, posts.clone()));
        posts
    };
    for pair in pairs.iter().take(MOST_WIDTHS) {
        let width = pair.right - pair.left;
        if !(SQUATTEST..=SLIMMEST).contains(&(height / width)) {
            continue;
        }
        let run = Run::of(&patch, &ends, &sides, pair);
        let reach = 0.2 * width + 1.0;
        let strength = pair.strength / (pair.strength + faint);
        let seen = pair.shown * strength.sqrt();
        let choice = between(&edges, heights, margin, |upper, lower| {
            expected(upper, lower)
                * run.end(&patch, upper.along, reach)
                * run.end(&patch, lower.along, -reach)
        });
        for ends in choice.iter().take(MOST_ENDS) {
            let height = ends.lower.along - ends.upper.along;
            if !(SQUATTEST..=SLIMMEST).contains(&(height / width)) {
                continue;
            }
            let posts = posts_between(ends);
            judge(
                &patch, axis, ends, &sides, &posts, pair.left, pair.right, seen, threshold, guesses,
            );
        }
    }
    // Sides that do not show at all: glass before a dark ground. Its fittings tell its width.
    let best = guesses[before..]
        .iter()
        .map(|g| g.looks)
        .fold(0.0, f32::max);
    if best < WELL_SEEN
        && let Some(half) = fitting_half_width(&patch, &ends, threshold)
    {
        let half = HELD * half;
        let collar = collars(&patch, &ends, 0.0, 2.0 * half, sides.lean, threshold);
        if (SQUATTEST..=SLIMMEST).contains(&(height / (2.0 * half)))
            && 2.0 * half > NARROWEST_PX
            && collar > HELD_FAST
        {
            let posts = posts_between(&ends);
            judge(
                &patch, axis, &ends, &sides, &posts, -half, half, UNSEEN, threshold, guesses,
            );
        }
    }
}

/// Makes a guess of two sides and two ends, when it is worth keeping.
#[expect(
    clippy::too_many_arguments,
    reason = "one guess has that many parts; it is called twice"
)]
fn judge(
    patch: &Patch,
    axis: &Axis,
    ends: &Between,
    sides: &Sides,
    posts: &[Nozzle],
    left: f32,
    right: f32,
    seen: f32,
    threshold: f32,
    guesses: &mut Vec<Guess>,
) {
    let width = right - left;
    let centre = f32::midpoint(left, right);
    let (head, foot) = (ends.upper.along, ends.lower.along);
    let middle = f32::midpoint(head, foot);
    let (within, beside) = lips(patch, ends, left, right, threshold);
    // The lean found for the sides moves the foot sideways.
    let lean = sides.lean;
    let foot_centre = centre + lean * (foot - middle);
    let (mut placed, mut post) = (0.0_f32, None);
    for n in posts {
        let off = (n.across - foot_centre) / (0.045 * width + 0.5);
        if (0.05..=0.5).contains(&(n.width / width)) {
            let worth = n.score * (-0.5 * off * off).exp();
            if worth > placed {
                (placed, post) = (worth, Some(n));
            }
        }
    }
    // A nozzle stands alone; bolts and letters have others beside them.
    if let Some(post) = post {
        let company = posts
            .iter()
            .filter(|n| {
                let apart = (n.across - post.across).abs();
                apart > 0.8 * (n.width + post.width) && apart < 0.42 * width
            })
            .map(|n| n.score)
            .fold(0.0, f32::max);
        placed *= 1.0 - COMPANY * (company / post.score).min(1.0);
    }
    let score = ends.score.sqrt()
        * seen
        * within
        * smooth(patch, ends, left, right, threshold)
        * (0.85 + 0.15 * beside)
        * (0.5 + 0.5 * collars(patch, ends, centre, width, sides.lean, threshold))
        * (0.25 + 0.75 * placed);
    if score < 0.05 {
        return;
    }
    let pose = axis.pose.moved(centre, middle);
    guesses.push(Guess {
        kind: GlassKind::Tube,
        pose: Pose::leaning(pose.x, pose.y, steeper(axis.pose, lean)),
        width,
        height: foot - head,
        nozzle: placed,
        rose: 0.0,
        looks: score,
        score,
    });
}

/// Slope (dx/dy) of an axis that leans by `lean` more within a frame.
fn steeper(pose: Pose, lean: f32) -> f32 {
    let (right, down) = (lean * pose.cos - pose.sin, lean * pose.sin + pose.cos);
    if down.abs() < 1e-3 { 0.0 } else { right / down }
}

/// On which rows the two sides of a pair show, as sums from the top.
struct Run {
    left: Vec<f32>,
    right: Vec<f32>,
}

impl Run {
    fn of(patch: &Patch, ends: &Between, sides: &Sides, pair: &Pair) -> Self {
        let middle = f32::midpoint(
            patch.row_of(ends.upper.along) as f32,
            patch.row_of(ends.lower.along) as f32,
        );
        let follow = |across: f32, slope: f32| -> Vec<f32> {
            let column = patch.column_of(across).cast_signed();
            let mut sum = 0.0;
            std::iter::once(0.0)
                .chain((0..patch.rows).map(|row| {
                    let at = column + (sides.lean * (row as f32 - middle)).round() as isize;
                    let shows = (at - 1..=at + 1).any(|c| {
                        c >= 0
                            && (c as usize) < patch.columns
                            && patch.across[row * patch.columns + c as usize] * slope.signum()
                                > 0.4 * slope.abs()
                    });
                    sum += f32::from(u8::from(shows));
                    sum
                }))
                .collect()
        };
        Self {
            left: follow(pair.left, pair.slopes.0),
            right: follow(pair.right, pair.slopes.1),
        }
    }

    /// How well an end at `along` ends both sides; the glass lies on the side of `reach`.
    fn end(&self, patch: &Patch, along: f32, reach: f32) -> f32 {
        let mean = |sums: &[f32], a: f32, b: f32| -> f32 {
            let (a, b) = (patch.row_of(along + a), patch.row_of(along + b));
            let (low, high) = (a.min(b), a.max(b) + 1);
            (sums[high] - sums[low]) / (high - low) as f32
        };
        let both = |a: f32, b: f32| {
            let (left, right) = (mean(&self.left, a, b), mean(&self.right, a, b));
            (left.max(right), f32::midpoint(left, right))
        };
        let within = both(0.15 * reach, reach);
        let beyond = both(-0.15 * reach, -reach).1;
        (0.35 + 0.65 * f32::midpoint(within.0, within.1)) * (1.0 - 0.35 * beyond)
    }
}

/// Two sides that may be the silhouette.
#[derive(Clone, Copy, Debug)]
struct Pair {
    left: f32,
    right: f32,
    /// Slope of the fainter side.
    strength: f32,
    /// Mean slope of each side, with its sign.
    slopes: (f32, f32),
    /// Part of the height on which the worse side shows.
    shown: f32,
}

/// Upright edges between the fittings, averaged along their whole length.
struct Sides {
    /// Further lean against the patch, `across` per `along`.
    lean: f32,
    /// (across, size of the slope, part of the height on which it shows, signed slope), from the
    /// left.
    crests: Vec<(f32, f32, f32, f32)>,
}

impl Sides {
    fn measure(patch: &Patch, ends: &Between, lean_doubt: f32, threshold: f32) -> Self {
        let height = ends.lower.along - ends.upper.along;
        let sag = ends.lower.sag.abs().max(ends.upper.sag.abs());
        let first = patch.row_of(ends.upper.along + 0.02 * height + 0.3 * sag + 1.0);
        let last = patch.row_of(ends.lower.along - 0.02 * height - 0.3 * sag - 1.0);
        let middle = (first + last) as f32 / 2.0;
        let columns = patch.columns;
        let rows = last.saturating_sub(first).max(1);
        let faint = FAINT_SIDE * threshold;
        // Means of each stretch, for one lean.
        let stretches = |lean: f32, stride: usize| -> Vec<f32> {
            let mut sums = vec![0.0_f32; columns * STRETCHES];
            let mut counts = [0.0_f32; STRETCHES];
            for row in (first..last).step_by(stride) {
                let stretch = ((row - first) * STRETCHES / rows).min(STRETCHES - 1);
                counts[stretch] += 1.0;
                let shift = (lean * (row as f32 - middle)).round() as isize;
                let line = &patch.across[row * columns..(row + 1) * columns];
                let out = &mut sums[stretch * columns..(stretch + 1) * columns];
                for (column, sum) in out.iter_mut().enumerate() {
                    let from = column.cast_signed() + shift;
                    if from >= 0 && (from as usize) < columns {
                        *sum += line[from as usize];
                    }
                }
            }
            for (stretch, count) in counts.iter().enumerate() {
                for sum in &mut sums[stretch * columns..(stretch + 1) * columns] {
                    *sum /= count.max(1.0);
                }
            }
            sums
        };
        // Straight edges pile up only under the right lean.
        let mut best = (-1.0_f32, 0.0_f32);
        let steps = (lean_doubt / 0.007).round() as i32;
        for k in -steps..=steps {
            let lean = k as f32 * 0.007;
            let sums = stretches(lean, 2);
            let energy: f32 = sums
                .iter()
                .map(|s| s.abs().min(6.0 * threshold).powi(2))
                .sum();
            let energy = energy * (1.0 - 0.01 * k.abs() as f32);
            if energy > best.0 {
                best = (energy, lean);
            }
        }
        let sums = stretches(best.1, 1);
        let at = |column: usize| -> (f32, f32, f32) {
            let (mut slope, mut shown, mut signed) = (0.0, 0.0, 0.0);
            for stretch in 0..STRETCHES {
                // An edge may wander by a column.
                let line = &sums[stretch * columns..(stretch + 1) * columns];
                let here = line[column.saturating_sub(1)..=(column + 1).min(columns - 1)]
                    .iter()
                    .fold(0.0_f32, |m, v| m.max(v.abs()));
                slope += line[column].abs();
                signed += line[column];
                shown += (here / faint).min(1.0).powi(2);
            }
            let n = STRETCHES as f32;
            (slope / n, shown / n, signed / n)
        };
        let values: Vec<(f32, f32, f32)> = (0..columns).map(at).collect();
        let mut crests = Vec::new();
        for column in 1..columns.saturating_sub(1) {
            let (before, here, after) =
                (values[column - 1].0, values[column].0, values[column + 1].0);
            if here > before && here >= after && here > faint && values[column].1 > 0.55 {
                let bend = before - 2.0 * here + after;
                let shift = if bend < 0.0 {
                    ((before - after) / (2.0 * bend)).clamp(-0.5, 0.5)
                } else {
                    0.0
                };
                crests.push((
                    patch.across_of(column) + shift * patch.step,
                    here,
                    values[column].1,
                    values[column].2,
                ));
            }
        }
        Self {
            lean: best.1,
            crests,
        }
    }

    /// Pairs of sides about the axis, the most even and strongest first.
    fn pairs(&self, patch: &Patch, ends: &Between) -> Vec<Pair> {
        let height = ends.lower.along - ends.upper.along;
        let mut pairs: Vec<(f32, Pair)> = Vec::new();
        for left in &self.crests {
            for right in &self.crests {
                let width = right.0 - left.0;
                let centre = f32::midpoint(left.0, right.0);
                if width < NARROWEST_PX
                    || width * SQUATTEST > height
                    || centre.abs() > 0.06 * width + patch.step
                {
                    continue;
                }
                let pair = Pair {
                    left: left.0,
                    right: right.0,
                    strength: left.1.min(right.1),
                    slopes: (left.3, right.3),
                    shown: left.2.min(right.2),
                };
                let off = centre / (0.03 * width + 0.5);
                let worth = pair.shown * pair.strength.min(10.0).sqrt() / (1.0 + off * off);
                pairs.push((worth, pair));
            }
        }
        pairs.sort_by(|a, b| b.0.total_cmp(&a.0));
        pairs.into_iter().map(|p| p.1).collect()
    }
}

/// Whether a fitting's edge shows in a column, on its curve.
fn on_bound(patch: &Patch, bound: &Bound, half: f32, across: f32, threshold: f32) -> bool {
    let u = (across / half.max(1.0)).clamp(-1.0, 1.0);
    let along = bound.along + bound.sag * (1.0 - u * u);
    if across < patch.left || across > -patch.left {
        return false;
    }
    let column = patch.column_of(across);
    let row = patch.row_of(along);
    (row.saturating_sub(2)..=(row + 2).min(patch.rows - 1))
        .any(|r| patch.along[r * patch.columns + column].abs() > threshold)
}

/// How well the fittings show beyond both ends as one and the same body round the axis, wider than
/// the glass: its four upright edges, 0 to 1.
fn collars(
    patch: &Patch,
    ends: &Between,
    centre: f32,
    width: f32,
    lean: f32,
    threshold: f32,
) -> f32 {
    /// Half-widths of a fitting that are tried, parts of the glass's width.
    const HALVES: [f32; 13] = [
        0.51, 0.53, 0.55, 0.57, 0.59, 0.61, 0.63, 0.66, 0.69, 0.72, 0.75, 0.78, 0.81,
    ];
    let middle = f32::midpoint(ends.upper.along, ends.lower.along);
    // The mean slope across in a band of rows just beyond an end, by column.
    let band = |end: f32, way: f32| -> (Vec<f32>, f32) {
        let (a, b) = (
            patch.row_of(end + way * (0.05 * width + 1.0)),
            patch.row_of(end + way * 0.22 * width),
        );
        let (from, to) = (a.min(b), a.max(b) + 1);
        let mut sums = vec![0.0_f32; patch.columns];
        for row in from..to {
            let line = &patch.across[row * patch.columns..(row + 1) * patch.columns];
            for (sum, v) in sums.iter_mut().zip(line) {
                *sum += v / (to - from) as f32;
            }
        }
        (sums, centre + lean * (end - middle))
    };
    let bands = [band(ends.upper.along, -1.0), band(ends.lower.along, 1.0)];
    let slack = ((0.02 * width) / patch.step).ceil() as usize;
    let mut best = 0.0_f32;
    for half in HALVES {
        let mut seen = 0.0;
        for (sums, axis) in &bands {
            for side in [-1.0_f32, 1.0] {
                let across = axis + side * half * width;
                if across < patch.left || across > -patch.left {
                    continue;
                }
                let column = patch.column_of(across);
                let edge = sums
                    [column.saturating_sub(slack)..=(column + slack).min(patch.columns - 1)]
                    .iter()
                    .fold(0.0_f32, |m, v| m.max(v.abs()));
                seen += 0.25 * (edge / threshold).min(1.0);
            }
        }
        best = best.max(seen * (1.0 - LOOSE * (half - 0.56).max(0.0)));
    }
    best
}

/// How free the glass is of edges along its height, 0 to 1: above the nozzle it looks the same at
/// every height, but for a bead or two.
fn smooth(patch: &Patch, ends: &Between, left: f32, right: f32, threshold: f32) -> f32 {
    let width = right - left;
    let height = ends.lower.along - ends.upper.along;
    let (a, b) = (
        patch.column_of(left + 0.12 * width),
        patch.column_of(right - 0.12 * width),
    );
    let top = patch.row_of(ends.upper.along + 0.08 * height + ends.upper.sag.max(0.0));
    let bottom = patch.row_of(ends.lower.along - 0.3 * height);
    let (mut all, mut marks) = (0_usize, 0_usize);
    for row in top..bottom {
        let line = &patch.along[row * patch.columns..(row + 1) * patch.columns];
        all += b + 1 - a;
        marks += line[a..=b]
            .iter()
            .filter(|v| v.abs() > 1.5 * threshold)
            .count();
    }
    let part = marks as f32 / all.max(1) as f32;
    1.0 / (1.0 + (part / UNEVEN).powi(2))
}

/// How far the fittings' edges show just inside the sides and just outside them, 0 to 1 each: a
/// glass ends within its fittings, and they are wider.
fn lips(patch: &Patch, ends: &Between, left: f32, right: f32, threshold: f32) -> (f32, f32) {
    let (centre, half) = (f32::midpoint(left, right), (right - left) / 2.0);
    let part = |places: &[f32]| -> f32 {
        let mut hits = 0_usize;
        for bound in [&ends.upper, &ends.lower] {
            for side in [-1.0_f32, 1.0] {
                for place in places {
                    let across = centre + side * place * half;
                    hits += usize::from(on_bound(patch, bound, half, across, threshold));
                }
            }
        }
        hits as f32 / (4 * places.len()) as f32
    };
    let within = part(&[0.6, 0.7, 0.8, 0.9, 0.95]);
    let beside = part(&[1.06, 1.1, 1.14]);
    (((within - 0.3) / 0.6).clamp(0.0, 1.0), beside)
}

/// Half the width over which both fittings' edges show about the axis.
fn fitting_half_width(patch: &Patch, ends: &Between, threshold: f32) -> Option<f32> {
    let reach = -patch.left;
    let mut reached = 0.0;
    let mut missed = 0.0;
    let mut half = patch.step;
    while half < reach {
        let hits = [&ends.upper, &ends.lower]
            .into_iter()
            .flat_map(|b| [-half, half].map(|u| (b, u)))
            .filter(|(b, u)| on_bound(patch, b, reach, *u, threshold))
            .count();
        if hits >= 3 {
            reached = half;
            missed = 0.0;
        } else {
            missed += patch.step;
            if missed > 0.12 * half + 2.0 * patch.step {
                break;
            }
        }
        half += patch.step;
    }
    (reached > NARROWEST_PX / 2.0).then_some(reached)
}
