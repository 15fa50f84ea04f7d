//! The mean volume of a feed's beads from their measured diameters, with limits that hold the
//! spread of the beads and what the measuring itself may be wrong by.

use statrs::distribution::{ContinuousCDF, StudentsT};

use super::Figure;
use crate::rate::CONFIDENCE;

/// Fewer beads tell no spread.
pub const FEWEST_BEADS: usize = 3;

/// What a measured diameter may be wrong by on all beads of a glass alike, as a share, 95 %: the scale
/// and where the soft edge of a bead is taken to be do not average out. A tenth is what the measured
/// size of a bead near the axis must keep to.
pub const SIZE_SHARE: f64 = 0.10;

/// A bead this many robust standard deviations from the median diameter is a wrong measurement (two
/// beads as one, half a bead), not a bead of that size.
const WRONG_SCATTERS: f64 = 5.0;

/// The robust standard deviation is taken as at least this share of the diameter, so that beads that
/// happen to be alike do not make an outcast of the next.
const LEAST_SCATTER_SHARE: f64 = 0.02;

/// Of fewer beads it cannot be told which one is wild.
const WILD_FROM_BEADS: usize = 6;

/// A normal standard deviation over the median of absolute differences.
const SCATTER_PER_MAD: f64 = 1.4826;

/// The mean volume of a feed's beads.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BeadVolume {
    /// Beads it rests on.
    pub beads: usize,
    /// Mean volume, µL, with the limits of everything below.
    pub mean_ul: Figure,
    /// The same with the limits of the spread of the beads alone.
    pub by_spread_ul: Figure,
    /// Diameter of the sphere of that mean volume, mm.
    pub diameter_mm: f64,
    /// Standard deviation of the diameters, as a share of their mean.
    pub spread: f64,
}

/// The volume of a sphere, µL (mm³), from its diameter, mm: π/6 d³.
///
/// ```
/// // A bead of 5 mm: 0.06545 mL.
/// assert!((beadtally::rate::oil::sphere_ul(5.0) - 65.45).abs() < 0.005);
/// ```
#[must_use]
pub fn sphere_ul(diameter_mm: f64) -> f64 {
    std::f64::consts::PI / 6.0 * diameter_mm.powi(3)
}

/// The mean volume of beads of these diameters, mm; none from fewer than [`FEWEST_BEADS`].
///
/// Middle: the mean of π/6 d³, wild measurements left out. Limits: Student's t on the logarithms of
/// the volumes (n − 1 degrees of freedom), put together in quadrature with three times
/// [`SIZE_SHARE`], because a volume goes with the third power of a diameter (common practice for
/// independent causes: *Guide to the Expression of Uncertainty in Measurement*, 5.1).
///
/// ```
/// let volume = beadtally::rate::oil::bead_volume(&[4.0, 4.1, 3.9, 4.0]).ok_or("four beads")?;
/// assert!((volume.mean_ul.middle - 33.6).abs() < 0.1);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn bead_volume(diameters_mm: &[f64]) -> Option<BeadVolume> {
    let kept = without_wrong_ones(diameters_mm);
    let beads = kept.len();
    if beads < FEWEST_BEADS {
        return None;
    }
    let n = beads as f64;
    let mean = |values: &[f64]| values.iter().sum::<f64>() / n;
    let deviation = |values: &[f64]| {
        let middle = mean(values);
        let squares: f64 = values.iter().map(|v| (v - middle).powi(2)).sum();
        (squares / (n - 1.0)).sqrt()
    };
    let volumes: Vec<f64> = kept.iter().map(|d| sphere_ul(*d)).collect();
    let logs: Vec<f64> = volumes.iter().map(|v| v.ln()).collect();
    let middle = mean(&volumes);
    let student = StudentsT::new(0.0, 1.0, n - 1.0).ok()?;
    let t = student.inverse_cdf(f64::midpoint(1.0, CONFIDENCE));
    let by_spread = t * deviation(&logs) / n.sqrt();
    let by_size = 3.0 * SIZE_SHARE.ln_1p();
    let around = |half: f64| Figure {
        middle,
        low: middle * (-half).exp(),
        high: middle * half.exp(),
    };
    Some(BeadVolume {
        beads,
        mean_ul: around(by_spread.hypot(by_size)),
        by_spread_ul: around(by_spread),
        diameter_mm: (6.0 / std::f64::consts::PI * middle).cbrt(),
        spread: deviation(&kept) / mean(&kept),
    })
}

/// Diameters that can be, the wild ones left out.
fn without_wrong_ones(diameters_mm: &[f64]) -> Vec<f64> {
    let mut kept: Vec<f64> = diameters_mm
        .iter()
        .copied()
        .filter(|d| d.is_finite() && *d > 0.0)
        .collect();
    kept.sort_by(f64::total_cmp);
    if kept.len() < WILD_FROM_BEADS {
        return kept;
    }
    let middle = kept.get(kept.len() / 2).copied().unwrap_or_default();
    let mut off: Vec<f64> = kept.iter().map(|d| (d - middle).abs()).collect();
    off.sort_by(f64::total_cmp);
    let scatter = off.get(off.len() / 2).copied().unwrap_or_default() * SCATTER_PER_MAD;
    let most = WRONG_SCATTERS * scatter.max(LEAST_SCATTER_SHARE * middle);
    kept.retain(|d| (d - middle).abs() <= most);
    kept
}
