//! The nozzle: a short, narrow, upright post that stands at the foot of a glass near its axis with
//! nothing like it at the head. It is what tells a sight glass from any other rectangle or circle.

use super::patch::Patch;
use super::plane::median;

/// A post found at the foot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nozzle {
    /// Its axis, `across` in the patch.
    pub across: f32,
    /// Its width, working pixels.
    pub width: f32,
    /// How much it looks like a post, 0 to 1; its place is judged by others.
    pub score: f32,
}

/// The shape the nozzle stands in.
#[derive(Clone, Copy, Debug)]
pub(super) enum Within {
    /// A strip of this half-width about the axis; the middle of the lower fitting's edge lies
    /// `sag` below its ends.
    Strip {
        /// Half the width looked at, working pixels.
        half: f32,
        /// Working pixels.
        sag: f32,
    },
    /// An ellipse about the origin of the patch.
    Ellipse {
        /// Half its width, working pixels.
        across: f32,
        /// Half its height, working pixels.
        along: f32,
    },
}

/// Narrowest post, working pixels: its two sides must be two edges.
const NARROWEST_PX: f32 = 1.8;
/// Shortest and longest post, part of the glass's height.
const SHORT: f32 = 0.03;
const LONG: f32 = 0.5;
/// Where the upper part begins, part of the height above the foot: whatever stands on there is
/// no nozzle.
const UPPER: f32 = 0.55;
/// The part of the height nearest the head that is left out, so that the fitting's own edge is.
const HEAD: f32 = 0.06;

/// How far up the corridor above a post is looked at, part of the height.
const ABOVE: f32 = 0.85;
/// Weight of marks in that corridor: an eighth of it marked halves the score.
const CLUTTER: f32 = 8.0;
/// Height over width from which a post is no squat thing.
const UPRIGHT: f32 = 1.0;
/// Most posts given back.
const MOST_POSTS: usize = 12;
/// A post below this score is none.
const WORTHLESS: f32 = 0.05;

