//! Numbers and times as a report writes them: as many figures as mean something, units beside them,
//! times since the start of the run. It knows nothing of pages.

use jiff::tz::TimeZone;

use crate::run::logbook::read::iso;

/// Median and 95 % limits, drops a minute.
pub type Rate = (f64, f64, f64);

/// A time since a start, as `1:02:03`; a minus before times before it.
///
/// ```
/// use beadtally::run::report::words::elapsed;
/// assert_eq!(elapsed(3723.4), "1:02:03");
/// assert_eq!(elapsed(-5.0), "-0:00:05");
/// ```
#[must_use]
pub fn elapsed(secs: f64) -> String {
    let sign = if secs.round() < 0.0 { "-" } else { "" };
    let secs = secs.abs().round() as u64;
    format!(
        "{sign}{}:{:02}:{:02}",
        secs / 3600,
        secs / 60 % 60,
        secs % 60
    )
}

/// A length of time for people: `4.2 s`, `42 s`, `5 min 20 s`, `1 h 2 min`.
///
/// ```
/// use beadtally::run::report::words::length;
/// assert_eq!(length(4.21), "4.2 s");
/// assert_eq!(length(320.0), "5 min 20 s");
/// assert_eq!(length(3720.0), "1 h 2 min");
/// ```
#[must_use]
pub fn length(secs: f64) -> String {
    if secs < 9.95 {
        return format!("{:.1} s", secs.max(0.0));
    }
    let whole = secs.round() as u64;
    match (whole / 3600, whole / 60 % 60, whole % 60) {
        (0, 0, secs) => format!("{secs} s"),
        (0, minutes, 0) => format!("{minutes} min"),
        (0, minutes, secs) => format!("{minutes} min {secs} s"),
        (hours, 0, _) => format!("{hours} h"),
        (hours, minutes, _) => format!("{hours} h {minutes} min"),
    }
}

/// A number with about three figures that count; a word for what is none.
///
/// ```
/// use beadtally::run::report::words::significant;
/// assert_eq!(significant(2.449), "2.45");
/// assert_eq!(significant(24.49), "24.5");
/// assert_eq!(significant(f64::INFINITY), "no limit");
/// ```
#[must_use]
pub fn significant(value: f64) -> String {
    match value.abs() {
        size if size.is_nan() => "not known".to_owned(),
        size if size.is_infinite() => "no limit".to_owned(),
        size if size >= 99.95 => format!("{value:.0}"),
        size if size >= 9.995 => format!("{value:.1}"),
        size if size >= 0.0995 || size == 0.0 => format!("{value:.2}"),
        _ => format!("{value:.3}"),
    }
}

/// A number with its limits: `2.51 (2.44 to 2.58)`.
#[must_use]
pub fn with_limits(middle: f64, low: f64, high: f64) -> String {
    format!(
        "{} ({} to {})",
        significant(middle),
        significant(low),
        significant(high)
    )
}

/// A reading, or that there is none.
#[must_use]
pub fn rate(rate: Option<Rate>) -> String {
    rate.map_or_else(
        || "no reading".to_owned(),
        |(middle, low, high)| with_limits(middle, low, high),
    )
}

/// A share as per cent; `under 0.1 %` for a trace, so that what was there is never written as none.
///
/// ```
/// use beadtally::run::report::words::per_cent;
/// assert_eq!(per_cent(0.1234), "12.3 %");
/// assert_eq!(per_cent(0.0), "0 %");
/// assert_eq!(per_cent(0.0002), "under 0.1 %");
/// ```
#[must_use]
pub fn per_cent(share: f64) -> String {
    let value = share * 100.0;
    if value == 0.0 {
        "0 %".to_owned()
    } else if value.abs() < 0.1 {
        "under 0.1 %".to_owned()
    } else {
        format!("{value:.1} %")
    }
}

/// A movement of a valve: `a quarter turn open` as `0.25 turn open`.
#[must_use]
pub fn turns(turns: f64) -> String {
    let way = if turns >= 0.0 { "open" } else { "shut" };
    format!("{} turn {way}", trimmed(turns.abs()))
}

/// Turns without zeros at the end: `0.25`, `1.5`, `2`.
#[must_use]
pub fn trimmed(value: f64) -> String {
    let words = format!("{value:.3}");
    words.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// A p-value: `p = 0.034`, `p < 0.001`.
#[must_use]
pub fn p_value(p: f64) -> String {
    if p < 0.001 {
        "p < 0.001".to_owned()
    } else {
        format!("p = {p:.3}")
    }
}

/// Wall time to the second, as ISO 8601 with the offset of the zone.
#[must_use]
pub fn clock(wall_secs: f64, zone: &TimeZone) -> String {
    // The milliseconds are cut out of the middle: 2001-02-03T04:05:06[.789]+00:00.
    let whole = iso(wall_secs, zone);
    match (whole.get(..19), whole.get(23..)) {
        (Some(start), Some(offset)) => format!("{start}{offset}"),
        _ => whole,
    }
}

/// `feed 1`, `feed 1 (left cylinder)`, or `all feeds` for none.
#[must_use]
pub fn feed(feed: Option<i64>, name: &str) -> String {
    match (feed, name) {
        (None, _) => "all feeds".to_owned(),
        (Some(feed), "") => format!("feed {feed}"),
        (Some(feed), name) => format!("feed {feed} ({name})"),
    }
}

/// The words with a capital letter at their start.
#[must_use]
pub fn capitalised(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| {
        first.to_uppercase().chain(letters).collect()
    })
}

/// `1 drop`, `2 drops`.
#[must_use]
pub fn counted(count: usize, one: &str, many: &str) -> String {
    if count == 1 {
        format!("1 {one}")
    } else {
        format!("{count} {many}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_time_of_day_has_no_milliseconds_but_its_offset() {
        assert_eq!(
            clock(981_173_106.789, &TimeZone::UTC),
            "2001-02-03T04:05:06+00:00"
        );
        assert_eq!(clock(f64::NAN, &TimeZone::UTC), "NaN");
    }

    #[test]
    fn turns_are_told_with_their_way() {
        assert_eq!(turns(0.25), "0.25 turn open");
        assert_eq!(turns(-1.5), "1.5 turn shut");
        assert_eq!(trimmed(2.0), "2");
    }
}
