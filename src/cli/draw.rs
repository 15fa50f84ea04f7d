//! `beadtally draw`: writes a practice clip of the demo and its truth beside it. The drawing is
//! the demo's; this only carries frames into a y4m file, a folder of PNGs or ffmpeg.

use std::ffi::OsString;
use std::fs::File;
use std::io::{BufWriter, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};

use anyhow::{Context, bail, ensure};
use clap::Args;
use image::ImageFormat;
use indicatif::{ProgressBar, ProgressStyle};
use serde::Serialize;
use tempfile::NamedTempFile;

use crate::base::{BeadKind, FeedNumber, Frame, GlassKind};
use crate::capture::demo::{DemoSettings, DemoSource};
use crate::capture::{Grab, Source};
use crate::run::export::{begin, put_in_place, write_whole};

/// Arguments of `beadtally draw`.
#[derive(Args, Clone, Debug)]
pub struct DrawArgs {
    /// Where to write: a file ending in .y4m or .mp4 (.mp4 needs ffmpeg), else a new folder of PNG
    /// pictures with frames.csv.
    pub out: PathBuf,
    /// What to draw, such as demo:feeds=2,rates=2.5;10,light=front
    #[arg(long, default_value = "demo", value_name = "WORDS")]
    pub demo: String,
    /// Length of the clip in seconds.
    #[arg(long = "for", default_value_t = 60.0, value_name = "SECONDS")]
    pub for_secs: f64,
    /// Quality of an .mp4: 0 (lossless) to 51 (worst).
    #[arg(long, default_value_t = 23, value_parser = clap::value_parser!(u8).range(0..=51))]
    pub crf: u8,
}

/// Longest clip, seconds: four hours.
const LONGEST_SECS: f64 = 4.0 * 3600.0;

#[derive(Serialize)]
struct TruthFile {
    clip: String,
    fps: f64,
    seconds: f64,
    px_per_mm: f64,
    glasses: Vec<TruthGlass>,
}

#[derive(Serialize)]
struct TruthGlass {
    feed: FeedNumber,
    kind: GlassKind,
    #[serde(rename = "box")]
    upright_box: [f64; 4],
    beads: Vec<TruthBead>,
}

#[derive(Serialize)]
struct TruthBead {
    at_s: f64,
    kind: BeadKind,
    diameter_mm: f64,
}

