//! Where everything stands, from the size of the window and the number of feeds alone: nothing
//! moves because a figure changed. Pure arithmetic.

use eframe::egui::{Rect, pos2, vec2};

use crate::ui::feed_panel;

/// Distance between plates, points.
const GAP: f32 = 8.0;
/// Most feeds in one column of panels.
const COLUMN: usize = 4;

/// The places of the whole window.
#[derive(Clone, Debug)]
pub struct Places {
    /// The bar at the top: source, run, clock, age of the picture.
    pub top: Rect,
    /// What the chosen view has for itself.
    pub view: Rect,
    /// Alarms, or when there are none, words from the instrument.
    pub alarms: Rect,
    /// The row of keys.
    pub keys: Rect,
}

/// Divides the window.
#[must_use]
pub fn window(whole: Rect) -> Places {
    let low = whole.height() < 520.0;
    let (gap, top_height, bar) = if low {
        (4.0, 30.0, 34.0)
    } else {
        (GAP, 38.0, 46.0)
    };
    let inner = whole.shrink(gap);
    let top = Rect::from_min_size(inner.min, vec2(inner.width(), top_height));
    let keys = Rect::from_min_max(pos2(inner.left(), inner.bottom() - bar), inner.max);
    let alarms = keys.translate(vec2(0.0, -(bar + gap)));
    let view = Rect::from_min_max(
        pos2(inner.left(), top.bottom() + gap),
        pos2(inner.right(), alarms.top() - gap),
    );
    Places {
        top,
        view,
        alarms,
        keys,
    }
}

/// The places of the Watch view.
#[derive(Clone, Debug)]
pub struct WatchPlaces {
    /// The live picture.
    pub picture: Rect,
    /// The strip of each glass, from the left; empty when there is no room.
    pub strips: Vec<Rect>,
    /// The rate of each feed over time, under its strip; empty when there is no room.
    pub histories: Vec<Rect>,
    /// A panel for each feed.
    pub panels: Vec<Rect>,
}

/// Divides the Watch view among `feeds` feeds.
#[must_use]
pub fn watch(view: Rect, feeds: usize) -> WatchPlaces {
    let gap = if view.height() < 420.0 { 4.0 } else { GAP };
    if feeds == 0 {
        return WatchPlaces {
            picture: view,
            strips: Vec::new(),
            histories: Vec::new(),
            panels: Vec::new(),
        };
    }
    let share = if feeds > COLUMN { 0.52 } else { 0.45 };
    let right_width = view.width() * share;
    let left = view.with_max_x(view.right() - right_width - gap);
    let right = view.with_min_x(view.right() - right_width);
    let columns = if feeds > COLUMN { 2 } else { 1 };
    let panels = grid(right, feeds, columns, gap);
    let mut picture = left;
    let (mut strips, mut histories) = (Vec::new(), Vec::new());
    if left.height() >= 300.0 {
        let history_height = (left.height() * 0.2).clamp(84.0, 220.0);
        let strip_height = (left.height() * 0.2).clamp(84.0, 220.0);
        let history = left.with_min_y(left.bottom() - history_height);
        let strip = Rect::from_min_max(
            pos2(left.left(), history.top() - gap - strip_height),
            pos2(left.right(), history.top() - gap),
        );
        histories = grid(history, feeds, feeds, gap.min(6.0));
        strips = grid(strip, feeds, feeds, gap.min(6.0));
        picture = left.with_max_y(strip.top() - gap);
    }
    WatchPlaces {
        picture,
        strips,
        histories,
        panels,
    }
}

/// Divides the far view: panels alone, as large as they go.
#[must_use]
pub fn far(view: Rect, feeds: usize) -> Vec<Rect> {
    let columns = (1..=feeds.max(1))
        .max_by(|a, b| panel_worth(view, feeds, *a).total_cmp(&panel_worth(view, feeds, *b)))
        .unwrap_or(1);
    grid(view, feeds, columns, GAP)
}

/// Share of a place in the far view that the panel itself has; the rest says whether to wait.
pub const PANEL_SHARE: f32 = 0.83;

/// How large the figures get with so many columns.
fn panel_worth(view: Rect, feeds: usize, columns: usize) -> f32 {
    let rows = feeds.div_ceil(columns).max(1);
    let size = vec2(
        view.width() / columns as f32 - GAP,
        (view.height() / rows as f32 - GAP) * PANEL_SHARE,
    );
    feed_panel::figure_height(Rect::from_min_size(view.min, size))
}

/// Divides the Runs view: the list, and the run that is open.
#[must_use]
pub fn runs(view: Rect) -> (Rect, Rect) {
    let left = (view.width() * 0.26).clamp(130.0, 340.0);
    (
        view.with_max_x(view.left() + left),
        view.with_min_x(view.left() + left + GAP),
    )
}

/// Divides what is shown of a run: the chart, and under it the evidence for one drop.
#[must_use]
pub fn over_evidence(view: Rect) -> (Rect, Rect) {
    let height = (view.height() * 0.3).clamp(56.0, 190.0);
    (
        view.with_max_y(view.bottom() - height - GAP),
        view.with_min_y(view.bottom() - height),
    )
}

/// Divides the room view while a lesson is open: the glass, and the lesson.
#[must_use]
pub fn lesson(view: Rect) -> (Rect, Rect) {
    let right = (view.width() * 0.38).clamp(200.0, 620.0);
    (
        view.with_max_x(view.right() - right - GAP),
        view.with_min_x(view.right() - right),
    )
}

/// Divides the hand check: the field to tap, and what is told beside it.
#[must_use]
pub fn hand(view: Rect) -> (Rect, Rect) {
    let right = (view.width() * 0.42).clamp(200.0, 640.0);
    (
        view.with_max_x(view.right() - right - GAP),
        view.with_min_x(view.right() - right),
    )
}

