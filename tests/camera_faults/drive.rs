//! Inside the machine: starts the program on the camera, lets the faults of a session happen, and
//! tells of each try what was shown and when. What each fault is stands in `faults`.

use std::io::{BufRead as _, BufReader, Write as _};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex, PoisonError};

use beadtally::base::{Clock as _, SystemClock};
use beadtally::run::logbook::LogbookReader;
use serde_json::Value;

use super::clip::{self, TrueBead};
use super::{ROLE, faults, score};

/// The camera.
pub const CAMERA: &str = "/dev/video0";
/// The logbook of the session, in the machine's memory.
const LOGBOOK: &str = "/run/book/faults.sqlite3";
/// One look around, seconds.
const LOOK_SECS: f64 = 0.05;
/// Time to get used to the picture before the first fault, seconds.
const FIRST_SECS: f64 = 14.0;
/// Longest wait for that, seconds.
const MOST_LEVEL_SECS: f64 = 60.0;
/// A line that comes within this of the least delay comes at once, seconds.
const LEVEL_SECS: f64 = 0.6;
/// Quiet time after each try, seconds: some beads must pass.
const QUIET_SECS: f64 = 9.0;

/// Time since the machine was started, seconds; it goes on while the machine sleeps.
pub fn uptime_secs() -> f64 {
    let text = std::fs::read_to_string("/proc/uptime").expect("Linux tells its uptime");
    let word = text.split(' ').next().expect("a first word");
    word.parse().expect("a number")
}

/// The program under test, with everything it printed and when.
pub struct Program {
    pub child: Child,
    lines: Arc<Mutex<Vec<(f64, Value)>>>,
}

/// The machine, as the faults see it.
pub struct Bench {
    pub folder: PathBuf,
    pub program_path: String,
    /// The calibration.
    pub glasses: PathBuf,
    pub clock: SystemClock,
    pub program: Option<Program>,
    pub writer: Option<Child>,
    /// What keeps a camera unplugged while it is held.
    pub unplugged: Option<v4l::Device>,
    /// Uptime of clip time 0, seconds.
    pub start_secs: f64,
}

impl Program {
    /// What was printed since a time.
    pub fn lines_since(&self, from_secs: f64) -> Vec<(f64, Value)> {
        let lines = self.lines.lock().unwrap_or_else(PoisonError::into_inner);
        let late = |line: &&(f64, Value)| line.0 >= from_secs;
        lines.iter().filter(late).cloned().collect()
    }

    pub fn signal(&self, name: &str) {
        signal(&self.child, name);
    }

    /// Threads, open files, memory in kB.
    pub fn weight(&self) -> (usize, usize, usize) {
        let folder = PathBuf::from(format!("/proc/{}", self.child.id()));
        let count = |name: &str| std::fs::read_dir(folder.join(name)).map_or(0, Iterator::count);
        let status = std::fs::read_to_string(folder.join("status")).unwrap_or_default();
        let rss = status
            .lines()
            .find_map(|line| line.strip_prefix("VmRSS:"))
            .and_then(|rest| rest.trim().trim_end_matches(" kB").trim().parse().ok());
        (count("task"), count("fd"), rss.unwrap_or(0))
    }
}

/// Sends a signal by its name.
pub fn signal(child: &Child, name: &str) {
    shell(&format!("kill -{name} {}", child.id()));
}

/// Runs a line in a shell; its success.
pub fn shell(line: &str) -> bool {
    Command::new("bash")
        .args(["-c", line])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .status()
        .is_ok_and(|status| status.success())
}

impl Bench {
    pub fn wait(&self, secs: f64) {
        self.clock.wait_secs(secs);
    }

    /// Waits until something is so; how long it took, seconds.
    pub fn until(&self, most_secs: f64, mut is_so: impl FnMut(&Self) -> bool) -> Option<f64> {
        let from_secs = self.clock.monotonic_secs();
        loop {
            let took_secs = self.clock.monotonic_secs() - from_secs;
            if is_so(self) {
                return Some(took_secs);
            }
            if took_secs > most_secs {
                return None;
            }
            self.wait(LOOK_SECS);
        }
    }

