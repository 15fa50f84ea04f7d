//! The report as one HTML page: head, cautions, summary, what happened, a section for each feed,
//! alarms, blind spells, calibration, drops, and how the figures are made. One file, no script, no
//! address outside itself. Feeds and long tables have files of their own.

use crate::run::logbook::Ending;

use super::feed_section::feed_section;
use super::gather::{FeedReport, Report};
use super::markup::Markup;
use super::story::story;
use super::{style, tables, words};

/// What must be read before the figures are.
const CAUTION: &str = "beadtally is an aid to watching, never a safety device: the eye and the \
    engine's own practice decide. Sight glasses, pipes and valves on an engine in steam are hot \
    and under pressure, and a glass can burst: wear eye protection, know the glass's own shut-off, \
    do not adjust a valve with face or lens over the glass. The site's rules and a competent \
    person come first.";

/// What a page may load: nothing but what is in it.
const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'";

/// The whole page.
#[must_use]
pub fn page(report: &Report) -> String {
    let mut out = begin(report, "Report");
    out.open("nav", &[("aria-label", "Contents")]);
    contents(&mut out, report);
    out.close();
    out.open("main", &[("id", "main")]);
    cautions(&mut out, report);
    summary(&mut out, report);
    happened(&mut out, report);
    for feed in &report.feeds {
        feed_section(&mut out, report, feed);
    }
    section(&mut out, "alarms", "Alarms", |out| {
        tables::alarms(out, report);
    });
    section(&mut out, "blind", "Blind spells and gaps", |out| {
        tables::blind_and_gaps(out, report);
    });
    section(&mut out, "calibration", "Calibration", |out| {
        tables::calibration(out, report);
    });
    section(&mut out, "drops", "Drops", |out| tables::drops(out, report));
    section(&mut out, "method", "How these figures are made", |out| {
        method(out);
    });
    out.close();
    end(out, report)
}

/// Head of a page and its title.
pub(super) fn begin(report: &Report, kind: &str) -> Markup {
    let head = &report.run.summary;
    let title = if head.title.trim().is_empty() {
        format!("{kind} of run {}", head.run)
    } else {
        format!("{kind} of run {}: {}", head.run, head.title)
    };
    let mut out = Markup::new();
    out.doctype();
    out.open("html", &[("lang", "en")]);
    out.open("head", &[]);
    out.empty("meta", &[("charset", "utf-8")]);
    out.empty(
        "meta",
        &[
            ("http-equiv", "Content-Security-Policy"),
            ("content", POLICY),
        ],
    );
    out.empty(
        "meta",
        &[
            ("name", "viewport"),
            ("content", "width=device-width, initial-scale=1"),
        ],
    );
    let generator = format!("beadtally {}", env!("CARGO_PKG_VERSION"));
    out.empty("meta", &[("name", "generator"), ("content", &generator)]);
    out.words("title", &[], &title);
    out.style(&style::sheet());
    out.close();
    out.open("body", &[]);
    out.words(
        "a",
        &[("class", "skip"), ("href", "#main")],
        "To the figures",
    );
    out.open("header", &[]);
    out.open("h1", &[]);
    out.text(&format!("{kind} of run {}", head.run));
    if !head.title.trim().is_empty() {
        out.text(": ");
        out.foreign(&head.title);
    }
    out.close();
    out.open("p", &[("class", "lead")]);
    out.foreign(&head.source_name);
    let (width, height) = head.size_px;
    out.text(&format!(
        ", {width} × {height} pixels; {} to {} ({}); {}.",
        words::clock(head.started_wall_secs, &report.zone),
        words::clock(head.ended_wall_secs, &report.zone),
        words::length(head.to_secs - head.from_secs),
        match head.ending {
            Ending::Ended => "ended as it should",
            Ending::Recording => "still being recorded",
            Ending::CutShort =>
                "cut short by a crash or a power cut: it reaches to its last record",
        }
    ));
    out.close();
    out.close();
    out
}

/// Foot of a page.
pub(super) fn end(mut out: Markup, report: &Report) -> String {
    out.open("footer", &[]);
    out.words(
        "p",
        &[],
        &format!(
            "Recorded by beadtally {}, written by beadtally {} on {}.",
            report.run.summary.program_version,
            env!("CARGO_PKG_VERSION"),
            words::clock(report.made_wall_secs, &report.zone)
        ),
    );
    out.finish()
}

