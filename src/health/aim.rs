//! How well the camera is aimed: sharpness, light, steadiness and frame rate, each good, fair or
//! bad. It helps a person to place camera and lamp; whether a frame may be counted in is left to
//! the watch.

use image::GrayImage;

use crate::glass::Outline;

/// Rows across each glass in which edges are looked for: enough that a few beads do not matter.
const ROWS: usize = 24;
/// How far beyond the glass edges are looked for, half-widths: the rim of a glass is its best edge.
const REACH: f64 = 1.5;
/// Smallest step from one pixel to the next that is an edge rather than noise, grey levels.
const LEAST_STEP: f64 = 8.0;
/// Fewest edges from which sharpness can be told.
const LEAST_EDGES: usize = 8;
/// Edges narrower than this are sharp, pixels: a lens in focus spreads a step over two or three.
const SHARP_PX: f64 = 3.6;
/// Edges wider than this hide the rim of a small bead, pixels.
const BLURRED_PX: f64 = 6.0;
/// Mean under which the glass is too dark to trust, grey levels.
const DARK_LEVEL: f64 = 35.0;
/// Mean under which more light would help, grey levels.
const DIM_LEVEL: f64 = 60.0;
/// A pixel from this grey level on tells nothing of what is in it.
const WHITE_LEVEL: u8 = 250;
/// Share of white pixels that is too much: a bead could pass in there unseen.
const WHITE_SHARE: f64 = 0.25;
/// Sway, pixels rms, that steadying takes out without loss.
const STEADY_PX: f64 = 0.7;
/// Sway, pixels rms, that steadying can only just follow.
const SWAYING_PX: f64 = 3.0;
/// Frames a second from which every bead is seen many times on its way.
const GOOD_FPS: f64 = 14.0;
/// Frames a second under which a quick bead may be seen too seldom to be told from chance.
const LEAST_FPS: f64 = 7.0;
/// A camera below this share of its own rate has been slowed by its exposure.
const SLOWED_SHARE: f64 = 0.75;

/// How good something is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grade {
    /// Nothing to do.
    Good,
    /// It will do, and could be better.
    Fair,
    /// Counting will suffer.
    Bad,
}

/// What one picture shows of its glasses.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PictureSigns {
    /// Width of the sharper edges, pixels; none when there are too few edges.
    pub edge_px: Option<f64>,
    /// Mean luma of the glasses, grey levels.
    pub mean: f64,
    /// Share of white pixels in the glasses, 0 to 1.
    pub white_share: f64,
}

/// Looks at a picture; without outlines at the whole of it.
///
/// ```
/// use beadtally::health::aim::look;
/// use image::{GrayImage, Luma};
/// // A sharp edge down the middle of a grey picture.
/// let picture = GrayImage::from_fn(80, 60, |x, _| Luma([if x < 40 { 60 } else { 180 }]));
/// let signs = look(&picture, &[]);
/// assert!(signs.edge_px.is_some_and(|px| px < 2.0));
/// assert!((signs.mean - 120.0).abs() < 1.0);
/// ```
#[must_use]
pub fn look(picture: &GrayImage, outlines: &[Outline]) -> PictureSigns {
    let mut widths = Vec::new();
    let (mut sum, mut white, mut count) = (0.0, 0_u32, 0_u32);
    let (w, h) = (f64::from(picture.width()), f64::from(picture.height()));
    let whole = [Outline::upright(
        crate::base::GlassKind::Tube,
        0.0,
        0.0,
        w.max(1.0),
        h.max(1.0),
    )];
    let (outlines, reach) = if outlines.is_empty() {
        (&whole[..], 1.0)
    } else {
        (outlines, REACH)
    };
    for outline in outlines {
        for row in 0..ROWS {
            let along = outline.height_px * ((row as f64 + 0.5) / ROWS as f64 - 0.5);
            let half = outline.width_px / 2.0 * reach;
            let steps = (2.0 * half).floor().max(2.0) as usize;
            let mut line = Vec::with_capacity(steps);
            for i in 0..steps {
                let across = -half + i as f64 + 0.5;
                let (x, y) = outline.picture_from_glass(across, along);
                let Some(luma) = between(picture, x - 0.5, y - 0.5) else {
                    continue;
                };
                line.push(luma);
                if across.abs() < outline.width_px / 2.0 {
                    sum += luma;
                    white += u32::from(luma >= f64::from(WHITE_LEVEL));
                    count += 1;
                }
            }
            edges(&line, &mut widths);
        }
    }
    widths.sort_by(f64::total_cmp);
    let edge_px = (widths.len() >= LEAST_EDGES).then(|| widths[widths.len() / 4]);
    let all = f64::from(count.max(1));
    PictureSigns {
        edge_px,
        mean: sum / all,
        white_share: f64::from(white) / all,
    }
}

