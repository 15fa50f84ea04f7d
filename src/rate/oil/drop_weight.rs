//! The volume of a drop from the nozzle it leaves and the interfacial tension, when its size cannot
//! be seen: the drop-weight law with a published correction. Outside the range of a fit there is no
//! figure.

use super::Figure;

/// Acceleration of gravity, m/s² (standard gravity, CGPM 1901).
const GRAVITY_M_S2: f64 = 9.806_65;

/// How far typed-in values are taken to be from the truth, as shares, 95 %. The tension of an oil
/// that has been in use is seldom known better, and falls as it ages (common practice).
const TENSION_SHARE: f64 = 0.20;
/// See `TENSION_SHARE`: the difference of two densities of which each is known to some 5 kg/m³.
const DENSITY_SHARE: f64 = 0.10;
/// See `TENSION_SHARE`: whether the oil hangs at the bore or has wetted the tip.
const BORE_SHARE: f64 = 0.10;
/// The published corrections part by up to this share (Harkins–Brown, Lando–Oakley,
/// Lee–Ravindra–Chan side by side over 0.3 to 1.2).
const FIT_SHARE: f64 = 0.013;

/// Largest x = r / V^⅓ of the fit of Lee, Ravindra and Chan; it begins at 0.
const LARGEST_X: f64 = 1.2;
/// Range of the quadratic fit of Lando and Oakley.
const LANDO_OAKLEY_X: (f64, f64) = (0.3, 1.2);

/// Halvings of a bracket: to the last digits of a double.
const HALVINGS: u32 = 70;

/// What must be known of nozzle and liquids.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NozzleAndLiquids {
    /// Diameter of the edge at which the bead hangs, mm: the bore, or the tip when oil wets it.
    pub bore_mm: f64,
    /// Interfacial tension between oil and condensate, mN/m.
    pub tension_mn_m: f64,
    /// Density of the oil at the temperature of the glass, kg/m³.
    pub oil_kg_m3: f64,
    /// Density of the condensate there, kg/m³.
    pub condensate_kg_m3: f64,
}

/// A drop's volume from its nozzle.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct DropWeight {
    /// Volume, µL, with limits for what is typed in being wrong by what is usual.
    pub volume_ul: Figure,
    /// r / V^⅓: where on the fit this lies.
    pub x: f64,
    /// The correction there, as a share of the uncorrected volume.
    pub factor: f64,
}

/// Why there is no figure.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum DropWeightError {
    /// A quantity that is no positive number.
    #[error("{0} must be a number above 0; correct it in [oil] of the calibration")]
    NotPositive(&'static str),
    /// Oil that does not float.
    #[error(
        "the oil ({oil_kg_m3} kg/m³) must be lighter than the condensate ({condensate_kg_m3} \
         kg/m³), else no bead rises; correct the densities in [oil] of the calibration"
    )]
    NotLighter {
        /// Density of the oil, kg/m³.
        oil_kg_m3: f64,
        /// Density of the condensate, kg/m³.
        condensate_kg_m3: f64,
    },
    /// Beyond what was measured.
    #[error(
        "a nozzle of {bore_mm} mm is too wide for these liquids: the published correction ends at \
         r/V^(1/3) = {LARGEST_X}, so there is no figure; measure the beads instead"
    )]
    OutsideTheFit {
        /// Diameter of the nozzle, mm.
        bore_mm: f64,
    },
}

/// The volume of a drop if all of it left the nozzle, µL: 2π r σ / (Δρ g), with the diameter of the
/// nozzle in mm, the tension in mN/m and the difference of densities in kg/m³ (Tate's law).
///
/// ```
/// // Water in air at 20 °C from a rim of 1 mm radius: 46.7451 µL.
/// let volume = beadtally::rate::oil::simple_volume_ul(2.0, 72.74, 997.0032);
/// assert!((volume - 46.7451).abs() < 5e-5);
/// ```
#[must_use]
pub fn simple_volume_ul(bore_mm: f64, tension_mn_m: f64, difference_kg_m3: f64) -> f64 {
    // mm · mN/m = 1e-6 N; m³ = 1e9 µL.
    std::f64::consts::PI * bore_mm * tension_mn_m * 1e3 / (difference_kg_m3 * GRAVITY_M_S2)
}

/// The share of the simple volume that leaves the nozzle, for x = r / V^⅓ in 0 to 1.2; none outside.
///
/// Source: B. B. Lee, P. Ravindra and E. S. Chan, Chem. Eng. Commun. 195 (2008) 889–924 (the
/// coefficients from memory; they agree with the two older corrections within 1.3 %).
///
/// ```
/// let at = |x| beadtally::rate::oil::lee_ravindra_chan_factor(x).unwrap_or(f64::NAN);
/// assert_eq!(at(0.0), 1.0);
/// assert!((at(0.1) - 0.898613).abs() < 5e-7 && (at(0.3) - 0.734336).abs() < 5e-7);
/// assert!(at(1.3).is_nan());
/// ```
#[must_use]
pub fn lee_ravindra_chan_factor(x: f64) -> Option<f64> {
    /// From the constant to the seventh power.
    const COEFFICIENTS: [f64; 8] = [1.0, -0.9121, -2.109, 13.38, -27.29, 27.53, -13.58, 2.593];
    (0.0..=LARGEST_X)
        .contains(&x)
        .then(|| COEFFICIENTS.iter().rev().fold(0.0, |sum, c| sum * x + c))
}

