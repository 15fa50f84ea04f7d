//! Sums over neighbouring samples of a straightened glass: smoothing, and the mean square of
//! differences. Plain arithmetic on rows; what it means is said in `rest`.

/// Smooths rows of `cols` by 1-4-6-4-1 both ways.
pub(super) fn smooth(levels: &mut [f32], cols: usize, scratch: &mut Vec<f32>) {
    if cols < 3 || levels.len() < 3 * cols {
        return;
    }
    let wanted = levels.len() + 2 * cols;
    scratch.resize(wanted.max(scratch.len()), 0.0);
    scratch[..cols].fill(0.0);
    scratch[wanted - cols..wanted].fill(0.0);
    for _ in 0..2 {
        // Down the columns into the scratch, which has an empty line at either end.
        scratch[cols..cols + levels.len()].copy_from_slice(levels);
        let lines = levels.chunks_exact_mut(cols).enumerate();
        for (row, line) in lines {
            let above = &scratch[row * cols..];
            let (here, below) = (&above[cols..], &above[2 * cols..]);
            for (((value, above), here), below) in line.iter_mut().zip(above).zip(here).zip(below) {
                *value = 0.25 * (above + 2.0 * here + below);
            }
        }
        // Along the rows.
        for (line, copy) in levels
            .chunks_exact_mut(cols)
            .zip(scratch.chunks_exact_mut(cols))
        {
            copy.copy_from_slice(line);
            along(copy, line, |before, here, after| {
                0.25 * (before + 2.0 * here + after)
            });
        }
        scratch[..cols].fill(0.0);
    }
}

/// Each value of a line made of itself and its neighbours, of which there are none beyond the ends.
fn along(from: &[f32], into: &mut [f32], mixed: impl Fn(f32, f32, f32) -> f32) {
    let last = from.len().saturating_sub(1);
    if let (Some(first), Some(next)) = (from.first(), from.get(1)) {
        into[0] = mixed(0.0, *first, *next);
        into[last] = mixed(from[last - 1], from[last], 0.0);
    } else if let Some(only) = from.first() {
        into[0] = mixed(0.0, *only, 0.0);
    }
    if from.len() > 2 {
        let (here, after) = (&from[1..], &from[2..]);
        for (((value, before), here), after) in
            into[1..last].iter_mut().zip(from).zip(here).zip(after)
        {
            *value = mixed(*before, *here, *after);
        }
    }
}

/// Mean of squares over 3 × 3 samples, rows of `cols`. The ends of neighbouring rows count as
/// neighbours: there is nothing beyond the walls of a glass.
pub(super) fn mean_square(levels: &[f32], cols: usize, into: &mut [f32], scratch: &mut Vec<f32>) {
    let count = levels.len();
    if cols == 0 || into.len() != count {
        return;
    }
    // Squares with an empty line at either end, then the sums down the columns with an empty place at
    // either end.
    let wanted = 2 * count + 2 * cols + 2;
    if scratch.len() < wanted {
        scratch.resize(wanted, 0.0);
    }
    let (squares, sums) = scratch.split_at_mut(count + 2 * cols);
    squares[..cols].fill(0.0);
    squares[count + cols..].fill(0.0);
    for (square, level) in squares[cols..].iter_mut().zip(levels) {
        *square = level * level * (1.0 / 9.0);
    }
    (sums[0], sums[count + 1]) = (0.0, 0.0);
    let (above, here, below) = (&squares[..count], &squares[cols..], &squares[2 * cols..]);
    for (((sum, a), b), c) in sums[1..].iter_mut().zip(above).zip(here).zip(below) {
        *sum = a + b + c;
    }
    let (before, here, after) = (&sums[..count], &sums[1..], &sums[2..]);
    for (((value, a), b), c) in into.iter_mut().zip(before).zip(here).zip(after) {
        *value = a + b + c;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smoothing_keeps_what_is_even_and_lessens_noise() {
        let mut even = vec![5.0_f32; 20 * 9];
        smooth(&mut even, 9, &mut Vec::new());
        assert!((even[10 * 9 + 4] - 5.0).abs() < 1e-5);
        let mut one = vec![0.0_f32; 20 * 9];
        one[10 * 9 + 4] = 256.0;
        smooth(&mut one, 9, &mut Vec::new());
        assert_eq!(one[10 * 9 + 4], 36.0);
        assert_eq!(one[10 * 9 + 2], 6.0);
        assert_eq!(one[8 * 9 + 2], 1.0);
        assert_eq!(one.iter().sum::<f32>(), 256.0);
    }

    #[test]
    fn a_lone_difference_is_shared_by_nine() {
        let mut one = vec![0.0_f32; 5 * 7];
        one[2 * 7 + 3] = 3.0;
        let mut square = vec![0.0_f32; 5 * 7];
        mean_square(&one, 7, &mut square, &mut Vec::new());
        let marked = square.iter().filter(|v| (**v - 1.0).abs() < 1e-6).count();
        assert_eq!(marked, 9);
        assert_eq!(square.iter().sum::<f32>(), 9.0);
    }
}
