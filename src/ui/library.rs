//! The logbook as the window reads it: the list of runs, runs opened, pictures of beads, reports
//! asked for. One thread reads, so that the window never waits for a disk; it writes nothing into
//! the logbook.

use std::collections::{BTreeMap, HashSet};
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use image::GrayImage;
use jiff::tz::TimeZone;

use crate::base::Clock;
use crate::run::export;
use crate::run::logbook::LogbookReader;
use crate::run::logbook::read::{RunContents, RunSummary};
use crate::run::report::{Report, figures, page};
use crate::ui::words::{self, Language};

/// Requests on their way: more than one view asks for.
const QUEUE: usize = 64;
/// Name of the page among the tables of a report.
const PAGE: &str = "report.html";
/// Most runs that are kept open: two side by side, and the one under way.
const MOST_OPEN: usize = 4;
/// Most pictures that are kept: some screens full of them.
const MOST_PICTURES: usize = 400;

/// Something asked of the library.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Request {
    /// The list of runs.
    List,
    /// Everything in a run but the pictures.
    Open(i64),
    /// The picture of a bead.
    Picture(Bead),
    /// A run written out for others.
    Report(i64),
}

/// A bead of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Bead {
    /// The run.
    pub run: i64,
    /// The feed.
    pub feed: i64,
    /// Source time, seconds, as its bits.
    pub at_bits: u64,
}

/// How far the list of runs has come.
#[derive(Clone, Debug, Default)]
pub enum Runs {
    /// Not asked for yet, or still being read.
    #[default]
    Reading,
    /// These, the oldest first.
    Found(Arc<Vec<RunSummary>>),
    /// It cannot be read; a sentence.
    Failed(String),
}

/// What has been read so far.
#[derive(Clone, Debug, Default)]
pub struct Shelf {
    /// The list of runs.
    pub runs: Runs,
    /// Runs opened, each with how often it was read, or a sentence why not.
    pub opened: BTreeMap<i64, Result<Arc<RunContents>, String>>,
    /// Pictures of beads; none when none was kept.
    pub pictures: BTreeMap<Bead, Option<Arc<GrayImage>>>,
    /// What became of the newest report: a path, or a sentence.
    pub report: Option<Result<String, String>>,
    /// Counts reports.
    pub reports: u64,
}

/// Called when there is something new to draw.
type Wake = Arc<dyn Fn() + Send + Sync>;

/// The library.
pub struct Library {
    shelf: Arc<Mutex<Arc<Shelf>>>,
    asked: Arc<Mutex<HashSet<Request>>>,
    requests: Option<SyncSender<(Request, Language)>>,
}

fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Library {
    /// The library of a logbook; reports go into a folder.
    #[must_use]
    pub fn new(
        logbook: Option<PathBuf>,
        papers: PathBuf,
        clock: Arc<dyn Clock>,
        wake: Wake,
    ) -> Self {
        let shelf: Arc<Mutex<Arc<Shelf>>> = Arc::default();
        let asked: Arc<Mutex<HashSet<Request>>> = Arc::default();
        let Some(logbook) = logbook else {
            let failed = Runs::Failed(words::get().no_logbook.to_owned());
            *lock(&shelf) = Arc::new(Shelf {
                runs: failed,
                ..Shelf::default()
            });
            return Self {
                shelf,
                asked,
                requests: None,
            };
        };
        let (sender, receiver) = sync_channel(QUEUE);
        let reading = Reading {
            logbook,
            papers,
            clock,
            shelf: Arc::clone(&shelf),
            asked: Arc::clone(&asked),
            wake,
        };
        let started = std::thread::Builder::new()
            .name("library".to_owned())
            .spawn(move || reading.serve(&receiver));
        if let Err(error) = &started {
            *lock(&shelf) = Arc::new(Shelf {
                runs: Runs::Failed(error.to_string()),
                ..Shelf::default()
            });
        }
        Self {
            shelf,
            asked,
            requests: started.is_ok().then_some(sender),
        }
    }

    /// What has been read so far.
    #[must_use]
    pub fn shelf(&self) -> Arc<Shelf> {
        Arc::clone(&lock(&self.shelf))
    }

    /// Asks for something, unless it is being fetched already.
    pub fn ask(&self, request: Request) {
        let Some(requests) = &self.requests else {
            return;
        };
        if lock(&self.asked).insert(request)
            && requests.try_send((request, words::spoken())).is_err()
        {
            lock(&self.asked).remove(&request);
        }
    }
}

