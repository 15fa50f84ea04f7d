//! Light through a round water-filled glass: the refractive index of water, Snell's law in space,
//! the way of a sight ray into the bore and out again at the back, and how wide things in the bore
//! look. Pure geometry; what the rays see at their end is left to the scene.
//!
//! Glass space: millimetres, x across to the right, y up along the axis, z towards the camera. A
//! sight ray comes from the camera along −z, `offset_mm` beside the axis.

use std::ops::{Add, Mul, Neg, Sub};

/// Refractive index of air, taken as 1.
const AIR: f64 = 1.0;
/// Refractive index of the glass wall: a common borosilicate tube at 589 nm.
pub const WALL_INDEX: f64 = 1.474;
/// Wavelength for which indices are taken, µm: the sodium line.
pub const SODIUM_UM: f64 = 0.589;

/// A point or a direction in glass space.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Vec3 {
    /// Across.
    pub x: f64,
    /// Up.
    pub y: f64,
    /// Towards the camera.
    pub z: f64,
}

/// Shorthand for a vector.
#[must_use]
pub const fn v3(x: f64, y: f64, z: f64) -> Vec3 {
    Vec3 { x, y, z }
}

impl Vec3 {
    /// Scalar product.
    #[must_use]
    pub fn dot(self, other: Self) -> f64 {
        self.x * other.x + self.y * other.y + self.z * other.z
    }

    /// The same direction with length 1 (a zero vector stays).
    #[must_use]
    pub fn unit(self) -> Self {
        let length = self.dot(self).sqrt();
        if length > 0.0 {
            self * (1.0 / length)
        } else {
            self
        }
    }
}

impl Add for Vec3 {
    type Output = Self;
    fn add(self, o: Self) -> Self {
        v3(self.x + o.x, self.y + o.y, self.z + o.z)
    }
}

impl Sub for Vec3 {
    type Output = Self;
    fn sub(self, o: Self) -> Self {
        v3(self.x - o.x, self.y - o.y, self.z - o.z)
    }
}

impl Mul<f64> for Vec3 {
    type Output = Self;
    fn mul(self, k: f64) -> Self {
        v3(self.x * k, self.y * k, self.z * k)
    }
}

impl Neg for Vec3 {
    type Output = Self;
    fn neg(self) -> Self {
        v3(-self.x, -self.y, -self.z)
    }
}

/// A ray: a point and a unit direction.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ray {
    /// A point on it.
    pub from: Vec3,
    /// Unit direction.
    pub along: Vec3,
}

impl Ray {
    /// The point at a distance.
    #[must_use]
    pub fn at(&self, distance: f64) -> Vec3 {
        self.from + self.along * distance
    }
}

/// Refractive index of water by IAPWS R9-97, from density (kg/m³), temperature (°C) and wavelength
/// (µm).
///
/// ```
/// let n = beadtally::capture::demo::optics::water_index(997.047_435, 25.0, 0.2265);
/// assert!((n - 1.392_778_24).abs() < 1e-8);
/// ```
#[must_use]
pub fn water_index(density_kg_per_m3: f64, temperature_c: f64, wavelength_um: f64) -> f64 {
    const A: [f64; 8] = [
        0.244_257_733,
        9.746_344_76e-3,
        -3.732_349_96e-3,
        2.686_784_72e-4,
        1.589_205_70e-3,
        2.459_342_59e-3,
        0.900_704_920,
        -1.666_262_19e-2,
    ];
    const ULTRAVIOLET: f64 = 0.229_202;
    const INFRARED: f64 = 5.432_937;
    let delta = density_kg_per_m3 / 1000.0;
    let theta = (temperature_c + 273.15) / 273.15;
    let square = (wavelength_um / 0.589).powi(2);
    let lorentz = delta
        * (A[0]
            + A[1] * delta
            + A[2] * theta
            + A[3] * square * theta
            + A[4] / square
            + A[5] / (square - ULTRAVIOLET * ULTRAVIOLET)
            + A[6] / (square - INFRARED * INFRARED)
            + A[7] * delta * delta);
    ((1.0 + 2.0 * lorentz) / (1.0 - lorentz)).sqrt()
}

/// Bends a unit direction at a surface. `normal` points against the ray; `ratio` is the index
/// before ÷ the index behind. `None` when all light is thrown back.
#[must_use]
pub fn refract(along: Vec3, normal: Vec3, ratio: f64) -> Option<Vec3> {
    let cos = -along.dot(normal);
    let sin2 = ratio * ratio * (1.0 - cos * cos);
    if sin2 > 1.0 {
        return None;
    }
    Some(along * ratio + normal * (ratio * cos - (1.0 - sin2).sqrt()))
}

/// Mirrors a unit direction at a surface.
#[must_use]
pub fn reflect(along: Vec3, normal: Vec3) -> Vec3 {
    along - normal * (2.0 * along.dot(normal))
}

