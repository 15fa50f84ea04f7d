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
    /// How much it looks like a glass by itself, 0 to 1.
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
/// Neighbours stand at least this far apart, in parts of their width.
const APART: f32 = 1.12;
/// A set at least this good, beside the best, is taken instead when its glasses are the same but
/// wider: the silhouette of a tube encloses the edge of its bore and looks no better than it.
const NEARLY: f32 = 0.8;

/// A set of glasses that look alike.
#[derive(Clone, Debug, Default)]
pub(super) struct Set {
    /// The members, from the left.
    pub glasses: Vec<Guess>,
    /// How much they explain together.
    pub total: f32,
}

/// The best set among the guesses; empty when there is none.
pub(super) fn alike(guesses: &[Guess]) -> Set {
    let mut order: Vec<&Guess> = guesses.iter().filter(|g| g.score > WEAK).collect();
    order.sort_by(|a, b| b.score.total_cmp(&a.score));
    let sets: Vec<Set> = order
        .iter()
        .take(PATTERNS)
        .map(|pattern| set_like(pattern, &order))
        .collect();
    let Some(mut best) = sets
        .iter()
        .max_by(|a, b| a.total.total_cmp(&b.total))
        .cloned()
    else {
        return Set::default();
    };
    let bar = NEARLY * best.total;
    loop {
        let wider = sets
            .iter()
            .filter(|set| set.total >= bar && encloses(set, &best))
            .min_by(|a, b| mean_width(a).total_cmp(&mean_width(b)));
        match wider {
            Some(set) => best = set.clone(),
            None => return best,
        }
    }
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
fn set_like(pattern: &Guess, order: &[&Guess]) -> Set {
    let mut near: Vec<(f32, &Guess)> = order
        .iter()
        .filter_map(|guess| {
            let like = likeness(pattern, guess);
            let worth = guess.score * like;
            (worth > WORTHLESS || (like > VERY_LIKE && guess.nozzle > WEAK))
                .then_some((worth, *guess))
        })
        .collect();
    near.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut glasses: Vec<Guess> = vec![*pattern];
    let mut total = pattern.score - WORTHLESS;
    for (worth, guess) in near {
        if glasses.len() >= MOST {
            break;
        }
        let apart = glasses.iter().all(|other| {
            let (u, _) = other.pose.frame(guess.pose.x, guess.pose.y);
            u.abs() > APART * f32::midpoint(other.width, guess.width)
        });
        if apart {
            glasses.push(*guess);
            total += (worth - WORTHLESS).max(HELP);
        }
    }
    total *= pattern.height.powf(PROMINENCE);
    glasses.sort_by(|a, b| a.pose.x.total_cmp(&b.pose.x));
    Set { glasses, total }
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
    let lean_allowed = match pattern.kind {
        GlassKind::Tube => 1.5,
        GlassKind::Port => 6.0,
    };
    // Off the line across: a turned camera lets the row climb, by a third of the way at most.
    let climb = v.abs() / (0.15 * pattern.height + 0.25 * u.abs());
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
