//! Bright things that move about the room, as the front of a glass mirrors them: a tall bright
//! doorway that passes, and a hand lamp that is carried by and bobs with the steps. Where the
//! mirrored light falls on a glass is worked out here; the pixels are the veil's.
//!
//! Room space: millimetres from the glasses, x across, y up from mid-glass, z towards the camera.

use super::optics;
use super::scene::{Glass, Scene};
use crate::base::GlassKind;

/// Distance from the glasses to the camera, mm: an arm's length, as the camera has it.
const CAMERA_MM: f64 = 450.0;
/// A lamp is somewhat out of focus: softness of its edge in a flat window, mm.
const SOFT_PORT_MM: f64 = 0.8;
/// Softness of an edge mirrored by a round glass, which makes all narrow, mm.
const SOFT_TUBE_MM: f64 = 0.15;

/// A bright thing in the room at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bright {
    /// Its middle.
    at_mm: (f64, f64, f64),
    /// Half its width and half its height.
    half_mm: (f64, f64),
    /// Whether its outline is round.
    outline: Shape,
    /// Luma that a surface which looks straight at it adds.
    luma: f64,
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Shape {
    Round,
    Square,
}

/// The bright things of a moment, `since_secs` after they began to move about. `luma` is what the
/// lamp adds where it is mirrored straight.
#[must_use]
pub fn moving(since_secs: f64, luma: f64) -> [Option<Bright>; 2] {
    // Seconds from one passing to the next, seconds of one passing, way to each side (mm).
    const DOOR: (f64, f64, f64) = (9.0, 6.0, 8000.0);
    const LAMP: (f64, f64, f64) = (7.0, 4.0, 2500.0);
    // A lamp bobs with every step of whoever carries it: steps a second, and mm up and down.
    const STEPS: (f64, f64) = (1.9, 60.0);
    // The doorway is less bright than the lamp.
    const DOOR_SHARE: f64 = 0.7;
    let across = |(every, takes, reach): (f64, f64, f64), start: f64| {
        let since = since_secs - start;
        if since < 0.0 {
            return None;
        }
        let within = since.rem_euclid(every) / takes;
        let leftwards = ((since / every).floor() as i64) % 2 == 1;
        let x = reach * (2.0 * within - 1.0);
        (within <= 1.0).then_some(if leftwards { -x } else { x })
    };
    let door = across(DOOR, 0.5).map(|x| Bright {
        at_mm: (x, 0.0, 4000.0),
        half_mm: (250.0, 1000.0),
        outline: Shape::Square,
        luma: DOOR_SHARE * luma,
    });
    let lamp = across(LAMP, 2.0).map(|x| {
        let turn = std::f64::consts::TAU * STEPS.0 * since_secs;
        Bright {
            at_mm: (x, STEPS.1 * turn.sin(), 1500.0),
            half_mm: (40.0, 40.0),
            outline: Shape::Round,
            luma,
        }
    });
    [door, lamp]
}

/// Where and how a glass mirrors a bright thing, ready to be asked pixel by pixel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Mirrored {
    middle_mm: (f64, f64),
    half_mm: (f64, f64),
    soft_mm: f64,
    outline: Shape,
    luma: f64,
}

impl Mirrored {
    /// The mirrored thing on the front of a glass of the scene.
    #[must_use]
    pub fn new(scene: &Scene, glass: &Glass, bright: &Bright) -> Self {
        let (x, y, z) = bright.at_mm;
        // The front mirrors up and down as a flat mirror does.
        let flat = CAMERA_MM / (CAMERA_MM + z);
        let yaw = glass.stand.yaw.1.atan2(glass.stand.yaw.0);
        let azimuth = (x - glass.row_mm).atan2(z) - yaw;
        let straight = optics::thrown_back(1.0, 1.0 / optics::WALL_INDEX);
        let (across_mm, half_mm, cos, soft_mm) = match scene.kind {
            // A round glass mirrors a direction where its surface points half-way to it.
            GlassKind::Tube => {
                let radius = scene.half_glass_mm();
                let half_angle = bright.half_mm.0 / x.hypot(z);
                let place = |azimuth: f64| radius * (0.5 * azimuth.clamp(-3.0, 3.0)).sin();
                let (left, right) = (place(azimuth - half_angle), place(azimuth + half_angle));
                (
                    0.5 * (left + right),
                    0.5 * (right - left),
                    (0.5 * azimuth).cos(),
                    SOFT_TUBE_MM,
                )
            }
            GlassKind::Port => {
                let turned = CAMERA_MM * yaw.tan();
                (
                    (x - glass.row_mm) * flat - turned,
                    bright.half_mm.0 * flat,
                    glass.stand.yaw.0,
                    SOFT_PORT_MM,
                )
            }
        };
        let share = optics::thrown_back(cos, 1.0 / optics::WALL_INDEX) / straight;
        Self {
            middle_mm: (across_mm, y * flat),
            half_mm: (half_mm, bright.half_mm.1 * flat),
            soft_mm,
            outline: bright.outline,
            luma: bright.luma * share,
        }
    }

    /// Luma added at a place of the glass (across, up; mm).
    #[must_use]
    pub fn luma_at(&self, x_mm: f64, y_mm: f64) -> f64 {
        let (dx, dy) = (x_mm - self.middle_mm.0, y_mm - self.middle_mm.1);
        let (half_x, half_y) = self.half_mm;
        let soft = self.soft_mm;
        if dx.abs() > half_x + soft || dy.abs() > half_y + soft {
            return 0.0;
        }
        // From 1 well inside to 0 well outside, over twice the softness.
        let edge = |inside_mm: f64| (0.5 + 0.5 * inside_mm / soft).clamp(0.0, 1.0);
        let share = match self.outline {
            Shape::Square => edge(half_x - dx.abs()) * edge(half_y - dy.abs()),
            Shape::Round => {
                let out = (dx / half_x).hypot(dy / half_y);
                edge((1.0 - out) * half_x.min(half_y))
            }
        };
        self.luma * share
    }
}
