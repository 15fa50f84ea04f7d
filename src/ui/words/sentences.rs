//! Sentences with figures or names in them. What they are made of stands in the file above.

use super::{NO_FIGURE, UNIT, UNIT_SHORT, WAITING_FOR_DROPS};
use crate::base::{Band, FeedNumber, GlassKind};
use crate::judge::{Alarm, AlarmState, FeedState};
use crate::rate::Reading;
use crate::ui::feed_panel::Told;

/// A verdict, in a line.
#[must_use]
pub fn state_explained(state: FeedState) -> String {
    let what = match state {
        FeedState::InBand => "the rate is within its band",
        FeedState::Low => "under the low limit",
        FeedState::High => "over the high limit",
        FeedState::FarHigh => "over twice the high limit",
        FeedState::Stopped => "no drop for far longer than this feed's own interval",
        FeedState::CannotSee => "the glass cannot be judged now: no figure is shown",
        FeedState::NoReadingYet => "too few drops so far",
    };
    format!("{}: {what}", state.words())
}

/// What a feed is called.
#[must_use]
pub fn feed_name(feed: FeedNumber, name: &str) -> String {
    if name.is_empty() {
        format!("feed {feed}")
    } else {
        name.to_owned()
    }
}

/// The name of a panel that can be chosen.
#[must_use]
pub fn choose_feed(name: &str) -> String {
    format!("Choose {name}")
}

/// A feed in one sentence, for a screen reader.
#[must_use]
pub fn feed_sentence(name: &str, told: &Told) -> String {
    let figure = match (&told.reading, told.state) {
        (_, FeedState::CannotSee) => told.why_blind.clone(),
        (Some(reading), _) => format!("{}, {}", said_rate(reading), limits(reading)),
        (None, _) => WAITING_FOR_DROPS.to_owned(),
    };
    format!(
        "{name}: {}, {figure}, {}",
        told.state.words(),
        last_drop(told)
    )
}

/// The large figure: always one decimal under a hundred, so that its place never changes.
#[must_use]
pub fn large_rate(reading: &Reading) -> String {
    let rate = reading.drops_per_minute;
    if !rate.is_finite() {
        NO_FIGURE.to_owned()
    } else if rate < 99.95 {
        format!("{rate:.1}")
    } else {
        format!("{rate:.0}")
    }
}

/// The figure as it is said.
#[must_use]
pub fn said_rate(reading: &Reading) -> String {
    format!("{} {UNIT}", large_rate(reading))
}

/// The limits of a reading.
#[must_use]
pub fn limits(reading: &Reading) -> String {
    format!(
        "95 %: {} to {}",
        fine_rate(reading.low),
        fine_rate(reading.high)
    )
}

/// The limits and the unit, where there is little room.
#[must_use]
pub fn limits_with_unit(reading: &Reading) -> String {
    format!(
        "{} to {} {UNIT_SHORT}",
        fine_rate(reading.low),
        fine_rate(reading.high)
    )
}

/// A rate with two decimals, or one from ten on.
fn fine_rate(rate: f64) -> String {
    if rate < 9.995 {
        format!("{rate:.2}")
    } else {
        format!("{rate:.1}")
    }
}

/// A rate as short as it can be: `2`, `2.5`.
#[must_use]
pub fn short_rate(rate: f64) -> String {
    let rounded = (rate * 100.0).round() / 100.0;
    format!("{rounded}")
}

/// The band.
#[must_use]
pub fn band(band: Band) -> String {
    format!(
        "band {} to {}",
        short_rate(band.low_per_minute),
        short_rate(band.high_per_minute)
    )
}

/// Time since the last drop.
#[must_use]
pub fn last_drop(told: &Told) -> String {
    match (told.state, told.last_drop_ago_secs) {
        (FeedState::CannotSee, _) => "not counting now".to_owned(),
        (_, Some(secs)) => format!("last drop {}", ago(secs)),
        (_, None) => "no drop yet".to_owned(),
    }
}

