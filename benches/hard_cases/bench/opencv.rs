//! The counter that somebody would script with OpenCV, on the same clip: its settings are tried one
//! after another, and the best is kept. It needs python3 with cv2, and the script.

use std::collections::BTreeMap;
use std::io::{BufWriter, Write};
use std::path::Path;
use std::process::{Command, Stdio};

use beadtally::base::BeadKind;
use beadtally::capture::Grab;
use serde::Deserialize;

use super::row::Beside;
use super::score::{Glass, Passed, Score};

/// What is told to the other counter in its favour.
#[derive(Clone, Debug)]
pub struct Told {
    /// The true glasses: left, top, width, height in pixels; and what passes in them.
    pub glasses: Vec<([f64; 4], Vec<Passed>)>,
    /// Diameters of the smallest and the largest drop, pixels.
    pub drop_px: (f64, f64),
    /// Rise of the fastest drop from one frame to the next, pixels; tried out when not known.
    pub rise_px: Option<f64>,
}

/// Methods and thresholds that are tried.
const GRID: [(&str, &str); 6] = [
    ("mog2", "16"),
    ("mog2", "50"),
    ("knn", "300"),
    ("absdiff", "8"),
    ("absdiff", "18"),
    ("diff3", "6"),
];

#[derive(Deserialize)]
struct Answer {
    events: BTreeMap<String, Vec<f64>>,
}

/// Writes the frames among the grabs as luma only, and their stamps.
fn write_clip(grabs: &[Grab], folder: &Path) -> std::io::Result<()> {
    let mut clip = BufWriter::new(std::fs::File::create(folder.join("clip.y4m"))?);
    let mut stamps = Vec::new();
    for grab in grabs {
        let Grab::Frame(frame) = grab else { continue };
        if stamps.is_empty() {
            let (width, height) = (frame.width(), frame.height());
            writeln!(clip, "YUV4MPEG2 W{width} H{height} F30:1 Ip A1:1 Cmono")?;
        }
        clip.write_all(b"FRAME\n")?;
        clip.write_all(frame.luma.as_raw())?;
        stamps.push(frame.at_secs);
    }
    clip.flush()?;
    std::fs::write(folder.join("stamps.json"), serde_json::to_string(&stamps)?)
}

/// The best that the other counter can do with a clip.
///
/// # Errors
/// A sentence when python3, cv2 or the script is missing or fails.
pub fn best(script: &Path, grabs: &[Grab], told: &Told, secs: f64) -> Result<Beside, String> {
    let folder = tempfile::tempdir().map_err(|error| error.to_string())?;
    let folder = folder.path();
    write_clip(grabs, folder).map_err(|error| error.to_string())?;
    let tubes: Vec<serde_json::Value> = told
        .glasses
        .iter()
        .enumerate()
        .map(|(index, (upright_box, _))| {
            let [x, y, w, h] = upright_box.map(|v| v.round() as i64);
            serde_json::json!({"id": index.to_string(), "x": x, "y": y, "w": w, "h": h})
        })
        .collect();
    std::fs::write(
        folder.join("tubes.json"),
        serde_json::json!({ "tubes": tubes }).to_string(),
    )
    .map_err(|error| error.to_string())?;
    // A tube widens a drop by a third; a drop is smeared, and seen in parts.
    let (least, most) = (
        (0.15 * told.drop_px.0 * told.drop_px.0).max(4.0),
        2.2 * told.drop_px.1 * told.drop_px.1 + 40.0,
    );
    let rises = match told.rise_px {
        Some(rise) => vec![1.4 * rise + 2.0],
        None => vec![12.0, 24.0],
    };
    let mut best: Option<Beside> = None;
    for (method, threshold) in GRID {
        for rise in &rises {
            // The script's own word for the outlines.
            let scope = "\u{72}oi";
            let settings = format!(
                "--method {method} --thr {threshold} --scope {scope} --min-area {least:.0} --max-area \
                 {most:.0} --max-up {rise:.0}"
            );
            let output = Command::new("python3")
                .arg(script)
                .arg(folder.join("clip.y4m"))
                .arg(folder.join("tubes.json"))
                .arg("--ts")
                .arg(folder.join("stamps.json"))
                .args(settings.split(' '))
                .stdin(Stdio::null())
                .output()
                .map_err(|error| format!("python3: {error}"))?;
            if !output.status.success() {
                let why = String::from_utf8_lossy(&output.stderr);
                let last = why.lines().last().unwrap_or("no word of why");
                return Err(format!("{}: {last}", script.display()));
            }
            let answer: Answer = serde_json::from_slice(&output.stdout)
                .map_err(|error| format!("{}: {error}", script.display()))?;
            let score = scored(told, &answer, secs);
            if best.as_ref().is_none_or(|b| score.f1() > b.score.f1()) {
                best = Some(Beside { score, settings });
            }
        }
    }
    best.ok_or_else(|| "no settings to try".to_owned())
}

fn scored(told: &Told, answer: &Answer, secs: f64) -> Score {
    let mut sum = Score::default();
    for (index, (_, truth)) in told.glasses.iter().enumerate() {
        let times = answer.events.get(&index.to_string());
        let glass = Glass {
            truth: truth.clone(),
            reported: times
                .into_iter()
                .flatten()
                .map(|&at_secs| Passed {
                    at_secs,
                    kind: BeadKind::Oil,
                    diameter_mm: None,
                })
                .collect(),
            blind: Vec::new(),
        };
        sum.add(&Score::of(&glass, secs));
    }
    sum
}
