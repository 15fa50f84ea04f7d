//! Steadying: how far the glass stands from its place in this frame, how it is turned, and how the
//! light has changed, from the fixed texture around the glass. Sparse least squares on strong-gradient
//! pixels (Lucas & Kanade 1981, with gain and offset as further unknowns and Tukey's biweight for
//! what moves). It moves no pixel itself.

use image::GrayImage;

use crate::bead::look::{Ends, Look};
use crate::glass::Outline;

/// Most texture points per glass; more cost time and add little.
const MOST_POINTS: usize = 360;
/// Fewest points with which a shift can be told at all.
const FEWEST_POINTS: usize = 40;
/// How far round the glass texture is sought, as a share of its width.
const SURROUND_SHARE: f64 = 0.35;
/// Weakest usable gradient, grey levels a pixel.
const WEAKEST_GRADIENT: f32 = 2.0;
/// The same in spreads of the noise: the smoothed picture's gradient has 0.24 of the noise of a
/// pixel, so that noise alone hardly ever looks like texture.
const WEAKEST_OVER_NOISE: f32 = 0.6;
/// Spread of a pixel's noise over that of its difference from the smoothed picture.
const NOISE_OVER_ROUGH: f32 = 1.25;
/// How far a glass usually stands from its outline, pixels. Where the texture does not tell (all
/// edges upright, a faint picture) this keeps the answer near.
const USUAL_SHIFT_PX: f64 = 4.0;
/// The same for a turn of the camera about its line of sight, pixels at the glass's end: a hand or
/// a stand that trembles by pixels turns by less.
const USUAL_TURN_PX: f64 = 1.0;
/// A turn of less than this, pixels at the glass's end, is taken for none: straight rows are read
/// faster, and so little moves no bead.
const SMALL_TURN_PX: f64 = 0.35;
/// Farthest turn sought, pixels at the glass's end.
const FARTHEST_TURN_PX: f64 = 8.0;
/// Farthest shift sought, pixels: three times the shake of a camera on an engine-house floor.
const FARTHEST_PX: f64 = 9.0;
/// Shift (2), turn, gain and offset.
const UNKNOWNS: usize = 5;
/// Solver steps a frame.
const STEPS: usize = 4;
/// A step below this many pixels ends the search.
const SMALL_STEP_PX: f64 = 0.02;

/// Texture points beyond which only every second, third and so on is sorted for a median.
const MEDIAN_POINTS: usize = 200;
/// Products of two unknowns' slopes, each pair once, filled up to whole machine words.
const PRODUCTS: usize = 16;

/// One point of fixed texture, and what a step of each unknown does to its luma.
#[derive(Clone, Copy, Debug)]
struct Point {
    x: f32,
    y: f32,
    value: f32,
    /// Place of its pixel in a frame as wide as the reference.
    at: usize,
    /// From the middle of the glass to the right and down, in half heights.
    over: f32,
    down: f32,
    /// Grey levels for a pixel of shift (right, down), a pixel of turn at the glass's end, a gain of
    /// 1/128 and an offset of one, at a gain of 1.
    slopes: [f32; 8],
    /// Products of any two of them, the upper triangle row by row.
    products: [f32; PRODUCTS],
}

impl Point {
    fn new((x, y, value): (f32, f32, f32), (slope_x, slope_y): (f32, f32)) -> Self {
        Self {
            x,
            y,
            value,
            at: 0,
            over: 0.0,
            down: 0.0,
            slopes: [slope_x, slope_y, 0.0, value / 128.0, 1.0, 0.0, 0.0, 0.0],
            products: [0.0; PRODUCTS],
        }
    }

    fn slope_x(&self) -> f32 {
        self.slopes[0]
    }

    fn slope_y(&self) -> f32 {
        self.slopes[1]
    }

    /// Works out what follows from where it is in the glass, and in frames so many pixels wide.
    fn placed(mut self, centre_px: (f64, f64), half_height_px: f64, width: u32) -> Self {
        self.at = self.y as usize * width as usize + self.x as usize;
        self.over = ((f64::from(self.x) - centre_px.0) / half_height_px) as f32;
        self.down = ((f64::from(self.y) - centre_px.1) / half_height_px) as f32;
        self.slopes[2] = self.over * self.slope_y() - self.down * self.slope_x();
        let mut at = 0;
        for i in 0..UNKNOWNS {
            for j in i..UNKNOWNS {
                self.products[at] = self.slopes[i] * self.slopes[j];
                at += 1;
            }
        }
        self
    }
}

