//! Maps between an old picture and a new one: shift, turn and scale. Pure geometry.

/// A similarity about a fixed middle: new = middle + shift + ((1 + a), −b; b, (1 + a)) · (old −
/// middle). All in the pixels of one level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Shift {
    /// Middle, x and y.
    pub middle: (f64, f64),
    /// Shift of the middle.
    pub dx: f64,
    pub dy: f64,
    /// Scale · cos of the turn − 1.
    pub a: f64,
    /// Scale · sin of the turn.
    pub b: f64,
}

impl Shift {
    /// Of a clockwise turn (as seen on the screen), a scale and a shift.
    pub fn new(middle: (f64, f64), (dx, dy): (f64, f64), turn_deg: f64, scale: f64) -> Self {
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        Self {
            middle,
            dx,
            dy,
            a: scale * cos - 1.0,
            b: scale * sin,
        }
    }

    /// Place in the new picture of a place in the old one.
    pub fn map(&self, x: f64, y: f64) -> (f64, f64) {
        let (u, v) = (x - self.middle.0, y - self.middle.1);
        (
            self.middle.0 + self.dx + (1.0 + self.a) * u - self.b * v,
            self.middle.1 + self.dy + self.b * u + (1.0 + self.a) * v,
        )
    }

    /// Scale, new over old.
    pub fn scale(&self) -> f64 {
        (1.0 + self.a).hypot(self.b)
    }

    /// Clockwise turn, degrees.
    pub fn turn_deg(&self) -> f64 {
        self.b.atan2(1.0 + self.a).to_degrees()
    }

    /// The same map in pixels `factor` times as small (more of them), or as large below 1.
    pub fn in_pixels(&self, factor: f64) -> Self {
        Self {
            middle: (self.middle.0 * factor, self.middle.1 * factor),
            dx: self.dx * factor,
            dy: self.dy * factor,
            ..*self
        }
    }

    /// The same map written about another middle.
    pub fn about(&self, middle: (f64, f64)) -> Self {
        let (x, y) = self.map(middle.0, middle.1);
        Self {
            middle,
            dx: x - middle.0,
            dy: y - middle.1,
            ..*self
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_turn_is_clockwise_on_the_screen_and_scales_about_the_middle() {
        let shift = Shift::new((100.0, 50.0), (3.0, -2.0), 90.0, 2.0);
        let (x, y) = shift.map(110.0, 50.0);
        assert!(
            (x - 103.0).abs() < 1e-9 && (y - 68.0).abs() < 1e-9,
            "{x} {y}"
        );
        assert!((shift.scale() - 2.0).abs() < 1e-12);
        assert!((shift.turn_deg() - 90.0).abs() < 1e-9);
    }

    #[test]
    fn other_pixels_and_another_middle_map_the_same_places() {
        let shift = Shift::new((100.0, 50.0), (3.0, -2.0), 4.0, 1.1);
        let (x, y) = shift.map(17.0, 31.0);
        let (fx, fy) = shift.in_pixels(2.0).map(34.0, 62.0);
        let (ax, ay) = shift.about((5.0, 7.0)).map(17.0, 31.0);
        assert!((fx - 2.0 * x).abs() < 1e-9 && (fy - 2.0 * y).abs() < 1e-9);
        assert!((ax - x).abs() < 1e-9 && (ay - y).abs() < 1e-9);
    }
}
