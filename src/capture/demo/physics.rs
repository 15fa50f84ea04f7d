//! How oil drops and gas bubbles rise through water: water's density and viscosity, terminal
//! speeds, the wall's effect, the start from rest, and the size of a drop at its nozzle. Pure
//! formulas with their sources; it draws nothing and knows no feed.

/// Standard gravity, m/s².
pub const GRAVITY_M_PER_S2: f64 = 9.806_65;

/// Water at one atmosphere (101 325 Pa) up to 95 °C, saturated above: (°C, density kg/m³, viscosity
/// Pa·s), from IAPWS-95 and IAPWS R12-08.
const WATER: [(f64, f64, f64); 16] = [
    (4.0, 999.9749, 1.567_292e-3),
    (10.0, 999.7025, 1.305_900e-3),
    (20.0, 998.2072, 1.001_596e-3),
    (25.0, 997.0476, 0.890_022e-3),
    (30.0, 995.6495, 0.797_222e-3),
    (40.0, 992.2164, 0.652_729e-3),
    (50.0, 988.0350, 0.546_516e-3),
    (60.0, 983.1958, 0.466_035e-3),
    (70.0, 977.7646, 0.403_548e-3),
    (80.0, 971.7904, 0.354_051e-3),
    (90.0, 965.3096, 0.314_175e-3),
    (95.0, 961.8879, 0.297_085e-3),
    (120.0, 943.1066, 0.232_034e-3),
    (150.0, 917.0077, 0.182_611e-3),
    (180.0, 886.9990, 0.150_381e-3),
    (200.0, 864.6581, 0.134_584e-3),
];

/// Water and the thing that rises in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pair {
    /// Density of the water, kg/m³.
    pub water_kg_per_m3: f64,
    /// Viscosity of the water, Pa·s.
    pub water_pa_s: f64,
    /// Density of the drop or bubble, kg/m³; less than the water's.
    pub inside_kg_per_m3: f64,
    /// Interfacial tension, N/m.
    pub tension_n_per_m: f64,
}

/// Density of gas in the bubbles, kg/m³: little enough not to matter.
const GAS_KG_PER_M3: f64 = 1.2;
/// Surface tension of water against gas, N/m, near 40 °C (IAPWS R1-76: 69.60 mN/m).
const GAS_TENSION_N_PER_M: f64 = 0.0696;

impl Pair {
    /// Oil in water at a temperature in °C.
    #[must_use]
    pub fn oil(temperature_c: f64, oil_kg_per_m3: f64, tension_n_per_m: f64) -> Self {
        let (water_kg_per_m3, water_pa_s) = water(temperature_c);
        Self {
            water_kg_per_m3,
            water_pa_s,
            inside_kg_per_m3: oil_kg_per_m3.min(water_kg_per_m3 - 1.0),
            tension_n_per_m,
        }
    }

    /// Gas in water at a temperature in °C.
    #[must_use]
    pub fn gas(temperature_c: f64) -> Self {
        Self::oil(temperature_c, GAS_KG_PER_M3, GAS_TENSION_N_PER_M)
    }

    /// Water's density less the density inside, kg/m³ (> 0).
    #[must_use]
    pub fn difference_kg_per_m3(self) -> f64 {
        self.water_kg_per_m3 - self.inside_kg_per_m3
    }

    /// Eötvös number of a drop of that diameter in metres.
    #[must_use]
    pub fn eotvos(self, diameter_m: f64) -> f64 {
        GRAVITY_M_PER_S2 * self.difference_kg_per_m3() * diameter_m * diameter_m
            / self.tension_n_per_m
    }

    /// Morton number.
    #[must_use]
    pub fn morton(self) -> f64 {
        GRAVITY_M_PER_S2 * self.water_pa_s.powi(4) * self.difference_kg_per_m3()
            / (self.water_kg_per_m3.powi(2) * self.tension_n_per_m.powi(3))
    }
}

