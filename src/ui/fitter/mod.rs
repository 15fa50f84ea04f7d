//! The fitter's view: figures to be read from across the room, one feed or all, with a plain word
//! on whether to wait; under them keys for gloved hands. What a reading is worth is `settle`'s
//! business, the sheet is `sheet`'s.

pub mod settle;
pub mod sheet;

use eframe::egui::{Align2, Rect, Ui, pos2, vec2};

use crate::base::FeedNumber;
use crate::judge::FeedState;
use crate::run::FeedSnapshot;
use crate::ui::bars::RowKey;
use crate::ui::feed_panel::{self, Told};
use crate::ui::keys::{Action, cap};
use crate::ui::layout;
use crate::ui::paint::{self, KeyFace, Lit, Usable};
use crate::ui::shapes;
use crate::ui::style::{LEAST_LETTERS, letters};
use crate::ui::theme::Palette;
use crate::ui::words;

use settle::{Settling, settling};

/// Which feeds are shown.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Shown {
    /// All of them.
    #[default]
    All,
    /// The chosen one, as large as it goes.
    One,
}

impl Shown {
    /// The other way.
    #[must_use]
    pub fn other(self) -> Self {
        match self {
            Self::All => Self::One,
            Self::One => Self::All,
        }
    }
}

/// What was asked for in the view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FitterAsk {
    /// What a key does.
    Act(Action),
    /// A panel was pressed.
    Press(FeedNumber),
}

/// The feeds to show: all, or the chosen one (the first when none is chosen).
#[must_use]
pub fn shown_feeds(
    feeds: Vec<(FeedSnapshot, Told)>,
    shown: Shown,
    chosen: Option<FeedNumber>,
) -> Vec<(FeedSnapshot, Told)> {
    if shown == Shown::All {
        return feeds;
    }
    let wanted = chosen.or_else(|| feeds.first().map(|(feed, _)| feed.feed));
    feeds
        .into_iter()
        .filter(|(feed, _)| Some(feed.feed) == wanted)
        .collect()
}

/// Draws the view.
pub(super) fn show(
    ui: &Ui,
    rect: Rect,
    feeds: &[(FeedSnapshot, Told)],
    chosen: Option<FeedNumber>,
    keys: &[RowKey],
    palette: &Palette,
) -> Vec<FitterAsk> {
    let mut asks = Vec::new();
    let (upper, row) = layout::over_keys(rect);
    for ((feed, told), place) in feeds.iter().zip(layout::far(upper, feeds.len())) {
        let line_height = (place.height() * (1.0 - layout::PANEL_SHARE)).clamp(20.0, 76.0);
        let panel = place.with_max_y(place.bottom() - line_height - 3.0);
        let line = place.with_min_y(panel.bottom() + 3.0);
        let lit = Lit::from(chosen == Some(feed.feed));
        if feed_panel::show(ui, panel, feed, told, lit, palette).clicked() {
            asks.push(FitterAsk::Press(feed.feed));
        }
        settle_line(ui, line, feed, told, palette);
    }
    asks.extend(
        glove_keys(ui, row, keys, palette)
            .into_iter()
            .map(FitterAsk::Act),
    );
    asks
}

/// Draws a row of large keys; gives the actions asked for.
pub(super) fn glove_keys(ui: &Ui, row: Rect, keys: &[RowKey], palette: &Palette) -> Vec<Action> {
    let mut asked = Vec::new();
    let gap = 6.0;
    let width =
        (row.width() - gap * keys.len().saturating_sub(1) as f32) / keys.len().max(1) as f32;
    for (i, key) in keys.iter().enumerate() {
        let place = Rect::from_min_size(
            pos2(row.left() + (width + gap) * i as f32, row.top()),
            vec2(width, row.height()),
        );
        let face = KeyFace {
            words: key.words,
            cap: cap(key.action),
            usable: key.usable,
            lit: key.lit,
        };
        if paint::key(ui, place, &format!("glove-{i}"), &face, palette).clicked() {
            asked.push(key.action);
        }
    }
    asked
}

/// Whether to wait, in a shape and a word.
fn settle_line(ui: &Ui, rect: Rect, feed: &FeedSnapshot, told: &Told, palette: &Palette) {
    let (words, badge, state) = match (
        told.state,
        settling(told.reading.as_ref(), feed.calibration.band),
    ) {
        (FeedState::CannotSee, _) => (
            words::get().settle_blind.to_owned(),
            palette.badge_neutral(),
            FeedState::CannotSee,
        ),
        (FeedState::Stopped, _) => (
            words::get().settle_stopped.to_owned(),
            palette.badge_danger(),
            FeedState::Stopped,
        ),
        // Settled is not the same as well: the colour and the shape are the verdict's.
        (state, Settling::Settled) => {
            (words::get().settled.to_owned(), palette.state(state), state)
        }
        (_, waiting) => (
            words::wait_for(waiting),
            palette.badge_neutral(),
            FeedState::NoReadingYet,
        ),
    };
    ui.painter().rect(
        rect,
        4.0,
        badge.fill,
        eframe::egui::Stroke::new(1.0, palette.badge_edge()),
        eframe::egui::StrokeKind::Inside,
    );
    let side = rect.height() * 0.56;
    let square = Rect::from_center_size(
        pos2(rect.left() + rect.height() * 0.6, rect.center().y),
        vec2(side, side),
    );
    shapes::verdict(ui.painter(), square, state, badge.ink);
    let place = rect
        .with_min_x(square.right() + rect.height() * 0.3)
        .with_max_x(rect.right() - 6.0);
    let mut size = (rect.height() * 0.56).clamp(LEAST_LETTERS, 44.0);
    while size > LEAST_LETTERS && paint::width(ui, &words, size) > place.width() {
        size -= 0.5;
    }
    paint::painted(
        ui,
        place,
        Align2::LEFT_CENTER,
        &words,
        letters(size),
        badge.ink,
    );
    let id = ui.scope_id().with(("settle", feed.feed));
    paint::say_as(ui, rect, id, &words);
}

/// The keys under the figures.
pub(super) fn keys(shown: Shown, sound: Lit, runs: Usable) -> Vec<RowKey> {
    let words = words::get();
    let key = |action, words, usable, lit| RowKey {
        action,
        words,
        usable,
        lit,
    };
    let one_or_all = match shown {
        Shown::All => words.one_feed,
        Shown::One => words.all_feeds,
    };
    vec![
        key(Action::OneOrAll, one_or_all, Usable::Yes, Lit::No),
        key(Action::Neighbour(-1), words.feed_left, Usable::Yes, Lit::No),
        key(Action::Neighbour(1), words.feed_right, Usable::Yes, Lit::No),
        key(Action::MarkOpened, words.glove_open, runs, Lit::No),
        key(Action::MarkClosed, words.glove_close, runs, Lit::No),
        key(Action::DropSound, words.glove_sound, Usable::Yes, sound),
        key(Action::Sheet, words.glove_sheet, Usable::Yes, Lit::No),
    ]
}
