//! What a glass does to the sizes seen through it: refraction by a round, water-filled tube, none
//! by a flat port; the refractive index of water; sizes and volumes of beads. Pure formulas; where
//! a bead is and how tall it looks is measured elsewhere.
#![expect(
    clippy::doc_markdown,
    reason = "formulas are printed as their sources print them"
)]

use crate::base::GlassKind;

/// Wavelength of the sodium D line, µm: the middle of what a luma picture weighs most.
pub const YELLOW_UM: f64 = 0.589;
/// Temperature taken when none is known, °C: condensate in a glass is warm, and between 20 °C and
/// 100 °C the width is off by no more than 1 %.
pub const USUAL_CELSIUS: f64 = 60.0;
/// Refractive index of borosilicate glass at 589 nm (common practice).
pub const GLASS_INDEX: f64 = 1.474;

/// Refractive index of water or steam.
///
/// `density_kg_m3` in kg/m³, `temperature_k` in K, `wavelength_um` in µm (0.2 to 1.1).
/// Source: IAPWS R9-97, *Release on the Refractive Index of Ordinary Water Substance as a Function
/// of Wavelength, Temperature and Pressure*.
///
/// ```
/// let n = beadtally::glass::optics::refractive_index(997.047_435, 298.15, 0.2265);
/// assert!((n - 1.392_778_24).abs() < 1e-8);
/// ```
#[must_use]
pub fn refractive_index(density_kg_m3: f64, temperature_k: f64, wavelength_um: f64) -> f64 {
    /// Reference density, kg/m³, temperature, K, and wavelength, µm (R9-97).
    const REFERENCE: (f64, f64, f64) = (1000.0, 273.15, 0.589);
    /// a0 to a7 (R9-97, Table 2).
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
    /// Resonances in the ultraviolet and infrared, reduced (R9-97, Table 2).
    const RESONANCES: (f64, f64) = (0.229_202, 5.432_937);
    let density = density_kg_m3 / REFERENCE.0;
    let theta = temperature_k / REFERENCE.1;
    let square = (wavelength_um / REFERENCE.2).powi(2);
    let refraction = density
        * (A[0]
            + A[1] * density
            + A[2] * theta
            + A[3] * square * theta
            + A[4] / square
            + A[5] / (square - RESONANCES.0 * RESONANCES.0)
            + A[6] / (square - RESONANCES.1 * RESONANCES.1)
            + A[7] * density * density);
    // (n² − 1) / (n² + 2) = refraction
    ((1.0 + 2.0 * refraction) / (1.0 - refraction)).sqrt()
}

/// Density of liquid water at its boiling pressure, kg/m³, from 0 °C to 370 °C; temperatures
/// outside are held to that range.
///
/// At atmospheric pressure cold water is 0.005 % denser: nothing here. Source: IAPWS SR1-86(1992),
/// *Supplementary Release on Saturation Properties of Ordinary Water Substance*, equation 2.
#[must_use]
pub fn water_density_kg_m3(celsius: f64) -> f64 {
    /// Temperature, K, and density, kg/m³, of the critical point.
    const CRITICAL: (f64, f64) = (647.096, 322.0);
    /// Factor and exponent of each term.
    const TERMS: [(f64, f64); 6] = [
        (1.992_740_64, 1.0 / 3.0),
        (1.099_653_42, 2.0 / 3.0),
        (-0.510_839_303, 5.0 / 3.0),
        (-1.754_934_79, 16.0 / 3.0),
        (-45.517_035_2, 43.0 / 3.0),
        (-6.746_944_50e5, 110.0 / 3.0),
    ];
    let tau = 1.0 - (celsius.clamp(0.0, 370.0) + 273.15) / CRITICAL.0;
    CRITICAL.1 * (1.0 + TERMS.iter().map(|(b, e)| b * tau.powf(*e)).sum::<f64>())
}

/// Refractive index of liquid water at 589 nm, by temperature in °C (0 to 370).
///
/// ```
/// let n = beadtally::glass::optics::water_index(20.0);
/// assert!((n - 1.3333).abs() < 1e-4);
/// ```
#[must_use]
pub fn water_index(celsius: f64) -> f64 {
    let celsius = celsius.clamp(0.0, 370.0);
    refractive_index(water_density_kg_m3(celsius), celsius + 273.15, YELLOW_UM)
}

/// How many times larger things on the axis of a glass look.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Magnification {
    /// Across the axis.
    pub across: f64,
    /// Along the axis.
    pub along: f64,
}

