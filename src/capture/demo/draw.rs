//! Draws what moves into a copy of the picture at rest: beads on their way up and beads growing on
//! the nozzles, every pixel by sight rays bent at the glass, at the bead and at the glass again,
//! spread over the time the shutter is open. What lies over the picture is left to the veil.

use super::model::{Model, Place};
use super::optics::{self, Body, Ray, v3};
use super::scene::{GAS_INDEX, Glass, OIL_INDEX, PORT_BEADS_BEHIND_MM, Scene};
use crate::base::{BeadKind, GlassKind};

/// Samples of one pixel of a bead, each at its own place in the pixel and its own time.
const SAMPLES: usize = 8;
/// Where in the pixel each sample lies (x, y), and in which eighth of the open time.
const PATTERN: [(f64, f64, f64); SAMPLES] = [
    (0.0625, 0.5625, 2.0),
    (0.1875, 0.0625, 6.0),
    (0.3125, 0.8125, 0.0),
    (0.4375, 0.3125, 4.0),
    (0.5625, 0.6875, 7.0),
    (0.6875, 0.1875, 1.0),
    (0.8125, 0.9375, 5.0),
    (0.9375, 0.4375, 3.0),
];
/// A thing in a water-filled tube looks at most this much wider than it is: 1.33 on the axis, more
/// at the back of the bore.
const WIDEST_LOOK: f64 = 1.6;
/// Brightest sample of a bead, luma steps: a spark must not drown a whole pixel.
const SPARK_LUMA: f64 = 420.0;

/// Below this share the mirrored surroundings are not worth following; the lamp always is.
const FAINT_MIRROR: f64 = 0.03;

/// A bead while the shutter is open.
struct Moving<'a> {
    glass: &'a Glass,
    kind: BeadKind,
    /// Where it is as the shutter opens and as it closes.
    places: [Place; 2],
    /// Only what is above this height belongs to it (a growing bead ends at the tip).
    floor_mm: f64,
    /// Only what is below this height can be seen (oil may fill the glass from above).
    ceiling_mm: f64,
}

/// Draws all beads of the model as they are while the shutter is open, from `open_secs` on for
/// `open_for_secs`.
pub fn draw_beads(
    scene: &Scene,
    model: &Model,
    canvas: &mut [f32],
    open_secs: f64,
    open_for_secs: f64,
) {
    for (index, glass) in scene.glasses.iter().enumerate() {
        if let Some(place) = model.pendant(index) {
            let moving = Moving {
                glass,
                kind: BeadKind::Oil,
                places: [place; 2],
                floor_mm: scene.space.tip_mm,
                ceiling_mm: model.ceiling_mm(index).min(scene.space.top_mm),
            };
            draw_one(scene, &moving, canvas);
        }
    }
    for bead in model.live() {
        let Some(glass) = scene.glasses.get(bead.feed) else {
            continue;
        };
        if bead.released_secs > open_secs + open_for_secs {
            continue;
        }
        let places = [open_secs, open_secs + open_for_secs].map(|at| bead.place(at));
        let moving = Moving {
            glass,
            kind: bead.kind,
            places,
            floor_mm: -scene.space.top_mm,
            ceiling_mm: model.ceiling_mm(bead.feed).min(scene.space.top_mm),
        };
        draw_one(scene, &moving, canvas);
    }
}