/// Luma between pixels; none outside the picture.
fn between(picture: &GrayImage, x: f64, y: f64) -> Option<f64> {
    let (w, h) = (f64::from(picture.width()), f64::from(picture.height()));
    if !(x >= 0.0 && y >= 0.0 && x <= w - 1.0 && y <= h - 1.0) {
        return None;
    }
    let (x0, y0) = (x.floor() as u32, y.floor() as u32);
    let (x1, y1) = (
        (x0 + 1).min(picture.width() - 1),
        (y0 + 1).min(picture.height() - 1),
    );
    let (fx, fy) = (x - f64::from(x0), y - f64::from(y0));
    let luma = |x: u32, y: u32| f64::from(picture.get_pixel(x, y).0[0]);
    let upper = luma(x0, y0) * (1.0 - fx) + luma(x1, y0) * fx;
    let lower = luma(x0, y1) * (1.0 - fx) + luma(x1, y1) * fx;
    Some(upper * (1.0 - fy) + lower * fy)
}

/// The widths of the strongest edges of a line: height of the step over its steepest pixel.
fn edges(line: &[f64], widths: &mut Vec<f64>) {
    let steps: Vec<f64> = line.windows(2).map(|p| p[1] - p[0]).collect();
    let mut used = vec![false; steps.len()];
    for _ in 0..4 {
        let steepest = steps
            .iter()
            .enumerate()
            .filter(|(i, _)| !used[*i])
            .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()));
        let Some((at, step)) = steepest.map(|(i, s)| (i, *s)) else {
            return;
        };
        if step.abs() < LEAST_STEP {
            return;
        }
        let goes_on = |i: usize| steps[i] * step.signum() > step.abs() * 0.12;
        let (mut from, mut to) = (at, at);
        while from > 0 && goes_on(from - 1) {
            from -= 1;
        }
        while to + 1 < steps.len() && goes_on(to + 1) {
            to += 1;
        }
        let height: f64 = steps[from..=to].iter().sum();
        widths.push((height / step).abs());
        for flag in &mut used[from.saturating_sub(2)..(to + 3).min(steps.len())] {
            *flag = true;
        }
    }
}

/// What is judged, with the figures it rests on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Finding {
    /// Edges are so wide, pixels.
    Sharpness {
        /// Width of the edges, pixels; none when it cannot be told.
        edge_px: Option<f64>,
    },
    /// Too little light, and the camera is slower than it could be.
    SlowedByDark {
        /// Frames a second now.
        fps: f64,
    },
    /// Too little light.
    Dark,
    /// Light enough.
    Light,
    /// Too much light.
    Glare,
    /// How much the picture moves.
    Sway {
        /// Pixels rms.
        px: f64,
    },
    /// Frames a second.
    Rate {
        /// Frames a second now.
        fps: f64,
    },
}

/// A judgement of one thing.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Judged {
    /// How good it is.
    pub grade: Grade,
    /// What was found.
    pub finding: Finding,
}

