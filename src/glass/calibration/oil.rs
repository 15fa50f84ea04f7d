//! What a person knows of the oil: nozzle, interfacial tension, densities, reservoir. All of it may
//! be left out; what it comes to is reckoned elsewhere.

use toml::value::Datetime;

use super::CalibrationFault;

/// Sensible ranges, each from half of the smallest to twice the largest that is known of such things
/// (common practice): nozzle 0.1 to 10 mm, tension 0.5 to 100 mN/m, densities 500 to 1100 kg/m³,
/// reservoirs from a thimble to a barrel.
const BORE_MM: (f64, f64) = (0.1, 10.0);
/// See `BORE_MM`.
const TENSION_MN_M: (f64, f64) = (0.5, 100.0);
/// See `BORE_MM`.
const DENSITY_KG_M3: (f64, f64) = (500.0, 1100.0);
/// See `BORE_MM`.
const CAPACITY_ML: (f64, f64) = (10.0, 200_000.0);

/// What is known of oil, nozzles and reservoir.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OilData {
    /// Diameter of the edge at which a bead hangs (the bore, or the tip when oil wets it), mm.
    pub nozzle_bore_mm: Option<f64>,
    /// Interfacial tension between oil and condensate, mN/m.
    pub interfacial_tension_mn_m: Option<f64>,
    /// Density of the oil at the temperature of the glass, kg/m³.
    pub oil_density_kg_m3: Option<f64>,
    /// Density of the condensate there, kg/m³.
    pub condensate_density_kg_m3: Option<f64>,
    /// What the reservoir holds, mL.
    pub reservoir_capacity_ml: Option<f64>,
    /// When the reservoir was filled: date, time of day, and offset from UTC, as TOML writes them.
    pub reservoir_filled: Option<Datetime>,
}

/// The numbers of `[oil]`: key, an example, what it means, and its sensible range.
type Key = (&'static str, &'static str, &'static str, (f64, f64));

/// All numbers of `[oil]`, in the order of [`OilData::values`].
pub(super) const NUMBERS: [Key; 5] = [
    (
        "nozzle_bore_mm",
        "nozzle_bore_mm = 2.0",
        "the edge at which a bead hangs: the bore, or the tip when oil wets it",
        BORE_MM,
    ),
    (
        "interfacial_tension_mn_m",
        "interfacial_tension_mn_m = 20.0",
        "oil against condensate; new mineral oil 40 to 50, compounded or aged oil much less",
        TENSION_MN_M,
    ),
    (
        "oil_density_kg_m3",
        "oil_density_kg_m3 = 880.0",
        "at the temperature of the glass",
        DENSITY_KG_M3,
    ),
    (
        "condensate_density_kg_m3",
        "condensate_density_kg_m3 = 960.0",
        "at the temperature of the glass; 998 at 20 °C, 962 at 95 °C",
        DENSITY_KG_M3,
    ),
    (
        "reservoir_capacity_ml",
        "reservoir_capacity_ml = 500.0",
        "oil that a filling gives",
        CAPACITY_ML,
    ),
];

/// The key that holds a time.
pub(super) const FILLED_KEY: &str = "reservoir_filled";
/// An example of it.
pub(super) const FILLED_EXAMPLE: &str = "reservoir_filled = 2026-01-31T08:00:00+01:00";

/// All keys of `[oil]`.
pub(super) const KEYS: [&str; 6] = [
    NUMBERS[0].0,
    NUMBERS[1].0,
    NUMBERS[2].0,
    NUMBERS[3].0,
    NUMBERS[4].0,
    FILLED_KEY,
];

impl OilData {
    /// The numbers in the order of [`NUMBERS`].
    pub(super) fn values(&self) -> [Option<f64>; 5] {
        [
            self.nozzle_bore_mm,
            self.interfacial_tension_mn_m,
            self.oil_density_kg_m3,
            self.condensate_density_kg_m3,
            self.reservoir_capacity_ml,
        ]
    }

    /// From numbers in the order of [`NUMBERS`].
    pub(super) fn of_values(values: [Option<f64>; 5], reservoir_filled: Option<Datetime>) -> Self {
        let [bore, tension, oil, condensate, capacity] = values;
        Self {
            nozzle_bore_mm: bore,
            interfacial_tension_mn_m: tension,
            oil_density_kg_m3: oil,
            condensate_density_kg_m3: condensate,
            reservoir_capacity_ml: capacity,
            reservoir_filled,
        }
    }

    /// Whether nothing is known.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// Checks that each number is one that can be.
    pub(super) fn check(&self) -> Result<(), CalibrationFault> {
        for ((key, _, _, (low, high)), value) in NUMBERS.into_iter().zip(self.values()) {
            let Some(value) = value else { continue };
            if !value.is_finite() {
                return Err(CalibrationFault::not_finite(key, value));
            }
            if !(low..=high).contains(&value) {
                return Err(CalibrationFault::OilAbsurd {
                    key,
                    value,
                    low,
                    high,
                });
            }
        }
        if let (Some(oil), Some(condensate)) =
            (self.oil_density_kg_m3, self.condensate_density_kg_m3)
            && oil >= condensate
        {
            return Err(CalibrationFault::OilSinks { oil, condensate });
        }
        if let Some(at) = &self.reservoir_filled
            && (at.date.is_none() || at.time.is_none() || at.offset.is_none())
        {
            return Err(CalibrationFault::NotATime {
                key: FILLED_KEY,
                example: FILLED_EXAMPLE,
            });
        }
        Ok(())
    }
}