/// Magnification of things on the axis, seen from afar, by the kind of glass and the refractive
/// index of what fills it.
///
/// In a tube with concentric walls, index × distance of a ray from the axis is kept through every
/// wall (Bouguer's law), so the silhouette of a bead on the axis is wider by exactly the index of
/// the water, whatever the wall is made of and however thick; heights are unchanged. A flat port
/// changes neither.
///
/// ```
/// use beadtally::{base::GlassKind, glass::optics::magnification};
/// assert_eq!(magnification(GlassKind::Tube, 1.333).across, 1.333);
/// assert_eq!(magnification(GlassKind::Port, 1.333).across, 1.0);
/// ```
#[must_use]
pub fn magnification(kind: GlassKind, water_index: f64) -> Magnification {
    match kind {
        GlassKind::Tube => Magnification {
            across: water_index,
            along: 1.0,
        },
        GlassKind::Port => Magnification {
            across: 1.0,
            along: 1.0,
        },
    }
}

/// A round glass and where it is seen from, mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct RoundGlass {
    /// Inner radius, mm.
    pub bore_radius_mm: f64,
    /// Outer radius, mm.
    pub outer_radius_mm: f64,
    /// Refractive index of the glass.
    pub glass_index: f64,
    /// Refractive index of what fills it.
    pub water_index: f64,
}

impl RoundGlass {
    /// How many times taller a small thing on the axis looks to a camera `distance_mm` away from
    /// the axis, against the scale at the axis: D / (D − b + (b − a)/n_g + a/n_w), paraxial. It is
    /// 1.01 at 25 cm: small enough to leave out, and known.
    #[must_use]
    pub fn height_magnification(&self, distance_mm: f64) -> f64 {
        distance_mm
            / (distance_mm - self.outer_radius_mm
                + (self.outer_radius_mm - self.bore_radius_mm) / self.glass_index
                + self.bore_radius_mm / self.water_index)
    }

    /// Apparent width over true width of a sphere of this radius on the axis, for a camera
    /// `distance_mm` away: the edge ray leaves at sin α = n_w R / D, and the silhouette in the
    /// plane of the axis is 2 D tan α wide. None when the sphere is too wide to be seen whole.
    #[must_use]
    pub fn width_magnification(&self, radius_mm: f64, distance_mm: f64) -> Option<f64> {
        let sine = self.water_index * radius_mm / distance_mm;
        (sine * distance_mm <= self.outer_radius_mm && sine < 1.0)
            .then(|| distance_mm * sine.asin().tan() / radius_mm)
    }

    /// True distance from the axis, mm, in the plane through the axis, of what looks `apparent_mm`
    /// away from it, seen from afar. None beyond the bore or the silhouette.
    ///
    /// A ray that leaves at p from the axis runs at p/n_w from it in the water and is turned by
    /// δ = [asin(p/b) − asin(p/(n_g b))] + [asin(p/(n_g a)) − asin(p/(n_w a))] on its way, so it
    /// crosses the plane at (p/n_w)/cos δ.
    #[must_use]
    pub fn true_offset_mm(&self, apparent_mm: f64) -> Option<f64> {
        let p = apparent_mm.abs();
        let (a, b) = (self.bore_radius_mm, self.outer_radius_mm);
        let (glass, water) = (self.glass_index, self.water_index);
        if p > b || p > glass * a || p > water * a {
            return None;
        }
        let turned = ((p / b).asin() - (p / (glass * b)).asin())
            + ((p / (glass * a)).asin() - (p / (water * a)).asin());
        Some(apparent_mm / water / turned.cos())
    }

    /// The part of the bore that can be seen at all, 0 to 1: min(1, b / (n_w a)).
    #[must_use]
    pub fn visible_part_of_bore(&self) -> f64 {
        (self.outer_radius_mm / (self.water_index * self.bore_radius_mm)).min(1.0)
    }
}

/// Diameter of a bead, mm, from its height in the picture, pixels: heights are not changed by a
/// tube or a port, so this holds for any temperature. `px_per_mm` is the scale at the axis.
///
/// ```
/// use beadtally::{base::GlassKind, glass::optics::diameter_mm};
/// assert_eq!(diameter_mm(16.8, 4.0, GlassKind::Tube), 4.2);
/// ```
#[must_use]
pub fn diameter_mm(height_px: f64, px_per_mm: f64, kind: GlassKind) -> f64 {
    height_px / px_per_mm / magnification(kind, 1.0).along
}

