//! The bars that stay in every view: at the top what is watched and how old the picture is, at the
//! foot alarms (or, when there are none, words from the instrument) and the row of keys.

use eframe::egui::accesskit::{Live, Role};
use eframe::egui::{
    Align2, CornerRadius, Rect, Response, Sense, Stroke, StrokeKind, Ui, WidgetInfo, pos2, vec2,
};

use crate::base::FeedNumber;
use crate::judge::{Alarm, AlarmState, Cause, FeedState};
use crate::run::Notice;
use crate::ui::fresh::Fresh;
use crate::ui::keys::{Action, cap};
use crate::ui::paint::{self, KeyFace, Lit, Usable};
use crate::ui::shapes;
use crate::ui::style::letters;
use crate::ui::theme::Palette;
use crate::ui::words;

/// A picture older than this, seconds, is told in words of warning: at the least camera rate a
/// glass can be judged by, four a second, it is four pictures late.
pub const OLD_PICTURE_SECS: f64 = 1.0;

/// Draws the top bar.
pub fn top(ui: &Ui, rect: Rect, fresh: &Fresh, clock: &str, palette: &Palette) {
    let snapshot = fresh.snapshot();
    let size = (rect.height() * 0.44).clamp(12.0, 17.0);
    let side = rect.height() * 0.86;
    let mark = Rect::from_min_size(
        pos2(rect.left(), rect.center().y - side / 2.0),
        vec2(side, side),
    );
    shapes::makers_mark(ui.painter(), mark, palette);
    let wide = rect.width() >= 900.0;
    let mut left = mark.right() + 4.0;
    if wide {
        let place = Rect::from_min_max(pos2(left, rect.top()), pos2(left + 108.0, rect.bottom()));
        paint::words(
            ui,
            place,
            Align2::LEFT_CENTER,
            words::get().program,
            size * 1.25,
            palette.ink,
        );
        left = place.right();
    }
    let clock_width = size * 3.6;
    let clock_place = rect.with_min_x(rect.right() - clock_width);
    paint::painted(
        ui,
        clock_place,
        Align2::RIGHT_CENTER,
        clock,
        letters(size * 1.15),
        palette.ink,
    );
    paint::say(ui, clock_place, &words::clock_is(clock));
    // Three equal places: source, age of the picture, run.
    let room = (clock_place.left() - left - 8.0).max(30.0);
    let place = |from: f32, to: f32| {
        Rect::from_min_max(
            pos2(left + room * from, rect.top()),
            pos2(left + room * to - 10.0, rect.bottom()),
        )
    };
    let source_forms = snapshot.about.as_ref().map_or_else(
        || vec![words::get().no_source.to_owned()],
        |about| vec![words::source(&about.name), about.name.clone()],
    );
    let source_place = place(0.0, 0.3);
    let source = paint::fitting(ui, source_place.width(), size, &source_forms);
    let left_middle = Align2::LEFT_CENTER;
    paint::words(ui, source_place, left_middle, source, size, palette.ink);
    let age = fresh.picture_age_secs();
    let (age_forms, ink) = if snapshot.frame.is_none() {
        (
            vec![words::get().no_picture_yet.to_owned()],
            palette.ink_soft,
        )
    } else if snapshot.ended {
        (vec![words::get().clip_is_over.to_owned()], palette.ink_soft)
    } else if age > OLD_PICTURE_SECS {
        (
            vec![words::old_picture(age), words::age_short(age)],
            palette.ink_danger,
        )
    } else {
        let whole = words::picture_age(age, snapshot.frames_per_second);
        (
            vec![whole, words::picture_age_only(age), words::age_short(age)],
            palette.ink,
        )
    };
    let age_place = place(0.3, 0.64);
    let age_words = paint::fitting(ui, age_place.width(), size, &age_forms);
    paint::words(ui, age_place, left_middle, age_words, size, ink);
    let run_place = place(0.64, 1.0);
    match &snapshot.run {
        Some(run) => {
            let dot = pos2(run_place.left() + size * 0.5, run_place.center().y);
            ui.painter().circle_filled(dot, size * 0.36, palette.danger);
            ui.painter()
                .circle_stroke(dot, size * 0.36, Stroke::new(1.0, palette.ink));
            let now = fresh.source_secs();
            let so_far = now - run.from_secs;
            let mut forms = vec![
                words::run(run.id, so_far, run.drops),
                words::run_and_time(run.id, so_far),
                words::length(so_far),
            ];
            if let Some(until) = run.until_secs {
                forms.insert(0, words::run_ends_in(&forms[0], until - now));
                forms.insert(2, words::run_ends_in(&forms[2], until - now));
            }
            let words_place = run_place.with_min_x(dot.x + size * 0.8);
            let run_words = paint::fitting(ui, words_place.width(), size, &forms);
            paint::words(ui, words_place, left_middle, run_words, size, palette.ink);
        }
        None => {
            paint::words(
                ui,
                run_place,
                Align2::LEFT_CENTER,
                words::get().no_run,
                size,
                palette.ink_soft,
            );
        }
    }
}

