//! What a sight ray sees at its end: the lit plate or card behind a glass, the dark panel, the
//! room with its lamp, brass. Luma of surfaces only; where they stand in the picture is the
//! scene's.

use super::optics::{Ray, Vec3, v3};
use super::settings::Light;

/// A pale plate or card behind a glass, parallel to the panel.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Plate {
    /// Distance behind the axis, mm.
    pub behind_mm: f64,
    /// Middle, across from the axis, mm.
    pub middle_mm: f64,
    /// Half its width, mm.
    pub half_width_mm: f64,
    /// Half its height, mm.
    pub half_height_mm: f64,
    /// Luma at its middle.
    pub luma: f64,
}

/// The light on the whole scene.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Lighting {
    /// The plate behind each glass, if any.
    pub plate: Option<Plate>,
    /// Luma of the dark panel.
    pub panel: f64,
    /// Distance of the panel behind the axes, mm.
    pub panel_behind_mm: f64,
    /// Luma of the room as mirrored in glass.
    pub room: f64,
    /// Luma that a white surface has from all sides.
    pub ambient: f64,
    /// Luma that the lamp adds to a white surface that faces it.
    pub key: f64,
    /// Direction towards the lamp.
    pub lamp: Vec3,
    /// Luma of the lamp itself, as mirrored.
    pub lamp_luma: f64,
    /// Luma of the back wall of a port's chamber at its middle.
    pub chamber: f64,
}

/// Cosine from the lamp's middle to its edge: a work lamp some 30° wide, near by.
const LAMP_COS: f64 = 0.966;
/// A tall bright window at the side, which draws a line of light on round glass: the direction of
/// its middle across, half its width in the same measure, and its luma.
const SIDE_WINDOW: (f64, f64) = (-0.80, 0.02);
/// Luma of that window as a multiple of the room's.
const SIDE_WINDOW_BY_ROOM: f64 = 9.0;

impl Lighting {
    /// The light for a mode; sizes follow the outer radius and the visible height of the glasses.
    /// Plates are put where a camera turned by `turn_deg` sees them behind the glasses.
    #[must_use]
    pub fn new(light: Light, outer_radius_mm: f64, glass_mm: f64, turn_deg: f64) -> Self {
        let lamp = v3(-0.45, 0.6, 0.75).unit();
        let behind = outer_radius_mm + 13.0;
        let plate = |middle: f64, half: f64, luma: f64| Plate {
            behind_mm: behind,
            middle_mm: middle * outer_radius_mm + behind * turn_deg.to_radians().tan(),
            half_width_mm: half * outer_radius_mm,
            half_height_mm: 0.5 * glass_mm + 4.0,
            luma,
        };
        let panel_behind_mm = behind + 6.0;
        match light {
            Light::Backlit => Self {
                plate: Some(plate(0.0, 1.25, 208.0)),
                panel: 34.0,
                panel_behind_mm,
                room: 34.0,
                ambient: 52.0,
                key: 85.0,
                lamp,
                lamp_luma: 2500.0,
                chamber: 190.0,
            },
            Light::Card => Self {
                plate: Some(plate(0.70, 0.95, 172.0)),
                panel: 56.0,
                panel_behind_mm,
                room: 55.0,
                ambient: 60.0,
                key: 150.0,
                lamp,
                lamp_luma: 9000.0,
                chamber: 150.0,
            },
            Light::Front => Self {
                plate: None,
                panel: 30.0,
                panel_behind_mm,
                room: 46.0,
                ambient: 52.0,
                key: 235.0,
                lamp,
                lamp_luma: 30_000.0,
                chamber: 34.0,
            },
        }
    }

