//! Candidates: compact patches in one frame that differ from the picture at rest. Each may be a
//! bead, part of one, or nothing; what moves how is judged elsewhere.

use ndarray::Array2;

use crate::bead::lanes::count_over;
use crate::bead::rest::Difference;
use crate::bead::sample::Inside;

/// Least energy at which a sample is taken along: the mean square of nine samples over their
/// noise, which noise alone brings to 1 with a scatter of 0.47.
const LEAST_JOIN: f32 = 3.2;
/// Most energy asked for, however restless the picture.
const MOST_JOIN: f32 = 40.0;
/// A candidate's strongest sample must reach this multiple of the joining energy.
const SEED_OVER_JOIN: f32 = 1.6;
/// Share of the glass that noise may mark. What is above half the time raises the joining energy:
/// noise in blocks, as video coding makes it, has longer tails than grain.
const MARKED_SHARE: f32 = 0.01;
/// So many things that are marked are left out of that: noise marks specks all over the glass, a bead
/// and a puff of steam are one thing each.
const FEW_THINGS: usize = 2;
/// Step of the joining energy per frame, as a ratio.
const JOIN_STEP: f32 = 1.012;
/// A part taller than this share of the glass, or wider than the next, is no bead: steam, a
/// shadow, a lamp. What stands out of it is looked for at a higher energy.
const TALLEST_SHARE: f32 = 0.45;
/// Widest part, as a share of the glass.
const WIDEST_SHARE: f32 = 0.75;
/// Step to that higher energy, as a ratio: 1.6 in grey levels.
const HIGHER: f32 = 2.5;
/// Most such steps: from just above the noise to a hundred times its spread.
const MOST_HIGHER: usize = 7;
/// In a glass over which something drifts, a part of which less than the second share has more than the
/// first share of its highest energy (a quarter in grey levels) is two things.
const CORE_SHARE: f32 = 0.06;
const CORE_SAMPLES: f32 = 0.35;
/// A valley between two peaks of strength lower than this share of the weaker one parts two beads.
const VALLEY_SHARE: f32 = 0.45;
/// Shortest piece that is cut off, rows.
const SHORTEST_PIECE: usize = 3;
/// Fewest samples of a candidate: a bead three samples wide.
const FEWEST_SAMPLES: usize = 7;
/// Most candidates kept of one frame; more than this is steam, rain or noise.
pub const MOST_CANDIDATES: usize = 40;

/// A patch that differs, in samples of the straightened glass (row 0 is the top).
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    /// Middle along the axis, between the two measured ends.
    pub row: f32,
    /// Middle across.
    pub col: f32,
    /// Height between half-strength points, samples.
    pub height: f32,
    /// Width between half-strength points, samples.
    pub width: f32,
    /// Upper end of the patch.
    pub top: f32,
    /// Lower end of the patch.
    pub bottom: f32,
    /// Strength: the sum of |difference| over the patch, grey levels × samples.
    pub weight: f32,
    /// Mean signed difference, grey levels: dark beads are negative.
    pub level: f32,
    /// Mean signed difference of the middle third, grey levels.
    pub core: f32,
    /// Whether its half-strength width reaches the left or right edge of the glass.
    pub touches_side: bool,
}

/// How wary the search for candidates is: follows the restlessness of the glass.
#[derive(Clone, Copy, Debug)]
pub struct Wariness {
    join: f32,
}

impl Default for Wariness {
    fn default() -> Self {
        Self { join: LEAST_JOIN }
    }
}

impl Wariness {
    /// Takes the share of the glass that is marked beside the largest things. Down faster than up: beads
    /// in sight more than half the time must not blind it.
    fn follow(&mut self, scattered_share: f32) {
        self.join = if scattered_share > MARKED_SHARE {
            (self.join * JOIN_STEP).min(MOST_JOIN)
        } else {
            (self.join / JOIN_STEP.powf(1.5)).max(LEAST_JOIN)
        };
    }
}