fn section(out: &mut Markup, id: &str, heading: &str, body: impl FnOnce(&mut Markup)) {
    let heading_id = format!("{id}-h");
    out.open("section", &[("id", id), ("aria-labelledby", &heading_id)]);
    out.words("h2", &[("id", &heading_id)], heading);
    body(out);
    out.close();
}

fn contents(out: &mut Markup, report: &Report) {
    let mut entries = vec![
        ("summary".to_owned(), "Summary".to_owned()),
        ("happened".to_owned(), "What happened".to_owned()),
    ];
    for feed in &report.feeds {
        let name = words::feed(Some(feed.row.feed), &feed.row.name);
        let name = name.replacen("feed", "Feed", 1);
        entries.push((format!("feed-{}", feed.row.feed), name));
    }
    for (id, words) in [
        ("alarms", "Alarms"),
        ("blind", "Blind spells and gaps"),
        ("calibration", "Calibration"),
        ("drops", "Drops"),
        ("method", "How these figures are made"),
    ] {
        entries.push((id.to_owned(), words.to_owned()));
    }
    out.open("ul", &[]);
    for (id, words) in entries {
        out.open("li", &[]);
        out.words("a", &[("href", &format!("#{id}"))], &words);
        out.close();
    }
    out.close();
}

/// What must be known before a figure is believed.
pub(super) fn cautions(out: &mut Markup, report: &Report) {
    let head = &report.run.summary;
    out.open("aside", &[("class", "caution"), ("aria-label", "Cautions")]);
    out.words("p", &[], CAUTION);
    let mut more = Vec::new();
    if head.source_name == "demo" {
        more.push(
            "The source is the built-in demo, which draws an invented lubricator: nothing here was \
             measured on an engine."
                .to_owned(),
        );
    }
    if head.is_live == Some(false) {
        more.push(
            "The source was no live camera: times of day are those of the counting, not of what \
             the pictures show."
                .to_owned(),
        );
    }
    match head.ending {
        Ending::Ended => {}
        Ending::Recording => more.push(
            "The run was still being recorded when this was written; what comes after is missing."
                .to_owned(),
        ),
        Ending::CutShort => more.push(
            "The run was cut short; what happened after its last record is not known.".to_owned(),
        ),
    }
    if let Some(lost) = report
        .run
        .gaps
        .iter()
        .find(|gap| gap.why.contains("records were lost"))
    {
        more.push(format!("The logbook has gaps: {}.", lost.why));
    }
    let set: Vec<f64> = report
        .run
        .clocks
        .iter()
        .map(|clock| clock.stepped_secs)
        .filter(|secs| *secs != 0.0)
        .collect();
    if !set.is_empty() {
        more.push(format!(
            "The computer's clock was set {} during the run (by {} in all); lengths of time are \
             not touched by that, times of day are.",
            words::counted(set.len(), "time", "times"),
            words::length(set.iter().sum::<f64>().abs())
        ));
    }
    if !more.is_empty() {
        out.open("ul", &[]);
        for words in more {
            out.words("li", &[], &words);
        }
        out.close();
    }
    out.close();
}

fn summary(out: &mut Markup, report: &Report) {
    section(out, "summary", "Summary", |out| {
        if report.feeds.is_empty() {
            out.words("p", &[], "The run has no feeds.");
            return;
        }
        out.open("div", &[("class", "scroll")]);
        out.open("table", &[]);
        out.words("caption", &[], "The feeds over the whole run");
        tables::head(
            out,
            &[
                "feed",
                "band (drops/min)",
                "drops",
                "mean rate with 95 % limits (drops/min)",
                "as found (drops/min)",
                "as left (drops/min)",
                "in band (time)",
                "stopped (time)",
                "blind (time)",
            ],
        );
        out.open("tbody", &[]);
        for feed in &report.feeds {
            summary_row(out, feed);
        }
        out.close();
        out.close();
        out.close();
        out.open("ul", &[]);
        for feed in &report.feeds {
            out.open("li", &[]);
            out.open("strong", &[]);
            out.text("feed ");
            out.text(&feed.row.feed.to_string());
            out.close();
            out.text(": ");
            let verdict = feed.verdict(report);
            out.text(&verdict.words);
            let reasons = verdict.reasons.join("; ");
            if !reasons.is_empty() {
                out.text(&format!(": {reasons}"));
            }
            out.text(".");
            out.close();
        }
        out.close();
        let standing = report.standing_alarms();
        if !standing.is_empty() {
            let said: Vec<String> = standing
                .iter()
                .map(|alarm| {
                    let feed = alarm.feed.map_or_else(
                        || "instrument".to_owned(),
                        |feed| words::feed(Some(feed), ""),
                    );
                    format!("{feed}, {} ({})", alarm.cause, alarm.state)
                })
                .collect();
            out.words(
                "p",
                &[],
                &format!(
                    "Alarms that were not back to normal at the end: {}.",
                    said.join("; ")
                ),
            );
        }
    });
}

