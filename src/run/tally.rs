//! Counts a recorded clip from end to end on one thread: find the glasses in its first seconds,
//! open it again, count, and report. No logbook, no window, no clock: the same clip gives the same
//! report, byte for byte.

use std::sync::Arc;

use serde::Serialize;

use crate::base::{BeadKind, BlindWhy, FeedNumber, GlassKind};
use crate::capture::{About, CaptureError, Grab, Source};
use crate::glass::{Calibration, CalibrationError, UprightBox};
use crate::judge::FeedState;
use crate::run::hand_check::{HandCheckOver, HandCheckReport};
use crate::run::keeping::Keeper;
use crate::run::logbook::LogbookError;
use crate::run::oil::{self, OilReport, ReservoirReport};
use crate::run::outlines::Presets;
use crate::run::search::{self, SearchError};
use crate::run::taps::Taps;
use crate::run::{Event, FeedSnapshot, Instrument};

/// How a clip is to be counted.
#[derive(Clone, Debug, Default)]
pub struct TallySettings {
    /// What the report calls the clip.
    pub clip: String,
    /// Outlines, when known.
    pub calibration: Option<Calibration>,
    /// Bands and glass diameter for glasses that are found by themselves.
    pub presets: Presets,
}

/// What goes beside the counting.
#[derive(Debug, Default)]
pub struct Besides {
    /// Ends the counting at this source time, seconds; none at the end of the clip.
    pub until_secs: Option<f64>,
    /// Marks with their source times, seconds.
    pub marks: Vec<(f64, String)>,
    /// A person's taps at the drops of this clip; none for no hand check.
    pub taps: Option<Taps>,
    /// Where the run is kept; none to keep none.
    pub keeper: Option<Keeper>,
}

/// Where a tally stands, for a progress bar.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Progress {
    /// Pictures looked at to find the glasses.
    Finding(u64),
    /// Pictures counted so far, and how many there will be when that is known.
    Counting(u64, Option<u64>),
}

/// Why a clip could not be counted at all.
#[derive(Debug, thiserror::Error)]
pub enum TallyError {
    /// The clip cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// The calibration is for another shape of picture.
    #[error(transparent)]
    Calibration(#[from] CalibrationError),
    /// No picture, or no glass in it.
    #[error(transparent)]
    Search(#[from] SearchError),
    /// The run cannot be kept.
    #[error(transparent)]
    Logbook(#[from] LogbookError),
}

/// What was counted in one clip.
#[derive(Clone, Debug, Serialize)]
pub struct TallyReport {
    /// The clip.
    pub clip: String,
    /// Pictures read.
    pub frames: u64,
    /// Length, seconds: from the first picture to the end of the last.
    pub duration_s: f64,
    /// Scale, pixels a millimetre: the median over the glasses; none when not known.
    pub px_per_mm: Option<f64>,
    /// The glasses, from the left.
    pub glasses: Vec<GlassReport>,
    /// Time in which a glass could not be judged.
    pub blind: Vec<BlindReport>,
    /// Pictures lost or spoiled.
    pub gaps: Vec<GapReport>,
    /// Reasons to trust the outlines less.
    pub doubts: Vec<String>,
    /// Why the clip could not be read to its end, when it could not.
    pub damaged: Option<String>,
    /// The reservoir, when its capacity is known and a mark told its filling.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub reservoir: Option<ReservoirReport>,
    /// What a person's taps came to beside the drops, when there were any.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hand_check: Option<HandCheckReport>,
    /// Number of the run in the logbook, when one was kept.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub run: Option<i64>,
}

/// One glass of a clip.
#[derive(Clone, Debug, Serialize)]
pub struct GlassReport {
    /// Which feed.
    pub feed: FeedNumber,
    /// A person's name for it; may be empty.
    pub name: String,
    /// Tube or port.
    pub kind: GlassKind,
    /// Smallest upright box round the visible glass, as the clip begins.
    pub outline: OutlineReport,
    /// Scale at its axis, pixels a millimetre, when known.
    pub px_per_mm: Option<f64>,
    /// Every bead, by mid-glass time.
    pub beads: Vec<BeadReport>,
    /// The reading at the end; none when too few drops.
    pub reading: Option<ReadingReport>,
    /// The verdict at the end.
    pub state: FeedState,
    /// Reasons to trust the reading less.
    pub doubts: Vec<String>,
    /// How much oil it gives at the end, when the volume of a drop is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub oil: Option<OilReport>,
    /// A hint to look after the nozzle, when there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub hint: Option<String>,
}

/// An outline as other programs read it, pixels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct OutlineReport {
    /// Left edge.
    pub x: f64,
    /// Upper edge.
    pub y: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
    /// Clockwise turn of the axis, degrees.
    pub angle_deg: f64,
}

impl OutlineReport {
    /// Of an outline in the picture.
    #[must_use]
    pub fn of(outline: &crate::glass::Outline) -> Self {
        let UprightBox {
            x,
            y,
            width,
            height,
        } = outline.upright_box();
        Self {
            x: rounded(x, 1),
            y: rounded(y, 1),
            width: rounded(width, 1),
            height: rounded(height, 1),
            angle_deg: rounded(outline.angle_deg, 2),
        }
    }
}

/// One bead.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct BeadReport {
    /// Time at which its centre passed mid-glass, seconds from the first picture.
    pub at_s: f64,
    /// Oil or gas.
    pub kind: BeadKind,
    /// Rise speed, when the scale is known.
    pub rise_mm_per_s: Option<f64>,
    /// Diameter, when the scale is known.
    pub diameter_mm: Option<f64>,
    /// How sure it is one bead, 0 to 1.
    pub confidence: f64,
}

impl BeadReport {
    /// Of a settled bead.
    #[must_use]
    pub fn of(bead: &crate::bead::Bead) -> Self {
        Self {
            at_s: rounded(bead.at_secs, 3),
            kind: bead.kind,
            rise_mm_per_s: bead.rise_mm_per_s.map(|v| rounded(v, 1)),
            diameter_mm: bead.diameter_mm.map(|v| rounded(v, 2)),
            confidence: rounded(bead.confidence, 3),
        }
    }
}

/// A rate with its limits, drops a minute.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub struct ReadingReport {
    /// Posterior median.
    pub drops_per_minute: f64,
    /// Lower 95 % limit.
    pub low: f64,
    /// Upper 95 % limit.
    pub high: f64,
}

