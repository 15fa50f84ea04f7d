//! The tester's view: the run under way and all that were recorded before; charts of rate and
//! intervals, the drops with their pictures, two runs side by side. It shows what the logbook
//! keeps and judges nothing.

pub mod charts;
pub mod data;
mod evidence;
mod list;
pub mod strips;

use std::sync::Arc;

use eframe::egui::{Button, Rect, RichText, ScrollArea, Sense, Ui, UiBuilder, vec2};

use crate::base::Band;
use crate::run::logbook::read::RunContents;
use crate::ui::backend::Backend;
use crate::ui::bars::RowKey;
use crate::ui::fitter::glove_keys;
use crate::ui::fresh::Fresh;
use crate::ui::keys::Action;
use crate::ui::layout;
use crate::ui::library::{Request, Runs};
use crate::ui::paint::{InSight, Lit, Usable};
use crate::ui::shapes;
use crate::ui::theme::Palette;
use crate::ui::words;

use charts::RateChart;
use data::Drop;
use evidence::Evidence;
use strips::StripShelf;

/// How often a run under way is read anew, seconds: the logbook gets a reading every ten.
const READ_EVERY_SECS: f64 = 4.0;

/// Least height of the page of a run, points: a chart and the evidence under it.
const LEAST_PAGE: f32 = 330.0;

/// What is shown of a run.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Page {
    /// Rate over time.
    #[default]
    Rate,
    /// Intervals one by one.
    Intervals,
    /// The drops with their pictures.
    Drops,
}

/// What was asked for in the view.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RunsAsk {
    /// What a key does.
    Act(Action),
}

/// The view's memory.
#[derive(Default)]
pub struct RunsView {
    chosen: Option<i64>,
    beside: Option<i64>,
    /// The next run pressed is put beside the chosen one.
    choosing_beside: bool,
    page: Page,
    feed: i64,
    /// The drop that is looked at, by its time.
    looked_at_secs: Option<f64>,
    read_at_secs: Option<f64>,
    recording: Option<i64>,
    evidence: Evidence,
    /// Strips of the run under way.
    pub strips: StripShelf,
}

/// What the view draws from.
pub struct With<'a> {
    /// What stands behind the window.
    pub backend: &'a dyn Backend,
    /// What the instrument told last.
    pub fresh: &'a Fresh,
}

impl RunsView {
    /// The run whose report a key asks for: the chosen one, or the one under way.
    #[must_use]
    pub fn chosen(&self) -> Option<i64> {
        self.chosen
    }

    /// The page that is open.
    #[must_use]
    pub fn page(&self) -> Page {
        self.page
    }

    /// The view was opened.
    pub fn open(&mut self, backend: &dyn Backend) {
        backend.ask(Request::List);
        self.read_at_secs = None;
    }

    /// Asks for what is due: the list when a run began or ended, the runs shown, and the one under
    /// way again and again.
    fn ask(&mut self, with: &With<'_>) {
        let shelf = with.backend.shelf();
        let recording = with.fresh.snapshot().run.as_ref().map(|run| run.id);
        if recording != self.recording {
            self.recording = recording;
            with.backend.ask(Request::List);
            self.read_at_secs = None;
            if recording.is_some() {
                self.chosen = recording;
            }
        }
        if self.chosen.is_none()
            && let Runs::Found(runs) = &shelf.runs
        {
            self.chosen = recording.or(runs.last().map(|run| run.run));
        }
        let now = with.fresh.clock_secs();
        let is_due = self
            .read_at_secs
            .is_none_or(|at| now < at || now - at >= READ_EVERY_SECS);
        for run in [self.chosen, self.beside].into_iter().flatten() {
            let is_known = shelf.opened.contains_key(&run);
            if !is_known || (is_due && Some(run) == recording) {
                with.backend.ask(Request::Open(run));
            }
        }
        if is_due {
            self.read_at_secs = Some(now);
            if recording.is_some() {
                with.backend.ask(Request::List);
            }
        }
    }