    /// Luma at the end of a ray that has left a tube, given in the tube's own space; `yaw_cos_sin`
    /// turns that space into the lubricator's.
    #[must_use]
    pub fn seen(&self, ray: &Ray, yaw_cos_sin: (f64, f64)) -> f64 {
        let (cos, sin) = yaw_cos_sin;
        let turn = |v: Vec3| v3(v.x * cos - v.z * sin, v.y, v.x * sin + v.z * cos);
        let (from, along) = (turn(ray.from), turn(ray.along));
        if along.z >= -0.02 {
            return self.room_seen(along);
        }
        if let Some(plate) = self.plate {
            let distance = (-plate.behind_mm - from.z) / along.z;
            if distance > 0.0 {
                let x = from.x + distance * along.x - plate.middle_mm;
                let y = from.y + distance * along.y;
                if x.abs() < plate.half_width_mm && y.abs() < plate.half_height_mm {
                    return plate_luma(&plate, x, y);
                }
            }
        }
        // The panel darkens where it is looked along, and the room shines in from the side.
        self.panel * (0.55 + 0.45 * -along.z)
    }

    /// Luma of the room in a direction that points away from the panel.
    #[must_use]
    pub fn room_seen(&self, along: Vec3) -> f64 {
        let sky = self.room * (0.8 + 0.45 * along.y + 0.25 * along.x);
        let near = along.dot(self.lamp);
        let lamp = if near > LAMP_COS {
            self.lamp_luma * ((near - LAMP_COS) / (1.0 - LAMP_COS)).min(0.5) * 2.0
        } else {
            0.0
        };
        let beside = (along.x - SIDE_WINDOW.0).abs() < SIDE_WINDOW.1 && along.z > 0.0;
        let window = if beside {
            SIDE_WINDOW_BY_ROOM * self.room
        } else {
            0.0
        };
        sky.max(4.0) + lamp + window
    }

    /// Luma at the end of a ray in the water of a port's chamber: the back wall at `depth_mm`, or
    /// the dark side wall of radius `radius_mm`.
    #[must_use]
    pub fn chamber_seen(&self, ray: &Ray, radius_mm: f64, depth_mm: f64) -> f64 {
        if ray.along.z > -0.05 {
            return 0.5 * self.room;
        }
        let distance = (-depth_mm - ray.from.z) / ray.along.z;
        let x = ray.from.x + distance * ray.along.x;
        let y = ray.from.y + distance * ray.along.y;
        let from_middle = (x * x + y * y) / (radius_mm * radius_mm);
        if from_middle < 1.0 {
            self.chamber * (1.0 - 0.16 * from_middle + 0.05 * (y - 0.6 * x) / radius_mm)
        } else {
            0.30 * self.chamber.min(120.0) + 0.25 * self.ambient
        }
    }

    /// Luma of a dull surface of the given whiteness (0 to 1) with that outward normal.
    #[must_use]
    pub fn dull(&self, whiteness: f64, normal: Vec3) -> f64 {
        whiteness
            * (self.ambient * (0.75 + 0.25 * normal.y) + self.key * normal.dot(self.lamp).max(0.0))
    }

    /// Luma of a thick film on a glass.
    #[must_use]
    pub fn film_luma(&self) -> f64 {
        // A film shows some of the light from behind and some of its own.
        let behind = self.plate.map_or(self.panel, |plate| plate.luma);
        0.35 * behind + self.dull(0.35, v3(0.0, 0.0, 1.0))
    }

    /// Luma of worked brass with that outward normal, looked at along −z.
    #[must_use]
    pub fn brass(&self, normal: Vec3) -> f64 {
        let half = (self.lamp + v3(0.0, 0.0, 1.0)).unit();
        let gloss = normal.dot(half).max(0.0).powi(18);
        self.dull(0.60, normal) + 0.60 * self.key * gloss
    }
}

/// A plate is brightest a little above its middle and falls off to its edges.
fn plate_luma(plate: &Plate, x: f64, y: f64) -> f64 {
    let u = x / plate.half_width_mm;
    let v = y / plate.half_height_mm - 0.15;
    plate.luma * (1.0 - 0.05 * u * u - 0.09 * v * v)
}
