//! A turned frame of reference on a picture: where a guessed glass stands and how it leans.

/// Origin and turn. `along` points down the axis, `across` to the right when the turn is 0.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pose {
    /// Picture x of the origin, pixels.
    pub x: f32,
    /// Picture y of the origin, pixels.
    pub y: f32,
    /// Cosine of the clockwise turn.
    pub cos: f32,
    /// Sine of the clockwise turn.
    pub sin: f32,
}

impl Pose {
    /// A frame whose axis runs by `slope` pixels to the right for each pixel down.
    pub fn leaning(x: f32, y: f32, slope: f32) -> Self {
        let length = slope.hypot(1.0);
        Self {
            x,
            y,
            cos: 1.0 / length,
            sin: -slope / length,
        }
    }

    /// Picture point of a point of the frame.
    pub fn picture(self, across: f32, along: f32) -> (f32, f32) {
        (
            self.x + across * self.cos - along * self.sin,
            self.y + across * self.sin + along * self.cos,
        )
    }

    /// Frame point (across, along) of a picture point.
    pub fn frame(self, x: f32, y: f32) -> (f32, f32) {
        let (dx, dy) = (x - self.x, y - self.y);
        (
            dx * self.cos + dy * self.sin,
            -dx * self.sin + dy * self.cos,
        )
    }

    /// Components (across, along) of a picture slope.
    pub fn turn(self, (right, down): (f32, f32)) -> (f32, f32) {
        (
            right * self.cos + down * self.sin,
            -right * self.sin + down * self.cos,
        )
    }

    /// The same turn with another origin, given in this frame.
    pub fn moved(self, across: f32, along: f32) -> Self {
        let (x, y) = self.picture(across, along);
        Self { x, y, ..self }
    }

    /// Clockwise turn in degrees.
    pub fn angle_deg(self) -> f32 {
        self.sin.atan2(self.cos).to_degrees()
    }
}
