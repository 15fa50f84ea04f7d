//! The faults, one function each: it lets the fault happen, measures how soon the program says what
//! it must, ends the fault, and measures how soon the program is back.

use std::process::{Child, Command, Stdio};

use serde_json::Value;

use super::clip;
use super::drive::{Bench, CAMERA, shell, uptime_secs};
use super::score::{Try, Wants};

/// One fault.
#[derive(Clone, Copy)]
pub struct Fault {
    pub name: &'static str,
    session: &'static str,
    pub wants: Wants,
    pub happen: fn(&mut Bench) -> Try,
}

/// Controls of the kernel's test camera, by their numbers there (vivid-ctrls.c).
const TEST_PATTERN: u32 = 0x00f0_f000;
/// Per cent of the buffers that never come.
const DROPPED_BUFFERS: u32 = 0x00f0_f040;
/// Unplugs it until nobody holds it.
const DISCONNECT: u32 = 0x00f0_f041;
/// Marks the next buffer as bad.
const BAD_BUFFER: u32 = 0x00f0_f042;
/// The pattern that has edges to steady by and stands still: bars. Only the counters written over it
/// change, so that no picture repeats another.
const BARS: i64 = 0;
/// Longest wait for something to be shown, seconds; the bounds are stricter.
const MOST_SHOW_SECS: f64 = 8.0;
/// Longest wait for the program to come back, seconds; the bounds are stricter.
const MOST_BACK_SECS: f64 = 25.0;
/// Longest time until the program has let go of a camera that brings nothing, seconds.
const MOST_LET_GO_SECS: f64 = 20.0;

const ALL: [Fault; 16] = [
    fault("stall of 6 s", "pictures", Wants::CannotSee, |b| {
        hole(
            b,
            6.0,
            |b| b.signal_writer("STOP"),
            |b| b.signal_writer("CONT"),
        )
    }),
    fault("garbage and cut pictures", "pictures", Wants::Gap, |b| {
        spoil(b, "garbage", 9.0)
    }),
    fault("frozen, stamps run on", "pictures", Wants::CannotSee, |b| {
        hole(
            b,
            8.0,
            |b| b.tell_writer("frozen"),
            |b| b.tell_writer("good"),
        )
    }),
    fault("12 frames a second", "pictures", Wants::Nothing, |b| {
        spoil(b, "slow", 14.0)
    }),
    fault("writer killed", "pictures", Wants::CannotSee, |b| {
        hole(b, 5.0, Bench::kill_writer, |b| {
            b.start_writer(clip::SIZE_PX);
        })
    }),
    fault("stall of 14 s", "pictures", Wants::CannotSee, |b| {
        hole(
            b,
            14.0,
            |b| b.signal_writer("STOP"),
            |b| b.signal_writer("CONT"),
        )
    }),
    fault("clock an hour back", "place", Wants::ClockStep, |b| {
        set_clock(b, "-3600")
    }),
    fault("clock an hour on", "place", Wants::ClockStep, |b| {
        set_clock(b, "+3600")
    }),
    fault("program stopped for 8 s", "place", Wants::Blind, |b| {
        asleep(b, |b| {
            b.program.as_ref().expect("it runs").signal("STOP");
            b.wait(8.0);
            b.program.as_ref().expect("it runs").signal("CONT");
        })
    }),
    fault("taken away, brought back", "place", Wants::CannotSee, |b| {
        hole(b, 5.0, take_away, bring_back)
    }),
    fault("back in another size", "place", Wants::CannotSee, |b| {
        hole(
            b,
            8.0,
            |b| {
                take_away(b);
                insert_loopback();
                b.start_writer((160, 120));
            },
            |b| {
                b.kill_writer();
                b.wait(0.2);
                b.until(MOST_LET_GO_SECS, |_| shell("rmmod v4l2loopback"));
                bring_back(b);
            },
        )
    }),
    fault(
        "unplugged, plugged in",
        "driver",
        Wants::Lost("same socket again"),
        |b| hole(b, 5.0, unplug, |b| plug_in(b, "666")),
    ),
    fault(
        "back, but held by another",
        "driver",
        Wants::Lost("in use by another"),
        |b| {
            let holder = std::cell::RefCell::new(None);
            hole(
                b,
                9.0,
                |b| {
                    unplug(b);
                    b.wait(1.2);
                    plug_in(b, "000");
                    *holder.borrow_mut() = Some(hold());
                    b.wait(2.5);
                    shell(&format!("chmod 666 {CAMERA}"));
                },
                |_| {
                    if let Some(mut holder) = holder.take() {
                        let _ = holder.kill();
                        let _ = holder.wait();
                    }
                },
            )
        },
    ),
    fault(
        "back, but not permitted",
        "driver",
        Wants::Lost("may not be used"),
        |b| {
            hole(
                b,
                5.0,
                |b| {
                    unplug(b);
                    b.wait(1.2);
                    plug_in(b, "600");
                },
                |_| {
                    shell(&format!("chmod 666 {CAMERA}"));
                },
            )
        },
    ),
    fault(
        "driver brings nothing, 6 s",
        "driver",
        Wants::CannotSee,
        |b| {
            hole(
                b,
                6.0,
                |_| control(DROPPED_BUFFERS, 100),
                |_| control(DROPPED_BUFFERS, 0),
            )
        },
    ),
    fault("buffers flagged as bad", "driver", Wants::Gap, |b| {
        let from_secs = uptime_secs();
        for _ in 0..3 {
            control(BAD_BUFFER, 1);
            b.wait(0.4);
        }
        told_gaps(b, from_secs)
    }),
];

