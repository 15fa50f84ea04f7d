//! Sentences of the views for getting started, for the fitter, the instructor and the tester. What
//! they are made of stands in the languages' files.

use super::{figure, get, put};
use crate::health::aim::{Finding, Grade, Judged};

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
