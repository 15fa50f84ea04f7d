//! Work on the samples of a straightened glass, eight at a time, without a branch: what a frame's
//! every sample must go through. What it is for is said in `rest`.

use ndarray::Array2;
use wide::f32x8;

pub(super) use crate::bead::sample::LANES;

/// Added to both sides of a light ratio, grey levels, so that near-black does not blow it up.
pub(super) const LIGHT_BASE: f32 = 8.0;

type Lane = [f32; LANES];

fn chunks(samples: &[f32]) -> &[Lane] {
    samples.as_chunks().0
}

fn chunks_mut(samples: &mut [f32]) -> &mut [Lane] {
    samples.as_chunks_mut().0
}

fn lane(samples: &Lane) -> f32x8 {
    f32x8::new(*samples)
}

fn splat(value: f32) -> f32x8 {
    f32x8::splat(value)
}

/// Ratio of the sums of luma now and at rest over the samples inside the glass that fit a guessed
/// ratio within `cut` grey levels, and the share of samples that do.
pub(super) fn fitting(
    now: &[f32],
    rest: &[f32],
    mask: &[f32],
    (guess, cut): (f32, f32),
) -> (f32, f32) {
    let (base, guesses, cut) = (splat(LIGHT_BASE), splat(guess), splat(cut));
    let mut sums = [f32x8::ZERO; 4];
    for ((now, rest), mask) in chunks(now).iter().zip(chunks(rest)).zip(chunks(mask)) {
        let (now, rest, mask) = (lane(now) + base, lane(rest) + base, lane(mask));
        let fits = (now - guesses * rest).abs().simd_lt(cut) & mask;
        sums[0] += fits * now;
        sums[1] += fits * rest;
        sums[2] += fits;
        sums[3] += mask;
    }
    let [now, rest, fit, of] = sums.map(f32x8::reduce_add);
    let ratio = if rest > 0.0 { now / rest } else { guess };
    (ratio, fit / of.max(1.0))
}

/// Difference from rest of one row after its light is evened by a factor; nought outside the glass.
pub(super) fn differ(levels: &mut [f32], (now, rest, mask): (&[f32], &[f32], &[f32]), evened: f32) {
    let (offset, evened) = (splat(LIGHT_BASE * evened - LIGHT_BASE), splat(evened));
    let lines = chunks(now).iter().zip(chunks(rest)).zip(chunks(mask));
    for (level, ((now, rest), mask)) in chunks_mut(levels).iter_mut().zip(lines) {
        *level = ((lane(now) * evened + offset - lane(rest)) * lane(mask)).to_array();
    }
}

/// How large energies are, see [`energies`].
#[derive(Clone, Copy, Debug)]
pub(super) struct Scale {
    /// Noise variance over the running estimate.
    pub(super) of_noise: f32,
    /// Least noise variance, grey levels squared, in the light of the picture at rest.
    pub(super) least: f32,
    /// What the light of the frame multiplies it by.
    pub(super) dimmed: f32,
}

/// Squares over the noise variance where it is inside the glass, else nought.
pub(super) fn energies(
    energy: &mut [f32],
    (square, noise, mask): (&[f32], &[f32], &[f32]),
    scale: Scale,
) {
    let of_noise = splat(scale.of_noise * scale.dimmed);
    let least = splat(scale.least * scale.dimmed);
    let lines = chunks(square).iter().zip(chunks(noise)).zip(chunks(mask));
    for (energy, ((square, noise), mask)) in chunks_mut(energy).iter_mut().zip(lines) {
        let variance = (lane(noise) * of_noise).fast_max(least);
        *energy = (lane(square) * lane(mask) / variance).to_array();
    }
}

