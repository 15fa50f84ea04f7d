//! Looks at the first seconds of a source until its glasses are found. It keeps no pictures for
//! counting; a clip is opened anew for that.

use crate::base::Frame;
use crate::capture::{About, CaptureError, Grab, Source};
use crate::glass::Calibration;
use crate::glass::find::Finder;
use crate::run::outlines::{self, Presets};

/// How much is looked at before an answer is asked for, seconds: at ten drops a minute and more a
/// bead or two rise in each glass in this time; at fewer, the still picture must do.
pub const FIND_SECS: f64 = 8.0;
/// How far the search may go on when the first look found nothing, seconds: beyond this nobody
/// waits for a surprise.
pub const FIND_AT_MOST_SECS: f64 = 40.0;
/// Most pictures looked at per [`FIND_SECS`]: 30 a second are plenty; faster sources are thinned.
const FIND_FRAMES: usize = 240;

/// Why no glasses are known after a search.
#[derive(Debug, thiserror::Error)]
pub enum SearchError {
    /// The source cannot be read.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// It opened but brings no picture.
    #[error("{0}: there is no picture in it; check the file, or record it again")]
    NoPictures(String),
    /// No glass was found.
    #[error("{0}: {1}; or give the outlines with --calibration FILE.toml")]
    NoGlasses(String, String),
    /// A person broke it off.
    #[error("the search was broken off")]
    BrokenOff,
}

/// What a search found.
#[derive(Clone, Debug)]
pub struct Searched {
    /// The source.
    pub about: About,
    /// The glasses, from the left.
    pub calibration: Calibration,
    /// How sure each glass is, 0 to 1, in the same order.
    pub confidences: Vec<f64>,
    /// Reasons to trust the outlines less.
    pub doubts: Vec<String>,
    /// The last picture looked at.
    pub picture: Frame,
}

/// Looks at the start of a source until glasses are found. `progress` is told the number of
/// pictures looked at; `give_up` is asked between pictures.
///
/// # Errors
/// [`SearchError`].
pub fn search(
    mut source: Box<dyn Source>,
    presets: Presets,
    give_up: &dyn Fn() -> bool,
    progress: &mut dyn FnMut(u64),
) -> Result<Searched, SearchError> {
    let about = source.about().clone();
    let mut finder = Finder::new(about.width, about.height);
    let mut looked = 0_u64;
    let mut look_until_secs = FIND_SECS;
    let step_secs = FIND_SECS / FIND_FRAMES as f64;
    let mut next_secs = f64::NEG_INFINITY;
    let mut newest: Option<Frame> = None;
    loop {
        if give_up() {
            return Err(SearchError::BrokenOff);
        }
        let mut now_secs = 0.0;
        let mut damage = None;
        let ended = match source.next() {
            Ok(Grab::Frame(frame)) => {
                now_secs = frame.at_secs;
                if frame.at_secs >= next_secs {
                    // A hair less than the step, so that a clip at just this rate is not halved.
                    next_secs = frame.at_secs + 0.9 * step_secs;
                    finder.look(&frame);
                    looked += 1;
                    progress(looked);
                    newest = Some(frame);
                }
                false
            }
            Ok(
                Grab::Nothing { at_secs }
                | Grab::Lost { at_secs, .. }
                | Grab::Spoiled { at_secs, .. },
            ) => {
                now_secs = at_secs;
                false
            }
            Err(error) if looked == 0 => return Err(error.into()),
            Ok(Grab::End) => true,
            Err(error) => {
                // Damaged part-way: what was seen may be enough; counting tells of the damage.
                damage = Some(error);
                true
            }
        };
        if !ended && now_secs < look_until_secs {
            continue;
        }
        let mut doubts = Vec::new();
        if let Some(picture) = &newest {
            let found = finder.found();
            if let Some(calibration) = outlines::calibration_from(&found, &about, presets) {
                return Ok(Searched {
                    confidences: outlines::confidences(&found),
                    about,
                    calibration,
                    doubts: found.doubts,
                    picture: picture.clone(),
                });
            }
            doubts = found.doubts;
        }
        if let Some(error) = damage {
            return Err(error.into());
        }
        look_until_secs += FIND_SECS;
        if ended || look_until_secs > FIND_AT_MOST_SECS {
            return Err(if newest.is_none() {
                SearchError::NoPictures(about.name)
            } else {
                SearchError::NoGlasses(about.name, no_glass_words(&doubts))
            });
        }
    }
}

/// Why no glass was found, in the finder's own sentences where it has some.
#[must_use]
pub fn no_glass_words(reasons: &[String]) -> String {
    if reasons.is_empty() {
        "no glass found: see that each glass is upright, whole, lit and sharp in the picture"
            .to_owned()
    } else {
        reasons.join("; ")
    }
}
