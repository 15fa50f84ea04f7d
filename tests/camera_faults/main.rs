//! Camera faults on a real V4L2 device in a virtual machine: what the program shows, how soon, and
//! what it counts while a camera stalls, dies, lies or is taken away. The machine is brought by the
//! environment: `BEADTALLY_CAMERA_VM` names a script that is called as
//! `SCRIPT [--mode loopback|vivid] --timeout SECONDS -- COMMAND`, boots a machine that sees this
//! one's files, has the camera `/dev/video0`, runs COMMAND there and prints what it printed.
//! Without it the test says that it was skipped.
//!
//! `BEADTALLY_CAMERA_FAULTS` picks faults by parts of their names (with commas between),
//! `BEADTALLY_CAMERA_TRIES` says how often each is tried (3), `BEADTALLY_CAMERA_PROGRAM` names another
//! build of the program. What is written into the picture is left to `writer`, what goes wrong to
//! `drive` and `faults`, the counting up to `score`.

#![expect(clippy::expect_used, reason = "a test may stop at a surprise")]
#![expect(clippy::print_stdout, reason = "the table is for a person")]

#[cfg(target_os = "linux")]
mod clip;
#[cfg(target_os = "linux")]
mod drive;
#[cfg(target_os = "linux")]
mod faults;
#[cfg(target_os = "linux")]
mod score;
#[cfg(target_os = "linux")]
#[path = "../true_outlines/mod.rs"]
mod true_outlines;
#[cfg(target_os = "linux")]
mod writer;

/// What this program is to be: none for the test itself, outside the machine.
const ROLE: &str = "BEADTALLY_CAMERA_ROLE";

#[cfg(not(target_os = "linux"))]
fn main() {
    println!("camera faults: skipped, they need a V4L2 camera, which only Linux has");
}

#[cfg(target_os = "linux")]
fn main() {
    match std::env::var(ROLE).as_deref() {
        Ok("writer") => writer::run(),
        Ok("drive") => drive::run(),
        _ => outside::run(),
    }
}

/// Outside the machine: the clip is drawn, the machine is started, the table is judged.
#[cfg(target_os = "linux")]
mod outside {
    use std::path::Path;
    use std::process::{Command, Stdio};

    use super::{ROLE, clip, faults, score};

    /// Longest time a machine may take, seconds.
    const MOST_SECS: u32 = 1500;

    pub fn run() {
        let Ok(machine) = std::env::var("BEADTALLY_CAMERA_VM") else {
            println!(
                "camera faults: skipped, no machine with a camera was given (BEADTALLY_CAMERA_VM)"
            );
            return;
        };
        let has_qemu = Command::new("qemu-system-x86_64")
            .arg("--version")
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .is_ok_and(|status| status.success());
        if !has_qemu {
            println!("camera faults: skipped, the program qemu-system-x86_64 is not installed");
            return;
        }
        let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("camera-faults");
        std::fs::create_dir_all(&folder).expect("a folder for the clip");
        clip::draw(&folder);
        let mut wrong = Vec::new();
        let mut rows = Vec::new();
        for (name, mode) in [
            ("pictures", "loopback"),
            ("place", "loopback"),
            ("driver", "vivid"),
        ] {
            if faults::of_session(name).is_empty() {
                continue;
            }
            let tries = session(&machine, name, mode, &folder);
            match tries {
                Ok(tries) => rows.extend(score::rows(&tries)),
                Err(why) => wrong.push(format!("{name}: {why}")),
            }
        }
        println!("{}", score::table(&rows));
        wrong.extend(rows.iter().flat_map(score::Row::breaches));
        for words in &wrong {
            println!("BROKEN: {words}");
        }
        assert!(wrong.is_empty(), "{} bounds are broken", wrong.len());
        assert!(!rows.is_empty(), "no fault was tried");
    }

    /// One start of the machine; the tries it tells of.
    fn session(
        machine: &str,
        name: &str,
        mode: &str,
        folder: &Path,
    ) -> Result<Vec<score::Try>, String> {
        let me = std::env::current_exe().map_err(|e| e.to_string())?;
        let program = std::env::var("BEADTALLY_CAMERA_PROGRAM")
            .unwrap_or_else(|_| env!("CARGO_BIN_EXE_beadtally").to_owned());
        let mut words = format!("{ROLE}=drive SESSION={name} PROGRAM='{program}'");
        for passed in ["BEADTALLY_CAMERA_FAULTS", "BEADTALLY_CAMERA_TRIES"] {
            if let Ok(value) = std::env::var(passed) {
                words = format!("{words} {passed}='{value}'");
            }
        }
        let command = format!(
            "{words} FOLDER='{}' '{}' 2>&1",
            folder.display(),
            me.display()
        );
        let output = Command::new(machine)
            .args(["--mode", mode, "--timeout", &MOST_SECS.to_string(), "--"])
            .arg(command)
            .stdin(Stdio::null())
            .output()
            .map_err(|e| format!("the machine cannot be started: {e}"))?;
        let text = String::from_utf8_lossy(&output.stdout);
        let kept = folder.join(format!("{name}.log"));
        std::fs::write(&kept, text.as_bytes()).map_err(|e| e.to_string())?;
        let tries: Vec<score::Try> = text
            .lines()
            .filter_map(|line| line.strip_prefix("TRY "))
            .map(|line| serde_json::from_str(line).expect("a try as it was told"))
            .collect();
        if !output.status.success() || !text.contains("DRIVEN") {
            return Err(format!(
                "the machine did not come to its end; see {}:\n{}\n{}",
                kept.display(),
                text.lines().rev().take(8).collect::<Vec<_>>().join("\n"),
                String::from_utf8_lossy(&output.stderr)
            ));
        }
        Ok(tries)
    }
}
