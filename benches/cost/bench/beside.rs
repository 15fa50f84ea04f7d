//! Side by side in one run: a script with OpenCV on the same decoded frames, and ffmpeg decoding to
//! nothing. Always in turns, and the median of the ratios counts, so that other work on the machine
//! disturbs both alike.

use std::hint::black_box;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use std::sync::Arc;

use beadtally::base::{Clock, Frame, SystemClock};
use beadtally::capture::{self, Grab, SourceSpec};
use beadtally::glass::Calibration;
use beadtally::run::outlines::Presets;
use beadtally::run::{Instrument, search};

use super::sheet::{Figure, Sheet, median};
use super::stopwatch::Stopwatch;

/// What is set side by side.
pub struct Beside {
    /// Clips.
    pub clips: Vec<PathBuf>,
    /// The script with OpenCV.
    pub script: Option<PathBuf>,
    /// The script's words for where it looks.
    pub scopes: Vec<String>,
    /// Pairs.
    pub pairs: usize,
    /// Frames of each clip at most.
    pub most_frames: usize,
}

fn open(clip: &Path) -> Result<Box<dyn capture::Source>, String> {
    let spec = SourceSpec::Path(clip.to_path_buf());
    capture::open(&spec, Arc::new(SystemClock::new())).map_err(|error| error.to_string())
}

fn decoded(clip: &Path, most: usize) -> Result<Vec<Frame>, String> {
    let mut source = open(clip)?;
    let mut frames = Vec::new();
    while frames.len() < most {
        match source.next().map_err(|error| error.to_string())? {
            Grab::Frame(frame) => frames.push(frame),
            Grab::End => break,
            _ => {}
        }
    }
    Ok(frames)
}

/// Writes luma as y4m, which the script reads without decoding.
fn write_y4m(frames: &[Frame], fps: f64, file: &Path) -> std::io::Result<()> {
    let Some(first) = frames.first() else {
        return Ok(());
    };
    let mut out = std::io::BufWriter::new(std::fs::File::create(file)?);
    let rate = (fps * 1000.0).round();
    writeln!(
        out,
        "YUV4MPEG2 W{} H{} F{rate}:1000 Ip A1:1 Cmono",
        first.width(),
        first.height()
    )?;
    for frame in frames {
        out.write_all(b"FRAME\n")?;
        out.write_all(frame.luma.as_raw())?;
    }
    out.flush()
}

/// Processor milliseconds a frame that the script says it took.
fn script_ms(
    script: &Path,
    clip: &Path,
    tubes: &Path,
    method: &str,
    scope: &str,
) -> Result<f64, String> {
    let output = Command::new("python3")
        .arg(script)
        .args([clip, tubes])
        .args(["--method", method, "--scope", scope, "--threads", "1"])
        .output()
        .map_err(|error| error.to_string())?;
    let told: serde_json::Value = serde_json::from_slice(&output.stdout)
        .map_err(|_| String::from_utf8_lossy(&output.stderr).into_owned())?;
    told["cpu_ms_per_frame"]
        .as_f64()
        .ok_or_else(|| "the script told no time".to_owned())
}

fn ours_ms(calibration: &Calibration, frames: &[Frame], watch: &Stopwatch) -> f64 {
    let mut instrument = Instrument::new(calibration.clone());
    let (ns, ()) = watch.time(|| {
        for frame in frames {
            black_box(instrument.step(frame));
        }
        black_box(instrument.finish());
    });
    ns / 1e6 / frames.len().max(1) as f64
}

