//! The demo's optics against values from outside: refractive index of water (IAPWS R9-97) and the
//! widening of a round water-filled glass (derivation and ray traces; "computed" where no source
//! is named).

use beadtally::capture::demo::optics::{
    Body, Entry, Ray, Tube, reflect, refract, thrown_back, v3, water_index,
};

/// Refractive index of water at 20 °C and 589 nm (IAPWS R9-97, computed).
const WATER_20C: f64 = 1.333_358;

#[track_caller]
fn close(got: f64, wanted: f64, tolerance: f64) {
    assert!(
        (got - wanted).abs() <= tolerance,
        "got {got}, wanted {wanted} ± {tolerance}"
    );
}

fn tube() -> Tube {
    Tube {
        bore_radius_mm: 7.5,
        outer_radius_mm: 9.5,
        wall_index: 1.474,
        liquid_index: WATER_20C,
    }
}

#[test]
fn water_index_follows_iapws_r9_97() {
    // Direct values with their densities (iapws and chemicals doc strings).
    close(water_index(997.047_435, 25.0, 0.2265), 1.392_778_24, 1e-8);
    close(water_index(30.475_853_4, 500.0, 0.5893), 1.009_493_07, 1e-8);
    // IAPWS R9-97, Table 3, where the density can be given from other releases: liquid at 0 °C
    // and 0.1 MPa has 999.843 kg/m³, at 10 MPa 1004.83; steam at 200 °C and 0.1 MPa 0.46034; at
    // 500 °C and 1 MPa 2.8241 kg/m³ (IAPWS-95, from memory).
    for (density, t, um, index, tolerance) in [
        (999.843, 0.0, 0.2265, 1.394_527, 2e-6),
        (1004.83, 0.0, 0.2265, 1.396_526, 6e-6),
        (1004.83, 0.0, 1.013_98, 1.327_710, 6e-6),
        (0.460_34, 200.0, 0.589, 1.000_145_6, 2e-7),
        (2.8241, 500.0, 0.589, 1.000_877_3, 2e-6),
    ] {
        close(water_index(density, t, um), index, tolerance);
    }
    // At 589 nm and atmospheric pressure (computed), with the demo's own water.
    for (t, index) in [
        (10.0, 1.334_072),
        (20.0, 1.333_358),
        (40.0, 1.330_955),
        (60.0, 1.327_569),
        (80.0, 1.323_408),
        (95.0, 1.319_850),
        (120.0, 1.313_179),
        (150.0, 1.304_011),
        (180.0, 1.293_561),
        (200.0, 1.285_825),
    ] {
        let (density, _) = beadtally::capture::demo::physics::water(t);
        close(water_index(density, t, 0.589), index, 2e-6);
    }
}

#[test]
fn bent_rays_keep_snell_and_energy() {
    let normal = v3(0.0, 0.0, 1.0);
    for degrees in [0.0_f64, 20.0, 45.0, 80.0] {
        let (sin, cos) = degrees.to_radians().sin_cos();
        let along = v3(sin, 0.0, -cos);
        let bent = refract(along, normal, 1.0 / 1.474).unwrap();
        close(bent.dot(bent), 1.0, 1e-12);
        close(1.474 * bent.x, sin, 1e-12);
        let back = reflect(along, normal);
        close(back.z, cos, 1e-12);
    }
    // From glass to air nothing leaves beyond asin(1/1.474) = 42.7°.
    let (sin, cos) = 43.0_f64.to_radians().sin_cos();
    assert!(refract(v3(sin, 0.0, -cos), normal, 1.474).is_none());
    close(thrown_back(cos, 1.474), 1.0, 0.0);
    close(thrown_back(1.0, 1.474), 0.036_71, 1e-5);
    close(thrown_back(0.0, 1.0 / 1.474), 1.0, 1e-12);
}

#[test]
fn the_way_into_the_bore_keeps_index_times_distance() {
    // Bouguer: a ray at p beside the axis travels in the water at p ÷ n from it, whatever the wall.
    for wall_index in [1.40, 1.474, 1.60] {
        let tube = Tube {
            wall_index,
            ..tube()
        };
        for offset in [-9.0_f64, -4.0, 0.5, 3.0, 8.0] {
            let Entry::Liquid(ray) = tube.enter(offset) else {
                panic!("{offset} does not enter");
            };
            let beside = ray.from.z * ray.along.x - ray.from.x * ray.along.z;
            close(beside.abs(), offset.abs() / WATER_20C, 1e-12);
        }
    }
    assert_eq!(tube().enter(9.6), Entry::Beside);
}

#[test]
fn a_ray_that_meets_nothing_leaves_as_it_would() {
    // In and out are mirror images: the whole bend is twice the bend of the way in, and the ray
    // leaves as far from the axis as it came.
    let tube = tube();
    for offset in [0.0_f64, 2.0, 5.0, 8.0] {
        let Entry::Liquid(ray) = tube.enter(offset) else {
            panic!("{offset} does not enter");
        };
        let out = tube.leave(&ray).unwrap();
        let beside = out.from.z * out.along.x - out.from.x * out.along.z;
        close(beside.abs(), offset, 1e-9);
        let bend = |along: f64| along.asin();
        close(bend(out.along.x), 2.0 * bend(ray.along.x), 1e-9);
    }
}

