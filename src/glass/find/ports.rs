//! Guesses of round ports: closed rings, nearly circular, with a nozzle at the foot.

use super::group::Guess;
use super::nozzle::{Within, nozzles};
use super::patch::Patch;
use super::plane::Slopes;
use super::pose::Pose;
use crate::base::GlassKind;

/// Rays cast from a centre to look for its rim.
const RAYS: usize = 80;
/// Smallest radius of a port, working pixels.
const SMALLEST_PX: f32 = 9.0;
/// Largest radius of a port, part of the picture's width.
const LARGEST: f32 = 0.2;
/// Centres looked at more closely.
const CENTRES: usize = 48;
/// Part of the rim that must show.
const RIM_SHOWN: f32 = 0.55;
/// Flattest ring: half the difference of the axes over their mean. A port turned 25° has 0.05.
const FLATTEST: f32 = 0.09;

/// A ring: distance of the rim from (x, y) by direction, as
/// r0 + c1 cos φ + s1 sin φ + c2 cos 2φ + s2 sin 2φ.
#[derive(Clone, Copy, Debug)]
struct Ring {
    x: f32,
    y: f32,
    terms: [f32; 5],
    shown: f32,
    contrast: f32,
    /// How far all of it is brighter on the same side, 0 to 1.
    agreed: f32,
}

impl Ring {
    fn radius(&self, phi: f32) -> f32 {
        let t = &self.terms;
        t[0] + t[1] * phi.cos()
            + t[2] * phi.sin()
            + t[3] * (2.0 * phi).cos()
            + t[4] * (2.0 * phi).sin()
    }
}

/// All plausible ports.
pub(super) fn port_guesses(slopes: &Slopes, threshold: f32) -> Vec<Guess> {
    let largest = (slopes.width as f32 * LARGEST).min(slopes.height as f32 * 0.5);
    let mut rings: Vec<Ring> = Vec::new();
    for (x, y) in centres(slopes, threshold, largest) {
        rings_about(slopes, x, y, threshold, largest, &mut rings);
    }
    let mut guesses: Vec<(f32, Guess)> = rings
        .iter()
        .filter_map(|ring| Some((ring.shown, with_nozzle(slopes, ring, threshold)?)))
        .collect();
    // Of nested rings the innermost that holds the nozzle is the window; those outside are its
    // frame.
    let inner = guesses.clone();
    for (_, guess) in &mut guesses {
        let framed = inner.iter().any(|(shown, other)| {
            let apart = (other.pose.x - guess.pose.x).hypot(other.pose.y - guess.pose.y);
            *shown > WHOLE
                && other.nozzle > 0.6 * guess.nozzle
                && other.width < 0.95 * guess.width
                && other.width > 0.6 * guess.width
                && apart + 0.5 * other.width < 0.53 * guess.width
        });
        if framed {
            guess.score *= FRAME;
        }
    }
    guesses.into_iter().map(|g| g.1).collect()
}

/// Part of a ring that shows when it may be called whole.
const WHOLE: f32 = 0.9;
/// What a ring round another is worth.
const FRAME: f32 = 0.6;

