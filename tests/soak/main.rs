//! A soak at speed: hours of drawn pictures with every fault at random and everything an operator
//! can ask at random, through the runner with its threads and a logbook. Every true bead must be
//! counted or lie in a declared blind spell, alarms must be true, and nothing may grow.
//!
//! In `cargo test` it runs for a few minutes of source time. `BEADTALLY_SOAK_HOURS=72` sets another
//! length, `BEADTALLY_SOAK_SEED` another course; a release build is wanted for that. It prints what
//! became of the beads, fault by fault. What a camera does below the runner is left to
//! `camera_faults`.

#![expect(clippy::expect_used, reason = "a test may stop at a surprise")]
#![expect(clippy::print_stdout, reason = "the figures are for a person")]

mod diary;
mod stops;
mod trouble;
#[path = "../true_outlines/mod.rs"]
mod true_outlines;
mod weight;

use std::collections::{BTreeMap, VecDeque};
use std::path::{Path, PathBuf};
use std::sync::mpsc::RecvTimeoutError;
use std::sync::{Arc, Mutex};
use std::time::Duration;

use beadtally::base::{FeedNumber, SystemClock};
use beadtally::capture::demo::DemoSource;
use beadtally::glass::Calibration;
use beadtally::judge::{AlarmState, Cause, FeedState};
use beadtally::run::logbook::LogbookReader;
use beadtally::run::{Event, Intent, Recording, Runner, RunnerSettings, Snapshot};
use rand::seq::IndexedRandom as _;
use rand::{RngExt as _, SeedableRng as _};
use rand_chacha::ChaCha8Rng;

use diary::Diary;
use stops::Stops;
use trouble::{Troubled, Truth, lock};
use true_outlines::without_scale;
use weight::{number, weight};

/// Small pictures and one quick feed: many hours and many beads in little time.
const DEMO: &str = "feeds=1,rates=12,scatter=0.15,gas=1,size=160x120,fps=15";
const FPS: f64 = 15.0;
/// Length when nobody says otherwise, hours of source time.
const USUAL_HOURS: f64 = 0.6;
/// A counted bead within this of a true one is that one, seconds.
const MATCH_SECS: f64 = 0.4;
/// A true bead is judged so long after it passed, seconds: by then it is settled, and a spell that
/// it lies in is told or open.
const JUDGED_AFTER_SECS: f64 = 30.0;
/// A blind spell may reach into the passage of a bead that is at mid-glass outside it, seconds.
const PASSAGE_SECS: f64 = 1.2;
/// Time between two things an operator asks, seconds.
const ASK_SECS: std::ops::Range<f64> = 3.0..40.0;
/// So long after it ran at the double a feed may be told to have stopped, seconds: its intervals have
/// become twice as long, and the reading has not yet.
const SLOWED_SECS: f64 = 20.0;
/// A camera that is gone for so long, seconds, must have raised its alarm: its on-delay is 2 s.
const LOST_WITHIN_SECS: f64 = 4.0;
/// Most growth of memory after the first tenth, kB.
const MOST_GROWTH_KB: u64 = 24_000;

