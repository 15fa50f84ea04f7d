//! Allan deviation of a rate against averaging time: over which time a feed is steadiest, and
//! where drift begins. Input is a series of rates over equal, adjoining spells; how it is made
//! from drops, and what to do about blind spells, is for the caller.
//!
//! Source of the formulas: W. J. Riley, *Handbook of Frequency Stability Analysis*, NIST Special
//! Publication 1065 (2008). Unit of every result: that of the values.

/// The Allan deviation at an averaging time of `group` values: √(½ mean of squared differences of
/// adjoining group means), groups not overlapping. None when there are fewer than two groups, or
/// a value is no number.
///
/// ```
/// // The nine-point set of NIST SP 1065: 91.22945 at one, 115.8082 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::allan_deviation(&y, 2).ok_or("nine values")?;
/// assert!((two - 115.8082).abs() < 5e-5);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn allan_deviation(values: &[f64], group: usize) -> Option<f64> {
    let means = group_means(values, group)?;
    root_half_mean_square(means.windows(2).filter_map(|pair| match *pair {
        [a, b] => Some(b - a),
        _ => None,
    }))
}

/// The overlapping Allan deviation at an averaging time of `group` values: as the plain one, but
/// with a group starting at every value, which uses the data better. None with fewer than
/// 2 × `group` values, or one that is no number.
///
/// ```
/// // The nine-point set of NIST SP 1065: 85.95287 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::overlapping_allan_deviation(&y, 2).ok_or("nine values")?;
/// assert!((two - 85.95287).abs() < 5e-6);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn overlapping_allan_deviation(values: &[f64], group: usize) -> Option<f64> {
    if group == 0 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let phase = phase(values);
    let ends = phase
        .iter()
        .zip(phase.iter().skip(group))
        .zip(phase.iter().skip(group.checked_mul(2)?));
    root_half_mean_square(ends.map(|((a, b), c)| (c - 2.0 * b + a) / group as f64))
}

/// The modified Allan deviation at an averaging time of `group` values: overlapping, with the
/// second differences averaged over `group` of them before squaring, which tells white noise of
/// reading times from noise of the feed. None with fewer than 3 × `group` − 1 values, or one that
/// is no number.
///
/// ```
/// // The nine-point set of NIST SP 1065: 74.78849 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::modified_allan_deviation(&y, 2).ok_or("nine values")?;
/// assert!((two - 74.78849).abs() < 5e-6);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn modified_allan_deviation(values: &[f64], group: usize) -> Option<f64> {
    if group == 0 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let phase = phase(values);
    let seconds: Vec<f64> = phase
        .iter()
        .zip(phase.iter().skip(group))
        .zip(phase.iter().skip(group.checked_mul(2)?))
        .map(|((a, b), c)| c - 2.0 * b + a)
        .collect();
    let per = (group as f64) * (group as f64);
    let means = seconds
        .windows(group)
        .map(|window| window.iter().sum::<f64>() / per);
    root_half_mean_square(means)
}

/// The time deviation at an averaging time of `group` values that are `spacing` apart: the modified
/// Allan deviation × averaging time / √3. Unit: that of the values × that of the spacing; of a rate
/// in drops a minute and a spacing in minutes, drops: how far the count runs ahead or behind. None
/// as for [`modified_allan_deviation`].
///
/// ```
/// // The nine-point set of NIST SP 1065: 52.67135 at one, 86.35831 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::time_deviation(&y, 2, 1.0).ok_or("nine values")?;
/// assert!((two - 86.35831).abs() < 5e-6);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn time_deviation(values: &[f64], group: usize, spacing: f64) -> Option<f64> {
    let modified = modified_allan_deviation(values, group)?;
    Some(modified * group as f64 * spacing / 3.0_f64.sqrt())
}

/// The Hadamard deviation at an averaging time of `group` values: as the plain Allan deviation, but
/// of second differences of the group means (a sixth of their mean square), which a steady drift
/// leaves alone. None with fewer than three groups, or a value that is no number.
///
/// ```
/// // The nine-point set of NIST SP 1065: 70.80607 at one, 116.7980 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::hadamard_deviation(&y, 2).ok_or("nine values")?;
/// assert!((two - 116.7980).abs() < 5e-5);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn hadamard_deviation(values: &[f64], group: usize) -> Option<f64> {
    let means = group_means(values, group)?;
    let seconds = means.windows(3).filter_map(|three| match *three {
        [a, b, c] => Some(c - 2.0 * b + a),
        _ => None,
    });
    root_half_mean_square(seconds).map(|root| root / 3.0_f64.sqrt())
}