fn summary_row(out: &mut Markup, feed: &FeedReport) {
    let found = &feed.steadiness;
    out.open("tr", &[]);
    tables::row_head(out, |out| {
        out.text(&feed.row.feed.to_string());
        if !feed.row.name.is_empty() {
            out.text(" ");
            out.foreign(&feed.row.name);
        }
    });
    tables::number(
        out,
        &format!(
            "{} to {}",
            feed.band.low_per_minute, feed.band.high_per_minute
        ),
    );
    tables::number(out, &found.drops.to_string());
    let mean = found
        .mean
        .map(|mean| (mean.drops_per_minute, mean.limits.low, mean.limits.high));
    tables::number(
        out,
        &mean.map_or_else(|| "too few drops".to_owned(), |m| words::rate(Some(m))),
    );
    tables::number(out, &words::rate(feed.as_found.rate));
    tables::number(
        out,
        &format!("{}, {}", words::rate(feed.as_left.rate), feed.as_left.state),
    );
    tables::number(out, &words::per_cent(found.shares.in_band));
    tables::number(out, &words::per_cent(found.shares.stopped));
    tables::number(out, &words::per_cent(found.shares.blind));
    out.close();
}

fn happened(out: &mut Markup, report: &Report) {
    section(out, "happened", "What happened", |out| {
        let told = story(report);
        out.open("div", &[("class", "scroll")]);
        out.open("table", &[]);
        out.words(
            "caption",
            &[],
            "In order of time; alarms have a table of their own",
        );
        tables::head(
            out,
            &[
                "time since start (h:min:s)",
                "time of day (ISO 8601)",
                "feed",
                "what",
            ],
        );
        out.open("tbody", &[]);
        for line in told {
            out.open("tr", &[]);
            tables::time(out, report, line.at_secs);
            tables::cell(
                out,
                &line
                    .feed
                    .map_or_else(|| "all".to_owned(), |f| f.to_string()),
            );
            out.open("td", &[]);
            out.text(&line.words);
            if let Some(foreign) = &line.foreign {
                out.text(": ");
                out.foreign(foreign);
            }
            out.close();
            out.close();
        }
        out.close();
        out.close();
        out.close();
    });
}

fn method(out: &mut Markup) {
    for words in [
        "A drop is a bead of oil that was counted, once, when its centre passed the middle of the \
         glass. Bubbles of gas are told and never counted.",
        "A reading is the median of what the rate can be, and its 95 % limits: the true rate lies \
         between them nineteen times out of twenty. It rests on the times between drops (gamma \
         renewal model with unknown scatter), counts the present silence, and leaves blind spells \
         out. A new one begins with a mark on the feed, with a change of rate beyond doubt, and \
         with the drop that ends a stop; the one before is kept.",
        "The mean rate is drops over seen time; its limits take the scatter of the intervals and \
         what hangs together in them into account.",
        "Drift is the Theil–Sen slope of the rate with its limits, and Mann–Kendall's p: the chance \
         of so clear a trend without any. The chart of individuals has its limits at the mean ± 3 \
         mean moving ranges / 1.128 (NIST/SEMATECH e-Handbook, 6.3.2.2). The Allan deviation tells \
         how far two neighbouring averages of the rate lie apart, for each averaging time (NIST SP \
         1065); where it is lowest the feed is steadiest, where it rises again it drifts.",
        "A feed is told as stopped after 2½ of its own intervals without a drop, or longer where it \
         is very irregular; the time begins with its last drop.",
        "In a blind spell a glass could not be judged: no drop is invented in it and no silence is \
         charged to the feed.",
    ] {
        out.words("p", &[], words);
    }
}
