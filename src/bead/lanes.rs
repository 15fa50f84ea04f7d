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

/// How many samples inside the glass are darker now than at rest times a ratio, both above the base.
fn count_below(now: &[f32], rest: &[f32], mask: &[f32], ratio: f32) -> f32 {
    let (base, ratio) = (splat(LIGHT_BASE), splat(ratio));
    let lines = chunks(now).iter().zip(chunks(rest)).zip(chunks(mask));
    let below = lines.fold(f32x8::ZERO, |below, ((now, rest), mask)| {
        let is_below = (lane(now) + base).simd_lt((lane(rest) + base) * ratio);
        below + (is_below & lane(mask))
    });
    below.reduce_add()
}

/// The median ratio of luma now to that at rest over the samples inside the glass, of which there are
/// `of`, sought from a guess by halving.
pub(super) fn median_ratio(
    (now, rest, mask): (&[f32], &[f32], &[f32]),
    of: f32,
    guess: f32,
) -> f32 {
    /// How far from the guess it is looked for at first, as a share; each time without avail twice as
    /// far, so many times.
    const NEAR: (f32, usize) = (0.03, 6);
    /// It is halved until it lies within such a share, but no more than so many times; between the ends
    /// the counts tell.
    const WITHIN: (f32, usize) = (0.004, 12);
    let below = |ratio: f32| count_below(now, rest, mask, ratio) - of / 2.0;
    let (mut low, mut high) = ((guess, 0.0), (guess, 0.0));
    let here = below(guess);
    let mut step = 1.0 + NEAR.0;
    if here < 0.0 {
        low.1 = here;
        for _ in 0..NEAR.1 {
            high = (low.0 * step, below(low.0 * step));
            if high.1 >= 0.0 {
                break;
            }
            low = high;
            step *= step;
        }
    } else {
        high.1 = here;
        for _ in 0..NEAR.1 {
            low = (high.0 / step, below(high.0 / step));
            if low.1 < 0.0 {
                break;
            }
            high = low;
            step *= step;
        }
    }
    for _ in 0..WITHIN.1 {
        if high.0 < low.0 * (1.0 + WITHIN.0) {
            break;
        }
        let middle = f32::midpoint(low.0, high.0);
        let count = below(middle);
        if count < 0.0 {
            low = (middle, count);
        } else {
            high = (middle, count);
        }
    }
    let share = -low.1 / (high.1 - low.1).max(1e-6);
    low.0 + (high.0 - low.0) * share.clamp(0.0, 1.0)
}

/// Difference from rest of one row after its light is evened by a factor; nought outside the glass.
pub(super) fn differ(levels: &mut [f32], (now, rest, mask): (&[f32], &[f32], &[f32]), evened: f32) {
    let (offset, evened) = (splat(LIGHT_BASE * evened - LIGHT_BASE), splat(evened));
    let lines = chunks(now).iter().zip(chunks(rest)).zip(chunks(mask));
    for (level, ((now, rest), mask)) in chunks_mut(levels).iter_mut().zip(lines) {
        *level = ((lane(now) * evened + offset - lane(rest)) * lane(mask)).to_array();
    }
}

