//! Looks beyond the plain ones: other fittings, frames, guards, pipes and marks beside the glasses,
//! rough walls, shadows, hands; and beads that rise.

use super::trace::{V, add, scale, unit};
use super::{Dice, Light, Scene, Shape, Sheet, Tube};

/// What is painted on a surface.
#[derive(Clone, Copy, Debug)]
pub(super) enum Ink {
    Plain,
    Mottle,
    /// Marks of a scale: distance, thickness, length (mm).
    Marks(f64, f64, f64),
    /// Bricks: width, height, joint (mm).
    Bricks(f64, f64, f64),
    /// Upright boards: width, joint (mm).
    Boards(f64, f64),
}

impl Ink {
    /// Factor of the albedo at a place of the surface.
    pub(super) fn at(self, x: f64, y: f64) -> f64 {
        let mottle = 1.0 + 0.1 * (x * 0.03).sin() * (y * 0.023 + 1.0).cos();
        match self {
            Self::Plain => 1.0,
            Self::Mottle => mottle,
            Self::Marks(pitch, thick, long) => {
                let place = (y / pitch).rem_euclid(1.0) * pitch;
                let fifth = ((y / pitch).floor() as i64).rem_euclid(5) == 0;
                if place < thick && x > 0.0 && x < long * if fifth { 1.6 } else { 1.0 } {
                    0.2
                } else {
                    1.0
                }
            }
            Self::Bricks(wide, high, joint) => {
                let row = (y / high).floor();
                let x = x + if (row as i64).rem_euclid(2) == 0 {
                    0.0
                } else {
                    wide / 2.0
                };
                let in_joint = (y / high).rem_euclid(1.0) * high < joint
                    || (x / wide).rem_euclid(1.0) * wide < joint;
                mottle * if in_joint { 1.6 } else { 1.0 }
            }
            Self::Boards(wide, joint) => {
                mottle
                    * if (x / wide).rem_euclid(1.0) * wide < joint {
                        0.35
                    } else {
                        1.0
                    }
            }
        }
    }
}

/// A metal pipe or rod, upright or along the row.
#[derive(Clone, Copy, Debug)]
pub(super) struct Pipe {
    /// x of an upright one, y of one along the row.
    pub at: f64,
    pub z: f64,
    pub radius: f64,
    /// From and to, along itself.
    pub ends: [f64; 2],
    pub shine: f64,
    pub upright: bool,
}

/// A plate before the glasses with a slot for each.
#[derive(Clone, Debug)]
pub(super) struct Front {
    pub z: f64,
    /// x and y of each slot.
    pub slots: Vec<([f64; 2], [f64; 2])>,
    /// How far the plate reaches beyond the slots, mm.
    pub rim: f64,
    pub albedo: f64,
}

impl Scene {
    /// Nearest pipe before `best`: distance and shade.
    pub(super) fn pipes_hit(&self, o: V, d: V, best: f64) -> Option<(f64, f64)> {
        let mut hit: Option<(f64, f64)> = None;
        for pipe in &self.pipes {
            let (across, along) = if pipe.upright { (0, 1) } else { (1, 0) };
            let (oa, oz) = (o[across] - pipe.at, o[2] - pipe.z);
            let a = d[across] * d[across] + d[2] * d[2];
            let b = oa * d[across] + oz * d[2];
            let k = b * b - a * (oa * oa + oz * oz - pipe.radius * pipe.radius);
            if a < 1e-12 || k < 0.0 {
                continue;
            }
            let t = (-b - k.sqrt()) / a;
            let p = add(o, scale(d, t));
            if t > 1e-6
                && t < hit.map_or(best, |h| h.0)
                && p[along] > pipe.ends[0]
                && p[along] < pipe.ends[1]
            {
                let mut n = [0.0, 0.0, (p[2] - pipe.z) / pipe.radius];
                n[across] = (p[across] - pipe.at) / pipe.radius;
                hit = Some((t, self.metal(pipe.shine, n, d)));
            }
        }
        hit
    }

