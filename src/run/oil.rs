//! Oil within a run: what the calibration says of nozzle and reservoir, marks that tell a filling,
//! and the figures as programs and people read them. The reckoning is `rate::oil`'s.

use serde::Serialize;

use crate::glass::OilData;
use crate::rate::oil::{
    DropWeight, DropWeightError, Figure, Growth, NozzleAndLiquids, OilFlow, ReservoirLife, UsedBy,
    nozzle_volume,
};
use crate::run::tally::rounded;

/// What must be said wherever oil is told.
pub const OIL_CAUTION: &str = "An estimate from drops and their size, to plan by, not a gauge: look \
    at the reservoir's own glass before you rely on it.";

/// Words that name the reservoir in a mark.
const RESERVOIR_WORDS: [&str; 2] = ["reservoir", "lubricator"];
/// Words that say that it was filled.
const FILLED_WORDS: [&str; 3] = ["filled", "refilled", "full"];
/// Words that say that it was not, or is yet to be.
const DENYING_WORDS: [&str; 6] = ["not", "no", "never", "half", "almost", "nearly"];

/// The volume of a drop from the nozzle, when the calibration says all that is needed for it; or why
/// there is no figure.
#[must_use]
pub fn nozzle_of(oil: &OilData) -> Option<Result<DropWeight, DropWeightError>> {
    Some(nozzle_volume(&NozzleAndLiquids {
        bore_mm: oil.nozzle_bore_mm?,
        tension_mn_m: oil.interfacial_tension_mn_m?,
        oil_kg_m3: oil.oil_density_kg_m3?,
        condensate_kg_m3: oil.condensate_density_kg_m3?,
    }))
}

/// When the calibration says that the reservoir was filled, wall time, seconds since
/// 1970-01-01T00:00:00Z.
#[must_use]
pub fn filled_wall_secs(oil: &OilData) -> Option<f64> {
    let at: jiff::Timestamp = oil.reservoir_filled?.to_string().parse().ok()?;
    Some(at.as_second() as f64)
}

/// Whether a mark says that the reservoir was filled.
///
/// ```
/// use beadtally::run::oil::says_filled;
/// assert!(says_filled("Reservoir filled."));
/// assert!(says_filled("lubricator refilled, valves shut"));
/// assert!(!says_filled("reservoir not filled") && !says_filled("glass filled with oil"));
/// ```
#[must_use]
pub fn says_filled(words: &str) -> bool {
    let words = words.to_lowercase();
    let tokens: Vec<&str> = words
        .split(|letter: char| !letter.is_alphanumeric())
        .collect();
    let says = |any: &[&str]| tokens.iter().any(|token| any.contains(token));
    says(&RESERVOIR_WORDS) && says(&FILLED_WORDS) && !says(&DENYING_WORDS)
}

/// The oil of a feed as programs read it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct OilReport {
    /// mL an hour.
    pub ml_per_hour: f64,
    /// Lower 95 % limit.
    pub low: f64,
    /// Upper 95 % limit.
    pub high: f64,
    /// Volume of a drop it rests on, µL.
    pub drop_ul: f64,
    /// Beads whose size was measured for it; none when it comes from the nozzle.
    pub beads: Option<usize>,
    /// Where the volume comes from: `size of the beads`, `nozzle and interfacial tension`.
    pub from: &'static str,
}

impl OilReport {
    /// Of a flow.
    #[must_use]
    pub fn of(flow: &OilFlow) -> Self {
        Self {
            ml_per_hour: rounded(flow.ml_per_hour.middle, 3),
            low: rounded(flow.ml_per_hour.low, 3),
            high: rounded(flow.ml_per_hour.high, 3),
            drop_ul: rounded(flow.drop_ul.middle, 2),
            beads: flow.beads,
            from: flow.from.words(),
        }
    }

    /// For people: `about 9.8 mL of oil an hour (7.1 to 13.6), by the size of the beads`.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "about {} mL of oil an hour ({} to {}), by the {}",
            plain(self.ml_per_hour),
            plain(self.low),
            plain(self.high),
            self.from
        )
    }
}

/// The reservoir as programs read it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ReservoirReport {
    /// What is left, mL, with its 95 % limits.
    pub left_ml: f64,
    /// See `left_ml`.
    pub left_low_ml: f64,
    /// See `left_ml`.
    pub left_high_ml: f64,
    /// Hours until it is empty, with 95 % limits.
    pub empty_in_h: f64,
    /// See `empty_in_h`.
    pub empty_in_low_h: f64,
    /// See `empty_in_h`.
    pub empty_in_high_h: f64,
    /// How what has gone is known: `drops counted since the filling`, `rates now`.
    pub by: &'static str,
}

impl ReservoirReport {
    /// Of a reservoir's life.
    #[must_use]
    pub fn of(life: &ReservoirLife) -> Self {
        let hours = life.empty_in_secs.times(1.0 / 3600.0);
        Self {
            left_ml: rounded(life.left_ml.middle, 1),
            left_low_ml: rounded(life.left_ml.low, 1),
            left_high_ml: rounded(life.left_ml.high, 1),
            empty_in_h: rounded(hours.middle, 2),
            empty_in_low_h: rounded(hours.low, 2),
            empty_in_high_h: rounded(hours.high, 2),
            by: used_by_words(life.used_by),
        }
    }

    /// For people.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "reservoir: about {} mL left ({} to {}), empty in about {} h ({} to {}), by the {}",
            plain(self.left_ml),
            plain(self.left_low_ml),
            plain(self.left_high_ml),
            plain(self.empty_in_h),
            plain(self.empty_in_low_h),
            plain(self.empty_in_high_h),
            self.by
        )
    }
}

/// How what has gone is known, in words.
#[must_use]
pub fn used_by_words(by: UsedBy) -> &'static str {
    match by {
        UsedBy::Counting => "drops counted since the filling",
        UsedBy::RatesNow => "rates now",
    }
}

/// Two figures that count: such limits bear no more.
fn plain(value: f64) -> String {
    if value.abs() >= 9.95 {
        format!("{value:.0}")
    } else {
        format!("{value:.1}")
    }
}

/// What a run knows of the oil of all its feeds at one moment.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OilState {
    /// All feeds together, mL an hour; none while one that runs has no figure.
    pub total_ml_per_hour: Option<Figure>,
    /// The reservoir; none without its capacity and the time it was filled.
    pub reservoir: Option<ReservoirLife>,
    /// Why the nozzle gives no figure, when the calibration asks for one; a sentence.
    pub no_nozzle: Option<String>,
}

/// The hint of a growth, when there is one.
#[must_use]
pub fn hint(growth: Option<&Growth>) -> Option<String> {
    growth.and_then(Growth::words)
}
