//! Runs cases, several at a time: make the clip, disturb it, watch it, score it.

use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{Arc, Mutex};

use beadtally::base::{BeadKind, BlindWhy};
use beadtally::capture::demo::DemoSource;
use beadtally::capture::{About, Grab, Source};
use beadtally::glass::Calibration;

use super::h264::{self, Coding};
use super::opencv::{self, Told};
use super::row::{DRAWN, Row};
use super::score::Score;
use super::second::clip::Clip;
use super::second::{Disturbed, Wrong};
use super::sweep::Case;
use super::true_outlines;
use super::watch::{self, Kept, Reported, TrueGlass};

/// Where the outlines come from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Outlines {
    /// As they truly are; for a recorded clip, as they are found before it is disturbed.
    True,
    /// As the instrument finds them in the disturbed pictures.
    Found,
}

/// How to run.
#[derive(Clone, Debug)]
pub struct How {
    /// Where the outlines come from.
    pub outlines: Outlines,
    /// The script of the other counter, when it is to be asked.
    pub beside: Option<PathBuf>,
}

/// A case of either way.
#[derive(Clone, Debug)]
pub enum Job {
    /// Drawn by the demo.
    Drawn(Case),
    /// A recorded clip, what is done to it, and how much.
    Recorded(Arc<Clip>, &'static str, f64),
}

impl Job {
    /// `scene/disturbance/level`.
    #[must_use]
    pub fn name(&self) -> String {
        match self {
            Self::Drawn(case) => case.name(),
            Self::Recorded(clip, name, level) => format!("{}/{name}/{level}", clip.name),
        }
    }
}

/// Frames of a source that are kept, put through H.264.
fn reencoded(
    source: &mut dyn Source,
    secs: f64,
    coding: Coding,
) -> Result<(About, Vec<Grab>), String> {
    let about = source.about().clone();
    let grabs = Kept::take(source, secs)?;
    let pictures: Vec<_> = grabs
        .iter()
        .filter_map(|grab| match grab {
            Grab::Frame(frame) => Some(&*frame.luma),
            _ => None,
        })
        .collect();
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let fps = about.frames_per_second.unwrap_or(30.0);
    let back = h264::through(&pictures, fps, coding, &folder.path().join("a.mp4"))?;
    Ok((about, watch::with_pictures(grabs, back)?))
}

/// A clip ready to be watched, perhaps more than once.
enum Ready {
    /// It can be watched as it is made.
    Live(Box<dyn Source>),
    /// It is kept.
    Kept(About, Vec<Grab>),
}

impl Ready {
    fn new(
        mut source: Box<dyn Source>,
        secs: f64,
        coding: Option<Coding>,
        how: &How,
    ) -> Result<Self, String> {
        if let Some(coding) = coding {
            let (about, grabs) = reencoded(&mut *source, secs, coding)?;
            return Ok(Self::Kept(about, grabs));
        }
        if how.beside.is_some() || how.outlines == Outlines::Found {
            let about = source.about().clone();
            return Ok(Self::Kept(about, Kept::take(&mut *source, secs)?));
        }
        Ok(Self::Live(source))
    }

    fn found(&self, glass_mm: Option<f64>) -> Option<Calibration> {
        match self {
            Self::Live(_) => None,
            Self::Kept(about, grabs) => watch::found_calibration(
                Box::new(Kept::new(about.clone(), grabs.clone())),
                glass_mm,
            ),
        }
    }

    fn watch(
        &mut self,
        calibration: Option<&Calibration>,
        secs: f64,
    ) -> Result<Vec<Reported>, String> {
        let Some(calibration) = calibration else {
            return Ok(Vec::new());
        };
        match self {
            Self::Live(source) => watch::watch(&mut **source, calibration, secs),
            Self::Kept(about, grabs) => watch::watch(
                &mut Kept::new(about.clone(), grabs.clone()),
                calibration,
                secs,
            ),
        }
    }

