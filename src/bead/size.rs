//! The size of a bead from the ellipse that explains its portrait: what the glass does to widths,
//! what rising does to its shape, and how sure all that is. It measures no picture itself.
//!
//! The height comes first, because a tube leaves it alone. The width is magnified by the water of a
//! tube, exactly so on the axis only; it helps where the height is smeared or shaded. A bead that
//! rises is a little flatter than a ball. How far to trust each follows from the spreads of all
//! that is not known.

use crate::base::GlassKind;
use crate::bead::ellipse::{Ellipse, Expected};
use crate::glass::optics::{USUAL_CELSIUS, magnification, water_index};

/// Natural logarithm of width over height of a rising bead, and its spread. A drop of oil is
/// flattened by nothing at 2 mm to a sixth at 6 mm (Wellek, Agrawal and Skelland 1966, from memory;
/// less where its skin is stiff).
const FLATTENED: (f64, f64) = (0.04, 0.04);
/// Spread of the magnification across a tube, natural logarithm: a bead two millimetres nearer or
/// farther than the axis in a bore of fifteen looks a fifteenth wider or narrower.
const OFF_AXIS_SPREAD: f64 = 0.04;
/// The same in a port: a flat window magnifies nothing.
const PORT_SPREAD: f64 = 0.01;
/// Spread of height and width that no portrait tells, as a share: the shading of the edge.
const EDGE_SPREAD: f64 = 0.035;
/// Spread of the height for each share of itself by which it was smeared.
const SMEAR_SPREAD: f64 = 0.06;
/// Spread of an ellipse's edge, samples.
const EDGE_SAMPLES: f64 = 0.35;
/// How much the magnification falls towards the wall: share lost at the outer wall by the square
/// and by the fourth power of the apparent place, of a usual tube (exact rays, bore 15 mm in 19 mm:
/// 1.3 % at a third of the way, 7.5 % at two thirds).
const WALL_LOSS: (f64, f64) = (0.06, 0.20);
/// Beyond this share of the way to the wall a bead counts as off the axis.
const ASIDE: f64 = 0.45;
/// Width and height that disagree by more than so many spreads make a doubt.
const DISAGREE: f64 = 2.5;
/// A spread beyond this share makes a doubt.
const UNSURE: f64 = 0.12;
/// Spread of a size that was only guessed from the sightings: they may be of a part of it.
const GUESSED: f64 = 0.4;

/// By how much portrait and sightings usually differ at the most, natural logarithm: sightings are smeared
/// by motion, and of a bead that is lit from one side half may show.
const USUALLY_APART: f64 = 0.5;

/// Why a size is to be trusted less.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SizeDoubt {
    /// It rose beside the axis, where a tube magnifies otherwise.
    OffAxis,
    /// Its outline could only just be made out.
    Unsure,
}

impl SizeDoubt {
    /// In words, for a person.
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::OffAxis => "it rose beside the axis of the glass",
            Self::Unsure => "its outline could only just be made out",
        }
    }
}

/// How large a bead is.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Size {
    /// Height in the picture, pixels, without the smear of its motion.
    pub height_px: f64,
    /// Width in the picture, pixels, as the glass shows it.
    pub width_px: f64,
    /// How far it was smeared along its way while the shutter was open, pixels.
    pub smear_px: f64,
    /// Diameter of the ball of its volume, picture pixels at the axis.
    pub diameter_px: f64,
    /// Spread of that diameter (one standard deviation) as a share of it.
    pub diameter_spread: f64,
    /// Why it is to be trusted less, if so.
    pub doubt: Option<SizeDoubt>,
    /// Share of its difference from rest that lies in its core, against its rim, 0 to 1; none when
    /// that was not seen.
    pub core_share: Option<f64>,
}

/// What to expect of a bead in such a glass that moves so many rows between frames.
#[must_use]
pub fn expected(kind: GlassKind, rows_per_frame: f64) -> Expected {
    let across = magnification(kind, water_index(USUAL_CELSIUS)).across;
    let aside = aside_spread(kind);
    Expected {
        width_by_height: (across.ln() + FLATTENED.0, FLATTENED.1.hypot(aside)),
        rows_per_frame,
    }
}

fn aside_spread(kind: GlassKind) -> f64 {
    match kind {
        GlassKind::Tube => OFF_AXIS_SPREAD,
        GlassKind::Port => PORT_SPREAD,
    }
}

