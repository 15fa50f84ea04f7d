//! Sentences with figures or names in them. What they are made of stands in the languages' files.

use super::{get, put};
use crate::base::{Band, BlindWhy, FeedNumber, GlassKind};
use crate::judge::{Alarm, AlarmState, Cause, FeedState};
use crate::rate::Reading;
use crate::ui::feed_panel::Told;

/// A figure with so many decimals, as the language writes it.
#[must_use]
pub fn figure(value: f64, decimals: usize) -> String {
    let plain = format!("{value:.decimals$}");
    match get().decimal_point {
        "." => plain,
        point => plain.replace('.', point),
    }
}

/// A verdict's word.
#[must_use]
pub fn state(state: FeedState) -> &'static str {
    let words = get();
    match state {
        FeedState::InBand => words.state_in_band,
        FeedState::Low => words.state_low,
        FeedState::High => words.state_high,
        FeedState::FarHigh => words.state_far_high,
        FeedState::Stopped => words.state_stopped,
        FeedState::CannotSee => words.state_cannot_see,
        FeedState::NoReadingYet => words.state_no_reading_yet,
    }
}

/// Why a glass cannot be judged.
#[must_use]
pub fn blind(why: BlindWhy) -> &'static str {
    let words = get();
    match why {
        BlindWhy::Starting => words.blind_starting,
        BlindWhy::NoFrames => words.blind_no_frames,
        BlindWhy::CameraLost => words.blind_camera_lost,
        BlindWhy::Frozen => words.blind_frozen,
        BlindWhy::Dark => words.blind_dark,
        BlindWhy::LightChanged => words.blind_light_changed,
        BlindWhy::Moved => words.blind_moved,
        BlindWhy::Covered => words.blind_covered,
        BlindWhy::Flooded => words.blind_flooded,
    }
}

/// What an alarm is about, in a word.
#[must_use]
pub fn cause(cause: Cause) -> &'static str {
    let words = get();
    match cause {
        Cause::Stopped => words.cause_stopped,
        Cause::FarHigh => words.cause_far_high,
        Cause::Low => words.cause_low,
        Cause::High => words.cause_high,
        Cause::CannotSee => words.cause_cannot_see,
        Cause::CameraLost => words.cause_camera_lost,
        Cause::LogbookNotWritten => words.cause_logbook,
    }
}

/// The state of an alarm, in a word.
#[must_use]
pub fn alarm_state(state: AlarmState) -> &'static str {
    let words = get();
    match state {
        AlarmState::Normal => words.alarm_normal,
        AlarmState::Unacknowledged => words.alarm_unacknowledged,
        AlarmState::Acknowledged => words.alarm_acknowledged,
        AlarmState::ReturnedUnacknowledged => words.alarm_returned,
        AlarmState::Shelved => words.alarm_shelved,
    }
}

/// The word for a kind of glass.
#[must_use]
pub fn kind(kind: GlassKind) -> &'static str {
    match kind {
        GlassKind::Tube => get().tube,
        GlassKind::Port => get().port,
    }
}

/// A verdict, in a line.
#[must_use]
pub fn state_explained(verdict: FeedState) -> String {
    let words = get();
    let what = match verdict {
        FeedState::InBand => words.in_band_explained,
        FeedState::Low => words.low_explained,
        FeedState::High => words.high_explained,
        FeedState::FarHigh => words.far_high_explained,
        FeedState::Stopped => words.stopped_explained,
        FeedState::CannotSee => words.cannot_see_explained,
        FeedState::NoReadingYet => words.no_reading_yet_explained,
    };
    put!(explained, word = state(verdict), what = what)
}

/// What a feed is called.
#[must_use]
pub fn feed_name(feed: FeedNumber, name: &str) -> String {
    if name.is_empty() {
        put!(feed_number, feed = feed)
    } else {
        name.to_owned()
    }
}

/// The name of a panel that can be chosen.
#[must_use]
pub fn choose_feed(name: &str) -> String {
    put!(choose_feed, name = name)
}

