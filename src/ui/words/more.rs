//! Sentences of the views for getting started, for the fitter, the instructor and the tester. What
//! they are made of stands in the languages' files.

use super::paper::{moment, short_date};
use super::{drops, figure, fine_rate, get, length, put};
use crate::base::FeedNumber;
use crate::health::aim::{Finding, Grade, Judged};
use crate::rate::IndividualsChart;
use crate::run::logbook::read::{Ending, RunSummary};
use crate::ui::fitter::settle::Settling;
use crate::ui::runs::data::Drop;

/// The heading of a step of getting started.
#[must_use]
pub fn start_heading(step: usize, steps: usize) -> String {
    let words = get();
    let what = match step {
        1 => words.start_source,
        2 => words.start_glasses,
        3 => words.start_size,
        _ => words.start_names,
    };
    put!(start_heading, step = step, steps = steps, what = what)
}

/// What steadying takes out, and what it leaves unexplained.
#[must_use]
pub fn steadied(px: f64, levels: f64) -> String {
    put!(steadied, px = figure(px, 1), levels = figure(levels, 1))
}

/// The field with the name of the feed with this number, said.
#[must_use]
pub fn name_of(number: usize) -> String {
    put!(name_of, feed = number)
}

/// The field with its low limit, said.
#[must_use]
pub fn low_of(number: usize) -> String {
    put!(low_of, feed = number)
}

/// The field with its high limit, said.
#[must_use]
pub fn high_of(number: usize) -> String {
    put!(high_of, feed = number)
}

/// Usual names for so many feeds, from the left.
#[must_use]
pub fn usual_names(feeds: usize) -> Vec<&'static str> {
    let words = get();
    match feeds {
        1 => vec![words.cylinder],
        2 => vec![words.left_cylinder, words.right_cylinder],
        3 => vec![words.left_cylinder, words.steam_chest, words.right_cylinder],
        _ => vec![
            words.left_cylinder,
            words.left_chest,
            words.right_chest,
            words.right_cylinder,
        ],
    }
}

/// A judgement on the picture, and what to do.
#[must_use]
pub fn judged(one: &Judged) -> String {
    let words = get();
    match (one.finding, one.grade) {
        (Finding::Sharpness { edge_px: None }, _) => words.sharp_unknown.to_owned(),
        (Finding::Sharpness { .. }, Grade::Good) => words.sharp_good.to_owned(),
        (Finding::Sharpness { .. }, Grade::Fair) => words.sharp_fair.to_owned(),
        (Finding::Sharpness { .. }, Grade::Bad) => words.sharp_bad.to_owned(),
        (Finding::SlowedByDark { fps }, _) => put!(dark_slowed, fps = figure(fps, 0)),
        (Finding::Dark, Grade::Bad) => words.dark_bad.to_owned(),
        (Finding::Dark, _) => words.dark_fair.to_owned(),
        (Finding::Light, _) => words.light_good.to_owned(),
        (Finding::Glare, _) => words.light_glare.to_owned(),
        (Finding::Sway { .. }, Grade::Good) => words.steady_good.to_owned(),
        (Finding::Sway { px }, Grade::Fair) => put!(steady_fair, px = figure(px, 1)),
        (Finding::Sway { px }, Grade::Bad) => put!(steady_bad, px = figure(px, 1)),
        (Finding::Rate { fps }, Grade::Good) => put!(rate_good, fps = figure(fps, 0)),
        (Finding::Rate { fps }, _) => put!(rate_bad, fps = figure(fps, 0)),
    }
}

/// A size of everything.
#[must_use]
pub fn size_percent(percent: u16) -> String {
    put!(size_percent, percent = percent)
}

/// How long to wait.
#[must_use]
pub fn wait_for(settling: Settling) -> String {
    let words = get();
    match settling {
        Settling::Settled => words.settled.to_owned(),
        Settling::WaitLong => words.wait_long.to_owned(),
        Settling::Wait { drops: 1 } => words.wait_one.to_owned(),
        Settling::Wait { drops } => {
            let spelled = words.numbers.split(' ').nth(drops.saturating_sub(1));
            match spelled {
                Some(number) => put!(wait_some, drops = number),
                None => put!(wait_some, drops = drops),
            }
        }
    }
}

