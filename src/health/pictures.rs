//! Whether enough pictures came of the time that a bead takes through the glass. A bead of which
//! most pictures were lost or spoiled cannot be told from chance, however short each hole was. It
//! knows times only.

use std::collections::VecDeque;

/// Share of the pictures of a passage that must have come. A bead must be seen to rise through a
/// quarter of its glass, so of a hole in the midst of its passage more than half must be left; and
/// a picture more on either side, because two sightings tell nothing from chance.
const LEAST_SHARE: f64 = 0.6;
/// What a count of pictures may be short of a share by its being whole, pictures.
const WHOLE_PICTURES: f64 = 0.5;
/// Longest time that is looked back on, seconds: of a slower bead more pictures come than are
/// needed, and a longer hole is a blind spell by itself.
const LONGEST_SECS: f64 = 1.5;
/// Intervals between pictures from which the camera's rate is known: two seconds at 15 a second.
const INTERVALS: usize = 32;
/// Of these, in rising order, the one that is the camera's own: a quarter are shorter. With every
/// third picture lost half of them still are.
const OWN_INTERVAL: usize = INTERVALS / 4;
/// Passages of which the median is the usual one.
const PASSAGES: usize = 5;
/// Most times kept: a second and a half at 120 a second, and some.
const MOST_TIMES: usize = 200;

/// What a picture shows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Picture {
    /// Another than the one before.
    New,
    /// The same, and nothing moved in it: video coding repeats a calm picture as it is.
    Calm,
    /// The same although something was moving: it shows nothing of that moment.
    Stale,
}

/// The pictures that came lately, and how long a bead takes.
#[derive(Clone, Debug)]
pub(super) struct Pictures {
    /// Since when without a hole that is told by itself, source time, seconds.
    began_secs: Option<f64>,
    now_secs: f64,
    times: VecDeque<f64>,
    /// When the last new one came.
    new_secs: Option<f64>,
    /// Between new pictures.
    intervals: VecDeque<f64>,
    passages: VecDeque<f64>,
}

impl Pictures {
    pub(super) fn new() -> Self {
        Self {
            began_secs: None,
            now_secs: 0.0,
            times: VecDeque::with_capacity(MOST_TIMES),
            new_secs: None,
            intervals: VecDeque::with_capacity(INTERVALS),
            passages: VecDeque::with_capacity(PASSAGES),
        }
    }

    /// A bead took so long through the whole glass, seconds.
    pub(super) fn passed(&mut self, secs: f64) {
        if secs.is_finite() && secs > 0.0 {
            keep(&mut self.passages, secs, PASSAGES);
        }
    }

    /// What came before is told already: looking back begins here.
    pub(super) fn begin(&mut self, at_secs: f64) {
        self.began_secs = Some(at_secs);
        self.times.clear();
        self.new_secs = None;
    }

    /// A picture came. The camera's own rate is that of its new ones: some repeat each once or more.
    pub(super) fn came(&mut self, at_secs: f64, picture: Picture) {
        self.now_secs = at_secs;
        if self.began_secs.is_none() {
            self.begin(at_secs);
        }
        if picture == Picture::New
            && let Some(before_secs) = self.new_secs.replace(at_secs)
        {
            keep(&mut self.intervals, at_secs - before_secs, INTERVALS);
        }
        if picture != Picture::Stale {
            keep(&mut self.times, at_secs, MOST_TIMES);
        }
    }

    /// Since when too few pictures came for a bead to be seen; none when there were enough, or
    /// nothing is known yet of beads or of the camera.
    pub(super) fn too_few_since(&self) -> Option<f64> {
        let (began_secs, now_secs) = (self.began_secs?, self.now_secs);
        if self.intervals.len() < INTERVALS || self.passages.is_empty() {
            return None;
        }
        let passage_secs = nth(&self.passages, self.passages.len() / 2)?.min(LONGEST_SECS);
        let from_secs = now_secs - passage_secs;
        if from_secs < began_secs {
            return None;
        }
        let came = self.times.iter().rev().take_while(|at| **at > from_secs);
        let due = passage_secs / nth(&self.intervals, OWN_INTERVAL)?.max(1e-3);
        (came.count() as f64 + WHOLE_PICTURES < LEAST_SHARE * due).then_some(from_secs)
    }
}

