//! Every sentence and word of the window, in one place: another language is another file like this
//! one. Figures are put into sentences here and nowhere else.

use crate::base::{Band, FeedNumber, GlassKind};
use crate::judge::{Alarm, AlarmState, FeedState};
use crate::rate::Reading;
use crate::ui::feed_panel::Told;

/// The program's name.
pub const PROGRAM: &str = "beadtally";
/// The window's title.
pub const TITLE: &str = "beadtally – drops a minute at the sight glass";
/// The unit of a rate.
pub const UNIT: &str = "drops/min";
/// The same where there is little room.
pub const UNIT_SHORT: &str = "/min";
/// In the place of figures while there is no reading: strokes, drawn.
pub const NO_FIGURE: &str = "–.–";
/// While there is no reading.
pub const WAITING_FOR_DROPS: &str = "waiting for drops";
/// Why nothing is shown when the instrument gives no sign of life.
pub const NO_SIGN_OF_LIFE: &str = "no news from the instrument";
/// Why nothing is shown when no better reason is known.
pub const CANNOT_BE_JUDGED: &str = "the glass cannot be judged now";
/// Beside a bubble of gas.
pub const GAS: &str = "gas";
/// Where the picture would be.
pub const NO_PICTURE: &str = "No picture yet. Press F4 to choose a camera, a clip or the demo.";
/// In the top bar.
pub const NO_PICTURE_YET: &str = "no picture yet";
/// In the top bar.
pub const NO_SOURCE: &str = "no source";
/// In the top bar.
pub const NO_RUN: &str = "no run";
/// In the top bar.
pub const CLIP_IS_OVER: &str = "the clip is over";
/// In the alarm bar.
pub const NO_ALARMS: &str = "no alarms";
/// The right end of a plot.
pub const NOW: &str = "now";

/// Keys of the row.
pub const WATCH: &str = "Watch";
/// See [`WATCH`].
pub const SETUP: &str = "Set-up";
/// See [`WATCH`].
pub const FAR: &str = "Far view";
/// See [`WATCH`].
pub const HELP: &str = "Help";
/// See [`WATCH`].
pub const SOURCE: &str = "Source";
/// See [`WATCH`].
pub const START_RUN: &str = "Start run";
/// See [`WATCH`].
pub const END_RUN: &str = "End run";
/// See [`WATCH`].
pub const MARK: &str = "Mark";
/// See [`WATCH`].
pub const SOUND: &str = "Sound";
/// See [`WATCH`].
pub const TO_LIGHT: &str = "Light";
/// See [`WATCH`].
pub const TO_DARK: &str = "Dark";
/// On the key beside the alarms.
pub const ACKNOWLEDGE: &str = "Acknowledge";

/// What each key does, for the help page.
pub const KEY_ACKNOWLEDGE: &str = "acknowledge all alarms";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_MARK: &str = "keep a mark: what was done, with its time";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_MARK_OPENED: &str = "mark at once: valve of the chosen feed a quarter turn open";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_MARK_CLOSED: &str = "mark at once: valve of the chosen feed a quarter turn closed";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_CHOOSE: &str = "choose a feed";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_CHOOSE_NONE: &str = "choose no feed";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_RUN: &str = "start a run, or end it";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_SOUND: &str = "alarm sound on or off";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_LOOK: &str = "light or dark";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_HELP: &str = "this page";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_WATCH: &str = "the Watch view: picture, strips, figures";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_SETUP: &str = "the Set-up view: outlines, bands, scale";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_SOURCE: &str = "choose a camera, a clip or the demo";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_FAR: &str = "figures alone, to be read from afar";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_FULL_SCREEN: &str = "full screen and back";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_BACK: &str = "close a dialog; back to the Watch view";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_SCROLL: &str = "further down, further up";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_UNDO: &str = "undo";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_REDO: &str = "redo";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_NEXT: &str = "choose the next outline";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_PREVIOUS: &str = "choose the outline before";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_REMOVE: &str = "remove the chosen outline";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_NUDGE: &str = "move the chosen outline by a pixel";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_SIZE: &str = "make it wider, narrower, higher, lower by a pixel";
/// See [`KEY_ACKNOWLEDGE`].
pub const KEY_TURN: &str = "turn it by half a degree";

/// The caution that stands wherever a person may be asked to go near a glass.
pub const CAUTION: &str = "Mind: sight glasses, pipes and valves on an engine in steam are hot and \
    under pressure, and a glass can burst. Wear eye protection, know the glass's own shut-off, \
    adjust nothing while your face or the lens is over it, and follow the site's rules and a \
    competent person first. This is an aid to watching, never a safety device.";
