//! How well outlines that were found agree with the true ones, for counting beads.

use std::path::Path;

use beadtally::base::GlassKind;
use beadtally::glass::{Found, Outline};
use image::GrayImage;

use super::{TrueGlass, iou, outline};

/// Part of a glass's width, about the axis, in which beads rise.
const COLUMN: f64 = 0.5;
/// Part of its height at the foot that the nozzle takes at most, about.
const NOZZLE: f64 = 0.12;

/// Part of the column of water, about the axis above the nozzle, that an outline covers.
pub fn column_covered(truth: &Outline, found: &Outline) -> f64 {
    let (mut covered, mut all) = (0_u32, 0_u32);
    for i in 0..21 {
        for j in 0..60 {
            let u = COLUMN * truth.width_px * (f64::from(i) / 20.0 - 0.5);
            let v = truth.height_px * ((1.0 - NOZZLE) * (f64::from(j) + 0.5) / 60.0 - 0.5);
            let (x, y) = truth.picture_from_glass(u, v);
            if truth.contains(x, y) {
                all += 1;
                covered += u32::from(found.contains(x, y));
            }
        }
    }
    f64::from(covered) / f64::from(all.max(1))
}

/// How far the middle of what was found lies off the true axis, parts of the true width.
fn off_axis(truth: &Outline, found: &Outline) -> f64 {
    let (u, _) = truth.glass_from_picture(found.centre_x_px, found.centre_y_px);
    u.abs() / truth.width_px
}

#[derive(Clone, Default)]
pub struct Score {
    pub scenes: usize,
    pub glasses: usize,
    pub found: usize,
    /// Found, and beads can be counted by it.
    pub fit: usize,
    pub twice: usize,
    pub invented: usize,
    pub overlaps: Vec<f64>,
    pub columns: Vec<f64>,
    /// Why those that were found do not fit.
    pub misfits: Vec<String>,
}

/// An outline by which beads can be counted: most of the column, the axis near the true one, not so
/// wide that it holds what stands beside the glass, nor so long that it holds the fittings.
pub fn fits(truth: &Outline, found: &Outline) -> bool {
    let (wide, tall) = (
        found.width_px / truth.width_px,
        found.height_px / truth.height_px,
    );
    column_covered(truth, found) > 0.85
        && off_axis(truth, found) < 0.15
        && (0.6..1.4).contains(&wide)
        && (0.8..1.2).contains(&tall)
}

impl Score {
    /// Scores one scene; false when something went wrong in it.
    pub fn add(&mut self, truth: &[TrueGlass], found: &Found) -> bool {
        self.scenes += 1;
        self.glasses += truth.len();
        let before = (self.fit, self.twice + self.invented);
        let mut used = vec![false; found.glasses.len()];
        for glass in truth {
            let want = outline(glass);
            let best = found
                .glasses
                .iter()
                .enumerate()
                .filter(|(i, f)| {
                    !used[*i] && want.contains(f.outline.centre_x_px, f.outline.centre_y_px)
                })
                .map(|(i, f)| (iou(&want, &f.outline), i))
                .max_by(|a, b| a.0.total_cmp(&b.0));
            if let Some((overlap, i)) = best {
                used[i] = true;
                let got = &found.glasses[i].outline;
                self.found += 1;
                if fits(&want, got) {
                    self.fit += 1;
                } else {
                    self.misfits.push(format!(
                        "x {:.0}: column {:.2} off {:.2} wide {:.2} tall {:.2}",
                        want.centre_x_px,
                        column_covered(&want, got),
                        off_axis(&want, got),
                        got.width_px / want.width_px,
                        got.height_px / want.height_px
                    ));
                }
                self.overlaps.push(overlap);
                self.columns.push(column_covered(&want, got));
            }
        }
        for (f, _) in found.glasses.iter().zip(&used).filter(|(_, used)| !**used) {
            let o = &f.outline;
            if truth
                .iter()
                .any(|t| outline(t).contains(o.centre_x_px, o.centre_y_px))
            {
                self.twice += 1;
            } else {
                self.invented += 1;
            }
        }
        self.fit - before.0 == truth.len() && self.twice + self.invented == before.1
    }

    pub fn merge(&mut self, other: &Self) {
        self.scenes += other.scenes;
        self.glasses += other.glasses;
        self.found += other.found;
        self.fit += other.fit;
        self.twice += other.twice;
        self.invented += other.invented;
        self.overlaps.extend(&other.overlaps);
        self.columns.extend(&other.columns);
    }

    pub fn percent(&self, part: usize) -> f64 {
        100.0 * part as f64 / self.glasses.max(1) as f64
    }

    pub fn print(&self, name: &str) {
        println!(
            "{name:24} {:6} {:7} {:6.1} {:6.1} {:5} {:8}   {:4.2} {:4.2}   {:4.2} {:4.2}",
            self.scenes,
            self.glasses,
            self.percent(self.found),
            self.percent(self.fit),
            self.twice,
            self.invented,
            part(&self.overlaps, 0.5),
            part(&self.overlaps, 0.1),
            part(&self.columns, 0.5),
            part(&self.columns, 0.1),
        );
    }
}

/// The value that a part of the values stays below.
pub fn part(values: &[f64], part: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted
        .get((part * sorted.len() as f64) as usize)
        .copied()
        .unwrap_or(0.0)
}

/// Keeps a picture with true (black and white dashes) and found (white) outlines.
pub fn keep(dir: &Path, name: &str, luma: &GrayImage, truth: &[TrueGlass], found: &Found) {
    let mut picture = image::DynamicImage::ImageLuma8(luma.clone()).to_rgb8();
    let mut line = |o: &Outline, colour: [u8; 3]| {
        for k in 0..4000 {
            let t = f64::from(k) / 4000.0;
            let (u, v) = match o.kind {
                GlassKind::Port => {
                    let (s, c) = (t * std::f64::consts::TAU).sin_cos();
                    (c * o.width_px / 2.0, s * o.height_px / 2.0)
                }
                GlassKind::Tube => {
                    let (side, along) = ((4.0 * t) as u32, (4.0 * t).fract() - 0.5);
                    match side {
                        0 => (along * o.width_px, -o.height_px / 2.0),
                        1 => (o.width_px / 2.0, along * o.height_px),
                        2 => (along * o.width_px, o.height_px / 2.0),
                        _ => (-o.width_px / 2.0, along * o.height_px),
                    }
                }
            };
            let (x, y) = o.picture_from_glass(u, v);
            if x >= 0.0 && y >= 0.0 && x < f64::from(luma.width()) && y < f64::from(luma.height()) {
                picture.put_pixel(x as u32, y as u32, image::Rgb(colour));
            }
        }
    };
    for glass in truth {
        line(&outline(glass), [0, 255, 0]);
    }
    for glass in &found.glasses {
        line(&glass.outline, [255, 0, 0]);
    }
    std::fs::create_dir_all(dir).unwrap();
    picture.save(dir.join(name)).unwrap();
}