/// Something an operator asks.
fn asked(chance: &mut ChaCha8Rng, calibration: &Calibration) -> Vec<Intent> {
    let feed = Some(FeedNumber(1));
    let cause = [
        Cause::Stopped,
        Cause::FarHigh,
        Cause::CannotSee,
        Cause::CameraLost,
    ];
    let cause = *cause.choose(chance).expect("there are some");
    match chance.random_range(0..100) {
        0..12 => vec![Intent::Mark {
            feed: None,
            words: "somebody came, =1+1, <b>".to_owned(),
        }],
        12..18 => vec![Intent::Mark {
            feed,
            words: "valve 1 a quarter turn open".to_owned(),
        }],
        18..24 => vec![Intent::Mark {
            feed: None,
            words: "reservoir filled".to_owned(),
        }],
        24..36 => vec![Intent::AcknowledgeAll],
        36..44 => vec![Intent::Acknowledge { feed, cause }],
        44..52 => vec![Intent::Shelve {
            feed,
            cause,
            for_secs: chance.random_range(-10.0..120.0),
        }],
        52..58 => vec![Intent::StartHandCheck {
            feed: feed.filter(|_| chance.random_bool(0.5)),
        }],
        58..70 => vec![Intent::Tap],
        70..76 => vec![Intent::EndHandCheck],
        76..81 => vec![Intent::StartRun {
            title: "a soak".to_owned(),
        }],
        81..84 => vec![Intent::EndRun],
        84..87 => vec![Intent::EndRunAfter {
            secs: chance.random_range(-5.0..300.0),
        }],
        87..94 => {
            // Another band and name, the same glass.
            let mut new = calibration.clone();
            new.feeds[0].name = format!("feed {}", chance.random_range(0..9));
            new.feeds[0].band.high_per_minute = chance.random_range(3.0..20.0);
            vec![Intent::Calibrate(Arc::new(new))]
        }
        94..98 => {
            // A redrawn outline.
            let mut new = calibration.clone();
            new.feeds[0].outline.centre_x_px += chance.random_range(-1.5..1.5);
            new.feeds[0].outline.height_px -= chance.random_range(0.0..4.0);
            vec![Intent::Calibrate(Arc::new(new))]
        }
        98 => vec![Intent::FindGlasses],
        _ => vec![Intent::Fault("late 40 @0-1".to_owned())],
    }
}

/// Counts by fault.
#[derive(Default)]
struct Line {
    truth: u64,
    counted: u64,
    unseen: u64,
    lost: u64,
    invented: u64,
}

/// Lays what is told to what is true.
struct Judge {
    truth: Arc<Mutex<Truth>>,
    counted: VecDeque<f64>,
    blind: VecDeque<(f64, f64)>,
    blind_since_secs: Option<f64>,
    now_secs: f64,
    lines: BTreeMap<&'static str, Line>,
    /// True beads that nobody can tell of any more, with their faults.
    past: VecDeque<(f64, &'static str)>,
    false_stops: Vec<f64>,
    /// Stops told of a feed that slowed down.
    slow_stops: u64,
    stops: Stops,
    gaps_of_listening: u64,
    /// When the alarm 'camera lost' was raised, and what is wrong with that.
    lost_told: VecDeque<f64>,
    losses: u64,
    wrong_losses: Vec<String>,
    diary: Diary,
}

impl Judge {
    fn event(&mut self, event: &Event) {
        self.diary.event(event);
        match event {
            Event::Bead { bead, .. } if event.is_drop() => self.counted.push_back(bead.at_secs),
            Event::Blind {
                from_secs, to_secs, ..
            } => self.blind.push_back((*from_secs, *to_secs)),
            Event::State { at_secs, state, .. } => {
                self.now_secs = self.now_secs.max(*at_secs);
                if *state == FeedState::Stopped {
                    self.stops.is_told = true;
                    // A bead that truly passed, and could be seen, in the time that was silent.
                    let recent = |(bead_secs, _): &&(f64, &str)| {
                        *bead_secs > at_secs - 9.0 && *bead_secs < at_secs - 1.5
                    };
                    let truth = lock(&self.truth);
                    let all = truth.beads.iter().chain(&self.past);
                    let seen = all
                        .filter(recent)
                        .filter(|(bead_secs, _)| !self.is_unseen(*bead_secs))
                        .count();
                    drop(truth);
                    if seen > 0 && self.slows_down(*at_secs) {
                        self.slow_stops += 1;
                    } else if seen > 0 {
                        self.false_stops.push(*at_secs);
                        self.tell("false stop", *at_secs, "");
                    }
                }
            }
            Event::Alarm { at_secs, alarm }
                if alarm.cause == Cause::CameraLost
                    && alarm.state == AlarmState::Unacknowledged =>
            {
                self.lost_told.push_back(*at_secs);
            }
            Event::Gap { why, .. } if why.contains("not passed on") => self.gaps_of_listening += 1,
            _ => {}
        }
    }

    /// Whether the feed stands still now, or ran faster a moment ago: by the intervals known of it,
    /// it has stopped.
    fn slows_down(&self, at_secs: f64) -> bool {
        let truth = lock(&self.truth);
        let was_fast = |(fault, _, to): &(&str, f64, f64)| {
            fault.starts_with("fast") && at_secs - to < SLOWED_SECS
        };
        truth.stopped_secs.is_some() || truth.over.iter().any(was_fast)
    }

