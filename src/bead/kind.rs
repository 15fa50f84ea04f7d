//! Oil or gas: how much the evidence speaks for each, and why. It measures nothing itself.
//!
//! Oil is a tenth to a sixth lighter than water, gas is lighter by all of it. So for its size gas
//! rises about three times as fast, and it comes in smaller sizes. That is evidence as exact as the
//! scale: with none, the glass itself is one, for tubes and ports differ little in size.

use crate::base::{BeadKind, GlassKind};

/// Standard gravity, mm/s².
const GRAVITY_MM_PER_S2: f64 = 9806.65;
/// Spread of a scale that is given, natural logarithm.
const SCALE_SPREAD: f64 = 0.03;
/// Usual outer width of a tube, mm, and its spread (natural logarithm): 12 to 26 mm.
const TUBE_MM: (f64, f64) = (18.0, 0.2);
/// Usual width of a port's window, mm, and its spread (natural logarithm): 18 to 45 mm.
const PORT_MM: (f64, f64) = (28.0, 0.25);
/// Most that one piece of evidence counts, natural logarithm of odds: no measurement is free of
/// blunders.
const MOST: f64 = 8.0;
/// Spread of a measured speed, natural logarithm.
const SPEED_SPREAD: f64 = 0.04;

/// How something rises in water.
#[derive(Clone, Copy, Debug)]
struct Habit {
    /// Usual diameter, mm, and its spread (natural logarithm).
    diameter_mm: (f64, f64),
    /// Natural logarithm of speed ÷ √(gravity × diameter) at that diameter, its change with the
    /// logarithm of diameter, and its spread.
    speed: (f64, f64, f64),
}

/// Drops of 2 to 7 mm. Speeds by the drag law of Schiller and Naumann from 20 °C to 95 °C and from
/// 880 to 920 kg/m³: 0.04 to 0.06 m/s at 2 mm, 0.07 to 0.11 at 4 mm, 0.09 to 0.14 at 6 mm; a wall
/// takes up to an eighth of it.
const OIL: Habit = Habit {
    diameter_mm: (3.8, 0.35),
    speed: (-0.84, 0.3, 0.17),
};
/// Bubbles of 1 to 3 mm: between the speeds of Clift, Grace and Weber (1978) for dirty and for
/// clean water, 0.11 to 0.25 m/s at 1 mm and 0.19 to 0.27 m/s at 3 mm (from memory).
const GAS: Habit = Habit {
    diameter_mm: (1.8, 0.35),
    speed: (0.32, 0.0, 0.22),
};

/// What was measured of a bead.
#[derive(Clone, Copy, Debug)]
pub struct Measured {
    /// Rise speed, picture pixels a second.
    pub rise_px_per_s: f64,
    /// Diameter, picture pixels.
    pub diameter_px: f64,
    /// Its spread, as a share.
    pub diameter_spread: f64,
    /// Scale, picture pixels a millimetre, when known.
    pub px_per_mm: Option<f64>,
    /// Width of the glass, picture pixels.
    pub glass_px: f64,
    /// Kind of the glass.
    pub glass: GlassKind,
}

/// How it was decided.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct KindWhy {
    /// Natural logarithm of the odds of oil against gas from speed and size.
    pub speed_odds: f64,
    /// Speed ÷ what oil of that size usually does.
    pub by_oil: f64,
    /// Speed ÷ what gas of that size usually does.
    pub by_gas: f64,
}

impl KindWhy {
    /// Natural logarithm of the odds of oil against gas, all evidence together.
    #[must_use]
    pub fn odds(&self) -> f64 {
        self.speed_odds
    }

    /// What the odds say.
    #[must_use]
    pub fn kind(&self) -> BeadKind {
        if self.odds() < 0.0 {
            BeadKind::Gas
        } else {
            BeadKind::Oil
        }
    }

    /// In words, for a person.
    #[must_use]
    pub fn words(&self) -> String {
        format!(
            "it rose {:.1} times as fast as oil of its size does, {:.1} times as fast as gas",
            self.by_oil, self.by_gas
        )
    }
}

/// Weighs what was measured.
#[must_use]
pub fn decide(measured: &Measured) -> KindWhy {
    let (mm_per_px, scale_spread) = match measured.px_per_mm {
        Some(scale) if scale > 0.0 => (1.0 / scale, SCALE_SPREAD),
        _ => {
            let (mm, spread) = match measured.glass {
                GlassKind::Tube => TUBE_MM,
                GlassKind::Port => PORT_MM,
            };
            (mm / measured.glass_px.max(1.0), spread)
        }
    };
    let diameter = (measured.diameter_px.max(0.1) * mm_per_px).ln();
    let speed = (measured.rise_px_per_s.max(1e-3) * mm_per_px).ln();
    let spreads = (scale_spread, measured.diameter_spread.max(0.01));
    let oil = OIL.likelihood(diameter, speed, spreads);
    let gas = GAS.likelihood(diameter, speed, spreads);
    KindWhy {
        speed_odds: (oil - gas).clamp(-MOST, MOST),
        by_oil: (speed - OIL.speed_at(diameter)).exp(),
        by_gas: (speed - GAS.speed_at(diameter)).exp(),
    }
}

impl Habit {
    /// Usual speed, logarithm of mm/s, at a logarithm of mm.
    fn speed_at(&self, diameter: f64) -> f64 {
        let (usual, change, _) = self.speed;
        usual
            + change * (diameter - self.diameter_mm.0.ln())
            + 0.5 * (GRAVITY_MM_PER_S2.ln() + diameter)
    }

    /// Natural logarithm of the likelihood of a measured diameter and speed (logarithms of mm and
    /// mm/s) with given spreads of the scale and of the diameter: both vary together, because a
    /// larger one is faster and a wrong scale makes both wrong.
    fn likelihood(&self, diameter: f64, speed: f64, (scale, size): (f64, f64)) -> f64 {
        let steep = self.speed.1 + 0.5;
        let spread = self.diameter_mm.1 * self.diameter_mm.1;
        let shared = scale * scale;
        let dd = spread + shared + size * size;
        let ss = steep * steep * spread + self.speed.2.powi(2) + shared + SPEED_SPREAD.powi(2);
        let ds = steep * spread + shared;
        let whole = (dd * ss - ds * ds).max(1e-12);
        let d = diameter - self.diameter_mm.0.ln();
        let s = speed - self.speed_at(self.diameter_mm.0.ln());
        let square = (ss * d * d - 2.0 * ds * d * s + dd * s * s) / whole;
        -0.5 * (square + whole.ln())
    }
}