/// Share of unpolarised light thrown back at a surface between two clear bodies (Fresnel), from
/// the cosine of incidence and the ratio of indices before ÷ behind.
///
/// ```
/// // Air to glass, straight on: ((n - 1)/(n + 1))².
/// let share = beadtally::capture::demo::optics::thrown_back(1.0, 1.0 / 1.474);
/// assert!((share - 0.036_71).abs() < 1e-5);
/// ```
#[must_use]
pub fn thrown_back(cos: f64, ratio: f64) -> f64 {
    let cos = cos.clamp(0.0, 1.0);
    let sin2 = ratio * ratio * (1.0 - cos * cos);
    if sin2 >= 1.0 {
        return 1.0;
    }
    let behind = (1.0 - sin2).sqrt();
    let across = (ratio * cos - behind) / (ratio * cos + behind);
    let within = (cos - ratio * behind) / (cos + ratio * behind);
    0.5 * (across * across + within * within)
}

/// A straight round tube full of liquid, in air.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tube {
    /// Radius of the bore, mm.
    pub bore_radius_mm: f64,
    /// Outer radius of the wall, mm.
    pub outer_radius_mm: f64,
    /// Refractive index of the wall.
    pub wall_index: f64,
    /// Refractive index of the liquid.
    pub liquid_index: f64,
}

/// Where a sight ray ends up on its way in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Entry {
    /// It reaches the liquid: from here, in this direction.
    Liquid(Ray),
    /// It passes through the wall alone and leaves it: from here, in this direction.
    WallOnly(Ray),
    /// It misses the tube.
    Beside,
}

impl Tube {
    /// A sight ray along −z at height 0, followed into the liquid.
    #[must_use]
    pub fn enter(&self, offset_mm: f64) -> Entry {
        let b = self.outer_radius_mm;
        let start = v3(offset_mm, 0.0, 2.0 * b);
        let along = v3(0.0, 0.0, -1.0);
        let outer = Ray { from: start, along };
        let Some((near, _)) = cross_cylinder(&outer, b) else {
            return Entry::Beside;
        };
        let at = outer.at(near);
        let Some(bent) = refract(along, outward(at), AIR / self.wall_index) else {
            return Entry::Beside;
        };
        let wall = Ray {
            from: at,
            along: bent,
        };
        let into = cross_cylinder(&wall, self.bore_radius_mm).and_then(|(near, _)| {
            let at = wall.at(near);
            let bent = refract(bent, outward(at), self.wall_index / self.liquid_index)?;
            Some(Ray {
                from: at,
                along: bent,
            })
        });
        if let Some(ray) = into {
            return Entry::Liquid(ray);
        }
        match self.leave_wall(&wall) {
            Some(ray) => Entry::WallOnly(ray),
            None => Entry::Beside,
        }
    }

    /// Follows a ray in the liquid out through the wall. `None` when it is thrown back for good
    /// (it then sees the inside of the glass).
    #[must_use]
    pub fn leave(&self, ray: &Ray) -> Option<Ray> {
        let (_, far) = cross_cylinder(ray, self.bore_radius_mm)?;
        let at = ray.at(far);
        let bent = refract(ray.along, -outward(at), self.liquid_index / self.wall_index)?;
        self.leave_wall(&Ray {
            from: at,
            along: bent,
        })
    }

    fn leave_wall(&self, wall: &Ray) -> Option<Ray> {
        let (_, far) = cross_cylinder(wall, self.outer_radius_mm)?;
        let at = wall.at(far);
        let bent = refract(wall.along, -outward(at), self.wall_index / AIR)?;
        Some(Ray {
            from: at,
            along: bent,
        })
    }

    /// Share of the bore's radius that can be seen at all: min(1, b ÷ (n a)).
    #[must_use]
    pub fn visible_share(&self) -> f64 {
        (self.outer_radius_mm / (self.liquid_index * self.bore_radius_mm)).min(1.0)
    }

    /// Where in the axis plane (z = 0) the sight ray at `offset_mm` passes: the true place, mm, of
    /// what looks to be at `offset_mm`. `None` when the ray does not enter the liquid.
    #[must_use]
    pub fn true_from_apparent(&self, offset_mm: f64) -> Option<f64> {
        match self.enter(offset_mm) {
            Entry::Liquid(ray) if ray.along.z < -1e-9 => Some(ray.at(-ray.from.z / ray.along.z).x),
            _ => None,
        }
    }

    /// Where a point of the axis plane at `x_mm` is seen, by halving. `None` beyond what can be
    /// seen.
    #[must_use]
    pub fn apparent_from_true(&self, x_mm: f64) -> Option<f64> {
        let wanted = x_mm.abs();
        let (mut low, mut high) = (0.0, self.outer_radius_mm * (1.0 - 1e-9));
        if self.true_from_apparent(high).is_none_or(|x| x < wanted) {
            return None;
        }
        for _ in 0..60 {
            let middle = 0.5 * (low + high);
            if self.true_from_apparent(middle)? < wanted {
                low = middle;
            } else {
                high = middle;
            }
        }
        Some((0.5 * (low + high)).copysign(x_mm))
    }