/// True width and height of a bead, mm, from its width and height in the picture, pixels, on the
/// axis of a glass whose water is at `celsius`.
#[must_use]
pub fn true_size_mm(
    width_px: f64,
    height_px: f64,
    px_per_mm: f64,
    kind: GlassKind,
    celsius: f64,
) -> (f64, f64) {
    let larger = magnification(kind, water_index(celsius));
    (
        width_px / px_per_mm / larger.across,
        height_px / px_per_mm / larger.along,
    )
}

/// Volume of a bead, µL (mm³), as an ellipsoid of revolution about its upright axis: π/6 w² h.
///
/// ```
/// let ball = beadtally::glass::optics::volume_ul(2.0, 2.0);
/// assert!((ball - 4.188_79).abs() < 1e-5);
/// ```
#[must_use]
pub fn volume_ul(width_mm: f64, height_mm: f64) -> f64 {
    std::f64::consts::PI / 6.0 * width_mm * width_mm * height_mm
}

/// Diameter of the sphere with this volume, mm, the volume in µL (mm³).
#[must_use]
pub fn sphere_diameter_mm(volume_ul: f64) -> f64 {
    (6.0 / std::f64::consts::PI * volume_ul).cbrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "{got}, but {want} wanted");
    }

    #[test]
    fn refractive_index_against_the_release() {
        // IAPWS R9-97, examples with density given.
        near(
            refractive_index(997.047_435, 298.15, 0.2265),
            1.392_778_24,
            1e-8,
        );
        near(
            refractive_index(30.475_853_4, 773.15, 0.5893),
            1.009_493_07,
            1e-8,
        );
        // IAPWS R9-97, Table 3: °C, MPa, µm, index. The table gives pressures; the densities for
        // them (third column, kg/m³) were computed with IAPWS-95.
        for (celsius, _mpa, density, wavelength, index) in [
            (0.0, 0.1, 999.842_411, 0.2265, 1.394_527),
            (0.0, 10.0, 1_004.821_444, 0.2265, 1.396_526),
            (100.0, 1.0, 958.770_656, 0.2265, 1.375_622),
            (100.0, 100.0, 999.761_789, 0.2265, 1.391_983),
            (0.0, 10.0, 1_004.821_444, 1.013_98, 1.327_710),
            (200.0, 100.0, 923.740_172, 1.013_98, 1.298_369),
        ] {
            let got = refractive_index(density, celsius + 273.15, wavelength);
            near(got, index, 6e-7);
        }
        for (celsius, density, index) in [
            (200.0, 0.460_313_653, 1.000_145_6),
            (500.0, 2.823_959_952, 1.000_877_3),
        ] {
            let got = refractive_index(density, celsius + 273.15, YELLOW_UM);
            near(got, index, 6e-8);
        }
    }

    #[test]
    fn water_at_589_nm() {
        // Computed from IAPWS-95 and R9-97 at 0.101325 MPa; ours is at boiling pressure, 0.000016
        // less at most.
        for (celsius, index) in [
            (10.0, 1.334_072),
            (20.0, 1.333_358),
            (40.0, 1.330_955),
            (60.0, 1.327_569),
            (80.0, 1.323_408),
            (95.0, 1.319_850),
        ] {
            near(water_index(celsius), index, 2e-5);
        }
        // Saturated liquid, the same sources.
        for (celsius, index) in [
            (120.0, 1.313_179),
            (150.0, 1.304_011),
            (180.0, 1.293_561),
            (200.0, 1.285_825),
        ] {
            near(water_index(celsius), index, 5e-6);
        }
        assert!(water_index(-1e9).is_finite() && water_index(1e9).is_finite());
    }

    #[test]
    fn density_of_saturated_water() {
        // IAPWS-95, Table 8: 275 K and 450 K.
        near(water_density_kg_m3(1.85), 999.887_406, 0.02);
        near(water_density_kg_m3(176.85), 890.341_250, 0.02);
        // IAPWS-95, computed at saturation.
        near(water_density_kg_m3(120.0), 943.106_6, 0.02);
        near(water_density_kg_m3(200.0), 864.658_1, 0.02);
    }

    /// The tube of the published ratios: a = 7.5, b = 9.5, n_g = 1.474, n_w = 1.333358.
    const TUBE: RoundGlass = RoundGlass {
        bore_radius_mm: 7.5,
        outer_radius_mm: 9.5,
        glass_index: GLASS_INDEX,
        water_index: 1.333_358,
    };

    #[test]
    fn off_the_axis_by_the_exact_ray() {
        // x in the axis plane and where it appears, parallel view (computed by exact ray trace).
        for (x, apparent) in [
            (0.01, 0.013_33),
            (1.0, 1.332_65),
            (2.0, 2.660_83),
            (3.0, 3.978_87),
            (4.0, 5.277_98),
            (5.0, 6.542_18),
            (6.0, 7.737_51),
        ] {
            near(TUBE.true_offset_mm(apparent).unwrap(), x, 1e-5);
            near(TUBE.true_offset_mm(-apparent).unwrap(), -x, 1e-5);
        }
        assert_eq!(TUBE.true_offset_mm(9.6), None);
    }

    #[test]
    fn width_from_near_and_far() {
        // Pinhole at D, sphere of R = 2 mm (computed).
        for (distance, ratio) in [
            (100.0, 1.333_83),
            (150.0, 1.333_57),
            (200.0, 1.333_48),
            (500.0, 1.333_38),
        ] {
            near(
                TUBE.width_magnification(2.0, distance).unwrap(),
                ratio,
                1e-5,
            );
        }
        assert_eq!(TUBE.width_magnification(7.4, 200.0), None);
        // From afar it is the index of the water, whatever the radius.
        for radius in [1.0, 2.0, 5.0] {
            near(
                TUBE.width_magnification(radius, 1e7).unwrap(),
                magnification(GlassKind::Tube, TUBE.water_index).across,
                1e-9,
            );
        }
    }

    #[test]
    fn a_wire_on_the_axis_of_a_round_medium() {
        // Worked problem, "Optics BYU 14" (physics.lt): a wire 2 mm thick on the axis of a medium
        // of index 4/3 looks 8/3 mm thick.
        near(
            2.0 * magnification(GlassKind::Tube, 4.0 / 3.0).across,
            8.0 / 3.0,
            1e-12,
        );
    }

    #[test]
    fn height_from_near() {
        // Paraxial, the same tube (computed).
        for (distance, ratio) in [
            (100.0, 1.025_83),
            (150.0, 1.017_08),
            (200.0, 1.012_75),
            (300.0, 1.008_47),
            (500.0, 1.005_06),
        ] {
            near(TUBE.height_magnification(distance), ratio, 1e-5);
        }
        // Width over height of a true sphere on the axis.
        for (distance, ratio) in [(100.0, 1.300_24), (200.0, 1.316_69), (500.0, 1.326_66)] {
            let width = TUBE.width_magnification(2.0, distance).unwrap();
            near(width / TUBE.height_magnification(distance), ratio, 2e-5);
        }
    }

    #[test]
    fn how_much_of_the_bore_is_seen() {
        near(TUBE.visible_part_of_bore(), 0.949_98, 1e-5);
        let thick = RoundGlass {
            bore_radius_mm: 6.0,
            outer_radius_mm: 8.0,
            ..TUBE
        };
        near(thick.visible_part_of_bore(), 0.999_98, 1e-5);
    }

    #[test]
    fn what_is_wrong_when_nothing_is_corrected() {
        let n = 1.333_358;
        let (across, along) = (2.0 * n, 2.0);
        let ball = volume_ul(2.0, 2.0);
        // One axis, two axes, a sphere from the width alone.
        near(across * along * along / 8.0, 1.3334, 1e-4);
        near(volume_ul(across, along) / ball, 1.7778, 1e-4);
        near(volume_ul(across, across) / ball, 2.3705, 1e-4);
    }

    #[test]
    fn sizes_from_pixels() {
        // A bead of 4.2 mm at 4 px/mm, seen through a tube at 20 °C.
        let (width, height) = true_size_mm(
            4.2 * 4.0 * water_index(20.0),
            4.2 * 4.0,
            4.0,
            GlassKind::Tube,
            20.0,
        );
        near(width, 4.2, 1e-12);
        near(height, 4.2, 1e-12);
        near(sphere_diameter_mm(volume_ul(width, height)), 4.2, 1e-12);
        assert_eq!(
            true_size_mm(8.0, 4.0, 2.0, GlassKind::Port, 20.0),
            (4.0, 2.0)
        );
        // Reading at 180 °C with the index of cold water makes the width 3 % too small.
        near(water_index(180.0) / water_index(20.0), 0.97, 0.001);
    }
}
