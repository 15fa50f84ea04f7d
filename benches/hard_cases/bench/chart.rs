//! F1 against level, a small chart for each disturbance, as one SVG.

use std::fmt::Write;

use super::row::{DRAWN, Pool, RECORDED};

/// Charts side by side.
const COLUMNS: usize = 5;
/// Size of one chart's field, and what stands round it, px.
const FIELD: (f64, f64) = (150.0, 84.0);
const CELL: (f64, f64) = (190.0, 136.0);
const HEAD: f64 = 74.0;
/// Lowest F1 on the chart.
const LOWEST: f64 = 0.5;
/// Largest level on the chart.
const FARTHEST: f64 = 2.0;

/// Colours that differ for every kind of eye, and in grey (Okabe and Ito, from memory).
const OURS: &str = "#0072b2";
const THEIRS: &str = "#d55e00";

/// The chart; `caption` says when and how it was made.
#[must_use]
pub fn svg(pools: &[Pool], caption: &str) -> String {
    let mut panels: Vec<(&'static str, String)> = Vec::new();
    for pool in pools {
        let key = (pool.way, pool.disturbance.clone());
        let whole = pool.level > 0.0 && !pool.disturbance.starts_with("idle");
        if whole && !panels.contains(&key) {
            panels.push(key);
        }
    }
    panels.sort_by_key(|(way, _)| *way == RECORDED);
    let rows = panels.len().div_ceil(COLUMNS);
    let width = CELL.0 * COLUMNS as f64 + 20.0;
    let height = HEAD + CELL.1 * rows as f64 + 10.0;
    let mut out = format!(
        "<svg xmlns=\"http://www.w3.org/2000/svg\" viewBox=\"0 0 {width} {height}\" \
         font-family=\"sans-serif\" font-size=\"11\">\n\
         <rect width=\"100%\" height=\"100%\" fill=\"#fff\"/>\n\
         <text x=\"14\" y=\"22\" font-size=\"15\">F1 against level: 1 is the range that must hold, \
         2 is twice that</text>\n\
         <text x=\"14\" y=\"40\" fill=\"#444\">{}</text>\n\
         <path d=\"M14 56h24\" stroke=\"{OURS}\" stroke-width=\"2\"/>\
         <text x=\"42\" y=\"60\">beadtally</text>\n\
         <path d=\"M120 56h24\" stroke=\"{THEIRS}\" stroke-width=\"2\" stroke-dasharray=\"5 3\"/>\
         <text x=\"148\" y=\"60\">an OpenCV counter at its best settings for each clip</text>\n",
        escaped(caption)
    );
    for (index, (way, name)) in panels.iter().enumerate() {
        let left = 34.0 + CELL.0 * (index % COLUMNS) as f64;
        let top = HEAD + 18.0 + CELL.1 * (index / COLUMNS) as f64;
        panel(&mut out, pools, way, name, (left, top));
    }
    out.push_str("</svg>\n");
    out
}

fn panel(out: &mut String, pools: &[Pool], way: &str, name: &str, (left, top): (f64, f64)) {
    let of =
        |pool: &&Pool| pool.way == way && (pool.disturbance == name || pool.disturbance == "plain");
    let x = |level: f64| left + FIELD.0 * (level / FARTHEST).min(1.0);
    let y = |f1: f64| top + FIELD.1 * (1.0 - (f1.max(LOWEST) - LOWEST) / (1.0 - LOWEST));
    let title = if way == DRAWN {
        name.to_owned()
    } else {
        format!("{name} (recorded)")
    };
    // Writing to a string cannot fail.
    let _ = writeln!(
        out,
        "<text x=\"{left}\" y=\"{:.0}\">{}</text>\n\
         <rect x=\"{left}\" y=\"{top}\" width=\"{}\" height=\"{}\" fill=\"#eef3f7\"/>\n\
         <rect x=\"{left}\" y=\"{top}\" width=\"{}\" height=\"{}\" fill=\"none\" stroke=\"#999\"/>",
        top - 5.0,
        escaped(&title),
        x(1.0) - left,
        FIELD.1,
        FIELD.0,
        FIELD.1
    );
    for f1 in [0.5, 0.75, 1.0] {
        let _ = writeln!(
            out,
            "<text x=\"{:.0}\" y=\"{:.0}\" text-anchor=\"end\" fill=\"#666\" font-size=\"9\">{f1}</text>",
            left - 3.0,
            y(f1) + 3.0
        );
    }
    for level in [0.0, 1.0, 2.0] {
        let _ = writeln!(
            out,
            "<text x=\"{:.0}\" y=\"{:.0}\" text-anchor=\"middle\" fill=\"#666\" font-size=\"9\">{level}</text>",
            x(level),
            top + FIELD.1 + 11.0
        );
    }
    let mut theirs: Vec<(f64, f64)> = pools
        .iter()
        .filter(of)
        .filter_map(|pool| pool.beside.map(|(theirs, _)| (pool.level, theirs.f1())))
        .collect();
    let mut ours: Vec<(f64, f64)> = pools
        .iter()
        .filter(of)
        .map(|pool| (pool.level, pool.score.f1()))
        .collect();
    for (line, colour, dash) in [(&mut theirs, THEIRS, "5 3"), (&mut ours, OURS, "none")] {
        line.sort_by(|a, b| a.0.total_cmp(&b.0));
        let points: Vec<String> = line
            .iter()
            .map(|(level, f1)| format!("{:.1},{:.1}", x(*level), y(*f1)))
            .collect();
        let _ = writeln!(
            out,
            "<polyline points=\"{}\" fill=\"none\" stroke=\"{colour}\" stroke-width=\"1.6\" \
             stroke-dasharray=\"{dash}\"/>",
            points.join(" ")
        );
        for (level, f1) in line.iter() {
            let _ = writeln!(
                out,
                "<circle cx=\"{:.1}\" cy=\"{:.1}\" r=\"2.4\" fill=\"{colour}\"/>",
                x(*level),
                y(*f1)
            );
        }
    }
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}