    /// Left and right edge, as seen, of a sphere in the liquid with its centre at `x_mm`, `z_mm`.
    /// `None` when its middle cannot be seen.
    #[must_use]
    pub fn sphere_edges(&self, x_mm: f64, z_mm: f64, radius_mm: f64) -> Option<(f64, f64)> {
        // Signed distance of the centre from the ray: falls as the ray moves right.
        let beside = |offset: f64| match self.enter(offset) {
            Entry::Liquid(ray) => {
                let (dx, dz) = (x_mm - ray.from.x, z_mm - ray.from.z);
                Some(dz * ray.along.x - dx * ray.along.z)
            }
            _ => None,
        };
        let limit = self.outer_radius_mm * (1.0 - 1e-9);
        let edge = |wanted: f64| {
            let (mut low, mut high) = (-limit, limit);
            for _ in 0..60 {
                let middle = 0.5 * (low + high);
                if beside(middle)? > wanted {
                    low = middle;
                } else {
                    high = middle;
                }
            }
            Some(0.5 * (low + high))
        };
        Some((edge(radius_mm)?, edge(-radius_mm)?))
    }
}

/// Outward unit normal of a cylinder about the y axis.
#[must_use]
pub fn outward(at: Vec3) -> Vec3 {
    let length = at.x.hypot(at.z).max(1e-12);
    v3(at.x / length, 0.0, at.z / length)
}

/// Distances along a ray at which it enters and leaves a cylinder about the y axis.
#[must_use]
pub fn cross_cylinder(ray: &Ray, radius_mm: f64) -> Option<(f64, f64)> {
    let a = ray.along.x * ray.along.x + ray.along.z * ray.along.z;
    if a < 1e-12 {
        return None;
    }
    let b = ray.from.x * ray.along.x + ray.from.z * ray.along.z;
    let c = ray.from.x * ray.from.x + ray.from.z * ray.from.z - radius_mm * radius_mm;
    let root = b * b - a * c;
    if root < 0.0 {
        return None;
    }
    let root = root.sqrt();
    Some(((-b - root) / a, (-b + root) / a))
}

/// A bead's body: an ellipsoid of revolution about the vertical.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Body {
    /// Centre, mm.
    pub centre: Vec3,
    /// Half the width, mm.
    pub half_width_mm: f64,
    /// Half the height, mm.
    pub half_height_mm: f64,
    /// Refractive index inside.
    pub index: f64,
}

/// What a ray met at a bead.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Passage {
    /// Where it struck, and the outward normal there.
    pub struck: Vec3,
    /// Outward unit normal where it struck.
    pub normal: Vec3,
    /// Cosine of incidence.
    pub cos: f64,
    /// Share thrown back at the surface.
    pub thrown_back: f64,
    /// Way through the inside, mm.
    pub inside_mm: f64,
    /// The ray behind the bead; `None` when all light is thrown back.
    pub behind: Option<Ray>,
}

impl Body {
    /// Distances at which a ray enters and leaves the body.
    #[must_use]
    pub fn cross(&self, ray: &Ray) -> Option<(f64, f64)> {
        let stretch = self.half_width_mm / self.half_height_mm;
        let from = ray.from - self.centre;
        let (fy, ay) = (from.y * stretch, ray.along.y * stretch);
        let a = ray.along.x * ray.along.x + ay * ay + ray.along.z * ray.along.z;
        let b = from.x * ray.along.x + fy * ay + from.z * ray.along.z;
        let c =
            from.x * from.x + fy * fy + from.z * from.z - self.half_width_mm * self.half_width_mm;
        let root = b * b - a * c;
        if root <= 0.0 {
            return None;
        }
        let root = root.sqrt();
        Some(((-b - root) / a, (-b + root) / a))
    }

    fn normal(&self, at: Vec3) -> Vec3 {
        let stretch = self.half_width_mm / self.half_height_mm;
        let from = at - self.centre;
        v3(from.x, from.y * stretch * stretch, from.z).unit()
    }

    /// Follows a ray in a liquid of index `liquid` through the body. `None` when it misses.
    #[must_use]
    pub fn pass(&self, ray: &Ray, liquid: f64) -> Option<Passage> {
        let (near, _) = self.cross(ray)?;
        let struck = ray.at(near);
        let normal = self.normal(struck);
        let cos = -ray.along.dot(normal);
        let ratio = liquid / self.index;
        let share = thrown_back(cos, ratio);
        let mut passage = Passage {
            struck,
            normal,
            cos,
            thrown_back: share,
            inside_mm: 0.0,
            behind: None,
        };
        let Some(bent) = refract(ray.along, normal, ratio) else {
            return Some(passage);
        };
        let inside = Ray {
            from: struck,
            along: bent,
        };
        let Some((_, far)) = self.cross(&inside) else {
            return Some(passage);
        };
        let out = inside.at(far);
        passage.inside_mm = far.max(0.0);
        passage.behind =
            refract(bent, -self.normal(out), 1.0 / ratio).map(|along| Ray { from: out, along });
        Some(passage)
    }
}