/// The same beside marks of valve movements.
pub const VALVE_CAUTION: &str = "At the valve: it is hot and under pressure. Eye protection on, \
    nothing adjusted under the lens, and somebody competent knows you are there.";
/// The same where a camera is chosen.
pub const CAMERA_CAUTION: &str = "Set the camera up while the engine is cold if you can. Near a \
    glass under steam wear eye protection and keep the glass's own shut-off within reach.";

/// Set-up.
pub const OUTLINES: &str = "Outlines in the picture";
/// See [`OUTLINES`].
pub const FIND_AGAIN: &str = "Find the glasses";
/// See [`OUTLINES`].
pub const LOAD_DOTS: &str = "Load …";
/// See [`OUTLINES`].
pub const SAVE_DOTS: &str = "Save …";
/// See [`OUTLINES`].
pub const ADD_TUBE: &str = "Add a tube";
/// See [`OUTLINES`].
pub const ADD_PORT: &str = "Add a port";
/// See [`OUTLINES`].
pub const REMOVE: &str = "Remove";
/// See [`OUTLINES`].
pub const UNDO: &str = "Undo";
/// See [`OUTLINES`].
pub const REDO: &str = "Redo";
/// See [`OUTLINES`].
pub const NO_OUTLINES: &str = "No outlines yet. Find the glasses, or add a tube or a port.";
/// See [`OUTLINES`].
pub const NAME: &str = "Name";
/// See [`OUTLINES`].
pub const GLASS: &str = "Glass";
/// See [`OUTLINES`].
pub const TUBE: &str = "tube";
/// See [`OUTLINES`].
pub const PORT: &str = "port";
/// See [`OUTLINES`].
pub const BAND_LOW: &str = "Band, low (drops/min)";
/// See [`OUTLINES`].
pub const BAND_HIGH: &str = "Band, high (drops/min)";
/// See [`OUTLINES`].
pub const CENTRE_X: &str = "Centre, from the left (px)";
/// See [`OUTLINES`].
pub const CENTRE_Y: &str = "Centre, from the top (px)";
/// See [`OUTLINES`].
pub const WIDTH: &str = "Width (px)";
/// See [`OUTLINES`].
pub const HEIGHT: &str = "Height (px)";
/// See [`OUTLINES`].
pub const ANGLE: &str = "Turn (degrees)";
/// See [`OUTLINES`].
pub const OUTSIDE_DIAMETER: &str = "Outside diameter (mm)";
/// See [`OUTLINES`].
pub const SCALE_FROM_DIAMETER: &str = "Scale from the diameter";
/// See [`OUTLINES`].
pub const DISTANCE: &str = "Between two points (mm)";
/// See [`OUTLINES`].
pub const CLICK_TWO_POINTS: &str = "Click two points";
/// See [`OUTLINES`].
pub const CLICK_FIRST_POINT: &str = "Now the first point";
/// See [`OUTLINES`].
pub const CLICK_SECOND_POINT: &str = "Now the second point";
/// See [`OUTLINES`].
pub const PX_PER_MM: &str = "Scale (px per mm)";
/// See [`OUTLINES`].
pub const SCALE_FOR_ALL: &str = "Same scale for all";
/// See [`OUTLINES`].
pub const SETUP_HINT: &str = "Drag an outline, its squares or its round knob. With the picture \
    chosen, arrows move, Shift and arrows size, comma and full stop turn. Measure along the glass: \
    a tube widens what is in it, it does not heighten it.";

/// Dialogs.
pub const BACK: &str = "Back";
/// See [`BACK`].
pub const SOURCE_HEADING: &str = "What is watched";
/// See [`BACK`].
pub const CAMERAS: &str = "Cameras";
/// See [`BACK`].
pub const LOOKING_FOR_CAMERAS: &str = "Looking for cameras …";
/// See [`BACK`].
pub const NO_CAMERAS: &str = "No camera found. Plug one in, see that no other program holds it, \
    and look again.";
/// See [`BACK`].
pub const LOOK_AGAIN: &str = "Look again";
/// See [`BACK`].
pub const CLIP: &str = "A clip: a video, a .y4m file or a folder of pictures";
/// See [`BACK`].
pub const OPEN_CLIP: &str = "Open the clip";
/// See [`BACK`].
pub const OPEN_DEMO: &str = "Open the demo";
/// See [`BACK`].
pub const DEMO_SOURCE: &str = "demo";
/// See [`BACK`].
pub const DEMO_FAULTS: &str = "Faults of the demo";
/// See [`BACK`].
pub const MARK_HEADING: &str = "Keep a mark";
/// See [`BACK`].
pub const WHOLE_LUBRICATOR: &str = "the whole lubricator";
/// See [`BACK`].
pub const OWN_WORDS: &str = "Or in your own words";
/// See [`BACK`].
pub const KEEP_MARK: &str = "Keep these words";
/// See [`BACK`].
pub const START_RUN_HEADING: &str = "Start a run";
/// See [`BACK`].
pub const RUN_TITLE: &str = "Title (may be empty)";
/// See [`BACK`].
pub const START_RUN_EXPLAINED: &str = "Drops, readings, alarms and marks go to the logbook until \
    the run is ended.";