const fn fault(
    name: &'static str,
    session: &'static str,
    wants: Wants,
    happen: fn(&mut Bench) -> Try,
) -> Fault {
    Fault {
        name,
        session,
        wants,
        happen,
    }
}

fn is_wanted(name: &str) -> bool {
    match std::env::var("BEADTALLY_CAMERA_FAULTS") {
        Ok(parts) => parts.split(',').any(|part| name.contains(part.trim())),
        Err(_) => true,
    }
}

/// The faults of a session, those that are wanted.
pub fn of_session(session: &str) -> Vec<Fault> {
    let here = |fault: &&Fault| fault.session == session && is_wanted(fault.name);
    ALL.iter().filter(here).copied().collect()
}

/// Waits until 'cannot see' is told after a time; how long that took.
fn shown(bench: &Bench, from_secs: f64) -> Option<f64> {
    let is_told = |bench: &Bench| {
        let lines = bench.told(from_secs);
        lines
            .iter()
            .find(|(_, line)| line["type"] == "state" && line["state"] == "cannot see")
            .map(|(at_secs, _)| at_secs - from_secs)
    };
    bench.until(MOST_SHOW_SECS, |bench| is_told(bench).is_some())?;
    is_told(bench)
}

/// A fault in which nothing can be seen for a while.
fn hole(
    bench: &mut Bench,
    secs: f64,
    begin: impl FnOnce(&mut Bench),
    end: impl FnOnce(&mut Bench),
) -> Try {
    let from_secs = uptime_secs();
    begin(bench);
    let shown_secs = shown(bench, from_secs);
    let left_secs = secs - (uptime_secs() - from_secs);
    bench.wait(left_secs.max(0.0));
    // The words for it may change as more becomes known.
    let words = words_since(bench, from_secs);
    let before_end_secs = uptime_secs();
    end(bench);
    let end_secs = uptime_secs();
    let back_secs = bench.until(MOST_BACK_SECS, Bench::sees);
    Try {
        shown_secs,
        back_secs,
        words,
        hole_clip_secs: Some((
            from_secs - bench.start_secs,
            before_end_secs.min(end_secs) - bench.start_secs,
        )),
        ..Try::default()
    }
}

/// What people were told since a time.
fn words_since(bench: &Bench, from_secs: f64) -> String {
    let lines = bench.told(from_secs);
    let words = lines
        .iter()
        .filter(|(_, line)| line["type"] == "notice")
        .filter_map(|(_, line)| line["words"].as_str());
    words.collect::<Vec<_>>().join(" | ")
}

/// A fault through which counting goes on.
fn spoil(bench: &mut Bench, how: &str, secs: f64) -> Try {
    let from_secs = uptime_secs();
    bench.tell_writer(how);
    bench.wait(secs);
    bench.tell_writer("good");
    told_gaps(bench, from_secs)
}

fn told_gaps(bench: &Bench, from_secs: f64) -> Try {
    bench.wait(1.0);
    let lines = bench.told(from_secs);
    let of = |kind: &str| {
        let is_kind = |(_, line): &&(f64, Value)| line["type"] == kind;
        lines.iter().filter(is_kind).count()
    };
    let first = lines.iter().find(|(_, line)| line["type"] == "gap");
    Try {
        shown_secs: first.map(|(at_secs, _)| at_secs - from_secs),
        back_secs: Some(0.0),
        words: format!("{} gaps told", of("gap")),
        ..Try::default()
    }
}

