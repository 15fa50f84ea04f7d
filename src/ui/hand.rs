//! The hand check: a large field to tap at each bead a person sees, and what the taps come to
//! beside the counted drops. While a check goes on nothing of the tool's count is shown, so that it
//! cannot lead the eye. It keeps no time of its own: a tap is an intent, sent at once.

use eframe::egui::accesskit::Role;
use eframe::egui::{Align2, Rect, RichText, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2};

use crate::base::FeedNumber;
use crate::rate::{Agreement, HandCheck};
use crate::run::hand_check::HandCheckState;
use crate::run::{FeedSnapshot, Intent};
use crate::ui::bars::RowKey;
use crate::ui::fitter::glove_keys;
use crate::ui::flash::FLASH_SECS;
use crate::ui::fresh::Fresh;
use crate::ui::keys::{Action, cap};
use crate::ui::paint::{self, Lit, Usable};
use crate::ui::setup::steps::side;
use crate::ui::theme::Palette;
use crate::ui::words;
use crate::ui::{figures, layout, shapes};

/// How far a hand check has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Stage {
    /// There is none.
    None,
    /// A person taps.
    Tapping,
    /// It has ended, and its last drops are still to be counted.
    Settling,
    /// Its result stands.
    Told,
}

impl Stage {
    /// Of a check, if there is one.
    #[must_use]
    pub fn of(check: Option<&HandCheckState>) -> Self {
        match check {
            None => Self::None,
            Some(check) if check.ended_secs.is_none() => Self::Tapping,
            Some(check) if !check.is_settled => Self::Settling,
            Some(_) => Self::Told,
        }
    }
}

/// What was asked for in the view.
#[derive(Clone, Debug)]
pub enum HandAsk {
    /// What a key does.
    Act(Action),
    /// Something of the instrument.
    Send(Intent),
}

/// What the view draws from.
pub struct With<'a> {
    /// What the instrument told last.
    pub fresh: &'a Fresh,
    /// The chosen feed.
    pub chosen: Option<FeedNumber>,
}

/// The view's memory: when the last tap was given, by the window's clock, seconds.
#[derive(Clone, Copy, Debug, Default)]
pub struct Hand {
    tapped_secs: Option<f64>,
}

impl Hand {
    /// A tap was given.
    pub fn tapped(&mut self, clock_secs: f64) {
        self.tapped_secs = Some(clock_secs);
    }

    /// Seconds until the field looks as before the last tap; none when it does.
    #[must_use]
    pub fn next_change_secs(&self, clock_secs: f64) -> Option<f64> {
        self.tapped_secs
            .map(|at| at + FLASH_SECS - clock_secs)
            .filter(|left| *left > 0.0)
    }

    /// Draws the view.
    pub(super) fn show(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        with: &With<'_>,
        palette: &Palette,
    ) -> Vec<HandAsk> {
        let snapshot = with.fresh.snapshot();
        let check = snapshot.hand_check.as_deref();
        let stage = Stage::of(check);
        let (upper, row) = layout::over_keys(rect);
        let (field, told) = layout::hand(upper);
        let mut asks = Vec::new();
        if self.field(ui, field, check, with, palette) {
            self.tapped(with.fresh.clock_secs());
            asks.push(HandAsk::Send(Intent::Tap));
        }
        let size = (told.height() * 0.036).clamp(15.0, 26.0);
        side(ui, told, "hand-told", palette, |ui| match check {
            Some(check) if stage == Stage::Told => result(ui, check, size, palette),
            Some(_) if stage == Stage::Settling => {
                large(ui, words::get().hand_settling, size * 1.4, palette);
            }
            _ => {
                large(ui, words::get().hand, size * 1.4, palette);
                let feed = check.map_or(with.chosen, |check| check.feed);
                let name = feed_words(feed, &snapshot.feeds);
                ui.label(RichText::new(words::hand_explained(&name)).size(size));
                ui.separator();
                ui.colored_label(palette.ink, words::get().caution);
            }
        });
        let keys = row_keys(stage, Usable::from(with.fresh.is_running()));
        asks.extend(
            glove_keys(ui, row, &keys, palette)
                .into_iter()
                .map(HandAsk::Act),
        );
        asks
    }