    fn is_unseen(&self, at_secs: f64) -> bool {
        let near =
            |(from, to): &(f64, f64)| at_secs > from - PASSAGE_SECS && at_secs < to + PASSAGE_SECS;
        self.blind.iter().any(near)
            || self
                .blind_since_secs
                .is_some_and(|since| at_secs > since - PASSAGE_SECS)
    }

    fn look(&mut self, snapshot: &Snapshot) {
        self.now_secs = self.now_secs.max(snapshot.now_secs);
        let is_blind = snapshot.feeds.iter().any(|feed| feed.blind.is_some());
        self.blind_since_secs = match (is_blind, self.blind_since_secs) {
            (true, since) => since.or(Some(snapshot.now_secs - 5.0)),
            (false, _) => None,
        };
        for at_secs in std::mem::take(&mut lock(&self.truth).gas) {
            self.diary.note(at_secs, at_secs, "true gas");
        }
        self.watch_stops(snapshot);
        self.watch_losses();
        // When an open spell began is known when it is over: until then nothing is judged.
        if self.blind_since_secs.is_none() {
            self.settle(self.now_secs - JUDGED_AFTER_SECS);
        }
    }

    /// The alarm 'camera lost' comes when the camera was gone for long enough, and only then.
    fn watch_losses(&mut self) {
        loop {
            let mut truth = lock(&self.truth);
            let settled_secs = self.now_secs - JUDGED_AFTER_SECS;
            if truth.over.front().is_none_or(|(.., to)| *to > settled_secs) {
                break;
            }
            let Some((fault, from_secs, to_secs)) = truth.over.pop_front() else {
                break;
            };
            drop(truth);
            self.diary.fault(fault, from_secs, to_secs);
            let told = self
                .lost_told
                .iter()
                .filter(|at| (from_secs..to_secs + 2.0).contains(*at))
                .count();
            self.lost_told.retain(|at| *at >= to_secs + 2.0);
            let is_long = to_secs - from_secs > LOST_WITHIN_SECS;
            self.losses += u64::from(fault == "gone" && told > 0);
            if (fault == "gone" && is_long && told == 0) || (fault != "gone" && told > 0) {
                self.wrong_losses.push(format!(
                    "{fault} {from_secs:.1} to {to_secs:.1}: {told} alarms"
                ));
            }
        }
    }

    fn settle(&mut self, until_secs: f64) {
        loop {
            let mut truth = lock(&self.truth);
            if truth.beads.front().is_none_or(|(at, _)| *at >= until_secs) {
                break;
            }
            let Some((at_secs, fault)) = truth.beads.pop_front() else {
                break;
            };
            drop(truth);
            let found = self
                .counted
                .iter()
                .position(|counted| (counted - at_secs).abs() < MATCH_SECS);
            let is_unseen = self.is_unseen(at_secs);
            let line = self.lines.entry(fault).or_default();
            line.truth += 1;
            if let Some(at) = found {
                self.counted.remove(at);
                line.counted += 1;
            } else if is_unseen {
                line.unseen += 1;
            } else {
                line.lost += 1;
                self.tell("lost", at_secs, fault);
            }
            self.past.push_back((at_secs, fault));
        }
        while self
            .past
            .front()
            .is_some_and(|(at, _)| *at < until_secs - 60.0)
        {
            self.past.pop_front();
        }
        // What is left over so long after it was counted was never true.
        while self
            .counted
            .front()
            .is_some_and(|at| *at < until_secs - 2.0)
        {
            let at_secs = self.counted.pop_front().unwrap_or_default();
            let near = self
                .past
                .iter()
                .min_by(|a, b| (a.0 - at_secs).abs().total_cmp(&(b.0 - at_secs).abs()));
            let fault = near.map_or("quiet", |(_, fault)| *fault);
            self.lines.entry(fault).or_default().invented += 1;
            self.tell("invented", at_secs, fault);
        }
        while self
            .blind
            .front()
            .is_some_and(|(_, to)| *to < until_secs - 60.0)
        {
            self.blind.pop_front();
        }
        self.diary.forget_before(until_secs - 90.0);
    }

