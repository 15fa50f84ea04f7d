//! The ray tracer: refraction by round water-filled glass and by flat windows, metal and dull
//! surfaces. Millimetres; x to the right, y down, z away from the camera.

use super::{Port, Scene};

pub type V = [f64; 3];

pub fn add(a: V, b: V) -> V {
    [a[0] + b[0], a[1] + b[1], a[2] + b[2]]
}
pub fn scale(a: V, k: f64) -> V {
    [a[0] * k, a[1] * k, a[2] * k]
}
pub fn dot(a: V, b: V) -> f64 {
    a[0] * b[0] + a[1] * b[1] + a[2] * b[2]
}
pub fn cross(a: V, b: V) -> V {
    [
        a[1] * b[2] - a[2] * b[1],
        a[2] * b[0] - a[0] * b[2],
        a[0] * b[1] - a[1] * b[0],
    ]
}
pub fn unit(a: V) -> V {
    scale(a, 1.0 / dot(a, a).sqrt())
}

/// Snell's law; `normal` points against the ray. None: total reflection.
pub fn refract(d: V, normal: V, from: f64, to: f64) -> Option<V> {
    let eta = from / to;
    let cos = -dot(d, normal);
    let k = 1.0 - eta * eta * (1.0 - cos * cos);
    (k >= 0.0).then(|| unit(add(scale(d, eta), scale(normal, eta * cos - k.sqrt()))))
}
pub fn reflect(d: V, normal: V) -> V {
    add(d, scale(normal, -2.0 * dot(d, normal)))
}

const N_GLASS: f64 = 1.474;
const N_WATER: f64 = 1.333;
const N_OIL: f64 = 1.48;
const TINY: f64 = 1e-6;

impl Scene {
    /// Soft light from a direction, as reflections see it.
    fn lamps_from(&self, d: V, softness: f64) -> f64 {
        let azimuth = d[0].atan2(-d[2]);
        let mut sum = self.ambient;
        for lamp in &self.lamps {
            let spread = lamp.spread + softness;
            let off = (azimuth - lamp.azimuth) / spread;
            sum += lamp.power * lamp.spread / spread
                * (-0.5 * off * off).exp()
                * (1.0 - d[1] * d[1]).max(0.0);
        }
        sum
    }

    pub(super) fn dull(&self, albedo: f64, normal: V) -> f64 {
        albedo * (self.ambient + self.sun_power * dot(normal, self.sun).max(0.0))
    }

    pub(super) fn metal(&self, shine: f64, normal: V, d: V) -> f64 {
        let mirrored = reflect(d, normal);
        0.35 * self.dull(0.8, normal) + shine * 0.6 * self.lamps_from(mirrored, 0.35)
    }

    /// Nearest crossing of an upright cylinder's wall beyond `TINY`.
    fn wall(o: V, d: V, x: f64, z: f64, r: f64) -> [Option<f64>; 2] {
        let (ox, oz) = (o[0] - x, o[2] - z);
        let a = d[0] * d[0] + d[2] * d[2];
        if a < 1e-12 {
            return [None, None];
        }
        let b = ox * d[0] + oz * d[2];
        let c = ox * ox + oz * oz - r * r;
        let k = b * b - a * c;
        if k < 0.0 {
            return [None, None];
        }
        let k = k.sqrt();
        let pick = |t: f64| (t > TINY).then_some(t);
        [pick((-b - k) / a), pick((-b + k) / a)]
    }

    fn at(o: V, d: V, t: f64) -> V {
        add(o, scale(d, t))
    }

