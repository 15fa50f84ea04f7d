//! Neighbours look alike: picks, from all guesses, the set of glasses of one kind and size that
//! stand side by side, and leaves out the odd ones.

use super::pose::Pose;
use crate::base::GlassKind;

/// A guessed glass of either kind, in working pixels.
#[derive(Clone, Copy, Debug)]
pub(super) struct Guess {
    /// Tube or port.
    pub kind: GlassKind,
    /// Middle and lean.
    pub pose: Pose,
    /// Extent across, pixels.
    pub width: f32,
    /// Extent along, pixels.
    pub height: f32,
    /// How surely a nozzle stands at its foot, 0 to 1.
    pub nozzle: f32,
    /// How surely a bead was seen to rise in it, 0 to 1.
    pub rose: f32,
    /// How much it looks like a glass by itself, 0 to 1.
    pub looks: f32,
    /// The same, and what was seen to rise in it.
    pub score: f32,
}

/// Most glasses of one lubricator.
pub(super) const MOST: usize = 8;
/// A guess below this adds nothing to a set.
const WORTHLESS: f32 = 0.25;
/// A guess this weak by itself still belongs to a set when it is like its pattern.
const WEAK: f32 = 0.1;
/// How alike it must be then.
const VERY_LIKE: f32 = 0.45;
/// A camera is pointed at the glasses: larger things count for more, by this power of their
/// height, so that eight rivets do not outweigh one port.
const PROMINENCE: f32 = 0.7;
/// What such a guess adds to a set: enough to prefer it to nothing.
const HELP: f32 = 0.04;
/// Guesses tried as the pattern of a set.
const PATTERNS: usize = 80;
/// How far off the line of a row a glass may lie, parts of its height.
const OFF_ROW: f32 = 0.12;
/// So many like rings outside the row are a crowd.
const CROWD: usize = 3;
/// What a set is worth in a crowd.
const CROWDED: f32 = 0.3;
/// Neighbours stand at least this far apart, in parts of their width.
const APART: f32 = 1.12;
/// A set at least this good, beside the best, is taken instead when its glasses are the same but
/// wider: the silhouette of a tube encloses the edge of its bore and looks no better than it.
const NEARLY: f32 = 0.8;

/// A row that climbs within this of the nozzles' lean tells the lean, too: 10°.
const ROW_AGREES: f32 = 0.175;
/// Weight, in squared glass widths, that keeps sizes level along the row.
const LEVEL: f32 = 2.0;

/// A set of glasses that look alike.
#[derive(Clone, Debug, Default)]
pub(super) struct Set {
    /// The members, from the left.
    pub glasses: Vec<Guess>,
    /// How much they explain together.
    pub total: f32,
    /// Whether rings like these stand all over the picture.
    pub crowded: bool,
}

/// The best set among the guesses; empty when there is none.
pub(super) fn alike(guesses: &[Guess]) -> Set {
    let mut order: Vec<&Guess> = guesses.iter().filter(|g| g.score > WEAK).collect();
    order.sort_by(|a, b| b.score.total_cmp(&a.score));
    let sets: Vec<Set> = order
        .iter()
        .take(PATTERNS)
        .map(|pattern| set_like(pattern, &order, guesses))
        .collect();
    let Some(mut best) = sets
        .iter()
        .max_by(|a, b| a.total.total_cmp(&b.total))
        .cloned()
    else {
        return Set::default();
    };
    let bar = NEARLY * looks(&best);
    let settle = |mut set: Set| {
        for _ in 0..2 {
            agree(&mut set, &order);
        }
        lean_alike(&mut set);
        set
    };
    let proven = |mut set: Set| {
        for glass in &mut set.glasses {
            let proof = guesses
                .iter()
                .filter(|other| nearly_same(glass, other))
                .map(|other| other.score)
                .fold(glass.score, f32::max);
            glass.score = proof;
        }
        set
    };
    loop {
        let wider = sets
            .iter()
            .filter(|set| looks(set) >= bar && encloses(set, &best))
            .min_by(|a, b| mean_width(a).total_cmp(&mean_width(b)));
        match wider {
            Some(set) => best = set.clone(),
            None => return proven(settle(best)),
        }
    }
}

/// Whether two guesses are of one glass, so that what speaks for one speaks for the other: which of
/// several edges side by side is taken depends on the neighbours.
fn nearly_same(a: &Guess, b: &Guess) -> bool {
    let (u, v) = a.pose.frame(b.pose.x, b.pose.y);
    a.kind == b.kind
        && u.abs() < 0.1 * a.width
        && v.abs() < 0.08 * a.height
        && (b.width / a.width).ln().abs() < 0.2
        && (b.height / a.height).ln().abs() < 0.12
}

