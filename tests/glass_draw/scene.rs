//! The scene: an invented lubricator, its camera and its light. Millimetres; x to the right, y down,
//! z away from the camera. The rays are traced beside it.

use super::Dice;
use image::GrayImage;

mod look;
mod trace;

use look::{Front, Ink, Pipe};

use trace::{V, add, cross, dot, scale, unit};

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Light {
    Backlit,
    Card,
    Front,
}

/// What the glasses are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Shape {
    Tubes,
    Ports,
}

/// A lamp seen in reflections: a soft upright strip.
#[derive(Clone, Copy, Debug)]
struct Lamp {
    azimuth: f64,
    spread: f64,
    power: f64,
}

#[derive(Clone, Copy, Debug)]
struct Sheet {
    x: [f64; 2],
    y: [f64; 2],
    z: f64,
    albedo: f64,
    glow: f64,
    slope: f64,
    ink: Ink,
}

#[derive(Clone, Debug)]
struct Tube {
    x: f64,
    bore: f64,
    outer: f64,
    top: f64,
    bottom: f64,
    fitting: f64,
    fitting_height: f64,
    nut: f64,
    nozzle: f64,
    nozzle_height: f64,
    /// Radius of the nozzle's tip against that of its foot.
    cone: f64,
    /// Whether the fittings are nuts with flats.
    facets: bool,
    bead: f64,
    free_bead: Option<f64>,
    /// Beads on their way: height and radius.
    rising: Vec<(f64, f64)>,
    metal: f64,
}

#[derive(Clone, Debug)]
struct Port {
    x: f64,
    y: f64,
    radius: f64,
    bezel: f64,
    step: f64,
    depth: f64,
    back: f64,
    nozzle: f64,
    nozzle_height: f64,
    bead: f64,
    rising: Vec<(f64, f64)>,
    glow: f64,
}

#[derive(Clone, Debug)]
pub struct Scene {
    tubes: Vec<Tube>,
    ports: Vec<Port>,
    sheets: Vec<Sheet>,
    pipes: Vec<Pipe>,
    front: Option<Front>,
    lamps: Vec<Lamp>,
    sun: V,
    sun_power: f64,
    ambient: f64,
    plate: f64,
    wall: Ink,
    bolts: bool,
    /// Light falls off along this direction over the picture, by this part.
    fall: (f64, f64),
    /// A soft shadow over the picture: place across (0 to 1), width, depth.
    shadow: Option<(f64, f64, f64)>,
    /// Something in front: a box in parts of the picture (left, top, right, bottom), and its luma.
    hand: Option<([f64; 4], f64)>,
    // Camera.
    pub width: u32,
    pub height: u32,
    focal: f64,
    distance: f64,
    roll: f64,
    turn: f64,
    pitch: f64,
    aim: V,
    // Picture.
    gain: f64,
    contrast: f64,
    blur: f32,
    noise: f64,
    jpeg: u8,
    seed: u64,
}

/// True outline: middle, size across and along the axis, clockwise turn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TrueGlass {
    pub tube: bool,
    pub x: f64,
    pub y: f64,
    pub width: f64,
    pub height: f64,
    pub angle_deg: f64,
}

#[derive(Clone, Debug)]
pub struct Picture {
    pub luma: GrayImage,
    pub glasses: Vec<TrueGlass>,
}