/// A feed in one sentence, for a screen reader.
#[must_use]
pub fn feed_sentence(name: &str, told: &Told) -> String {
    let figure = match (&told.reading, told.state) {
        (_, FeedState::CannotSee) => told.why_blind.clone(),
        (Some(reading), _) => put!(
            reading_said,
            rate = said_rate(reading),
            limits = limits(reading)
        ),
        (None, _) => get().waiting_for_drops.to_owned(),
    };
    put!(
        feed_sentence,
        name = name,
        state = state(told.state),
        figure = figure,
        last = last_drop(told)
    )
}

/// The large figure: always one decimal under a hundred, so that its place never changes.
#[must_use]
pub fn large_rate(reading: &Reading) -> String {
    let rate = reading.drops_per_minute;
    if !rate.is_finite() {
        get().no_figure.to_owned()
    } else if rate < 99.95 {
        figure(rate, 1)
    } else {
        figure(rate, 0)
    }
}

/// The figure as it is said.
#[must_use]
pub fn said_rate(reading: &Reading) -> String {
    format!("{} {}", large_rate(reading), get().unit)
}

/// The limits of a reading.
#[must_use]
pub fn limits(reading: &Reading) -> String {
    put!(
        limits,
        low = fine_rate(reading.low),
        high = fine_rate(reading.high)
    )
}

/// The limits and the unit, where there is little room.
#[must_use]
pub fn limits_with_unit(reading: &Reading) -> String {
    put!(
        limits_with_unit,
        low = fine_rate(reading.low),
        high = fine_rate(reading.high),
        unit = get().unit_short
    )
}

/// The limits alone, where there is hardly any room.
#[must_use]
pub fn limits_short(reading: &Reading) -> String {
    put!(
        limits_short,
        low = fine_rate(reading.low),
        high = fine_rate(reading.high)
    )
}

/// A rate with two decimals, or one from ten on.
#[must_use]
pub fn fine_rate(rate: f64) -> String {
    if rate < 9.995 {
        figure(rate, 2)
    } else {
        figure(rate, 1)
    }
}

/// A rate as short as it can be: `2`, `2.5`.
#[must_use]
pub fn short_rate(rate: f64) -> String {
    let plain = format!("{}", (rate * 100.0).round() / 100.0);
    plain.replace('.', get().decimal_point)
}

/// The band.
#[must_use]
pub fn band(band: Band) -> String {
    put!(
        band,
        low = short_rate(band.low_per_minute),
        high = short_rate(band.high_per_minute)
    )
}

/// Time since the last drop.
#[must_use]
pub fn last_drop(told: &Told) -> String {
    match (told.state, told.last_drop_ago_secs) {
        (FeedState::CannotSee, _) => get().not_counting.to_owned(),
        (_, Some(secs)) => put!(last_drop_ago, time = length(secs)),
        (_, None) => get().no_drop_yet.to_owned(),
    }
}

/// So many drops.
#[must_use]
pub fn drops(drops: u64) -> String {
    if drops == 1 {
        get().one_drop.to_owned()
    } else {
        put!(some_drops, drops = drops)
    }
}

/// What was counted.
#[must_use]
pub fn counted(oil: u64, bubbles: u64) -> String {
    if bubbles == 0 {
        drops(oil)
    } else {
        put!(drops_and_gas, drops = drops(oil), gas = bubbles)
    }
}

/// Doubts, in one line.
#[must_use]
pub fn doubts(doubts: &[String]) -> String {
    put!(doubts, doubts = doubts.join("; "))
}

/// A length of time: `12 s`, `3 min 04 s`, `1 h 12 min`.
#[must_use]
pub fn length(secs: f64) -> String {
    let whole = if secs.is_finite() {
        secs.max(0.0).floor() as u64
    } else {
        0
    };
    if whole < 60 {
        put!(secs, secs = whole)
    } else if whole < 3600 {
        put!(
            mins_secs,
            mins = whole / 60,
            secs = format!("{:02}", whole % 60)
        )
    } else {
        put!(
            hours_mins,
            hours = whole / 3600,
            mins = format!("{:02}", whole / 60 % 60)
        )
    }
}

