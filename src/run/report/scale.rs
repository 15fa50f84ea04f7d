//! From values to places in a figure, and the round values at which an axis is marked. It draws
//! nothing.

/// How values lie along an axis.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spread {
    /// Evenly.
    Even,
    /// Their logarithms evenly.
    Logarithmic,
}

/// An axis: values and the places they stand at, pixels of the figure.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Scale {
    from: f64,
    to: f64,
    from_px: f64,
    to_px: f64,
    spread: Spread,
}

impl Scale {
    /// An axis from one value to a larger one. What cannot be spread (no number, no length, a
    /// logarithm of nothing) is widened until it can.
    #[must_use]
    pub fn new((from, to): (f64, f64), (from_px, to_px): (f64, f64), spread: Spread) -> Self {
        let usable = |v: f64| v.is_finite() && (spread == Spread::Even || v > 0.0);
        let from = if usable(from) { from } else { 1.0 };
        let to = if usable(to) && to > from {
            to
        } else if spread == Spread::Even {
            from + 1.0
        } else {
            from * 10.0
        };
        Self {
            from,
            to,
            from_px,
            to_px,
            spread,
        }
    }

    /// The place of a value, kept within the axis and a little beyond, so that no place is absurd.
    #[must_use]
    pub fn px(&self, value: f64) -> f64 {
        let share = match self.spread {
            Spread::Even => (value - self.from) / (self.to - self.from),
            Spread::Logarithmic => {
                (value / self.from).max(f64::MIN_POSITIVE).ln() / (self.to / self.from).ln()
            }
        };
        let share = if share.is_nan() {
            0.0
        } else {
            share.clamp(-0.5, 1.5)
        };
        self.from_px + share * (self.to_px - self.from_px)
    }

    /// Whether a value lies on the axis.
    #[must_use]
    pub fn holds(&self, value: f64) -> bool {
        (self.from..=self.to).contains(&value)
    }

    /// The ends, values.
    #[must_use]
    pub fn ends(&self) -> (f64, f64) {
        (self.from, self.to)
    }

    /// Round values along the axis, about so many, each with its words.
    #[must_use]
    pub fn ticks(&self, about: usize) -> Vec<(f64, String)> {
        match self.spread {
            Spread::Even => even_ticks(self.from, self.to, about),
            Spread::Logarithmic => logarithmic_ticks(self.from, self.to),
        }
    }
}

/// Multiples of 1, 2 or 5 times a power of ten.
fn even_ticks(from: f64, to: f64, about: usize) -> Vec<(f64, String)> {
    let rough = (to - from) / about.max(1) as f64;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|times| times * power)
        .find(|step| *step >= rough * 0.999)
        .unwrap_or(10.0 * power);
    let decimals = (-step.log10().floor()).clamp(0.0, 6.0) as usize;
    multiples(from, to, step)
        .map(|value| {
            // Minus nothing is nothing.
            let value = if value == 0.0 { 0.0 } else { value };
            (value, format!("{value:.decimals$}"))
        })
        .collect()
}

/// 1, 2, 5 times powers of ten.
fn logarithmic_ticks(from: f64, to: f64) -> Vec<(f64, String)> {
    let first = from.log10().floor() as i32;
    let last = to.log10().ceil() as i32;
    (first..=last)
        .flat_map(|power| [1.0, 2.0, 5.0].map(|times| times * 10f64.powi(power)))
        .filter(|value| (from * 0.999..=to * 1.001).contains(value))
        .map(|value| (value, trimmed(value)))
        .collect()
}

fn trimmed(value: f64) -> String {
    super::words::trimmed(value)
}

fn multiples(from: f64, to: f64, step: f64) -> impl Iterator<Item = f64> {
    // A hair of room, so that an end that is a multiple is marked.
    let first = (from / step - 1e-9).ceil() as i64;
    let last = (to / step + 1e-9).floor() as i64;
    (first..=last.min(first + 100)).map(move |n| n as f64 * step)
}

/// Steps of time that read well, seconds.
const TIME_STEPS_SECS: [f64; 14] = [
    1.0, 2.0, 5.0, 10.0, 20.0, 30.0, 60.0, 120.0, 300.0, 600.0, 1800.0, 3600.0, 7200.0, 14_400.0,
];

/// Round times along an axis in seconds since the start, at most so many, each as `0:10`
/// (hours and minutes), or with seconds where the steps are under a minute.
#[must_use]
pub fn time_ticks(scale: &Scale, most: usize) -> Vec<(f64, String)> {
    let (from, to) = scale.ends();
    let rough = (to - from) / most.max(1) as f64;
    let step = TIME_STEPS_SECS
        .into_iter()
        .find(|step| *step >= rough)
        .unwrap_or_else(|| (rough / 86_400.0).ceil() * 86_400.0);
    multiples(from, to, step)
        .map(|secs| {
            let whole = super::words::elapsed(secs);
            let words = if step < 60.0 {
                whole
            } else {
                whole.get(..whole.len() - 3).unwrap_or(&whole).to_owned()
            };
            (secs, words)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn words(ticks: Vec<(f64, String)>) -> Vec<String> {
        ticks.into_iter().map(|(_, words)| words).collect()
    }

    #[test]
    fn ticks_are_round() {
        let scale = Scale::new((0.0, 4.1), (0.0, 100.0), Spread::Even);
        assert_eq!(words(scale.ticks(5)), ["0", "1", "2", "3", "4"]);
        let scale = Scale::new((-0.3, 0.3), (0.0, 100.0), Spread::Even);
        assert_eq!(
            words(scale.ticks(6)),
            ["-0.3", "-0.2", "-0.1", "0.0", "0.1", "0.2", "0.3"]
        );
        let scale = Scale::new((30.0, 700.0), (0.0, 100.0), Spread::Logarithmic);
        assert_eq!(words(scale.ticks(5)), ["50", "100", "200", "500"]);
        let scale = Scale::new((0.0, 3600.0), (0.0, 100.0), Spread::Even);
        assert_eq!(
            words(time_ticks(&scale, 8)),
            ["0:00", "0:10", "0:20", "0:30", "0:40", "0:50", "1:00"]
        );
        let scale = Scale::new((0.0, 60.0), (0.0, 100.0), Spread::Even);
        assert_eq!(words(time_ticks(&scale, 3))[1], "0:00:20");
    }

    #[test]
    fn places_follow_values_and_are_never_absurd() {
        let scale = Scale::new((0.0, 10.0), (100.0, 0.0), Spread::Even);
        assert_eq!(
            (scale.px(0.0), scale.px(5.0), scale.px(10.0)),
            (100.0, 50.0, 0.0)
        );
        assert_eq!(scale.px(f64::INFINITY), -50.0);
        assert_eq!(scale.px(f64::NAN), 100.0);
        let log = Scale::new((1.0, 100.0), (0.0, 100.0), Spread::Logarithmic);
        assert!((log.px(10.0) - 50.0).abs() < 1e-9);
        assert!(log.px(0.0).is_finite() && log.px(-1.0).is_finite());
        for (from, to) in [
            (f64::NAN, 1.0),
            (1.0, 1.0),
            (5.0, -5.0),
            (0.0, f64::INFINITY),
        ] {
            for spread in [Spread::Even, Spread::Logarithmic] {
                let scale = Scale::new((from, to), (0.0, 1.0), spread);
                assert!(scale.px(3.0).is_finite());
                assert!(scale.ticks(5).len() < 200);
            }
        }
    }
}
