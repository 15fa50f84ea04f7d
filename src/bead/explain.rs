//! What a path was: a bead with its mid-glass time, speed, size and kind, or nothing. The tests
//! are those of physics: it rises through the glass, steadily, as one compact thing.

use crate::base::{BeadKind, GlassKind};
use crate::bead::track::{Path, Sighting};

/// Share of the glass's height through which a bead must be seen to rise.
const LEAST_RISE: f32 = 0.38;
/// The same where the picture began or ended with the bead half-way.
const LEAST_RISE_CUT: f32 = 0.24;
/// Fewest sightings: at 15 frames a second a fast bead crosses a port in four.
const FEWEST_SIGHTINGS: usize = 4;
/// Least share of the frames between first and last sighting in which it was seen.
const LEAST_COVER: f32 = 0.45;
/// Most scatter about a smooth path, as a share of the height.
const MOST_SCATTER: f32 = 0.045;
/// Longest passage through the whole glass, seconds: cold, heavy oil in a long glass.
const LONGEST_PASSAGE_SECS: f32 = 8.0;
/// Tallest bead, as a share of the height of a tube (a port may hold one of half its height).
const TALLEST_SHARE: f32 = 0.5;
/// Where oil and gas part, in the bead's own diameters a second. Oil in water rises 16 to 31
/// diameters a second from 2 to 6 mm (drag law of Schiller and Naumann, 20 to 95 °C), a gas bubble
/// of 1 to 3 mm at least 70; between them lies the geometric mean.
const GAS_DIAMETERS_PER_S: f32 = 46.0;
/// Widening by a round, water-filled glass: the refractive index of water.
const WATER_INDEX: f32 = 1.333;

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
    /// Oil or gas.
    pub kind: BeadKind,
    /// 0 to 1.
    pub confidence: f32,
    /// Sightings it rests on: frame number and row.
    pub rows: Vec<(u64, f32)>,
}

/// How a path came to its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// It was followed until it left or was lost.
    Followed,
    /// The picture ended before the bead did.
    Cut,
}

/// The glass a path was seen in.
#[derive(Clone, Copy, Debug)]
pub struct Bore {
    /// Rows of the straightened glass.
    pub rows: f32,
    /// Columns.
    pub cols: f32,
    /// Tube or port.
    pub kind: GlassKind,
    /// Number of the first frame that was looked at since the start or the last blind spell.
    pub first_frame: u64,
}