    /// The field to tap; says whether it was tapped.
    fn field(
        &self,
        ui: &Ui,
        rect: Rect,
        check: Option<&HandCheckState>,
        with: &With<'_>,
        palette: &Palette,
    ) -> bool {
        let is_tapping = Stage::of(check) == Stage::Tapping;
        let sense = if is_tapping {
            Sense::click()
        } else {
            Sense::hover()
        };
        let response = ui.interact(rect, ui.scope_id().with("tap-field"), sense);
        let field_words = words::get().hand_tap_here;
        response.widget_info(|| WidgetInfo::labeled(Role::Button, is_tapping, field_words));
        let clock_secs = with.fresh.clock_secs();
        let is_lit = self.next_change_secs(clock_secs).is_some();
        let fill = match (is_tapping, is_lit) {
            (true, true) => palette.plate_chosen,
            (true, false) => palette.key,
            (false, _) => palette.plate,
        };
        shapes::plate(ui.painter(), rect, fill, palette);
        if is_lit && is_tapping {
            let edge = Stroke::new(5.0, palette.focus);
            ui.painter()
                .rect_stroke(rect.shrink(4.0), 4.0, edge, StrokeKind::Inside);
        }
        let ink = if is_tapping {
            palette.figure
        } else {
            palette.ink_soft
        };
        let taps = check.map_or(0, |check| check.taps).to_string();
        let inner = rect.shrink(rect.height().min(rect.width()) * 0.08);
        let line = (inner.height() * 0.12).clamp(16.0, 46.0);
        let room = inner.with_max_y(inner.bottom() - line * 2.4);
        let height = room
            .height()
            .min(room.width() / figures::width(&"8".repeat(taps.len().max(3)), 1.0))
            .clamp(18.0, 260.0);
        let wide = figures::width(&taps, height);
        let foot = room.center() + vec2(wide / 2.0, height / 2.0);
        figures::draw(ui.painter(), foot, height, &taps, ink);
        let under = |i: f32| {
            Rect::from_min_size(
                pos2(inner.left(), room.bottom() + line * (0.2 + 1.1 * i)),
                vec2(inner.width(), line),
            )
        };
        let since = match check {
            Some(check) => {
                let to = check.ended_secs.unwrap_or_else(|| with.fresh.source_secs());
                words::hand_so_far(check.taps, to - check.from_secs)
            }
            None => words::get().hand_not_begun.to_owned(),
        };
        let middle = Align2::CENTER_CENTER;
        paint::words(ui, under(0.0), middle, &since, line * 0.62, palette.ink);
        if is_tapping {
            let hint = words::hand_tap_hint(cap(Action::Tap));
            paint::words(ui, under(1.0), middle, &hint, line * 0.62, palette.ink);
        }
        if response.has_focus() {
            shapes::focus_ring(ui.painter(), rect, palette);
        }
        // The tap is the finger coming down; a press by an aid or by Enter has no such moment.
        let (down, up) = ui.input(|input| {
            let pointer = &input.pointer;
            (pointer.primary_pressed(), pointer.primary_released())
        });
        is_tapping && ((down && response.contains_pointer()) || (response.clicked() && !up))
    }
}

/// The feed in words, or all of them.
fn feed_words(feed: Option<FeedNumber>, feeds: &[FeedSnapshot]) -> String {
    feed.and_then(|number| feeds.iter().find(|feed| feed.feed == number))
        .map_or_else(
            || words::get().hand_all_feeds.to_owned(),
            |feed| words::feed_name(feed.feed, &feed.calibration.name),
        )
}

fn row_keys(stage: Stage, runs: Usable) -> Vec<RowKey> {
    let words = words::get();
    let first = match stage {
        Stage::None => words.hand_start,
        Stage::Tapping | Stage::Settling => words.hand_end,
        Stage::Told => words.hand_again,
    };
    let may_choose = Usable::from(stage != Stage::Tapping);
    let key = |action, words, usable| RowKey {
        action,
        words,
        usable,
        lit: Lit::No,
    };
    let first_usable = if stage == Stage::Settling {
        Usable::No
    } else {
        runs
    };
    vec![
        key(Action::HandCheck, first, first_usable),
        key(Action::Neighbour(-1), words.feed_left, may_choose),
        key(Action::Neighbour(1), words.feed_right, may_choose),
        key(Action::Watch, words.hand_leave, Usable::Yes),
    ]
}

fn large(ui: &mut Ui, text: &str, size: f32, palette: &Palette) {
    ui.label(RichText::new(text).size(size).color(palette.ink));
}

/// What a check came to: whether the two agree, in words first; then who saw what.
fn result(ui: &mut Ui, check: &HandCheckState, size: f32, palette: &Palette) {
    let result: &HandCheck = &check.result;
    let badge = match result.agreement {
        Agreement::Agree => palette.badge_normal(),
        Agreement::TooFew => palette.badge_neutral(),
        Agreement::ToolLess | Agreement::ToolMore | Agreement::Disagree => palette.badge_caution(),
    };
    let verdict = RichText::new(words::hand_verdict(result.agreement))
        .size(size * 1.4)
        .color(badge.ink);
    eframe::egui::Frame::new()
        .fill(badge.fill)
        .corner_radius(4.0)
        .inner_margin(10.0)
        .show(ui, |ui| {
            ui.set_width(ui.available_width());
            ui.label(verdict);
        });
    ui.label(RichText::new(words::hand_advice(result)).size(size));
    ui.separator();
    let rows = [
        (words::get().hand_matched, result.matched, String::new()),
        (
            words::get().hand_missed_by_tool,
            result.missed_by_tool,
            words::hand_share(result.tool_missed),
        ),
        (
            words::get().hand_missed_by_person,
            result.missed_by_person,
            words::hand_share(result.person_missed),
        ),
        (words::get().hand_left_out, result.left_out, String::new()),
    ];
    for (what, count, share) in rows {
        ui.label(RichText::new(words::hand_row(what, count, &share)).size(size * 1.1));
    }
    ui.separator();
    ui.label(words::hand_lag(result));
    for line in words::hand_alone(result, check.from_secs) {
        ui.label(line);
    }
}