impl ReadingReport {
    /// Of a reading.
    #[must_use]
    pub fn of(reading: &crate::rate::Reading) -> Self {
        Self {
            drops_per_minute: rounded(reading.drops_per_minute, 3),
            low: rounded(reading.low, 3),
            high: rounded(reading.high, 3),
        }
    }
}

/// One blind spell.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct BlindReport {
    /// Which feed; none for all.
    pub feed: Option<FeedNumber>,
    /// Start, seconds.
    pub from_s: f64,
    /// End, seconds.
    pub to_s: f64,
    /// Why, in a few words.
    pub why: &'static str,
}

impl BlindReport {
    /// Of a blind spell.
    #[must_use]
    pub fn of(feed: Option<FeedNumber>, from_secs: f64, to_secs: f64, why: BlindWhy) -> Self {
        Self {
            feed,
            from_s: rounded(from_secs, 3),
            to_s: rounded(to_secs, 3),
            why: why.words(),
        }
    }
}

/// Pictures lost or spoiled.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct GapReport {
    /// Start, seconds.
    pub from_s: f64,
    /// End, seconds.
    pub to_s: f64,
    /// A sentence.
    pub why: String,
}

/// A number as files show it: rounded to so many decimals; −0 becomes 0.
///
/// ```
/// assert_eq!(beadtally::run::tally::rounded(3.21449, 3), 3.214);
/// ```
#[must_use]
pub fn rounded(value: f64, decimals: i32) -> f64 {
    let scale = 10f64.powi(decimals);
    let rounded = (value * scale).round() / scale;
    if rounded == 0.0 { 0.0 } else { rounded }
}

/// Opens the clip anew from its first picture.
pub type OpenClip<'a> = dyn FnMut() -> Result<Box<dyn Source>, CaptureError> + 'a;

/// Counts a clip. `open` is called once or twice: to find the glasses, and to count.
///
/// # Errors
/// [`TallyError`] when nothing can be counted. A clip that fails part-way gives a report with
/// [`TallyReport::damaged`] instead.
pub fn tally(
    open: &mut OpenClip<'_>,
    settings: &TallySettings,
    progress: &mut dyn FnMut(Progress),
) -> Result<TallyReport, TallyError> {
    tally_beside(open, settings, Besides::default(), progress)
}