/// Finds the candidates of one frame.
#[must_use]
pub fn candidates(
    difference: &Difference,
    inside: &Inside,
    wariness: &mut Wariness,
) -> Vec<Candidate> {
    let (rows, cols) = difference.energy.dim();
    let energy = &difference.energy;
    let join = wariness.join;
    // Outside the glass the energy is nought.
    let mut marked = 0_u32;
    let of = energy.len();
    let mut mask = Mask::new(rows);
    for (bits, energy) in mask.rows.iter_mut().zip(energy.rows()) {
        let energy = energy.to_slice().unwrap_or(&[]);
        let here = count_over(energy, join);
        if here == 0 {
            continue;
        }
        marked += here;
        for (col, energy) in energy.iter().enumerate().take(Mask::COLS) {
            *bits |= u128::from(*energy > join) << col;
        }
    }
    if marked == 0 {
        wariness.follow(0.0);
        return Vec::new();
    }
    // Joins parts one or two samples apart: the rim of a clear bead is often broken.
    let mut mask = mask.closed(cols);
    let mut patches: Vec<Patch> = Vec::new();
    let mut parts: Vec<(usize, Vec<u128>, usize)> = Vec::new();
    let mut largest = [0_u32; FEW_THINGS];
    while let Some((first_row, part)) = mask.take_part() {
        let mut size = part.iter().map(|bits| bits.count_ones()).sum();
        for kept in &mut largest {
            if size > *kept {
                std::mem::swap(kept, &mut size);
            }
        }
        parts.push((first_row, part, 0));
    }
    let scattered = marked.saturating_sub(largest.iter().sum());
    wariness.follow(scattered as f32 / of.max(1) as f32);
    while let Some((first_row, part, step)) = parts.pop() {
        let split = if step < MOST_HIGHER && !could_be_bead(&part, (rows, inside.across)) {
            Some((join * HIGHER.powi(step as i32 + 1), step + 1))
        } else if difference.drift_taken_out && step <= MOST_HIGHER {
            core(energy, first_row, &part)
                .filter(|least| *least > HIGHER * join)
                .map(|least| (least, MOST_HIGHER + 1))
        } else {
            None
        };
        if let Some((least, step)) = split {
            let mut higher = Mask::new(part.len());
            for (at, (bits, kept)) in part.iter().zip(&mut higher.rows).enumerate() {
                for col in columns(*bits) {
                    *kept |= u128::from(energy[[first_row + at, col]] > least) << col;
                }
            }
            while let Some((row, smaller)) = higher.take_part() {
                parts.push((first_row + row, smaller, step));
            }
            continue;
        }
        for rows in parted(first_row, &part, &difference.levels) {
            let mut patch = Patch::default();
            for row in rows {
                for col in columns(part.get(row - first_row).copied().unwrap_or(0)) {
                    patch.add(row, col, difference.levels[[row, col]], energy[[row, col]]);
                }
            }
            patches.push(patch);
        }
    }
    let mut found: Vec<Candidate> = patches
        .iter()
        .filter(|p| p.samples >= FEWEST_SAMPLES && p.peak >= SEED_OVER_JOIN * join)
        .map(|p| p.measure(difference, inside))
        .collect();
    if found.len() > MOST_CANDIDATES {
        found.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        found.truncate(MOST_CANDIDATES);
    }
    found
}

/// The energy at which a small, strong thing stands out of a large, weak one that it is joined to: a
/// bead in a puff of steam. None when the part is of one piece.
fn core(energy: &Array2<f32>, first_row: usize, part: &[u128]) -> Option<f32> {
    let samples = || {
        (first_row..)
            .zip(part)
            .flat_map(|(row, bits)| columns(*bits).map(move |col| energy[[row, col]]))
    };
    let least = samples().fold(0.0, f32::max) * CORE_SHARE;
    let inner = samples().filter(|e| *e > least).count();
    (inner >= FEWEST_SAMPLES && (inner as f32) < CORE_SAMPLES * samples().count() as f32)
        .then_some(least)
}

/// Whether a part is small enough to be a bead, in a glass of so many rows and so many samples across.
fn could_be_bead(part: &[u128], (rows, across): (usize, f32)) -> bool {
    let all = part.iter().fold(0, |all, bits| all | bits);
    let wide = u128::BITS - all.leading_zeros() - all.trailing_zeros().min(u128::BITS - 1);
    part.len() as f32 <= TALLEST_SHARE * rows as f32 && wide as f32 <= WIDEST_SHARE * across
}

/// Which samples are marked, a row a word: a straightened glass is less than 128 samples wide.
struct Mask {
    rows: Vec<u128>,
}

impl Mask {
    const COLS: usize = u128::BITS as usize;

    fn new(rows: usize) -> Self {
        Self {
            rows: vec![0; rows],
        }
    }