    pub(super) fn trace(&self, o: V, d: V, skip: Option<usize>, depth: u8) -> f64 {
        let mut best = f64::INFINITY;
        let mut shade = 0.02;
        // Far wall.
        let wall_z = 14.0 * 10.0;
        if self.ports.is_empty() && d[2] > 0.0 {
            let t = (wall_z - o[2]) / d[2];
            if t > TINY && t < best {
                best = t;
                let p = Self::at(o, d, t);
                shade = self.dull(self.plate * self.wall.at(p[0], p[1]), [0.0, 0.0, -1.0]);
            }
        }
        for s in &self.sheets {
            if d[2].abs() < 1e-9 {
                continue;
            }
            let t = (s.z - o[2]) / d[2];
            if t <= TINY || t >= best {
                continue;
            }
            let p = Self::at(o, d, t);
            if p[0] >= s.x[0] && p[0] <= s.x[1] && p[1] >= s.y[0] && p[1] <= s.y[1] {
                best = t;
                let ink = s.ink.at(p[0] - s.x[0], p[1] - s.y[0]);
                let lit = self.dull(s.albedo, [0.0, 0.0, -1.0]);
                shade = ink * (s.glow + (1.0 + s.slope * p[1]) * lit);
            }
        }
        if let Some((t, seen)) = self.pipes_hit(o, d, best) {
            best = t;
            shade = seen;
        }
        for t in &self.tubes {
            for (low, high, radius) in [
                (t.top - t.fitting_height, t.top, t.fitting),
                (t.bottom, t.bottom + t.fitting_height, t.fitting),
                (t.top - t.fitting_height - t.nut, t.top, t.fitting * 0.55),
                (
                    t.bottom,
                    t.bottom + t.fitting_height + t.nut,
                    t.fitting * 0.55,
                ),
            ] {
                if let [Some(k), _] = Self::wall(o, d, t.x, 0.0, radius)
                    && k < best
                {
                    let p = Self::at(o, d, k);
                    if p[1] >= low && p[1] <= high {
                        best = k;
                        let mut n = [(p[0] - t.x) / radius, 0.0, p[2] / radius];
                        if t.facets {
                            let flat = std::f64::consts::FRAC_PI_3;
                            let turn = (n[0].atan2(-n[2]) / flat).round() * flat;
                            n = [turn.sin(), 0.0, -turn.cos()];
                        }
                        shade = self.metal(t.metal, n, d);
                    }
                }
                for (y, n) in [(low, [0.0, -1.0, 0.0]), (high, [0.0, 1.0, 0.0])] {
                    if dot(d, n) < -1e-9 {
                        let k = (y - o[1]) / d[1];
                        if k > TINY && k < best {
                            let p = Self::at(o, d, k);
                            if (p[0] - t.x).hypot(p[2]) <= radius {
                                best = k;
                                shade = self.metal(t.metal * 0.7, n, d);
                            }
                        }
                    }
                }
            }
        }
        let mut glass: Option<usize> = None;
        for (index, t) in self.tubes.iter().enumerate() {
            if skip == Some(index) {
                continue;
            }
            if let [Some(k), _] = Self::wall(o, d, t.x, 0.0, t.outer)
                && k < best
            {
                let y = o[1] + k * d[1];
                if y > t.top && y < t.bottom {
                    best = k;
                    glass = Some(index);
                }
            }
        }
        if depth == 0
            && let Some((t, seen)) = self.front_hit(o, d)
            && t < best
        {
            return seen;
        }
        if let Some(index) = glass {
            return if depth > 3 {
                0.1
            } else {
                self.through(index, Self::at(o, d, best), d, depth)
            };
        }
        if !self.ports.is_empty() {
            return self.plate_with_ports(o, d);
        }
        shade
    }