/// Where the glass stands in a frame and how the light is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pose {
    /// Shift of the glass in the picture against the reference, pixels (x, y).
    pub shift_px: (f64, f64),
    /// Turn of the glass about its middle against the reference, radians, clockwise as seen.
    pub turn_rad: f64,
    /// Light of the surround against the reference: 1 is the same.
    pub gain: f64,
    /// What remains unexplained, grey levels (median absolute).
    pub residual: f64,
    /// Share of texture points that agree, 0 to 1.
    pub agreeing: f64,
    /// Contrast of the texture for its light, against the reference: 1 is the same, 0 is a flat
    /// picture. Where nothing of the texture is seen, a flat picture agrees with it everywhere.
    pub contrast: f64,
}

impl Default for Pose {
    fn default() -> Self {
        Self {
            shift_px: (0.0, 0.0),
            turn_rad: 0.0,
            gain: 1.0,
            residual: 0.0,
            agreeing: 1.0,
            contrast: 1.0,
        }
    }
}

/// Follows one glass against a reference picture.
#[derive(Clone, Debug)]
pub struct Steady {
    points: Vec<Point>,
    half_height_px: f64,
    /// How far the points reach.
    holds: Ends,
    last: Stand,
    /// Mean and median of the points' luma, grey levels.
    mean: f64,
    usual: f32,
    /// Luma at the points now, less what is expected there.
    errors: Vec<f32>,
    sorted: Vec<f32>,
}

/// How a glass stands: shift in pixels and turn in pixels at its end.
#[derive(Clone, Copy, Debug, Default)]
struct Stand {
    shift_px: (f64, f64),
    turn_px: f64,
}

impl Steady {
    /// Chooses the texture around (not inside) the glass from a reference picture.
    #[must_use]
    pub fn new(reference: &GrayImage, outline: &Outline) -> Self {
        let margin = outline.width_px * SURROUND_SHARE;
        let edge = outline.upright_box();
        let (w, h) = (i64::from(reference.width()), i64::from(reference.height()));
        let x0 = ((edge.x - margin).floor() as i64).clamp(3, (w - 4).max(3));
        let x1 = ((edge.x + edge.width + margin).ceil() as i64).clamp(3, (w - 4).max(3));
        let y0 = ((edge.y - margin).floor() as i64).clamp(3, (h - 4).max(3));
        let y1 = ((edge.y + edge.height + margin).ceil() as i64).clamp(3, (h - 4).max(3));
        // Smoothed by 1-2-1 both ways: noise must not look like texture.
        let raw = |x: i64, y: i64| f32::from(reference.get_pixel(x as u32, y as u32).0[0]);
        let line = |x: i64, y: i64| 0.25 * (raw(x - 1, y) + 2.0 * raw(x, y) + raw(x + 1, y));
        let get = |x: i64, y: i64| 0.25 * (line(x, y - 1) + 2.0 * line(x, y) + line(x, y + 1));
        let mut steep_x = Vec::new();
        let mut steep_y = Vec::new();
        if w < 10 || h < 10 {
            return Self::of(Vec::new(), outline, reference.width());
        }
        let mut rough: Vec<f32> = (y0..=y1)
            .step_by(3)
            .flat_map(|y| (x0..=x1).step_by(3).map(move |x| (x, y)))
            .map(|(x, y)| raw(x, y) - get(x, y))
            .collect();
        for value in &mut rough {
            *value = value.abs();
        }
        let noise = 1.4826 * NOISE_OVER_ROUGH * median(&mut rough);
        let weakest = WEAKEST_GRADIENT.max(WEAKEST_OVER_NOISE * noise);
        let (sin, cos) = outline.angle_deg.to_radians().sin_cos();
        for y in y0..=y1 {
            for x in x0..=x1 {
                let right = x as f64 + 0.5 - outline.centre_x_px;
                let down = y as f64 + 0.5 - outline.centre_y_px;
                let (across, along) = (right * cos + down * sin, down * cos - right * sin);
                let inner = (2.0 * across / outline.width_px).abs() < 0.86
                    && (2.0 * along / outline.height_px).abs() < 1.0;
                if inner {
                    continue;
                }
                let gx = (get(x + 1, y) - get(x - 1, y)) / 2.0;
                let gy = (get(x, y + 1) - get(x, y - 1)) / 2.0;
                let at = (x as f32 + 0.5, y as f32 + 0.5, get(x, y));
                let point = Point::new(at, (gx, gy));
                if gx.abs() >= weakest && gx.abs() >= gy.abs() {
                    steep_x.push(point);
                } else if gy.abs() >= weakest {
                    steep_y.push(point);
                }
            }
        }
        // Both directions must be told, so both get half the points, spread over the whole
        // surround: the steepest alone would all lie on one edge.
        let mut points = thin(steep_x, MOST_POINTS / 2, |p| p.slope_x().abs());
        points.extend(thin(steep_y, MOST_POINTS / 2, |p| p.slope_y().abs()));
        Self::of(points, outline, reference.width())
    }