/// The same by the quadratic fit, for x in 0.3 to 1.2; none outside: drops of oil in water from a
/// usual nozzle lie below it.
///
/// Source: J. L. Lando and H. T. Oakley, J. Colloid Interface Sci. 25 (1967); coefficients and range
/// as given after Heertjes et al. (1971).
///
/// ```
/// let at = |x| beadtally::rate::oil::lando_oakley_factor(x);
/// assert!(at(0.5).is_some_and(|f| (f - 0.6476).abs() < 5e-5));
/// assert_eq!(at(0.2), None);
/// ```
#[must_use]
pub fn lando_oakley_factor(x: f64) -> Option<f64> {
    (LANDO_OAKLEY_X.0..=LANDO_OAKLEY_X.1)
        .contains(&x)
        .then(|| 1.0 / (std::f64::consts::TAU * (0.147_82 + x * (0.278_96 - 0.1662 * x))))
}

/// The volume of a drop that forms slowly at a nozzle: V Δρ g = 2π r σ f(r / V^⅓), with the
/// correction f of Lee, Ravindra and Chan, which runs down to 0.
///
/// The limits take each typed-in value as wrong by what is usual of it (the tension by 20 %, the
/// difference of densities by 10 %, the bore by 10 %, the fit by 1.3 %), put together in quadrature.
/// A feed above some drops a second, a nozzle that leans or is fouled, gives other drops.
///
/// # Errors
/// [`DropWeightError`]: no positive numbers, oil that sinks, or outside the range of the fit.
///
/// ```
/// use beadtally::rate::oil::{NozzleAndLiquids, nozzle_volume};
/// let drop = nozzle_volume(&NozzleAndLiquids {
///     bore_mm: 2.0,
///     tension_mn_m: 20.0,
///     oil_kg_m3: 900.0,
///     condensate_kg_m3: 1000.0,
/// })?;
/// assert!((drop.volume_ul.middle - 101.6149).abs() < 5e-5);
/// # Ok::<(), beadtally::rate::oil::DropWeightError>(())
/// ```
pub fn nozzle_volume(of: &NozzleAndLiquids) -> Result<DropWeight, DropWeightError> {
    for (value, name) in [
        (of.bore_mm, "the bore of the nozzle"),
        (of.tension_mn_m, "the interfacial tension"),
        (of.oil_kg_m3, "the density of the oil"),
        (of.condensate_kg_m3, "the density of the condensate"),
    ] {
        if !(value > 0.0 && value.is_finite()) {
            return Err(DropWeightError::NotPositive(name));
        }
    }
    let difference = of.condensate_kg_m3 - of.oil_kg_m3;
    if difference <= 0.0 {
        return Err(DropWeightError::NotLighter {
            oil_kg_m3: of.oil_kg_m3,
            condensate_kg_m3: of.condensate_kg_m3,
        });
    }
    let outside = DropWeightError::OutsideTheFit {
        bore_mm: of.bore_mm,
    };
    let solve = |bore: f64, tension: f64, difference: f64| {
        solved(bore / 2.0, simple_volume_ul(bore, tension, difference))
    };
    let (x, factor, middle) = solve(of.bore_mm, of.tension_mn_m, difference).ok_or(outside)?;
    // How much each value moves the volume; beyond the fit the limit is no limit either.
    let moved = |bore: f64, tension: f64, difference: f64| {
        solve(bore, tension, difference).map(|(_, _, volume)| (volume / middle).ln())
    };
    let (more_tension, more_density, more_bore) = (
        moved(
            of.bore_mm,
            of.tension_mn_m * (1.0 + TENSION_SHARE),
            difference,
        ),
        moved(
            of.bore_mm,
            of.tension_mn_m,
            difference * (1.0 + DENSITY_SHARE),
        ),
        moved(of.bore_mm * (1.0 + BORE_SHARE), of.tension_mn_m, difference),
    );
    let mut square = FIT_SHARE.ln_1p().powi(2);
    for part in [more_tension, more_density, more_bore] {
        square += part.ok_or(outside)?.powi(2);
    }
    let half = square.sqrt();
    Ok(DropWeight {
        volume_ul: Figure {
            middle,
            low: middle * (-half).exp(),
            high: middle * half.exp(),
        },
        x,
        factor,
    })
}

/// x, correction and volume (µL) at a rim of this radius (mm) for a simple volume (µL): where
/// (r/x)³ equals the simple volume times f(x). The left side falls with x faster than f does.
fn solved(radius_mm: f64, simple_ul: f64) -> Option<(f64, f64, f64)> {
    let too_small = |x: f64| {
        let factor = lee_ravindra_chan_factor(x)?;
        Some((radius_mm / x).powi(3) < simple_ul * factor)
    };
    if !too_small(LARGEST_X)? {
        return None;
    }
    let (mut low, mut high) = (0.0, LARGEST_X);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if too_small(middle)? {
            high = middle;
        } else {
            low = middle;
        }
    }
    let x = f64::midpoint(low, high);
    let factor = lee_ravindra_chan_factor(x)?;
    Some((x, factor, simple_ul * factor))
}
