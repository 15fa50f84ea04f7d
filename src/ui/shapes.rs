//! The shapes that stand beside the words, so that nothing is told by colour alone: one per
//! verdict, the marks round beads, the plates and their screws. It draws; it decides nothing.

use eframe::egui::{
    Color32, CornerRadius, Painter, Pos2, Rect, Shape, Stroke, StrokeKind, pos2, vec2,
};

use crate::health::aim::Grade;
use crate::judge::FeedState;
use crate::ui::theme::{HALO, Palette};

/// Draws the shape of a verdict in a square.
pub fn verdict(painter: &Painter, square: Rect, state: FeedState, ink: Color32) {
    let c = square.center();
    let r = square.width().min(square.height()) / 2.0;
    let line = Stroke::new((r * 0.26).max(1.5), ink);
    match state {
        // A bead between two limits.
        FeedState::InBand => {
            painter.circle_filled(c, r * 0.45, ink);
            for y in [c.y - r * 0.85, c.y + r * 0.85] {
                painter.hline(c.x - r * 0.8..=c.x + r * 0.8, y, line);
            }
        }
        FeedState::Low => triangle(painter, c, r * 0.9, Up::No, ink),
        FeedState::High => triangle(painter, c, r * 0.9, Up::Yes, ink),
        FeedState::FarHigh => {
            triangle(painter, c - vec2(0.0, r * 0.45), r * 0.62, Up::Yes, ink);
            triangle(painter, c + vec2(0.0, r * 0.5), r * 0.62, Up::Yes, ink);
        }
        FeedState::Stopped => {
            let square = Rect::from_center_size(c, vec2(r, r) * 1.6);
            painter.rect_filled(square, CornerRadius::same(1), ink);
        }
        // A struck-out ring.
        FeedState::CannotSee => {
            painter.circle_stroke(c, r * 0.78, line);
            let d = r * 0.95;
            painter.line_segment([c + vec2(-d, d), c + vec2(d, -d)], line);
        }
        // Three beads to come.
        FeedState::NoReadingYet => {
            for y in [-0.7, 0.0, 0.7] {
                painter.circle_stroke(
                    c + vec2(0.0, r * y),
                    r * 0.22,
                    Stroke::new(line.width * 0.7, ink),
                );
            }
        }
    }
}

#[derive(Clone, Copy)]
enum Up {
    Yes,
    No,
}

fn triangle(painter: &Painter, c: Pos2, r: f32, up: Up, ink: Color32) {
    let s = match up {
        Up::Yes => -1.0,
        Up::No => 1.0,
    };
    painter.add(Shape::convex_polygon(
        vec![
            pos2(c.x, c.y + s * r),
            pos2(c.x - r, c.y - s * r * 0.75),
            pos2(c.x + r, c.y - s * r * 0.75),
        ],
        ink,
        Stroke::NONE,
    ));
}

/// Draws the shape of a grade in a square: a tick, a bar, a cross.
pub fn grade(painter: &Painter, square: Rect, grade: Grade, ink: Color32) {
    let line = Stroke::new((square.width() * 0.2).max(2.0), ink);
    let at = |x: f32, y: f32| square.min + vec2(x * square.width(), y * square.height());
    match grade {
        Grade::Good => {
            painter.line_segment([at(0.0, 0.55), at(0.38, 0.92)], line);
            painter.line_segment([at(0.38, 0.92), at(1.0, 0.1)], line);
        }
        Grade::Fair => {
            painter.line_segment([at(0.0, 0.5), at(1.0, 0.5)], line);
        }
        Grade::Bad => {
            painter.line_segment([at(0.05, 0.05), at(0.95, 0.95)], line);
            painter.line_segment([at(0.95, 0.05), at(0.05, 0.95)], line);
        }
    }
}

/// How firmly a bead is marked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Firmness {
    /// It is followed, but not settled.
    Followed,
    /// It is counted.
    Counted,
    /// It was counted this moment.
    Flash,
}

impl Firmness {
    fn width(self) -> f32 {
        match self {
            Self::Followed => 1.25,
            Self::Counted => 2.5,
            Self::Flash => 5.0,
        }
    }
}