/// Density (kg/m³) and viscosity (Pa·s) of liquid water at `temperature_c`, 4 to 200 °C; held at
/// the ends outside. Density is interpolated straight, viscosity on its logarithm.
///
/// ```
/// let (density, viscosity) = beadtally::capture::demo::physics::water(25.0);
/// assert!((density - 997.0476).abs() < 1e-9 && (viscosity - 0.890_022e-3).abs() < 1e-15);
/// ```
#[must_use]
pub fn water(temperature_c: f64) -> (f64, f64) {
    let (mut below, mut above) = (WATER[0], WATER[0]);
    for row in WATER {
        above = row;
        if row.0 >= temperature_c {
            break;
        }
        below = row;
    }
    let width = above.0 - below.0;
    let share = if width > 0.0 {
        ((temperature_c - below.0) / width).clamp(0.0, 1.0)
    } else {
        0.0
    };
    (
        below.1 + share * (above.1 - below.1),
        (below.2.ln() + share * (above.2.ln() - below.2.ln())).exp(),
    )
}

/// Drag coefficient of a rigid sphere (Schiller and Naumann): (24/Re)(1 + 0.15 Re^0.687) up to
/// Re 1000, 0.44 beyond.
///
/// ```
/// let drag = beadtally::capture::demo::physics::drag_coefficient(100.0);
/// assert!((drag - 1.091731).abs() < 1e-6);
/// ```
#[must_use]
pub fn drag_coefficient(reynolds: f64) -> f64 {
    if reynolds <= 1000.0 {
        24.0 / reynolds * (1.0 + 0.15 * reynolds.powf(0.687))
    } else {
        0.44
    }
}

/// Terminal rise speed in m/s of a rigid sphere (a drop whose surface is stiffened by dirt) in
/// unbounded water: buoyancy balanced with Schiller and Naumann's drag. The sign cannot slip: the
/// difference of densities is taken as positive for what rises.
#[must_use]
pub fn rise_speed_m_per_s(pair: Pair, diameter_m: f64) -> f64 {
    let push = 4.0 * GRAVITY_M_PER_S2 * pair.difference_kg_per_m3() * diameter_m
        / (3.0 * pair.water_kg_per_m3);
    // Drag × speed² grows with speed (but for the small step at Re 1000): halving finds the root.
    let (mut low, mut high) = (0.0_f64, 2.0_f64);
    for _ in 0..60 {
        let speed = 0.5 * (low + high);
        let reynolds = pair.water_kg_per_m3 * speed * diameter_m / pair.water_pa_s;
        if reynolds <= 0.0 || drag_coefficient(reynolds) * speed * speed < push {
            low = speed;
        } else {
            high = speed;
        }
    }
    0.5 * (low + high)
}

/// Terminal rise speed in m/s of a contaminated drop by the correlation of Grace et al., given in
/// Clift, Grace and Weber, *Bubbles, Drops, and Particles* (1978), eqs (7-4) to (7-7), with the
/// ratio of viscosities taken against 0.9 mPa·s. Good for Morton below 1e-3, Eötvös below 40.
#[must_use]
pub fn grace_speed_m_per_s(pair: Pair, diameter_m: f64) -> f64 {
    let morton = pair.morton();
    let h = 4.0 / 3.0
        * pair.eotvos(diameter_m)
        * morton.powf(-0.149)
        * (pair.water_pa_s / 0.0009).powf(-0.14);
    let j = if h > 59.3 {
        3.42 * h.powf(0.441)
    } else {
        0.94 * h.powf(0.757)
    };
    let reynolds = morton.powf(-0.149) * (j - 0.857).max(0.0);
    pair.water_pa_s * reynolds / (pair.water_kg_per_m3 * diameter_m)
}

/// How freely a bubble's surface moves, 0 (stiff with dirt) to 1 (clean). Condensate is dirty, but
/// steam bubbles are young: a quarter gives 0.15 to 0.27 m/s for 1 to 3 mm, between the stiff and
/// the clean curves of Clift, Grace and Weber (from memory).
const BUBBLE_MOBILITY: f64 = 0.25;

/// Terminal rise speed in m/s of a gas bubble of 1 to 3 mm: the stiff speed of Grace et al. raised
/// by a share of their correction for a clean surface (Clift, Grace and Weber, eq. (7-10); share
/// from memory).
#[must_use]
pub fn bubble_speed_m_per_s(pair: Pair, diameter_m: f64) -> f64 {
    let log = pair.eotvos(diameter_m).max(1e-9).log10();
    let gamma = 2.0 * (-(log + 0.6383).powi(2) / (0.2598 + 0.2 * (log + 1.0).powi(2))).exp();
    grace_speed_m_per_s(pair, diameter_m) * (1.0 + BUBBLE_MOBILITY * gamma)
}