/// How many samples have an energy over a limit; and how many are over a higher one and so many grey
/// levels off.
pub(super) fn count(
    energy: &[f32],
    levels: &[f32],
    stirred: f32,
    (far, levels_off): (f32, f32),
) -> (u32, u32) {
    let (one, stirred, far, off) = (splat(1.0), splat(stirred), splat(far), splat(levels_off));
    let (mut some, mut many) = (f32x8::ZERO, f32x8::ZERO);
    for (energy, level) in chunks(energy).iter().zip(chunks(levels)) {
        let energy = lane(energy);
        some += energy.simd_gt(stirred) & one;
        many += energy.simd_gt(far) & lane(level).abs().simd_gt(off) & one;
    }
    (some.reduce_add() as u32, many.reduce_add() as u32)
}

/// How many samples have an energy over a limit.
pub(super) fn count_over(energy: &[f32], limit: f32) -> u32 {
    let (one, limit) = (splat(1.0), splat(limit));
    let over = chunks(energy).iter().fold(f32x8::ZERO, |over, energy| {
        over + (lane(energy).simd_gt(limit) & one)
    });
    over.reduce_add() as u32
}

/// Steps of a running quantile: up, up for what is over `outlying` times it, and down.
#[derive(Clone, Copy, Debug)]
pub(super) struct Steps {
    pub(super) up: f32,
    pub(super) event: f32,
    pub(super) down: f32,
    pub(super) outlying: f32,
    /// Smallest and largest value.
    pub(super) limits: (f32, f32),
}

/// Moves a running quantile of each sample's squares, which are multiplied by `times` first.
pub(super) fn follow(noise: &mut [f32], square: &[f32], times: f32, steps: Steps) {
    let [up, event, down, outlying] =
        [steps.up, steps.event, steps.down, steps.outlying].map(splat);
    let (times, least, most) = (splat(times), splat(steps.limits.0), splat(steps.limits.1));
    for (noise, square) in chunks_mut(noise).iter_mut().zip(chunks(square)) {
        let (now, was) = (lane(square) * times, lane(noise));
        let step = now.simd_gt(was).bitselect(up, down);
        let step = now.simd_gt(outlying * was).bitselect(event, step);
        *noise = (was * step).fast_max(least).fast_min(most).to_array();
    }
}

fn ordered(a: &mut f32x8, b: &mut f32x8) {
    (*a, *b) = (a.fast_min(*b), a.fast_max(*b));
}

/// The median of three samples each.
pub(super) fn median_of_3([a, b, c]: [&[f32]; 3], into: &mut [f32]) {
    let lines = chunks(a).iter().zip(chunks(b)).zip(chunks(c));
    for (into, ((a, b), c)) in chunks_mut(into).iter_mut().zip(lines) {
        let (mut a, mut b, mut c) = (lane(a), lane(b), lane(c));
        ordered(&mut a, &mut b);
        ordered(&mut b, &mut c);
        ordered(&mut a, &mut b);
        *into = b.to_array();
    }
}

/// The median of five samples each.
pub(super) fn median_of_5([a, b, c, d, e]: [&[f32]; 5], into: &mut [f32]) {
    let lines = chunks(a).iter().zip(chunks(b)).zip(chunks(c));
    let lines = lines.zip(chunks(d)).zip(chunks(e));
    for (into, ((((a, b), c), d), e)) in chunks_mut(into).iter_mut().zip(lines) {
        *into = middle_of_5([a, b, c, d, e].map(lane)).to_array();
    }
}

fn middle_of_5([mut a, mut b, mut c, mut d, mut e]: [f32x8; 5]) -> f32x8 {
    ordered(&mut a, &mut b);
    ordered(&mut d, &mut e);
    // The least of the lesser and the largest of the larger are not in the middle.
    ordered(&mut a, &mut d);
    ordered(&mut b, &mut e);
    ordered(&mut b, &mut c);
    ordered(&mut c, &mut d);
    ordered(&mut b, &mut c);
    c
}