/// A ring round a bead of oil.
pub fn ring(painter: &Painter, c: Pos2, radius: f32, firmness: Firmness, colour: Color32) {
    let width = firmness.width();
    painter.circle_stroke(c, radius, Stroke::new(width + 2.5, HALO));
    painter.circle_stroke(c, radius, Stroke::new(width, colour));
}

/// A lozenge round a bubble of gas.
pub fn lozenge(painter: &Painter, c: Pos2, radius: f32, firmness: Firmness, colour: Color32) {
    let r = radius * 1.3;
    let points = vec![
        c + vec2(0.0, -r),
        c + vec2(r, 0.0),
        c + vec2(0.0, r),
        c + vec2(-r, 0.0),
    ];
    let width = firmness.width();
    for stroke in [Stroke::new(width + 2.5, HALO), Stroke::new(width, colour)] {
        painter.add(Shape::closed_line(points.clone(), stroke));
    }
}

/// A line over a picture, with its halo.
pub fn haloed(painter: &Painter, points: &[Pos2], width: f32, colour: Color32) {
    for stroke in [Stroke::new(width + 2.5, HALO), Stroke::new(width, colour)] {
        painter.add(Shape::closed_line(points.to_vec(), stroke));
    }
}

/// A broken line over a picture, with its halo: a glass that cannot be judged.
pub fn haloed_broken(painter: &Painter, points: &[Pos2], width: f32, colour: Color32) {
    let mut closed = points.to_vec();
    closed.extend(points.first());
    painter.add(Shape::closed_line(
        points.to_vec(),
        Stroke::new(width + 2.5, HALO),
    ));
    painter.extend(Shape::dashed_line(
        &closed,
        Stroke::new(width, colour),
        7.0,
        6.0,
    ));
}

/// A plate with a brass edge and four screws.
pub fn plate(painter: &Painter, rect: Rect, fill: Color32, palette: &Palette) {
    painter.rect(
        rect,
        CornerRadius::same(5),
        fill,
        Stroke::new(1.0, palette.brass),
        StrokeKind::Inside,
    );
    if rect.height() < 90.0 || rect.width() < 160.0 {
        return;
    }
    let inset = 6.5;
    for (x, y) in [
        (rect.left() + inset, rect.top() + inset),
        (rect.right() - inset, rect.top() + inset),
        (rect.left() + inset, rect.bottom() - inset),
        (rect.right() - inset, rect.bottom() - inset),
    ] {
        let c = pos2(x, y);
        painter.circle_filled(c, 2.6, palette.brass);
        // The slot, turned a little differently on each screw.
        let turn = (x * 0.7 + y * 1.3).sin();
        let slot = vec2(turn.cos(), turn.sin()) * 2.0;
        painter.line_segment([c - slot, c + slot], Stroke::new(0.9, fill));
    }
}

/// A number on a brass tally, as cast beside a valve: the feed's number.
pub fn tally(painter: &Painter, square: Rect, palette: &Palette) {
    painter.rect(
        square,
        CornerRadius::same(3),
        palette.key,
        Stroke::new(1.5, palette.brass),
        StrokeKind::Inside,
    );
}

/// The maker's mark: a drop leaving a nozzle.
pub fn makers_mark(painter: &Painter, square: Rect, palette: &Palette) {
    let c = square.center();
    let r = square.height() / 2.0;
    painter.circle_filled(c - vec2(0.0, r * 0.35), r * 0.42, palette.brass);
    painter.circle_filled(c - vec2(r * 0.13, r * 0.48), r * 0.12, palette.ink);
    painter.add(Shape::convex_polygon(
        vec![
            c + vec2(-r * 0.2, r * 0.25),
            c + vec2(r * 0.2, r * 0.25),
            c + vec2(r * 0.55, r * 0.9),
            c + vec2(-r * 0.55, r * 0.9),
        ],
        palette.brass,
        Stroke::NONE,
    ));
}

/// The focus ring round something drawn by hand.
pub fn focus_ring(painter: &Painter, rect: Rect, palette: &Palette) {
    painter.rect_stroke(
        rect.expand(1.0),
        CornerRadius::same(5),
        Stroke::new(2.5, palette.focus),
        StrokeKind::Inside,
    );
}