    /// Starts the camera's writer, at a size.
    pub fn start_writer(&mut self, (width, height): (u32, u32)) {
        let me = std::env::current_exe().expect("a path");
        let child = Command::new(me)
            .env(ROLE, "writer")
            .env("START", self.start_secs.to_string())
            .env("WIDTH", width.to_string())
            .env("HEIGHT", height.to_string())
            .stdin(Stdio::piped())
            .stdout(Stdio::null())
            .stderr(Stdio::inherit())
            .spawn();
        self.writer = Some(child.expect("a writer"));
    }

    /// Ends the writer as a crash does.
    pub fn kill_writer(&mut self) {
        if let Some(mut child) = self.writer.take() {
            let _ = child.kill();
            let _ = child.wait();
        }
    }

    /// Tells the writer how to write.
    pub fn tell_writer(&mut self, how: &str) {
        if let Some(pipe) = self.writer.as_mut().and_then(|child| child.stdin.as_mut()) {
            let _ = writeln!(pipe, "{how}");
            let _ = pipe.flush();
        }
    }

    pub fn signal_writer(&self, name: &str) {
        if let Some(child) = &self.writer {
            signal(child, name);
        }
    }

    /// The program's own command, to watch the camera.
    /// Starts the program once for nothing, so that it is in memory.
    pub fn read_program(&self) {
        let _ = Command::new(&self.program_path).arg("--version").output();
    }

    pub fn watch_command(&self) -> Command {
        // Not the superuser: nobody would ever be refused anything.
        let mut command = Command::new("setpriv");
        command
            .args(["--reuid=65534", "--regid=65534", "--clear-groups"])
            .arg(&self.program_path)
            .args(["--logbook", LOGBOOK, "watch", "camera", "--json-lines"])
            .arg("--calibration")
            .arg(&self.glasses)
            .env("HOME", "/run/book")
            .stdin(Stdio::null());
        command
    }

    fn start_program(&mut self) {
        let mut child = self
            .watch_command()
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("the program");
        let stdout = child.stdout.take().expect("a pipe");
        let lines = Arc::new(Mutex::new(Vec::new()));
        let kept = Arc::clone(&lines);
        let name = "reading".to_owned();
        // For a person; the machine may keep it.
        let session = std::env::var("SESSION").unwrap_or_default();
        let mut file = std::fs::File::create(format!("/mnt/job/{session}.jsonl")).ok();
        let read = move || {
            for line in BufReader::new(stdout).lines().map_while(Result::ok) {
                if let Ok(value) = serde_json::from_str(&line) {
                    if let Some(file) = &mut file {
                        let _ = writeln!(file, "{:.2} {line}", uptime_secs());
                    }
                    let mut kept = kept.lock().unwrap_or_else(PoisonError::into_inner);
                    kept.push((uptime_secs(), value));
                }
            }
        };
        std::thread::Builder::new()
            .name(name)
            .spawn(read)
            .expect("a thread");
        self.program = Some(Program { child, lines });
    }

    /// What the program printed since an uptime.
    pub fn told(&self, from_secs: f64) -> Vec<(f64, Value)> {
        self.program
            .as_ref()
            .map(|program| program.lines_since(from_secs))
            .unwrap_or_default()
    }

    /// Waits until the program tells things as soon as at its best: a machine in software is
    /// slow at first, and pictures queue.
    fn until_level(&self) {
        let delay_secs = |(told_secs, line): &(f64, Value)| {
            let at_secs = line["settled_at_s"].as_f64().or(line["at_s"].as_f64())?;
            let is_dated = ["bead", "reading"].iter().any(|kind| line["type"] == *kind);
            is_dated.then_some(told_secs - at_secs)
        };
        let from_secs = uptime_secs();
        self.until(MOST_LEVEL_SECS, |bench| {
            let lines = bench.told(0.0);
            let least = lines
                .iter()
                .filter_map(delay_secs)
                .fold(f64::INFINITY, f64::min);
            let new = lines.iter().rev().take_while(|line| line.0 > from_secs);
            new.filter_map(delay_secs)
                .any(|secs| secs < least + LEVEL_SECS)
        });
    }

    /// Whether every feed's newest state is (or is not) 'cannot see'.
    pub fn sees(&self) -> bool {
        let mut states = std::collections::BTreeMap::new();
        for (_, line) in self.told(0.0) {
            if line["type"] == "state" {
                states.insert(line["feed"].to_string(), line["state"] != "cannot see");
            }
        }
        states.values().all(|sees| *sees)
    }
}