fn keep(into: &mut VecDeque<f64>, value: f64, most: usize) {
    if into.len() >= most {
        into.pop_front();
    }
    into.push_back(value);
}

/// The n-th smallest; at most [`INTERVALS`] values are looked at.
fn nth(values: &VecDeque<f64>, n: usize) -> Option<f64> {
    let mut sorted = [f64::INFINITY; INTERVALS];
    for (place, value) in sorted.iter_mut().zip(values) {
        *place = *value;
    }
    sorted.sort_unstable_by(f64::total_cmp);
    sorted.get(n).copied().filter(|value| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Fifteen a second for so many frames, those that `is_there` says; the first moment at which
    /// too few came, and since when.
    fn first_too_few(
        passage_secs: f64,
        frames: u32,
        is_there: impl Fn(u32) -> bool,
    ) -> Option<(f64, f64)> {
        let mut pictures = Pictures::new();
        pictures.passed(passage_secs);
        for frame in (0..frames).filter(|n| is_there(*n)) {
            let at_secs = f64::from(frame) / 15.0;
            pictures.came(at_secs, Picture::New);
            if let Some(since) = pictures.too_few_since() {
                return Some((at_secs, since));
            }
        }
        None
    }

    #[test]
    fn single_losses_and_every_third_are_borne() {
        assert_eq!(first_too_few(0.66, 900, |_| true), None);
        assert_eq!(first_too_few(0.66, 900, |n| n % 7 != 0), None);
        assert_eq!(first_too_few(0.66, 900, |n| n % 3 != 0), None);
    }

    #[test]
    fn a_hole_is_too_long_where_it_hides_most_of_a_passage() {
        // Four pictures in a row: a hole of a third of a second.
        let hole = |n: u32| !(300..304).contains(&n);
        assert_eq!(first_too_few(0.66, 900, hole), None);
        // With every third spoiled too, five of ten are left.
        let (at, since) = first_too_few(0.66, 900, |n| hole(n) && n % 3 != 0).unwrap();
        assert!((since..at).contains(&(300.0 / 15.0)), "{since} to {at}");
        // A bead that takes half the time loses most of its passage by that hole alone.
        assert!(first_too_few(0.33, 900, hole).is_some());
    }

    #[test]
    fn nothing_is_said_before_beads_and_camera_are_known_or_after_a_new_beginning() {
        let mut pictures = Pictures::new();
        for n in 0..100 {
            pictures.came(f64::from(n) / 15.0, Picture::New);
        }
        pictures.came(7.4, Picture::New);
        assert_eq!(pictures.too_few_since(), None);
        pictures.passed(0.66);
        assert!(pictures.too_few_since().is_some());
        pictures.begin(7.4);
        pictures.came(7.5, Picture::New);
        assert_eq!(pictures.too_few_since(), None);
    }

    #[test]
    fn a_stale_picture_is_none_and_a_calm_one_that_repeats_is_as_good_as_new() {
        let too_few = |repeat: Picture, every: u32| {
            let mut pictures = Pictures::new();
            pictures.passed(0.66);
            (0..900).any(|n| {
                let is_new = n < 100 || n % every == 0;
                pictures.came(
                    f64::from(n) / 15.0,
                    if is_new { Picture::New } else { repeat },
                );
                pictures.too_few_since().is_some()
            })
        };
        assert!(too_few(Picture::Stale, 3));
        assert!(!too_few(Picture::Calm, 3));
        assert!(!too_few(Picture::Calm, 30));
    }

    #[test]
    fn a_camera_that_shows_each_picture_twice_has_half_the_rate() {
        let mut pictures = Pictures::new();
        pictures.passed(0.66);
        for n in 0..900 {
            // A bead passes every two seconds.
            let repeat = if n % 60 < 20 {
                Picture::Stale
            } else {
                Picture::Calm
            };
            let picture = if n % 2 == 0 { Picture::New } else { repeat };
            pictures.came(f64::from(n) / 30.0, picture);
            assert_eq!(pictures.too_few_since(), None, "picture {n}");
        }
    }

    #[test]
    fn what_is_kept_stays_small() {
        let mut pictures = Pictures::new();
        for n in 0..20_000 {
            pictures.came(f64::from(n) / 1000.0, Picture::New);
            pictures.passed(0.5);
        }
        assert!(pictures.times.len() <= MOST_TIMES && pictures.passages.len() <= PASSAGES);
    }
}
