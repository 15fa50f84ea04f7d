//! Small copies of frames laid upon the first of them: how far each was shaken, by least squares on
//! its strongest edges, and the same copy with that taken out. What moves in the picture is little
//! beside its edges; a frame that fits no better for being shifted is left where it is.

/// Most edge places used; more tell no better.
const MOST_PLACES: usize = 3000;
/// Rounds of least squares: the second takes out what the bend of an edge left.
const ROUNDS: usize = 3;
/// Shifts from which it begins, beside none, pixels.
const STARTS: [(f32, f32); 8] = [
    (-1.5, -1.5),
    (0.0, -1.5),
    (1.5, -1.5),
    (-1.5, 0.0),
    (1.5, 0.0),
    (-1.5, 1.5),
    (0.0, 1.5),
    (1.5, 1.5),
];
/// Greatest shift believed, pixels of the small copies.
const FARTHEST: f32 = 5.0;
/// A shift must leave at most this part of the squared difference.
const BETTER: f32 = 0.75;
/// Shifts below this are left alone, pixels: shifting blurs.
const LEAST: f32 = 0.04;

/// The edges of one picture.
pub(super) struct Edges {
    width: usize,
    rows: usize,
    /// Place, and slope to the right and down.
    places: Vec<(usize, f32, f32)>,
    luma: Vec<f32>,
}

impl Edges {
    /// The strongest edges of a picture.
    pub fn of(picture: &[u16], width: usize) -> Self {
        let rows = picture.len() / width.max(1);
        let luma: Vec<f32> = picture.iter().map(|v| f32::from(*v)).collect();
        let mut places = Vec::new();
        for row in (7..rows.saturating_sub(7)).step_by(2) {
            for column in 7..width.saturating_sub(7) {
                let i = row * width + column;
                let (gx, gy) = (
                    (luma[i + 1] - luma[i - 1]) / 2.0,
                    (luma[i + width] - luma[i - width]) / 2.0,
                );
                places.push((i, gx, gy));
            }
        }
        let size = |p: &(usize, f32, f32)| p.1.hypot(p.2);
        if places.len() > MOST_PLACES {
            places.select_nth_unstable_by(MOST_PLACES, |a, b| size(b).total_cmp(&size(a)));
            places.truncate(MOST_PLACES);
        }
        Self {
            width,
            rows,
            places,
            luma,
        }
    }

    /// How far a picture is shifted against this one (right, down), pixels; zero when no shift
    /// explains it.
    pub fn shift(&self, picture: &[u16]) -> (f32, f32) {
        // Where to begin: an edge shows no more than its own width of a shift.
        let off = |dx: f32, dy: f32| -> f32 {
            self.places
                .iter()
                .step_by(5)
                .map(|p| {
                    let here = between(picture, self.width, self.rows, p.0, dx, dy);
                    (self.luma[p.0] - here).abs()
                })
                .sum()
        };
        let mut begin = (off(0.0, 0.0), 0.0, 0.0);
        for (x, y) in STARTS {
            let here = off(x, y);
            if here < begin.0 {
                begin = (here, x, y);
            }
        }
        let (_, mut dx, mut dy) = begin;
        let mut first = (begin.1 == 0.0 && begin.2 == 0.0).then_some(());
        let mut unshifted = f32::MAX;
        let mut last = f32::MAX;
        for _ in 0..=ROUNDS {
            // Difference = gx·dx + gy·dy + luma·gain.
            let mut normal = [[0.0_f64; 4]; 3];
            let mut square = 0.0_f64;
            for &(i, gx, gy) in &self.places {
                let here = between(picture, self.width, self.rows, i, dx, dy);
                let off = f64::from(self.luma[i] - here);
                let row = [f64::from(gx), f64::from(gy), f64::from(self.luma[i])];
                square += off * off;
                for j in 0..3 {
                    for k in 0..3 {
                        normal[j][k] += row[j] * row[k];
                    }
                    normal[j][3] += row[j] * off;
                }
            }
            last = square as f32;
            if first.take().is_some() {
                unshifted = last;
            }
            let Some([sx, sy, _]) = solved(normal) else {
                return (0.0, 0.0);
            };
            dx += sx as f32;
            dy += sy as f32;
            if dx.abs().max(dy.abs()) > FARTHEST {
                return (0.0, 0.0);
            }
        }
        if last < BETTER * unshifted && dx.hypot(dy) > LEAST {
            (dx, dy)
        } else {
            (0.0, 0.0)
        }
    }
}

/// Value of a picture at a place shifted by (`dx`, `dy`).
fn between(picture: &[u16], width: usize, rows: usize, i: usize, dx: f32, dy: f32) -> f32 {
    let (x, y) = (
        ((i % width) as f32 + dx).clamp(0.0, (width - 2) as f32),
        ((i / width) as f32 + dy).clamp(0.0, (rows - 2) as f32),
    );
    let (column, row) = (x as usize, y as usize);
    let (fx, fy) = (x - column as f32, y - row as f32);
    let at = row * width + column;
    let mix = |a: u16, b: u16| f32::from(a) + (f32::from(b) - f32::from(a)) * fx;
    let upper = mix(picture[at], picture[at + 1]);
    let lower = mix(picture[at + width], picture[at + width + 1]);
    upper + (lower - upper) * fy
}

/// The same picture shifted back.
pub(super) fn shifted(picture: &mut Vec<u16>, width: usize, (dx, dy): (f32, f32)) {
    let rows = picture.len() / width.max(1);
    if (dx == 0.0 && dy == 0.0) || rows < 2 || width < 2 {
        return;
    }
    let out: Vec<u16> = (0..picture.len())
        .map(|i| (between(picture, width, rows, i, dx, dy) + 0.5) as u16)
        .collect();
    *picture = out;
}

/// Three unknowns by elimination.
fn solved(mut m: [[f64; 4]; 3]) -> Option<[f64; 3]> {
    for i in 0..3 {
        let pivot = (i..3).max_by(|&a, &b| m[a][i].abs().total_cmp(&m[b][i].abs()))?;
        m.swap(i, pivot);
        if m[i][i].abs() < 1e-6 {
            return None;
        }
        let lead = m[i];
        for (k, row) in m.iter_mut().enumerate() {
            if k != i {
                let factor = row[i] / lead[i];
                for (value, head) in row.iter_mut().zip(lead) {
                    *value -= factor * head;
                }
            }
        }
    }
    Some([m[0][3] / m[0][0], m[1][3] / m[1][1], m[2][3] / m[2][2]])
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_shift_is_found_and_taken_out() {
        let (w, h) = (80_usize, 60_usize);
        let draw = |dx: f32, dy: f32| -> Vec<u16> {
            (0..w * h)
                .map(|i| {
                    let (x, y) = ((i % w) as f32 - dx, (i / w) as f32 - dy);
                    let wave = (x * 0.3).sin() * 40.0 + (y * 0.25).cos() * 30.0;
                    ((100.0 + wave) * 16.0) as u16
                })
                .collect()
        };
        let edges = Edges::of(&draw(0.0, 0.0), w);
        let moved = draw(1.3, -0.7);
        let (dx, dy) = edges.shift(&moved);
        assert!(
            (dx - 1.3).abs() < 0.05 && (dy + 0.7).abs() < 0.05,
            "{dx} {dy}"
        );
        assert_eq!(edges.shift(&draw(0.0, 0.0)), (0.0, 0.0));
    }
}
