//! The fittings of a tube: edges that cross the whole glass at its head and foot, with nothing
//! that crosses it between.

use super::patch::Patch;

/// How much the middle of a fitting's edge may lie below its ends, in parts of the width: the rim
/// of a round fitting seen a little from above or below is an ellipse.
const SAGS: [f32; 5] = [0.0, -0.08, 0.08, -0.16, 0.16];
/// Columns over the strip on which edges are looked for.
const SAMPLES: usize = 17;
/// Slope at which an edge counts no further, in parts of the threshold.
const CAP: f32 = 8.0;
/// Part of the width that an edge must cross to be considered.
const CROSSES: f32 = 0.55;
/// Most edges considered on one axis; the strongest are kept.
const MOST_EDGES: usize = 14;

/// A pair of edges this good against the best is still looked at.
const WORTH_A_LOOK: f32 = 0.4;

/// An edge across the glass.
#[derive(Clone, Copy, Debug)]
pub(super) struct Bound {
    /// Where it meets the sides of the strip, `along`.
    pub along: f32,
    /// How far its middle lies below its ends, working pixels.
    pub sag: f32,
    /// Part of the width it crosses, 0 to 1.
    pub crossed: f32,
    /// Mean slope of luma along the edge, each column held to a cap.
    pub contrast: f32,
}

/// The chosen pair.
#[derive(Clone, Copy, Debug)]
pub(super) struct Between {
    /// Lower edge of the upper fitting.
    pub upper: Bound,
    /// Upper edge of the lower fitting.
    pub lower: Bound,
    /// How well they bound a clear glass, 0 to 1.
    pub score: f32,
}

/// All edges that cross the strip |across| ≤ `half`, from the top.
pub(super) fn crossing_edges(patch: &Patch, half: f32, threshold: f32) -> Vec<Bound> {
    let columns: Vec<usize> = (0..SAMPLES)
        .map(|i| patch.column_of((i as f32 / (SAMPLES - 1) as f32 * 2.0 - 1.0) * half))
        .collect();
    // The greatest slope within a row of each place.
    let mut near = vec![0.0_f32; patch.rows * SAMPLES];
    for row in 0..patch.rows {
        let (low, high) = (row.saturating_sub(1), (row + 1).min(patch.rows - 1));
        for (i, &column) in columns.iter().enumerate() {
            let mut best = 0.0_f32;
            for r in low..=high {
                best = best.max(patch.along[r * patch.columns + column].abs());
            }
            near[row * SAMPLES + i] = best;
        }
    }
    let bend: Vec<f32> = (0..SAMPLES)
        .map(|i| {
            let u = i as f32 / (SAMPLES - 1) as f32 * 2.0 - 1.0;
            1.0 - u * u
        })
        .collect();
    let full = 1.5 * threshold;
    let mut profile = vec![(0.0_f32, 0.0_f32, 0.0_f32); patch.rows];
    for (row, slot) in profile.iter_mut().enumerate() {
        for sag in SAGS {
            let lower = sag * 2.0 * half / patch.step;
            let (mut crossed, mut contrast) = (0.0, 0.0);
            for i in 0..SAMPLES {
                let at = row as f32 + (lower * bend[i]).round();
                if at < 0.0 || at >= patch.rows as f32 {
                    continue;
                }
                let slope = near[at as usize * SAMPLES + i];
                crossed += (slope / full).min(1.0);
                contrast += slope.min(CAP * threshold);
            }
            if contrast > slot.2 * if sag == 0.0 { 1.0 } else { 1.03 } {
                *slot = (crossed, sag, contrast);
            }
        }
    }
    let mut edges = Vec::new();
    for row in 0..patch.rows {
        let (crossed, sag, contrast) = profile[row];
        let (low, high) = (row.saturating_sub(2), (row + 2).min(patch.rows - 1));
        let crest =
            (low..=high).all(|r| profile[r].2 < contrast || (r >= row && profile[r].2 <= contrast));
        if crest && crossed >= CROSSES * SAMPLES as f32 {
            edges.push(Bound {
                along: patch.along_of(row as f32),
                sag: sag * 2.0 * half,
                crossed: crossed / SAMPLES as f32,
                contrast: contrast / SAMPLES as f32,
            });
        }
    }
    if edges.len() > MOST_EDGES {
        edges.sort_by(|a, b| b.contrast.total_cmp(&a.contrast));
        edges.truncate(MOST_EDGES);
        edges.sort_by(|a, b| a.along.total_cmp(&b.along));
    }
    edges
}

/// Pairs of edges that bound a glass, the best first, none much worse than the best. `heights` is
/// the least and greatest height, `fit` says how well a pair (upper, lower) agrees with what else
/// is known, 0 to 1.
pub(super) fn between(
    edges: &[Bound],
    heights: (f32, f32),
    margin: f32,
    fit: impl Fn(&Bound, &Bound) -> f32,
) -> Vec<Between> {
    let mut pairs: Vec<Between> = Vec::new();
    for (i, upper) in edges.iter().enumerate() {
        for lower in &edges[i + 1..] {
            let height = lower.along - upper.along;
            if height < heights.0 || height > heights.1 {
                continue;
            }
            let firm = upper.contrast.min(lower.contrast);
            // Between the fittings nothing crosses the whole glass.
            let crossing = edges[i + 1..]
                .iter()
                .filter(|e| e.along > upper.along + margin && e.along < lower.along - margin)
                .map(|e| e.contrast * e.crossed)
                .fold(0.0, f32::max);
            let clear = 1.0 / (1.0 + (2.0 * crossing / firm).powi(2));
            let score = upper.crossed * lower.crossed * clear * fit(upper, lower);
            pairs.push(Between {
                upper: *upper,
                lower: *lower,
                score,
            });
        }
    }
    pairs.sort_by(|a, b| b.score.total_cmp(&a.score));
    let bar = pairs.first().map_or(0.0, |p| WORTH_A_LOOK * p.score);
    pairs.retain(|p| p.score >= bar);
    pairs
}
