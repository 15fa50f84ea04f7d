//! The large figures: numerals drawn with strokes of even weight, like those stamped on a gauge
//! plate. All have the same width, so that nothing moves when they change, and they stay sharp at
//! any size without a letter as big as a hand in the texture of the fonts.

use eframe::egui::{Color32, Painter, Pos2, Rect, Stroke, pos2, vec2};

/// Width of a numeral's skeleton over its height.
const WIDTH: f32 = 0.52;
/// From one numeral to the next, over the height (with the stroke's weight in it).
const ADVANCE: f32 = 0.78;
/// The same for a point.
const ADVANCE_POINT: f32 = 0.36;
/// Weight of the stroke over the height: about that of road signs read from afar.
const WEIGHT: f32 = 0.135;
/// Straight pieces in a full turn: enough that none is seen at 200 points.
const PIECES: f32 = 48.0;

/// Width of some figures, points, at the given height.
#[must_use]
pub fn width(figures: &str, height: f32) -> f32 {
    figures.chars().map(advance).sum::<f32>() * height - (ADVANCE - WIDTH - WEIGHT) * height
}

fn advance(figure: char) -> f32 {
    if matches!(figure, '.' | ',') {
        ADVANCE_POINT
    } else {
        ADVANCE
    }
}

/// Draws figures (`0`–`9`, `.`, `,`, `–`; a space keeps its place) with their right edge and foot at
/// `right_foot`.
pub fn draw(painter: &Painter, right_foot: Pos2, height: f32, figures: &str, colour: Color32) {
    draw_with(painter, right_foot, height, figures, colour, 0.0);
}

/// The same over a picture: first thicker in the halo's colour.
pub fn draw_over(
    painter: &Painter,
    right_foot: Pos2,
    height: f32,
    figures: &str,
    colour: Color32,
    halo: Color32,
) {
    draw_with(painter, right_foot, height, figures, halo, 3.5);
    draw_with(painter, right_foot, height, figures, colour, 0.0);
}

fn draw_with(
    painter: &Painter,
    right_foot: Pos2,
    height: f32,
    figures: &str,
    colour: Color32,
    thicker: f32,
) {
    let weight = WEIGHT * height;
    let stroke = weight + thicker;
    // The skeleton runs in the middle of the stroke, half a weight inside the height.
    let body = height - weight;
    let mut left = right_foot.x - width(figures, height);
    for figure in figures.chars() {
        let frame = Rect::from_min_size(
            pos2(left + weight / 2.0, right_foot.y - height + weight / 2.0),
            vec2(WIDTH * height, body),
        );
        if matches!(figure, '.' | ',') {
            let dot = pos2(left + weight * 0.72, right_foot.y - weight * 0.6);
            painter.circle_filled(dot, weight * 0.64 + thicker / 2.0, colour);
            if figure == ',' {
                let tail = [
                    dot + vec2(weight * 0.2, 0.0),
                    dot + vec2(-weight * 0.35, weight * 1.25),
                ];
                painter.line_segment(tail, Stroke::new(weight * 0.6 + thicker, colour));
            }
        }
        for line in skeleton(figure) {
            let points: Vec<Pos2> = line
                .into_iter()
                .map(|(x, y)| pos2(frame.min.x + x * frame.width(), frame.min.y + y * body))
                .collect();
            for end in [points.first(), points.last()].into_iter().flatten() {
                painter.circle_filled(*end, stroke / 2.0, colour);
            }
            for corner in corners(&points) {
                painter.circle_filled(corner, stroke / 2.0, colour);
            }
            painter.line(points, Stroke::new(stroke, colour));
        }
        left += advance(figure) * height;
    }
}

/// The points of a line at which it turns sharply and wants a round joint.
fn corners(points: &[Pos2]) -> Vec<Pos2> {
    points
        .windows(3)
        .filter(|w| {
            let (a, b) = (w[1] - w[0], w[2] - w[1]);
            a.normalized().dot(b.normalized()) < 0.85
        })
        .map(|w| w[1])
        .collect()
}

