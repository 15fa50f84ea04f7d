//! The oil of a run: what each feed gave, what is left in the reservoir, whether beads grew. The
//! reckoning is `rate::oil`'s; this brings the records to it and writes what comes of it.

use crate::glass::Calibration;
use crate::glass::OilData;
use crate::rate::oil::{
    BeadVolume, Figure, Growth, OilFlow, Reservoir, ReservoirLife, VolumeFrom, bead_volume, growth,
    reservoir_life, total_flow,
};
use crate::run::logbook::read::{DropRow, RunContents};
use crate::run::oil::{OIL_CAUTION, filled_wall_secs, nozzle_of, says_filled, used_by_words};

use super::gather::{FeedReport, Report};
use super::markup::Markup;
use super::words::Rate;
use super::{tables, words};

/// What is known of the volume of a feed's drops.
#[derive(Clone, Debug, Default)]
pub struct FeedOil {
    /// Volume of a drop, µL, and where it comes from; none when neither size nor nozzle is known.
    pub drop_ul: Option<(Figure, VolumeFrom)>,
    /// The measured beads, when their size was known.
    pub measured: Option<BeadVolume>,
    /// How their size went over the run.
    pub growth: Option<Growth>,
    /// Oil at the mean rate of the run.
    pub flow: Option<OilFlow>,
    /// Oil given in the run: drops counted times their volume, mL.
    pub given_ml: Option<Figure>,
}

impl FeedOil {
    /// The oil at a rate, when the volume of a drop is known.
    #[must_use]
    pub fn at(&self, rate: Option<Rate>) -> Option<OilFlow> {
        let (drop_ul, from) = self.drop_ul?;
        let (middle, low, high) = rate?;
        let beads = self.measured.map(|m| m.beads);
        OilFlow::of_mean(Figure { middle, low, high }, drop_ul, from, beads)
    }
}

/// Brings together what is known of a feed's drops. `mean` is its mean rate over the run.
pub(super) fn feed_oil(drops: &[DropRow], data: &OilData, mean: Option<Rate>) -> FeedOil {
    let diameters: Vec<f64> = drops.iter().filter_map(|drop| drop.diameter_mm).collect();
    let measured = bead_volume(&diameters);
    let nozzle = nozzle_of(data).and_then(Result::ok);
    let drop_ul = measured
        .map(|m| (m.mean_ul, VolumeFrom::Beads))
        .or(nozzle.map(|n| (n.volume_ul, VolumeFrom::Nozzle)));
    let heights: Vec<(f64, f64)> = drops
        .iter()
        .map(|drop| (drop.at_secs, drop.height_px))
        .collect();
    let mut oil = FeedOil {
        drop_ul,
        measured,
        growth: growth(&heights),
        flow: None,
        given_ml: drop_ul.map(|(ul, _)| ul.times(drops.len() as f64 / 1000.0)),
    };
    oil.flow = oil.at(mean);
    oil
}

/// What the calibration in force at the end says of the oil.
pub(super) fn oil_data(run: &RunContents) -> OilData {
    let last = run.calibrations.last();
    let toml = last.map_or(&run.calibration_toml, |row| &row.toml);
    Calibration::parse(toml, "calibration").map_or_else(|_| OilData::default(), |c| c.oil)
}

/// The reservoir at the end of the run, at the rates as left; none when its capacity, its filling
/// or the oil of a feed that runs is not known.
#[must_use]
pub fn reservoir(report: &Report) -> Option<ReservoirLife> {
    let data = oil_data(&report.run);
    let head = &report.run.summary;
    let capacity_ml = data.reservoir_capacity_ml?;
    let filled = |mark: &&crate::run::logbook::read::MarkRow| says_filled(&mark.words);
    let marked = report.run.marks.iter().rev().find(filled);
    let filled_ago_secs = match marked {
        Some(mark) => head.to_secs - mark.at_secs,
        // Of a clip times of day mean nothing.
        None if head.is_live == Some(true) => head.ended_wall_secs - filled_wall_secs(&data)?,
        None => return None,
    };
    let is_stopped = |feed: &&FeedReport| feed.as_left.state != "stopped";
    let running: Vec<&FeedReport> = report.feeds.iter().filter(is_stopped).collect();
    let flows: Option<Vec<OilFlow>> = running.iter().map(|f| f.oil.at(f.as_left.rate)).collect();
    let counted: Vec<(u64, f64)> = running
        .iter()
        .map(|feed| {
            let from_secs = marked.map_or(head.from_secs, |mark| mark.at_secs);
            let drops = feed.drops.iter().filter(|d| d.at_secs > from_secs).count();
            let unseen = feed.record.blind_secs_between(from_secs, head.to_secs);
            (drops as u64, unseen)
        })
        .collect();
    let is_counted = marked.is_some() && running.len() == report.feeds.len();
    reservoir_life(
        Reservoir {
            capacity_ml,
            filled_ago_secs,
        },
        &flows?,
        is_counted.then_some(counted.as_slice()),
    )
}