fn set_clock(bench: &mut Bench, by: &str) -> Try {
    shell(&format!("date -s @$(( $(date +%s) {by} ))"));
    bench.wait(4.0);
    Try {
        back_secs: Some(0.0),
        ..Try::default()
    }
}

/// The program itself sees nothing of it until it is awake again.
fn asleep(bench: &mut Bench, sleep: impl FnOnce(&mut Bench)) -> Try {
    let from_secs = uptime_secs();
    sleep(bench);
    let end_secs = uptime_secs();
    bench.wait(0.5);
    let back_secs = bench.until(MOST_BACK_SECS, Bench::sees);
    Try {
        back_secs,
        words: format!("{:.1} s", end_secs - from_secs),
        hole_clip_secs: Some((from_secs - bench.start_secs, end_secs - bench.start_secs)),
        ..Try::default()
    }
}

/// The camera's driver goes as soon as nobody holds the camera.
fn take_away(bench: &mut Bench) {
    bench.kill_writer();
    bench.until(MOST_LET_GO_SECS, |_| shell("rmmod v4l2loopback"));
}

fn insert_loopback() {
    shell(&format!(
        "insmod /mnt/mod/v4l2loopback.ko devices=1 video_nr=0 card_label=TestCam exclusive_caps=0 \
         max_buffers=4 && chmod 666 {CAMERA}"
    ));
}

fn bring_back(bench: &mut Bench) {
    insert_loopback();
    bench.start_writer(clip::SIZE_PX);
}

/// Sets a control of the test camera at once; another program would take a second to start.
fn control(id: u32, value: i64) {
    let camera = v4l::Device::with_path(CAMERA).expect("the test camera");
    set(&camera, id, value);
}

fn set(camera: &v4l::Device, id: u32, value: i64) {
    let value = v4l::control::Value::Integer(value);
    let done = camera.set_control(v4l::control::Control { id, value });
    if let Err(error) = done {
        println!("# control {id:x}: {error}");
    }
}

/// Unplugs the camera, and keeps it so: the kernel's test camera is back as soon as nobody holds it.
fn unplug(bench: &mut Bench) {
    let camera = v4l::Device::with_path(CAMERA).expect("the test camera");
    set(&camera, DISCONNECT, 1);
    bench.unplugged = Some(camera);
}

/// Plugs it in again, with these rights.
fn plug_in(bench: &mut Bench, mode: &str) {
    shell(&format!("chmod {mode} {CAMERA}"));
    bench.unplugged = None;
}

/// A picture that stands still and in which some samples always change, as in a real one.
fn dress() {
    control(TEST_PATTERN, BARS);
}

/// Another program streams from the camera.
fn hold() -> Child {
    Command::new("v4l2-ctl")
        .args(["-d", CAMERA, "--stream-mmap", "--stream-count=0"])
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("another program")
}

/// What must be refused before anything runs: each with one sentence and exit code 1.
pub fn before_the_start(bench: &mut Bench, session: &str, tries: usize) -> Vec<Try> {
    if session != "driver" {
        return Vec::new();
    }
    dress();
    shell(&format!("chmod 666 {CAMERA}"));
    // The first start reads the whole program from the host, which is no fault of a camera.
    bench.read_program();
    let mut told = Vec::new();
    for _ in 0..tries {
        if is_wanted("held by another at the start") {
            let mut holder = hold();
            bench.wait(1.5);
            told.push(refused(
                bench,
                "held by another at the start",
                "in use by another",
            ));
            let _ = holder.kill();
            let _ = holder.wait();
        }
        if is_wanted("not permitted at the start") {
            shell(&format!("chmod 000 {CAMERA}"));
            told.push(refused(
                bench,
                "not permitted at the start",
                "may not be used",
            ));
            shell(&format!("chmod 666 {CAMERA}"));
        }
    }
    told
}

fn refused(bench: &Bench, name: &str, words: &'static str) -> Try {
    let from_secs = uptime_secs();
    let output = bench.watch_command().output().expect("the program");
    let told = String::from_utf8_lossy(&output.stderr).trim().to_owned();
    let is_right = output.status.code() == Some(1) && told.contains(words);
    Try {
        fault: name.to_owned(),
        wants: Wants::Refused,
        shown_secs: is_right.then(|| uptime_secs() - from_secs),
        back_secs: Some(0.0),
        words: told,
        ..Try::default()
    }
}
