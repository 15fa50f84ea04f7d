//! The long tables of a report: alarms, blind spells and gaps, calibration, drops; and what all
//! tables share. They tell what the logbook has.

use crate::run::logbook::read::SpellRow;

use super::gather::Report;
use super::markup::{Markup, png_address};
use super::words;

/// Most drops of a feed that get a row each. More are days of a slow feed; the tables of
/// `--csv` hold all of them.
const MOST_DROP_ROWS: usize = 1500;
/// Most pictures in a report, so that the page stays under some ten megabytes.
const MOST_PICTURES: usize = 4000;
/// Most rows of alarms, and of blind spells and gaps.
const MOST_ROWS: usize = 500;

/// The head of a table; a heading that tells a number or a time keeps to the right of its cells.
pub(super) fn head(out: &mut Markup, headings: &[&str]) {
    out.open("thead", &[]);
    out.open("tr", &[]);
    for heading in headings {
        out.words("th", &[("scope", "col")], heading);
    }
    out.close();
    out.close();
}

/// The head of a row.
pub(super) fn row_head(out: &mut Markup, body: impl FnOnce(&mut Markup)) {
    out.open("th", &[("scope", "row")]);
    body(out);
    out.close();
}

/// A cell with words of ours.
pub(super) fn cell(out: &mut Markup, words: &str) {
    out.words("td", &[], words);
}

/// A cell with a number.
pub(super) fn number(out: &mut Markup, words: &str) {
    out.words("td", &[("class", "n")], words);
}

/// Two cells: source time since the start of the run, and time of day.
pub(super) fn time(out: &mut Markup, report: &Report, at_secs: f64) {
    number(out, &words::elapsed(report.since_start(at_secs)));
    let clock = words::clock(report.wall_secs(at_secs), &report.zone);
    out.open("td", &[("class", "t")]);
    out.words("time", &[("datetime", &clock)], &clock);
    out.close();
}

/// Says how many rows were left out.
fn left_out(out: &mut Markup, all: usize, most: usize, what: &str) {
    if all > most {
        out.words(
            "p",
            &[],
            &format!(
                "The last {} of {all} {what} are not shown; `beadtally report RUN --csv FOLDER` \
                 writes all of them.",
                all - most
            ),
        );
    }
}

/// The life of the alarms.
pub(super) fn alarms(out: &mut Markup, report: &Report) {
    let alarms = &report.run.alarms;
    out.words(
        "p",
        &[],
        "Each step in the life of each alarm, in the states of ANSI/ISA-18.2 and IEC 62682. \
         Priority 1 is the most pressing.",
    );
    if alarms.is_empty() {
        out.words("p", &[], "There was no alarm.");
        return;
    }
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Alarms");
    head(
        out,
        &[
            "time since start (h:min:s)",
            "time of day (ISO 8601)",
            "feed",
            "cause",
            "priority",
            "what happened",
            "by",
            "state from then on",
        ],
    );
    out.open("tbody", &[]);
    for alarm in alarms.iter().take(MOST_ROWS) {
        out.open("tr", &[]);
        time(out, report, alarm.at_secs);
        cell(
            out,
            &alarm
                .feed
                .map_or_else(|| "instrument".to_owned(), |f| f.to_string()),
        );
        cell(out, &alarm.cause);
        let told = |word: &Option<String>| word.clone().unwrap_or_else(|| "not kept".to_owned());
        number(
            out,
            &alarm
                .priority
                .map_or_else(|| "not kept".to_owned(), |p| p.to_string()),
        );
        cell(out, &told(&alarm.happened));
        cell(out, &told(&alarm.by_whom));
        let until = alarm.shelved_until_secs.map_or_else(String::new, |until| {
            format!(" until {}", words::elapsed(report.since_start(until)))
        });
        cell(out, &format!("{}{until}", alarm.state));
        out.close();
    }
    out.close();
    out.close();
    out.close();
    left_out(out, alarms.len(), MOST_ROWS, "steps");
}

