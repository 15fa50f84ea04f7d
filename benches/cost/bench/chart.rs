//! Draws how cost grows, as one SVG of four small plots. It measures nothing.

use std::fmt::Write;

use super::sheet::Figure;

/// Size of one plot and the room round it, pixels.
const PLOT: (f64, f64) = (300.0, 180.0);
const ROOM: f64 = 50.0;
/// Lines of different series.
const DASHES: [&str; 3] = ["none", "6 3", "2 3"];

struct Series {
    name: String,
    points: Vec<(f64, f64)>,
}

/// The chart of the figures.
#[must_use]
pub fn draw(figures: &[Figure]) -> String {
    let mut svg = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {} {}\" font-family=\"sans-serif\" \
         font-size=\"11\"><rect width=\"100%\" height=\"100%\" fill=\"white\"/>\n",
        2.0 * (PLOT.0 + 2.0 * ROOM),
        2.0 * (PLOT.1 + 2.0 * ROOM)
    );
    let whole = |f: &&Figure| f.part == "measure" && f.what.ends_with("glasses: a whole frame");
    let key = |f: &Figure| -> Option<(String, f64, f64)> {
        let (size, rest) = f.what.split_once(", ")?;
        let (w, h) = size.split_once('x')?;
        let pixels = w.parse::<f64>().ok()? * h.parse::<f64>().ok()? / 1e6;
        Some((
            size.to_owned(),
            rest.split_whitespace().next()?.parse().ok()?,
            pixels,
        ))
    };
    let mut by_size: Vec<Series> = Vec::new();
    let mut by_glasses: Vec<Series> = Vec::new();
    for figure in figures.iter().filter(whole) {
        let Some((size, glasses, pixels)) = key(figure) else {
            continue;
        };
        push(&mut by_size, &size, (glasses, figure.value));
        if [1.0, 3.0, 6.0].contains(&glasses) {
            push(
                &mut by_glasses,
                &format!("glasses: {glasses}"),
                (pixels, figure.value),
            );
        }
    }
    let mut hours = Vec::new();
    let mut runs = Vec::new();
    for figure in figures {
        let number = |from: &str, to: &str| -> Option<f64> {
            let rest = figure.what.split_once(from)?.1;
            rest.split_once(to)?.0.trim().parse().ok()
        };
        match figure.part {
            "hours" if figure.unit == "µs a frame" => {
                if let Some(hour) = number("after ", " h") {
                    push(&mut hours, "µs a frame", (hour, figure.value));
                }
            }
            "logbook" if figure.unit == "ms" => {
                let count = figure.what.split_whitespace().next();
                if let (Some(count), Some((_, what))) = (
                    count.and_then(|c| c.parse().ok()),
                    figure.what.split_once(": "),
                ) {
                    push(&mut runs, what, (count, figure.value));
                }
            }
            _ => {}
        }
    }
    for (place, (series, title, x, y)) in [
        (by_size, "A frame against glasses", "glasses", "µs"),
        (by_glasses, "A frame against pixels", "megapixels", "µs"),
        (hours, "A frame against hours", "hours", "µs"),
        (
            runs,
            "The logbook against its runs",
            "runs of an hour",
            "ms",
        ),
    ]
    .into_iter()
    .enumerate()
    {
        let left = ROOM + (place % 2) as f64 * (PLOT.0 + 2.0 * ROOM);
        let top = ROOM + (place / 2) as f64 * (PLOT.1 + 2.0 * ROOM);
        plot(&mut svg, (left, top), &series, title, (x, y));
    }
    svg.push_str("</svg>\n");
    svg
}

fn push(all: &mut Vec<Series>, name: &str, point: (f64, f64)) {
    if let Some(series) = all.iter_mut().find(|series| series.name == name) {
        series.points.push(point);
    } else {
        all.push(Series {
            name: name.to_owned(),
            points: vec![point],
        });
    }
}

/// A round number at or above a value.
fn round_up(value: f64) -> f64 {
    let ten = 10_f64.powf(value.max(1e-9).log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|step| step * ten)
        .find(|round| *round >= value)
        .unwrap_or(value)
}

fn plot(
    svg: &mut String,
    (left, top): (f64, f64),
    all: &[Series],
    title: &str,
    (x, y): (&str, &str),
) {
    if all.is_empty() {
        return;
    }
    let most = |of: fn(&(f64, f64)) -> f64| {
        let values = all.iter().flat_map(|series| series.points.iter().map(of));
        values.fold(0.0, f64::max)
    };
    // The names of the series stand above the lines.
    let (most_x, most_y) = (round_up(most(|p| p.0)), round_up(1.4 * most(|p| p.1)));
    let (bottom, right) = (top + PLOT.1, left + PLOT.0);
    // Writing to a string cannot fail.
    let _ = writeln!(
        svg,
        "<text x=\"{left}\" y=\"{}\" font-size=\"13\">{title}</text>\
         <path d=\"M{left} {top}V{bottom}H{right}\" stroke=\"black\" fill=\"none\"/>\
         <text x=\"{left}\" y=\"{}\">0</text>\
         <text x=\"{right}\" y=\"{}\" text-anchor=\"end\">{most_x} {x}</text>\
         <text x=\"{}\" y=\"{}\" text-anchor=\"end\">{most_y} {y}</text>",
        top - 16.0,
        bottom + 15.0,
        bottom + 15.0,
        left - 4.0,
        top + 4.0,
    );
    for (n, series) in all.iter().enumerate() {
        let at = |p: &(f64, f64)| (left + PLOT.0 * p.0 / most_x, bottom - PLOT.1 * p.1 / most_y);
        let path: Vec<String> = series
            .points
            .iter()
            .map(|p| format!("{:.1},{:.1}", at(p).0, at(p).1))
            .collect();
        let _ = writeln!(
            svg,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"black\" stroke-dasharray=\"{}\"/>\
             <text x=\"{}\" y=\"{}\">{}</text>\
             <path d=\"M{} {}h24\" stroke=\"black\" stroke-dasharray=\"{}\"/>",
            path.join(" "),
            DASHES[n % DASHES.len()],
            left + 40.0,
            top + 12.0 + 14.0 * n as f64,
            series.name,
            left + 10.0,
            top + 8.0 + 14.0 * n as f64,
            DASHES[n % DASHES.len()],
        );
    }
}