impl Size {
    /// From the ellipse found. `step_px` are picture pixels a sample; `aside` is how far from the
    /// axis it looked, as a share of the half width of the glass, 0 to 1.
    ///
    /// With e the logarithm of its flattening, m that of the magnification beside what is expected:
    /// ln height = ln d − ⅔ e, ln width = ln d + ⅓ e + m. Both are weighed by their spreads.
    #[must_use]
    pub fn of(ellipse: &Ellipse, kind: GlassKind, step_px: f64, aside: f64) -> Self {
        let across = magnification(kind, water_index(USUAL_CELSIUS)).across;
        let wall = match kind {
            GlassKind::Tube => {
                let square = aside.clamp(0.0, 1.0).powi(2);
                1.0 - WALL_LOSS.0 * square - WALL_LOSS.1 * square * square
            }
            GlassKind::Port => 1.0,
        };
        let (flat, flat_spread) = FLATTENED;
        let height = ellipse.height.max(1e-3);
        let width = ellipse.width.max(1e-3);
        let log_height = height.ln() + 2.0 / 3.0 * flat;
        let log_width = (width / (across * wall)).ln() - flat / 3.0;
        let square = |v: f64| v * v;
        let edge = square(EDGE_SPREAD);
        let high = square(ellipse.height_spread)
            + edge
            + square(EDGE_SAMPLES / height)
            + square(SMEAR_SPREAD * ellipse.smear / height);
        let wide = square(ellipse.width_spread) + edge + square(EDGE_SAMPLES / width);
        let both = ellipse.together * ellipse.height_spread * ellipse.width_spread + 0.5 * edge;
        let hh = high + square(2.0 / 3.0 * flat_spread);
        let ww = wide + square(flat_spread / 3.0) + square(aside_spread(kind));
        let hw = both - 2.0 / 9.0 * square(flat_spread);
        let apart = (hh + ww - 2.0 * hw).max(1e-9);
        let share = ((ww - hw) / apart).clamp(0.0, 1.0);
        let log_diameter = share * log_height + (1.0 - share) * log_width;
        let variance = share * share * hh
            + (1.0 - share) * (1.0 - share) * ww
            + 2.0 * share * (1.0 - share) * hw;
        let spread = variance.max(0.0).sqrt();
        let disagree = (log_width - log_height).abs() / apart.sqrt();
        let doubt = if kind == GlassKind::Tube && (aside > ASIDE || disagree > DISAGREE) {
            Some(SizeDoubt::OffAxis)
        } else if spread > UNSURE {
            Some(SizeDoubt::Unsure)
        } else {
            None
        };
        Self {
            height_px: height * step_px,
            width_px: width * step_px,
            smear_px: ellipse.smear * step_px,
            diameter_px: log_diameter.exp() * step_px,
            diameter_spread: spread,
            doubt,
            core_share: None,
        }
    }

    /// Diameter, pixels, and its spread as a share, when the sightings alone would have it so large: a
    /// portrait that tells of quite another size may be of something else, and then counts as little as they.
    ///
    /// | portrait, px | sightings, px | diameter, px |
    /// |---|---|---|
    /// | 22 ± 5 % | 17 | 22 ± 5 % |
    /// | 22 ± 5 % | 8 | 11.7 ± 32 % |
    #[must_use]
    pub fn beside(&self, guessed: &Self) -> (f64, f64) {
        let apart = (guessed.diameter_px.max(0.1) / self.diameter_px.max(0.1)).ln();
        let beyond = (apart.abs() - USUALLY_APART).max(0.0);
        if beyond == 0.0 {
            return (self.diameter_px, self.diameter_spread);
        }
        let spread = self.diameter_spread.hypot(beyond);
        let share = spread.powi(2) / (spread.powi(2) + GUESSED.powi(2));
        let both = spread * GUESSED / spread.hypot(GUESSED);
        (self.diameter_px * (share * apart).exp(), both)
    }

    /// From the sightings alone, where no portrait could be taken; pixels.
    #[must_use]
    pub fn guessed(height_px: f64, width_px: f64, kind: GlassKind) -> Self {
        let across = magnification(kind, water_index(USUAL_CELSIUS)).across;
        Self {
            height_px,
            width_px,
            smear_px: 0.0,
            diameter_px: (height_px * width_px / across).max(0.0).sqrt(),
            diameter_spread: GUESSED,
            doubt: Some(SizeDoubt::Unsure),
            core_share: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_portrait_that_differs_from_the_sightings_is_trusted_less() {
        let portrait = Size {
            diameter_px: 22.0,
            diameter_spread: 0.05,
            ..Size::default()
        };
        let seen = |px: f64| Size {
            diameter_px: px,
            ..Size::default()
        };
        assert_eq!(portrait.beside(&seen(17.0)), (22.0, 0.05));
        let (diameter, spread) = portrait.beside(&seen(8.0));
        assert!(
            (diameter - 11.7).abs() < 0.1 && (spread - 0.32).abs() < 0.01,
            "{diameter} {spread}"
        );
    }
}
