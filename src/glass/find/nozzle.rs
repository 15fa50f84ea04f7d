//! The nozzle: a short, narrow, upright post that stands at the foot of a glass near its axis with
//! nothing like it at the head. It is what tells a sight glass from any other rectangle or circle.

use super::plane::{Slopes, median};
use super::pose::Pose;

/// A post found at the foot.
#[derive(Clone, Copy, Debug)]
pub(super) struct Nozzle {
    /// Its axis, as a part of the glass's width, from the glass's axis to the right.
    pub offset: f32,
    /// Its width as a part of the glass's width.
    pub width: f32,
    /// How far it (with any bead on it) reaches above the foot, as a part of the glass's height.
    pub height: f32,
    /// Luma slope along its sides, luma per pixel.
    pub contrast: f32,
    /// How much it looks like a nozzle, 0 to 1.
    pub score: f32,
}

/// Farthest a nozzle's axis may lie from that of its glass, part of the width: nozzles stand on
/// the axis, but a deep port seen from one side shows it displaced.
const OFF_AXIS: f32 = 0.16;
/// Narrowest and widest nozzle, part of the glass's width.
const NARROW: f32 = 0.05;
const WIDE: f32 = 0.45;
/// Shortest and longest post that is still one, part of the glass's height.
const SHORT: f32 = 0.035;
const LONG: f32 = 0.5;

/// The shape the nozzle stands in.
#[derive(Clone, Copy, Debug)]
pub(super) enum Glass {
    /// A tube; the middle of the lower fitting's edge lies this far below its ends, pixels.
    Tube(f32),
    /// A port: an ellipse.
    Port,
}

/// Looks for the nozzle. `foot` has its origin where the axis meets the lower fitting; the glass is
/// `width` wide and `height` high above it. `threshold` is the luma slope of an edge worth the name.
pub(super) fn nozzle(
    slopes: &Slopes,
    foot: Pose,
    width: f32,
    height: f32,
    glass: Glass,
    threshold: f32,
) -> Option<Nozzle> {
    let (reach, start, off_axis) = match glass {
        Glass::Tube(sag) => (0.36 * width, sag.max(0.0), 0.05),
        Glass::Port => (0.3 * width, 0.0, 0.09),
    };
    let columns = ((2.0 * reach).round() as usize).clamp(8, 160);
    let step_u = 2.0 * reach / columns as f32;
    let rows = ((0.94 * height).round() as usize).clamp(12, 600);
    let step_v = 0.94 * height / rows as f32;
    // side[row][column]: size of the slope across; row 0 is at the foot.
    let mut side = vec![0.0_f32; columns * rows];
    for row in 0..rows {
        let along = start - (row as f32 + 0.5) * step_v;
        for column in 0..columns {
            let across = (column as f32 + 0.5) * step_u - reach;
            if matches!(glass, Glass::Port) {
                let (u, v) = (2.0 * across / width, 2.0 * along / height + 1.0);
                if u.hypot(v) > 0.95 {
                    side[row * columns + column] = -1.0;
                    continue;
                }
            }
            let (x, y) = foot.picture(across, along);
            side[row * columns + column] = foot.turn(slopes.at(x, y)).0.abs();
        }
    }
    // What runs the whole height (rims, reflections, the edge of a card) is no post: per column,
    // the median over the upper part, widened by one column.
    let upper = (rows as f32 * 0.55) as usize;
    let mut ground = vec![0.0_f32; columns];
    let mut buffer = Vec::with_capacity(rows);
    for (column, level) in ground.iter_mut().enumerate() {
        buffer.clear();
        buffer.extend((upper..rows).map(|row| side[row * columns + column]));
        *level = median(&mut buffer);
    }
    let ground: Vec<f32> = (0..columns)
        .map(|c| {
            let (from, to) = (c.saturating_sub(1), (c + 1).min(columns - 1));
            ground[from..=to].iter().copied().fold(0.0, f32::max)
        })
        .collect();
    let marked = |row: usize, column: usize| {
        side[row * columns + column] > (1.6 * ground[column]).max(threshold)
    };
    // How much there is in the upper part that is not ground: a picture full of marks has no post.
    let clutter = {
        let mut count = 0_usize;
        for row in upper..rows {
            for column in 0..columns {
                count += usize::from(marked(row, column));
            }
        }
        count as f32 / ((rows - upper) * columns).max(1) as f32
    };
    // Runs of marks upwards from near the foot, per column.
    let late = ((0.06 * height + 0.04 * width) / step_v).ceil() as usize + 2;
    let gap = (0.012 * height / step_v).ceil() as usize + 1;
    let mut runs: Vec<(usize, usize, f32)> = Vec::new(); // column, rows, mean side
    for column in 0..columns {
        let near = |row: usize| {
            marked(row, column)
                || (column > 0 && marked(row, column - 1))
                || (column + 1 < columns && marked(row, column + 1))
        };
        let open = (0..rows)
            .find(|&row| side[row * columns + column] >= 0.0)
            .unwrap_or(rows);
        let Some(first) = (open..(open + late).min(rows)).find(|&row| near(row)) else {
            continue;
        };
        let (mut last, mut hits, mut sum) = (first, 0_usize, 0.0_f32);
        for row in first..rows {
            if near(row) {
                last = row;
                hits += 1;
                sum += side[row * columns + column];
            } else if row - last > gap {
                break;
            }
        }
        let length = last - first + 1;
        if hits * 4 >= length * 3 {
            runs.push((column, last + 1, sum / hits as f32));
        }
    }
    let shortest = (SHORT * height / step_v).max(3.0);
    let longest = LONG * height / step_v;
    // A side of the post: the column of a group of neighbouring runs with the greatest slope.
    let mut sides: Vec<(f32, f32, f32)> = Vec::new(); // across, length rows, contrast
    let mut index = 0;
    while index < runs.len() {
        let (column, length, contrast) = runs[index];
        let peak = (index == 0 || runs[index - 1].0 + 1 < column || runs[index - 1].2 <= contrast)
            && (index + 1 == runs.len()
                || runs[index + 1].0 > column + 1
                || runs[index + 1].2 < contrast);
        if peak && length as f32 >= shortest && length as f32 <= longest {
            sides.push((
                (column as f32 + 0.5) * step_u - reach,
                length as f32,
                contrast,
            ));
        }
        index += 1;
    }
    let mut best: Option<Nozzle> = None;
    for (i, left) in sides.iter().enumerate() {
        for right in &sides[i + 1..] {
            let post = (right.0 - left.0) / width;
            let offset = f32::midpoint(right.0, left.0) / width;
            if !(NARROW..=WIDE).contains(&post) || offset.abs() > OFF_AXIS {
                continue;
            }
            let even = (left.1.min(right.1) / left.1.max(right.1)).sqrt();
            let tall = left.1.max(right.1) * step_v / height;
            let contrast = left.2.min(right.2);
            let centred = 1.0 / (1.0 + (offset / off_axis).powi(2));
            let strong = (contrast / (contrast + 1.5 * threshold)) / (1.0 - 0.3);
            let clean = 1.0 / (1.0 + (12.0 * clutter).powi(2));
            let score = (even * centred * strong * clean).clamp(0.0, 1.0);
            if best.is_none_or(|b| score > b.score) {
                best = Some(Nozzle {
                    offset,
                    width: post,
                    height: tall,
                    contrast,
                    score,
                });
            }
        }
    }
    best
}
