//! Spots of one frame linked with those of the next where they rise: straight, steadily, and as
//! fast for their size as beads of oil and bubbles of gas do in water.

/// A spot that stands out in a small copy of a frame; its pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Spot {
    pub x: f32,
    pub y: f32,
    pub width: f32,
    pub height: f32,
    pub weight: f32,
}

/// Something that rose.
#[derive(Clone, Copy, Debug)]
pub(super) struct Rose {
    /// When, seconds.
    pub begun: f32,
    pub foot: (f32, f32),
    pub head: (f32, f32),
    pub width: f32,
}

/// Fewest pixels of a spot.
const FEWEST_PIXELS: usize = 3;
/// Greatest width of a spot, part of the picture's width; and its height in widths, seen blurred by
/// its own speed.
const WIDEST: f32 = 0.16;
const TALLEST: f32 = 4.5;
/// Most spots of one frame: the strongest.
const MOST_SPOTS: usize = 48;
/// Diameters a second at which things rise in water: oil 16 to 31, gas up to 150; and slower by
/// half, since the width of a spot is not its diameter.
const SPEEDS: (f32, f32) = (6.0, 160.0);
/// Frames a track may miss.
const MISSED: usize = 2;
/// Fewest places of a track that is believed by itself, and of one that is as wide as a bead worth
/// counting is in the small copies.
const FEWEST_PLACES: usize = 5;
const FEWEST_WIDE: usize = 4;
const WIDE: f32 = 4.0;
/// Narrowest thing believed in fewer places, pixels.
const NARROWEST: f32 = 3.0;
/// Fewest of one that is believed because another rose in the same place: at 15 frames a second a
/// bead is seen so often on its way across a small port.
const FEWEST_REPEATED: usize = 3;
/// How near each other repeated paths run, parts of the width, and pixels.
const SAME_PATH: (f32, f32) = (0.5, 1.0);
/// How far it must rise at least, in widths: by itself, in fewer places, and when another rose in the
/// same place.
const RISES: f32 = 2.5;
const RISES_WIDE: f32 = 2.0;
const RISES_REPEATED: f32 = 1.2;
/// The same in pixels: by itself, and repeated.
const RISES_PX: (f32, f32) = (10.0, 7.0);
/// How far a place may lie off the steady rise, part of the whole rise (one deviation), and pixels.
const UNSTEADY: (f32, f32) = (0.04, 0.7);
/// The same across, in widths and in pixels.
const CROOKED: (f32, f32) = (0.2, 0.7);
/// Steepest lean of a path: tan 20°.
const STEEPEST: f32 = 0.36;

/// The spots of one frame; `out` is used up.
pub(super) fn spots(out: &mut [f32], width: usize) -> Vec<Spot> {
    let rows = out.len() / width.max(1);
    let mut spots = Vec::new();
    let mut stack: Vec<usize> = Vec::new();
    for start in 0..out.len() {
        if out[start] <= 0.0 {
            continue;
        }
        stack.push(start);
        let (mut weight, mut x, mut y, mut count) = (0.0, 0.0, 0.0, 0_usize);
        let (mut left, mut right, mut top, mut bottom) = (width, 0, rows, 0);
        while let Some(i) = stack.pop() {
            if out[i] <= 0.0 {
                continue;
            }
            let value = out[i].min(30.0);
            out[i] = 0.0;
            let (column, row) = (i % width, i / width);
            weight += value;
            x += value * column as f32;
            y += value * row as f32;
            count += 1;
            left = left.min(column);
            right = right.max(column);
            top = top.min(row);
            bottom = bottom.max(row);
            // Neighbours two away belong to it: the middle of a bead may look like water.
            for r in row.saturating_sub(2)..(row + 3).min(rows) {
                for c in column.saturating_sub(2)..(column + 3).min(width) {
                    if out[r * width + c] > 0.0 {
                        stack.push(r * width + c);
                    }
                }
            }
        }
        let (wide, tall) = ((right + 1 - left) as f32, (bottom + 1 - top) as f32);
        if count >= FEWEST_PIXELS && wide <= WIDEST * width as f32 && tall <= TALLEST * wide + 3.0 {
            spots.push(Spot {
                x: x / weight + 0.5,
                y: y / weight + 0.5,
                width: wide,
                height: tall,
                weight,
            });
        }
    }
    if spots.len() > MOST_SPOTS {
        spots.sort_by(|a, b| b.weight.total_cmp(&a.weight));
        spots.truncate(MOST_SPOTS);
    }
    spots
}