/// Sharpness, light, steadiness and frame rate, in this order. `nominal_fps` is what the camera
/// promised; `sway_px` how much the glass moved in the picture, pixels rms.
#[must_use]
pub fn judge(
    signs: &PictureSigns,
    sway_px: Option<f64>,
    fps: f64,
    nominal_fps: Option<f64>,
) -> Vec<Judged> {
    let graded = |value: f64, good: f64, fair: f64| {
        if value <= good {
            Grade::Good
        } else if value <= fair {
            Grade::Fair
        } else {
            Grade::Bad
        }
    };
    let sharp = Judged {
        grade: signs
            .edge_px
            .map_or(Grade::Fair, |px| graded(px, SHARP_PX, BLURRED_PX)),
        finding: Finding::Sharpness {
            edge_px: signs.edge_px,
        },
    };
    let is_slowed = fps > 0.0 && nominal_fps.is_some_and(|nominal| fps < nominal * SLOWED_SHARE);
    let dark = graded(-signs.mean, -DIM_LEVEL, -DARK_LEVEL);
    let light = if dark != Grade::Good {
        let finding = if is_slowed {
            Finding::SlowedByDark { fps }
        } else {
            Finding::Dark
        };
        Judged {
            grade: dark,
            finding,
        }
    } else if signs.white_share > WHITE_SHARE {
        Judged {
            grade: Grade::Fair,
            finding: Finding::Glare,
        }
    } else {
        Judged {
            grade: Grade::Good,
            finding: Finding::Light,
        }
    };
    let mut all = vec![sharp, light];
    if let Some(px) = sway_px {
        all.push(Judged {
            grade: graded(px, STEADY_PX, SWAYING_PX),
            finding: Finding::Sway { px },
        });
    }
    if fps > 0.0 {
        all.push(Judged {
            grade: graded(-fps, -GOOD_FPS, -LEAST_FPS),
            finding: Finding::Rate { fps },
        });
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::GlassKind;
    use image::Luma;

    /// A glass with bright middle and dark rims, on grey.
    fn picture(light: f64, blur: f32) -> (GrayImage, Outline) {
        let sharp = GrayImage::from_fn(160, 120, |x, _| {
            let grey = match x {
                50..=55 | 104..=109 => 0.25,
                56..=103 => 1.5,
                _ => 0.9,
            };
            Luma([(light * grey).clamp(0.0, 255.0) as u8])
        });
        let picture = if blur > 0.0 {
            image::imageops::blur(&sharp, blur)
        } else {
            sharp
        };
        (
            picture,
            Outline::upright(GlassKind::Tube, 50.0, 10.0, 60.0, 100.0),
        )
    }

    #[test]
    fn blur_widens_edges_by_as_much_as_optics_say() {
        // The edge of a step blurred by a Gaussian: height over slope is sigma times the root of
        // two pi. The rims are six pixels wide: beyond a third of that one edge blurs the next.
        for sigma in [1.4_f32, 1.5] {
            let (blurred, outline) = picture(100.0, sigma);
            let found = look(&blurred, &[outline]).edge_px.unwrap();
            let wanted = f64::from(sigma) * std::f64::consts::TAU.sqrt();
            assert!(
                (found / wanted - 1.0).abs() < 0.25,
                "{sigma}: {found}, {wanted}"
            );
        }
        let (sharp, outline) = picture(100.0, 0.0);
        assert!(look(&sharp, &[outline]).edge_px.unwrap() < 2.0);
    }

    #[test]
    fn each_thing_gets_its_grade() {
        let grade = |picture: &GrayImage, outline: Outline, sway, fps, nominal| {
            let signs = look(picture, &[outline]);
            judge(&signs, sway, fps, nominal)
        };
        let (good, outline) = picture(100.0, 0.0);
        let all = grade(&good, outline, Some(0.1), 30.0, Some(30.0));
        assert_eq!(all.len(), 4);
        assert!(all.iter().all(|j| j.grade == Grade::Good), "{all:?}");

        let (blurred, outline) = picture(100.0, 4.0);
        assert_eq!(
            grade(&blurred, outline, None, 0.0, None)[0].grade,
            Grade::Bad
        );

        let (dark, outline) = picture(15.0, 0.0);
        let all = grade(&dark, outline, None, 12.0, Some(30.0));
        assert_eq!(all[1].grade, Grade::Bad);
        assert_eq!(all[1].finding, Finding::SlowedByDark { fps: 12.0 });
        let all = grade(&dark, outline, Some(5.0), 30.0, Some(30.0));
        assert_eq!(all[1].finding, Finding::Dark);
        assert_eq!(all[2].grade, Grade::Bad);

        let (glare, outline) = picture(250.0, 0.0);
        assert_eq!(
            grade(&glare, outline, None, 5.0, None)[1].finding,
            Finding::Glare
        );
        assert_eq!(grade(&glare, outline, None, 5.0, None)[2].grade, Grade::Bad);
    }

    #[test]
    fn an_empty_or_even_picture_is_no_surprise() {
        let even = GrayImage::from_pixel(40, 30, Luma([128]));
        let signs = look(&even, &[]);
        assert_eq!(signs.edge_px, None);
        assert_eq!(judge(&signs, None, 0.0, None)[0].grade, Grade::Fair);
        let _ = look(&GrayImage::new(0, 0), &[]);
    }
}