/// The places of the room view.
#[derive(Clone, Copy, Debug)]
pub struct RoomPlaces {
    /// The glass.
    pub glass: Rect,
    /// The count.
    pub count: Rect,
    /// The last bead again.
    pub slow: Rect,
    /// The strip.
    pub strip: Rect,
    /// What a strip is.
    pub words: Rect,
}

/// Divides the room view.
#[must_use]
pub fn room(view: Rect) -> RoomPlaces {
    let strip_height = view.height() * 0.24;
    let foot = view.with_min_y(view.bottom() - strip_height);
    let upper = view.with_max_y(foot.top() - GAP);
    let third = (upper.width() - 2.0 * GAP) / 10.0;
    let glass = upper.with_max_x(upper.left() + 3.6 * third);
    let slow = upper.with_min_x(upper.right() - 2.6 * third);
    let strip = foot.with_max_x(foot.left() + foot.width() * 0.64);
    RoomPlaces {
        glass,
        count: Rect::from_min_max(
            pos2(glass.right() + GAP, upper.top()),
            pos2(slow.left() - GAP, upper.bottom()),
        ),
        slow,
        strip,
        words: foot.with_min_x(strip.right() + GAP * 2.0),
    }
}

/// Divides a view into what it shows and a row of large keys at its foot.
#[must_use]
pub fn over_keys(view: Rect) -> (Rect, Rect) {
    let height = (view.height() * 0.13).clamp(38.0, 84.0);
    let gap = if view.height() < 420.0 { 4.0 } else { GAP };
    (
        view.with_max_y(view.bottom() - height - gap),
        view.with_min_y(view.bottom() - height),
    )
}

/// Tiles for so many choices, about as wide as pictures are.
#[must_use]
pub fn tiles(area: Rect, count: usize) -> Vec<Rect> {
    let worth = |columns: usize| {
        let rows = count.div_ceil(columns).max(1);
        (area.width() / columns as f32 / 1.25).min(area.height() / rows as f32)
    };
    let columns = (1..=count.max(1))
        .max_by(|a, b| worth(*a).total_cmp(&worth(*b)))
        .unwrap_or(1);
    // A single tile need not be as wide as the window.
    let width = (worth(columns) * 1.6 * columns as f32).min(area.width());
    let narrowed = Rect::from_center_size(area.center(), vec2(width, area.height()));
    grid(narrowed, count, columns, GAP)
}

/// Divides the Set-up view: the picture, and what is set beside it.
#[must_use]
pub fn setup(view: Rect) -> (Rect, Rect) {
    let right = (view.width() * 0.36)
        .clamp(280.0, 460.0)
        .min(view.width() * 0.6);
    (
        view.with_max_x(view.right() - right - GAP),
        view.with_min_x(view.right() - right),
    )
}

fn grid(area: Rect, cells: usize, columns: usize, gap: f32) -> Vec<Rect> {
    if cells == 0 {
        return Vec::new();
    }
    let columns = columns.max(1);
    let rows = cells.div_ceil(columns);
    let width = (area.width() - gap * (columns - 1) as f32) / columns as f32;
    let height = (area.height() - gap * (rows - 1) as f32) / rows as f32;
    // Along the rows first: feeds read from the left, as their glasses stand.
    (0..cells)
        .map(|i| {
            let (column, row) = (i % columns, i / columns);
            Rect::from_min_size(
                pos2(
                    area.left() + column as f32 * (width + gap),
                    area.top() + row as f32 * (height + gap),
                ),
                vec2(width, height),
            )
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use eframe::egui::Pos2;

    fn all_of(size: (f32, f32), feeds: usize) -> (Rect, Vec<Rect>) {
        let whole = Rect::from_min_size(Pos2::ZERO, vec2(size.0, size.1));
        let places = window(whole);
        let watch = watch(places.view, feeds);
        let mut all = vec![places.top, places.alarms, places.keys, watch.picture];
        all.extend(watch.strips);
        all.extend(watch.histories);
        all.extend(watch.panels);
        (whole, all)
    }

    #[test]
    fn nothing_overlaps_and_nothing_leaves_the_window() {
        for size in [
            (512.0, 300.0),
            (640.0, 400.0),
            (960.0, 540.0),
            (1024.0, 600.0),
            (1280.0, 800.0),
            (1920.0, 1080.0),
        ] {
            for feeds in 0..=8 {
                let (whole, all) = all_of(size, feeds);
                for (i, a) in all.iter().enumerate() {
                    assert!(
                        whole.expand(0.01).contains_rect(*a) && a.is_positive(),
                        "{size:?}, {feeds} feeds: {a:?}"
                    );
                    for b in &all[i + 1..] {
                        let both = a.shrink(0.01).intersect(*b);
                        assert!(!both.is_positive(), "{size:?}, {feeds}: {a:?} on {b:?}");
                    }
                }
            }
        }
    }

    #[test]
    fn strips_stand_above_their_histories() {
        let view = Rect::from_min_size(Pos2::ZERO, vec2(1264.0, 640.0));
        let places = watch(view, 3);
        assert_eq!(places.strips.len(), 3);
        for (strip, history) in places.strips.iter().zip(&places.histories) {
            assert_eq!(strip.x_range(), history.x_range());
            assert!(strip.bottom() < history.top());
        }
    }

    #[test]
    fn the_far_view_gives_each_feed_more_room_than_the_watch_view() {
        for feeds in 1..=8 {
            let view = Rect::from_min_size(Pos2::ZERO, vec2(1264.0, 640.0));
            let (far, watch) = (far(view, feeds), watch(view, feeds).panels);
            assert_eq!(far.len(), feeds);
            assert!(far[0].area() > watch[0].area());
        }
    }
}
