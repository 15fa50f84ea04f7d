//! Sets outlines right by the paths of beads: where beads rise is the bore, whatever edges a frame, a
//! card or a reflection shows beside it. It moves nothing in which no bead rose. How wide a tube is,
//! beads do not tell: lit from the front only their glint is seen.

use super::group::Guess;
use super::motion::Riser;
use super::plane::median;
use crate::base::GlassKind;

/// A path belongs to a glass when its middle lies within this part of the width from the axis.
const WITHIN: f32 = 0.62;
/// How far a path may lean against the outline, dx/dy: beyond this it is something else.
const LEANS: f32 = 0.2;
/// An axis farther off than this is set right, parts of the width and working pixels: the place of a
/// path is known to a pixel or two.
const OFF_AXIS: (f32, f32) = (0.06, 1.5);
/// Least width a tube is left with, in widths of what rose (as it stood out, so wider than it is).
const LEAST: f32 = 1.3;
/// Ends are moved out when paths reach beyond them by so much, parts of the height: less is blur, more
/// is something else.
const BEYOND: (f32, f32) = (0.03, 0.3);

/// The paths through one tube, in its own frame.
struct Paths {
    /// Middle of the paths across.
    off: f32,
    /// Where the middles of beads were last and first seen, along.
    head: f32,
    foot: f32,
    /// Width of the beads.
    bead: f32,
}

fn paths(glass: &Guess, risers: &[Riser]) -> Option<Paths> {
    let (mut offs, mut beads) = (Vec::new(), Vec::new());
    let (mut heads, mut feet) = (Vec::new(), Vec::new());
    for riser in risers {
        let (u0, v0) = glass.pose.frame(riser.foot.0, riser.foot.1);
        let (u1, v1) = glass.pose.frame(riser.head.0, riser.head.1);
        let (u, v) = (f32::midpoint(u0, u1), f32::midpoint(v0, v1));
        let lean = (u0 - u1) / (v0 - v1).max(1.0);
        if u.abs() < WITHIN * glass.width && v.abs() < 0.5 * glass.height && lean.abs() < LEANS {
            // Where the path crosses the middle of the glass.
            offs.push(u - lean * v);
            beads.push(riser.width);
            heads.push(v1);
            feet.push(v0);
        }
    }
    (!offs.is_empty()).then(|| Paths {
        off: median(&mut offs),
        head: median(&mut heads),
        foot: median(&mut feet),
        bead: median(&mut beads),
    })
}

/// Corrects the outlines of tubes by the beads that rose in them.
pub(super) fn hold_beads(glasses: &mut [Guess], risers: &[Riser]) {
    for glass in glasses.iter_mut().filter(|g| g.kind == GlassKind::Tube) {
        let Some(seen) = paths(glass, risers) else {
            continue;
        };
        if seen.off.abs() > OFF_AXIS.0 * glass.width + OFF_AXIS.1 {
            // The side that is nearer to the beads is the glass's own.
            let near = glass.width - 2.0 * seen.off.abs();
            glass.width = near.max(LEAST * seen.bead);
            glass.pose = glass.pose.moved(seen.off, 0.0);
        }
        let half = 0.5 * glass.height;
        let above = -half - (seen.head - 0.5 * seen.bead);
        let below = (seen.foot + 0.5 * seen.bead) - half;
        let within = |reach: f32| {
            if (BEYOND.0..BEYOND.1).contains(&(reach / glass.height)) {
                reach
            } else {
                0.0
            }
        };
        let (above, below) = (within(above), within(below));
        glass.height += above + below;
        glass.pose = glass.pose.moved(0.0, (below - above) / 2.0);
    }
}