/// An arc of an ellipse; degrees, 0 to the right, growing clockwise as seen on the screen.
fn arc(centre: (f32, f32), radius: (f32, f32), from_deg: f32, to_deg: f32) -> Vec<(f32, f32)> {
    let pieces = ((to_deg - from_deg).abs() / 360.0 * PIECES).ceil().max(2.0) as usize;
    (0..=pieces)
        .map(|i| {
            let turn = (from_deg + (to_deg - from_deg) * i as f32 / pieces as f32).to_radians();
            (
                centre.0 + radius.0 * turn.cos(),
                centre.1 + radius.1 * turn.sin(),
            )
        })
        .collect()
}

/// The lines of a numeral in a box of 1 by 1.
fn skeleton(figure: char) -> Vec<Vec<(f32, f32)>> {
    let joined = |parts: Vec<Vec<(f32, f32)>>| vec![parts.concat()];
    match figure {
        '0' => joined(vec![
            arc((0.5, 0.32), (0.5, 0.32), 180.0, 360.0),
            arc((0.5, 0.68), (0.5, 0.32), 0.0, 180.0),
            vec![(0.0, 0.32)],
        ]),
        '1' => vec![vec![(0.16, 0.2), (0.6, 0.0), (0.6, 1.0)]],
        '2' => joined(vec![
            arc((0.5, 0.29), (0.5, 0.29), 188.0, 392.0),
            vec![(0.02, 1.0), (1.0, 1.0)],
        ]),
        '3' => vec![
            [
                arc((0.47, 0.25), (0.46, 0.25), 200.0, 450.0),
                vec![(0.36, 0.5)],
            ]
            .concat(),
            [
                vec![(0.36, 0.5)],
                arc((0.47, 0.75), (0.52, 0.25), 270.0, 515.0),
            ]
            .concat(),
        ],
        '4' => vec![
            vec![(1.02, 0.72), (0.0, 0.72), (0.62, 0.0)],
            vec![(0.76, 0.42), (0.76, 1.0)],
        ],
        '5' => joined(vec![
            vec![(0.92, 0.0), (0.13, 0.0), (0.07, 0.45)],
            arc((0.48, 0.68), (0.52, 0.32), 222.0, 510.0),
        ]),
        '6' => vec![
            arc((0.5, 0.68), (0.5, 0.32), 0.0, 360.0),
            [
                vec![(0.0, 0.68)],
                arc((0.78, 0.66), (0.78, 0.66), 182.0, 262.0),
            ]
            .concat(),
        ],
        '7' => vec![vec![(0.0, 0.0), (1.0, 0.0), (0.36, 1.0)]],
        '8' => vec![
            arc((0.5, 0.24), (0.44, 0.24), 0.0, 360.0),
            arc((0.5, 0.74), (0.5, 0.26), 0.0, 360.0),
        ],
        '9' => skeleton('6')
            .into_iter()
            .map(|line| line.into_iter().map(|(x, y)| (1.0 - x, 1.0 - y)).collect())
            .collect(),
        '–' => vec![vec![(0.08, 0.54), (0.92, 0.54)]],
        _ => Vec::new(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn all_numerals_take_the_same_width_so_that_nothing_jumps() {
        let reference = width("0.0", 100.0);
        for a in '0'..='9' {
            let found = width(&format!("{a}.{a}"), 100.0);
            assert!((found - reference).abs() < 1e-4, "{a}: {found}");
        }
    }

    #[test]
    fn every_numeral_has_a_skeleton_inside_its_box() {
        for figure in ('0'..='9').chain(['–']) {
            let lines = skeleton(figure);
            assert!(!lines.is_empty(), "{figure} is empty");
            for (x, y) in lines.into_iter().flatten() {
                assert!((-0.03..=1.03).contains(&x), "{figure}: x {x}");
                assert!((-0.03..=1.03).contains(&y), "{figure}: y {y}");
            }
        }
    }

    #[test]
    fn no_two_numerals_are_alike() {
        let all: Vec<_> = ('0'..='9').map(skeleton).collect();
        for (i, a) in all.iter().enumerate() {
            for b in &all[i + 1..] {
                assert_ne!(a, b);
            }
        }
    }
}