/// A length of time in as few letters as it needs: `45 s`, `15 min`, `2 h`.
#[must_use]
pub fn short_length(secs: f64) -> String {
    let whole = if secs.is_finite() {
        secs.max(0.0).round() as u64
    } else {
        0
    };
    if whole < 120 {
        put!(secs, secs = whole)
    } else if whole < 7200 {
        put!(mins, mins = whole / 60)
    } else {
        put!(hours, hours = whole / 3600)
    }
}

/// A feed's number and, when it has one, its name.
#[must_use]
pub fn number_and_name(feed: FeedNumber, name: &str) -> String {
    if name.is_empty() {
        feed.to_string()
    } else {
        format!("{feed}  {name}")
    }
}

/// How long ago.
#[must_use]
pub fn ago(secs: f64) -> String {
    put!(ago, time = length(secs))
}

/// The source's name in the top bar.
#[must_use]
pub fn source(name: &str) -> String {
    put!(watching, name = name)
}

/// The words that open a camera.
#[must_use]
pub fn camera_source(identity: &str) -> String {
    format!("camera:{identity}")
}

/// Age of the newest picture and frames a second.
#[must_use]
pub fn picture_age(age_secs: f64, frames_per_second: f64) -> String {
    put!(
        picture_age,
        age = figure(age_secs, 1),
        fps = figure(frames_per_second, 0)
    )
}

/// A picture that is too old.
#[must_use]
pub fn old_picture(age_secs: f64) -> String {
    put!(old_picture, time = length(age_secs))
}

/// The run under way.
#[must_use]
pub fn run(id: i64, secs: f64, count: u64) -> String {
    put!(run, run = id, time = length(secs), drops = drops(count))
}

/// The clock, said.
#[must_use]
pub fn clock_is(clock: &str) -> String {
    put!(clock, clock = clock)
}

/// What an alarm is about.
#[must_use]
pub fn alarm_what(alarm: &Alarm) -> String {
    if let Some(feed) = alarm.feed {
        return put!(alarm_of_feed, feed = feed, cause = cause(alarm.cause));
    }
    let mut words = cause(alarm.cause).to_owned();
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words
}

/// The state of an alarm, short enough for its plate, and since when.
#[must_use]
pub fn alarm_since(alarm: &Alarm, now_secs: f64) -> String {
    let state = match alarm.state {
        AlarmState::ReturnedUnacknowledged => get().alarm_returned_short,
        other => alarm_state(other),
    };
    put!(
        alarm_state_since,
        state = state,
        time = length(now_secs - alarm.since_secs)
    )
}

/// An alarm where there is room for one line.
#[must_use]
pub fn alarm_in_a_line(alarm: &Alarm, now_secs: f64) -> String {
    put!(
        alarm_line,
        what = alarm_what(alarm),
        time = short_length(now_secs - alarm.since_secs)
    )
}

/// An alarm in one sentence.
#[must_use]
pub fn alarm(alarm: &Alarm) -> String {
    put!(
        alarm_sentence,
        what = alarm_what(alarm),
        state = alarm_state(alarm.state)
    )
}

/// The name of the plate that acknowledges one alarm.
#[must_use]
pub fn acknowledge_one(alarm: &Alarm) -> String {
    put!(acknowledge_this, what = alarm_what(alarm))
}

/// Alarms for which there is no room.
#[must_use]
pub fn more_alarms(more: usize) -> String {
    put!(more_alarms, more = more)
}

/// The strip of a glass, said.
#[must_use]
pub fn strip_of(name: &str) -> String {
    put!(strip_of, name = name)
}

/// The rate plot of a feed, said.
#[must_use]
pub fn history_of(name: &str) -> String {
    put!(history_of, name = name)
}

/// Which outline is chosen, said.
#[must_use]
pub fn chosen_outline(index: Option<usize>) -> String {
    match index {
        None => get().none_chosen.to_owned(),
        Some(index) => put!(outline_chosen, number = index + 1),
    }
}

/// One outline in the list.
#[must_use]
pub fn outline_row(index: usize, name: &str, glass: GlassKind) -> String {
    let feed = FeedNumber::from_index(index);
    put!(
        outline_row,
        feed = feed,
        name = feed_name(feed, name),
        kind = kind(glass)
    )
}

