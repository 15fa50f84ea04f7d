//! Oil or gas: how much the evidence speaks for each, and why. It measures nothing itself.
//!
//! Oil is a tenth to a sixth lighter than water, gas is lighter by all of it. So for its size gas
//! rises about three times as fast, and it comes in smaller sizes. That is evidence as exact as the
//! scale: with none, the glass itself is one, for tubes and ports differ little in size. A little
//! more tells how it looks: gas throws all light back from its rim and lets it through its core.

use crate::base::{BeadKind, GlassKind, Ring};
use crate::bead::steady::median;

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

/// Beads of a feed that tell what its oil is like where no scale is known, and most that are kept.
const OWN: (usize, usize) = (3, 12);
/// Odds from which a bead is oil beyond doubt, natural logarithm.
const OWN_SURE: f64 = 2.0;
/// Spread of the speed of oil against the feed's other oil, its size taken out, and of gas against it,
/// natural logarithm: one oil in one water, and what is left is mostly the measuring.
const OWN_SPREADS: (f64, f64) = (0.2, 0.32);
/// Most that the feed's own oil counts, natural logarithm of odds.
const MOST_OWN: f64 = 5.0;

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

/// What the oil of one feed is like in the picture: how fast its newest beads rose (natural logarithm
/// of pixels a second) and how large they were (of pixels). With it a bubble can be told from oil where
/// no scale is known: the feed's own oil is one.
#[derive(Clone, Debug)]
pub struct OwnOil {
    beads: Ring<(f32, f32)>,
}

impl Default for OwnOil {
    fn default() -> Self {
        Self {
            beads: Ring::new(OWN.1),
        }
    }
}

impl OwnOil {
    /// Takes a bead that was told, if it is oil beyond doubt.
    pub fn learn(&mut self, why: &KindWhy, rise_px_per_s: f64, diameter_px: f64) {
        if why.odds() > OWN_SURE {
            let (speed, size) = (rise_px_per_s.max(1e-3).ln(), diameter_px.max(0.1).ln());
            self.beads.push((speed as f32, size as f32));
        }
    }

    /// Usual speed and size, natural logarithms; none while too little is known.
    fn usual(&self) -> Option<(f64, f64)> {
        if self.beads.len() < OWN.0 {
            return None;
        }
        let middle = |of: fn(&(f32, f32)) -> f32| {
            f64::from(median(&mut self.beads.iter().map(of).collect::<Vec<_>>()))
        };
        Some((middle(|bead| bead.0), middle(|bead| bead.1)))
    }

    /// Natural logarithm of the odds of oil against gas that the feed's own oil speaks for, and the
    /// speed ÷ what the feed's oil of that size would do; nothing while too little is known.
    fn speaks(&self, measured: &Measured, mm_per_px: f64) -> (f64, Option<f64>) {
        let Some((own_speed, own_size)) = self.usual() else {
            return (0.0, None);
        };
        let larger = measured.diameter_px.max(0.1).ln() - own_size;
        let faster = measured.rise_px_per_s.max(1e-3).ln() - own_speed;
        let own_mm = own_size + mm_per_px.ln();
        let steep = OIL.speed.1 + 0.5;
        let as_oil = steep * larger;
        let as_gas = GAS.speed_at(own_mm + larger) - OIL.speed_at(own_mm);
        // Where the diameter is a blunder, the speed of any size tells.
        let any_oil = (
            0.0,
            (OWN_SPREADS.0.powi(2) + 2.0 * (steep * OIL.diameter_mm.1).powi(2)).sqrt(),
        );
        let any_gas = (
            GAS.speed_at(GAS.diameter_mm.0.ln()) - OIL.speed_at(own_mm),
            (OWN_SPREADS.1.powi(2) + (0.5 * GAS.diameter_mm.1).powi(2)).sqrt(),
        );
        let size = steep * measured.diameter_spread.max(0.01);
        let normal = |(middle, spread): (f64, f64)| {
            (-0.5 * ((faster - middle) / spread).powi(2)).exp() / spread
        };
        let likely = |known: (f64, f64), any: (f64, f64)| {
            let known = (known.0, known.1.hypot(size));
            ((1.0 - BLUNDERS) * normal(known) + BLUNDERS * normal(any))
                .max(f64::MIN_POSITIVE)
                .ln()
        };
        let oil = likely((as_oil, OWN_SPREADS.0), any_oil);
        let gas = likely((as_gas, OWN_SPREADS.1), any_gas);
        (
            (oil - gas).clamp(-MOST_OWN, MOST_OWN),
            Some((faster - as_oil).exp()),
        )
    }
}

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
    /// Speed ÷ what this feed's oil of that size does; none where the scale tells, or too few of its
    /// beads are known.
    pub by_own: Option<f64>,
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
        let own = self.by_own.map_or(String::new(), |own| {
            format!(", {own:.1} times as fast as this feed's own oil")
        });
        format!(
            "it rose {:.1} times as fast as oil of its size does and {:.1} times as fast as \
             gas{own}{look}",
            self.by_oil, self.by_gas
        )
    }
}

