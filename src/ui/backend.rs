//! What the window needs of whatever runs behind it: the newest snapshot, a way to send intents,
//! and a few errands (sources, cameras, calibration files). The window knows nothing else, so that
//! a running instrument and a scripted one look the same to it.

use std::sync::Arc;

use crate::glass::Calibration;
use crate::run::{Intent, Snapshot};
use crate::ui::library::{Request, Shelf};
use crate::ui::peep::AllSeen;
use crate::ui::runs::strips::StripToKeep;

/// The words that open the demo.
pub const DEMO_SOURCE: &str = "demo";

/// Gives the newest snapshot from any thread (the alarm's sound must not depend on the window).
pub type Look = Arc<dyn Fn() -> Arc<Snapshot> + Send + Sync>;

/// A camera that could be watched.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CameraChoice {
    /// Its name, for people.
    pub name: String,
    /// Its stable identity.
    pub identity: String,
}

/// How far the search for cameras has come.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Cameras {
    /// Still looking.
    Looking,
    /// These were found (perhaps none).
    Found(Vec<CameraChoice>),
    /// It failed; a sentence.
    Failed(String),
}

/// How often the window wants to be told that something changed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Pace {
    /// Pictures move: as often as an eye can follow.
    #[default]
    Pictures,
    /// Figures from afar.
    Figures,
    /// Pages to read.
    Pages,
}

impl Pace {
    /// Least time between two calls, seconds.
    #[must_use]
    pub fn least_secs(self) -> f64 {
        match self {
            // The window itself draws no more often than it shows pictures.
            Self::Pictures => 0.0,
            // A new figure is there before a person has looked up.
            Self::Figures => 0.25,
            // An alarm is still seen within half a second.
            Self::Pages => 0.5,
        }
    }
}

/// The instrument as the window sees it. No call may block for longer than a few milliseconds.
pub trait Backend {
    /// The newest state.
    fn snapshot(&self) -> Arc<Snapshot>;

    /// The same, for another thread.
    fn look(&self) -> Look;

    /// How often to be told that something changed, from now on.
    fn pace(&self, pace: Pace);

    /// Asks for something.
    fn send(&self, intent: Intent);

    /// Watches another source: `demo`, `camera`, `camera:NAME` or a path.
    ///
    /// # Errors
    /// A sentence for people: what, why, and what to do.
    fn open_source(&mut self, words: &str) -> Result<(), String>;

    /// Starts looking for cameras again.
    fn look_for_cameras(&self);

    /// The cameras found so far.
    fn cameras(&self) -> Cameras;

    /// Looks at every camera found and at the demo, for choosing among them; goes on until
    /// [`Backend::look_away`]. May be called again and again.
    fn peep(&self);

    /// Nobody chooses any more.
    fn look_away(&self);

    /// What is seen of the sources.
    fn peeps(&self) -> AllSeen;

    /// The faults that can be asked of the demo, in its own words; empty when no demo is watched.
    fn faults(&self) -> Vec<String>;

    /// What has been read of the logbook so far.
    fn shelf(&self) -> Arc<Shelf>;

    /// Asks for something of the logbook; it comes onto the shelf later.
    fn ask(&self, request: Request);

    /// Keeps a strip of the run under way.
    fn keep_strip(&self, strip: StripToKeep);

    /// Keeps a page under a name; gives its path.
    ///
    /// # Errors
    /// A sentence that names the file and the cure.
    fn keep_paper(&self, name: &str, page: &str) -> Result<String, String>;

    /// Reads a calibration file.
    ///
    /// # Errors
    /// A sentence that names the file, the line and the cure.
    fn load_calibration(&self, path: &str) -> Result<Calibration, String>;

    /// Writes a calibration file.
    ///
    /// # Errors
    /// A sentence that names the file and the cure.
    fn save_calibration(&self, path: &str, calibration: &Calibration) -> Result<(), String>;
}