pub fn run() {
    let session = std::env::var("SESSION").expect("a session");
    let folder = PathBuf::from(std::env::var("FOLDER").expect("a folder"));
    let tries: usize = std::env::var("BEADTALLY_CAMERA_TRIES")
        .ok()
        .and_then(|text| text.parse().ok())
        .unwrap_or(3);
    let is_loopback = session != "driver";
    shell(&format!(
        "mkdir -p /run/book && chown 65534:65534 /run/book && chmod 666 {CAMERA}"
    ));
    let mut bench = Bench {
        program_path: std::env::var("PROGRAM").expect("a program"),
        glasses: if is_loopback {
            folder.join("glasses.toml")
        } else {
            clip::write_glass_of_bars()
        },
        folder,
        clock: SystemClock::new(),
        program: None,
        writer: None,
        unplugged: None,
        start_secs: uptime_secs(),
    };
    if is_loopback {
        bench.start_writer(clip::SIZE_PX);
        bench.until(20.0, |_| {
            std::fs::read_to_string("/sys/devices/virtual/video4linux/video0/format")
                .is_ok_and(|format| format.contains(':'))
        });
    }
    let mut told = faults::before_the_start(&mut bench, &session, tries);
    bench.start_program();
    bench.until(30.0, |bench| {
        bench
            .told(0.0)
            .iter()
            .any(|(_, line)| line["type"] == "run")
    });
    bench.wait(FIRST_SECS);
    if is_loopback {
        bench.until_level();
    }
    let mut weight = None;
    for number in 0..tries {
        for fault in faults::of_session(&session) {
            let from_secs = uptime_secs();
            let seen_before = bench.sees();
            let mut one = (fault.happen)(&mut bench);
            bench.wait(QUIET_SECS);
            if is_loopback {
                bench.until_level();
            }
            fault.name.clone_into(&mut one.fault);
            one.seen_before = seen_before;
            one.clip_secs = (
                from_secs - bench.start_secs,
                uptime_secs() - bench.start_secs,
            );
            one.wants = fault.wants;
            let after = bench.program.as_ref().expect("it runs").weight();
            let before = *weight.get_or_insert(after);
            one.grown = (
                after.0 as i64 - before.0 as i64,
                after.1 as i64 - before.1 as i64,
                after.2 as i64 - before.2 as i64,
            );
            println!("# {number} {} {:?}", fault.name, after);
            told.push(one);
        }
    }
    // The end is asked for while the camera stalls.
    bench.signal_writer("STOP");
    bench.wait(1.0);
    let ended_secs = end_program(&mut bench);
    bench.kill_writer();
    let truth: Vec<TrueBead> = if is_loopback {
        truth(&bench.folder)
    } else {
        Vec::new()
    };
    let contents = LogbookReader::open(Path::new(LOGBOOK))
        .and_then(|reader| reader.contents(reader.newest_run()?))
        .expect("the logbook of the run");
    score::settle(
        &mut told,
        &truth,
        &bench.told(0.0),
        &contents,
        bench.start_secs,
    );
    for one in &told {
        println!("TRY {}", serde_json::to_string(one).expect("plain data"));
    }
    assert!(ended_secs < 2.5, "it took {ended_secs} s to end");
    println!("DRIVEN");
}

fn truth(folder: &Path) -> Vec<TrueBead> {
    let text = std::fs::read_to_string(folder.join("truth.json")).expect("the truth");
    let beads: Vec<TrueBead> = serde_json::from_str(&text).expect("the truth");
    beads
        .into_iter()
        .filter(|bead| bead.at_secs < clip::SECS)
        .collect()
}

/// Ends the program as a person does; how long that took, seconds.
fn end_program(bench: &mut Bench) -> f64 {
    let program = bench.program.as_mut().expect("it runs");
    program.signal("INT");
    let clock = SystemClock::new();
    while matches!(program.child.try_wait(), Ok(None)) && clock.monotonic_secs() < 30.0 {
        clock.wait_secs(LOOK_SECS);
    }
    let took_secs = clock.monotonic_secs();
    println!("# ended after {took_secs:.2} s");
    clock.wait_secs(1.0);
    took_secs
}