    /// Into a tube at a point of its outer wall.
    fn through(&self, index: usize, at: V, d: V, depth: u8) -> f64 {
        let t = &self.tubes[index];
        let radial = |p: V, r: f64| [(p[0] - t.x) / r, 0.0, p[2] / r];
        let n = radial(at, t.outer);
        let cos = -dot(d, n);
        let mirror = 0.037 + 0.963 * (1.0 - cos.clamp(0.0, 1.0)).powi(5);
        let shine = self.lamps_from(reflect(d, n), 0.0);
        let Some(mut dir) = refract(d, n, 1.0, N_GLASS) else {
            return shine;
        };
        let mut p = at;
        let mut in_water = false;
        let mut left = 1.0 - mirror;
        let mut body = 0.0;
        let inside = 'walk: {
            for _ in 0..14 {
                // The fittings' faces end the glass.
                let cap = if dir[1] > 1e-9 {
                    (t.bottom - p[1]) / dir[1]
                } else if dir[1] < -1e-9 {
                    (t.top - p[1]) / dir[1]
                } else {
                    f64::INFINITY
                };
                if in_water {
                    let wall = Self::wall(p, dir, t.x, 0.0, t.bore)[1].unwrap_or(f64::INFINITY);
                    let mut k = wall.min(cap);
                    let mut hit = 0;
                    // Nozzle.
                    if let [Some(q), _] = Self::wall(p, dir, t.x, 0.0, t.nozzle) {
                        let y = p[1] + q * dir[1];
                        let up = (t.bottom - y) / t.nozzle_height;
                        // A cone is a cylinder that lets pass what goes by its thinner part.
                        let near = (p[0] + q * dir[0] - t.x + dir[0] * t.nozzle).abs() / t.nozzle;
                        if q < k && up < 1.0 && near < 1.0 + (t.cone - 1.0) * up {
                            k = q;
                            hit = 1;
                        }
                    }
                    let mut ball = None;
                    for (y, r) in [
                        Some((t.bottom - t.nozzle_height - 0.8 * t.bead, t.bead)),
                        t.free_bead.map(|y| (y, t.nozzle * 1.2)),
                    ]
                    .into_iter()
                    .flatten()
                    .chain(t.rising.iter().copied())
                    {
                        let c = [p[0] - t.x, p[1] - y, p[2]];
                        let b = dot(c, dir);
                        let q = b * b - dot(c, c) + r * r;
                        if q > 0.0 {
                            let near = -b - q.sqrt();
                            if near > TINY && near < k {
                                k = near;
                                hit = 2;
                                ball = Some((y, r));
                            }
                        }
                    }
                    if k == f64::INFINITY {
                        break 'walk 0.05;
                    }
                    p = Self::at(p, dir, k);
                    if hit == 1 {
                        let n = radial(p, t.nozzle);
                        break 'walk self.metal(t.metal, n, dir) * 0.9;
                    }
                    if let Some((y, r)) = ball {
                        let centre = [t.x, y, 0.0];
                        let n = scale(add(p, scale(centre, -1.0)), 1.0 / r);
                        // Oil has a body of its own under a lamp, and a bright spot.
                        let spot = unit(add(self.sun, [0.0, 0.0, -1.0]));
                        body += left
                            * (0.5 * self.dull(0.5, n)
                                + 0.5 * self.sun_power * dot(n, spot).max(0.0).powi(40));
                        left *= 0.75;
                        if let Some(inner) = refract(dir, n, N_WATER, N_OIL) {
                            let c = add(p, scale(centre, -1.0));
                            let far = -2.0 * dot(c, inner);
                            p = Self::at(p, inner, far);
                            let n = scale(add(p, scale(centre, -1.0)), -1.0 / r);
                            dir = refract(inner, n, N_OIL, N_WATER).unwrap_or(inner);
                        }
                        continue;
                    }
                    if k == cap {
                        break 'walk self.metal(t.metal * 0.5, [0.0, -dir[1].signum(), 0.0], dir);
                    }
                    let n = scale(radial(p, t.bore), -1.0);
                    match refract(dir, n, N_WATER, N_GLASS) {
                        Some(next) => {
                            dir = next;
                            in_water = false;
                        }
                        None => dir = reflect(dir, n),
                    }
                } else {
                    let inner = Self::wall(p, dir, t.x, 0.0, t.bore)[0].unwrap_or(f64::INFINITY);
                    let outer = Self::wall(p, dir, t.x, 0.0, t.outer)[1].unwrap_or(f64::INFINITY);
                    let k = inner.min(outer).min(cap);
                    if k == f64::INFINITY {
                        break 'walk 0.05;
                    }
                    p = Self::at(p, dir, k);
                    if k == cap {
                        break 'walk self.metal(t.metal * 0.4, [0.0, -dir[1].signum(), 0.0], dir);
                    }
                    if inner < outer {
                        let n = radial(p, t.bore);
                        match refract(dir, n, N_GLASS, N_WATER) {
                            Some(next) => {
                                dir = next;
                                in_water = true;
                            }
                            None => dir = reflect(dir, n),
                        }
                    } else {
                        let n = scale(radial(p, t.outer), -1.0);
                        match refract(dir, n, N_GLASS, 1.0) {
                            Some(out) => {
                                break 'walk self.trace(p, out, Some(index), depth + 1);
                            }
                            None => dir = reflect(dir, n),
                        }
                    }
                }
            }
            0.05
        };
        mirror * shine + body + left * 0.97 * inside
    }

    /// A plate at z = 0 with round ports in it.
    fn plate_with_ports(&self, o: V, d: V) -> f64 {
        if d[2] < 1e-6 {
            return 0.05;
        }
        let p = Self::at(o, d, -o[2] / d[2]);
        let Some(port) = self
            .ports
            .iter()
            .find(|q| (p[0] - q.x).hypot(p[1] - q.y) < q.bezel)
        else {
            // Two horizontal steps of the casting.
            let edge = self.ports[0].bezel * 1.7;
            let shade = self.dull(self.plate, [0.0, 0.0, -1.0]);
            let shade = shade * self.wall.at(p[0], p[1]) * self.bolts_at(p[0], p[1]);
            return if p[1].abs() > edge {
                shade * 1.3
            } else {
                shade
            };
        };
        // Counterbore: its wall, then its floor with the window in it.
        let tube_wall = |from: V, dir: V, radius: f64| {
            let (x, y) = (from[0] - port.x, from[1] - port.y);
            let a = dir[0] * dir[0] + dir[1] * dir[1];
            if a < 1e-12 {
                return f64::INFINITY;
            }
            let b = x * dir[0] + y * dir[1];
            let c = x * x + y * y - radius * radius;
            let k = b * b - a * c;
            if k < 0.0 {
                f64::INFINITY
            } else {
                (-b + k.sqrt()) / a
            }
        };
        let floor = port.step / d[2];
        let wall = tube_wall(p, d, port.bezel);
        if wall < floor {
            let q = Self::at(p, d, wall);
            let n = [
                (port.x - q[0]) / port.bezel,
                (port.y - q[1]) / port.bezel,
                0.0,
            ];
            return self.metal(0.3, n, d);
        }
        let q = Self::at(p, d, floor);
        if (q[0] - port.x).hypot(q[1] - port.y) > port.radius {
            return self.dull(self.plate * 0.6, [0.0, 0.0, -1.0]);
        }
        // A flat window, water behind it.
        let shine = 0.04 * self.lamps_from(reflect(d, [0.0, 0.0, -1.0]), 0.0);
        let Some(w) = refract(d, [0.0, 0.0, -1.0], 1.0, N_WATER) else {
            return shine;
        };
        let far = port.depth / w[2];
        let side = tube_wall(q, w, port.radius);
        let nozzle_z = port.step + port.depth / 2.0;
        let top = port.y + port.radius - port.nozzle_height;
        let mut k = far.min(side);
        let mut what = u8::from(side < far);
        if let [Some(t), _] = Self::wall(q, w, port.x, nozzle_z, port.nozzle) {
            let y = q[1] + t * w[1];
            if t < k && y > top {
                k = t;
                what = 2;
            }
        }
        let held = (port.bead > 0.0).then_some((top - 0.8 * port.bead, port.bead));
        for (y, radius) in held.into_iter().chain(port.rising.iter().copied()) {
            let c = [q[0] - port.x, q[1] - y, q[2] - nozzle_z];
            let b = dot(c, w);
            let s = b * b - dot(c, c) + radius * radius;
            if s > 0.0 && -b - s.sqrt() > 0.0 && -b - s.sqrt() < k {
                let rim = 1.0 - s / (radius * radius);
                let n = [0.0, c[1] / radius, -(1.0 - rim).max(0.0).sqrt()];
                return shine
                    + 0.5 * self.dull(0.5, n)
                    + self.behind(port, q, w, far) * (0.75 - 0.5 * rim * rim);
            }
        }
        let r = Self::at(q, w, k);
        shine
            + match what {
                0 => self.behind(port, q, w, far),
                1 => {
                    let n = [
                        (port.x - r[0]) / port.radius,
                        (port.y - r[1]) / port.radius,
                        0.0,
                    ];
                    0.5 * self.dull(0.4, n) + 0.25 * port.glow * (r[2] - port.step) / port.depth
                }
                _ => {
                    let n = [
                        (r[0] - port.x) / port.nozzle,
                        0.0,
                        (r[2] - nozzle_z) / port.nozzle,
                    ];
                    self.metal(0.7, n, w)
                }
            }
    }

    fn behind(&self, port: &Port, q: V, w: V, far: f64) -> f64 {
        let r = Self::at(q, w, far);
        let off = (r[0] - port.x).hypot(r[1] - port.y);
        if off < port.back {
            port.glow * (1.0 - 0.15 * (off / port.back).powi(2)) + self.dull(0.75, [0.0, 0.0, -1.0])
        } else {
            self.dull(0.3, [0.0, 0.0, -1.0]) + 0.3 * port.glow
        }
    }
}