/// As [`tally`], with marks, an end, and a run in the logbook.
///
/// # Errors
/// As [`tally`]; also what keeps the logbook from being written.
pub fn tally_beside(
    open: &mut OpenClip<'_>,
    settings: &TallySettings,
    besides: Besides,
    progress: &mut dyn FnMut(Progress),
) -> Result<TallyReport, TallyError> {
    let Besides {
        until_secs,
        mut marks,
        mut taps,
        mut keeper,
    } = besides;
    marks.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut marks = marks.into_iter().peekable();
    let (mut doubts, calibration, mut source) = if let Some(given) = &settings.calibration {
        let source = open()?;
        let about = source.about();
        let fitted = given.scaled_to(about.width, about.height)?;
        (Vec::new(), fitted, source)
    } else {
        let mut looked = |pictures| progress(Progress::Finding(pictures));
        let searched = search::search(open()?, settings.presets, &|| false, &mut looked)?;
        (searched.doubts, searched.calibration, open()?)
    };
    let announced = announced(source.about(), until_secs);
    let mut instrument = Instrument::new(calibration.clone());
    let mut report = Collected::default();
    let mut damaged = None;
    loop {
        let mut events = Vec::new();
        let now_secs = instrument.now_secs();
        let is_due = |at: f64| report.frames > 0 && at <= now_secs;
        while let Some((_, words)) = marks.next_if(|(at, _)| is_due(*at)) {
            events.extend(instrument.mark(None, words));
        }
        let told = match source.next() {
            Ok(Grab::Frame(frame)) if until_secs.is_some_and(|until| frame.at_secs > until) => {
                break;
            }
            Ok(Grab::Frame(frame)) => {
                if report.frames == 0
                    && let Some(keeper) = &mut keeper
                {
                    keeper.start(source.about().clone(), frame.at_secs, calibration.clone())?;
                }
                report.picture_at(frame.at_secs);
                progress(Progress::Counting(report.frames, announced));
                instrument.step(&frame)
            }
            Ok(Grab::Nothing { at_secs }) => instrument.no_frame(at_secs, BlindWhy::NoFrames),
            Ok(Grab::Lost { at_secs, .. }) => instrument.no_frame(at_secs, BlindWhy::CameraLost),
            Ok(Grab::Spoiled { at_secs, why }) => instrument.spoiled(at_secs, &why),
            Ok(Grab::End) => break,
            Err(error) if report.frames == 0 => return Err(error.into()),
            Err(error) => {
                damaged = Some(error.to_string());
                break;
            }
        };
        events.extend(told);
        if let Some(taps) = &mut taps {
            events.extend(taps.give(&mut instrument));
        }
        if let Some(keeper) = &mut keeper {
            keeper.events(&events)?;
        }
        report.take(events);
    }
    let last = instrument.finish();
    let mut run = None;
    if let Some(keeper) = &mut keeper {
        keeper.events(&last)?;
        run = keeper.end(instrument.now_secs())?;
    }
    report.take(last);
    if report.frames == 0 {
        return Err(SearchError::NoPictures(settings.clip.clone()).into());
    }
    doubts.dedup();
    doubts
        .extend(marks.map(|(at, words)| format!("the mark at {at} s lies after the end: {words}")));
    let mut report =
        report.into_report(settings, &calibration, &instrument.feeds(), doubts, damaged);
    report.run = run;
    let oil = instrument.oil(None);
    report.reservoir = oil.reservoir.as_ref().map(ReservoirReport::of);
    let no_nozzle = oil
        .no_nozzle
        .map(|why| format!("no oil from the nozzle: {why}"));
    report.doubts.extend(no_nozzle);
    Ok(report)
}

/// How many pictures there will be, when that is known.
fn announced(about: &About, until_secs: Option<f64>) -> Option<u64> {
    let until = until_secs
        .zip(about.frames_per_second)
        .map(|(secs, a_second)| (secs * a_second).ceil() as u64);
    match (about.frames, until) {
        (Some(frames), Some(until)) => Some(frames.min(until)),
        (frames, until) => frames.or(until),
    }
}

/// What gathers while counting.
#[derive(Default)]
struct Collected {
    frames: u64,
    first_secs: f64,
    last_secs: f64,
    beads: Vec<(FeedNumber, BeadReport)>,
    blind: Vec<BlindReport>,
    gaps: Vec<GapReport>,
    doubts: Vec<String>,
    check: Option<Arc<HandCheckOver>>,
}

impl Collected {
    fn picture_at(&mut self, at_secs: f64) {
        if self.frames == 0 {
            self.first_secs = at_secs;
        }
        self.last_secs = at_secs;
        self.frames += 1;
    }