impl Scene {
    /// An invented lubricator with `count` glasses.
    pub fn invented(seed: u64, light: Light, shape: Shape, count: usize, size: (u32, u32)) -> Self {
        let tubes = shape == Shape::Tubes;
        let mut d = Dice(seed.wrapping_mul(7919) ^ 0xBEAD);
        let (width, height) = size;
        let outer = d.between(7.0, 12.0);
        let bore = outer * d.between(0.68, 0.84);
        let visible = outer * d.between(3.4, 8.5);
        let fitting = outer * d.between(1.12, 1.45);
        let pitch_x = if tubes {
            fitting * d.between(2.4, 4.4)
        } else {
            outer * 1.4 * d.between(2.6, 4.0)
        };
        let mut scene = Self {
            tubes: Vec::new(),
            ports: Vec::new(),
            sheets: Vec::new(),
            pipes: Vec::new(),
            front: None,
            wall: Ink::Mottle,
            bolts: false,
            fall: (0.0, 0.0),
            shadow: None,
            hand: None,
            lamps: Vec::new(),
            sun: unit([d.between(-0.8, 0.8), d.between(-1.0, -0.2), -1.0]),
            sun_power: 0.5,
            ambient: d.between(0.08, 0.2),
            plate: d.between(0.05, 0.35),
            width,
            height,
            focal: 0.0,
            distance: d.between(160.0, 600.0).max(visible * 2.5),
            roll: 0.0,
            turn: 0.0,
            pitch: 0.0,
            aim: [
                d.between(-0.1, 0.1) * visible,
                d.between(-0.12, 0.12) * visible,
                0.0,
            ],
            gain: d.between(150.0, 235.0),
            contrast: 1.0,
            blur: d.between(0.4, 1.1) as f32,
            noise: d.between(0.3, 1.5),
            jpeg: d.whole(40, 90) as u8,
            seed,
        };
        let middle = (count as f64 - 1.0) / 2.0;
        let metal = d.between(0.3, 0.9);
        let nozzle = outer * d.between(0.12, 0.24);
        let nozzle_height = visible * d.between(0.06, 0.16);
        let span;
        if tubes {
            for i in 0..count {
                scene.tubes.push(Tube {
                    x: (i as f64 - middle) * pitch_x,
                    bore,
                    outer,
                    top: -visible / 2.0,
                    bottom: visible / 2.0,
                    fitting,
                    fitting_height: outer * d.between(0.6, 0.9),
                    nut: if d.chance(0.5) { outer * 0.5 } else { 0.0 },
                    nozzle,
                    nozzle_height,
                    cone: 1.0,
                    facets: false,
                    rising: Vec::new(),
                    bead: if d.chance(0.8) {
                        nozzle * d.between(0.7, 1.4)
                    } else {
                        0.0
                    },
                    free_bead: d.chance(0.3).then(|| d.between(-0.3, 0.3) * visible),
                    metal,
                });
            }
            span = visible + 4.0 * outer;
            // Beams above and below.
            if d.chance(0.7) {
                let albedo = d.between(0.05, 0.4);
                let z = d.between(-0.5, 3.0) * outer;
                for side in [-1.0, 1.0] {
                    let near = visible / 2.0 + outer * d.between(0.7, 1.5);
                    let y = if side < 0.0 {
                        [-400.0, -near]
                    } else {
                        [near, 400.0]
                    };
                    scene.sheets.push(Sheet {
                        x: [-900.0, 900.0],
                        y,
                        z,
                        albedo,
                        glow: 0.0,
                        slope: 0.0,
                        ink: Ink::Plain,
                    });
                }
            }
        } else {
            let radius = outer * 1.3;
            let bezel = radius * d.between(1.15, 1.5);
            for i in 0..count {
                scene.ports.push(Port {
                    x: (i as f64 - middle) * pitch_x,
                    y: 0.0,
                    radius,
                    bezel,
                    step: radius * d.between(0.1, 0.5),
                    depth: radius * d.between(0.8, 2.0),
                    back: radius * d.between(0.9, 1.1),
                    nozzle: radius * d.between(0.07, 0.14),
                    nozzle_height: radius * d.between(0.3, 0.6),
                    rising: Vec::new(),
                    bead: if d.chance(0.8) {
                        radius * d.between(0.08, 0.16)
                    } else {
                        0.0
                    },
                    glow: match light {
                        Light::Backlit => d.between(0.6, 1.0),
                        Light::Card | Light::Front => 0.0,
                    },
                });
            }
            span = 4.0 * bezel;
            scene.plate = d.between(0.08, 0.5);
        }
        // Light.
        match light {
            Light::Backlit => {
                scene.sun_power = d.between(0.05, 0.35);
                if tubes {
                    let glow = d.between(0.75, 1.05);
                    if d.chance(0.4) {
                        scene.sheets.push(Sheet {
                            x: [-pitch_x * (middle + 0.8), pitch_x * (middle + 0.8)],
                            y: [-visible * 0.75, visible * 0.75],
                            z: outer * 5.0,
                            albedo: 0.5,
                            glow,
                            slope: d.between(-0.1, 0.1) / visible,
                            ink: Ink::Plain,
                        });
                    } else {
                        let half = outer * d.between(1.1, 1.8);
                        for i in 0..count {
                            let x = (i as f64 - middle) * pitch_x;
                            scene.sheets.push(Sheet {
                                x: [x - half, x + half],
                                y: [-visible * 0.6, visible * 0.6],
                                z: outer * d.between(2.0, 3.5),
                                albedo: 0.5,
                                glow,
                                slope: 0.0,
                                ink: Ink::Plain,
                            });
                        }
                    }
                }
            }
            Light::Card => {
                scene.sun_power = d.between(0.5, 0.9);
                let shift = d.between(-1.2, 1.2) * outer;
                let half = outer * d.between(0.9, 1.9);
                for i in 0..count {
                    let x = (i as f64 - middle) * pitch_x + shift;
                    scene.sheets.push(Sheet {
                        x: [x - half, x + half],
                        y: [-visible * 0.55, visible * 0.55],
                        z: outer * d.between(1.6, 2.6),
                        albedo: d.between(0.6, 0.9),
                        glow: 0.0,
                        slope: d.between(-0.3, 0.3) / visible,
                        ink: Ink::Plain,
                    });
                }
                scene.lamps.push(Lamp {
                    azimuth: d.between(-1.2, 1.2),
                    spread: d.between(0.1, 0.3),
                    power: d.between(0.6, 1.6),
                });
            }
            Light::Front => {
                scene.sun_power = d.between(0.5, 1.0);
                scene.plate = if tubes {
                    d.between(0.02, 0.12)
                } else {
                    scene.plate
                };
                for _ in 0..d.whole(1, 2) {
                    scene.lamps.push(Lamp {
                        azimuth: d.between(-1.2, 1.2),
                        spread: d.between(0.08, 0.4),
                        power: d.between(0.8, 2.5),
                    });
                }
            }
        }
        // Frame it: as large as it fits, or somewhat smaller.
        let across = pitch_x * (count as f64 - 1.0) + 4.0 * outer;
        let zoom =
            (f64::from(width) / across).min(f64::from(height) / span) * d.between(0.55, 0.93);
        scene.focal = zoom * scene.distance;
        scene
    }