/// What was asked for at the alarms.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum AlarmAsk {
    /// Acknowledge this one.
    One(Option<FeedNumber>, Cause),
    /// Acknowledge all.
    All,
}

/// The phase of what blinks: only alarms that nobody acknowledged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Blink {
    /// Bright edge.
    Bright,
    /// Dull edge.
    Dull,
}

/// Half a period of blinking, seconds: one blink a second, far below the three of WCAG 2.2, 2.3.1.
pub const BLINK_SECS: f64 = 0.5;

/// Whether an alarm still wants to be acknowledged.
#[must_use]
pub fn wants_acknowledging(alarm: &Alarm) -> bool {
    matches!(
        alarm.state,
        AlarmState::Unacknowledged | AlarmState::ReturnedUnacknowledged
    )
}

/// Draws the alarms, or words from the instrument.
pub fn alarms(
    ui: &Ui,
    rect: Rect,
    fresh: &Fresh,
    notice: Option<&Notice>,
    blink: Blink,
    palette: &Palette,
) -> Option<AlarmAsk> {
    let alarms = &fresh.snapshot().alarms;
    ui.painter().rect(
        rect,
        CornerRadius::same(5),
        palette.plate,
        Stroke::new(1.0, palette.brass),
        StrokeKind::Inside,
    );
    let inner = rect.shrink(4.0);
    if alarms.is_empty() {
        let oil = words::oil_of_all(&fresh.snapshot().oil);
        let place = inner.shrink2(vec2(8.0, 0.0));
        notice_line(ui, place, notice, oil.as_deref(), palette);
        return None;
    }
    let now = fresh.source_secs();
    let mut ask = None;
    let key_width = (inner.width() * 0.2).clamp(96.0, 230.0);
    let key_place = inner.with_min_x(inner.right() - key_width);
    let waiting = alarms.iter().filter(|a| wants_acknowledging(a)).count();
    let mut room = inner.with_max_x(key_place.left() - 6.0);
    if notice.is_some() {
        let share = room.with_min_x(room.left() + room.width() * 0.66);
        room.set_right(share.left() - 6.0);
        notice_line(ui, share, notice, None, palette);
    }
    let least = 236.0_f32;
    let fits = ((room.width() / least).floor() as usize).clamp(1, alarms.len());
    let more = alarms.len() - fits;
    let more_width = if more > 0 { 64.0 } else { 0.0 };
    let each = ((room.width() - more_width) / fits as f32).min(420.0);
    for (i, alarm) in alarms.iter().take(fits).enumerate() {
        let place = Rect::from_min_size(
            pos2(room.left() + each * i as f32, room.top()),
            vec2(each - 6.0, room.height()),
        );
        if alarm_plate(ui, place, alarm, now, blink, palette).clicked()
            && wants_acknowledging(alarm)
        {
            ask = Some(AlarmAsk::One(alarm.feed, alarm.cause));
        }
    }
    if more > 0 {
        let place = room.with_min_x(room.left() + each * fits as f32);
        paint::words(
            ui,
            place,
            Align2::LEFT_CENTER,
            &words::more_alarms(more),
            15.0,
            palette.ink,
        );
    }
    let face = KeyFace {
        words: words::get().acknowledge,
        cap: cap(Action::Acknowledge),
        usable: Usable::from(waiting > 0),
        lit: Lit::No,
    };
    if paint::key(ui, key_place, "acknowledge", &face, palette).clicked() {
        ask = Some(AlarmAsk::All);
    }
    announce(ui, rect, alarms);
    ask
}

/// Tells a screen reader at once when the alarms change.
fn announce(ui: &Ui, rect: Rect, alarms: &[Alarm]) {
    let all: Vec<String> = alarms.iter().map(words::alarm).collect();
    let id = ui.scope_id().with("alarms-announced");
    paint::say_as(ui, rect.with_max_y(rect.top() + 1.0), id, &all.join(". "));
    ui.ctx()
        .accesskit_node_builder(id, |node| node.set_live(Live::Assertive));
}