/// The median of five values.
pub(super) fn middle_of_five([a, b, c, d, e]: [f32; 5]) -> f32 {
    // Without the least and the greatest of the first four, which are not in the middle.
    let (low, high) = (a.min(b).max(c.min(d)), a.max(b).min(c.max(d)));
    low.min(high).max(low.max(high).min(e))
}

/// The median of seven pictures, sample by sample.
pub(super) fn median_of_7(pictures: [&Array2<f32>; 7], into: &mut [f32]) {
    let pictures = pictures.map(|picture| chunks(picture.as_slice().unwrap_or(&[])));
    for (at, into) in chunks_mut(into).iter_mut().enumerate() {
        let mut sorted = pictures.map(|picture| picture.get(at).map_or(f32x8::ZERO, lane));
        // Rounds of neighbours: seven of them sort seven.
        for round in 0..7 {
            let (pairs, _) = sorted[round % 2..].as_chunks_mut::<2>();
            for [low, high] in pairs {
                ordered(low, high);
            }
        }
        *into = sorted[3].to_array();
    }
}

/// Median of the medians of three groups of five values, about their median.
pub(super) fn median_of_15(values: &[f32; 15]) -> f32 {
    let mut rows = [f32x8::ZERO; 5];
    for (row, some) in rows.iter_mut().zip(values.as_chunks::<3>().0) {
        let [a, b, c] = *some;
        *row = f32x8::new([a, b, c, 0.0, 0.0, 0.0, 0.0, 0.0]);
    }
    let [a, b, c, ..] = middle_of_5(rows).to_array();
    a.max(b).min(a.min(b).max(c))
}

/// The largest magnitude in a row.
pub(super) fn largest(levels: &[f32]) -> f32 {
    let most = chunks(levels)
        .iter()
        .fold(f32x8::ZERO, |most, level| most.fast_max(lane(level).abs()));
    most.to_array().iter().fold(0.0, |a, b| a.max(*b))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn medians_are_those_of_sorting() {
        let column = |seed: usize| -> Vec<f32> {
            (0..64)
                .map(|at| ((at * 7919 + seed * 104_729) * 2_654_435 % 1000) as f32)
                .collect()
        };
        let pictures: Vec<Vec<f32>> = (1..=7).map(column).collect();
        let expected = |of: usize, at: usize| {
            let mut sorted: Vec<f32> = pictures[..of].iter().map(|p| p[at]).collect();
            sorted.sort_by(f32::total_cmp);
            sorted[of / 2]
        };
        let mut into = vec![0.0; 64];
        median_of_3([&pictures[0], &pictures[1], &pictures[2]], &mut into);
        assert!((0..64).all(|at| into[at] == expected(3, at)));
        let five: Vec<&[f32]> = pictures[..5].iter().map(Vec::as_slice).collect();
        median_of_5(five.try_into().unwrap(), &mut into);
        assert!((0..64).all(|at| into[at] == expected(5, at)));
        let at = |at: usize| middle_of_five(std::array::from_fn(|of| pictures[of][at]));
        assert!((0..64).all(|place| at(place) == expected(5, place)));
        let seven: Vec<Array2<f32>> = pictures
            .iter()
            .map(|p| Array2::from_shape_vec((8, 8), p.clone()).unwrap())
            .collect();
        let seven: Vec<&Array2<f32>> = seven.iter().collect();
        median_of_7(seven.try_into().unwrap(), &mut into);
        assert!((0..64).all(|at| into[at] == expected(7, at)));
    }

    #[test]
    fn light_is_told_by_what_fits() {
        let rest: Vec<f32> = (0..160).map(|at| 90.0 + (at % 7) as f32).collect();
        let mut now: Vec<f32> = rest.iter().map(|v| (v + 8.0) * 1.2 - 8.0).collect();
        // A bead.
        now[40..80].fill(30.0);
        let (ratio, share) = fitting(&now, &rest, &[1.0; 160], (1.19, 4.0));
        assert!((ratio - 1.2).abs() < 1e-4 && (share - 0.75).abs() < 1e-6);
    }
}