    fn take(&mut self, events: Vec<Event>) {
        for event in events {
            super::telling::tell(&event);
            match event {
                Event::Bead { feed, bead } => self.beads.push((feed, BeadReport::of(&bead))),
                Event::Blind {
                    feed,
                    from_secs,
                    to_secs,
                    why,
                } => self
                    .blind
                    .push(BlindReport::of(feed, from_secs, to_secs, why)),
                Event::Gap {
                    from_secs,
                    to_secs,
                    why,
                } => self.gaps.push(GapReport {
                    from_s: rounded(from_secs, 3),
                    to_s: rounded(to_secs, 3),
                    why,
                }),
                Event::Mark { at_secs, words, .. } => {
                    self.doubts.push(format!("at {at_secs:.1} s {words}"));
                }
                Event::Reading { .. }
                | Event::State { .. }
                | Event::Alarm { .. }
                | Event::AsFound { .. }
                | Event::Tap { .. } => {}
                Event::HandCheck { check, .. } => self.check = Some(check),
            }
        }
    }

    /// The last picture lasts as long as the others did on average.
    fn duration_secs(&self) -> f64 {
        let secs = self.last_secs - self.first_secs;
        match self.frames {
            0 | 1 => 0.0,
            frames => secs * frames as f64 / (frames - 1) as f64,
        }
    }

    fn into_report(
        self,
        settings: &TallySettings,
        calibration: &Calibration,
        feeds: &[FeedSnapshot],
        mut doubts: Vec<String>,
        damaged: Option<String>,
    ) -> TallyReport {
        doubts.extend(self.doubts.iter().cloned());
        let duration_s = rounded(self.duration_secs(), 3);
        // Outlines and scales are those of the first picture, though the camera may have moved since.
        let glasses = feeds
            .iter()
            .zip(&calibration.feeds)
            .map(|(feed, given)| {
                let mut beads: Vec<BeadReport> = self
                    .beads
                    .iter()
                    .filter(|(of, _)| *of == feed.feed)
                    .map(|(_, bead)| *bead)
                    .collect();
                beads.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
                GlassReport {
                    feed: feed.feed,
                    name: feed.calibration.name.clone(),
                    kind: feed.calibration.outline.kind,
                    outline: OutlineReport::of(&given.outline),
                    px_per_mm: given.px_per_mm.map(|v| rounded(v, 3)),
                    beads,
                    reading: feed.reading.as_ref().map(ReadingReport::of),
                    state: feed.state,
                    doubts: feed.doubts.clone(),
                    oil: feed.oil.as_ref().map(OilReport::of),
                    hint: oil::hint(feed.growth.as_ref()),
                }
            })
            .collect();
        TallyReport {
            clip: settings.clip.clone(),
            frames: self.frames,
            duration_s,
            px_per_mm: median_scale(calibration),
            glasses,
            blind: self.blind,
            gaps: self.gaps,
            doubts,
            damaged,
            reservoir: None,
            hand_check: self.check.as_deref().map(HandCheckReport::of),
            run: None,
        }
    }
}

/// Median scale over the feeds that have one.
fn median_scale(calibration: &Calibration) -> Option<f64> {
    let mut scales: Vec<f64> = calibration
        .feeds
        .iter()
        .filter_map(|feed| feed.px_per_mm)
        .collect();
    scales.sort_by(f64::total_cmp);
    let middle = scales.get(scales.len() / 2).copied()?;
    let lower = scales.get((scales.len() - 1) / 2).copied()?;
    Some(rounded(f64::midpoint(lower, middle), 3))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn thirty_frames_a_second_for_a_minute_last_a_minute() {
        let mut collected = Collected::default();
        for n in 0..1800 {
            collected.picture_at(f64::from(n) / 30.0);
        }
        assert_eq!(rounded(collected.duration_secs(), 3), 60.0);
    }

    #[test]
    fn the_scale_of_a_lubricator_is_the_median_of_its_glasses() {
        let feed = |px_per_mm| crate::glass::FeedCalibration {
            name: String::new(),
            outline: crate::glass::Outline::upright(GlassKind::Tube, 0.0, 0.0, 1.0, 1.0),
            band: crate::base::Band::default(),
            px_per_mm,
            scale_from: crate::glass::ScaleFrom::Typed,
        };
        let mut calibration = Calibration {
            picture_width_px: 1,
            picture_height_px: 1,
            camera_identity: None,
            oil: crate::glass::OilData::default(),
            feeds: vec![feed(Some(4.0)), feed(None), feed(Some(5.0))],
        };
        assert_eq!(median_scale(&calibration), Some(4.5));
        calibration.feeds.truncate(0);
        assert_eq!(median_scale(&calibration), None);
    }
}