/// See [`BACK`].
pub const START_THE_RUN: &str = "Start the run";
/// See [`BACK`].
pub const END_RUN_QUESTION: &str = "End the run?";
/// See [`BACK`].
pub const END_RUN_EXPLAINED: &str = "What was recorded stays in the logbook. Counting goes on.";
/// See [`BACK`].
pub const END_THE_RUN: &str = "End it";
/// See [`BACK`].
pub const CLOSE_QUESTION: &str = "Close while a run is being recorded?";
/// See [`BACK`].
pub const CLOSE_EXPLAINED: &str = "The run is ended and kept in the logbook; nothing is lost.";
/// See [`BACK`].
pub const END_AND_CLOSE: &str = "End and close";
/// See [`BACK`].
pub const SAVE_HEADING: &str = "Save the calibration";
/// See [`BACK`].
pub const LOAD_HEADING: &str = "Load a calibration";
/// See [`BACK`].
pub const SAVE: &str = "Save";
/// See [`BACK`].
pub const LOAD: &str = "Load";
/// See [`BACK`].
pub const FILE_PATH: &str = "File (.toml)";
/// See [`BACK`].
pub const FIRST_PATH: &str = "calibration.toml";

/// The help page.
pub const HELP_HEADING: &str = "How to read this window";
/// See [`HELP_HEADING`].
pub const HELP_WHAT: &str = "A camera looks at the sight glasses. Each bead of oil that rises \
    through a glass is counted once; the large figure is drops a minute.";
/// See [`HELP_HEADING`].
pub const HELP_STATES: &str = "Words and shapes";
/// See [`HELP_HEADING`].
pub const HELP_READING: &str = "Figures, strips, plots";
/// See [`HELP_HEADING`].
pub const HELP_FIGURE: &str = "Beside each figure stand its 95 % limits: the true rate lies \
    between them nineteen times out of twenty. On the scale the green block is the band, the drop \
    is the reading, the bar through it its limits. When a glass cannot be seen there is no figure.";
/// See [`HELP_HEADING`].
pub const STRIP_EXPLAINED: &str = "A strip is one glass over time, the newest at the right. Each \
    slanting line is one bead; steeper is faster.";
/// See [`HELP_HEADING`].
pub const HELP_HISTORY: &str = "Under each strip: the rate over time, its limits as a ribbon, the \
    band in green. Where there is no line, nothing could be said.";
/// See [`HELP_HEADING`].
pub const HELP_KEYS: &str = "Keys";
/// See [`HELP_HEADING`].
pub const HELP_KEYS_SETUP: &str = "In the Set-up view";
/// See [`HELP_HEADING`].
pub const HELP_KEYS_PICTURE: &str =
    "In the Set-up view, while the picture is chosen (Tab, or click)";
/// See [`HELP_HEADING`].
pub const HELP_KEYS_HELP: &str = "On this page";
/// See [`HELP_HEADING`].
pub const HELP_TAB: &str = "Tab goes from one thing to the next, Shift Tab back; Space or Enter \
    presses it.";
/// See [`HELP_HEADING`].
pub const HELP_ZOOM: &str = "Ctrl + and Ctrl − make everything larger or smaller, Ctrl 0 as at \
    first.";
/// See [`HELP_HEADING`].
pub const RING_EXPLAINED: &str = "a bead of oil, counted: a ring with its number";
/// See [`HELP_HEADING`].
pub const LOZENGE_EXPLAINED: &str = "a bubble of gas: told, never counted";

/// Sound.
pub const SOUND_OFF: &str = "The alarm sound is off.";
/// See [`SOUND_OFF`].
pub const SOUND_ON: &str = "The alarm sound is on.";

/// No sound can be made.
#[must_use]
pub fn no_sound(why: &str) -> String {
    format!(
        "Alarms cannot be heard ({why}); they are only shown. Plug in or switch on a sound \
         device: it is tried again by itself."
    )
}

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

/// Said when a quick mark is asked for with no feed chosen.
pub const CHOOSE_FEED_FIRST: &str = "Choose a feed first (keys 1 to 8), then mark its valve.";

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