/// Why a calibration is not put in force.
#[must_use]
pub fn not_in_force(index: Option<usize>, fault: &str) -> String {
    match index {
        Some(index) => put!(
            not_in_force_of,
            feed = FeedNumber::from_index(index),
            fault = fault
        ),
        None => put!(not_in_force, fault = fault),
    }
}

/// The scale in force.
#[must_use]
pub fn scale_now(px_per_mm: Option<f64>) -> String {
    match px_per_mm {
        None => get().scale_unknown.to_owned(),
        Some(scale) => put!(scale_now, scale = figure(scale, 3)),
    }
}

/// The key that takes the scale from two points.
#[must_use]
pub fn scale_from_points(length_px: f64) -> String {
    put!(scale_from_points, length = figure(length_px, 1))
}

/// No window can be opened.
#[must_use]
pub fn no_window(why: &str) -> String {
    put!(no_window, why = why)
}

/// A source is being opened.
#[must_use]
pub fn opening(source: &str) -> String {
    put!(opening, source = source)
}

/// A source could not be opened; `why` says what to do.
#[must_use]
pub fn not_opened(source: &str, why: &str) -> String {
    put!(not_opened, source = source, why = why)
}

/// The demo's faults that strike one feed, for so many feeds, then those of the whole picture, in
/// the demo's own words.
#[must_use]
pub fn demo_faults(feeds: usize) -> Vec<String> {
    let of_feeds = (1..=feeds).flat_map(|feed| {
        ["stop", "fast", "flood"]
            .into_iter()
            .map(move |fault| format!("{fault} {feed}"))
    });
    let of_all = [
        "shake", "flicker", "steam", "exposure", "passer", "frozen", "dark", "knock", "stall",
        "clear",
    ];
    of_feeds.chain(of_all.map(str::to_owned)).collect()
}

/// A part of the instrument gives no sign of life.
#[must_use]
pub fn silent_part(part: &str, secs: f64) -> String {
    let words = get();
    let work = match part {
        "capture" => words.part_capture,
        "measure" => words.part_measure,
        "log" => words.part_log,
        other => other,
    };
    put!(silent_part, work = work, time = length(secs))
}

/// A mark was kept.
#[must_use]
pub fn mark_kept(words: &str) -> String {
    put!(mark_kept, words = words)
}

/// A calibration was written.
#[must_use]
pub fn saved_to(path: &str) -> String {
    put!(saved_to, path = path)
}

/// A calibration was read.
#[must_use]
pub fn loaded_from(path: &str) -> String {
    put!(loaded_from, path = path)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lengths_of_time_read_well() {
        assert_eq!(length(0.0), "0 s");
        assert_eq!(length(59.9), "59 s");
        assert_eq!(length(184.0), "3 min 04 s");
        assert_eq!(length(4350.0), "1 h 12 min");
        assert_eq!(length(f64::NAN), "0 s");
        assert_eq!(length(-3.0), "0 s");
        assert_eq!(short_length(900.0), "15 min");
    }

    #[test]
    fn the_large_figure_keeps_its_form() {
        let reading = |drops_per_minute: f64| Reading {
            drops_per_minute,
            low: 1.0,
            high: 12.345,
            scatter: 0.1,
            drops: 5,
        };
        assert_eq!(large_rate(&reading(2.46)), "2.5");
        assert_eq!(large_rate(&reading(12.34)), "12.3");
        assert_eq!(large_rate(&reading(99.96)), "100");
        assert_eq!(large_rate(&reading(f64::NAN)), get().no_figure);
        assert_eq!(limits(&reading(2.0)), "95 %: 1.00 to 12.3");
    }

    #[test]
    fn german_figures_have_a_comma() {
        crate::ui::words::speak(crate::ui::words::Language::German);
        assert_eq!(fine_rate(2.5), "2,50");
        assert_eq!(short_rate(2.5), "2,5");
        crate::ui::words::speak(crate::ui::words::Language::English);
    }
}
