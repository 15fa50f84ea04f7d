//! Where and how fast a path crosses mid-glass: a smooth line through its sightings.

use crate::bead::steady::median;
use crate::bead::track::Sighting;

/// How a path crosses the middle.
#[derive(Clone, Copy, Debug)]
pub(super) struct Crossing {
    /// Source time at the middle, seconds.
    pub(super) at_secs: f64,
    /// Rise speed there, rows a second.
    pub(super) rows_per_s: f32,
    /// Scatter about the smooth path, rows rms.
    pub(super) scatter: f32,
}

/// Time at the middle row, speed there (rows a second), and scatter about the path (rows rms),
/// from a parabola row(t) fitted twice, the second time without outliers.
pub(super) fn crossing(points: &[&Sighting], middle: f32, rows: f32) -> Option<Crossing> {
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
        let limit = f64::from(median(&mut off)).max(0.4) * 4.0;
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
    (t.is_finite() && speed.is_finite()).then_some(Crossing {
        at_secs: origin + t,
        rows_per_s: speed as f32,
        scatter: scatter as f32,
    })
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
