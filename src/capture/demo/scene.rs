//! The picture at rest: glasses on their panel, fittings, bolts and plates, traced once; and the
//! sight rays into each glass that moving things are drawn with. It knows no time.

use super::camera::{Camera, Stand};
use super::light::Lighting;
use super::model::GlassSpace;
use super::noise;
use super::optics::{self, Entry, Ray, Tube, Vec3, v3};
use super::physics;
use super::settings::{DemoSettings, of_feed};
use crate::base::GlassKind;

/// Height of a tube's fitting beyond the visible glass, mm.
const FITTING_MM: f64 = 9.0;
/// Thickness of a nozzle's wall at its rim, mm.
const NOZZLE_WALL_MM: f64 = 0.45;
/// Length of the nozzle's cone below its tip, mm.
const NOZZLE_CONE_MM: f64 = 1.6;
/// How far behind a port's window the beads rise, mm.
pub const PORT_BEADS_BEHIND_MM: f64 = 12.0;
/// Depth of a port's chamber, mm.
const PORT_DEPTH_MM: f64 = 26.0;
/// Width of a port's brass ring, mm.
const PORT_RING_MM: f64 = 5.0;
/// Refractive index of valve oil at 589 nm: heavy cylinder stocks have 1.48 to 1.51 (from memory).
pub const OIL_INDEX: f64 = 1.48;
/// Refractive index of gas.
pub const GAS_INDEX: f64 = 1.0;
/// Light that runs along in the wall comes out where the wall is looked along: share of the lamp's.
const EDGE_SHARE: f64 = 0.22;
/// Steps of the table of sight rays across a tube: finer than any pixel.
const RAY_STEPS: usize = 4096;
/// Sub-samples a side of one pixel of the picture at rest.
const SUB_SAMPLES: u32 = 2;

/// One glass in the scene.
#[derive(Clone, Debug)]
pub struct Glass {
    /// How it stands in the picture.
    pub stand: Stand,
    /// Place along the row, mm.
    pub row_mm: f64,
    /// Wetted rim radius of its nozzle, mm.
    pub rim_mm: f64,
    /// Share of light that passes 4 mm of its oil.
    pub tint: f64,
    /// Whiteness of its oil's body.
    pub albedo: f64,
    /// Salt for its dirt.
    pub salt: u32,
}

/// The scene at rest.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Picture size, pixels.
    pub size_px: (u32, u32),
    /// The camera.
    pub camera: Camera,
    /// The glasses from the left.
    pub glasses: Vec<Glass>,
    /// The light.
    pub lighting: Lighting,
    /// Space inside the glasses.
    pub space: GlassSpace,
    /// Tubes or ports.
    pub kind: GlassKind,
    /// Refractive index of the condensate.
    pub water_index: f64,
    tube: Tube,
    rays: Vec<Option<Ray>>,
    window_radius_mm: f64,
    salt: u32,
}

impl Scene {
    /// The scene for the settings; nothing is traced yet.
    #[must_use]
    pub fn new(settings: &DemoSettings, rims_mm: &[f64]) -> Self {
        let (density, _) = physics::water(settings.temperature_c);
        let water_index = optics::water_index(density, settings.temperature_c, optics::SODIUM_UM);
        let tube = Tube {
            bore_radius_mm: 0.5 * settings.bore_mm,
            outer_radius_mm: 0.5 * settings.outside_mm,
            wall_index: optics::WALL_INDEX,
            liquid_index: water_index,
        };
        let size_px = (settings.width_px, settings.height_px);
        let camera = Camera::new(
            size_px,
            settings.scale_px_per_mm(),
            settings.roll_deg,
            settings.turn_deg,
        );
        let salt = (settings.seed as u32) ^ ((settings.seed >> 32) as u32);
        let pitch = settings.pitch_mm();
        let middle = 0.5 * (settings.feeds as f64 - 1.0);
        let glasses = (0..settings.feeds)
            .map(|index| {
                let row_mm = (index as f64 - middle) * pitch;
                Glass {
                    stand: camera.stand(row_mm),
                    row_mm,
                    rim_mm: rims_mm.get(index).copied().unwrap_or(1.0),
                    tint: of_feed(&settings.tint, index),
                    albedo: of_feed(&settings.albedo, index),
                    salt: salt.wrapping_mul(31).wrapping_add(index as u32 + 1),
                }
            })
            .collect();
        let rays = ray_table(&tube);
        Self {
            size_px,
            camera,
            glasses,
            lighting: Lighting::new(
                settings.light,
                0.5 * settings.glass_width_mm(),
                settings.glass_height_mm(),
                settings.turn_deg,
            ),
            space: GlassSpace::new(settings),
            kind: settings.kind,
            water_index,
            tube,
            rays,
            window_radius_mm: 0.5 * settings.port_mm,
            salt,
        }
    }