/// A paper was kept.
#[must_use]
pub fn paper_kept(path: &str) -> String {
    put!(paper_kept, path = path)
}

/// A file could not be written.
#[must_use]
pub fn not_written(path: &str, why: &str) -> String {
    put!(not_written, path = path, why = why)
}

/// A heading and what belongs to it, in a line.
#[must_use]
pub fn heading_and(heading: &str, what: &str) -> String {
    put!(heading_and, heading = heading, what = what)
}

/// How a run ended.
#[must_use]
pub fn ending(ending: Ending) -> &'static str {
    let words = get();
    match ending {
        Ending::Ended => words.run_ended,
        Ending::Recording => words.run_recording,
        Ending::CutShort => words.run_cut,
    }
}

fn title(run: &RunSummary) -> String {
    if run.title.is_empty() {
        String::new()
    } else {
        put!(run_title_then, title = run.title)
    }
}

/// One run in the list.
#[must_use]
pub fn run_row(run: &RunSummary) -> String {
    put!(
        run_row,
        run = run.run,
        title = title(run),
        date = short_date(run.started_wall_secs),
        length = length(run.to_secs - run.from_secs),
        drops = drops(run.drops)
    )
}

/// The heading of a run.
#[must_use]
pub fn run_heading(run: &RunSummary) -> String {
    put!(
        run_heading,
        run = run.run,
        title = title(run),
        source = run.source_name,
        date = moment(run.started_wall_secs),
        length = length(run.to_secs - run.from_secs),
        drops = drops(run.drops),
        ending = ending(run.ending)
    )
}

/// A feed of a run.
#[must_use]
pub fn run_feed(feed: i64, name: &str) -> String {
    put!(run_feed, feed = feed, name = name).trim().to_owned()
}

/// A few figures of a feed in a run.
#[must_use]
pub fn run_figures(drops: usize, rate: Option<f64>, interval_secs: Option<f64>) -> String {
    put!(
        run_figures,
        drops = drops,
        rate = rate.map_or_else(|| get().no_figure.to_owned(), fine_rate),
        interval = interval(interval_secs)
    )
}

fn interval(secs: Option<f64>) -> String {
    match secs {
        Some(secs) => put!(secs, secs = figure(secs, 1)),
        None => get().no_interval.to_owned(),
    }
}

/// What the individuals chart found.
#[must_use]
pub fn individuals(intervals: usize, chart: Option<&IndividualsChart>) -> String {
    match chart {
        None => put!(individuals_few, intervals = intervals),
        Some(chart) => put!(
            individuals,
            intervals = intervals,
            mean = interval(Some(chart.mean)),
            lower = interval(Some(chart.lower.max(0.0))),
            upper = interval(Some(chart.upper)),
            outside = chart.outside.len()
        ),
    }
}

/// A drop in the list.
#[must_use]
pub fn drop_row(number: usize, drop: &Drop) -> String {
    put!(
        drop_row,
        number = number,
        time = length(drop.since_start_secs),
        interval = interval(drop.interval_secs)
    )
}

/// All that is known of a drop.
#[must_use]
pub fn drop_told(number: usize, drop: &Drop) -> String {
    let row = &drop.row;
    let size = row
        .diameter_mm
        .map_or_else(String::new, |mm| put!(drop_size, mm = figure(mm, 2)));
    let speed = row.rise_mm_per_s.map_or_else(
        || format!("{} px/s", figure(row.rise_px_per_s, 0)),
        |mm| format!("{} mm/s", figure(mm, 0)),
    );
    put!(
        drop_told,
        number = number,
        time = length(drop.since_start_secs),
        date = moment(row.wall_secs),
        interval = interval(drop.interval_secs),
        height = figure(row.height_px, 0),
        size = size,
        speed = speed,
        sure = figure(row.confidence * 100.0, 0)
    )
}

