//! The plate of one feed: its large figure with unit and limits, the band as a scale, the verdict
//! in word, shape and colour, the time since the last drop, what was counted, and doubts. Every
//! part has its fixed place. What cannot be seen gives way to words, never to an old figure.

use eframe::egui::accesskit::Role;
use eframe::egui::{Align2, Rect, Response, Sense, Ui, WidgetInfo, pos2, vec2};

use crate::judge::FeedState;
use crate::rate::Reading;
use crate::run::FeedSnapshot;
use crate::ui::paint::{self, Lit};
use crate::ui::style::{LEAST_LETTERS, letters};
use crate::ui::theme::Palette;
use crate::ui::{figures, scale, shapes, words};

/// What a panel may say of a feed now: everything that could be stale is already taken away.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// The verdict to show.
    pub state: FeedState,
    /// The reading to show; none when there is none or it may not be trusted now.
    pub reading: Option<Reading>,
    /// Why nothing can be seen, in a few words; empty when it can.
    pub why_blind: String,
    /// Seconds since the last drop; none when there was none or nobody can know.
    pub last_drop_ago_secs: Option<f64>,
}

/// Whether the instrument itself still gives signs of life.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Alive {
    /// A snapshot came lately, or none is due.
    Yes,
    /// None came for too long: nothing it said last may stand as true now.
    No,
}

/// What may be told of a feed at the source time `now_secs`.
#[must_use]
pub fn told(feed: &FeedSnapshot, now_secs: f64, alive: Alive) -> Told {
    let blind_words = match (alive, feed.blind) {
        (Alive::No, _) => Some(words::get().no_sign_of_life.to_owned()),
        (Alive::Yes, Some(why)) => Some(words::blind(why).to_owned()),
        (Alive::Yes, None) if feed.state == FeedState::CannotSee => {
            Some(words::get().cannot_be_judged.to_owned())
        }
        (Alive::Yes, None) => None,
    };
    match blind_words {
        Some(why_blind) => Told {
            state: FeedState::CannotSee,
            reading: None,
            why_blind,
            last_drop_ago_secs: None,
        },
        None => Told {
            state: feed.state,
            reading: feed.reading,
            why_blind: String::new(),
            last_drop_ago_secs: feed.last_drop_secs.map(|at| (now_secs - at).max(0.0)),
        },
    }
}

/// The places inside a panel.
#[derive(Clone, Copy, Debug)]
struct Places {
    tally: Rect,
    name: Rect,
    badge: Rect,
    figure: Rect,
    beside: Rect,
    scale: Rect,
    last_drop: Rect,
    counted: Rect,
    small: f32,
}

/// Height of the panel in which everything has its natural size, points.
const NATURAL_HEIGHT: f32 = 206.0;
/// Under this height, points, a panel shows less, so that its figure can stay large.
const LEAST_WHOLE_HEIGHT: f32 = 128.0;
/// Width at which everything has its natural size, points.
const NATURAL_WIDTH: f32 = 430.0;

fn places(rect: Rect) -> Places {
    let k = (rect.height() / NATURAL_HEIGHT)
        .min(rect.width() / NATURAL_WIDTH)
        .clamp(0.42, 3.2);
    let pad = (14.0 * k).clamp(6.0, 26.0);
    let inner = rect.shrink(pad);
    let small = (15.5 * k).clamp(LEAST_LETTERS, 34.0);
    let line = small * 1.35;
    let head = (30.0 * k).max(line);
    let tally = Rect::from_min_size(inner.min, vec2(head, head));
    let badge_width = (154.0 * k).max(108.0).min(inner.width() * 0.5);
    let badge = Rect::from_min_max(
        pos2(inner.right() - badge_width, inner.top()),
        pos2(inner.right(), inner.top() + head),
    );
    let name = Rect::from_min_max(
        pos2(tally.right() + pad * 0.6, inner.top()),
        pos2(badge.left() - pad * 0.4, inner.top() + head),
    );
    // From the foot upwards: last drop and counts, scale; the figure has the rest.
    let foot = inner.with_min_y(inner.bottom() - line);
    let split = foot.left() + foot.width() * 0.52;
    let scale_height = (46.0 * k).clamp(25.0, 110.0);
    let scale = Rect::from_min_max(
        pos2(inner.left(), foot.top() - scale_height),
        pos2(inner.right(), foot.top()),
    );
    let middle = Rect::from_min_max(
        pos2(inner.left(), tally.bottom() + pad * 0.6),
        pos2(inner.right(), scale.top() - pad * 0.2),
    );
    // Room for '88.8' and, beside it, for unit and limits; in a tall panel they stand below.
    let over_height = figures::width("88.8", 1.0);
    let lines = small * 1.5 * 3.0;
    let beside_height = middle.height().min(middle.width() * 0.6 / over_height);
    let above_height = (middle.height() - lines).min(middle.width() * 0.94 / over_height);
    let is_tall = above_height > beside_height;
    let height = beside_height.max(above_height).max(18.0);
    let figure_top = if is_tall {
        middle.top() + ((middle.height() - lines - height) / 2.0).max(0.0)
    } else {
        middle.center().y - height / 2.0
    };
    let figure = Rect::from_min_size(
        pos2(middle.left(), figure_top),
        vec2(over_height * height, height),
    );
    let beside = if is_tall {
        middle.with_min_y(middle.bottom() - lines)
    } else {
        Rect::from_min_max(
            pos2(figure.right() + pad, middle.top()),
            pos2(inner.right(), middle.bottom()),
        )
    };
    Places {
        tally,
        name,
        badge,
        figure,
        beside,
        scale,
        last_drop: foot.with_max_x(split),
        counted: foot.with_min_x(split),
        small,
    }
}