    fn of(points: Vec<Point>, outline: &Outline, width: u32) -> Self {
        let centre_px = (outline.centre_x_px, outline.centre_y_px);
        let half_height_px = (outline.height_px / 2.0).max(1.0);
        let points: Vec<Point> = points
            .into_iter()
            .map(|p| p.placed(centre_px, half_height_px, width))
            .collect();
        let mut values: Vec<f32> = points.iter().map(|p| p.value).collect();
        let ends = |of: fn(&Point) -> f32| {
            let all = || points.iter().map(of);
            (
                all().fold(f32::INFINITY, f32::min) as f64,
                all().fold(f32::NEG_INFINITY, f32::max) as f64,
            )
        };
        let holds = Ends {
            x_px: ends(|p| p.x),
            y_px: ends(|p| p.y),
            width,
        };
        let sum: f64 = values.iter().copied().map(f64::from).sum();
        Self {
            half_height_px,
            holds,
            last: Stand::default(),
            mean: sum / points.len().max(1) as f64,
            usual: median(&mut values),
            errors: Vec::with_capacity(points.len()),
            sorted: Vec::with_capacity(points.len()),
            points,
        }
    }

    /// Finds the pose of the glass in a frame. With too little texture the pose stays at the
    /// last one.
    pub fn pose(&mut self, luma: &GrayImage) -> Pose {
        if self.points.len() < FEWEST_POINTS {
            return Pose {
                shift_px: self.last.shift_px,
                ..Pose::default()
            };
        }
        let (mut best, mut stand) = self.solve(luma, self.last);
        // A knock or a lost lock: try again from the middle before believing a bad fit.
        if best.agreeing < 0.5 {
            let (from_rest, there) = self.solve(luma, Stand::default());
            if from_rest.agreeing > best.agreeing {
                (best, stand) = (from_rest, there);
            }
        }
        if best.agreeing >= 0.5 {
            self.last = stand;
        }
        best
    }

    fn solve(&mut self, luma: &GrayImage, start: Stand) -> (Pose, Stand) {
        let look = Look::new(luma);
        let (mut dx, mut dy) = start.shift_px;
        let mut turn = start.turn_px;
        let half = self.half_height_px;
        let (mut gain, mut offset) = (1.0_f64, 0.0_f64);
        let mut spread = 8.0_f64;
        let every = self.points.len().div_ceil(MEDIAN_POINTS).max(1);
        for step in 0..STEPS {
            let (shift_x, shift_y, turned) = (dx as f32, dy as f32, turn as f32);
            self.errors.clear();
            let whole = if turn.abs() < SMALL_TURN_PX {
                look.shifted(self.holds, (dx, dy))
            } else {
                None
            };
            if let Some(shifted) = whole {
                // So small a turn is reckoned by the slopes: all points lie alike between pixels.
                let errors = self
                    .points
                    .iter()
                    .map(|p| shifted.at(p.at) + p.slopes[2] * turned);
                self.errors.extend(errors);
            } else {
                self.errors.extend(self.points.iter().map(|p| {
                    look.near(
                        p.x + shift_x - p.down * turned,
                        p.y + shift_y + p.over * turned,
                    )
                }));
            }
            if step == 0 {
                (gain, offset) = self.light(every);
            }
            let (times, more) = (gain as f32, offset as f32);
            for (error, point) in self.errors.iter_mut().zip(&self.points) {
                *error -= times * point.value + more;
            }
            self.sorted.clear();
            let some = self.errors.iter().step_by(every);
            self.sorted.extend(some.map(|error| error.abs()));
            spread = (1.4826 * f64::from(median(&mut self.sorted))).max(1.0);
            let (mut normal, mut right) = self.normal((4.685 * spread) as f32, gain);
            let near = (spread / USUAL_SHIFT_PX).powi(2);
            normal[0][0] += near;
            normal[1][1] += near;
            right[0] += near * dx;
            right[1] += near * dy;
            let straight = (spread / USUAL_TURN_PX).powi(2);
            normal[2][2] += straight;
            right[2] += straight * turn;
            for (i, line) in normal.iter_mut().enumerate() {
                line[i] += 1e-6 + line[i] * 1e-6;
            }
            let Some(answer) = solve_linear(normal, right) else {
                break;
            };
            // I(p + d) ≈ g·R(p) + o + g·∇R·(true − d): moving by the answer lessens the error.
            let [sx, sy, st] = [answer[0], answer[1], answer[2]].map(|step| step.clamp(-2.0, 2.0));
            dx = (dx - sx).clamp(-FARTHEST_PX, FARTHEST_PX);
            dy = (dy - sy).clamp(-FARTHEST_PX, FARTHEST_PX);
            turn = (turn - st).clamp(-FARTHEST_TURN_PX, FARTHEST_TURN_PX);
            gain = (gain + answer[3] / 128.0).clamp(0.05, 20.0);
            offset += answer[4];
            if sx.abs().max(sy.abs()).max(st.abs()) < SMALL_STEP_PX {
                break;
            }
        }
        let agree_cut = (4.685 * spread).min(24.0) as f32;
        let agreeing = self
            .errors
            .iter()
            .map(|e| u32::from(e.abs() < agree_cut))
            .sum::<u32>();
        let told = if turn.abs() < SMALL_TURN_PX {
            0.0
        } else {
            turn
        };
        let brightness = self.brightness(gain, offset);
        let pose = Pose {
            shift_px: (dx, dy),
            turn_rad: told / half,
            gain: brightness,
            residual: spread / 1.4826,
            agreeing: f64::from(agreeing) / self.errors.len().max(1) as f64,
            contrast: gain / brightness.max(0.05),
        };
        let stand = Stand {
            shift_px: (dx, dy),
            turn_px: turn,
        };
        (pose, stand)
    }