/// Age of the newest picture, without frames a second.
#[must_use]
pub fn picture_age_only(age_secs: f64) -> String {
    put!(picture_age_only, age = figure(age_secs, 1))
}

/// An age, where there is little room.
#[must_use]
pub fn age_short(age_secs: f64) -> String {
    put!(age_short, time = length(age_secs))
}

/// The run under way, without its drops.
#[must_use]
pub fn run_and_time(id: i64, secs: f64) -> String {
    put!(run_and_time, run = id, time = length(secs))
}

/// A report is being written.
#[must_use]
pub fn report_asked(run: i64) -> String {
    put!(report_asked, run = run)
}

/// A report was written.
#[must_use]
pub fn report_done(path: &str) -> String {
    put!(report_done, path = path)
}

/// A run with an end set beforehand.
#[must_use]
pub fn run_ends_in(run: &str, secs: f64) -> String {
    put!(run_ends_in, run = run, time = length(secs))
}

/// The words of a lesson.
#[derive(Clone, Copy, Debug)]
pub struct LessonWords {
    /// Its title.
    pub title: &'static str,
    /// What is going on.
    pub scene: &'static str,
    /// What to ask.
    pub question: &'static str,
    /// The answer.
    pub answer: &'static str,
}

/// The lessons, in their order.
#[must_use]
pub fn lessons() -> [LessonWords; 6] {
    let w = get();
    let lesson = |title, scene, question, answer| LessonWords {
        title,
        scene,
        question,
        answer,
    };
    [
        lesson(
            w.lesson_1,
            w.lesson_1_scene,
            w.lesson_1_question,
            w.lesson_1_answer,
        ),
        lesson(
            w.lesson_2,
            w.lesson_2_scene,
            w.lesson_2_question,
            w.lesson_2_answer,
        ),
        lesson(
            w.lesson_3,
            w.lesson_3_scene,
            w.lesson_3_question,
            w.lesson_3_answer,
        ),
        lesson(
            w.lesson_4,
            w.lesson_4_scene,
            w.lesson_4_question,
            w.lesson_4_answer,
        ),
        lesson(
            w.lesson_5,
            w.lesson_5_scene,
            w.lesson_5_question,
            w.lesson_5_answer,
        ),
        lesson(
            w.lesson_6,
            w.lesson_6_scene,
            w.lesson_6_question,
            w.lesson_6_answer,
        ),
    ]
}

/// The heading of a lesson.
#[must_use]
pub fn lesson_heading(lesson: usize, lessons: usize, title: &str) -> String {
    put!(lesson_of, lesson = lesson, lessons = lessons, title = title)
}

/// The marks that can be kept with one press.
#[must_use]
pub fn marks(feed: Option<FeedNumber>) -> Vec<String> {
    let words = get();
    match feed {
        Some(_) => vec![
            valve_opened(feed),
            valve_closed(feed),
            put!(mark_half_opened, valve = valve(feed)),
            put!(mark_half_closed, valve = valve(feed)),
            put!(mark_shut, valve = valve(feed)),
            words.mark_nozzle.to_owned(),
        ],
        None => [
            words.mark_steam_opened,
            words.mark_steam_shut,
            words.mark_filled,
            words.mark_wiped,
            words.mark_counted,
        ]
        .map(str::to_owned)
        .to_vec(),
    }
}

fn valve(feed: Option<FeedNumber>) -> String {
    match feed {
        None => get().valve.to_owned(),
        Some(feed) => put!(valve_of, feed = feed),
    }
}

/// The mark of the key that opens.
#[must_use]
pub fn valve_opened(feed: Option<FeedNumber>) -> String {
    put!(mark_opened, valve = valve(feed))
}

/// The mark of the key that closes.
#[must_use]
pub fn valve_closed(feed: Option<FeedNumber>) -> String {
    put!(mark_closed, valve = valve(feed))
}