    /// Half the width of a glass as seen along the row, mm.
    #[must_use]
    pub fn half_glass_mm(&self) -> f64 {
        match self.kind {
            GlassKind::Tube => self.tube.outer_radius_mm,
            GlassKind::Port => self.window_radius_mm,
        }
    }

    /// Moves the camera; the picture must be traced again.
    pub fn move_camera(&mut self, camera: Camera) {
        self.camera = camera;
        for glass in &mut self.glasses {
            glass.stand = camera.stand(glass.row_mm);
        }
    }

    /// The sight ray in the liquid behind a place on a glass (across, up; mm). `None` where no
    /// liquid is seen.
    #[must_use]
    pub fn sight(&self, glass: &Glass, x_mm: f64, y_mm: f64) -> Option<Ray> {
        match self.kind {
            GlassKind::Tube => {
                let b = self.tube.outer_radius_mm;
                let place = (x_mm / b + 1.0) * 0.5 * (RAY_STEPS - 1) as f64 + 0.5;
                if place < 0.0 {
                    return None;
                }
                let mut ray = (*self.rays.get(place as usize)?)?;
                ray.from.y = y_mm;
                Some(ray)
            }
            GlassKind::Port => {
                let (cos, sin) = glass.stand.yaw;
                let x = x_mm / cos;
                if x * x + y_mm * y_mm >= self.window_radius_mm * self.window_radius_mm {
                    return None;
                }
                let bent = sin / self.water_index;
                Some(Ray {
                    from: v3(x, y_mm, 0.0),
                    along: v3(bent, 0.0, -(1.0 - bent * bent).sqrt()),
                })
            }
        }
    }

    /// Middle of the space in which beads rise, in the space of the sight rays.
    #[must_use]
    pub fn beads_axis(&self) -> Vec3 {
        match self.kind {
            GlassKind::Tube => v3(0.0, 0.0, 0.0),
            GlassKind::Port => v3(0.0, 0.0, -PORT_BEADS_BEHIND_MM),
        }
    }

    /// Luma at the end of a ray in the liquid of a glass: the nozzle, the fittings, or what stands
    /// behind.
    #[must_use]
    pub fn end(&self, glass: &Glass, ray: &Ray) -> f64 {
        self.end_in(glass, ray, &self.tube)
    }

    fn end_in(&self, glass: &Glass, ray: &Ray, tube: &Tube) -> f64 {
        if let Some((_, luma)) = self.nozzle(glass, ray) {
            return luma;
        }
        match self.kind {
            GlassKind::Tube => match tube.leave(ray) {
                Some(out) if out.from.y.abs() > self.space.top_mm => 0.35 * self.lighting.ambient,
                Some(out) => self.lighting.seen(&out, glass.stand.yaw),
                None => 0.7 * self.lighting.room,
            },
            GlassKind::Port => {
                self.lighting
                    .chamber_seen(ray, self.window_radius_mm + 1.5, PORT_DEPTH_MM)
            }
        }
    }

