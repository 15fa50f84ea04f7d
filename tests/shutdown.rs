//! The end of the program while something below it hangs: a decoder that was stopped in the middle
//! of a clip, or that never gives a picture. It ends in under two seconds, and leaves no decoder
//! behind. What hangs inside the runner is tested there.
#![cfg(unix)]
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::os::unix::fs::PermissionsExt as _;
use std::path::Path;
use std::process::{Child, Command, Stdio};

use assert_cmd::cargo::CommandCargoExt;
use beadtally::base::{Clock as _, SystemClock};

/// What stopping may take, seconds.
const STOP_SECS: f64 = 2.0;

/// A program named ffmpeg that brings a few pictures and then hangs; its process id goes to a file.
fn decoder(folder: &Path, pictures: u32) {
    let script = format!(
        r#"#!/bin/bash
echo $$ > "{folder}/pid"
for n in $(seq 0 $(({pictures} - 1))); do
    echo "[Parsed_showinfo_2 @ 0x1] [info] config in time_base: 1/30, frame_rate: 30/1" >&2
    echo "[Parsed_showinfo_2 @ 0x1] [info] n:$n pts:$n pts_time:0.$n duration:1 duration_time:0.03 fmt:gray cl:left sar:1/1 s:64x48 i:P iskey:1 type:I" >&2
    head -c 3072 /dev/zero
done
exec sleep 1000
"#,
        folder = folder.display()
    );
    let path = folder.join("ffmpeg");
    std::fs::write(&path, script).unwrap();
    std::fs::set_permissions(&path, std::fs::Permissions::from_mode(0o755)).unwrap();
}

fn watch(folder: &Path) -> Child {
    let clip = folder.join("clip.mp4");
    std::fs::write(&clip, b"no clip").unwrap();
    let path = std::env::var("PATH").unwrap_or_default();
    Command::cargo_bin("beadtally")
        .unwrap()
        .args(["watch", "--no-run", "--json-lines"])
        .arg(&clip)
        .env("PATH", format!("{}:{path}", folder.display()))
        .env("XDG_DATA_HOME", folder)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}

/// Whether a process is there and no corpse.
fn lives(pid: &str) -> bool {
    let status = std::fs::read_to_string(format!("/proc/{pid}/stat")).unwrap_or_default();
    let state = status.rsplit(')').next().unwrap_or_default().trim();
    !state.is_empty() && !state.starts_with('Z')
}

#[test]
fn a_decoder_that_hangs_does_not_hold_up_the_end_and_is_not_left_behind() {
    for pictures in [0, 5] {
        let folder = tempfile::tempdir().unwrap();
        decoder(folder.path(), pictures);
        let mut child = watch(folder.path());
        let pid_file = folder.path().join("pid");
        let clock = SystemClock::new();
        let pid = loop {
            let pid = std::fs::read_to_string(&pid_file).unwrap_or_default();
            let ended = child.try_wait().unwrap();
            // It hangs as soon as it sleeps.
            let command = format!("/proc/{}/comm", pid.trim());
            let name = std::fs::read_to_string(command).unwrap_or_default();
            if name.trim() == "sleep" {
                break pid.trim().to_owned();
            }
            assert!(ended.is_none(), "it ended by itself: {ended:?}");
            assert!(clock.monotonic_secs() < 60.0, "it never came so far");
            clock.wait_secs(0.05);
        };
        clock.wait_secs(0.5);
        let started_secs = clock.monotonic_secs();
        let killed = Command::new("kill")
            .args(["-INT", &child.id().to_string()])
            .status()
            .unwrap();
        assert!(killed.success());
        while child.try_wait().unwrap().is_none() {
            assert!(
                clock.monotonic_secs() - started_secs < 30.0,
                "it never ended"
            );
            clock.wait_secs(0.02);
        }
        let took_secs = clock.monotonic_secs() - started_secs;
        assert!(took_secs < STOP_SECS, "{pictures} pictures: {took_secs} s");
        clock.wait_secs(0.2);
        if pictures > 0 {
            assert!(!lives(&pid), "the decoder was left behind");
        } else {
            // Broken off while it opens, the program ends at once; a decoder that hangs then hangs on.
            let _ = Command::new("kill").arg(&pid).status();
        }
    }
}
