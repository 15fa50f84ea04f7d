//! Oil or gas: how much the evidence speaks for each, and why. It measures nothing itself.
//!
//! Oil is a tenth to a sixth lighter than water, gas is lighter by all of it. So for its size gas
//! rises about three times as fast, and it comes in smaller sizes. That is evidence as exact as the
//! scale: with none, the glass itself is one, for tubes and ports differ little in size. A little
//! more tells how it looks: gas throws all light back from its rim and lets it through its core.

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
/// Share of diameters that are blunders: a glint or a piece was measured instead of the bead. Then
/// the speed alone tells.
const BLUNDERS: f64 = 0.03;
/// Range of such a blunder, natural logarithm: from a fifth of the bead to twice it, and back.
const BLUNDER_RANGE: f64 = 4.6;
/// Most that the look counts, natural logarithm of odds: clear oil before a lit plate looks much
/// like gas, and a lamp in front shows either only in part.
const MOST_LOOK: f64 = 1.0;
/// Natural logarithm of odds for all in the core against all in the rim.
const LOOK_WORTH: f64 = 3.0;

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
    /// Share of the difference from rest that lies in its core, against its rim: 0 (all in the rim)
    /// to 1 (all in the core); none when it could not be seen.
    pub core_share: Option<f64>,
}

/// How it was decided.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct KindWhy {
    /// Natural logarithm of the odds of oil against gas from speed and size.
    pub speed_odds: f64,
    /// The same from how much its core differs from the picture at rest, against its rim.
    pub look_odds: f64,
    /// Speed ÷ what oil of that size usually does.
    pub by_oil: f64,
    /// Speed ÷ what gas of that size usually does.
    pub by_gas: f64,
}

impl KindWhy {
    /// Natural logarithm of the odds of oil against gas, all evidence together.
    #[must_use]
    pub fn odds(&self) -> f64 {
        self.speed_odds + self.look_odds
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
        /// Odds from which the look is worth telling, natural logarithm.
        const LOOK_TOLD: f64 = 0.3;
        let look = if self.look_odds < -LOOK_TOLD {
            ", and its rim stands out more than its core"
        } else if self.look_odds > LOOK_TOLD {
            ", and its core stands out more than its rim"
        } else {
            ""
        };
        format!(
            "it rose {:.1} times as fast as oil of its size does and {:.1} times as fast as gas{look}",
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
        look_odds: measured.core_share.map_or(0.0, |core| {
            (LOOK_WORTH * (core - 0.5)).clamp(-MOST_LOOK, MOST_LOOK)
        }),
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
    /// larger one is faster and a wrong scale makes both wrong. Now and then the diameter is a
    /// blunder and tells nothing.
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
        let both = (-0.5 * square).exp() / (std::f64::consts::TAU * whole.sqrt());
        let speed_alone = (-0.5 * s * s / ss).exp() / (std::f64::consts::TAU * ss).sqrt();
        let likely = (1.0 - BLUNDERS) * both + BLUNDERS * speed_alone / BLUNDER_RANGE;
        likely.max(f64::MIN_POSITIVE).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn kind(speed_mm: f64, diameter_mm: f64, scale: Option<f64>) -> BeadKind {
        // Ten pixels a millimetre; a tube of 18 mm.
        decide(&Measured {
            rise_px_per_s: 10.0 * speed_mm,
            diameter_px: 10.0 * diameter_mm,
            diameter_spread: 0.05,
            px_per_mm: scale,
            glass_px: 180.0,
            glass: GlassKind::Tube,
            core_share: None,
        })
        .kind()
    }

    /// Speeds of oil by Schiller and Naumann and by Grace from 20 °C to 95 °C, 880 to 920 kg/m³
    /// (slowest and fastest of the published correlations at each size, m/s).
    #[test]
    fn oil_of_every_size_is_oil() {
        for (mm, slow, fast) in [
            (2.0, 39.5, 66.7),
            (3.0, 54.7, 87.6),
            (4.0, 66.5, 110.6),
            (5.0, 76.7, 124.9),
            (6.0, 81.5, 141.3),
        ] {
            for wall in [0.77, 1.0] {
                assert_eq!(
                    kind(slow * wall, mm, Some(10.0)),
                    BeadKind::Oil,
                    "{mm} mm slow"
                );
                assert_eq!(
                    kind(fast * wall, mm, Some(10.0)),
                    BeadKind::Oil,
                    "{mm} mm fast"
                );
                assert_eq!(
                    kind(fast * wall, mm, None),
                    BeadKind::Oil,
                    "{mm} mm, no scale"
                );
            }
        }
    }

    /// Air bubbles in water of 1, 2 and 3 mm: between dirty and clean water of Clift, Grace and
    /// Weber (1978; from memory).
    #[test]
    fn gas_of_every_size_is_gas() {
        for (mm, slow, fast) in [
            (1.0, 110.0, 240.0),
            (2.0, 170.0, 310.0),
            (3.0, 190.0, 270.0),
        ] {
            assert_eq!(kind(slow, mm, Some(10.0)), BeadKind::Gas, "{mm} mm slow");
            assert_eq!(kind(fast, mm, Some(10.0)), BeadKind::Gas, "{mm} mm fast");
        }
    }

    #[test]
    fn a_wrong_size_does_not_make_slow_oil_gas() {
        // A glint of a third of the bead was measured; gas never rises so slowly.
        assert_eq!(kind(60.0, 1.0, Some(10.0)), BeadKind::Oil);
        assert_eq!(kind(65.0, 0.75, Some(10.0)), BeadKind::Oil);
    }

    #[test]
    fn it_says_how_it_decided() {
        let why = KindWhy {
            speed_odds: -3.0,
            look_odds: -0.8,
            by_oil: 2.9,
            by_gas: 0.9,
        };
        assert_eq!(
            why.words(),
            "it rose 2.9 times as fast as oil of its size does and 0.9 times as fast as gas, and \
             its rim stands out more than its core"
        );
    }
}