    /// Luma of the room as mirrored in a direction of a glass's own space.
    #[must_use]
    pub fn room(&self, glass: &Glass, along: Vec3) -> f64 {
        let along = match self.kind {
            GlassKind::Tube => {
                let (cos, sin) = glass.stand.yaw;
                v3(
                    along.x * cos - along.z * sin,
                    along.y,
                    along.x * sin + along.z * cos,
                )
            }
            GlassKind::Port => along,
        };
        self.lighting.room_seen(along)
    }

    /// Distance and luma at which a ray strikes the nozzle.
    #[must_use]
    pub fn nozzle(&self, glass: &Glass, ray: &Ray) -> Option<(f64, f64)> {
        let axis = self.beads_axis();
        let local = Ray {
            from: ray.from - axis,
            along: ray.along,
        };
        let outer = glass.rim_mm + NOZZLE_WALL_MM + 0.6;
        let (near, _) = optics::cross_cylinder(&local, outer)?;
        if near < 0.0 {
            return None;
        }
        let below = self.space.tip_mm - local.at(near).y;
        if below <= 0.0 {
            return None;
        }
        let narrowing = (below / NOZZLE_CONE_MM).min(1.0);
        let radius = glass.rim_mm + NOZZLE_WALL_MM + 0.6 * narrowing;
        let (near, _) = optics::cross_cylinder(&local, radius)?;
        let at = local.at(near);
        let slope = if narrowing < 1.0 { 0.35 } else { 0.0 };
        let normal = (optics::outward(at) + v3(0.0, slope, 0.0)).unit();
        let grain = 1.0 + 0.05 * noise::smooth(at.y * 3.0, 0.5 * at.x, glass.salt);
        Some((near, self.lighting.brass(normal) * grain))
    }

    /// Traces the whole picture at rest.
    #[must_use]
    pub fn bake(&self) -> Vec<f32> {
        let (width, height) = self.size_px;
        let mut picture = Vec::with_capacity(width as usize * height as usize);
        let step = 1.0 / f64::from(SUB_SAMPLES);
        let share = 1.0 / f64::from(SUB_SAMPLES * SUB_SAMPLES);
        for y in 0..height {
            for x in 0..width {
                let mut sum = 0.0;
                for sub in 0..SUB_SAMPLES * SUB_SAMPLES {
                    let sub_x = f64::from(x) + (f64::from(sub % SUB_SAMPLES) + 0.5) * step;
                    let sub_y = f64::from(y) + (f64::from(sub / SUB_SAMPLES) + 0.5) * step;
                    sum += self.luma(sub_x, sub_y).clamp(0.0, 300.0);
                }
                picture.push((sum * share) as f32);
            }
        }
        picture
    }

    /// Luma at a picture point.
    fn luma(&self, x_px: f64, y_px: f64) -> f64 {
        for glass in &self.glasses {
            let (x, y) = glass.stand.glass_from_picture(x_px, y_px);
            let seen = match self.kind {
                GlassKind::Tube => self.tube_luma(glass, x, y),
                GlassKind::Port => self.port_luma(glass, x, y),
            };
            if let Some(luma) = seen {
                return luma;
            }
        }
        if let Some(luma) = self.bars(x_px, y_px) {
            return luma;
        }
        self.plates(x_px, y_px)
            .unwrap_or_else(|| self.panel(x_px, y_px))
    }

    /// A tube and its fittings, if they are at that place of the glass (mm).
    fn tube_luma(&self, glass: &Glass, x: f64, y: f64) -> Option<f64> {
        let b = self.tube.outer_radius_mm;
        let beyond = y.abs() - self.space.top_mm;
        if beyond > 0.0 {
            return self.fitting(glass, x, y, beyond);
        }
        if x.abs() >= b {
            return None;
        }
        Some(self.through_tube(glass, x, y, &self.tube))
    }