    /// Draws the view.
    pub fn show(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        with: &With<'_>,
        palette: &Palette,
    ) -> Vec<RunsAsk> {
        self.ask(with);
        let (upper, row) = layout::over_keys(rect);
        let (left, right) = layout::runs(upper);
        let shelf = with.backend.shelf();
        self.list(ui, left, &shelf.runs, palette);
        shapes::plate(ui.painter(), right, palette.plate, palette);
        let inner = right.shrink(10.0);
        let opened = |run: Option<i64>| run.and_then(|run| shelf.opened.get(&run));
        match (opened(self.chosen), opened(self.beside)) {
            (Some(Ok(run)), beside) => {
                // In a low window the page is higher than its place, and scrolls.
                let size = vec2(inner.width() - 8.0, inner.height().max(LEAST_PAGE));
                let mut place = ui.new_child(UiBuilder::new().id_salt("page").max_rect(inner));
                ScrollArea::vertical()
                    .id_salt("run-page")
                    .auto_shrink(false)
                    .show(&mut place, |ui| {
                        let (whole, _) = ui.allocate_exact_size(size, Sense::hover());
                        match beside {
                            Some(Ok(other)) => self.compare(ui, whole, [run, other], palette),
                            _ => self.one(ui, whole, run, with, palette),
                        }
                    });
            }
            (Some(Err(why)), _) => {
                let mut side = ui.new_child(UiBuilder::new().id_salt("no-run").max_rect(inner));
                side.colored_label(palette.ink_danger, why);
            }
            (None, _) => {
                let mut side = ui.new_child(UiBuilder::new().id_salt("no-run").max_rect(inner));
                side.label(words::get().runs_none_open);
            }
        }
        let keys = self.keys(with);
        let mut asks = Vec::new();
        for action in glove_keys(ui, row, &keys, palette) {
            asks.push(RunsAsk::Act(action));
        }
        asks
    }

    /// Puts the next run pressed beside the chosen one, or ends that.
    pub fn put_beside(&mut self) {
        if self.beside.take().is_none() {
            self.choosing_beside = !self.choosing_beside;
        }
    }

    fn keys(&self, with: &With<'_>) -> Vec<RowKey> {
        let words = words::get();
        let recording = with.fresh.snapshot().run.is_some();
        let run_words = if recording {
            words.end_run
        } else {
            words.start_run
        };
        let beside_words = if self.beside.is_some() {
            words.runs_alone
        } else {
            words.runs_beside
        };
        let key = |action, words, usable, lit| RowKey {
            action,
            words,
            usable,
            lit,
        };
        let has_run = Usable::from(self.chosen.is_some());
        vec![
            key(
                Action::Run,
                run_words,
                Usable::from(with.fresh.is_running()),
                Lit::from(recording),
            ),
            key(Action::Report, words.runs_report, has_run, Lit::No),
            key(
                Action::Beside,
                beside_words,
                has_run,
                Lit::from(self.choosing_beside),
            ),
        ]
    }

    fn choose(&mut self, run: i64) {
        if self.choosing_beside && self.chosen != Some(run) {
            self.beside = Some(run);
            self.choosing_beside = false;
        } else {
            self.chosen = Some(run);
            self.beside = self.beside.filter(|beside| *beside != run);
            self.looked_at_secs = None;
        }
    }

    fn feed_in(&self, run: &RunContents) -> i64 {
        let there = run.feeds.iter().any(|feed| feed.feed == self.feed);
        if there {
            self.feed
        } else {
            run.feeds.first().map_or(1, |feed| feed.feed)
        }
    }

    fn pages_and_feeds(&mut self, ui: &mut Ui, run: &RunContents) {
        ui.horizontal_wrapped(|ui| {
            for (page, word) in [
                (Page::Rate, words::get().runs_rate),
                (Page::Intervals, words::get().runs_intervals),
                (Page::Drops, words::get().runs_drops),
            ] {
                let face = Button::new(word).selected(self.page == page);
                if ui.add(face).in_sight().clicked() {
                    self.page = page;
                }
            }
            ui.separator();
            let chosen = self.feed_in(run);
            for feed in &run.feeds {
                let word = words::run_feed(feed.feed, &feed.name);
                let face = Button::new(word).selected(chosen == feed.feed);
                if ui.add(face).in_sight().clicked() {
                    self.feed = feed.feed;
                    self.looked_at_secs = None;
                }
            }
        });
    }