/// Blind spells of all feeds, and gaps.
pub(super) fn blind_and_gaps(out: &mut Markup, report: &Report) {
    let mut spells: Vec<(String, &SpellRow)> = report
        .feeds
        .iter()
        .flat_map(|feed| {
            feed.blind
                .iter()
                .map(|spell| (feed.row.feed.to_string(), spell))
        })
        .chain(report.run.gaps.iter().map(|gap| ("gap".to_owned(), gap)))
        .collect();
    spells.sort_by(|a, b| a.1.from_secs.total_cmp(&b.1.from_secs));
    out.words(
        "p",
        &[],
        "In a blind spell a glass could not be judged. A gap is pictures that were lost or spoiled \
         on their way; a gap long enough to hide a bead is a blind spell too.",
    );
    if spells.is_empty() {
        out.words("p", &[], "There was none.");
        return;
    }
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Blind spells and gaps");
    head(
        out,
        &[
            "from, time since start (h:min:s)",
            "from, time of day (ISO 8601)",
            "feed",
            "length (s)",
            "reason",
        ],
    );
    out.open("tbody", &[]);
    for (feed, spell) in spells.iter().take(MOST_ROWS) {
        out.open("tr", &[]);
        time(out, report, spell.from_secs);
        cell(out, feed);
        number(out, &format!("{:.1}", spell.to_secs - spell.from_secs));
        cell(out, &spell.why);
        out.close();
    }
    out.close();
    out.close();
    out.close();
    left_out(out, spells.len(), MOST_ROWS, "spells and gaps");
}

/// The calibration in force, as figures and as it stands in its file.
pub(super) fn calibration(out: &mut Markup, report: &Report) {
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words(
        "caption",
        &[],
        "Outlines, bands and scales at the end of the run",
    );
    head(
        out,
        &[
            "feed",
            "glass",
            "band (drops/min)",
            "scale (px/mm)",
            "centre x, y (px)",
            "width, height (px)",
            "lean (°)",
        ],
    );
    out.open("tbody", &[]);
    for feed in &report.feeds {
        let row = &feed.row;
        let [x, y, width, height, angle] = row.outline;
        out.open("tr", &[]);
        row_head(out, |out| {
            out.text(&row.feed.to_string());
            out.text(" ");
            out.foreign(&row.name);
        });
        cell(out, &row.glass_kind);
        number(
            out,
            &format!("{} to {}", row.band_per_minute.0, row.band_per_minute.1),
        );
        number(
            out,
            &row.px_per_mm
                .map_or_else(|| "not known".to_owned(), |scale| format!("{scale:.3}")),
        );
        number(out, &format!("{x:.1}, {y:.1}"));
        number(out, &format!("{width:.1}, {height:.1}"));
        number(out, &format!("{angle:.2}"));
        out.close();
    }
    out.close();
    out.close();
    out.close();
    out.words("h3", &[], "The calibration file at the start");
    out.words("pre", &[], &report.run.calibration_toml);
    for calibration in &report.run.calibrations {
        let at = words::elapsed(report.since_start(calibration.at_secs));
        out.words("h3", &[], &format!("The calibration in force from {at} on"));
        out.words("pre", &[], &calibration.toml);
    }
}

/// Every drop with its picture.
pub(super) fn drops(out: &mut Markup, report: &Report) {
    let mut pictures = 0;
    for feed in &report.feeds {
        let name = words::feed(Some(feed.row.feed), &feed.row.name);
        out.open("h3", &[]);
        out.text("Drops of ");
        out.foreign(&name);
        out.close();
        if feed.drops.is_empty() {
            out.words("p", &[], "No drop was counted.");
            continue;
        }
        out.open("div", &[("class", "drops")]);
        out.open("table", &[]);
        out.words("caption", &[], &format!("Drops of feed {}", feed.row.feed));
        head(
            out,
            &[
                "no.",
                "time (h:min:s)",
                "after (s)",
                "diameter (mm)",
                "rise (mm/s)",
                "sure (0 to 1)",
                "picture",
            ],
        );
        out.open("tbody", &[]);
        let mut before: Option<f64> = None;
        for (index, drop) in feed.drops.iter().enumerate().take(MOST_DROP_ROWS) {
            out.open("tr", &[]);
            row_head(out, |out| out.text(&(index + 1).to_string()));
            number(out, &words::elapsed(report.since_start(drop.at_secs)));
            number(
                out,
                &before.map_or_else(String::new, |at| format!("{:.2}", drop.at_secs - at)),
            );
            before = Some(drop.at_secs);
            let figure = |value: Option<f64>, decimals: usize| {
                value.map_or_else(String::new, |value| format!("{value:.decimals$}"))
            };
            number(out, &figure(drop.diameter_mm, 1));
            number(out, &figure(drop.rise_mm_per_s, 0));
            number(out, &format!("{:.2}", drop.confidence));
            out.open("td", &[]);
            if let Some(png) = report.picture(feed.row.feed, drop.at_secs)
                && pictures < MOST_PICTURES
            {
                pictures += 1;
                let words = format!("drop {} of feed {}", index + 1, feed.row.feed);
                out.empty("img", &[("alt", &words), ("src", &png_address(png))]);
            }
            out.close();
            out.close();
        }
        out.close();
        out.close();
        out.close();
        left_out(out, feed.drops.len(), MOST_DROP_ROWS, "drops");
    }
}