    /// What is seen at a place on a tube that holds the tube's liquid and nothing that moves.
    fn through_tube(&self, glass: &Glass, x: f64, y: f64, tube: &Tube) -> f64 {
        let b = tube.outer_radius_mm;
        let cos = (1.0 - x * x / (b * b)).max(0.0).sqrt();
        let share = optics::thrown_back(cos, 1.0 / tube.wall_index);
        let normal = v3(x / b, 0.0, cos);
        let mirrored = self.room(glass, optics::reflect(v3(0.0, 0.0, -1.0), normal));
        let behind = match tube.enter(x) {
            Entry::Liquid(mut ray) => {
                ray.from.y = y;
                self.end_in(glass, &ray, tube)
            }
            Entry::WallOnly(mut ray) => {
                ray.from.y = y;
                self.lighting.seen(&ray, glass.stand.yaw)
            }
            Entry::Beside => self.lighting.room,
        };
        let edge = EDGE_SHARE * self.lighting.key * (x / b).abs().powi(14);
        (behind * (1.0 - share) * (1.0 - share) + mirrored * share) * dirt(glass, x, y) + edge
    }

    /// Whether a place of a glass's space (across, up; mm) lies on the visible glass.
    #[must_use]
    pub fn on_glass(&self, glass: &Glass, x_mm: f64, y_mm: f64) -> bool {
        match self.kind {
            GlassKind::Tube => {
                x_mm.abs() < self.tube.outer_radius_mm && y_mm.abs() < self.space.top_mm
            }
            GlassKind::Port => (x_mm / glass.stand.yaw.0).hypot(y_mm) < self.window_radius_mm,
        }
    }

    /// Luma at a place of a glass (mm) that is full of oil.
    #[must_use]
    pub fn oily_luma(&self, glass: &Glass, x_mm: f64, y_mm: f64) -> f64 {
        // Oil in bulk is seen less bright than a small bead of it.
        const BULK: f64 = 0.35;
        let (behind, way_mm, normal) = match self.kind {
            GlassKind::Tube => {
                let tube = Tube {
                    liquid_index: OIL_INDEX,
                    ..self.tube
                };
                let b = tube.outer_radius_mm;
                let way_mm = match tube.enter(x_mm) {
                    Entry::Liquid(ray) => optics::cross_cylinder(&ray, tube.bore_radius_mm)
                        .map_or(0.0, |(near, far)| far - near),
                    Entry::WallOnly(_) | Entry::Beside => 0.0,
                };
                let u = (x_mm / b).clamp(-1.0, 1.0);
                let behind = self.through_tube(glass, x_mm, y_mm, &tube);
                (behind, way_mm, v3(u, 0.0, (1.0 - u * u).sqrt()))
            }
            GlassKind::Port => {
                let behind = self.port_luma(glass, x_mm, y_mm).unwrap_or(0.0);
                (behind, PORT_DEPTH_MM, v3(0.0, 0.0, 1.0))
            }
        };
        let through = glass.tint.powf(way_mm / 4.0);
        through * behind + (1.0 - through) * self.lighting.dull(BULK * glass.albedo, normal)
    }

    /// Brass at the ends of a tube.
    fn fitting(&self, glass: &Glass, x: f64, y: f64, beyond: f64) -> Option<f64> {
        if beyond > FITTING_MM {
            return None;
        }
        let b = self.tube.outer_radius_mm;
        let (half, hexagon) = if beyond < 1.6 {
            (1.14 * b, false)
        } else if beyond < 7.2 {
            (1.26 * b, true)
        } else {
            (0.72 * b, false)
        };
        let u = x / half;
        if u.abs() >= 1.0 {
            return None;
        }
        let normal = if hexagon {
            // Three faces of a hexagon are seen.
            let face = if u < -0.5 {
                -1.047
            } else if u < 0.5 {
                0.0
            } else {
                1.047
            };
            let face: f64 = face + 0.12;
            v3(face.sin(), 0.0, face.cos())
        } else {
            v3(u, 0.0, (1.0 - u * u).sqrt())
        };
        let mut luma = self.lighting.brass(normal);
        luma *= 1.0 + 0.10 * noise::cloudy(0.5 * x, 2.5 * y, glass.salt ^ 0x10);
        luma *= 1.0 + 0.06 * noise::smooth(3.0 * x, 3.0 * y, glass.salt ^ 0x11);
        if hexagon && ((u.abs() - 0.5).abs() < 0.025 || u.abs() > 0.97) {
            luma *= 0.72;
        }
        if (beyond - 1.6).abs() < 0.2 || (beyond - 7.2).abs() < 0.2 || beyond < 0.25 {
            luma *= 0.6;
        }
        Some(luma)
    }