    /// Dilation by one sample in all eight directions, then erosion by the same. What lies
    /// outside the glass counts as unmarked for the one and as marked for the other.
    fn closed(&self, cols: usize) -> Self {
        /// Rows beyond the marked ones that have a say.
        const BESIDE: usize = 2;
        let mut rows = vec![0; self.rows.len()];
        let is_marked = |bits: &u128| *bits != 0;
        if let Some(first) = self.rows.iter().position(is_marked)
            && let Some(last) = self.rows.iter().rposition(is_marked)
        {
            let there = first.saturating_sub(BESIDE)..(last + BESIDE + 1).min(rows.len());
            rows[there.clone()].copy_from_slice(&Self::close(&self.rows[there], cols));
        }
        Self { rows }
    }

    /// The same of rows beyond which nothing is marked, or of all.
    fn close(marked: &[u128], cols: usize) -> Vec<u128> {
        let all = if cols >= Self::COLS {
            u128::MAX
        } else {
            (1 << cols) - 1
        };
        let get = |rows: &[u128], row: usize, up: usize| {
            (row + up).checked_sub(1).and_then(|r| rows.get(r)).copied()
        };
        let wide: Vec<u128> = marked
            .iter()
            .map(|bits| (bits | bits << 1 | bits >> 1) & all)
            .collect();
        let dilated: Vec<u128> = (0..wide.len())
            .map(|row| {
                (0..3)
                    .filter_map(|up| get(&wide, row, up))
                    .fold(0, |a, b| a | b)
            })
            .collect();
        let top = 1_u128 << (cols.clamp(1, Self::COLS) - 1);
        let narrow: Vec<u128> = dilated
            .iter()
            .map(|bits| bits & (bits << 1 | 1) & (bits >> 1 | top))
            .collect();
        (0..narrow.len())
            .map(|row| {
                (0..3)
                    .filter_map(|up| get(&narrow, row, up))
                    .fold(all, |a, b| a & b)
            })
            .collect()
    }

    /// Takes out one connected part (eight neighbours): its first row and its rows.
    fn take_part(&mut self) -> Option<(usize, Vec<u128>)> {
        let seed = self.rows.iter().position(|bits| *bits != 0)?;
        let mut part = vec![0_u128; self.rows.len() - seed];
        part[0] = self.rows[seed] & self.rows[seed].wrapping_neg();
        let mut last = 0;
        loop {
            let mut grown = false;
            // Down and up again until nothing is added.
            for at in (0..=last + 1).chain((0..=last).rev()) {
                let Some(marked) = self.rows.get(seed + at) else {
                    continue;
                };
                let mut near = part[at];
                if at > 0 {
                    near |= part[at - 1];
                }
                near |= part.get(at + 1).copied().unwrap_or(0);
                let mut bits = (near | near << 1 | near >> 1) & marked;
                // Along the row as far as it goes.
                loop {
                    let more = (bits | bits << 1 | bits >> 1) & marked;
                    if more == bits {
                        break;
                    }
                    bits = more;
                }
                if bits & !part[at] != 0 {
                    part[at] |= bits;
                    last = last.max(at);
                    grown = true;
                }
            }
            if !grown {
                break;
            }
        }
        part.truncate(last + 1);
        for (at, bits) in part.iter().enumerate() {
            self.rows[seed + at] &= !bits;
        }
        Some((seed, part))
    }
}

/// The marked columns of a row.
fn columns(mut bits: u128) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        (bits != 0).then(|| {
            let col = bits.trailing_zeros() as usize;
            bits &= bits - 1;
            col
        })
    })
}

/// Two beads close behind each other may be joined by a faint bridge. The rows of a part, cut at
/// each valley that is less than [`VALLEY_SHARE`] as strong as the weaker peak beside it. (The rim
/// of one clear bead has no such valley: its sides are as dark as its ends.)
fn parted(first_row: usize, part: &[u128], levels: &Array2<f32>) -> Vec<std::ops::Range<usize>> {
    let strength: Vec<f32> = (first_row..)
        .zip(part)
        .map(|(row, bits)| strongest(columns(*bits).map(|col| levels[[row, col]].abs())))
        .collect();
    let mut whole = Vec::new();
    whole.push(0..strength.len());
    let mut pieces = Vec::new();
    while let Some(rows) = whole.pop() {
        let inner = strength.get(rows.clone()).unwrap_or(&[]);
        let valley = (SHORTEST_PIECE..inner.len().saturating_sub(SHORTEST_PIECE))
            .min_by(|a, b| inner[*a].total_cmp(&inner[*b]));
        let top = |part: &[f32]| part.iter().fold(0.0_f32, |most, v| most.max(*v));
        match valley {
            Some(at) if inner[at] < VALLEY_SHARE * top(&inner[..at]).min(top(&inner[at + 1..])) => {
                whole.push(rows.start..rows.start + at);
                whole.push(rows.start + at + 1..rows.end);
            }
            _ => pieces.push(first_row + rows.start..first_row + rows.end),
        }
    }
    pieces
}