/// Rounds to thousandths: milliseconds, micrometres, and pixels finer than can be seen.
fn thousandths(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

/// Where the frames go.
enum Sink {
    Y4m(BufWriter<NamedTempFile>),
    Folder {
        folder: PathBuf,
        times: Box<csv::Writer<File>>,
    },
    Ffmpeg(Box<Child>, NamedTempFile),
}

impl Sink {
    fn open(out: &Path, settings: &DemoSettings, crf: u8) -> anyhow::Result<Self> {
        let ending = out
            .extension()
            .map(|e| e.to_string_lossy().to_ascii_lowercase());
        let size = (settings.width_px, settings.height_px);
        let refused = || format!("{} cannot be written; choose another place", out.display());
        match ending.as_deref() {
            Some("y4m") => {
                let mut file = BufWriter::new(begin(out, ".y4m").with_context(refused)?);
                let rate = (settings.fps * 1000.0).round() as u64;
                writeln!(
                    file,
                    "YUV4MPEG2 W{} H{} F{rate}:1000 Ip A1:1 Cmono",
                    size.0, size.1
                )?;
                Ok(Self::Y4m(file))
            }
            Some("mp4") => {
                let file = begin(out, ".mp4").with_context(refused)?;
                // Absolute and with its protocol named, so that no name is taken for an option or
                // for an address.
                let mut target = OsString::from("file:");
                target.push(std::path::absolute(file.path())?);
                let child = Command::new("ffmpeg")
                    .args(["-nostdin", "-hide_banner", "-loglevel", "error", "-y"])
                    .args(["-f", "rawvideo", "-pix_fmt", "gray"])
                    .args(["-s", &format!("{}x{}", size.0, size.1)])
                    .args(["-r", &settings.fps.to_string(), "-i", "pipe:0"])
                    .args(["-c:v", "libx264", "-crf", &crf.to_string()])
                    .args(["-pix_fmt", "yuv420p", "-movflags", "+faststart"])
                    .arg(target)
                    .stdin(Stdio::piped())
                    .spawn();
                match child {
                    Ok(child) => Ok(Self::Ffmpeg(Box::new(child), file)),
                    Err(error) if error.kind() == std::io::ErrorKind::NotFound => bail!(
                        "an .mp4 needs the program ffmpeg, which is not installed; install it \
                         (on Debian: apt install ffmpeg) or write a .y4m instead"
                    ),
                    Err(error) => Err(error).context("ffmpeg cannot be started"),
                }
            }
            _ => {
                std::fs::create_dir_all(out).with_context(|| {
                    format!(
                        "the folder {} cannot be made; choose another place",
                        out.display()
                    )
                })?;
                let mut times = csv::Writer::from_writer(fresh(&out.join("frames.csv"))?);
                times.write_record(["file", "time_s"])?;
                Ok(Self::Folder {
                    folder: out.to_owned(),
                    times: Box::new(times),
                })
            }
        }
    }

    fn put(&mut self, frame: &Frame) -> anyhow::Result<()> {
        match self {
            Self::Y4m(file) => {
                file.write_all(b"FRAME\n")?;
                file.write_all(frame.luma.as_raw())?;
            }
            Self::Folder { folder, times } => {
                let name = format!("{:06}.png", frame.number);
                frame.luma.write_to(
                    &mut BufWriter::new(fresh(&folder.join(&name))?),
                    ImageFormat::Png,
                )?;
                times.write_record([name, format!("{:.6}", frame.at_secs)])?;
            }
            Self::Ffmpeg(child, _) => {
                let pipe = child.stdin.as_mut().context("ffmpeg takes no frames")?;
                pipe.write_all(frame.luma.as_raw())
                    .context("ffmpeg stopped before the clip was complete")?;
            }
        }
        Ok(())
    }

    /// Whether frames carry their own stamps here; otherwise they follow each other evenly.
    fn keeps_stamps(&self) -> bool {
        matches!(self, Self::Folder { .. })
    }

    fn finish(self, out: &Path) -> anyhow::Result<()> {
        match self {
            Self::Y4m(file) => {
                let file = file
                    .into_inner()
                    .map_err(std::io::IntoInnerError::into_error)?;
                put_in_place(file, out)?;
            }
            Self::Folder { mut times, .. } => times.flush()?,
            Self::Ffmpeg(mut child, file) => {
                drop(child.stdin.take());
                let status = child.wait()?;
                ensure!(status.success(), "ffmpeg failed ({status})");
                put_in_place(file, out)?;
            }
        }
        Ok(())
    }
}

/// A new file in the place of whatever has that name, which may be a link to somewhere else.
fn fresh(path: &Path) -> std::io::Result<File> {
    match std::fs::remove_file(path) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    File::options().write(true).create_new(true).open(path)
}

/// Draws the clip and writes its truth beside it.
///
/// # Errors
/// A sentence: demo words that are not known, a place that cannot be written, ffmpeg missing.
pub fn run(args: &DrawArgs) -> anyhow::Result<()> {
    ensure!(
        args.for_secs > 0.0 && args.for_secs <= LONGEST_SECS,
        "a clip lasts more than 0 and at most {LONGEST_SECS} seconds; --for says {}",
        args.for_secs
    );
    let mut source = DemoSource::from_words(&args.demo)?;
    let settings = source.settings().clone();
    // The glasses as the clip begins; a knock moves them later.
    let glasses = source.glasses();
    let mut sink = Sink::open(&args.out, &settings, args.crf)?;
    let frames = (args.for_secs * settings.fps).round().max(1.0) as u64;
    let bar = ProgressBar::new(frames);
    if let Ok(style) =
        ProgressStyle::with_template("drawing {bar:40} {pos}/{len} frames, {eta} left")
    {
        bar.set_style(style);
    }
    let mut last: Option<Frame> = None;
    let mut beads = Vec::new();
    let mut next_number = 0;
    while next_number < frames {
        let at_secs = match source.next()? {
            Grab::Frame(frame) => {
                if sink.keeps_stamps() {
                    if frame.number < frames {
                        sink.put(&frame)?;
                    }
                } else {
                    // Files of even rate: what is missing is the picture before, again.
                    let before = last.as_ref().unwrap_or(&frame);
                    for _ in next_number..frame.number.min(frames) {
                        sink.put(before)?;
                    }
                    if frame.number < frames {
                        sink.put(&frame)?;
                    }
                }
                next_number = frame.number + 1;
                bar.set_position(next_number.min(frames));
                let at_secs = frame.at_secs;
                last = Some(frame);
                at_secs
            }
            Grab::Nothing { at_secs }
            | Grab::Spoiled { at_secs, .. }
            | Grab::Lost { at_secs, .. } => at_secs,
            Grab::End => break,
        };
        beads.append(&mut source.take_beads());
        if at_secs > args.for_secs {
            break;
        }
    }
    bar.finish_and_clear();
    sink.finish(&args.out)?;

    let file = TruthFile {
        clip: args
            .out
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default(),
        fps: settings.fps,
        seconds: args.for_secs,
        px_per_mm: settings.scale_px_per_mm(),
        glasses: glasses
            .iter()
            .map(|glass| TruthGlass {
                feed: glass.feed,
                kind: glass.kind,
                upright_box: glass.upright_box.map(thousandths),
                beads: beads
                    .iter()
                    .filter(|bead| bead.feed == glass.feed && bead.at_secs <= args.for_secs)
                    .map(|bead| TruthBead {
                        at_s: thousandths(bead.at_secs),
                        kind: bead.kind,
                        diameter_mm: thousandths(bead.diameter_mm),
                    })
                    .collect(),
            })
            .collect(),
    };
    let truth_path = args.out.with_extension("truth.json");
    let mut text = serde_json::to_string_pretty(&file)?;
    text.push('\n');
    write_whole(&truth_path, |file| file.write_all(text.as_bytes()))?;
    Ok(())
}