    pub fn rolled(mut self, roll_deg: f64, turn_deg: f64, pitch_deg: f64) -> Self {
        self.roll = roll_deg.to_radians();
        self.turn = turn_deg.to_radians();
        self.pitch = pitch_deg.to_radians();
        self
    }

    pub fn faded(mut self, contrast: f64, noise: f64) -> Self {
        self.contrast = contrast;
        self.noise = noise;
        self
    }

    /// Glass width in pixels when it stands in the middle of the picture.
    pub fn glass_px(&self) -> f64 {
        let size = self
            .tubes
            .first()
            .map(|t| t.outer)
            .or_else(|| self.ports.first().map(|p| p.radius))
            .unwrap_or(0.0);
        2.0 * size * self.focal / self.distance
    }

    /// Moves the camera's zoom so that a glass is this wide, pixels.
    pub fn with_glass_px(mut self, width: f64) -> Self {
        self.focal *= width / self.glass_px();
        self
    }

    fn camera(&self) -> (V, V, V, V) {
        let (st, ct) = self.turn.sin_cos();
        let (sp, cp) = self.pitch.sin_cos();
        let forward = [st * cp, sp, ct * cp];
        let position = add(self.aim, scale(forward, -self.distance));
        let right = unit(cross([0.0, 1.0, 0.0], forward));
        let down = cross(forward, right);
        let (sr, cr) = self.roll.sin_cos();
        // A camera rolled anticlockwise shows the world turned clockwise.
        let r = add(scale(right, cr), scale(down, -sr));
        let dn = add(scale(right, sr), scale(down, cr));
        (position, r, dn, forward)
    }

    fn project(&self, p: V) -> (f64, f64) {
        let (position, right, down, forward) = self.camera();
        let v = add(p, scale(position, -1.0));
        let k = self.focal / dot(v, forward);
        (
            f64::from(self.width) / 2.0 + k * dot(v, right),
            f64::from(self.height) / 2.0 + k * dot(v, down),
        )
    }

    /// Where a bead on its way may show: middle and reach, pixels.
    fn rising(&self) -> Vec<(f64, f64, f64)> {
        let scale = self.focal / self.distance * 1.15;
        let of_tubes = self.tubes.iter().flat_map(|t| {
            t.rising
                .iter()
                .map(|&(y, r)| (self.project([t.x, y, 0.0]), (1.1 * t.outer).max(2.0 * r)))
        });
        let of_ports = self.ports.iter().flat_map(|p| {
            let z = p.step + p.depth / 2.0;
            p.rising.iter().map(move |&(y, r)| {
                (
                    self.project([p.x, y, z]),
                    // Water lifts what lies behind the window.
                    0.5 * p.radius + 2.0 * r,
                )
            })
        });
        of_tubes
            .chain(of_ports)
            .map(|((x, y), reach)| (x, y, reach * scale + 2.0))
            .collect()
    }