/// The overlapping Hadamard deviation: with a group starting at every value. None with fewer than
/// 3 × `group` values, or one that is no number.
///
/// ```
/// // The nine-point set of NIST SP 1065: 85.61487 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::overlapping_hadamard_deviation(&y, 2).ok_or("nine values")?;
/// assert!((two - 85.61487).abs() < 5e-6);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn overlapping_hadamard_deviation(values: &[f64], group: usize) -> Option<f64> {
    if group == 0 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let phase = phase(values);
    let thirds = phase
        .iter()
        .zip(phase.iter().skip(group))
        .zip(phase.iter().skip(group.checked_mul(2)?))
        .zip(phase.iter().skip(group.checked_mul(3)?))
        .map(|(((a, b), c), d)| (d - 3.0 * c + 3.0 * b - a) / group as f64);
    root_half_mean_square(thirds).map(|root| root / 3.0_f64.sqrt())
}

/// The total deviation at an averaging time of `group` values: the overlapping Allan deviation of
/// the series carried on beyond both ends by its own reflection, which says more of long averaging
/// times. None with fewer than two values, a group longer than the series, or a value that is no
/// number.
///
/// ```
/// // The nine-point set of NIST SP 1065: 93.90379 at two.
/// let y = [892.0, 809.0, 823.0, 798.0, 671.0, 644.0, 883.0, 903.0, 677.0];
/// let two = beadtally::rate::total_deviation(&y, 2).ok_or("nine values")?;
/// assert!((two - 93.90379).abs() < 5e-6);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn total_deviation(values: &[f64], group: usize) -> Option<f64> {
    let is_odd = values.iter().any(|v| !v.is_finite());
    if group == 0 || group > values.len() || values.len() < 2 || is_odd {
        return None;
    }
    let phase = phase(values);
    let last = phase.len() - 1;
    // Reflected about the first and the last point.
    let at = |index: isize| -> Option<f64> {
        let end = last as isize;
        if index < 0 {
            Some(2.0 * phase.first()? - phase.get(index.unsigned_abs())?)
        } else if index > end {
            let back = usize::try_from(2 * end - index).ok()?;
            Some(2.0 * phase.last()? - phase.get(back)?)
        } else {
            phase.get(index.unsigned_abs()).copied()
        }
    };
    let reach = isize::try_from(group).ok()?;
    let seconds = (1..last as isize).map(|i| {
        let (a, b, c) = (at(i - reach)?, at(i)?, at(i + reach)?);
        Some((c - 2.0 * b + a) / group as f64)
    });
    let seconds: Option<Vec<f64>> = seconds.collect();
    root_half_mean_square(seconds?.into_iter())
}

/// The running sum, started at 0: what the source calls phase. The mean is taken out first, so
/// that the sum stays small.
fn phase(values: &[f64]) -> Vec<f64> {
    let mean = values.iter().sum::<f64>() / values.len().max(1) as f64;
    let mut sum = 0.0;
    let mut phase = Vec::with_capacity(values.len() + 1);
    phase.push(0.0);
    for value in values {
        sum += value - mean;
        phase.push(sum);
    }
    phase
}

/// Means of adjoining groups of `group` values, a rest at the end left out. None for no group, or
/// when a value is no number.
fn group_means(values: &[f64], group: usize) -> Option<Vec<f64>> {
    if group == 0 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let mean = |chunk: &[f64]| chunk.iter().sum::<f64>() / group as f64;
    Some(values.chunks_exact(group).map(mean).collect())
}

fn root_half_mean_square(values: impl Iterator<Item = f64>) -> Option<f64> {
    let (mut sum, mut count) = (0.0, 0_usize);
    for value in values {
        sum += value * value;
        count += 1;
    }
    (count > 0).then(|| (sum / count as f64 / 2.0).sqrt())
}