/// Judges a path. None when it was no bead, or did not pass mid-glass.
#[must_use]
pub fn explain(path: &Path, bore: &Bore, ending: Ending) -> Option<Explained> {
    let points = moving(&path.points);
    let (first, last) = (points.first()?, points.last()?);
    if points.len() < FEWEST_SIGHTINGS {
        return None;
    }
    let middle = bore.rows / 2.0 - 0.5;
    let cut = ending == Ending::Cut || first.frame <= bore.first_frame + 2;
    let rise = first.seen.row - last.seen.row;
    let least = if cut { LEAST_RISE_CUT } else { LEAST_RISE };
    if rise < least * bore.rows {
        return None;
    }
    // It must pass mid-glass in sight, or be lost so shortly before or after that the rest is
    // certain.
    let beyond = 0.1 * bore.rows;
    if first.seen.row < middle - beyond || last.seen.row > middle + beyond {
        return None;
    }
    let frames = (last.frame - first.frame + 1) as f32;
    let cover = points.len() as f32 / frames;
    if cover < LEAST_COVER {
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
    let (at_secs, rows_per_s, scatter) = crossing(&lone, middle, bore.rows)?;
    if scatter > MOST_SCATTER * bore.rows + 1.0 || rows_per_s <= 0.0 {
        return None;
    }
    if bore.rows / rows_per_s > LONGEST_PASSAGE_SECS {
        return None;
    }
    let sides = points.iter().filter(|p| p.seen.touches_side).count() as f32 / points.len() as f32;
    if sides > 0.5 {
        return None;
    }
    let (height, width) = size(&lone, middle);
    if height > TALLEST_SHARE * bore.rows || width > 0.9 * bore.cols {
        return None;
    }
    let across = match bore.kind {
        GlassKind::Tube => width / WATER_INDEX,
        GlassKind::Port => width,
    };
    // Motion lengthens a fast bubble and never widens it: the smaller is nearer the truth.
    let diameter = height.min(across).max(1.0);
    let kind = if rows_per_s / diameter > GAS_DIAMETERS_PER_S {
        BeadKind::Gas
    } else {
        BeadKind::Oil
    };
    let sure = |value: f32, enough: f32| (value / enough).clamp(0.0, 1.0);
    let confidence = (sure(cover, 0.8)
        * sure(rise, 0.6 * bore.rows)
        * sure(points.len() as f32, 5.0)
        * (1.0 - scatter / (2.5 * (MOST_SCATTER * bore.rows + 1.0))))
        .clamp(0.0, 1.0)
        .sqrt()
        * 0.995;
    Some(Explained {
        at_secs,
        rows_per_s,
        height,
        width,
        kind,
        confidence,
        rows: points.iter().map(|p| (p.frame, p.seen.row)).collect(),
    })
}

/// Whether two explanations are of one bead: same place at the same time, and never clearly two.
#[must_use]
pub fn same_bead(a: &Explained, b: &Explained) -> bool {
    let height = f32::midpoint(a.height, b.height).max(2.0);
    let speed = a.rows_per_s.max(b.rows_per_s);
    let apart = ((a.at_secs - b.at_secs).abs() as f32) * speed;
    if apart > height * 1.5 {
        return false;
    }
    let mut both = 0_u32;
    let mut distinct = 0_u32;
    let mut j = 0;
    for (frame, row) in &a.rows {
        while b.rows.get(j).is_some_and(|(f, _)| f < frame) {
            j += 1;
        }
        if let Some((f, other)) = b.rows.get(j)
            && f == frame
        {
            both += 1;
            distinct += u32::from((row - other).abs() > 0.75 * height);
        }
    }
    // Never in one frame together: one bead whose path broke. Mostly apart: two beads.
    both == 0 || distinct * 2 < both
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

/// Time at the middle row, speed there (rows a second), and scatter about the path (rows rms),
/// from a parabola row(t) fitted twice, the second time without outliers.
fn crossing(points: &[&Sighting], middle: f32, rows: f32) -> Option<(f64, f32, f32)> {
    let near: Vec<&&Sighting> = points
        .iter()
        .filter(|p| (p.seen.row - middle).abs() < 0.4 * rows)
        .collect();
    let chosen: Vec<(f64, f64)> = if near.len() >= 4 {
        near.iter()
            .map(|p| (p.at_secs, f64::from(p.seen.row)))
            .collect()
    } else {
        points
            .iter()
            .map(|p| (p.at_secs, f64::from(p.seen.row)))
            .collect()
    };
    let origin = chosen.iter().map(|p| p.0).sum::<f64>() / chosen.len().max(1) as f64;
    let mut kept = chosen.clone();
    let mut fit = parabola(&kept, origin)?;
    for _ in 0..2 {
        let mut off: Vec<f32> = chosen
            .iter()
            .map(|(t, r)| (r - value(fit, t - origin)).abs() as f32)
            .collect();
        let limit = f64::from(crate::bead::steady::median(&mut off)).max(0.4) * 4.0;
        let inner: Vec<(f64, f64)> = chosen
            .iter()
            .copied()
            .filter(|(t, r)| (r - value(fit, t - origin)).abs() <= limit)
            .collect();
        if inner.len() < 3 || inner.len() == kept.len() {
            break;
        }
        kept = inner;
        fit = parabola(&kept, origin)?;
    }
    let scatter = (kept
        .iter()
        .map(|(t, r)| (r - value(fit, t - origin)).powi(2))
        .sum::<f64>()
        / kept.len().max(1) as f64)
        .sqrt();
    // Newton from the sighting nearest to the middle.
    let mut t = chosen
        .iter()
        .min_by(|a, b| {
            (a.1 - f64::from(middle))
                .abs()
                .total_cmp(&(b.1 - f64::from(middle)).abs())
        })?
        .0
        - origin;
    for _ in 0..6 {
        let slope = fit[1] + 2.0 * fit[2] * t;
        if slope >= -1e-6 {
            break;
        }
        t -= ((value(fit, t) - f64::from(middle)) / slope).clamp(-0.5, 0.5);
    }
    let speed = -(fit[1] + 2.0 * fit[2] * t);
    (t.is_finite() && speed.is_finite()).then_some((origin + t, speed as f32, scatter as f32))
}

fn value(fit: [f64; 3], t: f64) -> f64 {
    fit[0] + fit[1] * t + fit[2] * t * t
}

/// Least squares; a straight line when there are fewer than five points.
fn parabola(points: &[(f64, f64)], origin: f64) -> Option<[f64; 3]> {
    let n = points.len() as f64;
    if points.len() < 2 {
        return None;
    }
    let mut s = [0.0_f64; 5];
    let mut b = [0.0_f64; 3];
    for (t, r) in points {
        let t = t - origin;
        for (k, sum) in s.iter_mut().enumerate() {
            *sum += t.powi(k as i32);
        }
        for (k, sum) in b.iter_mut().enumerate() {
            *sum += r * t.powi(k as i32);
        }
    }
    let line = || {
        let spread = s[2] - s[1] * s[1] / n;
        (spread > 1e-12).then(|| {
            let slope = (b[1] - b[0] * s[1] / n) / spread;
            [(b[0] - slope * s[1]) / n, slope, 0.0]
        })
    };
    if points.len() < 5 {
        return line();
    }
    let det = |m: [[f64; 3]; 3]| {
        m[0][0] * (m[1][1] * m[2][2] - m[1][2] * m[2][1])
            - m[0][1] * (m[1][0] * m[2][2] - m[1][2] * m[2][0])
            + m[0][2] * (m[1][0] * m[2][1] - m[1][1] * m[2][0])
    };
    let m = [[s[0], s[1], s[2]], [s[1], s[2], s[3]], [s[2], s[3], s[4]]];
    let whole = det(m);
    if whole.abs() < 1e-15 {
        return line();
    }
    let mut fit = [0.0; 3];
    for (k, part) in fit.iter_mut().enumerate() {
        let mut with = m;
        for (row, value) in with.iter_mut().zip(b) {
            row[k] = value;
        }
        *part = det(with) / whole;
    }
    Some(fit)
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
