//! Control charts for the tester: individuals with moving range, exponentially weighted mean, and
//! counts. They tell whether a feed stayed what it was, not whether that was right.

/// Mean of the range of two normal values over their standard deviation, as the source prints it
/// (exactly 2/√π = 1.12838).
const D2: f64 = 1.128;

/// Upper limit of the range of two over its mean, as printed in tables of control chart constants.
const D4: f64 = 3.267;

/// A chart of single values.
#[derive(Clone, Debug, PartialEq)]
pub struct IndividualsChart {
    /// Mean of the values.
    pub mean: f64,
    /// Mean of the moving ranges.
    pub mean_range: f64,
    /// Upper limit of a value.
    pub upper: f64,
    /// Lower limit of a value.
    pub lower: f64,
    /// Upper limit of a moving range.
    pub upper_range: f64,
    /// Index of each value outside its limits.
    pub outside: Vec<usize>,
    /// Index (of the later value) of each moving range over its limit.
    pub ranges_outside: Vec<usize>,
}

/// The individuals and moving-range chart: mean ± 3 × mean moving range / 1.128. None with fewer
/// than two values, or one that is no number.
///
/// Source: NIST/SEMATECH e-Handbook, 6.3.2.2.
///
/// ```
/// // The page's flow rates of ten batches.
/// let flow = [49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1];
/// let chart = beadtally::rate::individuals_chart(&flow).ok_or("ten values")?;
/// assert!((chart.upper - 55.8041).abs() < 5e-5 && (chart.lower - 45.8159).abs() < 5e-5);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn individuals_chart(values: &[f64]) -> Option<IndividualsChart> {
    if values.len() < 2 || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let ranges: Vec<f64> = values
        .windows(2)
        .map(|pair| match *pair {
            [a, b] => (b - a).abs(),
            _ => 0.0,
        })
        .collect();
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let mean_range = ranges.iter().sum::<f64>() / ranges.len() as f64;
    let (upper, lower) = (mean + 3.0 * mean_range / D2, mean - 3.0 * mean_range / D2);
    let upper_range = D4 * mean_range;
    let numbered = |values: &[f64], first: usize, is_out: &dyn Fn(f64) -> bool| -> Vec<usize> {
        let out = values.iter().enumerate().filter(|(_, v)| is_out(**v));
        out.map(|(i, _)| i + first).collect()
    };
    Some(IndividualsChart {
        mean,
        mean_range,
        upper,
        lower,
        upper_range,
        outside: numbered(values, 0, &|v| v > upper || v < lower),
        ranges_outside: numbered(&ranges, 1, &|r| r > upper_range),
    })
}

/// A chart of the exponentially weighted mean.
#[derive(Clone, Debug, PartialEq)]
pub struct EwmaChart {
    /// The weighted mean after each value.
    pub means: Vec<f64>,
    /// Upper limit (that of a long series).
    pub upper: f64,
    /// Lower limit.
    pub lower: f64,
    /// Index of each mean outside the limits.
    pub outside: Vec<usize>,
}

/// The exponentially weighted moving average: each mean is `weight` × value + (1 − `weight`) ×
/// the mean before, started at `target`; limits target ± 3 s √(weight / (2 − weight)). `deviation`
/// s is the standard deviation of single values. None when the weight is not in 0..=1 (0 left
/// out), or anything is no number.
///
/// Source: NIST/SEMATECH e-Handbook, 6.3.2.4.
///
/// ```
/// // The page's example: target 50, weight 0.3, s 2.0539.
/// let chart = beadtally::rate::ewma_chart(&[52.0, 47.0], 50.0, 2.0539, 0.3).ok_or("numbers")?;
/// assert!((chart.means[1] - 49.52).abs() < 0.005 && (chart.upper - 52.5884).abs() < 5e-5);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn ewma_chart(values: &[f64], target: f64, deviation: f64, weight: f64) -> Option<EwmaChart> {
    let usable = weight > 0.0 && weight <= 1.0 && target.is_finite() && deviation >= 0.0;
    if !usable || values.iter().any(|v| !v.is_finite()) {
        return None;
    }
    let reach = 3.0 * deviation * (weight / (2.0 - weight)).sqrt();
    let (upper, lower) = (target + reach, target - reach);
    let mut mean = target;
    let means: Vec<f64> = values
        .iter()
        .map(|value| {
            mean = weight * value + (1.0 - weight) * mean;
            mean
        })
        .collect();
    let out = means.iter().enumerate();
    let outside = out
        .filter(|(_, m)| **m > upper || **m < lower)
        .map(|(i, _)| i)
        .collect();
    Some(EwmaChart {
        means,
        upper,
        lower,
        outside,
    })
}

/// A chart of counts in equal times.
#[derive(Clone, Debug, PartialEq)]
pub struct CountsChart {
    /// Mean count.
    pub mean: f64,
    /// Upper limit: mean + 3 √mean.
    pub upper: f64,
    /// Lower limit, or none: with a mean count under nine, three standard deviations reach below
    /// zero and the chart cannot warn of a stop.
    pub lower: Option<f64>,
    /// Index of each count outside (a count *on* a limit is inside).
    pub outside: Vec<usize>,
}

/// The chart of counts (c chart). None without counts.
///
/// Source: NIST/SEMATECH e-Handbook, 6.3.3.1. Made for Poisson counts: a regular feed scatters far
/// less, so these limits are wide for it.
///
/// ```
/// // Counts of drops in ten spells of four minutes (invented).
/// let counts = [9, 10, 10, 11, 9, 10, 10, 11, 10, 10];
/// let chart = beadtally::rate::counts_chart(&counts).ok_or("ten counts")?;
/// assert_eq!((chart.mean, chart.outside.len()), (10.0, 0));
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn counts_chart(counts: &[u64]) -> Option<CountsChart> {
    if counts.is_empty() {
        return None;
    }
    let mean = counts.iter().map(|c| *c as f64).sum::<f64>() / counts.len() as f64;
    let reach = 3.0 * mean.sqrt();
    let upper = mean + reach;
    let lower = (mean > reach).then_some(mean - reach);
    let is_out = |count: f64| count > upper || lower.is_some_and(|lower| count < lower);
    let out = counts.iter().enumerate();
    let outside = out
        .filter(|(_, c)| is_out(**c as f64))
        .map(|(i, _)| i)
        .collect();
    Some(CountsChart {
        mean,
        upper,
        lower,
        outside,
    })
}