    /// A port: its window, its ring and its bolts.
    fn port_luma(&self, glass: &Glass, x: f64, y: f64) -> Option<f64> {
        let window = self.window_radius_mm;
        let on_ring = (x / glass.stand.yaw.0).hypot(y);
        if on_ring < window {
            let ray = self.sight(glass, x, y)?;
            let share = optics::thrown_back(glass.stand.yaw.0, 1.0 / optics::WALL_INDEX);
            let behind = self.end(glass, &ray);
            return Some((behind * (1.0 - share) + self.lighting.room * share) * dirt(glass, x, y));
        }
        if on_ring > window + PORT_RING_MM {
            return None;
        }
        let inward = ((on_ring - window) / PORT_RING_MM - 0.5) * 1.6;
        let (ux, uy) = (x / on_ring, y / on_ring);
        let normal = v3(ux * inward, uy * inward, 1.0).unit();
        let mut luma = self.lighting.brass(normal);
        luma *= 1.0 + 0.08 * noise::cloudy(x, y, glass.salt ^ 0x12);
        if on_ring < window + 0.5 || on_ring > window + PORT_RING_MM - 0.4 {
            luma *= 0.5;
        }
        let bolts = 8.0;
        let turn = (y.atan2(x) / std::f64::consts::TAU * bolts).rem_euclid(1.0) - 0.5;
        let along = turn * std::f64::consts::TAU * on_ring / bolts;
        let across = on_ring - window - 0.5 * PORT_RING_MM;
        let bolt = along.hypot(across);
        if bolt < 1.3 {
            let slot = (along - across).abs() < 0.25;
            luma = 0.75 * luma * if slot { 0.5 } else { 1.15 };
        } else if bolt < 1.6 {
            luma *= 0.55;
        }
        Some(luma)
    }

    /// The cast bars that carry the fittings of tubes.
    fn bars(&self, x_px: f64, y_px: f64) -> Option<f64> {
        if self.kind == GlassKind::Port {
            return None;
        }
        let (x, y) = self.camera.plane_from_picture(x_px, y_px, 0.0);
        let beyond = y.abs() - self.space.top_mm - FITTING_MM + 0.6;
        let thick = 10.0;
        if !(0.0..thick).contains(&beyond) {
            return None;
        }
        let row = self.glasses.last().map_or(0.0, |g| g.row_mm);
        let end = row + 1.9 * self.tube.outer_radius_mm;
        if x.abs() > end {
            return None;
        }
        let v = 2.0 * beyond / thick - 1.0;
        let normal = v3(0.0, v * 0.8 * y.signum(), 1.0 - 0.5 * v * v).unit();
        let mut luma = self.lighting.dull(0.30, normal);
        luma *= 1.0 + 0.18 * noise::cloudy(0.8 * x, 0.8 * y, self.salt ^ 0x21);
        let bolt_every = 14.0;
        let along = (x / bolt_every).rem_euclid(1.0) - 0.5;
        luma *= round_head(along * bolt_every, beyond - 0.5 * thick, 1.7);
        Some(luma)
    }