/// The same with a factor that differs from column to column.
pub(super) fn differ_aslant(
    levels: &mut [f32],
    (now, rest, mask): (&[f32], &[f32], &[f32]),
    evened: impl Fn(f32) -> f32,
) {
    const COUNT: [f32; LANES] = [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0];
    let (base, count) = (splat(LIGHT_BASE), f32x8::new(COUNT));
    let lines = chunks(now).iter().zip(chunks(rest)).zip(chunks(mask));
    let mut col = 0.0;
    let mut left = evened(col);
    for (level, ((now, rest), mask)) in chunks_mut(levels).iter_mut().zip(lines) {
        col += LANES as f32;
        let right = evened(col);
        let evened = splat(left) + count * splat((right - left) / LANES as f32);
        *level = (((lane(now) + base) * evened - base - lane(rest)) * lane(mask)).to_array();
        left = right;
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

/// Squares over the noise variance where it is inside the glass, else nought; and how many samples
/// have an energy over a limit, and how many are over a higher one and so many grey levels off.
pub(super) fn energies(
    energy: &mut [f32],
    (square, noise, mask, levels): (&[f32], &[f32], &[f32], &[f32]),
    scale: Scale,
    (stirred, (far, levels_off)): (f32, (f32, f32)),
) -> (u32, u32) {
    let of_noise = splat(scale.of_noise * scale.dimmed);
    let least = splat(scale.least * scale.dimmed);
    let (one, stirred, far, off) = (splat(1.0), splat(stirred), splat(far), splat(levels_off));
    let (mut some, mut many) = (f32x8::ZERO, f32x8::ZERO);
    let lines = chunks(square).iter().zip(chunks(noise));
    let lines = lines.zip(chunks(mask)).zip(chunks(levels));
    for (energy, (((square, noise), mask), level)) in chunks_mut(energy).iter_mut().zip(lines) {
        let variance = (lane(noise) * of_noise).fast_max(least);
        let here = lane(square) * lane(mask) / variance;
        some += here.simd_gt(stirred) & one;
        many += here.simd_gt(far) & lane(level).abs().simd_gt(off) & one;
        *energy = here.to_array();
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

/// The median of `N` pictures (an odd number) in a range of samples. All are sorted side by side by one
/// network (Batcher's merge exchange; Knuth, The Art of Computer Programming, vol. 3, algorithm
/// 5.2.2M).
pub(super) fn medians<const N: usize>(pictures: [&Array2<f32>; N], from: usize, into: &mut [f32]) {
    let pictures = pictures.map(|picture| {
        let samples = picture.as_slice().and_then(|p| p.get(from..));
        chunks(samples.unwrap_or(&[]))
    });
    for (at, into) in chunks_mut(into).iter_mut().enumerate() {
        let mut sorted = [f32x8::ZERO; N];
        for (value, picture) in sorted.iter_mut().zip(&pictures) {
            if let Some(samples) = picture.get(at) {
                *value = lane(samples);
            }
        }
        let top = N.next_power_of_two() / 2;
        let mut apart = top;
        while apart > 0 {
            let (mut step, mut rest, mut off) = (top, 0, apart);
            loop {
                let (mut low, last) = (0, N - off);
                while low < last {
                    if low & apart == rest {
                        let (a, b) = (sorted[low], sorted[low + off]);
                        (sorted[low], sorted[low + off]) = (a.fast_min(b), a.fast_max(b));
                    }
                    low += 1;
                }
                if step == apart {
                    break;
                }
                off = step - apart;
                step /= 2;
                rest = apart;
            }
            apart /= 2;
        }
        *into = sorted[N / 2].to_array();
    }
}

/// The median of five values.
pub(super) fn middle_of_five([a, b, c, d, e]: [f32; 5]) -> f32 {
    // Without the least and the greatest of the first four, which are not in the middle.
    let (low, high) = (more(less(a, b), less(c, d)), less(more(a, b), more(c, d)));
    more(less(low, high), less(more(low, high), e))
}

/// The lesser of two numbers.
fn less(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

/// The greater of two numbers.
fn more(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The sum of samples, whole lanes of them.
pub(super) fn sum(samples: &[f32]) -> f32 {
    let all = chunks(samples).iter();
    all.fold(f32x8::ZERO, |sum, samples| sum + lane(samples))
        .reduce_add()
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
        let column = |seed: usize| {
            Array2::from_shape_fn((8, 8), |(r, c)| {
                (((r * 8 + c) * 7919 + seed * 104_729) * 2_654_435 % 1000) as f32
            })
        };
        let pictures: Vec<Array2<f32>> = (1..=15).map(column).collect();
        let expected = |of: usize, at: [usize; 2]| {
            let mut sorted: Vec<f32> = pictures[..of].iter().map(|p| p[at]).collect();
            sorted.sort_by(f32::total_cmp);
            sorted[of / 2]
        };
        let mut into = vec![0.0; 48];
        medians::<7>(std::array::from_fn(|at| &pictures[at]), 16, &mut into);
        assert!((0..48).all(|at| into[at] == expected(7, [2 + at / 8, at % 8])));
        medians::<15>(std::array::from_fn(|at| &pictures[at]), 16, &mut into);
        assert!((0..48).all(|at| into[at] == expected(15, [2 + at / 8, at % 8])));
        let five = |at: [usize; 2]| middle_of_five(std::array::from_fn(|of| pictures[of][at]));
        assert!((0..8).all(|at| five([at, at]) == expected(5, [at, at])));
    }

    #[test]
    fn the_median_ratio_is_found_from_afar() {
        let rest: Vec<f32> = (0..160).map(|at| 90.0 + (at % 7) as f32).collect();
        for gain in [0.4_f32, 0.97, 1.0, 1.2, 1.9] {
            let mut now: Vec<f32> = rest.iter().map(|v| (v + 8.0) * gain - 8.0).collect();
            // A bead.
            now[40..80].fill(10.0);
            let found = median_ratio((&now, &rest, &[1.0; 160]), 160.0, 1.0);
            assert!((found / gain - 1.0).abs() < 2e-3, "{found} {gain}");
        }
    }
}