fn limits(figure: Figure) -> String {
    words::with_limits(figure.middle, figure.low, figure.high)
}

/// Writes the section.
pub(super) fn section(out: &mut Markup, report: &Report) {
    if report.feeds.iter().all(|feed| feed.oil.drop_ul.is_none()) {
        out.words(
            "p",
            &[],
            "Nothing is known of the volume of the drops, so nothing of the oil. With the outside \
             diameter of the glass the size of the beads is measured; where it cannot be seen, [oil] \
             in the calibration takes nozzle, interfacial tension and densities.",
        );
    } else {
        out.words("p", &[("class", "caution")], OIL_CAUTION);
        table(out, report);
        let flows: Vec<OilFlow> = report.feeds.iter().filter_map(|f| f.oil.flow).collect();
        if let Some(total) = total_flow(&flows).filter(|_| flows.len() == report.feeds.len()) {
            let words = format!("All feeds together: {} mL an hour.", limits(total));
            out.words("p", &[], &words);
        }
    }
    if let Some(Err(why)) = nozzle_of(&oil_data(&report.run)) {
        let why = words::capitalised(&why.to_string());
        out.words(
            "p",
            &[],
            &format!("By the nozzle there is no figure. {why}."),
        );
    }
    if let Some(life) = reservoir(report) {
        out.words(
            "p",
            &[],
            &format!(
                "Reservoir at the end of the run, by the {}: {} mL gone, {} mL left; empty after {} \
                 hours more at the rates as left.",
                used_by_words(life.used_by),
                limits(life.used_ml),
                limits(life.left_ml),
                limits(life.empty_in_secs.times(1.0 / 3600.0))
            ),
        );
    }
    for feed in &report.feeds {
        let Some(found) = &feed.oil.growth else {
            continue;
        };
        let name = format!("Feed {}", feed.row.feed);
        let words = found.words().map_or_else(
            || {
                format!(
                    "{name}: the beads changed in size by {} % in {} (Mann–Kendall p = {}): no hint \
                     of a fouled nozzle.",
                    limits(found.share.times(100.0)),
                    words::length(found.span_secs),
                    words::significant(found.p)
                )
            },
            |hint| format!("{name}: {hint}."),
        );
        out.words("p", &[], &words);
    }
}

fn table(out: &mut Markup, report: &Report) {
    out.open("div", &[("class", "scroll")]);
    out.open("table", &[]);
    out.words("caption", &[], "Oil of each feed, with 95 % limits");
    tables::head(
        out,
        &[
            "feed",
            "volume of a drop (µL)",
            "by",
            "oil at the mean rate (mL an hour)",
            "as left (mL an hour)",
            "given in the run (mL)",
        ],
    );
    out.open("tbody", &[]);
    for feed in &report.feeds {
        let told = |figure: Option<Figure>| figure.map_or_else(|| "not known".to_owned(), limits);
        let hourly = |flow: Option<OilFlow>| told(flow.map(|f| f.ml_per_hour));
        out.open("tr", &[]);
        tables::row_head(out, |out| out.text(&feed.row.feed.to_string()));
        tables::number(out, &told(feed.oil.drop_ul.map(|(ul, _)| ul)));
        let by = feed.oil.drop_ul.map_or("", |(_, from)| from.words());
        tables::cell(
            out,
            &match feed.oil.measured {
                Some(measured) => format!("{by} ({})", measured.beads),
                None => by.to_owned(),
            },
        );
        tables::number(out, &hourly(feed.oil.flow));
        tables::number(out, &hourly(feed.oil.at(feed.as_left.rate)));
        tables::number(out, &told(feed.oil.given_ml));
        out.close();
    }
    out.close();
    out.close();
    out.close();
}