struct Track {
    places: Vec<(f32, Spot)>,
    missed: usize,
}

impl Track {
    /// Where it should be at a time, and how far off it may be.
    fn expects(&self, at: f32) -> (f32, f32, f32, f32) {
        let (t1, last) = self.places[self.places.len() - 1];
        let dt = at - t1;
        if self.places.len() < 2 {
            // Anywhere above, as far as the fastest rise.
            let far = SPEEDS.1.min(60.0) * last.width * dt;
            let least = SPEEDS.0 * 0.5 * last.width * dt;
            return (
                last.x,
                last.y - f32::midpoint(least, far),
                0.2 * far + 1.5,
                (far - least) / 2.0 + 0.5,
            );
        }
        let back = self.places.len().saturating_sub(4);
        let (t0, first) = self.places[back];
        let (vx, vy) = (
            (last.x - first.x) / (t1 - t0),
            (last.y - first.y) / (t1 - t0),
        );
        (
            last.x + vx * dt,
            last.y + vy * dt,
            0.35 * last.width + 1.2,
            0.35 * (vy * dt).abs() + 1.5,
        )
    }
}

/// Everything that rose through the frames (time in seconds, spots).
pub(super) fn risers(frames: &[(f64, Vec<Spot>)]) -> Vec<Rose> {
    let start = frames.first().map_or(0.0, |f| f.0);
    let mut tracks: Vec<Track> = Vec::new();
    let mut rose: Vec<(usize, Rose)> = Vec::new();
    for (at_secs, spots) in frames {
        let at = (at_secs - start) as f32;
        let mut taken = vec![false; spots.len()];
        tracks.sort_by_key(|t| std::cmp::Reverse(t.places.len()));
        let mut open = Vec::with_capacity(tracks.len() + spots.len());
        for mut track in tracks.drain(..) {
            let (x, y, dx, dy) = track.expects(at);
            let last = track.places[track.places.len() - 1].1;
            let best = spots
                .iter()
                .enumerate()
                .filter(|(i, s)| {
                    let alike = s.width / last.width;
                    !taken[*i] && (0.4..2.5).contains(&alike) && s.y < last.y - 0.2
                })
                .map(|(i, s)| (i, ((s.x - x) / dx).hypot((s.y - y) / dy)))
                .filter(|(_, off)| *off < 1.0)
                .min_by(|a, b| a.1.total_cmp(&b.1));
            if let Some((i, _)) = best {
                // Young tracks share their spot: another may be the true one.
                taken[i] = track.places.len() >= 3;
                track.places.push((at, spots[i]));
                track.missed = 0;
                open.push(track);
            } else if track.missed < MISSED && track.places.len() > 1 {
                track.missed += 1;
                open.push(track);
            } else {
                rose.extend(judged(&track));
            }
        }
        for (i, spot) in spots.iter().enumerate() {
            if !taken[i] {
                open.push(Track {
                    places: vec![(at, *spot)],
                    missed: 0,
                });
            }
        }
        tracks = open;
    }
    rose.extend(tracks.iter().filter_map(judged));
    let believed = |i: usize, r: &(usize, Rose)| {
        let rise = r.1.foot.1 - r.1.head.1;
        let alone = rise > RISES_PX.0
            && (r.0 >= FEWEST_PLACES && rise > RISES * r.1.width
                || r.0 >= FEWEST_WIDE && r.1.width >= WIDE && rise > RISES_WIDE * r.1.width);
        alone
            || r.1.width >= NARROWEST
                && rose
                    .iter()
                    .enumerate()
                    .any(|(k, other)| k != i && repeats(&r.1, &other.1))
    };
    rose.iter()
        .enumerate()
        .filter(|(i, r)| believed(*i, r))
        .map(|(_, r)| r.1)
        .collect()
}