/// Weighs what was measured; where no scale is known, against the feed's own oil too.
#[must_use]
pub fn decide(measured: &Measured, own: &OwnOil) -> KindWhy {
    let scale = measured.px_per_mm.filter(|scale| *scale > 0.0);
    let (mm_per_px, scale_spread) = if let Some(scale) = scale {
        (1.0 / scale, SCALE_SPREAD)
    } else {
        let (mm, spread) = match measured.glass {
            GlassKind::Tube => TUBE_MM,
            GlassKind::Port => PORT_MM,
        };
        (mm / measured.glass_px.max(1.0), spread)
    };
    let diameter = (measured.diameter_px.max(0.1) * mm_per_px).ln();
    let speed = (measured.rise_px_per_s.max(1e-3) * mm_per_px).ln();
    let spreads = (scale_spread, measured.diameter_spread.max(0.01));
    let oil = OIL.likelihood(diameter, speed, spreads);
    let gas = GAS.likelihood(diameter, speed, spreads);
    let (own_odds, by_own) = match scale {
        Some(_) => (0.0, None),
        None => own.speaks(measured, mm_per_px),
    };
    KindWhy {
        by_own,
        speed_odds: (oil - gas + own_odds).clamp(-MOST, MOST),
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
        decide(
            &Measured {
                rise_px_per_s: 10.0 * speed_mm,
                diameter_px: 10.0 * diameter_mm,
                diameter_spread: 0.05,
                px_per_mm: scale,
                glass_px: 180.0,
                glass: GlassKind::Tube,
                core_share: None,
            },
            &OwnOil::default(),
        )
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
            by_own: Some(3.1),
        };
        assert_eq!(
            why.words(),
            "it rose 2.9 times as fast as oil of its size does and 0.9 times as fast as gas, 3.1 times \
             as fast as this feed's own oil, and its rim stands out more than its core"
        );
    }

    /// A bubble of a small picture, smeared by its own speed to three times its size, passes for a large
    /// drop of oil by the width of the glass alone; the feed's own oil tells. What is oil stays oil:
    /// speeds as above.
    #[test]
    fn a_bubble_is_told_by_the_feeds_own_oil_where_no_scale_is_known() {
        let measured = |rise_px_per_s: f64, diameter_px: f64| Measured {
            rise_px_per_s,
            diameter_px,
            diameter_spread: 0.15,
            px_per_mm: None,
            glass_px: 19.0,
            glass: GlassKind::Tube,
            core_share: Some(0.55),
        };
        let mut own = OwnOil::default();
        for (speed, size) in [(84.0, 4.3), (85.0, 5.3), (84.0, 5.2)] {
            let why = decide(&measured(speed, size), &own);
            assert_eq!(why.kind(), BeadKind::Oil);
            own.learn(&why, speed, size);
        }
        for (speed, size) in [(265.0, 7.6), (282.0, 8.6), (271.0, 8.1), (283.0, 9.2)] {
            let by_glass = decide(&measured(speed, size), &OwnOil::default());
            assert_eq!(by_glass.kind(), BeadKind::Oil, "{speed} {size}");
            let by_own = decide(&measured(speed, size), &own);
            assert_eq!(by_own.kind(), BeadKind::Gas, "{speed} {size}");
        }
        // 1.1 pixels a millimetre here.
        for (mm, slow, fast) in [(2.0, 39.5, 66.7), (4.0, 66.5, 110.6), (6.0, 81.5, 141.3)] {
            for speed in [slow, fast] {
                let why = decide(&measured(1.1 * speed, 1.1 * mm), &own);
                assert_eq!(why.kind(), BeadKind::Oil, "{mm} {speed}");
            }
        }
    }
}
