//! Whether two explanations are of one bead: the same place at the same time, and never clearly two; or
//! one is of the shadow of something stronger.

use crate::bead::explain::Explained;
use crate::bead::path::{Path, keeps_pace};

/// Surplus of evidence that a bead needs beside another that passes mid-glass within a height or so.
const BESIDE_ANOTHER: f32 = 12.0;
/// What is only believed because others of the feed were like it passes mid-glass alone, by so many of
/// its heights: an old piece of picture that a coder left behind a bead looks like it.
const ALONE_HEIGHTS: f32 = 5.0;

/// A path so many times stronger beside a weaker one makes that its reflection.
const SHADOW_RATIO: f32 = 1.5;

/// Whether a new explanation is of a bead that was told: same place at the same time, and never clearly
/// two. Of two that pass mid-glass together, the second needs more evidence than one alone.
#[must_use]
pub fn same_bead(told: &Explained, new: &Explained) -> bool {
    let (a, b) = (told, new);
    let height = f32::midpoint(a.height, b.height).max(2.0);
    let speed = a.rows_per_s.max(b.rows_per_s);
    let apart = ((a.at_secs - b.at_secs).abs() as f32) * speed;
    if new.surplus < 0.0 && apart < ALONE_HEIGHTS * height {
        return true;
    }
    if apart > height * 1.5 {
        return false;
    }
    let (both, distinct) = together(&a.rows, &b.rows, 0.75 * height);
    // Never in one frame together: one bead whose path broke. Mostly apart: two beads.
    both == 0 || distinct * 2 < both || new.surplus < BESIDE_ANOTHER
}

/// Whether what was explained only runs beside a stronger path.
pub(super) fn is_shadow_of(bead: &Explained, path: &Path) -> bool {
    if !path.rises() || path.strength() <= SHADOW_RATIO * bead.strength {
        return false;
    }
    let other: Vec<(u64, f32)> = path.points.iter().map(|p| (p.frame, p.seen.row)).collect();
    let newest = path.newest().map_or(0.0, |p| p.seen.height);
    let (both, apart) = together(&bead.rows, &other, 0.75 * newest.max(bead.height));
    both * 2 >= bead.rows.len() && apart * 2 < both && keeps_pace(&bead.rows, &other)
}

/// In how many frames two paths were both seen, and in how many of these more than `apart` rows
/// from each other.
#[must_use]
pub fn together(a: &[(u64, f32)], b: &[(u64, f32)], apart: f32) -> (usize, usize) {
    let (mut both, mut distinct) = (0, 0);
    let mut j = 0;
    for (frame, row) in a {
        while b.get(j).is_some_and(|(f, _)| f < frame) {
            j += 1;
        }
        if let Some((f, other)) = b.get(j)
            && f == frame
        {
            both += 1;
            distinct += usize::from((row - other).abs() > apart);
        }
    }
    (both, distinct)
}