fn draw_one(scene: &Scene, moving: &Moving<'_>, canvas: &mut [f32]) {
    let axis = scene.beads_axis();
    let index = match moving.kind {
        BeadKind::Oil => OIL_INDEX,
        BeadKind::Gas => GAS_INDEX,
    };
    let [opens, closes] = moving.places;
    let body_at = |when: f64| Body {
        centre: axis
            + v3(
                opens.x_mm + when * (closes.x_mm - opens.x_mm),
                opens.y_mm + when * (closes.y_mm - opens.y_mm),
                opens.z_mm + when * (closes.z_mm - opens.z_mm),
            ),
        half_width_mm: opens.half_width_mm,
        half_height_mm: opens.half_height_mm,
        index,
    };
    let (left, top, right, bottom) = moving
        .glass
        .stand
        .pixels_round(reach(scene, moving), scene.size_px);
    let stand = moving.glass.stand;
    let step_x = stand.glass_from_picture(1.0, 0.0);
    let origin = stand.glass_from_picture(0.0, 0.0);
    let step_x = (step_x.0 - origin.0, step_x.1 - origin.1);
    for y in top..bottom {
        let row = y as usize * scene.size_px.0 as usize;
        for x in left..right {
            let (mut sum, mut hits) = (0.0, 0_u32);
            let shake = jitter(x, y);
            for sample in &PATTERN {
                let at_y = f64::from(y) + sample.1;
                let at_x = f64::from(x) + sample.0;
                let start = stand.glass_from_picture(0.0, at_y);
                let (gx, gy) = (start.0 + at_x * step_x.0, start.1 + at_x * step_x.1);
                if gy >= moving.ceiling_mm || gy <= moving.floor_mm {
                    continue;
                }
                let luma = scene.sight(moving.glass, gx, gy).and_then(|ray| {
                    let body = body_at((sample.2 + shake) / SAMPLES as f64);
                    bead_luma(scene, moving, &body, &ray)
                });
                if let Some(luma) = luma {
                    sum += luma.clamp(0.0, SPARK_LUMA);
                    hits += 1;
                }
            }
            if hits > 0 {
                let pixel = &mut canvas[row + x as usize];
                let missed = SAMPLES as f32 - hits as f32;
                *pixel = (*pixel * missed + sum as f32) / SAMPLES as f32;
            }
        }
    }
}

/// A number from 0 to 1 for a pixel, very different from its neighbours': it moves the samples in
/// time, so that a fast bead is smeared, not repeated.
fn jitter(x: u32, y: u32) -> f64 {
    (52.983 * (0.067_110_56 * f64::from(x) + 0.005_837_15 * f64::from(y)).fract()).fract()
}

/// Box on the glass (left, bottom, right, top; mm) that surely holds the bead at all its moments.
fn reach(scene: &Scene, moving: &Moving<'_>) -> (f64, f64, f64, f64) {
    let mut bounds = (f64::MAX, f64::MAX, f64::MIN, f64::MIN);
    let (cos, sin) = moving.glass.stand.yaw;
    for place in &moving.places {
        let (left, right) = match scene.kind {
            GlassKind::Tube => {
                let look = |x: f64, out: f64| {
                    let look = if x * out > 0.0 { WIDEST_LOOK } else { 1.0 };
                    (look * x).clamp(-scene.half_glass_mm(), scene.half_glass_mm())
                };
                (
                    look(place.x_mm - place.half_width_mm, -1.0),
                    look(place.x_mm + place.half_width_mm, 1.0),
                )
            }
            GlassKind::Port => {
                let bent = sin / scene.water_index;
                let behind =
                    (PORT_BEADS_BEHIND_MM - place.z_mm) * bent / (1.0 - bent * bent).sqrt();
                let middle = (place.x_mm - behind) * cos;
                (middle - place.half_width_mm, middle + place.half_width_mm)
            }
        };
        bounds.0 = bounds.0.min(left);
        bounds.1 = bounds.1.min(place.y_mm - place.half_height_mm);
        bounds.2 = bounds.2.max(right);
        bounds.3 = bounds.3.max(place.y_mm + place.half_height_mm);
    }
    bounds
}

/// Luma of a bead where a sight ray in the liquid meets it; `None` where it does not.
fn bead_luma(scene: &Scene, moving: &Moving<'_>, body: &Body, ray: &Ray) -> Option<f64> {
    let glass = moving.glass;
    let passage = body.pass(ray, scene.water_index)?;
    if passage.struck.y < scene.space.tip_mm {
        let nozzle = scene.nozzle(glass, ray);
        let far = (passage.struck - ray.from).dot(ray.along);
        if nozzle.is_some_and(|(near, _)| near < far) {
            return None;
        }
    }
    let behind = passage.behind.map_or(0.0, |out| scene.end(glass, &out));
    let mut luma = match moving.kind {
        BeadKind::Oil => {
            let through = glass.tint.powf(passage.inside_mm / 4.0);
            let body = scene.lighting.dull(glass.albedo, passage.normal);
            through * behind + (1.0 - through) * body
        }
        BeadKind::Gas => behind,
    };
    let mirrored = optics::reflect(ray.along, passage.normal);
    let mirror = if passage.thrown_back > FAINT_MIRROR {
        let ray = Ray {
            from: passage.struck,
            along: mirrored,
        };
        scene.end(glass, &ray)
    } else {
        scene.room(glass, mirrored)
    };
    luma += passage.thrown_back * (mirror - luma);
    Some(luma)
}
