//! Truth and outlines laid upon each other: the one part of this helper that knows the instrument's
//! types.

use beadtally::base::GlassKind;
use beadtally::glass::Outline;

use super::TrueGlass;

/// The outline that a drawn glass should be given.
pub fn outline(glass: &TrueGlass) -> Outline {
    Outline {
        kind: if glass.tube {
            GlassKind::Tube
        } else {
            GlassKind::Port
        },
        centre_x_px: glass.x,
        centre_y_px: glass.y,
        width_px: glass.width,
        height_px: glass.height,
        angle_deg: glass.angle_deg,
    }
}

/// Common part over both together, on a grid.
pub fn iou(a: &Outline, b: &Outline) -> f64 {
    let (p, q) = (a.upright_box(), b.upright_box());
    let (x0, y0) = (p.x.min(q.x), p.y.min(q.y));
    let (x1, y1) = (
        (p.x + p.width).max(q.x + q.width),
        (p.y + p.height).max(q.y + q.height),
    );
    let (mut both, mut either) = (0_u32, 0_u32);
    for i in 0..120 {
        for j in 0..120 {
            let x = x0 + (x1 - x0) * (f64::from(i) + 0.5) / 120.0;
            let y = y0 + (y1 - y0) * (f64::from(j) + 0.5) / 120.0;
            let (in_a, in_b) = (a.contains(x, y), b.contains(x, y));
            both += u32::from(in_a && in_b);
            either += u32::from(in_a || in_b);
        }
    }
    f64::from(both) / f64::from(either.max(1))
}