    /// The front plate, where no slot is.
    pub(super) fn front_hit(&self, o: V, d: V) -> Option<(f64, f64)> {
        let front = self.front.as_ref()?;
        if d[2] < 1e-9 {
            return None;
        }
        let t = (front.z - o[2]) / d[2];
        let p = add(o, scale(d, t));
        let within = |x: [f64; 2], y: [f64; 2], more: f64| {
            p[0] > x[0] - more && p[0] < x[1] + more && p[1] > y[0] - more && p[1] < y[1] + more
        };
        let plate = front.slots.iter().any(|s| within(s.0, s.1, front.rim));
        let slot = front.slots.iter().any(|s| within(s.0, s.1, 0.0));
        (t > 0.0 && plate && !slot).then(|| {
            // A bevel lightens the edge of each slot.
            let edge = front
                .slots
                .iter()
                .any(|s| within(s.0, s.1, 0.12 * front.rim));
            let n = if edge {
                unit([0.3, -0.5, -1.0])
            } else {
                [0.0, 0.0, -1.0]
            };
            (t, self.dull(front.albedo, n) + 0.12 * self.metal(0.5, n, d))
        })
    }

    /// Heads of bolts on a plate with ports.
    pub(super) fn bolts_at(&self, x: f64, y: f64) -> f64 {
        if !self.bolts {
            return 1.0;
        }
        for port in &self.ports {
            let (u, v) = (x - port.x, y - port.y);
            let r = u.hypot(v) / port.bezel;
            let sixth = std::f64::consts::FRAC_PI_3;
            let turn = (v.atan2(u) / sixth).round() * sixth;
            let (bu, bv) = (
                1.16 * port.bezel * turn.cos(),
                1.16 * port.bezel * turn.sin(),
            );
            if r < 1.32 && (u - bu).hypot(v - bv) < 0.09 * port.bezel {
                return if v - bv < 0.0 { 1.9 } else { 0.6 };
            }
        }
        1.0
    }

    /// Fall of light, shadow and hand, over the traced picture.
    pub(super) fn dim(&self, light: &mut [f32]) {
        let (w, h) = (self.width as usize, self.height as usize);
        for (i, value) in light.iter_mut().enumerate() {
            let (x, y) = ((i % w) as f64 / w as f64, (i / w) as f64 / h as f64);
            let mut by = 1.0 + self.fall.0 * (x - 0.5) + self.fall.1 * (y - 0.5);
            if let Some((place, width, depth)) = self.shadow {
                let off = (x + 0.2 * y - place) / width;
                by *= 1.0 - depth * (-(off.powi(4))).exp();
            }
            *value *= by.max(0.1) as f32;
            if let Some((part, luma)) = self.hand
                && x > part[0]
                && x < part[2]
                && y > part[1]
                && y < part[3]
            {
                *value = (luma * (1.0 + 0.15 * (40.0 * x + 9.0 * y).sin())) as f32;
            }
        }
    }

    /// Puts the beads where they are at a time.
    pub(super) fn rise(&mut self, at_secs: f64, per_minute: f64) {
        let every = 60.0 / per_minute;
        for (index, tube) in self.tubes.iter_mut().enumerate() {
            let radius = tube.nozzle.max(0.13 * tube.bore) * 1.1;
            tube.free_bead = None;
            tube.bead = 0.0;
            let from = tube.bottom - tube.nozzle_height;
            tube.rising = on_their_way(at_secs, every, index, from, tube.top, radius);
        }
        for (index, port) in self.ports.iter_mut().enumerate() {
            let radius = (0.13 * port.radius).max(1.2 * port.nozzle);
            port.bead = 0.0;
            let from = port.y + port.radius - port.nozzle_height;
            let to = port.y - 1.2 * port.radius;
            port.rising = on_their_way(at_secs, every, index, from, to, radius);
        }
    }

