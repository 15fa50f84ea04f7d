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

    /// The same glass in a picture `factor` times as large.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        Self {
            kind: self.kind,
            centre_x_px: self.centre_x_px * factor,
            centre_y_px: self.centre_y_px * factor,
            width_px: self.width_px * factor,
            height_px: self.height_px * factor,
            angle_deg: self.angle_deg,
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

impl UprightBox {
    /// Area, square pixels.
    #[must_use]
    pub fn area(&self) -> f64 {
        self.width * self.height
    }

    /// Area of the common part over the area of both together, 0 (apart) to 1 (the same).
    ///
    /// ```
    /// use beadtally::glass::UprightBox;
    /// let a = UprightBox { x: 0.0, y: 0.0, width: 2.0, height: 2.0 };
    /// let b = UprightBox { x: 1.0, y: 0.0, width: 2.0, height: 2.0 };
    /// assert!((a.iou(&b) - 1.0 / 3.0).abs() < 1e-12);
    /// ```
    #[must_use]
    pub fn iou(&self, other: &Self) -> f64 {
        let overlap = |a: f64, a_size: f64, b: f64, b_size: f64| {
            ((a + a_size).min(b + b_size) - a.max(b)).max(0.0)
        };
        let common = overlap(self.x, self.width, other.x, other.width)
            * overlap(self.y, self.height, other.y, other.height);
        let both = self.area() + other.area() - common;
        if both > 0.0 { common / both } else { 0.0 }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// Outlines of every kind, size and turn, from a fixed seed.
    fn outlines() -> impl Iterator<Item = (Outline, f64, f64)> {
        let mut dice = rand_chacha::ChaCha8Rng::seed_from_u64(4);
        (0..2000).map(move |index| {
            let outline = Outline {
                kind: if index % 2 == 0 {
                    GlassKind::Tube
                } else {
                    GlassKind::Port
                },
                centre_x_px: dice.random_range(-500.0..2500.0),
                centre_y_px: dice.random_range(-500.0..1500.0),
                width_px: dice.random_range(0.5..900.0),
                height_px: dice.random_range(0.5..900.0),
                angle_deg: dice.random_range(-45.0..45.0),
            };
            (
                outline,
                dice.random_range(-0.6..0.6),
                dice.random_range(-0.6..0.6),
            )
        })
    }

    #[test]
    fn the_maps_lead_there_and_back() {
        for (outline, u, v) in outlines() {
            let (across, along) = (u * outline.width_px, v * outline.height_px);
            let (x, y) = outline.picture_from_glass(across, along);
            let (back_across, back_along) = outline.glass_from_picture(x, y);
            assert!((back_across - across).abs() < 1e-9, "{outline:?}");
            assert!((back_along - along).abs() < 1e-9, "{outline:?}");
        }
    }

    #[test]
    fn maps_keep_distances() {
        for (outline, u, v) in outlines() {
            let (x0, y0) = outline.picture_from_glass(0.0, 0.0);
            let (x, y) = outline.picture_from_glass(u, v);
            assert!(((x - x0).hypot(y - y0) - u.hypot(v)).abs() < 1e-9);
        }
    }

    #[test]
    fn a_positive_angle_turns_clockwise_on_the_screen() {
        let mut glass = Outline::upright(GlassKind::Tube, 0.0, 0.0, 10.0, 100.0);
        glass.angle_deg = 10.0;
        // The foot of a glass turned clockwise swings to the left.
        let (x, y) = glass.picture_from_glass(0.0, 50.0);
        assert!(x < glass.centre_x_px && y > glass.centre_y_px);
    }

    #[test]
    fn the_upright_box_holds_the_rim_and_no_more() {
        for (outline, _, _) in outlines() {
            let around = outline.upright_box();
            let points: Vec<(f64, f64)> = match outline.kind {
                GlassKind::Tube => outline.corners().to_vec(),
                GlassKind::Port => (0..3600)
                    .map(|step| {
                        let (sin, cos) = f64::from(step).to_radians().mul_add(0.1, 0.0).sin_cos();
                        outline.picture_from_glass(
                            cos * outline.width_px / 2.0,
                            sin * outline.height_px / 2.0,
                        )
                    })
                    .collect(),
            };
            let range = |values: Vec<f64>| {
                let low = values.iter().copied().fold(f64::INFINITY, f64::min);
                let high = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                (low, high)
            };
            let (left, right) = range(points.iter().map(|p| p.0).collect());
            let (top, bottom) = range(points.iter().map(|p| p.1).collect());
            for (got, want) in [
                (around.x, left),
                (around.y, top),
                (around.x + around.width, right),
                (around.y + around.height, bottom),
            ] {
                assert!(
                    (got - want).abs() < 2e-3,
                    "{outline:?}: {got} against {want}"
                );
            }
        }
    }

    #[test]
    fn contains_agrees_with_the_maps() {
        for (outline, u, v) in outlines() {
            let (x, y) = outline.picture_from_glass(u * outline.width_px, v * outline.height_px);
            let inside = match outline.kind {
                GlassKind::Tube => u.abs() <= 0.5 && v.abs() <= 0.5,
                GlassKind::Port => u.hypot(v) <= 0.5,
            };
            assert_eq!(outline.contains(x, y), inside, "{outline:?} {u} {v}");
        }
    }

    #[test]
    fn iou_of_boxes() {
        let a = UprightBox {
            x: 10.0,
            y: 20.0,
            width: 30.0,
            height: 40.0,
        };
        assert_eq!(a.iou(&a), 1.0);
        let apart = UprightBox { x: 41.0, ..a };
        assert_eq!(a.iou(&apart), 0.0);
        let half = UprightBox { height: 20.0, ..a };
        assert!((a.iou(&half) - 0.5).abs() < 1e-12);
        assert_eq!(a.iou(&half), half.iou(&a));
        let nothing = UprightBox {
            width: 0.0,
            height: 0.0,
            ..a
        };
        assert_eq!(nothing.iou(&nothing), 0.0);
    }

    #[test]
    fn scaling_scales_the_box() {
        for (outline, _, _) in outlines() {
            let (a, b) = (outline.upright_box(), outline.scaled(1.5).upright_box());
            assert!((a.x * 1.5 - b.x).abs() < 1e-9 && (a.height * 1.5 - b.height).abs() < 1e-9);
        }
    }
}