/// How good the glasses of a set look, motion aside: motion says where beads rise, not how wide
/// their glass is.
fn looks(set: &Set) -> f32 {
    set.glasses.iter().map(|g| g.looks).sum::<f32>()
}

fn mean_width(set: &Set) -> f32 {
    set.glasses.iter().map(|g| g.width).sum::<f32>() / set.glasses.len().max(1) as f32
}

/// Whether `outer` holds the same tubes as `inner`, on the same axes, a little wider.
fn encloses(outer: &Set, inner: &Set) -> bool {
    let ratio = mean_width(outer) / mean_width(inner);
    outer.glasses.len() >= inner.glasses.len()
        && ratio > 1.02
        && ratio < 1.4
        && inner.glasses.iter().all(|small| {
            outer.glasses.iter().any(|large| {
                let (u, v) = large.pose.frame(small.pose.x, small.pose.y);
                large.kind == GlassKind::Tube
                    && small.kind == GlassKind::Tube
                    && u.abs() < 0.06 * large.width
                    && v.abs() < 0.1 * large.height
            })
        })
}

/// Everything that looks like `pattern` and stands beside it.
fn set_like(pattern: &Guess, order: &[&Guess], all: &[Guess]) -> Set {
    let mut near: Vec<(f32, &Guess)> = order
        .iter()
        .filter_map(|guess| {
            let like = likeness(pattern, guess);
            let worth = guess.score * like;
            let stands = guess.nozzle.max(guess.rose) > WEAK || guess.kind == GlassKind::Port;
            (worth > WORTHLESS || (like > VERY_LIKE && stands)).then_some((worth, *guess))
        })
        .collect();
    near.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut glasses: Vec<Guess> = vec![*pattern];
    let mut total = pattern.score - WORTHLESS;
    for (worth, guess) in near {
        if glasses.len() >= MOST {
            break;
        }
        let in_row = match glasses.get(1) {
            // Glasses in a row lie on a straight line however the camera is turned.
            Some(second) => {
                let (dx, dy) = (
                    second.pose.x - pattern.pose.x,
                    second.pose.y - pattern.pose.y,
                );
                let (px, py) = (guess.pose.x - pattern.pose.x, guess.pose.y - pattern.pose.y);
                let off = (px * dy - py * dx).abs() / dx.hypot(dy).max(1.0);
                off < (OFF_ROW + 0.03 * px.abs() / dx.abs().max(1.0)) * pattern.height
            }
            None => true,
        };
        let apart = in_row
            && glasses.iter().all(|other| {
                let (u, _) = other.pose.frame(guess.pose.x, guess.pose.y);
                u.abs() > APART * f32::midpoint(other.width, guess.width)
            });
        if apart {
            glasses.push(*guess);
            total += (worth - WORTHLESS).max(HELP);
        }
    }
    glasses.sort_by(|a, b| a.pose.x.total_cmp(&b.pose.x));
    // A crowd of the same rings all over the picture is a pattern of something else.
    let crowded = crowd(pattern, &glasses, all) >= CROWD;
    if crowded {
        total *= CROWDED;
    }
    total *= pattern.height.powf(PROMINENCE);
    Set {
        glasses,
        total,
        crowded,
    }
}

/// How many places off the row have a ring of the same size.
fn crowd(pattern: &Guess, glasses: &[Guess], all: &[Guess]) -> usize {
    if pattern.kind != GlassKind::Port {
        return 0;
    }
    let (Some(first), Some(last)) = (glasses.first(), glasses.last()) else {
        return 0;
    };
    let (dx, dy) = (last.pose.x - first.pose.x, last.pose.y - first.pose.y);
    let length = dx.hypot(dy);
    let mut places: Vec<(f32, f32)> = Vec::new();
    for guess in all.iter().filter(|g| g.kind == GlassKind::Port) {
        let (x, y) = (guess.pose.x, guess.pose.y);
        let far = |ox: f32, oy: f32| (x - ox).hypot(y - oy) > 0.7 * pattern.width;
        let (px, py) = (x - first.pose.x, y - first.pose.y);
        let off_row = length < 1.0 || (px * dy - py * dx).abs() / length > 0.3 * pattern.height;
        if off_row
            && (guess.width / pattern.width).ln().abs() < 0.15
            && (guess.height / pattern.height).ln().abs() < 0.15
            && glasses.iter().all(|g| far(g.pose.x, g.pose.y))
            && places.iter().all(|p| far(p.0, p.1))
        {
            places.push((x, y));
        }
    }
    places.len()
}