#[test]
fn a_ball_on_the_axis_looks_wider_by_the_index_of_water() {
    // Exactly n, for any radius that can be seen (ray trace: 1.3332 to 1.3333).
    for radius in [0.5, 1.0, 2.0, 3.0, 5.0] {
        let (left, right) = tube().sphere_edges(0.0, 0.0, radius).unwrap();
        close((right - left) / (2.0 * radius), WATER_20C, 1e-9);
    }
}

#[test]
fn places_off_the_axis_follow_the_ray_trace() {
    // a = 7.5, b = 9.5, parallel view: apparent place of a point of the axis plane (computed).
    for (x, apparent) in [
        (0.01, 0.013_33),
        (1.0, 1.332_65),
        (2.0, 2.660_83),
        (3.0, 3.978_87),
        (4.0, 5.277_98),
        (5.0, 6.542_18),
        (6.0, 7.737_51),
    ] {
        close(tube().apparent_from_true(x).unwrap(), apparent, 1e-5);
        close(tube().apparent_from_true(-x).unwrap(), -apparent, 1e-5);
        close(tube().true_from_apparent(apparent).unwrap(), x, 1e-5);
    }
    assert_eq!(tube().apparent_from_true(20.0), None);
}

#[test]
fn balls_off_the_axis_follow_the_ray_trace() {
    // R = 2 mm at (x across, z towards the camera): apparent ÷ true width (computed). Correcting
    // by n alone would be wrong by a tenth for ±3 mm along the line of sight.
    for (x, z, ratio) in [
        (0.0, 0.0, 1.3332),
        (1.0, 0.0, 1.3316),
        (2.0, 0.0, 1.3263),
        (3.0, 0.0, 1.3147),
        (4.0, 0.0, 1.2906),
        (5.0, 0.0, 1.2333),
        (0.0, 3.0, 1.2128),
        (0.0, -3.0, 1.4823),
        (2.0, 3.0, 1.1998),
        (2.0, -3.0, 1.4928),
    ] {
        let (left, right) = tube().sphere_edges(x, z, 2.0).unwrap();
        close((right - left) / 4.0, ratio, 5e-4);
    }
}

#[test]
fn part_of_the_bore_cannot_be_seen() {
    // min(1, b ÷ (n a)) (computed).
    close(tube().visible_share(), 0.949_98, 5e-6);
    // The outermost ray that enters passes the axis at that share of the bore's radius.
    let Entry::Liquid(ray) = tube().enter(9.5 - 1e-9) else {
        panic!("the outermost ray does not enter");
    };
    let beside = (ray.from.z * ray.along.x - ray.from.x * ray.along.z).abs();
    close(beside / 7.5, 0.949_98, 5e-6);
    let wide = Tube {
        bore_radius_mm: 6.0,
        outer_radius_mm: 8.0,
        ..tube()
    };
    close(wide.visible_share(), 0.999_98, 1e-5);
}

#[test]
fn an_oil_ball_is_a_converging_lens_and_gas_a_dark_rim() {
    let ball = |index| Body {
        centre: v3(0.0, 0.0, 0.0),
        half_width_mm: 2.0,
        half_height_mm: 2.0,
        index,
    };
    let at = |offset: f64| Ray {
        from: v3(offset, 0.0, 10.0),
        along: v3(0.0, 0.0, -1.0),
    };
    // R = 2 mm, 1.48 in water: rays near the axis cross it 10.1 mm behind the middle (computed).
    let behind = ball(1.48)
        .pass(&at(0.05), WATER_20C)
        .unwrap()
        .behind
        .unwrap();
    let crossing = behind.at(-behind.from.x / behind.along.x);
    close(crossing.z, -10.1, 0.05);
    // Through the middle the way inside is the diameter.
    close(
        ball(1.48).pass(&at(0.0), WATER_20C).unwrap().inside_mm,
        4.0,
        1e-9,
    );
    // Gas throws all light back beyond asin(1/1.333) = 48.6°, 75 % of the radius.
    let gas = ball(1.0);
    assert!(gas.pass(&at(1.49), WATER_20C).unwrap().behind.is_some());
    let rim = gas.pass(&at(1.51), WATER_20C).unwrap();
    assert_eq!((rim.behind, rim.thrown_back), (None, 1.0));
    assert!(gas.pass(&at(2.01), WATER_20C).is_none());
}

#[test]
fn a_flattened_body_is_met_where_it_is() {
    let body = Body {
        centre: v3(1.0, 2.0, -3.0),
        half_width_mm: 2.0,
        half_height_mm: 1.0,
        index: 1.48,
    };
    let down = |x: f64, y: f64| Ray {
        from: v3(x, y, 10.0),
        along: v3(0.0, 0.0, -1.0),
    };
    assert!(body.cross(&down(1.0, 2.99)).is_some());
    assert!(body.cross(&down(1.0, 3.01)).is_none());
    assert!(body.cross(&down(2.99, 2.0)).is_some());
    assert!(body.cross(&down(3.01, 2.0)).is_none());
    let top = body.pass(&down(1.0, 2.9), 1.0).unwrap();
    assert!(top.normal.y > 0.5 && top.normal.z > 0.0, "{:?}", top.normal);
}