    /// The normal equations of one step: what moves, more than `cut` grey levels off, has no weight.
    fn normal(&self, cut: f32, gain: f64) -> ([[f64; UNKNOWNS]; UNKNOWNS], [f64; UNKNOWNS]) {
        let mut products = [0.0_f32; PRODUCTS];
        let mut slopes = [0.0_f32; 8];
        let inverse = 1.0 / cut;
        for (point, error) in self.points.iter().zip(&self.errors) {
            let u = error * inverse;
            let left = (1.0 - u * u).max(0.0);
            let weight = left * left;
            for (sum, product) in products.iter_mut().zip(&point.products) {
                *sum += weight * product;
            }
            for (sum, slope) in slopes.iter_mut().zip(&point.slopes) {
                *sum += weight * error * slope;
            }
        }
        // Shift and turn tell as much more as the light is stronger.
        let scale = [gain, gain, gain, 1.0, 1.0];
        let mut normal = [[0.0_f64; UNKNOWNS]; UNKNOWNS];
        let mut right = [0.0_f64; UNKNOWNS];
        let mut at = 0;
        for i in 0..UNKNOWNS {
            for j in i..UNKNOWNS {
                let sum = scale[i] * scale[j] * f64::from(products[at]);
                (normal[i][j], normal[j][i]) = (sum, sum);
                at += 1;
            }
            right[i] = scale[i] * f64::from(slopes[i]);
        }
        (normal, right)
    }

    /// Ratio of the mean brightness now to that of the reference.
    fn brightness(&self, gain: f64, offset: f64) -> f64 {
        if self.mean > 1.0 {
            ((gain * self.mean + offset) / self.mean).clamp(0.0, 20.0)
        } else {
            1.0
        }
    }

    /// First guess of gain (offset 0): the ratio of the medians of luma, which `errors` holds now.
    fn light(&mut self, every: usize) -> (f64, f64) {
        self.sorted.clear();
        self.sorted.extend(self.errors.iter().step_by(every));
        let now = median(&mut self.sorted);
        if self.usual > 1.0 {
            (
                (f64::from(now) / f64::from(self.usual)).clamp(0.05, 20.0),
                0.0,
            )
        } else {
            (1.0, 0.0)
        }
    }
}

pub(crate) fn median(values: &mut [f32]) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f32::total_cmp).1
}

/// Keeps at most `most` points: every n-th of the steeper half.
fn thin(mut points: Vec<Point>, most: usize, steepness: impl Fn(&Point) -> f32) -> Vec<Point> {
    if points.len() <= most {
        return points;
    }
    let keep = (points.len() / 2).max(most);
    points.select_nth_unstable_by(keep - 1, |a, b| steepness(b).total_cmp(&steepness(a)));
    points.truncate(keep);
    points.sort_by(|a, b| a.y.total_cmp(&b.y).then(a.x.total_cmp(&b.x)));
    let every = points.len() as f64 / most as f64;
    (0..most)
        .filter_map(|i| points.get((i as f64 * every) as usize).copied())
        .collect()
}

