//! The window's real backend: one running instrument at a time, and the errands that take long
//! (opening a source, listing cameras) each in a thread of its own, so that the window never waits.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use crate::base::Clock;
use crate::capture::{self, Paced, SourceSpec};
use crate::glass::Calibration;
use crate::run::{Intent, Notice, Recording, Runner, RunnerSettings, Snapshot, export};
use crate::ui::backend::{Backend, CameraChoice, Cameras, DEMO_SOURCE, Look, Pace};
use crate::ui::library::{Library, Request, Shelf};
use crate::ui::peep::{AllSeen, Opening, Peeps};
use crate::ui::runs::strips::StripToKeep;
use crate::ui::words::{self, Language};

/// Called when there is something new to draw; it must return at once.
pub type Wake = Arc<dyn Fn() + Send + Sync>;

/// Folder of the papers, beside the logbook.
const PAPERS: &str = "papers";

/// The demo as its small picture shows it: small and slow, so that choosing costs little.
const DEMO_TILE: &str = "demo:size=320x240,fps=8,rates=14;9;11";

/// What stands behind the window now.
enum Stage {
    /// Nothing is watched; the snapshot says why.
    Idle(Arc<Snapshot>),
    /// An instrument runs.
    Running(Arc<Runner>),
}

/// Tells the window of news, no oftener than it wants to hear.
struct News {
    clock: Arc<dyn Clock>,
    wake: Wake,
    /// How often, and when it was told last, monotonic seconds.
    told: Mutex<(Pace, f64)>,
}

impl News {
    /// There is news. What is not told now is told with the next news, or when the window looks by
    /// itself, as it does once a second.
    fn come(&self) {
        let now = self.clock.monotonic_secs();
        let mut told = lock(&self.told);
        if now - told.1 >= told.0.least_secs() {
            told.1 = now;
            drop(told);
            (self.wake)();
        }
    }
}

/// What the window and the errands share.
struct Shared {
    clock: Arc<dyn Clock>,
    wake: Wake,
    news: Arc<News>,
    logbook: Option<PathBuf>,
    stage: Mutex<Stage>,
    /// Counts sources asked for: an errand that comes too late is not put up.
    asked: Mutex<u64>,
    /// Held while a source is opened, so that the old one is let go before.
    opening: Mutex<()>,
    cameras: Mutex<Cameras>,
    peeps: Peeps,
    papers: PathBuf,
    library: Library,
}

/// The running instrument behind the window.
pub struct Live {
    shared: Arc<Shared>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// A snapshot of nothing, with words for people.
fn nothing(notice: Notice) -> Arc<Snapshot> {
    Arc::new(Snapshot {
        notice: Some(notice),
        ..Snapshot::default()
    })
}

impl Live {
    /// Nothing is watched yet. Runs go to the logbook at this path, if there is one.
    #[must_use]
    pub fn new(clock: Arc<dyn Clock>, wake: Wake, logbook: Option<PathBuf>) -> Self {
        let notice = Notice {
            is_error: false,
            words: words::get().no_picture.to_owned(),
        };
        let peeps = Peeps::new(Arc::clone(&clock), Arc::clone(&wake));
        let papers = logbook
            .as_ref()
            .and_then(|logbook| logbook.parent())
            .map_or_else(|| PathBuf::from(PAPERS), |folder| folder.join(PAPERS));
        let library = Library::new(
            logbook.clone(),
            papers.clone(),
            Arc::clone(&clock),
            Arc::clone(&wake),
        );
        Self {
            shared: Arc::new(Shared {
                news: Arc::new(News {
                    clock: Arc::clone(&clock),
                    wake: Arc::clone(&wake),
                    told: Mutex::new((Pace::default(), f64::NEG_INFINITY)),
                }),
                peeps,
                papers,
                library,
                clock,
                wake,
                logbook,
                stage: Mutex::new(Stage::Idle(nothing(notice))),
                asked: Mutex::new(0),
                opening: Mutex::new(()),
                cameras: Mutex::new(Cameras::Found(Vec::new())),
            }),
        }
    }