#[derive(Clone, Debug)]
struct Patch {
    samples: usize,
    peak: f32,
    weight: f32,
    signed: f32,
    rows: (usize, usize),
    cols: (usize, usize),
}

impl Default for Patch {
    fn default() -> Self {
        Self {
            samples: 0,
            peak: 0.0,
            weight: 0.0,
            signed: 0.0,
            rows: (usize::MAX, 0),
            cols: (usize::MAX, 0),
        }
    }
}

impl Patch {
    fn add(&mut self, row: usize, col: usize, level: f32, energy: f32) {
        self.samples += 1;
        self.peak = self.peak.max(energy);
        self.weight += level.abs();
        self.signed += level;
        self.rows = (self.rows.0.min(row), self.rows.1.max(row));
        self.cols = (self.cols.0.min(col), self.cols.1.max(col));
    }

    fn measure(&self, difference: &Difference, inside: &Inside) -> Candidate {
        let levels = &difference.levels;
        let by_row: Vec<f32> = (self.rows.0..=self.rows.1)
            .map(|r| strongest((self.cols.0..=self.cols.1).map(|c| levels[[r, c]].abs())))
            .collect();
        let by_col: Vec<f32> = (self.cols.0..=self.cols.1)
            .map(|c| strongest((self.rows.0..=self.rows.1).map(|r| levels[[r, c]].abs())))
            .collect();
        let (top, bottom) = ends(&by_row);
        let (left, right) = ends(&by_col);
        let top = self.rows.0 as f32 + top;
        let bottom = self.rows.0 as f32 + bottom;
        let (left, right) = (self.cols.0 as f32 + left, self.cols.0 as f32 + right);
        let (height, width) = (bottom - top, right - left);
        let (row, col) = (
            f32::midpoint(top, bottom) - 0.5,
            f32::midpoint(left, right) - 0.5,
        );
        let (mut core, mut count) = (0.0, 0.0_f32);
        for r in thirds(row, height, levels.nrows()) {
            for c in thirds(col, width, levels.ncols()) {
                core += levels[[r, c]];
                count += 1.0;
            }
        }
        let touches_side = [left - 1.5, right + 0.5].into_iter().any(|c| {
            let (row, col) = (row.max(0.0) as usize, c.max(0.0) as usize);
            let within = |(from, to): &(usize, usize)| (*from..*to).contains(&col);
            c < 0.0 || !inside.rows.get(row).is_some_and(within)
        });
        Candidate {
            row,
            col,
            height,
            width,
            top,
            bottom,
            weight: self.weight,
            level: self.signed / self.samples.max(1) as f32,
            core: if count > 0.0 { core / count } else { 0.0 },
            touches_side,
        }
    }
}

/// The mean of the three largest values: steadier than the maximum.
fn strongest(values: impl Iterator<Item = f32>) -> f32 {
    let mut best = [0.0_f32; 3];
    for value in values {
        if value > best[2] {
            best[2] = value;
            if best[2] > best[1] {
                best.swap(1, 2);
            }
            if best[1] > best[0] {
                best.swap(0, 1);
            }
        }
    }
    best.iter().sum::<f32>() / 3.0
}

/// Where a bead ends, as a share of its usual strength. Half would be right for a flat disc; a
/// clear ball thins out towards its edge and may be lit from one side only.
const EDGE_SHARE: f32 = 0.38;

/// The two ends of a profile (positions of sample edges: a profile of n full samples spans 0
/// to n).
fn ends(profile: &[f32]) -> (f32, f32) {
    let mut sorted = profile.to_vec();
    sorted.sort_by(f32::total_cmp);
    let plateau = sorted.get(sorted.len() * 3 / 4).copied().unwrap_or(0.0);
    let edge = plateau * EDGE_SHARE;
    let first = profile.iter().position(|v| *v >= edge).unwrap_or(0);
    let last = profile.iter().rposition(|v| *v >= edge).unwrap_or(0);
    let get = |i: Option<usize>| i.and_then(|i| profile.get(i)).copied().unwrap_or(0.0);
    // Between the middle of the sample before and the middle of this one the profile crosses.
    let cross = |outer: f32, inner: f32| {
        if inner - outer > 1e-3 {
            ((edge - outer) / (inner - outer)).clamp(0.0, 1.0)
        } else {
            0.5
        }
    };
    let up = first as f32 - 0.5 + cross(get(first.checked_sub(1)), get(Some(first)));
    let down = last as f32 + 1.5 - cross(get(Some(last + 1)), get(Some(last)));
    (up, down)
}

