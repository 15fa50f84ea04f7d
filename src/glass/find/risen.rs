//! Glasses that only their beads show: where something rose beside glasses that were found, a glass
//! of the same kind and size stands, in line with them.

use super::group::{MOST, Set};
use super::motion::{Motion, Riser};

/// Beads must have risen through a found glass this surely to tell of others like it.
const SURE: f32 = 0.4;
/// And must rise this surely through the glass that is put there.
const FITS: f32 = 0.5;
/// How much such a glass looks like one: not at all by itself.
const LOOKS: f32 = 0.15;
/// Neighbours stand at least this far apart, in parts of their width.
const APART: f32 = 1.05;
/// Beads of one lubricator are of one size, to within this factor.
const ALIKE: f32 = 2.0;
/// So many things that rise where no glass is are noise, unless more rise in glasses.
const STRAYS: usize = 4;
/// Part of a picture's border, in parts of the glass's size, that a glass may lie outside.
const OUTSIDE: f32 = 0.1;

/// Adds what beads alone show to a set; `off_axis` as in [`Motion::rose_through`], `size` is the
/// picture's, working pixels.
pub(super) fn add_risen(set: &mut Set, risers: &[Riser], off_axis: f32, size: (f32, f32)) {
    let in_glass = |riser: &Riser| {
        set.glasses.iter().any(|g| {
            let (u, v) = g.pose.frame(
                f32::midpoint(riser.foot.0, riser.head.0),
                f32::midpoint(riser.foot.1, riser.head.1),
            );
            u.abs() < 0.5 * g.width && v.abs() < 0.5 * g.height
        })
    };
    let strays = risers.iter().filter(|r| !in_glass(r)).count();
    if strays > STRAYS && 2 * strays > risers.len() {
        return;
    }
    for riser in risers {
        if set.glasses.len() >= MOST {
            break;
        }
        let middle = (
            f32::midpoint(riser.foot.0, riser.head.0),
            f32::midpoint(riser.foot.1, riser.head.1),
        );
        // The nearest found glass that beads rose through, and where in it they did.
        let Some((model, height_in_model)) = set
            .glasses
            .iter()
            .filter(|g| g.rose > SURE)
            .filter_map(|g| {
                let own = risers.iter().find(|r| {
                    let (u, v) = g.pose.frame(
                        f32::midpoint(r.foot.0, r.head.0),
                        f32::midpoint(r.foot.1, r.head.1),
                    );
                    u.abs() < 0.4 * g.width && v.abs() < 0.5 * g.height
                })?;
                let (_, head) = g.pose.frame(own.head.0, own.head.1);
                let alike = riser.width / own.width.max(1.0);
                (1.0 / ALIKE..ALIKE).contains(&alike).then_some((*g, head))
            })
            .min_by(|a, b| {
                let far =
                    |g: &super::group::Guess| (g.pose.x - middle.0).hypot(g.pose.y - middle.1);
                far(&a.0).total_cmp(&far(&b.0))
            })
        else {
            continue;
        };
        let slope = (riser.foot.0 - riser.head.0) / (riser.foot.1 - riser.head.1).max(1.0);
        // Along the axis: in the row of the others, or at the height at which the beads of the
        // nearest end.
        let mut guess = model;
        guess.pose = super::pose::Pose::leaning(riser.head.0, riser.head.1, slope);
        guess.pose = guess.pose.moved(0.0, -height_in_model);
        if let Some((x, y)) = on_the_row(set, guess.pose.x, slope, middle) {
            (guess.pose.x, guess.pose.y) = (x, y);
        }
        // A short path shows its lean badly: the neighbour's is as good.
        (guess.pose.cos, guess.pose.sin) = (model.pose.cos, model.pose.sin);
        guess.looks = LOOKS;
        guess.nozzle = 0.0;
        guess.rose = Motion::rose_through(risers, guess.pose, guess.width, guess.height, off_axis);
        guess.score = LOOKS + (1.0 - LOOKS) * guess.rose * 0.5;
        let apart = set.glasses.iter().all(|other| {
            let (u, _) = other.pose.frame(guess.pose.x, guess.pose.y);
            u.abs() > APART * f32::midpoint(other.width, guess.width)
        });
        let (w, h) = (
            (0.5 - OUTSIDE) * guess.width,
            (0.5 - OUTSIDE) * guess.height,
        );
        let inside = guess.pose.x > w
            && guess.pose.y > h
            && guess.pose.x < size.0 - w
            && guess.pose.y < size.1 - h;
        if apart && inside && guess.rose > FITS {
            set.glasses.push(guess);
        }
    }
    set.glasses.sort_by(|a, b| a.pose.x.total_cmp(&b.pose.x));
}

/// Where the axis of a path meets the line through the middles of a row of two glasses or more.
fn on_the_row(set: &Set, x: f32, slope: f32, middle: (f32, f32)) -> Option<(f32, f32)> {
    let (first, last) = (set.glasses.first()?, set.glasses.last()?);
    let run = last.pose.x - first.pose.x;
    if run.abs() < first.width {
        return None;
    }
    let climb = (last.pose.y - first.pose.y) / run;
    // Twice is near enough: the axis is nearly upright, the row nearly level.
    let mut at = x;
    for _ in 0..2 {
        let y = first.pose.y + climb * (at - first.pose.x);
        at = middle.0 + slope * (y - middle.1);
    }
    Some((at, first.pose.y + climb * (at - first.pose.x)))
}
