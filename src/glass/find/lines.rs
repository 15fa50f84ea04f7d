//! Long, nearly upright edges in a picture, each as a straight line with its ends. It does not
//! know which of them belong to a glass.

use super::plane::Slopes;

/// The steepest roll of an edge that is still followed: tan 20°, that is 15° of camera roll and
/// some perspective.
pub(super) const STEEPEST: f32 = 0.36;
/// Rows an edge may be missing before it counts as ended.
const GAP_ROWS: usize = 4;
/// How far an edge may lie from where its last rows pointed, pixels.
const STEP_PX: f32 = 1.3;
/// A straight edge stays this close to its line, pixels.
const STRAIGHT_PX: f32 = 0.9;

/// An edge: x = `x_mid` + `slope` · (y − `y_mid`), from `top` to `bottom`.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    /// x at mid-height, pixels.
    pub x_mid: f32,
    /// dx/dy.
    pub slope: f32,
    /// Upper end, y in pixels.
    pub top: f32,
    /// Lower end.
    pub bottom: f32,
    /// Mean slope of luma across it, luma per pixel, with its sign.
    pub strength: f32,
}

impl Line {
    /// x at height y.
    pub fn x_at(&self, y: f32) -> f32 {
        self.x_mid + self.slope * (y - f32::midpoint(self.top, self.bottom))
    }

    /// Length along y, pixels.
    pub fn length(&self) -> f32 {
        self.bottom - self.top
    }
}

struct Chain {
    points: Vec<(f32, f32, f32)>,
    slope: f32,
    last_row: usize,
}

/// Finds edges at least `shortest` pixels long whose luma slope is at least `threshold`.
pub(super) fn upright_lines(slopes: &Slopes, threshold: f32, shortest: f32) -> Vec<Line> {
    let mut open: Vec<Chain> = Vec::new();
    let mut lines = Vec::new();
    let mut peaks: Vec<(f32, f32)> = Vec::new();
    for y in 1..slopes.height.saturating_sub(1) {
        row_peaks(slopes, y, threshold, &mut peaks);
        let mut taken = vec![false; peaks.len()];
        let mut still = Vec::with_capacity(open.len() + peaks.len());
        // Longest first, so that a passing speck cannot steal the edge of a long chain.
        open.sort_by_key(|chain| std::cmp::Reverse(chain.points.len()));
        for mut chain in open.drain(..) {
            let Some(&(last_x, last_y, last_s)) = chain.points.last() else {
                continue;
            };
            let here = y as f32 + 0.5;
            let expected = last_x + chain.slope * (here - last_y);
            let reach = STEP_PX;
            let start = peaks.partition_point(|p| p.0 < expected - reach);
            let mut best: Option<(f32, usize)> = None;
            for (index, peak) in peaks.iter().enumerate().skip(start) {
                if peak.0 > expected + reach {
                    break;
                }
                if taken[index] || (peak.1 > 0.0) != (last_s > 0.0) {
                    continue;
                }
                let distance = (peak.0 - expected).abs();
                if best.is_none_or(|b| distance < b.0) {
                    best = Some((distance, index));
                }
            }
            if let Some((_, index)) = best {
                taken[index] = true;
                let (x, s) = peaks[index];
                chain.points.push((x, here, s));
                chain.last_row = y;
                // The slope of the last rows, held within what an upright edge may have.
                let back = chain.points.len().saturating_sub(12);
                let (x0, y0, _) = chain.points[back];
                if here - y0 >= 4.0 {
                    chain.slope = ((x - x0) / (here - y0)).clamp(-STEEPEST, STEEPEST);
                }
                still.push(chain);
            } else if y - chain.last_row <= GAP_ROWS {
                still.push(chain);
            } else {
                finish(&chain.points, shortest, &mut lines);
            }
        }
        for (index, &(x, s)) in peaks.iter().enumerate() {
            if !taken[index] {
                still.push(Chain {
                    points: vec![(x, y as f32 + 0.5, s)],
                    slope: 0.0,
                    last_row: y,
                });
            }
        }
        open = still;
    }
    for chain in open {
        finish(&chain.points, shortest, &mut lines);
    }
    lines.sort_by(|a, b| a.x_mid.total_cmp(&b.x_mid));
    lines
}

/// Places in one row where luma changes fastest, with the signed slope, from the left.
fn row_peaks(slopes: &Slopes, y: usize, threshold: f32, peaks: &mut Vec<(f32, f32)>) {
    peaks.clear();
    let row = &slopes.across[y * slopes.width..(y + 1) * slopes.width];
    for x in 1..row.len().saturating_sub(1) {
        let (before, here, after) = (row[x - 1].abs(), row[x].abs(), row[x + 1].abs());
        if here < threshold || here < before || here <= after {
            continue;
        }
        let bend = before - 2.0 * here + after;
        let shift = if bend < 0.0 {
            (before - after) / (2.0 * bend)
        } else {
            0.0
        };
        peaks.push((x as f32 + 0.5 + shift.clamp(-0.5, 0.5), row[x]));
    }
}

/// Turns a chain into straight lines, splitting it where it bends.
fn finish(points: &[(f32, f32, f32)], shortest: f32, lines: &mut Vec<Line>) {
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return;
    };
    if last.1 - first.1 + 1.0 < shortest {
        return;
    }
    let Some((x_centre, y_centre, slope)) = fit(points) else {
        return;
    };
    let mut worst = (0.0_f32, 0_usize);
    let mut square = 0.0;
    for (index, &(x, y, _)) in points.iter().enumerate() {
        let off = (x - (x_centre + slope * (y - y_centre))).abs();
        square += off * off;
        if off > worst.0 {
            worst = (off, index);
        }
    }
    let rms = (square / points.len() as f32).sqrt();
    if (rms > STRAIGHT_PX || worst.0 > 3.0 * STRAIGHT_PX) && points.len() > 8 {
        // Split half-way between the ends at the point farthest from the chord.
        let chord = (last.0 - first.0) / (last.1 - first.1).max(1.0);
        let mut far = (0.0_f32, points.len() / 2);
        for (index, &(x, y, _)) in points.iter().enumerate() {
            let off = (x - (first.0 + chord * (y - first.1))).abs();
            if off > far.0 {
                far = (off, index);
            }
        }
        let cut = far.1.clamp(4, points.len() - 4);
        finish(&points[..cut], shortest, lines);
        finish(&points[cut..], shortest, lines);
        return;
    }
    if slope.abs() > STEEPEST {
        return;
    }
    let middle = f32::midpoint(first.1, last.1);
    lines.push(Line {
        x_mid: x_centre + slope * (middle - y_centre),
        slope,
        top: first.1 - 0.5,
        bottom: last.1 + 0.5,
        strength: points.iter().map(|p| p.2).sum::<f32>() / points.len() as f32,
    });
}

/// Least-squares line through the points: (mean x, mean y, dx/dy).
fn fit(points: &[(f32, f32, f32)]) -> Option<(f32, f32, f32)> {
    let n = points.len() as f32;
    if points.len() < 2 {
        return None;
    }
    let x_centre = points.iter().map(|p| p.0).sum::<f32>() / n;
    let y_centre = points.iter().map(|p| p.1).sum::<f32>() / n;
    let (mut xy, mut yy) = (0.0, 0.0);
    for &(x, y, _) in points {
        xy += (x - x_centre) * (y - y_centre);
        yy += (y - y_centre) * (y - y_centre);
    }
    (yy > 0.0).then(|| (x_centre, y_centre, xy / yy))
}
