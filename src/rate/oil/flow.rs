//! Millilitres an hour: a rate times a volume, with limits from the limits of both.

use super::Figure;
use crate::rate::Reading;

/// Drops a minute times µL a drop, in mL an hour.
const ML_PER_HOUR: f64 = 60.0 / 1000.0;

/// Where the volume of a drop comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum VolumeFrom {
    /// The measured diameters of the beads.
    Beads,
    /// The nozzle and the interfacial tension.
    Nozzle,
}

impl VolumeFrom {
    /// The words that files and screens use.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Beads => "size of the beads",
            Self::Nozzle => "nozzle and interfacial tension",
        }
    }
}

/// How much oil a feed gives.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OilFlow {
    /// mL an hour.
    pub ml_per_hour: Figure,
    /// Rate it rests on, drops a minute.
    pub drops_per_minute: Figure,
    /// Volume of a drop it rests on, µL.
    pub drop_ul: Figure,
    /// Where that volume comes from.
    pub from: VolumeFrom,
    /// Beads whose size was measured for it; none when it comes from the nozzle.
    pub beads: Option<usize>,
}

/// The oil of a feed: its reading times the volume of its drops. None when either is no positive
/// quantity with limits.
///
/// Rate and volume are known independently, so the upper limit lies above the middle by the root of
/// the sum of the squares of what the two upper limits lie above theirs, on a logarithmic scale; the
/// lower one likewise (the method of variance estimates recovery for a product: A. Donner and
/// G. Y. Zou, Stat. Methods Med. Res. 21 (2012); from memory).
///
/// ```
/// use beadtally::rate::{Reading, oil::{Figure, VolumeFrom, oil_flow}};
/// let reading = Reading { drops_per_minute: 2.5, low: 2.3, high: 2.7, scatter: 0.15, drops: 20 };
/// let drop_ul = Figure { middle: 65.45, low: 60.0, high: 72.0 };
/// let flow = oil_flow(&reading, drop_ul, VolumeFrom::Beads, Some(20)).ok_or("usable")?;
/// // 2.5 drops of 5 mm a minute: 9.817 mL an hour.
/// assert!((flow.ml_per_hour.middle - 9.817).abs() < 0.001);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn oil_flow(
    reading: &Reading,
    drop_ul: Figure,
    from: VolumeFrom,
    beads: Option<usize>,
) -> Option<OilFlow> {
    let rate = Figure {
        middle: reading.drops_per_minute,
        low: reading.low,
        high: reading.high,
    };
    flow_of(rate, drop_ul, from, beads)
}

/// As [`oil_flow`], from a rate that is no reading (the mean of an hour).
pub(super) fn flow_of(
    rate: Figure,
    drop_ul: Figure,
    from: VolumeFrom,
    beads: Option<usize>,
) -> Option<OilFlow> {
    if !rate.is_usable() || !drop_ul.is_usable() {
        return None;
    }
    let middle = rate.middle * drop_ul.middle * ML_PER_HOUR;
    let off = |of: fn(&Figure) -> f64| {
        let rate = (of(&rate) / rate.middle).ln();
        let volume = (of(&drop_ul) / drop_ul.middle).ln();
        rate.hypot(volume)
    };
    Some(OilFlow {
        ml_per_hour: Figure {
            middle,
            low: middle * (-off(|f| f.low)).exp(),
            high: middle * off(|f| f.high).exp(),
        },
        drops_per_minute: rate,
        drop_ul,
        from,
        beads,
    })
}

impl OilFlow {
    /// From a mean rate with its limits, drops a minute, and a volume, µL.
    #[must_use]
    pub fn of_mean(
        drops_per_minute: Figure,
        drop_ul: Figure,
        from: VolumeFrom,
        beads: Option<usize>,
    ) -> Option<Self> {
        flow_of(drops_per_minute, drop_ul, from, beads)
    }
}

/// The oil of all feeds together, mL an hour; none of none.
///
/// What one cause makes wrong on all of them alike (the scale, the tension) adds up, what is each
/// feed's own (its rate) adds in quadrature: the limits lie at the root of the sum of squares of the
/// rates' parts, and the plain sum of the volumes' parts, put together in quadrature.
#[must_use]
pub fn total_flow(flows: &[OilFlow]) -> Option<Figure> {
    if flows.is_empty() {
        return None;
    }
    let middle: f64 = flows.iter().map(|f| f.ml_per_hour.middle).sum();
    let off = |of: fn(&Figure) -> f64| {
        let (mut own, mut shared) = (0.0_f64, 0.0_f64);
        for flow in flows {
            let by = |figure: &Figure| (of(figure) / figure.middle - 1.0) * flow.ml_per_hour.middle;
            own = own.hypot(by(&flow.drops_per_minute));
            shared += by(&flow.drop_ul).abs();
        }
        own.hypot(shared)
    };
    Some(Figure {
        middle,
        low: (middle - off(|f| f.low)).max(0.0),
        high: middle + off(|f| f.high),
    })
}