    fn grabs(&self) -> &[Grab] {
        match self {
            Self::Live(_) => &[],
            Self::Kept(_, grabs) => grabs,
        }
    }
}

/// What the other counter is told of a clip.
fn told(truth: &[TrueGlass], px_per_mm: f64, rise_px: Option<f64>) -> Told {
    let oil: Vec<f64> = truth
        .iter()
        .flat_map(|glass| &glass.beads)
        .filter(|bead| bead.kind == BeadKind::Oil)
        .filter_map(|bead| bead.diameter_mm)
        .collect();
    let least = oil.iter().copied().fold(f64::INFINITY, f64::min);
    let most = oil.iter().copied().fold(0.0, f64::max);
    // With no drop at all it is told of common ones, mm.
    let (least, most) = if most > 0.0 {
        (least, most)
    } else {
        (3.0, 5.4)
    };
    Told {
        glasses: truth
            .iter()
            .map(|glass| (glass.upright_box, glass.beads.clone()))
            .collect(),
        drop_px: (least * px_per_mm, most * px_per_mm),
        rise_px,
    }
}

fn row(
    (way, scene, disturbance, level): (&str, &str, &str, f64),
    words: &str,
    secs: f64,
    truth: &[TrueGlass],
    reported: &[Reported],
) -> Row {
    let mut score = Score::default();
    let mut errors = Vec::new();
    for (index, glass) in watch::side_by_side(truth, reported).iter().enumerate() {
        score.add(&Score::of(glass, secs));
        errors.extend(
            Score::errors(glass, secs)
                .into_iter()
                .map(|error| format!("feed {} {error}", index + 1)),
        );
    }
    let mut blind: Vec<(BlindWhy, f64)> = Vec::new();
    for (from, to, why) in reported.iter().flat_map(|own| &own.why) {
        match blind.iter_mut().find(|(known, _)| known == why) {
            Some((_, secs)) => *secs += to - from,
            None => blind.push((*why, to - from)),
        }
    }
    Row {
        way: way.to_owned(),
        scene: scene.to_owned(),
        disturbance: disturbance.to_owned(),
        level,
        words: words.to_owned(),
        score,
        errors,
        blind,
        beside: None,
    }
}

/// Draws, watches and scores one case of the demo.
///
/// # Errors
/// A sentence when the case cannot be drawn.
pub fn drawn(case: &Case, how: &How) -> Result<Row, String> {
    let open = || DemoSource::from_words(&case.words).map_err(|error| error.to_string());
    let first = open()?;
    let places = first.glasses();
    let truth_of = |source: &DemoSource| -> Vec<TrueGlass> {
        places
            .iter()
            .zip(watch::truth_of(source))
            .map(|(glass, beads)| TrueGlass {
                upright_box: glass.upright_box,
                beads,
            })
            .collect()
    };
    let key = (DRAWN, case.scene.name, case.disturbance.name, case.level);
    let true_calibration = true_outlines::calibration(&first);
    let plain = case.coding.is_none() && how.beside.is_none() && how.outlines == Outlines::True;
    if plain {
        let mut source = first;
        let reported = watch::watch(&mut source, &true_calibration, case.secs)?;
        let truth = truth_of(&source);
        return Ok(row(key, &case.words, case.secs, &truth, &reported));
    }
    let glass_mm = first.settings().glass_width_mm();
    let (fps, scale) = (first.settings().fps, first.settings().scale_px_per_mm());
    let mut source = open()?;
    let about = source.about().clone();
    let grabs = Kept::take(&mut source, case.secs)?;
    let truth = truth_of(&source);
    let fastest = source
        .truth()
        .beads
        .iter()
        .filter(|bead| bead.kind == BeadKind::Oil)
        .map(|bead| bead.rise_mm_per_s)
        .fold(0.0, f64::max);
    let kept = Kept::new(about, grabs);
    let mut ready = Ready::new(Box::new(kept), case.secs, case.coding, how)?;
    let calibration = match how.outlines {
        Outlines::True => Some(true_calibration),
        Outlines::Found => ready.found(Some(glass_mm)),
    };
    let reported = ready.watch(calibration.as_ref(), case.secs)?;
    let mut row = row(key, &case.words, case.secs, &truth, &reported);
    if let Some(script) = &how.beside {
        let told = told(&truth, scale, Some(fastest.max(60.0) * scale / fps));
        row.beside = Some(opencv::best(script, ready.grabs(), &told, case.secs)?);
    }
    Ok(row)
}

/// Disturbs, watches and scores one recorded clip.
///
/// # Errors
/// A sentence when the second way does not know the disturbance, or something fails.
pub fn recorded(clip: &Arc<Clip>, name: &str, level: f64, how: &How) -> Result<Row, String> {
    let wrong = Wrong::named(name, level)
        .ok_or_else(|| format!("`{name}` is not known for recorded clips"))?;
    let seed = u64::from(super::sweep::seed_of(&format!("{}/{name}", clip.name)));
    // Beads are followed to the end of the clip; what passes in its last second is not asked for.
    let secs = (clip.secs() - 1.0).max(0.0);
    let source = Disturbed::new(clip.clone(), &wrong, seed);
    let coding = (wrong.h264 > 0.0).then(|| Coding::phone(wrong.h264));
    let mut ready = Ready::new(Box::new(source), secs, coding, how)?;
    let calibration = match how.outlines {
        Outlines::Found => ready.found(None),
        Outlines::True => {
            let calm = Disturbed::new(clip.clone(), &Wrong::default(), seed);
            watch::found_calibration(Box::new(calm), None)
        }
    };
    let calibration = calibration.map(|mut calibration| {
        for feed in &mut calibration.feeds {
            feed.px_per_mm = clip.px_per_mm;
        }
        calibration
    });
    let reported = ready.watch(calibration.as_ref(), secs)?;
    let words = format!("the clip {} with {name} at level {level}", clip.name);
    let key = (clip.name.as_str(), clip.name.as_str(), name, level);
    let mut row = row(key, &words, secs, &clip.truth, &reported);
    if let Some(script) = &how.beside {
        let told = told(&clip.truth, clip.px_per_mm.unwrap_or(4.0), None);
        row.beside = Some(opencv::best(script, ready.grabs(), &told, secs)?);
    }
    Ok(row)
}

/// Runs all jobs, `at_once` at a time; the rows come back in the order of the jobs. `heard` hears
/// of each as it ends.
pub fn all(
    jobs: &[Job],
    how: &How,
    at_once: usize,
    heard: &(dyn Fn(&Result<Row, String>) + Sync),
) -> Vec<Result<Row, String>> {
    let next = AtomicUsize::new(0);
    let done: Mutex<Vec<(usize, Result<Row, String>)>> = Mutex::new(Vec::new());
    std::thread::scope(|scope| {
        for _ in 0..at_once.max(1) {
            scope.spawn(|| {
                loop {
                    let index = next.fetch_add(1, Ordering::Relaxed);
                    let Some(job) = jobs.get(index) else { break };
                    let row = match job {
                        Job::Drawn(case) => drawn(case, how),
                        Job::Recorded(clip, name, level) => recorded(clip, name, *level, how),
                    };
                    let row = row.map_err(|why| format!("{}: {why}", job.name()));
                    heard(&row);
                    if let Ok(mut done) = done.lock() {
                        done.push((index, row));
                    }
                }
            });
        }
    });
    let mut done = done.into_inner().unwrap_or_default();
    done.sort_by_key(|(index, _)| *index);
    done.into_iter().map(|(_, row)| row).collect()
}