/// Gaussian elimination with pivoting; none when the matrix is singular.
fn solve_linear(
    mut a: [[f64; UNKNOWNS]; UNKNOWNS],
    mut b: [f64; UNKNOWNS],
) -> Option<[f64; UNKNOWNS]> {
    for col in 0..UNKNOWNS {
        let pivot = (col..UNKNOWNS).max_by(|&i, &j| a[i][col].abs().total_cmp(&a[j][col].abs()))?;
        if a[pivot][col].abs() < 1e-12 {
            return None;
        }
        a.swap(col, pivot);
        b.swap(col, pivot);
        for row in col + 1..UNKNOWNS {
            let factor = a[row][col] / a[col][col];
            let upper = a[col];
            for (value, above) in a[row].iter_mut().zip(upper).skip(col) {
                *value -= factor * above;
            }
            b[row] -= factor * b[col];
        }
    }
    let mut x = [0.0; UNKNOWNS];
    for row in (0..UNKNOWNS).rev() {
        let known: f64 = (row + 1..UNKNOWNS).map(|k| a[row][k] * x[k]).sum();
        x[row] = (b[row] - known) / a[row][row];
    }
    Some(x)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::GlassKind;

    fn scene(dx: f64, dy: f64, gain: f64) -> GrayImage {
        GrayImage::from_fn(160, 240, |x, y| {
            let (x, y) = (f64::from(x) - dx, f64::from(y) - dy);
            let smooth = |v: f64| 1.0 / (1.0 + (-v * 1.5).exp());
            let tube = smooth(x - 50.0) - smooth(x - 110.0);
            let fittings = smooth(40.0 - y) + smooth(y - 200.0);
            let value =
                60.0 + 90.0 * tube + 50.0 * fittings + 10.0 * (x * 0.3).sin() * (y * 0.21).cos();
            image::Luma([(value * gain).clamp(0.0, 255.0).round() as u8])
        })
    }

    #[test]
    fn a_known_shift_and_gain_are_found_to_a_tenth_of_a_pixel() {
        let outline = Outline::upright(GlassKind::Tube, 50.0, 40.0, 60.0, 160.0);
        let mut steady = Steady::new(&scene(0.0, 0.0, 1.0), &outline);
        for (dx, dy, gain) in [
            (0.0, 0.0, 1.0),
            (1.3, -0.7, 1.0),
            (-2.6, 2.9, 1.1),
            (0.4, 0.2, 0.8),
        ] {
            let pose = steady.pose(&scene(dx, dy, gain));
            assert!((pose.shift_px.0 - dx).abs() < 0.1, "{pose:?} for {dx}");
            assert!((pose.shift_px.1 - dy).abs() < 0.1, "{pose:?} for {dy}");
            assert!((pose.gain - gain).abs() < 0.03, "{pose:?} for {gain}");
            assert!(pose.agreeing > 0.9);
        }
    }

    #[test]
    fn a_known_turn_is_found_and_a_small_one_is_none() {
        let outline = Outline::upright(GlassKind::Tube, 50.0, 40.0, 60.0, 160.0);
        let straight = scene(0.0, 0.0, 1.0);
        let turned = |turn: f64| {
            let look = Look::new(&straight);
            GrayImage::from_fn(160, 240, |x, y| {
                let (over, down) = (f64::from(x) + 0.5 - 80.0, f64::from(y) + 0.5 - 120.0);
                let (sin, cos) = turn.sin_cos();
                let from = (
                    80.0 + over * cos + down * sin,
                    120.0 - over * sin + down * cos,
                );
                image::Luma([look.at(from.0, from.1).round() as u8])
            })
        };
        for turn in [0.01_f64, -0.02, 0.03] {
            let mut steady = Steady::new(&straight, &outline);
            let pose = steady.pose(&turned(turn));
            assert!((pose.turn_rad - turn).abs() < 0.002, "{pose:?} for {turn}");
            assert!(pose.shift_px.0.hypot(pose.shift_px.1) < 0.2, "{pose:?}");
        }
        let mut steady = Steady::new(&straight, &outline);
        assert_eq!(steady.pose(&turned(0.001)).turn_rad, 0.0);
    }

    #[test]
    fn a_blank_picture_leaves_the_pose_alone() {
        let blank = GrayImage::from_pixel(100, 100, image::Luma([90]));
        let outline = Outline::upright(GlassKind::Tube, 30.0, 10.0, 30.0, 80.0);
        let mut steady = Steady::new(&blank, &outline);
        assert_eq!(steady.pose(&blank).shift_px, (0.0, 0.0));
    }
}
