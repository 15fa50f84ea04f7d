//! What was measured, as rows that can be printed and kept. It measures nothing.

use serde::Serialize;

/// One figure.
#[derive(Clone, Debug, Serialize)]
pub struct Figure {
    /// Which part of the bench.
    pub part: &'static str,
    /// What was measured, in words.
    pub what: String,
    /// The figure.
    pub value: f64,
    /// Its unit.
    pub unit: &'static str,
    /// The floor under it in the same unit, when there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub floor: Option<f64>,
}

/// All figures.
#[derive(Debug, Default)]
pub struct Sheet {
    /// In the order measured.
    pub figures: Vec<Figure>,
}

impl Sheet {
    /// Keeps and prints one figure.
    pub fn tell(&mut self, figure: Figure) {
        let floor = figure.floor.map_or_else(String::new, |floor| {
            format!(
                "  floor {} ({:.0}×)",
                number(floor),
                figure.value / floor.max(f64::MIN_POSITIVE)
            )
        });
        println!(
            "{:10} {:52} {:>10} {}{floor}",
            figure.part,
            figure.what,
            number(figure.value),
            figure.unit
        );
        self.figures.push(figure);
    }
}

/// Three figures that mean something.
#[must_use]
pub fn number(value: f64) -> String {
    match value.abs() {
        v if v >= 100.0 => format!("{value:.0}"),
        v if v >= 10.0 => format!("{value:.1}"),
        v if v >= 1.0 => format!("{value:.2}"),
        _ => format!("{value:.4}"),
    }
}

/// The median; not a number when there is none.
#[must_use]
pub fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => f64::NAN,
        n if n % 2 == 1 => values[n / 2],
        n => f64::midpoint(values[n / 2 - 1], values[n / 2]),
    }
}