/// Takes, for each glass of a set, the guess that agrees best with what the others foretell of its
/// size and place; one glass whose upper fitting was missed is set right by its neighbours.
fn agree(set: &mut Set, order: &[&Guess]) {
    if set.glasses.len() < 3 {
        return;
    }
    let before = set.glasses.clone();
    for (index, slot) in set.glasses.iter_mut().enumerate() {
        let here = before[index];
        // Size and place of the others against their distance from here: a line, held level by a
        // weight, because a turned camera changes sizes slowly.
        let others: Vec<(f32, f32, [f32; 3])> = before
            .iter()
            .enumerate()
            .filter(|(other, _)| *other != index)
            .map(|(_, g)| {
                let (u, v) = here.pose.frame(g.pose.x, g.pose.y);
                (
                    g.score.max(0.05).powi(3),
                    u / here.width,
                    [g.width.ln(), g.height.ln(), v / here.width],
                )
            })
            .collect();
        let foretold: [f32; 3] = std::array::from_fn(|k| {
            let level = if k == 2 { 0.05 } else { LEVEL };
            let sum = |f: &dyn Fn(f32, f32) -> f32| -> f32 {
                others.iter().map(|(w, u, q)| w * f(*u, q[k])).sum()
            };
            let (n, su, sq) = (sum(&|_, _| 1.0), sum(&|u, _| u), sum(&|_, q| q));
            let (suu, suq) = (sum(&|u, _| u * u), sum(&|u, q| u * q));
            let spread = suu - su * su / n;
            let tilt = (suq - su * sq / n) / (spread + level * n);
            (sq - tilt * su) / n
        });
        let best = order
            .iter()
            .filter(|g| g.kind == here.kind)
            .filter_map(|g| {
                let (u, v) = here.pose.frame(g.pose.x, g.pose.y);
                let off = [
                    (g.width.ln() - foretold[0]) / 0.05,
                    (g.height.ln() - foretold[1]) / 0.05,
                    (v / here.width - foretold[2]) / 0.12,
                ];
                let misfit = off.iter().map(|o| o * o).sum::<f32>();
                (u.abs() < 0.2 * here.width).then(|| (g.score * (-0.5 * misfit).exp(), **g))
            })
            .max_by(|a, b| a.0.total_cmp(&b.0));
        if let Some((_, guess)) = best {
            *slot = guess;
        }
    }
}

/// Gives all ports the lean that their nozzles and their row show together: one short nozzle shows
/// it badly, and a row climbs a little when the camera looks from one side.
fn lean_alike(set: &mut Set) {
    let ports = set.glasses.iter().filter(|g| g.kind == GlassKind::Port);
    let (mut cos, mut sin) = (0.0, 0.0);
    for port in ports {
        cos += port.nozzle * port.pose.cos;
        sin += port.nozzle * port.pose.sin;
    }
    if cos.hypot(sin) <= 0.0 {
        return;
    }
    let mut lean = sin.atan2(cos);
    if let [first, .., last] = &set.glasses[..] {
        let row = (last.pose.y - first.pose.y).atan2(last.pose.x - first.pose.x);
        if (row - lean).abs() < ROW_AGREES {
            lean = f32::midpoint(row, lean);
        }
    }
    for port in set.glasses.iter_mut().filter(|g| g.kind == GlassKind::Port) {
        (port.pose.sin, port.pose.cos) = lean.sin_cos();
    }
}

/// How alike two guesses are, 0 to 1: kind, size, lean, and standing side by side. Farther
/// neighbours may differ more, because the camera may be turned.
fn likeness(pattern: &Guess, guess: &Guess) -> f32 {
    if pattern.kind != guess.kind {
        return 0.0;
    }
    let (u, v) = pattern.pose.frame(guess.pose.x, guess.pose.y);
    let distance = (u.abs() / pattern.width).min(12.0);
    let wider = (guess.width / pattern.width).ln();
    let taller = (guess.height / pattern.height).ln();
    let lean = (guess.pose.angle_deg() - pattern.pose.angle_deg()).abs();
    // Off the line across: a turned camera lets the row climb. A tube shows its lean, so its row is
    // known to a quarter; the lean of a port is only that of its short nozzle, so any roll is
    // allowed for.
    let (lean_allowed, climb) = match pattern.kind {
        GlassKind::Tube => (1.5, v.abs() / (0.15 * pattern.height + 0.25 * u.abs())),
        GlassKind::Port => {
            let (dx, dy) = (guess.pose.x - pattern.pose.x, guess.pose.y - pattern.pose.y);
            (20.0, dy.abs() / (0.15 * pattern.height + 0.42 * dx.abs()))
        }
    };
    let size_allowed = match pattern.kind {
        GlassKind::Tube => 0.05 + 0.012 * distance,
        GlassKind::Port => 0.07 + 0.012 * distance,
    };
    let misfit = (wider / size_allowed).powi(2)
        + (taller / (size_allowed + 0.02)).powi(2)
        + (lean / lean_allowed).powi(2) * 0.5
        + climb.powi(4);
    (-0.5 * misfit).exp()
}