struct Reading {
    logbook: PathBuf,
    papers: PathBuf,
    clock: Arc<dyn Clock>,
    shelf: Arc<Mutex<Arc<Shelf>>>,
    asked: Arc<Mutex<HashSet<Request>>>,
    wake: Wake,
}

impl Reading {
    fn serve(&self, requests: &Receiver<(Request, Language)>) {
        while let Ok((request, language)) = requests.recv() {
            words::speak(language);
            let mut shelf = Shelf::clone(&lock(&self.shelf));
            self.fetch(request, &mut shelf);
            *lock(&self.shelf) = Arc::new(shelf);
            lock(&self.asked).remove(&request);
            (self.wake)();
        }
    }

    fn fetch(&self, request: Request, shelf: &mut Shelf) {
        match request {
            Request::List => {
                shelf.runs = if self.logbook.exists() {
                    match self.reader().and_then(|reader| told(reader.runs())) {
                        Ok(runs) => Runs::Found(Arc::new(runs)),
                        Err(why) => Runs::Failed(why),
                    }
                } else {
                    // Nothing was recorded yet.
                    Runs::Found(Arc::default())
                };
            }
            Request::Open(run) => {
                let contents = self
                    .reader()
                    .and_then(|reader| told(reader.contents(run)))
                    .map(Arc::new);
                shelf.opened.insert(run, contents);
                while shelf.opened.len() > MOST_OPEN {
                    let oldest = shelf.opened.keys().copied().find(|other| *other != run);
                    match oldest {
                        Some(oldest) => shelf.opened.remove(&oldest),
                        None => break,
                    };
                }
            }
            Request::Picture(bead) => {
                let picture = self
                    .reader()
                    .and_then(|reader| {
                        told(reader.picture(bead.run, bead.feed, f64::from_bits(bead.at_bits)))
                    })
                    .ok()
                    .flatten()
                    .and_then(|png| image::load_from_memory(&png).ok())
                    .map(|picture| Arc::new(picture.to_luma8()));
                if shelf.pictures.len() >= MOST_PICTURES {
                    shelf.pictures.clear();
                }
                shelf.pictures.insert(bead, picture);
            }
            Request::Report(run) => {
                let report = self.report(run);
                match &report {
                    Ok(path) => tracing::info!(run, path, "a report was written"),
                    Err(why) => tracing::warn!(run, why, "no report"),
                }
                shelf.report = Some(report);
                shelf.reports += 1;
            }
        }
    }

    fn reader(&self) -> Result<LogbookReader, String> {
        told(LogbookReader::open(&self.logbook))
    }

    fn report(&self, run: i64) -> Result<String, String> {
        let reader = self.reader()?;
        let made_wall_secs = self.clock.wall_secs();
        let report = told(Report::of_run(
            &reader,
            run,
            TimeZone::system(),
            made_wall_secs,
        ))?;
        let folder = self.papers.join(format!("run-{run}"));
        let mut tables = export::tables(&report.run, &report.zone);
        tables.extend(figures::tables(&report));
        told(export::write_tables(&tables, &folder))?;
        let path = folder.join(PAGE);
        let text = page(&report);
        told(export::write_whole(&path, |file| {
            file.write_all(text.as_bytes())
        }))?;
        let whole = std::path::absolute(&path).unwrap_or(path);
        Ok(shown(&whole))
    }
}

fn told<T, E: std::fmt::Display>(result: Result<T, E>) -> Result<T, String> {
    result.map_err(|error| error.to_string())
}

fn shown(path: &Path) -> String {
    path.display().to_string()
}