    /// Dresses an invented scene in one of many looks, for the worse.
    pub fn dressed(mut self, seed: u64, light: Light, shape: Shape) -> Self {
        let mut d = Dice(seed ^ 0x100C);
        self.wall = match d.whole(0, 4) {
            0 => Ink::Bricks(
                d.between(25.0, 70.0),
                d.between(10.0, 25.0),
                d.between(1.0, 3.0),
            ),
            1 => Ink::Boards(d.between(15.0, 60.0), d.between(0.8, 2.5)),
            _ => Ink::Mottle,
        };
        if shape == Shape::Tubes {
            self.dress_tubes(&mut d, light);
        } else {
            self.bolts = d.chance(0.5);
            for port in &mut self.ports {
                port.nozzle *= d.between(0.8, 1.4);
            }
        }
        self.surround(&mut d, shape);
        self.fall = (d.between(-0.5, 0.5), d.between(-0.5, 0.5));
        if d.chance(0.3) {
            self.shadow = Some((
                d.between(0.1, 1.1),
                d.between(0.05, 0.3),
                d.between(0.2, 0.5),
            ));
        }
        self.blur = d.between(0.4, 2.0) as f32;
        self.noise = d.between(0.3, 4.0);
        self.jpeg = d.whole(30, 90) as u8;
        if d.chance(0.25) {
            self.contrast = d.between(0.2, 0.6);
            self.noise = self.noise.min(2.0);
        }
        self
    }

    fn dress_tubes(&mut self, d: &mut Dice, light: Light) {
        let wall = d.between(0.5, 0.9);
        let fitting = d.whole(0, 4);
        let facets = d.chance(0.4);
        let cone = d.between(0.4, 1.0);
        let (wide, tall) = (d.between(0.7, 1.5), d.between(0.5, 1.6));
        for t in &mut self.tubes {
            t.bore = t.outer * wall;
            t.nozzle = (t.nozzle * wide).min(0.5 * t.bore);
            t.nozzle_height *= tall;
            t.cone = cone;
            t.facets = facets;
            match fitting {
                0 => t.fitting = t.outer * 1.06,
                1 => (t.fitting, t.fitting_height) = (t.outer * 1.6, t.outer * 0.5),
                2 => t.fitting_height = t.outer * 2.2,
                _ => {}
            }
        }
        let Some(first) = self.tubes.first().cloned() else {
            return;
        };
        let Tube {
            outer, top, bottom, ..
        } = first;
        match d.whole(0, 4) {
            // Beams before the ends: no fitting shows.
            0 => {
                let albedo = d.between(0.1, 0.7);
                for y in [[top - 300.0, top], [bottom, bottom + 300.0]] {
                    self.sheets.push(Sheet {
                        x: [-900.0, 900.0],
                        y,
                        z: -1.15 * outer,
                        albedo,
                        glow: 0.0,
                        slope: 0.0,
                        ink: Ink::Plain,
                    });
                }
            }
            // A frame with slots, one body or one for each glass.
            1 => {
                let half = outer * d.between(1.0, 1.5);
                let rim = outer * d.between(0.3, 0.9);
                self.front = Some(Front {
                    z: -1.15 * outer,
                    slots: self
                        .tubes
                        .iter()
                        .map(|t| ([t.x - half, t.x + half], [top, bottom]))
                        .collect(),
                    rim,
                    albedo: d.between(0.15, 0.8),
                });
            }
            // Guard rods.
            2 => {
                let shine = d.between(0.2, 0.8);
                for t in &self.tubes {
                    for side in [-1.0, 1.0] {
                        self.pipes.push(Pipe {
                            at: t.x + side * 1.35 * outer,
                            z: -0.3 * outer,
                            radius: 0.13 * outer,
                            ends: [top - outer, bottom + outer],
                            shine,
                            upright: true,
                        });
                    }
                }
            }
            _ => {}
        }
        // A scale beside or behind each glass.
        if d.chance(0.3) {
            let behind = light == Light::Front && d.chance(0.4);
            let ink = Ink::Marks((bottom - top) / 25.0, 0.35, outer * 0.5);
            let albedo = d.between(0.3, 0.8);
            for t in &self.tubes {
                let x = if behind {
                    t.x - 0.8 * outer
                } else {
                    t.x + 1.3 * outer
                };
                self.sheets.push(Sheet {
                    x: [x, x + outer * 1.1],
                    y: [top, bottom],
                    z: if behind { 1.5 * outer } else { 0.4 * outer },
                    albedo,
                    glow: 0.0,
                    slope: 0.0,
                    ink,
                });
            }
        }
    }