/// Looks for posts that stand on `foot` (`along`), under a head at `head` (`along`), best first.
/// `threshold` is the luma slope of an edge worth the name.
pub(super) fn nozzles(
    patch: &Patch,
    within: Within,
    head: f32,
    foot: f32,
    threshold: f32,
) -> Vec<Nozzle> {
    let height = foot - head;
    let (reach, start) = match within {
        Within::Strip { half, sag } => (half, foot + sag.max(0.0)),
        Within::Ellipse { across, .. } => (0.75 * across, foot),
    };
    let (first, last) = (patch.column_of(-reach), patch.column_of(reach));
    let columns = last + 1 - first;
    let bottom = patch.row_of(start);
    let top = patch.row_of(head + HEAD * height);
    if columns < 5 || bottom < top + 10 {
        return Vec::new();
    }
    let rows = bottom - top;
    // side[r][c]: size of the slope across, row 0 at the foot; below 0 outside the glass.
    let mut side = vec![0.0_f32; columns * rows];
    for r in 0..rows {
        let row = bottom - 1 - r;
        for c in 0..columns {
            let inside = match within {
                Within::Strip { .. } => true,
                Within::Ellipse { across, along } => {
                    let u = patch.across_of(first + c) / across;
                    let v = patch.along_of(row as f32) / along;
                    u.hypot(v) < 1.0 - (2.5 / across).max(0.06)
                }
            };
            side[r * columns + c] = if inside {
                patch.across[row * patch.columns + first + c].abs()
            } else {
                -1.0
            };
        }
    }
    // What runs the whole height (rims, reflections, the edge of a card) is no post: per column,
    // the median over the upper part, widened by one column.
    let upper = (UPPER * height / patch.step) as usize;
    if upper + 4 > rows {
        return Vec::new();
    }
    let mut buffer = Vec::with_capacity(rows);
    let level: Vec<f32> = (0..columns)
        .map(|c| {
            buffer.clear();
            buffer.extend((upper..rows).map(|r| side[r * columns + c]));
            median(&mut buffer)
        })
        .collect();
    let ground: Vec<f32> = (0..columns)
        .map(|c| {
            level[c.saturating_sub(1)..=(c + 1).min(columns - 1)]
                .iter()
                .copied()
                .fold(0.0, f32::max)
        })
        .collect();
    let marks: Vec<bool> = side
        .chunks_exact(columns)
        .flat_map(|line| {
            line.iter()
                .zip(&ground)
                .map(|(s, g)| *s > (1.6 * g).max(threshold))
        })
        .collect();
    let marked = |r: usize, c: usize| marks[r * columns + c];
    // Runs of marks upwards from near the foot, per column.
    let late = match within {
        Within::Strip { .. } => 0.025 * height + 0.1 * reach,
        Within::Ellipse { .. } => 0.03 * height,
    };
    let late = (late / patch.step).ceil() as usize + 1;
    let gap = (0.012 * height / patch.step).ceil() as usize + 1;
    let mut runs: Vec<(usize, usize, f32)> = Vec::new(); // column, rows, mean side
    for c in 0..columns {
        let near = |r: usize| {
            marked(r, c) || (c > 0 && marked(r, c - 1)) || (c + 1 < columns && marked(r, c + 1))
        };
        let open = (0..rows)
            .find(|&r| side[r * columns + c] >= 0.0)
            .unwrap_or(rows);
        let Some(begin) = (open..(open + late).min(rows)).find(|&r| near(r)) else {
            continue;
        };
        let (mut end, mut hits, mut sum) = (begin, 0_usize, 0.0_f32);
        for r in begin..rows {
            if near(r) {
                end = r;
                hits += 1;
                sum += side[r * columns + c];
            } else if r - end > gap {
                break;
            }
        }
        if hits * 4 >= (end - begin + 1) * 3 {
            runs.push((c, end + 1, sum / hits as f32));
        }
    }
    // A side of the post: of neighbouring columns the one with the greatest slope.
    let shortest = (SHORT * height / patch.step).max(2.5);
    let longest = LONG * height / patch.step;
    let mut sides: Vec<(f32, f32, f32)> = Vec::new(); // across, rows, contrast
    for (i, &(c, length, contrast)) in runs.iter().enumerate() {
        let crest = (i == 0 || runs[i - 1].0 + 1 < c || runs[i - 1].2 <= contrast)
            && (i + 1 == runs.len() || runs[i + 1].0 > c + 1 || runs[i + 1].2 < contrast);
        if crest && length as f32 >= shortest && length as f32 <= longest {
            sides.push((patch.across_of(first + c), length as f32, contrast));
        }
    }
    // Marks above and to the left of each place, to count any corridor at once.
    let mut counts = vec![0_u32; (rows + 1) * (columns + 1)];
    for r in 0..rows {
        let mut line = 0;
        for c in 0..columns {
            line += u32::from(marked(r, c));
            counts[(r + 1) * (columns + 1) + c + 1] = counts[r * (columns + 1) + c + 1] + line;
        }
    }
    let counted = |from: usize, to: usize, a: usize, b: usize| -> u32 {
        let at = |r: usize, c: usize| counts[r * (columns + 1) + c];
        at(to, b) + at(from, a) - at(from, b) - at(to, a)
    };
    // Part of the corridor above a post that bears marks: beads rise there and nothing else is.
    let marks_above = |across: f32, width: f32, tall: f32| -> f32 {
        let half = 0.9 * width + patch.step;
        let (a, b) = (
            patch.column_of(across - half).max(first) - first,
            patch.column_of(across + half).min(last) - first,
        );
        let from = ((tall + 1.3 * width) / patch.step) as usize;
        let to = (ABOVE * height / patch.step) as usize;
        let to = to.min(rows);
        if from >= to {
            return 0.0;
        }
        counted(from, to, a, b + 1) as f32 / ((to - from) * (b + 1 - a)) as f32
    };
    let mut posts = Vec::new();
    for (i, left) in sides.iter().enumerate() {
        for right in &sides[i + 1..] {
            let width = right.0 - left.0;
            if width < NARROWEST_PX {
                continue;
            }
            let even = (left.1.min(right.1) / left.1.max(right.1)).sqrt();
            let contrast = left.2.min(right.2);
            let strong = (contrast / (contrast + 1.5 * threshold) / 0.7).min(1.0);
            let across = f32::midpoint(right.0, left.0);
            let tall = left.1.max(right.1) * patch.step;
            let clean = 1.0 / (1.0 + (CLUTTER * marks_above(across, width, tall)).powi(2));
            // Heads of bolts are squat.
            let upright = (tall / (UPRIGHT * width)).min(1.0);
            let score = even * strong * clean * upright;
            if score > WORTHLESS {
                posts.push(Nozzle {
                    across,
                    width,
                    score,
                });
            }
        }
    }
    posts.sort_by(|a, b| b.score.total_cmp(&a.score));
    posts.truncate(MOST_POSTS);
    posts
}