    /// The plates or cards behind the glasses, where they stick out.
    fn plates(&self, x_px: f64, y_px: f64) -> Option<f64> {
        let plate = self.lighting.plate?;
        if self.kind == GlassKind::Port {
            return None;
        }
        let (x, y) = self.camera.plane_from_picture(x_px, y_px, plate.behind_mm);
        self.glasses.iter().find_map(|glass| {
            let from_middle = x - glass.row_mm - plate.middle_mm;
            let inside = from_middle.abs() < plate.half_width_mm && y.abs() < plate.half_height_mm;
            let ray = Ray {
                from: v3(x - glass.row_mm, y, 0.0),
                along: v3(0.0, 0.0, -1.0),
            };
            inside.then(|| self.lighting.seen(&ray, (1.0, 0.0)))
        })
    }

    /// The panel: rough paint, a raised frame, rivets, a pipe.
    fn panel(&self, x_px: f64, y_px: f64) -> f64 {
        let (x, y) = self
            .camera
            .plane_from_picture(x_px, y_px, self.lighting.panel_behind_mm);
        let mut luma = self.lighting.panel;
        luma *= 1.0 + 0.10 * noise::cloudy(0.05 * x, 0.05 * y, self.salt ^ 0x31);
        luma *= 1.0 + 0.06 * noise::cloudy(0.9 * x, 0.9 * y, self.salt ^ 0x32);
        let row = self.glasses.last().map_or(0.0, |g| g.row_mm);
        let frame_x = row + 2.1 * self.half_glass_mm();
        let frame_y = self.space.top_mm + FITTING_MM + 14.0;
        let (out_x, out_y) = (x.abs() - frame_x, y.abs() - frame_y);
        let out = out_x.max(out_y);
        if out > 0.0 {
            luma *= 1.25;
            if out < 0.8 {
                luma *= if y > 0.0 { 0.6 } else { 1.5 };
            }
            let every = 16.0;
            let (along, across) = if out_x > out_y {
                (y, out_x)
            } else {
                (x, out_y)
            };
            let along = ((along / every).rem_euclid(1.0) - 0.5) * every;
            luma *= round_head(along, across - 5.0, 1.5);
        } else if out_y > -3.0 && y > 0.0 {
            // The frame's shadow.
            luma *= 0.72;
        }
        let pipe_x = frame_x + 14.0 + 4.0 * noise::cell(1, 2, self.salt);
        let pipe = (x - pipe_x) / 4.0;
        if pipe.abs() < 1.0 {
            luma = self
                .lighting
                .dull(0.35, v3(pipe, 0.0, (1.0 - pipe * pipe).sqrt()));
            luma *= 1.0 + 0.1 * noise::cloudy(x, 0.3 * y, self.salt ^ 0x33);
        }
        luma
    }
}

/// Old dirt on a glass: faint streaks and a few spots, never changing.
fn dirt(glass: &Glass, x: f64, y: f64) -> f64 {
    let streaks = noise::cloudy(0.9 * x, 0.12 * y, glass.salt);
    let spots = noise::smooth(1.3 * x, 1.3 * y, glass.salt ^ 0x77);
    // Only the highest hills of the noise are spots.
    1.0 - 0.02 * (1.0 + streaks) - 0.25 * (spots - 0.8).max(0.0)
}

/// Darkening and brightening of a round bolt or rivet head at a place from its middle (mm).
fn round_head(x: f64, y: f64, radius: f64) -> f64 {
    let from_middle = x.hypot(y) / radius;
    if from_middle < 1.0 {
        1.0 + 0.5 * from_middle * (y - x) / (radius * 1.5)
    } else if from_middle < 1.25 {
        0.6
    } else {
        1.0
    }
}

/// The sight rays across a tube, at even steps from its left to its right outer edge.
fn ray_table(tube: &Tube) -> Vec<Option<Ray>> {
    let b = tube.outer_radius_mm;
    (0..RAY_STEPS)
        .map(|step| {
            let x = (2.0 * step as f64 / (RAY_STEPS - 1) as f64 - 1.0) * b;
            match tube.enter(x) {
                Entry::Liquid(ray) => Some(ray),
                Entry::WallOnly(_) | Entry::Beside => None,
            }
        })
        .collect()
}