    pub fn truth(&self) -> Vec<TrueGlass> {
        let box_of = |tube: bool, left: V, right: V, top: V, bottom: V| {
            let (l, r) = (self.project(left), self.project(right));
            let (t, b) = (self.project(top), self.project(bottom));
            TrueGlass {
                tube,
                x: f64::midpoint(t.0, b.0),
                y: f64::midpoint(t.1, b.1),
                width: (r.0 - l.0).hypot(r.1 - l.1),
                height: (b.0 - t.0).hypot(b.1 - t.1),
                angle_deg: (-(b.0 - t.0)).atan2(b.1 - t.1).to_degrees(),
            }
        };
        let (_, right, _, forward) = self.camera();
        let side = unit(cross([0.0, 1.0, 0.0], forward));
        let _ = right;
        self.tubes
            .iter()
            .map(|t| {
                let middle = f64::midpoint(t.top, t.bottom);
                let edge = |k: f64| add([t.x, middle, 0.0], scale(side, k * t.outer));
                box_of(
                    true,
                    edge(-1.0),
                    edge(1.0),
                    [t.x, t.top, 0.0],
                    [t.x, t.bottom, 0.0],
                )
            })
            .chain(self.ports.iter().map(|p| {
                box_of(
                    false,
                    [p.x - p.radius, p.y, p.step + p.depth / 2.0],
                    [p.x + p.radius, p.y, p.step + p.depth / 2.0],
                    [p.x, p.y - p.radius, p.step + p.depth / 2.0],
                    [p.x, p.y + p.radius, p.step + p.depth / 2.0],
                )
            }))
            .collect()
    }
}

/// Draws a scene.
pub fn draw(scene: &Scene) -> Picture {
    let (w, h) = (scene.width as usize, scene.height as usize);
    let mut light = vec![0.0_f32; w * h];
    scene.expose(&mut light, [0, 0, w, h]);
    Picture {
        luma: develop(light, w, h, scene, 0),
        glasses: scene.truth(),
    }
}

impl Scene {
    /// Traces a part (left, top, right, bottom) of the picture.
    fn expose(&self, light: &mut [f32], part: [usize; 4]) {
        let (position, right, down, forward) = self.camera();
        let (w, h) = (self.width as usize, self.height as usize);
        for y in part[1]..part[3].min(h) {
            for x in part[0]..part[2].min(w) {
                let mut sum = 0.0;
                for (sx, sy) in [(0.25, 0.25), (0.75, 0.75)] {
                    let u = (x as f64 + sx - w as f64 / 2.0) / self.focal;
                    let v = (y as f64 + sy - h as f64 / 2.0) / self.focal;
                    let d = unit(add(forward, add(scale(right, u), scale(down, v))));
                    sum += self.trace(position, d, None, 0);
                }
                light[y * w + x] = (sum / 2.0) as f32;
            }
        }
    }
}

/// A scene in which beads rise: only the glasses are drawn anew for each frame.
pub struct Film {
    scene: Scene,
    light: Vec<f32>,
    frame: u64,
}

impl Film {
    pub fn new(mut scene: Scene) -> Self {
        let (w, h) = (scene.width as usize, scene.height as usize);
        let mut light = vec![0.0_f32; w * h];
        scene.rise(-1.0, 1.0);
        scene.expose(&mut light, [0, 0, w, h]);
        Self {
            scene,
            light,
            frame: 0,
        }
    }

    pub fn truth(&self) -> Vec<TrueGlass> {
        self.scene.truth()
    }

    /// The picture at a time: each glass gives `per_minute` beads a minute, one after another.
    pub fn frame(&mut self, at_secs: f64, per_minute: f64) -> GrayImage {
        self.scene.rise(at_secs, per_minute);
        let mut light = self.light.clone();
        for (x, y, reach) in self.scene.rising() {
            let low = |v: f64| v.max(0.0) as usize;
            let part = [
                low(x - reach),
                low(y - reach),
                low(x + reach),
                low(y + reach),
            ];
            self.scene.expose(&mut light, part);
        }
        self.frame += 1;
        develop(
            light,
            self.scene.width as usize,
            self.scene.height as usize,
            &self.scene,
            self.frame,
        )
    }
}

fn develop(mut light: Vec<f32>, w: usize, h: usize, scene: &Scene, frame: u64) -> GrayImage {
    let mut dice = Dice(scene.seed ^ 0x5EED ^ (frame << 20));
    scene.dim(&mut light);
    let plane: image::ImageBuffer<image::Luma<f32>, Vec<f32>> =
        image::ImageBuffer::from_vec(w as u32, h as u32, light).unwrap();
    let soft = imageproc::filter::gaussian_blur_f32(&plane, scene.blur);
    let mut out = GrayImage::new(w as u32, h as u32);
    for (pixel, value) in out.iter_mut().zip(soft.iter()) {
        // A little like a camera's curve.
        let bright = scene.gain * f64::from(value.clamp(0.0, 1.3)).powf(0.75);
        let faded = 90.0 + (bright - 90.0) * scene.contrast;
        *pixel = (faded + scene.noise * dice.grain())
            .round()
            .clamp(0.0, 255.0) as u8;
    }
    coded(&out, scene.jpeg)
}

/// Through a JPEG coder and back, for its blocks.
pub fn coded(picture: &GrayImage, quality: u8) -> GrayImage {
    let mut bytes = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut bytes, quality)
        .encode_image(picture)
        .unwrap();
    image::load_from_memory(&bytes).unwrap().to_luma8()
}