/// Widest drop for which the wall formula holds, as a share of the bore.
const WALL_WIDEST_SHARE: f64 = 0.6;

/// What the wall of a tube leaves of the speed in unbounded water: (1 − λ²)^1.5 with λ = drop ÷
/// bore up to 0.6 (Clift, Grace and Weber, ch. 9; from memory); held beyond.
///
/// ```
/// let left = beadtally::capture::demo::physics::wall_share(0.3);
/// assert!((left - 0.8681).abs() < 5e-5);
/// ```
#[must_use]
pub fn wall_share(diameter_by_bore: f64) -> f64 {
    let share = diameter_by_bore.clamp(0.0, WALL_WIDEST_SHARE);
    (1.0 - share * share).powf(1.5)
}

/// Flattening of a rising drop or bubble: height ÷ width = 1/(1 + 0.163 Eo^0.757) (Wellek,
/// Agrawal and Skelland 1966; from memory), and not below a third.
#[must_use]
pub fn height_by_width(eotvos: f64) -> f64 {
    (1.0 / (1.0 + 0.163 * eotvos.max(0.0).powf(0.757))).max(1.0 / 3.0)
}

/// Correction factor of the drop-weight method by Lee, Ravindra and Chan (2008; coefficients from
/// memory), with x = rim radius ÷ cube root of the volume, valid from 0 to 1.2. The often quoted
/// quadratic fits hold from 0.3 only, and oil drops in water lie below that.
#[must_use]
pub fn drop_weight_factor(x: f64) -> f64 {
    const COEFFICIENTS: [f64; 8] = [1.000, -0.9121, -2.109, 13.38, -27.29, 27.53, -13.58, 2.593];
    let x = x.clamp(0.0, 1.2);
    COEFFICIENTS.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

/// Volume in µL of the drop that lets go of a wetted rim of radius `rim_mm` when it is fed slowly:
/// V Δρ g = 2π r σ f(r/V^⅓), solved by repeated substitution.
///
/// ```
/// let volume = beadtally::capture::demo::physics::drop_volume_ul(1.0, 0.020, 100.0);
/// assert!((volume - 101.6149).abs() < 1e-3);
/// ```
#[must_use]
pub fn drop_volume_ul(rim_mm: f64, tension_n_per_m: f64, difference_kg_per_m3: f64) -> f64 {
    let rim_m = rim_mm * 1e-3;
    let ideal_m3 = 2.0 * std::f64::consts::PI * rim_m * tension_n_per_m
        / (difference_kg_per_m3 * GRAVITY_M_PER_S2);
    let mut volume_m3 = ideal_m3;
    for _ in 0..60 {
        volume_m3 = ideal_m3 * drop_weight_factor(rim_m / volume_m3.cbrt());
    }
    volume_m3 * 1e9
}

/// Rim radius in mm from which drops of that diameter let go: [`drop_volume_ul`] backwards, by
/// halving, between 0.02 and 6 mm.
#[must_use]
pub fn rim_mm_for(diameter_mm: f64, tension_n_per_m: f64, difference_kg_per_m3: f64) -> f64 {
    let wanted_ul = sphere_ul(diameter_mm);
    let (mut low, mut high) = (0.02_f64, 6.0_f64);
    for _ in 0..40 {
        let rim = 0.5 * (low + high);
        if drop_volume_ul(rim, tension_n_per_m, difference_kg_per_m3) < wanted_ul {
            low = rim;
        } else {
            high = rim;
        }
    }
    0.5 * (low + high)
}

/// Volume in µL (mm³) of a sphere.
#[must_use]
pub fn sphere_ul(diameter_mm: f64) -> f64 {
    std::f64::consts::PI / 6.0 * diameter_mm.powi(3)
}

/// Time step of the start from rest, seconds: fine against the tenth of a second it takes.
const STEP_SECS: f64 = 0.004;
/// A start is over when this share of the terminal speed is reached.
const STARTED_SHARE: f64 = 0.999;
/// Longest start that is tabulated, steps: 2 s, far more than any drop needs.
const MOST_STEPS: usize = 500;
/// Share of the displaced water that moves along with a sphere that gathers speed (potential flow).
const ADDED_MASS: f64 = 0.5;

/// A bead's way up from rest: height over time, then straight on at its terminal speed.
#[derive(Clone, Debug)]
pub struct Rise {
    heights_mm: Vec<f32>,
    terminal_mm_per_s: f64,
}

impl Rise {
    /// The way of an oil drop in a bore of `bore_mm` (wall counted in; infinity for none), from
    /// rest with added mass ½.
    #[must_use]
    pub fn of_drop(pair: Pair, diameter_mm: f64, bore_mm: f64) -> Self {
        let free = rise_speed_m_per_s(pair, diameter_mm * 1e-3);
        Self::from_rest(pair, diameter_mm, free, wall_share(diameter_mm / bore_mm))
    }

    /// The way of a gas bubble.
    #[must_use]
    pub fn of_bubble(pair: Pair, diameter_mm: f64, bore_mm: f64) -> Self {
        let free = bubble_speed_m_per_s(pair, diameter_mm * 1e-3);
        Self::from_rest(pair, diameter_mm, free, wall_share(diameter_mm / bore_mm))
    }

    /// Steps the equation of motion; the drag is that of a sphere, scaled so that the balance
    /// falls at the free terminal speed times what the wall leaves of it.
    fn from_rest(pair: Pair, diameter_mm: f64, free_m_per_s: f64, wall: f64) -> Self {
        let diameter_m = diameter_mm * 1e-3;
        let terminal = free_m_per_s * wall;
        let inertia = pair.inside_kg_per_m3 + ADDED_MASS * pair.water_kg_per_m3;
        let push = GRAVITY_M_PER_S2 * pair.difference_kg_per_m3() / inertia;
        let reynolds =
            |speed: f64| (pair.water_kg_per_m3 * speed * diameter_m / pair.water_pa_s).max(1e-6);
        let drag = |speed: f64| drag_coefficient(reynolds(speed)) * speed * speed;
        let at_terminal = drag(free_m_per_s).max(1e-12);
        let (mut speed, mut height) = (0.0_f64, 0.0_f64);
        let mut heights_mm = vec![0.0];
        let pieces = 4;
        let step = STEP_SECS / f64::from(pieces);
        while speed < STARTED_SHARE * terminal && heights_mm.len() < MOST_STEPS {
            for _ in 0..pieces {
                let before = speed;
                let gain = push * (1.0 - drag(speed / wall) / at_terminal) * step;
                speed = (speed + gain).min(terminal);
                height += 0.5 * (before + speed) * step;
            }
            heights_mm.push((height * 1e3) as f32);
        }
        Self {
            heights_mm,
            terminal_mm_per_s: terminal * 1e3,
        }
    }

    /// Terminal speed, mm/s.
    #[must_use]
    pub fn terminal_mm_per_s(&self) -> f64 {
        self.terminal_mm_per_s
    }

    /// Height above the place of rest, mm, at a time after letting go (0 before).
    #[must_use]
    pub fn height_mm(&self, secs: f64) -> f64 {
        if secs <= 0.0 {
            return 0.0;
        }
        let steps = secs / STEP_SECS;
        let index = steps as usize;
        if let (Some(&low), Some(&high)) =
            (self.heights_mm.get(index), self.heights_mm.get(index + 1))
        {
            return f64::from(low) + (steps - index as f64) * f64::from(high - low);
        }
        let last = self.heights_mm.len() - 1;
        f64::from(self.heights_mm[last]) + (secs - last as f64 * STEP_SECS) * self.terminal_mm_per_s
    }

    /// Seconds after letting go at which a height above the place of rest is reached.
    #[must_use]
    pub fn secs_to(&self, height_mm: f64) -> f64 {
        let last = self.heights_mm.len() - 1;
        let top = f64::from(self.heights_mm[last]);
        if height_mm >= top {
            return last as f64 * STEP_SECS + (height_mm - top) / self.terminal_mm_per_s;
        }
        let above = self
            .heights_mm
            .partition_point(|&h| f64::from(h) < height_mm);
        if above == 0 {
            return 0.0;
        }
        let (low, high) = (
            f64::from(self.heights_mm[above - 1]),
            f64::from(self.heights_mm[above]),
        );
        ((above - 1) as f64 + (height_mm - low) / (high - low).max(1e-12)) * STEP_SECS
    }
}