/// Where many edges point at: likely centres of rings, best first.
fn centres(slopes: &Slopes, threshold: f32, largest: f32) -> Vec<(f32, f32)> {
    let cell = 2.0_f32;
    let (width, height) = (
        (slopes.width as f32 / cell) as usize + 1,
        (slopes.height as f32 / cell) as usize + 1,
    );
    let mut votes = vec![0.0_f32; width * height];
    for y in 1..slopes.height.saturating_sub(1) {
        for x in 1..slopes.width.saturating_sub(1) {
            let index = y * slopes.width + x;
            let (gx, gy) = (slopes.across[index], slopes.down[index]);
            let size = gx.hypot(gy);
            if size < threshold {
                continue;
            }
            let (dx, dy) = (gx / size, gy / size);
            // Only the crest of an edge votes.
            let (px, py) = (x as f32 + 0.5, y as f32 + 0.5);
            let ahead = slopes.at(px + dx, py + dy);
            let behind = slopes.at(px - dx, py - dy);
            if ahead.0.hypot(ahead.1) > size || behind.0.hypot(behind.1) >= size {
                continue;
            }
            for way in [-1.0_f32, 1.0] {
                let mut r = SMALLEST_PX;
                while r <= largest {
                    let (cx, cy) = (px + way * dx * r, py + way * dy * r);
                    if cx < 0.0 || cy < 0.0 {
                        break;
                    }
                    let (column, row) = ((cx / cell) as usize, (cy / cell) as usize);
                    if column >= width || row >= height {
                        break;
                    }
                    votes[row * width + column] += 1.0 / r;
                    r += cell;
                }
            }
        }
    }
    // Smooth by three cells, then take the crests.
    let smooth = {
        let mut out = vec![0.0_f32; width * height];
        for y in 1..height.saturating_sub(1) {
            for x in 1..width.saturating_sub(1) {
                let mut sum = 0.0;
                for row in y - 1..=y + 1 {
                    for column in x - 1..=x + 1 {
                        sum += votes[row * width + column];
                    }
                }
                out[y * width + x] = sum;
            }
        }
        out
    };
    let mut found: Vec<(f32, f32, f32)> = Vec::new();
    for y in 2..height.saturating_sub(2) {
        for x in 2..width.saturating_sub(2) {
            let here = smooth[y * width + x];
            if here <= 0.5 {
                continue;
            }
            let crest = (y - 2..=y + 2)
                .all(|row| (x - 2..=x + 2).all(|column| smooth[row * width + column] <= here));
            if crest {
                found.push((here, (x as f32 + 0.5) * cell, (y as f32 + 0.5) * cell));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(CENTRES);
    found.into_iter().map(|(_, x, y)| (x, y)).collect()
}

/// Rings about one centre.
fn rings_about(
    slopes: &Slopes,
    x: f32,
    y: f32,
    threshold: f32,
    largest: f32,
    rings: &mut Vec<Ring>,
) {
    let Some(start) = crests(slopes, x, y, threshold, (SMALLEST_PX - 3.0, 1.15 * largest)) else {
        return;
    };
    // How many rays have a crest at each radius.
    let bins = largest as usize + 2;
    let mut count = vec![0.0_f32; bins];
    for ray in &start {
        for &(r, _) in ray {
            if (r as usize) < bins {
                count[r as usize] += 1.0;
            }
        }
    }
    let near = |r: usize| -> f32 {
        let spread = 1 + r / 25;
        count[r.saturating_sub(spread)..(r + spread + 1).min(bins)]
            .iter()
            .sum()
    };
    for r in SMALLEST_PX as usize..bins {
        let here = near(r);
        if here < 0.25 * RAYS as f32 {
            continue;
        }
        let (low, high) = (r.saturating_sub(2), (r + 2).min(bins - 1));
        if (low..=high).any(|q| near(q) > here || (q < r && near(q) >= here)) {
            continue;
        }
        if let Some(ring) = settle(slopes, x, y, r as f32 + 0.5, threshold, &start) {
            let twin = rings.iter().any(|other| {
                (other.x - ring.x).hypot(other.y - ring.y) < 1.5
                    && (other.terms[0] - ring.terms[0]).abs() < 1.5
            });
            if !twin {
                rings.push(ring);
            }
        }
    }
}

type Crests = Vec<Vec<(f32, f32)>>;

/// Along rays from a centre, the places where luma changes fastest outwards, with the slope.
/// None when the centre is too near the picture's border.
fn crests(slopes: &Slopes, x: f32, y: f32, threshold: f32, span: (f32, f32)) -> Option<Crests> {
    if x < SMALLEST_PX
        || y < SMALLEST_PX
        || x > slopes.width as f32 - SMALLEST_PX
        || y > slopes.height as f32 - SMALLEST_PX
    {
        return None;
    }
    let first = span.0.max(2.0) as usize;
    let last = (span.1 as usize).max(first + 3);
    let mut values = vec![0.0_f32; last + 1];
    Some(
        (0..RAYS)
            .map(|ray| {
                let (sin, cos) = direction(ray).sin_cos();
                for (r, value) in values.iter_mut().enumerate().skip(first) {
                    let (gx, gy) = slopes.at(x + r as f32 * cos, y + r as f32 * sin);
                    let outward = gx * cos + gy * sin;
                    let beside = gy * cos - gx * sin;
                    *value = if outward.abs() > beside.abs() {
                        outward
                    } else {
                        0.0
                    };
                }
                let mut list = Vec::new();
                for r in first + 1..last {
                    let (a, b, c) = (values[r - 1].abs(), values[r].abs(), values[r + 1].abs());
                    if b >= threshold && b > a && b >= c {
                        let bend = a - 2.0 * b + c;
                        let shift = if bend < 0.0 {
                            (a - c) / (2.0 * bend)
                        } else {
                            0.0
                        };
                        list.push((r as f32 + shift.clamp(-0.5, 0.5), values[r]));
                    }
                }
                list
            })
            .collect(),
    )
}

fn direction(ray: usize) -> f32 {
    ray as f32 * std::f32::consts::TAU / RAYS as f32
}

/// Fits a ring near radius `r` and measures how much of it shows.
fn settle(slopes: &Slopes, x: f32, y: f32, r: f32, threshold: f32, start: &Crests) -> Option<Ring> {
    let mut ring = Ring {
        x,
        y,
        terms: [r, 0.0, 0.0, 0.0, 0.0],
        shown: 0.0,
        contrast: 0.0,
        agreed: 0.0,
    };
    let mut fresh: Option<Crests> = None;
    for (round, slack) in [0.10_f32, 0.07, 0.05, 0.035, 0.03].into_iter().enumerate() {
        let list = fresh.as_ref().unwrap_or(start);
        let mut points: Vec<(f32, f32, f32)> = Vec::new();
        for (ray, crests) in list.iter().enumerate() {
            let phi = direction(ray);
            let expected = ring.radius(phi);
            let allowed = 1.5 + slack * expected;
            // The nearest crest, a strong one preferred to a weak one.
            let best = crests
                .iter()
                .filter(|c| (c.0 - expected).abs() <= allowed)
                .map(|c| {
                    (
                        c.0,
                        c.1,
                        (c.0 - expected).abs() / allowed
                            - 0.5 * (c.1.abs() / (8.0 * threshold)).min(1.0),
                    )
                })
                .min_by(|a, b| a.2.total_cmp(&b.2));
            if let Some((radius, slope, _)) = best {
                points.push((phi, radius, slope));
            }
        }
        ring.shown = points.len() as f32 / RAYS as f32;
        if ring.shown < 0.4 {
            return None;
        }
        ring.contrast = points.iter().map(|p| p.2.abs()).sum::<f32>() / points.len().max(1) as f32;
        ring.agreed = {
            let signed: f32 = points
                .iter()
                .map(|p| p.2.clamp(-4.0 * threshold, 4.0 * threshold))
                .sum();
            let sized: f32 = points.iter().map(|p| p.2.abs().min(4.0 * threshold)).sum();
            (signed / sized.max(1e-6)).abs()
        };
        ring.terms = fit(&points, if round == 0 { 3 } else { 5 })?;
        let t = ring.terms;
        if t[3].hypot(t[4]) > FLATTEST * t[0] || t[1].hypot(t[2]) > 0.35 * t[0] {
            return None;
        }
        if t[1].hypot(t[2]) > 0.02 * t[0] + 0.3 {
            // Move the centre there and look again from it.
            ring.x += t[1];
            ring.y += t[2];
            ring.terms[1] = 0.0;
            ring.terms[2] = 0.0;
            fresh = crests(
                slopes,
                ring.x,
                ring.y,
                threshold,
                (0.7 * t[0] - 4.0, 1.3 * t[0] + 4.0),
            );
            fresh.as_ref()?;
        }
    }
    let t = ring.terms;
    (ring.shown >= RIM_SHOWN && t[0] >= SMALLEST_PX).then_some(ring)
}

/// Least squares for the first `count` terms of a ring.
fn fit(points: &[(f32, f32, f32)], count: usize) -> Option<[f32; 5]> {
    let mut normal = [[0.0_f64; 6]; 5];
    for &(phi, radius, _) in points {
        let phi = f64::from(phi);
        let row = [
            1.0,
            phi.cos(),
            phi.sin(),
            (2.0 * phi).cos(),
            (2.0 * phi).sin(),
        ];
        for i in 0..count {
            for j in 0..count {
                normal[i][j] += row[i] * row[j];
            }
            normal[i][5] += row[i] * f64::from(radius);
        }
    }
    // Gauss-Jordan with the largest pivot.
    for i in 0..count {
        let pivot =
            (i..count).max_by(|&a, &b| normal[a][i].abs().total_cmp(&normal[b][i].abs()))?;
        normal.swap(i, pivot);
        if normal[i][i].abs() < 1e-6 {
            return None;
        }
        let lead = normal[i];
        for (k, row) in normal.iter_mut().enumerate().take(count) {
            if k != i {
                let factor = row[i] / lead[i];
                for (value, head) in row.iter_mut().zip(lead) {
                    *value -= factor * head;
                }
            }
        }
    }
    let mut terms = [0.0_f32; 5];
    for i in 0..count {
        terms[i] = (normal[i][5] / normal[i][i]) as f32;
    }
    Some(terms)
}

/// Finest step of the search for a nozzle, part of the port's width.
const FINEST: f32 = 1.0 / 70.0;
/// How far the nozzle may stand off the middle of the ring, part of its width: it stands behind
/// the window, so a camera that looks from one side sees it displaced.
const OFF_AXIS: f32 = 0.13;
/// Narrowest and widest nozzle, part of the port's width.
const NARROW: f32 = 0.04;
const WIDE: f32 = 0.45;

/// Turns about the ring's own at which a nozzle is looked for, degrees: the camera may be rolled.
const LEANS_DEG: [f32; 5] = [0.0, -8.0, 8.0, -16.0, 16.0];
/// Half the distance of those: tried on both sides of the best.
const HALF_WAY_DEG: f32 = 4.0;
/// Turns at which there must be nothing like a nozzle, degrees from it: the marks of a dial and
/// the bolts of a frame stand all round.
const ELSEWHERE_DEG: [f32; 5] = [70.0, 125.0, 180.0, 235.0, 290.0];
/// Part of a rim with marks at which its nozzle is half believed.
const MARKED: f32 = 0.4;
/// How far the blur of a rim reaches inwards, working pixels.
const RIM_PX: f32 = 3.0;
/// Part of the inside of a ring with strong edges at which it is half believed.
const BUSY: f32 = 0.18;

/// Turns a ring into a guess by looking for its nozzle at several leans.
fn with_nozzle(slopes: &Slopes, ring: &Ring, threshold: f32) -> Option<Guess> {
    let whole = ((ring.shown - 0.45) / 0.45).clamp(0.0, 1.0);
    let agreed = ((ring.agreed - 0.15) / 0.5).clamp(0.0, 1.0);
    let firm = ring.contrast / (ring.contrast + threshold);
    let quiet = 1.0 / (1.0 + (busy(slopes, ring, threshold) / BUSY).powi(2));
    let sound = whole * (0.6 + 0.4 * agreed) * firm * quiet;
    if sound < 0.1 {
        return None;
    }
    let (mut best, mut lean_deg) = (0.0_f32, 0.0_f32);
    let mut try_at = |degrees: f32| {
        let worth = post_at(slopes, ring, degrees, threshold) * (1.0 - 0.0025 * degrees.abs());
        if worth > best {
            (best, lean_deg) = (worth, degrees);
        }
        lean_deg
    };
    let coarse = LEANS_DEG.into_iter().map(&mut try_at).last().unwrap_or(0.0);
    for degrees in [coarse - HALF_WAY_DEG, coarse + HALF_WAY_DEG] {
        try_at(degrees);
    }
    if best > 0.2 {
        let elsewhere = ELSEWHERE_DEG
            .iter()
            .map(|d| post_at(slopes, ring, lean_deg + d, threshold))
            .sum::<f32>()
            / ELSEWHERE_DEG.len() as f32;
        best *= (1.4 * (1.0 - elsewhere / best)).clamp(0.0, 1.0);
    }
    let turn = lean_deg.to_radians();
    let (sin, cos) = turn.sin_cos();
    let down = turn + std::f32::consts::FRAC_PI_2;
    best /= 1.0 + (marked_rim(slopes, ring, down, threshold) / MARKED).powi(4);
    let score = sound * (0.2 + 0.8 * best);
    Some(Guess {
        kind: GlassKind::Port,
        pose: Pose {
            x: ring.x,
            y: ring.y,
            cos,
            sin,
        },
        width: ring.radius(turn) + ring.radius(turn + std::f32::consts::PI),
        height: ring.radius(down) + ring.radius(down + std::f32::consts::PI),
        nozzle: best,
        rose: 0.0,
        looks: score,
        score,
    })
}

/// How surely a post stands on the rim where the axis, turned by `degrees`, meets it; 0 to 1.
fn post_at(slopes: &Slopes, ring: &Ring, degrees: f32, threshold: f32) -> f32 {
    let turn = degrees.to_radians();
    let (sin, cos) = turn.sin_cos();
    let pose = Pose {
        x: ring.x,
        y: ring.y,
        cos,
        sin,
    };
    let down = turn + std::f32::consts::FRAC_PI_2;
    let (foot, head) = (ring.radius(down), ring.radius(down + std::f32::consts::PI));
    let width = ring.radius(turn) + ring.radius(turn + std::f32::consts::PI);
    let step = (width * FINEST).max(1.0);
    let patch = Patch::cut(slopes, pose, 0.4 * width, -head, foot, step);
    let within = Within::Ellipse {
        across: width / 2.0,
        along: f32::midpoint(foot, head),
    };
    nozzles(&patch, within, -head, foot, threshold)
        .iter()
        .filter(|n| (NARROW..=WIDE).contains(&(n.width / width)))
        .map(|n| n.score * (-0.5 * (n.across / (OFF_AXIS * width)).powi(2)).exp())
        .fold(0.0, f32::max)
}

/// Part of the rim, but for the nozzle's part of it, with marks just inside it: dials have them all
/// round.
fn marked_rim(slopes: &Slopes, ring: &Ring, down: f32, threshold: f32) -> f32 {
    /// Places looked at, parts of the radius.
    const PLACES: [f32; 3] = [0.78, 0.84, 0.9];
    let strong = (1.5 * threshold).max(0.15 * ring.contrast);
    let (mut all, mut marks) = (0_u32, 0_u32);
    for ray in 0..RAYS {
        let phi = direction(ray);
        // Within 40° of the nozzle.
        if (phi - down).cos() > 0.77 {
            continue;
        }
        let r = ring.radius(phi);
        let (sin, cos) = phi.sin_cos();
        let hit = PLACES.iter().any(|place| {
            let r = (place * r).min(r - RIM_PX);
            let (gx, gy) = slopes.at(ring.x + r * cos, ring.y + r * sin);
            // Marks run outwards: their edges face along the rim.
            (gy * cos - gx * sin).abs() > strong
        });
        all += 1;
        marks += u32::from(hit);
    }
    marks as f32 / all.max(1) as f32
}

/// Part of the inside of a ring that bears strong edges, 0 to 1.
fn busy(slopes: &Slopes, ring: &Ring, threshold: f32) -> f32 {
    let strong = (1.5 * threshold).max(0.15 * ring.contrast);
    let r = ring.terms[0];
    let step = (r / 20.0).max(1.0);
    let (mut all, mut marks) = (0_u32, 0_u32);
    let count = (r / step) as i32;
    for i in -count..=count {
        for j in -count..=count {
            let (x, y) = (i as f32 * step, j as f32 * step);
            if x.hypot(y) < r - (0.15 * r).max(RIM_PX) {
                let (gx, gy) = slopes.at(ring.x + x, ring.y + y);
                all += 1;
                marks += u32::from(gx.hypot(gy) > strong);
            }
        }
    }
    marks as f32 / all.max(1) as f32
}