/// Height of the large figure in a panel of this size, points.
#[must_use]
pub fn figure_height(rect: Rect) -> f32 {
    places(rect).figure.height()
}

/// Draws the panel of a feed. A click chooses the feed.
pub(super) fn show(
    ui: &Ui,
    rect: Rect,
    feed: &FeedSnapshot,
    told: &Told,
    chosen: Lit,
    palette: &Palette,
) -> Response {
    let name = words::feed_name(feed.feed, &feed.calibration.name);
    let id = ui.scope_id().with(("feed-panel", feed.feed));
    let response = ui.interact(rect, id, Sense::click());
    response.widget_info(|| {
        let mut info = WidgetInfo::selected(
            Role::Button,
            true,
            chosen == Lit::Yes,
            words::choose_feed(&name),
        );
        info.current_text_value = Some(words::feed_sentence(&name, told));
        info
    });
    if !ui.is_rect_visible(rect) {
        return response;
    }
    let fill = if chosen == Lit::Yes {
        palette.plate_chosen
    } else {
        palette.plate
    };
    shapes::plate(ui.painter(), rect, fill, palette);
    if rect.height() < LEAST_WHOLE_HEIGHT {
        small(ui, rect, feed, told, palette);
        if response.has_focus() {
            shapes::focus_ring(ui.painter(), rect, palette);
        }
        return response;
    }
    let at = places(rect);
    head(ui, &at, feed, told, palette);
    if told.state == FeedState::CannotSee {
        blind(ui, &at, told, palette);
    } else {
        reading(ui, &at, feed, told, palette);
    }
    scale::show(
        ui,
        at.scale,
        feed.calibration.band,
        told.reading.as_ref(),
        palette,
    );
    foot(ui, &at, feed, told, palette);
    if response.has_focus() {
        shapes::focus_ring(ui.painter(), rect, palette);
    }
    response
}

fn head(ui: &Ui, at: &Places, feed: &FeedSnapshot, told: &Told, palette: &Palette) {
    shapes::tally(ui.painter(), at.tally, palette);
    paint::painted(
        ui,
        at.tally,
        Align2::CENTER_CENTER,
        &feed.feed.to_string(),
        letters(at.tally.height() * 0.72),
        palette.ink,
    );
    paint::words(
        ui,
        at.name,
        Align2::LEFT_CENTER,
        &words::feed_name(feed.feed, &feed.calibration.name),
        at.small * 1.2,
        palette.ink,
    );
    badge(ui, at.badge, told.state, at.small * 1.12, palette);
}