    fn one(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        run: &Arc<RunContents>,
        with: &With<'_>,
        palette: &Palette,
    ) {
        let mut page = ui.new_child(UiBuilder::new().id_salt("run").max_rect(rect));
        page.label(
            RichText::new(words::run_heading(&run.summary))
                .size(17.0)
                .color(palette.ink),
        );
        self.pages_and_feeds(&mut page, run);
        let feed = self.feed_in(run);
        let drops = data::drops(run, feed);
        let rest = page.available_rect_before_wrap();
        let (chart, foot) = layout::over_evidence(rest);
        let mut upper = page.new_child(UiBuilder::new().id_salt("chart").max_rect(chart));
        match self.page {
            Page::Rate => {
                let pressed = rate_chart(
                    &mut upper,
                    "run-rate",
                    run,
                    feed,
                    &drops,
                    (duration(run), self.looked_at_secs),
                    palette,
                );
                self.look_at(pressed, &drops);
            }
            Page::Intervals => {
                let (points, chart) = data::individuals(&drops);
                upper.label(words::individuals(points.len(), chart.as_ref()));
                let pressed = charts::individuals(
                    &mut upper,
                    "run-intervals",
                    &points,
                    chart.as_ref(),
                    (duration(run), self.looked_at_secs),
                    palette,
                );
                self.look_at(pressed, &drops);
            }
            Page::Drops => {
                let pressed = self.evidence.list(
                    &mut upper,
                    run.summary.run,
                    &drops,
                    self.looked_at_secs,
                    with.backend,
                    palette,
                );
                if pressed.is_some() {
                    self.looked_at_secs = pressed;
                }
            }
        }
        let mut lower = page.new_child(UiBuilder::new().id_salt("evidence").max_rect(foot));
        let looked_at = self.looked_at_secs.and_then(|at| data::nearest(&drops, at));
        let step = self.evidence.show(
            &mut lower,
            run.summary.run,
            &drops,
            looked_at,
            (with.backend, &self.strips),
            palette,
        );
        if let Some(index) = step {
            self.looked_at_secs = drops.get(index).map(|drop| drop.since_start_secs);
        }
    }

    fn look_at(&mut self, pressed: Option<f64>, drops: &[Drop]) {
        if let Some(at) = pressed {
            self.looked_at_secs = data::nearest(drops, at)
                .and_then(|index| drops.get(index))
                .map(|drop| drop.since_start_secs);
        }
    }

    fn compare(
        &mut self,
        ui: &mut Ui,
        rect: Rect,
        runs: [&Arc<RunContents>; 2],
        palette: &Palette,
    ) {
        let to_secs = duration(runs[0]).max(duration(runs[1]));
        let gap = 12.0;
        let width = (rect.width() - gap) / 2.0;
        for (i, run) in runs.into_iter().enumerate() {
            let place = Rect::from_min_size(
                rect.min + vec2((width + gap) * i as f32, 0.0),
                vec2(width, rect.height()),
            );
            let salt = ("beside", i);
            let mut side = ui.new_child(UiBuilder::new().id_salt(salt).max_rect(place));
            side.label(
                RichText::new(words::run_heading(&run.summary))
                    .size(16.0)
                    .color(palette.ink),
            );
            self.pages_and_feeds(&mut side, run);
            let feed = self.feed_in(run);
            let drops = data::drops(run, feed);
            let (points, chart) = data::individuals(&drops);
            side.label(words::run_figures(
                drops.len(),
                data::mean_rate(&drops, run),
                chart.as_ref().map(|chart| chart.mean),
            ));
            let rest = side.available_rect_before_wrap();
            let mut below = side.new_child(UiBuilder::new().id_salt("chart").max_rect(rest));
            let name = if i == 0 { "beside-one" } else { "beside-two" };
            if self.page == Page::Rate {
                let _pressed = rate_chart(
                    &mut below,
                    name,
                    run,
                    feed,
                    &drops,
                    (to_secs, None),
                    palette,
                );
            } else {
                below.label(words::individuals(points.len(), chart.as_ref()));
                let _pressed = charts::individuals(
                    &mut below,
                    name,
                    &points,
                    chart.as_ref(),
                    (to_secs, None),
                    palette,
                );
            }
        }
    }
}

/// Length of a run, seconds.
fn duration(run: &RunContents) -> f64 {
    run.summary.to_secs - run.summary.from_secs
}

fn rate_chart(
    ui: &mut Ui,
    name: &str,
    run: &RunContents,
    feed: i64,
    drops: &[Drop],
    (to_secs, at_secs): (f64, Option<f64>),
    palette: &Palette,
) -> Option<f64> {
    let band = run
        .feeds
        .iter()
        .find(|row| row.feed == feed)
        .map_or_else(Band::default, |row| Band {
            low_per_minute: row.band_per_minute.0,
            high_per_minute: row.band_per_minute.1,
        });
    let from = run.summary.from_secs;
    let drops_secs: Vec<f64> = drops.iter().map(|drop| drop.since_start_secs).collect();
    let marks_secs: Vec<f64> = run
        .marks
        .iter()
        .filter(|mark| mark.feed.is_none_or(|of| of == feed))
        .map(|mark| mark.at_secs - from)
        .collect();
    let chart = RateChart {
        rates: &data::rates(run, feed),
        drops_secs: &drops_secs,
        marks_secs: &marks_secs,
        band,
        to_secs,
        at_secs,
    };
    charts::rate(ui, name, &chart, palette)
}