/// Sets all clips side by side.
///
/// # Errors
/// A sentence.
pub fn all(beside: &Beside, sheet: &mut Sheet) -> Result<(), String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    for clip in &beside.clips {
        let name = clip
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        let watch = Stopwatch::new();
        let (ns, searched) = watch.time(|| {
            open(clip).and_then(|source| {
                search::search(source, Presets::default(), &|| false, &mut |_| {})
                    .map_err(|error| error.to_string())
            })
        });
        let searched = searched?;
        sheet.tell(Figure {
            part: "beside",
            what: format!("{name}: finding its glasses, this thread"),
            value: ns / 1e6,
            unit: "ms",
            floor: None,
        });
        let toml = folder.path().join("c.toml");
        searched
            .calibration
            .write(&toml)
            .map_err(|error| error.to_string())?;
        if let Some(script) = &beside.script {
            let frames = decoded(clip, beside.most_frames)?;
            let fps = searched.about.frames_per_second.unwrap_or(30.0);
            let y4m = folder.path().join("c.y4m");
            write_y4m(&frames, fps, &y4m).map_err(|error| error.to_string())?;
            let tubes: Vec<serde_json::Value> = searched
                .calibration
                .feeds
                .iter()
                .enumerate()
                .map(|(n, feed)| {
                    let edge = feed.outline.upright_box();
                    serde_json::json!({
                        "id": format!("T{n}"), "x": edge.x.max(0.0) as u32,
                        "y": edge.y.max(0.0) as u32, "w": edge.width as u32,
                        "h": edge.height as u32,
                    })
                })
                .collect();
            let file = folder.path().join("tubes.json");
            let text = serde_json::json!({ "tubes": tubes }).to_string();
            std::fs::write(&file, text).map_err(|error| error.to_string())?;
            for scope in &beside.scopes {
                for method in ["absdiff", "diff3", "mog2"] {
                    let (mut ratios, mut theirs, mut ours) = (vec![], vec![], vec![]);
                    for _ in 0..beside.pairs {
                        let other = script_ms(script, &y4m, &file, method, scope)?;
                        let own = ours_ms(&searched.calibration, &frames, &watch);
                        ratios.push(other / own);
                        theirs.push(other);
                        ours.push(own);
                    }
                    sheet.tell(Figure {
                        part: "beside",
                        what: format!(
                            "{name}: OpenCV {method} {scope} {:.3} ms, ours {:.3} ms",
                            median(theirs),
                            median(ours)
                        ),
                        value: median(ratios),
                        unit: "times faster",
                        floor: None,
                    });
                }
            }
        }
        ffmpeg(clip, &name, &toml, beside.pairs, sheet)?;
    }
    Ok(())
}

/// `tally` beside ffmpeg that decodes to nothing, on the clock.
fn ffmpeg(
    clip: &Path,
    name: &str,
    toml: &Path,
    pairs: usize,
    sheet: &mut Sheet,
) -> Result<(), String> {
    let clock = SystemClock::new();
    let timed = |command: &mut Command| -> Result<f64, String> {
        let from = clock.monotonic_secs();
        let status = command
            .stdin(Stdio::null())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .status()
            .map_err(|error| error.to_string())?;
        if status.success() {
            Ok(clock.monotonic_secs() - from)
        } else {
            Err(format!("{command:?} ended with {status}"))
        }
    };
    let (mut known, mut sought, mut decoding) = (vec![], vec![], vec![]);
    let mut times = [vec![], vec![]];
    for _ in 0..pairs {
        let theirs = timed(
            Command::new("ffmpeg")
                .args(["-nostdin", "-loglevel", "error", "-i"])
                .arg(clip)
                .args(["-map", "0:v:0", "-an", "-f", "null", "-"]),
        )?;
        let tally = || {
            let mut command = Command::new(env!("CARGO_BIN_EXE_beadtally"));
            command.arg("tally").arg(clip);
            command
        };
        let with = timed(tally().arg("--calibration").arg(toml))?;
        let without = timed(&mut tally())?;
        known.push(with / theirs);
        sought.push(without / theirs);
        decoding.push(theirs);
        times[0].push(with);
        times[1].push(without);
    }
    let theirs = median(decoding);
    let [with, without] = times.map(median);
    for (what, secs, ratio) in [
        ("outlines known", with, median(known)),
        ("outlines sought", without, median(sought)),
    ] {
        sheet.tell(Figure {
            part: "beside",
            what: format!("{name}: ffmpeg to nothing {theirs:.2} s, tally, {what}, {secs:.2} s"),
            value: ratio,
            unit: "times as long",
            floor: None,
        });
    }
    Ok(())
}