    /// A bead that went wrong, with all that happened round it.
    fn tell(&self, what: &str, at_secs: f64, fault: &str) {
        let near = |secs: &f64| (secs - at_secs).abs() < 5.0;
        let truth = lock(&self.truth);
        let beads = self.past.iter().chain(&truth.beads).map(|(secs, _)| *secs);
        let beads: Vec<String> = beads
            .filter(near)
            .map(|secs| format!("{secs:.2}"))
            .collect();
        println!(
            "{what} at {at_secs:.2} during '{fault}', now '{}' since {:.1}; true near it: {}",
            truth.fault,
            truth.since_secs,
            beads.join(" ")
        );
        if let Some((fault, from_secs, to_secs)) = truth.over.back() {
            println!("    before that {from_secs:.2} to {to_secs:.2}: fault '{fault}'");
        }
        for line in self.diary.round(at_secs) {
            println!("{line}");
        }
    }
}

#[test]
fn hours_of_every_fault_and_every_wish_lose_nothing_and_grow_nothing() {
    let hours: f64 = number("BEADTALLY_SOAK_HOURS", USUAL_HOURS);
    let seed: u64 = number("BEADTALLY_SOAK_SEED", 20);
    let folder = tempfile::tempdir().expect("a folder");
    let path: PathBuf = folder.path().join("logbook.sqlite3");
    let mut chance = ChaCha8Rng::seed_from_u64(seed);
    let demo = DemoSource::from_words(&format!("{DEMO},seed={seed}")).expect("words");
    let outlines = without_scale(&demo);
    let truth = Arc::new(Mutex::new(Truth::default()));
    let source = Troubled::new(demo, seed + 1, hours * 3600.0, Arc::clone(&truth));
    let mut settings = RunnerSettings::new(Box::new(source));
    settings.calibration = Some(outlines.clone());
    settings.logbook = Some(path.clone());
    settings.recording = Recording::AtOnce("the first".to_owned());
    let runner = Runner::start(settings, Arc::new(SystemClock::new())).expect("threads");
    let events = runner.events();
    let mut judge = Judge {
        truth,
        counted: VecDeque::new(),
        blind: VecDeque::new(),
        blind_since_secs: None,
        now_secs: 0.0,
        lines: BTreeMap::new(),
        past: VecDeque::new(),
        false_stops: Vec::new(),
        slow_stops: 0,
        stops: Stops::default(),
        gaps_of_listening: 0,
        lost_told: VecDeque::new(),
        losses: 0,
        wrong_losses: Vec::new(),
        diary: Diary::of(outlines.feeds[0].outline),
    };
    let mut ask_secs = 20.0;
    let mut wishes = 0_u64;
    let mut first = None;
    let mut heaviest = None;
    let mut printed_hours = 0.0;
    loop {
        let event = events.recv_timeout(Duration::from_millis(20));
        match &event {
            Ok(event) => judge.event(event),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => break,
        }
        let snapshot = runner.snapshot();
        // What was told before the snapshot is known before it is judged.
        for event in events.try_iter() {
            judge.event(&event);
        }
        judge.look(&snapshot);
        assert!(
            snapshot
                .notice
                .as_ref()
                .is_none_or(|n| !n.words.contains("has died")),
            "{:?}",
            snapshot.notice
        );
        if snapshot.now_secs >= ask_secs {
            ask_secs = snapshot.now_secs + chance.random_range(ASK_SECS);
            for intent in asked(&mut chance, &outlines) {
                judge.diary.asked(snapshot.now_secs, &intent);
                runner.send(intent);
                wishes += 1;
            }
            if snapshot.now_secs > hours * 360.0 {
                let now = weight();
                first = first.or(now);
                heaviest = heaviest.max(now.map(|(threads, fds, rss)| (rss, threads, fds)));
            }
        }
        if snapshot.now_secs / 3600.0 > printed_hours + 1.0 {
            printed_hours = (snapshot.now_secs / 3600.0).floor();
            println!("{printed_hours} h {:?}", weight());
            print_lines(&judge);
        }
    }
    judge.settle(f64::INFINITY);
    let last = weight();
    let stopped = runner.stop();
    println!("{hours} h, {wishes} wishes, seed {seed}, {FPS} frames a second: {DEMO}");
    print_lines(&judge);
    println!(
        "camera lost: {} told, {} wrong; stops: {} told true ({} of all in a reading begun anew), {} missed, {} \
         false, {} as a feed slowed down; weight first {first:?}, last {last:?}, heaviest {heaviest:?}",
        judge.losses,
        judge.wrong_losses.len(),
        judge.stops.all - judge.stops.missed.len() as u64,
        judge.stops.anew,
        judge.stops.missed.len(),
        judge.false_stops.len(),
        judge.slow_stops
    );
    assert!(stopped.left.is_empty(), "{:?}", stopped.left);
    let status = stopped.logbook.expect("a logbook");
    assert_eq!((status.lost, status.failing), (0, None));
    assert_eq!(judge.gaps_of_listening, 0);
    check_logbook(&path);
    check_figures(&judge, hours);
    if let (Some(first), Some(last)) = (first, last) {
        // A search may be under way at the end, in a thread of its own.
        assert!(last.0 <= first.0 + 1, "threads: {first:?} {last:?}");
        assert!(last.1 <= first.1 + 1, "handles: {first:?} {last:?}");
        assert!(
            last.2 <= first.2 + MOST_GROWTH_KB,
            "memory: {first:?} {last:?}"
        );
    }
}

fn print_lines(judge: &Judge) {
    println!(
        "{:18} {:>7} {:>7} {:>7} {:>5} {:>8}",
        "", "true", "counted", "unseen", "lost", "invented"
    );
    for (fault, line) in &judge.lines {
        println!(
            "{fault:18} {:7} {:7} {:7} {:5} {:8}",
            line.truth, line.counted, line.unseen, line.lost, line.invented
        );
    }
}

/// Most lost and invented beads as a share of the true ones that could be seen, all faults together.
const MOST_LOST_SHARE: f64 = 0.01;
/// See above; invented.
const MOST_INVENTED_SHARE: f64 = 0.005;
/// False stops an hour that are allowed: 0.015 at 2.5 drops a minute, so five times that at 12; and
/// some for a short run.
const MOST_FALSE_STOPS_AN_HOUR: f64 = 0.15;
/// Stops told as a feed slowed down or stood still again, an hour: two or three times an hour it runs at
/// the double, and by the intervals known until then it has stopped afterwards.
const MOST_SLOW_STOPS_AN_HOUR: f64 = 0.5;

fn check_figures(judge: &Judge, hours: f64) {
    let sum = |of: fn(&Line) -> u64| judge.lines.values().map(of).sum::<u64>() as f64;
    let (truth, unseen) = (sum(|l| l.truth), sum(|l| l.unseen));
    let (lost, invented) = (sum(|l| l.lost), sum(|l| l.invented));
    let seen = truth - unseen;
    assert!(
        seen > 0.4 * truth,
        "too little could be seen: {seen} of {truth}"
    );
    assert!(
        lost <= 2.0 + MOST_LOST_SHARE * seen,
        "{lost} of {seen} lost"
    );
    assert!(
        invented <= 2.0 + MOST_INVENTED_SHARE * seen,
        "{invented} invented, {seen} seen"
    );
    let most = (1.0 + MOST_FALSE_STOPS_AN_HOUR * hours).floor() as usize;
    assert!(
        judge.false_stops.len() <= most,
        "false stops: {:?}",
        judge.false_stops
    );
    let most = 2.0 + MOST_SLOW_STOPS_AN_HOUR * hours;
    assert!(
        (judge.slow_stops as f64) <= most,
        "{} stops told as the feed slowed down",
        judge.slow_stops
    );
    assert!(
        judge.stops.missed.is_empty(),
        "missed stops: {:?}",
        judge.stops.missed
    );
}

/// Every run can be read, each drop stands in it once.
fn check_logbook(path: &Path) {
    let reader = LogbookReader::open(path).expect("the logbook");
    let runs = reader.runs().expect("its runs");
    assert!(!runs.is_empty());
    for run in runs {
        let contents = reader.contents(run.run).expect("a run");
        let mut times: Vec<i64> = contents
            .drops
            .iter()
            .map(|drop| (drop.at_secs * 1e4) as i64)
            .collect();
        let many = times.len();
        times.sort_unstable();
        times.dedup();
        assert_eq!(times.len(), many, "run {}: a drop twice", run.run);
    }
}