    /// Watches a source, with a calibration if there is one.
    ///
    /// # Errors
    /// A sentence when the words name nothing, or no thread can be started. What goes wrong later
    /// is told by the snapshot's notice.
    pub fn watch(&self, source: &str, calibration: Option<Calibration>) -> Result<(), String> {
        let spec: SourceSpec = source.parse().map_err(|error| format!("{error}"))?;
        let number = {
            let mut asked = lock(&self.shared.asked);
            *asked += 1;
            *asked
        };
        let shared = self.shared.clone();
        let language = words::spoken();
        std::thread::Builder::new()
            .name("open".to_owned())
            .spawn(move || shared.open(&spec, calibration, number, language))
            .map(drop)
            .map_err(|error| error.to_string())
    }
}

impl Shared {
    /// Lets the old source go, opens the new one and starts an instrument on it.
    fn open(
        self: &Arc<Self>,
        spec: &SourceSpec,
        calibration: Option<Calibration>,
        number: u64,
        language: Language,
    ) {
        words::speak(language);
        let _alone = lock(&self.opening);
        if *lock(&self.asked) != number {
            return;
        }
        let name = spec.to_string();
        self.put(Stage::Idle(nothing(Notice {
            is_error: false,
            words: words::opening(&name),
        })));
        // A camera that is still looked at cannot be opened.
        self.peeps.wait();
        tracing::info!(source = name, "opening");
        let stage = match self.start(spec, calibration) {
            Ok(runner) => Stage::Running(Arc::new(runner)),
            Err(why) => {
                tracing::warn!(source = name, why, "not opened");
                Stage::Idle(nothing(Notice {
                    is_error: true,
                    words: words::not_opened(&name, &why),
                }))
            }
        };
        self.put(stage);
    }

    fn start(
        self: &Arc<Self>,
        spec: &SourceSpec,
        calibration: Option<Calibration>,
    ) -> Result<Runner, String> {
        let source = capture::open(spec, self.clock.clone()).map_err(|error| error.to_string())?;
        let paced = Paced::new(source, self.clock.clone());
        let mut settings = RunnerSettings::new(Box::new(paced));
        settings.calibration = calibration;
        settings.logbook.clone_from(&self.logbook);
        settings.recording = Recording::WhenAsked;
        let news = Arc::clone(&self.news);
        settings.on_change = Some(Box::new(move || news.come()));
        Runner::start(settings, self.clock.clone()).map_err(|error| error.to_string())
    }

    /// Puts another stage up; the old instrument ends here, outside the lock.
    fn put(&self, stage: Stage) {
        let old = std::mem::replace(&mut *lock(&self.stage), stage);
        (self.wake)();
        drop(old);
    }

    fn snapshot(&self) -> Arc<Snapshot> {
        match &*lock(&self.stage) {
            Stage::Idle(snapshot) => snapshot.clone(),
            Stage::Running(runner) => runner.snapshot(),
        }
    }

    fn list_cameras(&self) {
        let found = match capture::list() {
            Ok(list) => Cameras::Found(
                list.into_iter()
                    .filter(|camera| camera.usable)
                    .map(|camera| CameraChoice {
                        name: camera.name,
                        identity: camera.identity,
                    })
                    .collect(),
            ),
            Err(error) => Cameras::Failed(error.to_string()),
        };
        *lock(&self.cameras) = found;
        (self.wake)();
    }
}

impl Backend for Live {
    fn snapshot(&self) -> Arc<Snapshot> {
        self.shared.snapshot()
    }

    fn look(&self) -> Look {
        let shared = self.shared.clone();
        Arc::new(move || shared.snapshot())
    }

    fn pace(&self, pace: Pace) {
        lock(&self.shared.news.told).0 = pace;
    }

    fn keep_strip(&self, strip: StripToKeep) {
        self.shared.library.keep(strip);
    }

    fn send(&self, intent: Intent) {
        tracing::debug!(?intent, "asked");
        let runner = match &*lock(&self.shared.stage) {
            Stage::Idle(_) => return,
            Stage::Running(runner) => runner.clone(),
        };
        runner.send(intent);
    }

    fn open_source(&mut self, words: &str) -> Result<(), String> {
        self.watch(words, None)
    }