/// The verdict: its shape and its word on its colour.
fn badge(ui: &Ui, rect: Rect, state: FeedState, size: f32, palette: &Palette) {
    let badge = palette.state(state);
    ui.painter().rect_filled(rect, 4.0, badge.fill);
    let side = rect.height() * 0.6;
    let square =
        Rect::from_center_size(pos2(rect.left() + side, rect.center().y), vec2(side, side));
    shapes::verdict(ui.painter(), square, state, badge.ink);
    let mut place = rect
        .with_min_x(square.right() + side * 0.3)
        .with_max_x(rect.right() - side * 0.2);
    if paint::width(ui, words::state(state), LEAST_LETTERS) > place.width() {
        place = rect.with_min_x(square.right() + 2.0);
    }
    // A narrow badge takes smaller letters rather than half a word.
    let mut size = size;
    while size > LEAST_LETTERS && paint::width(ui, words::state(state), size) > place.width() {
        size -= 0.5;
    }
    paint::words(
        ui,
        place,
        Align2::LEFT_CENTER,
        words::state(state),
        size,
        badge.ink,
    );
}

/// A panel with little height: the figure at the left, at the right as many lines as there is
/// room for, the most needed first; a scale without figures at the foot if that fits too.
fn small(ui: &Ui, rect: Rect, feed: &FeedSnapshot, told: &Told, palette: &Palette) {
    let inner = rect.shrink(if rect.height() < 70.0 { 4.0 } else { 7.0 });
    let line = LEAST_LETTERS * 1.25;
    let scale_height = if inner.height() >= line * 4.2 {
        15.0
    } else {
        0.0
    };
    let upper = inner.with_max_y(inner.bottom() - scale_height);
    let tally = Rect::from_min_size(inner.min, vec2(20.0, 20.0));
    shapes::tally(ui.painter(), tally, palette);
    paint::painted(
        ui,
        tally,
        Align2::CENTER_CENTER,
        &feed.feed.to_string(),
        letters(14.0),
        palette.ink,
    );
    let over_height = figures::width("88.8", 1.0);
    // The tally has its own place above: a figure of four signs needs all of its.
    let below = upper.with_min_y(tally.bottom() + 2.0);
    let height = (below.height() * 0.94)
        .min(upper.width() * 0.46 / over_height)
        .max(14.0);
    let figure = Rect::from_min_size(
        pos2(inner.left() + 2.0, below.center().y - height / 2.0),
        vec2(over_height * height, height),
    );
    let right = upper.with_min_x(figure.right() + 9.0);
    let rows = ((right.height() / line).floor() as usize).clamp(1, 5);
    let step = right.height() / rows as f32;
    let size = (step * 0.74).clamp(LEAST_LETTERS, 16.0);
    let row = |i: usize| {
        Rect::from_min_size(
            pos2(right.left(), right.top() + step * i as f32),
            vec2(right.width(), step),
        )
    };
    badge(
        ui,
        row(0).with_max_y(row(0).bottom() - 1.0),
        told.state,
        size,
        palette,
    );
    let mut lines: Vec<(String, _)> = Vec::new();
    if told.state == FeedState::CannotSee {
        let side = height.min(figure.width());
        let square = Rect::from_center_size(figure.center(), vec2(side, side));
        shapes::verdict(ui.painter(), square, told.state, palette.ink_soft);
        lines.push((told.why_blind.clone(), palette.ink));
    } else {
        let large = told
            .reading
            .as_ref()
            .map_or_else(|| words::get().no_figure.to_owned(), words::large_rate);
        let ink = if told.reading.is_some() {
            palette.figure
        } else {
            palette.ink_soft
        };
        figures::draw(ui.painter(), figure.right_bottom(), height, &large, ink);
        let said = told.reading.as_ref().map_or_else(
            || words::get().waiting_for_drops.to_owned(),
            words::said_rate,
        );
        paint::say(ui, figure, &said);
        // A figure that is cut would be another figure: a shorter form takes its place.
        let limits = told.reading.as_ref().map_or_else(
            || words::get().waiting_for_drops.to_owned(),
            |reading| {
                let whole = words::limits_with_unit(reading);
                if paint::width(ui, &whole, size) <= right.width() {
                    whole
                } else {
                    words::limits_short(reading)
                }
            },
        );
        lines.push((limits, palette.ink));
    }
    let ink = if told.state == FeedState::Stopped {
        palette.ink_danger
    } else {
        palette.ink
    };
    let mut last = words::last_drop(told);
    if let Some(secs) = told.last_drop_ago_secs
        && paint::width(ui, &last, size) > right.width()
    {
        last = words::ago(secs);
    }
    lines.push((last, ink));
    let name = words::feed_name(feed.feed, &feed.calibration.name);
    lines.push((name, palette.ink_soft));
    lines.push((words::counted(feed.drops, feed.bubbles), palette.ink_soft));
    for (i, (text, ink)) in lines.iter().enumerate().take(rows - 1) {
        paint::words(ui, row(i + 1), Align2::LEFT_CENTER, text, size, *ink);
    }
    if scale_height > 0.0 {
        let place = inner.with_min_y(inner.bottom() - scale_height + 2.0);
        scale::show(
            ui,
            place,
            feed.calibration.band,
            told.reading.as_ref(),
            palette,
        );
    }
}