/// Words from the instrument; without any, that there are no alarms, and how the oil stands.
fn notice_line(ui: &Ui, rect: Rect, notice: Option<&Notice>, oil: Option<&str>, palette: &Palette) {
    let no_alarms = match oil {
        Some(oil) => words::no_alarms_and(oil),
        None => words::get().no_alarms.to_owned(),
    };
    let (text, ink) = match notice {
        Some(notice) if notice.is_error => (notice.words.as_str(), palette.ink_danger),
        Some(notice) => (notice.words.as_str(), palette.ink),
        None => (no_alarms.as_str(), palette.ink_soft),
    };
    let largest = (rect.height() * 0.5).clamp(12.0, 16.0);
    let one_line = paint::width(ui, text, largest) <= rect.width();
    let size = if one_line { largest } else { 12.5 };
    // With little room the first sentence stands alone: whole sentences rather than half ones.
    let mut forms = vec![text.to_owned()];
    forms.extend(text.split_once(". ").map(|(first, _)| first.to_owned()));
    if text == words::get().no_sound {
        forms.push(words::get().no_sound_short.to_owned());
    }
    let shown = paint::fitting_paragraph(ui, rect, size, &forms);
    paint::paragraph(ui, rect, Align2::LEFT_CENTER, shown, size, ink);
    paint::announce_politely(ui, rect);
    if !one_line {
        let id = ui.scope_id().with("whole-notice");
        ui.interact(rect, id, Sense::hover()).on_hover_text(text);
    }
}

fn alarm_plate(
    ui: &Ui,
    place: Rect,
    alarm: &Alarm,
    now_secs: f64,
    blink: Blink,
    palette: &Palette,
) -> Response {
    let id = ui.scope_id().with(("alarm", alarm.feed, alarm.cause));
    let waits = wants_acknowledging(alarm);
    let sense = if waits {
        Sense::click()
    } else {
        Sense::hover()
    };
    let response = ui.interact(place, id, sense);
    let text = words::alarm(alarm);
    response.widget_info(|| {
        let mut info = WidgetInfo::labeled(
            if waits { Role::Button } else { Role::Label },
            true,
            if waits {
                words::acknowledge_one(alarm)
            } else {
                text.clone()
            },
        );
        if waits {
            info.current_text_value = Some(text.clone());
        }
        info
    });
    let badge = palette.alarm(alarm.cause, alarm.state);
    ui.painter().rect_filled(place, 4.0, badge.fill);
    if alarm.state == AlarmState::Unacknowledged {
        let edge = match blink {
            Blink::Bright => badge.ink,
            Blink::Dull => badge.fill,
        };
        ui.painter().rect_stroke(
            place.shrink(2.0),
            3.0,
            Stroke::new(2.0, edge),
            StrokeKind::Inside,
        );
    }
    let side = place.height() * 0.5;
    let square = Rect::from_center_size(
        pos2(place.left() + side * 0.95, place.center().y),
        vec2(side, side),
    );
    shapes::verdict(ui.painter(), square, state_of(alarm.cause), badge.ink);
    let rows = place
        .with_min_x(square.right() + side * 0.35)
        .with_max_x(place.right() - 6.0)
        .shrink2(vec2(0.0, 3.0));
    let put = |at: Rect, text: &str, size: f32| {
        paint::painted(ui, at, Align2::LEFT_CENTER, text, letters(size), badge.ink);
    };
    if rows.height() < 28.0 {
        put(rows, &words::alarm_in_a_line(alarm, now_secs), 13.0);
    } else {
        let size = (place.height() * 0.35).clamp(12.0, 15.0);
        let middle = rows.center().y;
        put(rows.with_max_y(middle), &words::alarm_what(alarm), size);
        let since = words::alarm_since(alarm, now_secs);
        put(rows.with_min_y(middle), &since, (size - 2.0).max(12.0));
    }
    if response.has_focus() {
        shapes::focus_ring(ui.painter(), place, palette);
    }
    response
}

/// The shape that stands for a cause.
fn state_of(cause: Cause) -> FeedState {
    match cause {
        Cause::Stopped | Cause::LogbookNotWritten => FeedState::Stopped,
        Cause::FarHigh => FeedState::FarHigh,
        Cause::Low => FeedState::Low,
        Cause::High => FeedState::High,
        Cause::CannotSee | Cause::CameraLost => FeedState::CannotSee,
    }
}

/// A key of the row.
#[derive(Clone, Copy, Debug)]
pub struct RowKey {
    /// What it does.
    pub action: Action,
    /// Its words.
    pub words: &'static str,
    /// Whether it can be used now.
    pub usable: Usable,
    /// Whether it is on.
    pub lit: Lit,
}

/// Draws the row of keys; gives the actions asked for.
pub fn keys(ui: &Ui, rect: Rect, row: &[RowKey], palette: &Palette) -> Vec<Action> {
    let gap = 5.0;
    let width = (rect.width() - gap * row.len().saturating_sub(1) as f32) / row.len().max(1) as f32;
    let mut found = Vec::new();
    for (i, key) in row.iter().enumerate() {
        let place = Rect::from_min_size(
            pos2(rect.left() + (width + gap) * i as f32, rect.top()),
            vec2(width, rect.height()),
        );
        let face = KeyFace {
            words: key.words,
            cap: cap(key.action),
            usable: key.usable,
            lit: key.lit,
        };
        let salt = cap(key.action);
        if paint::key(ui, place, salt, &face, palette).clicked() {
            found.push(key.action);
        }
    }
    found
}