/// What was counted.
#[must_use]
pub fn counted(drops: u64, bubbles: u64) -> String {
    let drops_word = if drops == 1 { "drop" } else { "drops" };
    if bubbles == 0 {
        format!("{drops} {drops_word}")
    } else {
        format!("{drops} {drops_word}, {bubbles} gas")
    }
}

/// Doubts, in one line.
#[must_use]
pub fn doubts(doubts: &[String]) -> String {
    format!("doubt: {}", doubts.join("; "))
}

/// Two remarks in one line.
#[must_use]
pub fn and(one: &str, other: &str) -> String {
    format!("{one}, {other}")
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
        format!("{whole} s")
    } else if whole < 3600 {
        format!("{} min {:02} s", whole / 60, whole % 60)
    } else {
        format!("{} h {:02} min", whole / 3600, whole / 60 % 60)
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
        format!("{whole} s")
    } else if whole < 7200 {
        format!("{} min", whole / 60)
    } else {
        format!("{} h", whole / 3600)
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
    format!("{} ago", length(secs))
}

/// The source's name in the top bar.
#[must_use]
pub fn source(name: &str) -> String {
    format!("Watching {name}")
}

/// The words that open a camera.
#[must_use]
pub fn camera_source(identity: &str) -> String {
    format!("camera:{identity}")
}

/// Age of the newest picture and frames a second.
#[must_use]
pub fn picture_age(age_secs: f64, frames_per_second: f64) -> String {
    format!("picture {age_secs:.1} s old, {frames_per_second:.0} a second")
}

/// A picture that is too old.
#[must_use]
pub fn old_picture(age_secs: f64) -> String {
    format!("the picture is {} old", length(age_secs))
}

/// The run under way.
#[must_use]
pub fn run(id: i64, secs: f64, drops: u64) -> String {
    format!("run {id}: {}, {}", length(secs), counted(drops, 0))
}

/// The clock, said.
#[must_use]
pub fn clock_is(clock: &str) -> String {
    format!("clock {clock}")
}

/// What an alarm is about.
#[must_use]
pub fn alarm_what(alarm: &Alarm) -> String {
    if let Some(feed) = alarm.feed {
        return format!("Feed {feed}: {}", alarm.cause.words());
    }
    let mut words = alarm.cause.words().to_owned();
    if let Some(first) = words.get_mut(..1) {
        first.make_ascii_uppercase();
    }
    words
}

/// The state of an alarm, short enough for its plate, and since when.
#[must_use]
pub fn alarm_since(alarm: &Alarm, now_secs: f64) -> String {
    let state = match alarm.state {
        AlarmState::ReturnedUnacknowledged => "over, unacknowledged",
        other => other.words(),
    };
    format!("{state}, {}", length(now_secs - alarm.since_secs))
}

/// An alarm where there is room for one line.
#[must_use]
pub fn alarm_in_a_line(alarm: &Alarm, now_secs: f64) -> String {
    format!(
        "{}, {}",
        alarm_what(alarm),
        short_length(now_secs - alarm.since_secs)
    )
}

/// An alarm in one sentence.
#[must_use]
pub fn alarm(alarm: &Alarm) -> String {
    format!("{}, {}", alarm_what(alarm), alarm.state.words())
}

/// The name of the plate that acknowledges one alarm.
#[must_use]
pub fn acknowledge_one(alarm: &Alarm) -> String {
    format!("Acknowledge {}", alarm_what(alarm))
}

/// Alarms for which there is no room.
#[must_use]
pub fn more_alarms(more: usize) -> String {
    format!("+ {more} more")
}

/// The strip of a glass, said.
#[must_use]
pub fn strip_of(name: &str) -> String {
    format!("strip of {name}")
}

/// The rate plot of a feed, said.
#[must_use]
pub fn history_of(name: &str) -> String {
    format!("rate of {name} over time")
}