fn thirds(middle: f32, extent: f32, limit: usize) -> std::ops::RangeInclusive<usize> {
    let half = (extent / 6.0).max(0.5);
    let from = (middle - half + 0.5).max(0.0) as usize;
    let to = ((middle + half + 0.5).max(0.0) as usize).min(limit.saturating_sub(1));
    from.min(to)..=to
}

#[cfg(test)]
mod tests {
    use super::*;

    fn difference(shape: (usize, usize), level: impl Fn(usize, usize) -> f32) -> Difference {
        let levels = Array2::from_shape_fn(shape, |(r, c)| level(r, c));
        let mut difference = Difference::new(shape);
        difference.square = levels.mapv(|v| v * v);
        difference.energy = levels.mapv(|v| v * v);
        difference.levels = levels;
        difference
    }

    fn ellipse(row: f32, col: f32, height: f32, width: f32) -> impl Fn(usize, usize) -> f32 {
        move |r, c| {
            let (v, u) = (
                (r as f32 - row) * 2.0 / height,
                (c as f32 - col) * 2.0 / width,
            );
            // Soft edge about one sample wide.
            let inner = (1.0 - u.hypot(v)) * height.min(width) / 2.0;
            -30.0 * (inner + 0.5).clamp(0.0, 1.0)
        }
    }

    #[test]
    fn a_bead_is_one_candidate_with_its_place_and_size() {
        let inside = Inside::new(vec![(0, 40); 80], 40, 40.0);
        let found = candidates(
            &difference((80, 40), ellipse(30.0, 19.0, 12.0, 16.0)),
            &inside,
            &mut Wariness::default(),
        );
        assert_eq!(found.len(), 1, "{found:?}");
        let bead = found[0];
        assert!(
            (bead.row - 30.0).abs() < 0.3 && (bead.col - 19.0).abs() < 0.3,
            "{bead:?}"
        );
        assert!(
            (bead.height - 12.0).abs() < 1.0 && (bead.width - 16.0).abs() < 1.3,
            "{bead:?}"
        );
        assert!(bead.level < 0.0 && !bead.touches_side);
    }

    #[test]
    fn a_clear_bead_with_a_dark_rim_is_one_candidate() {
        let inside = Inside::new(vec![(0, 60); 80], 60, 60.0);
        let outer = ellipse(30.0, 30.0, 18.0, 24.0);
        let hole = ellipse(30.0, 30.0, 12.0, 17.0);
        let found = candidates(
            &difference((80, 60), |r, c| outer(r, c) - hole(r, c)),
            &inside,
            &mut Wariness::default(),
        );
        assert_eq!(found.len(), 1, "{found:?}");
        assert!((found[0].height - 18.0).abs() < 1.6, "{found:?}");
    }

    #[test]
    fn two_beads_joined_by_a_faint_bridge_are_two() {
        let inside = Inside::new(vec![(0, 40); 80], 40, 40.0);
        let (a, b) = (
            ellipse(22.0, 20.0, 10.0, 12.0),
            ellipse(36.0, 20.0, 10.0, 12.0),
        );
        let bridge = |r: usize, c: usize| {
            if (22..36).contains(&r) && (18..23).contains(&c) {
                -5.0
            } else {
                0.0
            }
        };
        let joined = difference((80, 40), |r, c| (a(r, c) + b(r, c)).min(bridge(r, c)));
        let mut found = candidates(&joined, &inside, &mut Wariness::default());
        found.sort_by(|a, b| a.row.total_cmp(&b.row));
        assert_eq!(found.len(), 2, "{found:?}");
        assert!((found[0].row - 22.0).abs() < 1.0 && (found[1].row - 36.0).abs() < 1.0);
    }

    #[test]
    fn two_beads_apart_are_two_and_nothing_is_none() {
        let inside = Inside::new(vec![(0, 40); 80], 40, 40.0);
        let (a, b) = (
            ellipse(20.0, 20.0, 9.0, 12.0),
            ellipse(36.0, 20.0, 9.0, 12.0),
        );
        assert_eq!(
            candidates(
                &difference((80, 40), |r, c| a(r, c) + b(r, c)),
                &inside,
                &mut Wariness::default()
            )
            .len(),
            2
        );
        assert!(
            candidates(
                &difference((80, 40), |_, _| 1.0),
                &inside,
                &mut Wariness::default()
            )
            .is_empty()
        );
    }
}