fn blind(ui: &Ui, at: &Places, told: &Told, palette: &Palette) {
    let place = at.figure.union(at.beside);
    let word = words::state(FeedState::CannotSee);
    let mut size = (place.height() * 0.42).clamp(LEAST_LETTERS, 64.0);
    while size > LEAST_LETTERS && paint::width(ui, word, size) > place.width() {
        size -= 0.5;
    }
    let upper = place.with_max_y(place.top() + place.height() * 0.56);
    let lower = place.with_min_y(upper.bottom());
    paint::painted(
        ui,
        upper,
        Align2::LEFT_CENTER,
        words::state(FeedState::CannotSee),
        letters(size),
        palette.figure,
    );
    paint::paragraph(
        ui,
        lower,
        Align2::LEFT_TOP,
        &told.why_blind,
        at.small * 1.15,
        palette.ink,
    );
}

fn reading(ui: &Ui, at: &Places, feed: &FeedSnapshot, told: &Told, palette: &Palette) {
    let height = at.figure.height();
    let figure = told
        .reading
        .as_ref()
        .map_or_else(|| words::get().no_figure.to_owned(), words::large_rate);
    let ink = if told.reading.is_some() {
        palette.figure
    } else {
        palette.ink_soft
    };
    figures::draw(ui.painter(), at.figure.right_bottom(), height, &figure, ink);
    let said = told.reading.as_ref().map_or_else(
        || words::get().waiting_for_drops.to_owned(),
        words::said_rate,
    );
    paint::say(ui, at.figure, &said);
    // Unit and limits always; under them doubts, or where there are none the band.
    let step = (at.small * 1.5).min(at.beside.height() / 2.0);
    let limits = told
        .reading
        .as_ref()
        .map_or_else(|| words::get().waiting_for_drops.to_owned(), words::limits);
    let band = words::band(feed.calibration.band);
    let doubts = words::doubts(&feed.doubts);
    let (third, third_ink) = if feed.doubts.is_empty() {
        (&band, palette.ink_soft)
    } else {
        (&doubts, palette.ink)
    };
    let third_rows = ((at.beside.height() / step).floor() - 2.0).clamp(0.0, 3.0);
    // The first two lines stand where they would with a band under them, doubts or none.
    let top = at.beside.center().y - step * 1.5f32.min(1.0 + third_rows / 2.0);
    let row = |i: f32, rows: f32| {
        Rect::from_min_size(
            pos2(at.beside.left(), top + i * step),
            vec2(at.beside.width(), rows * step),
        )
    };
    let left = Align2::LEFT_CENTER;
    paint::words(
        ui,
        row(0.0, 1.0),
        left,
        words::get().unit,
        at.small * 1.15,
        palette.ink,
    );
    paint::words(ui, row(1.0, 1.0), left, &limits, at.small, palette.ink);
    if third_rows >= 1.0 {
        let room = row(2.0, 1.0).with_max_y(at.beside.bottom() + at.small * 0.5);
        let size = if feed.doubts.is_empty() {
            at.small
        } else {
            at.small * 0.9
        };
        paint::paragraph(ui, room, Align2::LEFT_TOP, third, size, third_ink);
        if !feed.doubts.is_empty() {
            let id = ui.scope_id().with(("doubts", feed.feed));
            ui.interact(room, id, Sense::hover()).on_hover_text(doubts);
        }
    }
}

fn foot(ui: &Ui, at: &Places, feed: &FeedSnapshot, told: &Told, palette: &Palette) {
    let ink = if told.state == FeedState::Stopped {
        palette.ink_danger
    } else {
        palette.ink
    };
    paint::words(
        ui,
        at.last_drop,
        Align2::LEFT_CENTER,
        &words::last_drop(told),
        at.small,
        ink,
    );
    paint::words(
        ui,
        at.counted,
        Align2::RIGHT_CENTER,
        &words::counted(feed.drops, feed.bubbles),
        at.small,
        palette.ink,
    );
}
