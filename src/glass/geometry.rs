//! Where a glass is in the picture: a rotated rectangle (tube) or the ellipse inside one (port),
//! and the maps between picture and glass. Pure geometry.
//!
//! Picture space: pixels, origin at the upper left corner of the upper left pixel, y downwards.
//! Glass space: origin at the glass's centre, `across` to the right and `along` down the axis
//! when the angle is 0. A positive angle turns the glass clockwise as seen on the screen.

use serde::{Deserialize, Serialize};

use crate::base::GlassKind;

/// A glass in the picture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Outline {
    /// Tube or port.
    pub kind: GlassKind,
    /// Centre, picture x, pixels.
    pub centre_x_px: f64,
    /// Centre, picture y, pixels.
    pub centre_y_px: f64,
    /// Extent across the axis, pixels (> 0).
    pub width_px: f64,
    /// Extent along the axis, pixels (> 0).
    pub height_px: f64,
    /// Clockwise turn of the axis, degrees, within ±45.
    pub angle_deg: f64,
}

/// The smallest upright box round an outline, pixels; `x`, `y` is its upper left corner.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct UprightBox {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Outline {
    /// An upright outline from its upper left corner and size.
    #[must_use]
    pub fn upright(kind: GlassKind, x: f64, y: f64, width: f64, height: f64) -> Self {
        Self {
            kind,
            centre_x_px: x + width / 2.0,
            centre_y_px: y + height / 2.0,
            width_px: width,
            height_px: height,
            angle_deg: 0.0,
        }
    }

    /// Picture point of a glass point.
    #[must_use]
    pub fn picture_from_glass(&self, across_px: f64, along_px: f64) -> (f64, f64) {
        let (sin, cos) = self.angle_deg.to_radians().sin_cos();
        (
            self.centre_x_px + across_px * cos - along_px * sin,
            self.centre_y_px + across_px * sin + along_px * cos,
        )
    }

    /// Glass point (across, along) of a picture point.
    #[must_use]
    pub fn glass_from_picture(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let (sin, cos) = self.angle_deg.to_radians().sin_cos();
        let (dx, dy) = (x_px - self.centre_x_px, y_px - self.centre_y_px);
        (dx * cos + dy * sin, -dx * sin + dy * cos)
    }

    /// The four corners in picture space: upper left, upper right, lower right, lower left.
    #[must_use]
    pub fn corners(&self) -> [(f64, f64); 4] {
        let (w, h) = (self.width_px / 2.0, self.height_px / 2.0);
        [(-w, -h), (w, -h), (w, h), (-w, h)].map(|(a, l)| self.picture_from_glass(a, l))
    }

    /// Whether a picture point lies on the glass.
    #[must_use]
    pub fn contains(&self, x_px: f64, y_px: f64) -> bool {
        let (across, along) = self.glass_from_picture(x_px, y_px);
        let (u, v) = (2.0 * across / self.width_px, 2.0 * along / self.height_px);
        match self.kind {
            GlassKind::Tube => u.abs() <= 1.0 && v.abs() <= 1.0,
            GlassKind::Port => u * u + v * v <= 1.0,
        }
    }

    /// The smallest upright box round the glass.
    ///
    /// ```
    /// use beadtally::{base::GlassKind, glass::Outline};
    /// let tube = Outline::upright(GlassKind::Tube, 105.0, 116.0, 68.0, 232.0);
    /// assert_eq!(tube.upright_box().x, 105.0);
    /// assert_eq!(tube.upright_box().height, 232.0);
    /// ```
    #[must_use]
    pub fn upright_box(&self) -> UprightBox {
        let (sin, cos) = self.angle_deg.to_radians().sin_cos();
        let (width, height) = match self.kind {
            GlassKind::Tube => (
                (self.width_px * cos).abs() + (self.height_px * sin).abs(),
                (self.width_px * sin).abs() + (self.height_px * cos).abs(),
            ),
            GlassKind::Port => (
                (self.width_px * cos).hypot(self.height_px * sin),
                (self.width_px * sin).hypot(self.height_px * cos),
            ),
        };
        UprightBox {
            x: self.centre_x_px - width / 2.0,
            y: self.centre_y_px - height / 2.0,
            width,
            height,
        }
    }
}
