//! Sums over neighbouring samples of a straightened glass: smoothing, and the mean square of
//! differences. Plain arithmetic on rows; what it means is said in `rest`.

/// Smooths rows of `cols` by 1-4-6-4-1 both ways.
pub(super) fn smooth(levels: &mut [f32], cols: usize, scratch: &mut Vec<f32>) {
    if cols < 3 || levels.len() < 3 * cols {
        return;
    }
    for _ in 0..2 {
        for line in levels.chunks_exact_mut(cols) {
            let mut before = 0.0;
            for at in 0..cols {
                let here = line[at];
                let after = line.get(at + 1).copied().unwrap_or(0.0);
                line[at] = 0.25 * (before + 2.0 * here + after);
                before = here;
            }
        }
        scratch.clear();
        scratch.resize(cols, 0.0);
        let rows = levels.len() / cols;
        for row in 0..rows {
            for (at, above) in (row * cols..).zip(scratch.iter_mut()) {
                let here = levels[at];
                let after = levels.get(at + cols).copied().unwrap_or(0.0);
                levels[at] = 0.25 * (*above + 2.0 * here + after);
                *above = here;
            }
        }
    }
}

/// Mean of squares over 3 × 3 samples, rows of `cols`.
pub(super) fn mean_square(levels: &[f32], cols: usize, into: &mut [f32], across: &mut Vec<f32>) {
    across.clear();
    across.resize(levels.len(), 0.0);
    if cols == 0 {
        return;
    }
    for (line, out) in levels.chunks_exact(cols).zip(across.chunks_exact_mut(cols)) {
        for (value, level) in out.iter_mut().zip(line) {
            *value = level * level * (1.0 / 9.0);
        }
    }
    // Down the columns first, then along the rows.
    let last = levels.len() / cols;
    for row in 0..last {
        let line = row * cols..(row + 1) * cols;
        let above = row.saturating_sub(1) * cols;
        let below = (row + 1).min(last - 1) * cols;
        let (up, down) = (
            f32::from(u8::from(row > 0)),
            f32::from(u8::from(row + 1 < last)),
        );
        for (((value, here), above), below) in into[line.clone()]
            .iter_mut()
            .zip(&across[line])
            .zip(&across[above..above + cols])
            .zip(&across[below..below + cols])
        {
            *value = here + up * above + down * below;
        }
    }
    for line in into.chunks_exact_mut(cols) {
        let mut before = 0.0;
        for at in 0..cols {
            let here = line[at];
            let after = line.get(at + 1).copied().unwrap_or(0.0);
            line[at] = before + here + after;
            before = here;
        }
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