/// Which outline is chosen, said.
#[must_use]
pub fn chosen_outline(index: Option<usize>) -> String {
    index.map_or_else(
        || "none chosen".to_owned(),
        |index| format!("outline {} chosen", index + 1),
    )
}

/// One outline in the list.
#[must_use]
pub fn outline_row(index: usize, name: &str, kind: GlassKind) -> String {
    let feed = FeedNumber::from_index(index);
    format!("{feed}  {} ({})", feed_name(feed, name), kind.word())
}

/// Why a calibration is not put in force.
#[must_use]
pub fn not_in_force(index: Option<usize>, fault: &str) -> String {
    match index {
        Some(index) => format!(
            "Not in force yet. Feed {}: {fault}",
            FeedNumber::from_index(index)
        ),
        None => format!("Not in force yet: {fault}"),
    }
}

/// The scale in force.
#[must_use]
pub fn scale_now(px_per_mm: Option<f64>) -> String {
    px_per_mm.map_or_else(
        || "Scale not known: speeds and sizes stay in pixels.".to_owned(),
        |scale| format!("Scale: {scale:.3} pixels per millimetre"),
    )
}

/// The key that takes the scale from two points.
#[must_use]
pub fn scale_from_points(length_px: f64) -> String {
    format!("Scale from {length_px:.1} px")
}

/// The marks that can be kept with one press.
#[must_use]
pub fn marks(feed: Option<FeedNumber>) -> Vec<String> {
    match feed {
        Some(_) => vec![
            valve_opened(feed),
            valve_closed(feed),
            format!("{} half a turn open", valve(feed)),
            format!("{} half a turn closed", valve(feed)),
            format!("{} shut", valve(feed)),
            "nozzle cleaned".to_owned(),
        ],
        None => vec![
            "steam opened".to_owned(),
            "steam shut off".to_owned(),
            "reservoir filled".to_owned(),
            "glass wiped".to_owned(),
            "counted by eye".to_owned(),
        ],
    }
}

fn valve(feed: Option<FeedNumber>) -> String {
    feed.map_or_else(|| "valve".to_owned(), |feed| format!("valve {feed}"))
}

/// The mark of the key that opens.
#[must_use]
pub fn valve_opened(feed: Option<FeedNumber>) -> String {
    format!("{} a quarter turn open", valve(feed))
}

/// The mark of the key that closes.
#[must_use]
pub fn valve_closed(feed: Option<FeedNumber>) -> String {
    format!("{} a quarter turn closed", valve(feed))
}

/// No window can be opened.
#[must_use]
pub fn no_window(why: &str) -> String {
    format!(
        "the window cannot be opened ({why}); with no display watch in the terminal instead: \
         beadtally watch demo"
    )
}

/// A source is being opened.
#[must_use]
pub fn opening(source: &str) -> String {
    format!("Opening {source} …")
}

/// A source could not be opened; `why` says what to do.
#[must_use]
pub fn not_opened(source: &str, why: &str) -> String {
    format!("{source} cannot be watched: {why}")
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
    let work = match part {
        "capture" => "takes the pictures",
        "measure" => "counts the drops",
        "log" => "writes the logbook",
        other => other,
    };
    format!(
        "The part that {work} has given no sign for {}. If this stays, end the program and start \
         it again.",
        length(secs)
    )
}

/// A mark was kept.
#[must_use]
pub fn mark_kept(words: &str) -> String {
    format!("Mark kept: {words}")
}

/// A calibration was written.
#[must_use]
pub fn saved_to(path: &str) -> String {
    format!("Calibration saved to {path}")
}

/// A calibration was read.
#[must_use]
pub fn loaded_from(path: &str) -> String {
    format!("Calibration loaded from {path}")
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
        assert_eq!(large_rate(&reading(f64::NAN)), NO_FIGURE);
        assert_eq!(limits(&reading(2.0)), "95 %: 1.00 to 12.3");
    }
}