    fn look_for_cameras(&self) {
        *lock(&self.shared.cameras) = Cameras::Looking;
        let shared = self.shared.clone();
        let started = std::thread::Builder::new()
            .name("cameras".to_owned())
            .spawn(move || shared.list_cameras());
        if let Err(error) = started {
            *lock(&self.shared.cameras) = Cameras::Failed(error.to_string());
        }
    }

    fn peep(&self) {
        let watched = self
            .shared
            .snapshot()
            .about
            .as_ref()
            .map(|about| about.identity.clone());
        let mut sources = vec![(DEMO_SOURCE.to_owned(), DEMO_TILE.to_owned())];
        if let Cameras::Found(cameras) = self.cameras() {
            sources.extend(
                cameras
                    .into_iter()
                    .filter(|camera| watched.as_ref() != Some(&camera.identity))
                    .map(|camera| words::camera_source(&camera.identity))
                    .map(|source| (source.clone(), source)),
            );
        }
        for (name, source) in sources {
            if self.shared.peeps.knows(&name) {
                continue;
            }
            let clock = Arc::clone(&self.shared.clock);
            let open: Opening = Box::new(move || {
                let spec: SourceSpec = source.parse().map_err(|error| format!("{error}"))?;
                capture::open(&spec, clock).map_err(|error| error.to_string())
            });
            self.shared.peeps.look_at(&name, open);
        }
    }

    fn look_away(&self) {
        self.shared.peeps.look_away();
    }

    fn peeps(&self) -> AllSeen {
        self.shared.peeps.seen()
    }

    fn cameras(&self) -> Cameras {
        lock(&self.shared.cameras).clone()
    }

    fn faults(&self) -> Vec<String> {
        let snapshot = self.shared.snapshot();
        let is_demo = snapshot
            .about
            .as_ref()
            .is_some_and(|about| about.name.starts_with(DEMO_SOURCE));
        if is_demo {
            words::demo_faults(snapshot.feeds.len())
        } else {
            Vec::new()
        }
    }

    fn shelf(&self) -> Arc<Shelf> {
        self.shared.library.shelf()
    }

    fn ask(&self, request: Request) {
        self.shared.library.ask(request);
    }

    fn keep_paper(&self, name: &str, page: &str) -> Result<String, String> {
        let folder = &self.shared.papers;
        let path = folder.join(name);
        let written = || -> std::io::Result<()> {
            std::fs::create_dir_all(folder)?;
            let mut file = export::begin(&path, "")?;
            file.write_all(page.as_bytes())?;
            export::put_in_place(file, &path)
        };
        written()
            .map_err(|error| words::not_written(&path.display().to_string(), &error.to_string()))?;
        let whole = std::path::absolute(&path).unwrap_or(path);
        Ok(whole.display().to_string())
    }

    fn load_calibration(&self, path: &str) -> Result<Calibration, String> {
        Calibration::read(Path::new(path)).map_err(|error| error.to_string())
    }

    fn save_calibration(&self, path: &str, calibration: &Calibration) -> Result<(), String> {
        calibration
            .write(Path::new(path))
            .map_err(|error| error.to_string())
    }
}

#[cfg(test)]
mod tests {
    use std::sync::atomic::{AtomicUsize, Ordering};

    use super::*;
    use crate::base::ManualClock;

    #[test]
    fn news_comes_no_oftener_than_it_is_wanted() {
        let clock = ManualClock::new(0.0);
        let wakes = Arc::new(AtomicUsize::new(0));
        let counted = Arc::clone(&wakes);
        let news = News {
            clock: Arc::new(clock.clone()),
            wake: Arc::new(move || {
                counted.fetch_add(1, Ordering::Relaxed);
            }),
            told: Mutex::new((Pace::Pictures, f64::NEG_INFINITY)),
        };
        let in_ten_secs = |pace| {
            lock(&news.told).0 = pace;
            wakes.store(0, Ordering::Relaxed);
            for _ in 0..300 {
                clock.advance(1.0 / 30.0);
                news.come();
            }
            wakes.load(Ordering::Relaxed)
        };
        assert_eq!(in_ten_secs(Pace::Pictures), 300);
        assert!((36..=40).contains(&in_ten_secs(Pace::Figures)));
        assert!((18..=20).contains(&in_ten_secs(Pace::Pages)));
    }
}