/// Whether two things of one size rose in the same place, one after the other.
fn repeats(a: &Rose, b: &Rose) -> bool {
    let (low, high) = (a.foot.1.min(b.foot.1), a.head.1.max(b.head.1));
    let at = |r: &Rose, y: f32| {
        let part = (y - r.head.1) / (r.foot.1 - r.head.1).max(1.0);
        r.head.0 + (r.foot.0 - r.head.0) * part
    };
    let common = low - high;
    let shorter = (a.foot.1 - a.head.1).min(b.foot.1 - b.head.1);
    let near = SAME_PATH.0 * f32::midpoint(a.width, b.width) + SAME_PATH.1;
    let alike = a.width / b.width;
    common > 0.5 * shorter
        && (0.6..1.7).contains(&alike)
        && (a.begun - b.begun).abs() > 0.2
        && (at(a, low) - at(b, low)).abs() < near
        && (at(a, high) - at(b, high)).abs() < near
}

/// A track as something that rose, when it did, and in how many places it was seen.
fn judged(track: &Track) -> Option<(usize, Rose)> {
    let places = trimmed(&track.places);
    let n = places.len();
    if n < FEWEST_REPEATED {
        return None;
    }
    let of = |f: &dyn Fn(&(f32, Spot)) -> f32| -> Vec<f32> { places.iter().map(f).collect() };
    let width = super::super::plane::median(&mut of(&|p| p.1.width));
    let (t, x, y) = (of(&|p| p.0), of(&|p| p.1.x), of(&|p| p.1.y));
    let rise = y[0] - y[n - 1];
    if rise < RISES_REPEATED * width || rise < RISES_PX.1 {
        return None;
    }
    let (y_off, speed) = straight(&t, &y);
    let (x_off, slope) = straight(&y, &x);
    let diameters = -speed / width;
    (y_off < UNSTEADY.0 * rise + UNSTEADY.1
        && x_off < CROOKED.0 * width + CROOKED.1
        && slope.abs() < STEEPEST
        && (SPEEDS.0..SPEEDS.1).contains(&diameters))
    .then(|| {
        let rose = Rose {
            begun: t[0],
            foot: (x[0], y[0]),
            head: (x[n - 1], y[n - 1]),
            width,
        };
        (n, rose)
    })
}

/// The places without those at both ends that do not lie on the line of the others: a speck of noise
/// ahead of a bead that has come to its end.
fn trimmed(places: &[(f32, Spot)]) -> &[(f32, Spot)] {
    let mut kept = places;
    while kept.len() > FEWEST_PLACES {
        let off = |end: &(f32, Spot), rest: &[(f32, Spot)]| -> f32 {
            let t: Vec<f32> = rest.iter().map(|p| p.0).collect();
            let y: Vec<f32> = rest.iter().map(|p| p.1.y).collect();
            let x: Vec<f32> = rest.iter().map(|p| p.1.x).collect();
            let n = rest.len() as f32;
            let mean = |v: &[f32]| v.iter().sum::<f32>() / n;
            let along = mean(&y) + straight(&t, &y).1 * (end.0 - mean(&t)) - end.1.y;
            let across = mean(&x) + straight(&t, &x).1 * (end.0 - mean(&t)) - end.1.x;
            along.abs().max(across.abs()) / (1.2 + 0.4 * end.1.height)
        };
        let (first, last) = (&kept[0], &kept[kept.len() - 1]);
        let head = off(last, &kept[..kept.len() - 1]);
        let foot = off(first, &kept[1..]);
        if head.max(foot) < 1.0 {
            break;
        }
        kept = if head > foot {
            &kept[..kept.len() - 1]
        } else {
            &kept[1..]
        };
    }
    kept
}

/// The line of `b` against `a`: how far off it lies (root mean square), and its slope.
fn straight(a: &[f32], b: &[f32]) -> (f32, f32) {
    let n = a.len() as f32;
    let (ma, mb) = (a.iter().sum::<f32>() / n, b.iter().sum::<f32>() / n);
    let (mut ab, mut aa) = (0.0, 0.0);
    for (p, q) in a.iter().zip(b) {
        ab += (p - ma) * (q - mb);
        aa += (p - ma) * (p - ma);
    }
    let slope = if aa > 0.0 { ab / aa } else { 0.0 };
    let square: f32 = a
        .iter()
        .zip(b)
        .map(|(p, q)| (q - mb - slope * (p - ma)).powi(2))
        .sum();
    ((square / n).sqrt(), slope)
}
