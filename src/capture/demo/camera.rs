//! Where the camera stands, and the maps between its picture and the lubricator: roll, turn,
//! perspective along the row of glasses, and a knock that moves it for good.
//!
//! Lubricator space: millimetres, x along the row of glasses from its middle, y up from mid-glass,
//! z towards the camera.

/// Distance from the camera to the middle of the row, mm: an arm's length.
const DISTANCE_MM: f64 = 450.0;

/// The camera's place.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Camera {
    width_px: f64,
    height_px: f64,
    px_per_mm: f64,
    roll: (f64, f64),
    roll_deg: f64,
    turn: (f64, f64),
    turn_rad: f64,
    shift_px: (f64, f64),
}

/// How one glass stands in the picture: its axis, scale and the direction it is seen from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stand {
    /// Picture place of the middle of the glass, pixels.
    pub centre_px: (f64, f64),
    /// Scale at its axis.
    pub px_per_mm: f64,
    /// Cosine and sine of the camera's roll.
    pub roll: (f64, f64),
    /// Cosine and sine of the direction it is seen from, about the vertical.
    pub yaw: (f64, f64),
}

impl Stand {
    /// Glass place (across, up; mm) of a picture point.
    #[must_use]
    pub fn glass_from_picture(&self, x_px: f64, y_px: f64) -> (f64, f64) {
        let (cos, sin) = self.roll;
        let (dx, dy) = (x_px - self.centre_px.0, y_px - self.centre_px.1);
        (
            (dx * cos + dy * sin) / self.px_per_mm,
            (dx * sin - dy * cos) / self.px_per_mm,
        )
    }

    /// Picture point of a glass place (across, up; mm).
    #[must_use]
    pub fn picture_from_glass(&self, x_mm: f64, y_mm: f64) -> (f64, f64) {
        let (cos, sin) = self.roll;
        let (x, y) = (x_mm * self.px_per_mm, -y_mm * self.px_per_mm);
        (
            self.centre_px.0 + x * cos - y * sin,
            self.centre_px.1 + x * sin + y * cos,
        )
    }

    /// Whole-pixel box (left, top, right, bottom; ends excluded) round a box in the glass (left,
    /// bottom, right, top; mm), cut to the picture.
    #[must_use]
    pub fn pixels_round(
        &self,
        (left, bottom, right, top): (f64, f64, f64, f64),
        (width, height): (u32, u32),
    ) -> (u32, u32, u32, u32) {
        let corners = [(left, bottom), (left, top), (right, bottom), (right, top)]
            .map(|(x, y)| self.picture_from_glass(x, y));
        let min = |f: fn(&(f64, f64)) -> f64| corners.iter().map(f).fold(f64::MAX, f64::min);
        let max = |f: fn(&(f64, f64)) -> f64| corners.iter().map(f).fold(f64::MIN, f64::max);
        let low = |v: f64, end: u32| (v.floor().max(0.0) as u32).min(end);
        let high = |v: f64, end: u32| (v.ceil().max(0.0) as u32).min(end);
        (
            low(min(|p| p.0), width),
            low(min(|p| p.1), height),
            high(max(|p| p.0), width),
            high(max(|p| p.1), height),
        )
    }
}

impl Camera {
    /// A camera that looks at the middle of the row.
    #[must_use]
    pub fn new(size_px: (u32, u32), px_per_mm: f64, roll_deg: f64, turn_deg: f64) -> Self {
        let cos_sin = |deg: f64| (deg.to_radians().cos(), deg.to_radians().sin());
        Self {
            width_px: f64::from(size_px.0),
            height_px: f64::from(size_px.1),
            px_per_mm,
            roll: cos_sin(roll_deg),
            roll_deg,
            turn: cos_sin(turn_deg),
            turn_rad: turn_deg.to_radians(),
            shift_px: (0.0, 0.0),
        }
    }

    /// The camera after a knock: shifted by pixels and rolled further by degrees.
    #[must_use]
    pub fn knocked(mut self, shift_px: (f64, f64), roll_deg: f64) -> Self {
        self.shift_px = (self.shift_px.0 + shift_px.0, self.shift_px.1 + shift_px.1);
        self.roll_deg += roll_deg;
        let rad = self.roll_deg.to_radians();
        self.roll = (rad.cos(), rad.sin());
        self
    }

    /// Clockwise roll, degrees.
    #[must_use]
    pub fn roll_deg(&self) -> f64 {
        self.roll_deg
    }

    fn middle(&self) -> (f64, f64) {
        (
            0.5 * self.width_px + self.shift_px.0,
            0.5 * self.height_px + self.shift_px.1,
        )
    }

    /// How the glass at `x_mm` along the row stands in the picture.
    #[must_use]
    pub fn stand(&self, x_mm: f64) -> Stand {
        let (cos, sin) = self.turn;
        let away = DISTANCE_MM + x_mm * sin;
        let px_per_mm = self.px_per_mm * DISTANCE_MM / away;
        let across = x_mm * cos;
        let (x, y) = (across * px_per_mm, 0.0);
        let middle = self.middle();
        let yaw = (across / away).atan() + self.turn_rad;
        Stand {
            centre_px: (
                middle.0 + x * self.roll.0 - y * self.roll.1,
                middle.1 + x * self.roll.1 + y * self.roll.0,
            ),
            px_per_mm,
            roll: self.roll,
            yaw: (yaw.cos(), yaw.sin()),
        }
    }

    /// Lubricator place (x, y; mm) at which the sight through a picture point meets the plane
    /// `behind_mm` behind the axes.
    #[must_use]
    pub fn plane_from_picture(&self, x_px: f64, y_px: f64, behind_mm: f64) -> (f64, f64) {
        let middle = self.middle();
        let (dx, dy) = (x_px - middle.0, y_px - middle.1);
        let u = dx * self.roll.0 + dy * self.roll.1;
        let v = -dx * self.roll.1 + dy * self.roll.0;
        let focal = self.px_per_mm * DISTANCE_MM;
        let (cos, sin) = self.turn;
        let x = (u * (DISTANCE_MM + behind_mm * cos) + focal * behind_mm * sin)
            / (focal * cos - u * sin);
        let away = DISTANCE_MM + x * sin + behind_mm * cos;
        (x, -v * away / focal)
    }
}