    /// Pipes and rods of something else nearby.
    fn surround(&mut self, d: &mut Dice, shape: Shape) {
        if shape == Shape::Ports {
            return;
        }
        let Some(first) = self.tubes.first().cloned() else {
            return;
        };
        let last = self.tubes.last().map_or(first.x, |t| t.x);
        for _ in 0..d.whole(0, 3) {
            let radius = first.outer * d.between(0.3, 1.3);
            let side = if d.chance(0.5) {
                first.x - first.outer * d.between(2.2, 5.0) - radius
            } else {
                last + first.outer * d.between(2.2, 5.0) + radius
            };
            self.pipes.push(Pipe {
                at: side,
                z: first.outer * d.between(-1.0, 4.0),
                radius,
                ends: if d.chance(0.5) {
                    [-900.0, 900.0]
                } else {
                    [first.top * 1.5, first.bottom * 1.4]
                },
                shine: d.between(0.2, 0.8),
                upright: true,
            });
        }
        if d.chance(0.3) {
            let radius = first.outer * d.between(0.4, 1.0);
            let y = if d.chance(0.5) {
                first.top * 1.35 - radius
            } else {
                first.bottom * 1.35 + radius
            };
            self.pipes.push(Pipe {
                at: y,
                z: first.outer * d.between(0.0, 3.0),
                radius,
                ends: [-900.0, 900.0],
                shine: d.between(0.2, 0.8),
                upright: false,
            });
        }
    }

    /// Hides up to half of one glass behind a hand or a rag.
    pub fn half_hidden(mut self, seed: u64) -> Self {
        let mut d = Dice(seed ^ 0x4A2D);
        let truth = self.truth();
        let glass = truth[(d.bits() % truth.len() as u64) as usize];
        let (w, h) = (f64::from(self.width), f64::from(self.height));
        let part = d.between(0.2, 0.5);
        let (x0, x1) = ((glass.x - glass.width) / w, (glass.x + glass.width) / w);
        let (top, foot) = (
            (glass.y - glass.height / 2.0) / h,
            (glass.y + glass.height / 2.0) / h,
        );
        let band = match d.whole(0, 2) {
            0 => [x0, top - 0.1, x1, top + part * (foot - top)],
            1 => [x0, foot - part * (foot - top), x1, foot + 0.1],
            _ => [
                x0 - 0.1,
                top - 0.1,
                f64::midpoint(x0, x1) + (part - 0.5) * 0.5 * (x1 - x0),
                foot + 0.1,
            ],
        };
        self.hand = Some((band, d.between(0.1, 0.9)));
        self
    }
}

/// Beads on their way from the nozzle to the head, each `every` seconds: heights and radius. They
/// rise 20 of their own diameters a second.
fn on_their_way(
    at: f64,
    every: f64,
    index: usize,
    from: f64,
    to: f64,
    radius: f64,
) -> Vec<(f64, f64)> {
    let speed = 20.0 * 2.0 * radius;
    let start = every * (0.13 + 0.37 * index as f64).fract();
    let mut beads = Vec::new();
    let mut begun = start;
    while begun <= at {
        let y = from - radius - speed * (at - begun);
        if y > to + radius {
            beads.push((y, radius));
        }
        begun += every;
    }
    beads
}
