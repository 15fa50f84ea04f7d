//! What happened lately, so that a bead that was lost or invented can be told with all that was
//! going on round it, and explained.

use std::collections::VecDeque;

use beadtally::glass::Outline;
use beadtally::run::{Event, Intent};

/// So near to a bead a thing counts as being round it, seconds.
const ROUND_SECS: f64 = 3.0;

/// The newest things that happened: from, to (source time, seconds), words.
#[derive(Default)]
pub struct Diary {
    lines: VecDeque<(f64, f64, String)>,
    /// What was asked about outlines last: it may be wrong for as long as it holds.
    outlines: Option<(f64, String)>,
    /// The outline asked for last; none when it was left to the finder.
    outline: Option<Outline>,
}

impl Diary {
    /// For a glass that is drawn so at first.
    pub fn of(outline: Outline) -> Self {
        Self {
            outline: Some(outline),
            ..Self::default()
        }
    }

    pub fn note(&mut self, from_secs: f64, to_secs: f64, words: impl Into<String>) {
        self.lines.push_back((from_secs, to_secs, words.into()));
    }

    /// A fault of the source.
    pub fn fault(&mut self, fault: &str, from_secs: f64, to_secs: f64) {
        self.note(from_secs, to_secs, format!("fault '{fault}'"));
    }

    /// What the operator asked.
    pub fn asked(&mut self, at_secs: f64, intent: &Intent) {
        let words = match intent {
            Intent::Calibrate(new) if self.outline == Some(new.feeds[0].outline) => {
                "another name and band".to_owned()
            }
            // All of it would be a page.
            Intent::Calibrate(new) => format!("Calibrate({:?})", new.feeds[0].outline),
            other => format!("{other:?}"),
        };
        match intent {
            Intent::Calibrate(new) => self.outline = Some(new.feeds[0].outline),
            Intent::FindGlasses => self.outline = None,
            _ => {}
        }
        if matches!(intent, Intent::Calibrate(_) | Intent::FindGlasses) {
            self.outlines = Some((at_secs, words.clone()));
        }
        self.note(at_secs, at_secs, format!("asked {words}"));
    }

    /// What the instrument told; the usual readings say nothing here.
    pub fn event(&mut self, event: &Event) {
        let (from_secs, to_secs, words) = match event {
            Event::Bead { bead, .. } => {
                let words = format!(
                    "{:?} at {:.2}, confidence {:.2}, {:.0} px/s, {:.1} px",
                    bead.kind, bead.at_secs, bead.confidence, bead.rise_px_per_s, bead.height_px
                );
                (bead.at_secs, bead.at_secs, words)
            }
            Event::Blind {
                from_secs,
                to_secs,
                why,
                ..
            } => (*from_secs, *to_secs, format!("blind: {why:?}")),
            Event::Gap {
                from_secs,
                to_secs,
                why,
            } => (*from_secs, *to_secs, format!("gap: {why}")),
            Event::State { at_secs, state, .. } => {
                (*at_secs, *at_secs, format!("state: {state:?}"))
            }
            Event::Mark { at_secs, words, .. } => (*at_secs, *at_secs, format!("mark: {words}")),
            _ => return,
        };
        self.note(from_secs, to_secs, words);
    }

    /// What happened round this time, a line each.
    pub fn round(&self, at_secs: f64) -> Vec<String> {
        let is_near = |(from, to, _): &&(f64, f64, String)| {
            at_secs > from - ROUND_SECS && at_secs < to + ROUND_SECS
        };
        let mut lines: Vec<_> = self.lines.iter().filter(is_near).collect();
        lines.sort_by(|a, b| a.0.total_cmp(&b.0));
        let words =
            |(from, to, words): &(f64, f64, String)| format!("    {from:.2} to {to:.2}: {words}");
        let outlines = self
            .outlines
            .iter()
            .map(|(at, words)| format!("    outlines since {at:.2}: {words}"));
        lines.into_iter().map(words).chain(outlines).collect()
    }

    /// States that were told since, and what may explain them, a line each.
    pub fn states(&self, since_secs: f64) -> Vec<String> {
        let told = |(from, _, words): &&(f64, f64, String)| {
            let is_wanted = |part| words.starts_with(part);
            *from >= since_secs
                && ["state", "blind", "asked", "mark"]
                    .into_iter()
                    .any(is_wanted)
        };
        let lines = self.lines.iter().filter(told);
        lines
            .map(|(from, to, words)| format!("    {from:.2} to {to:.2}: {words}"))
            .collect()
    }

    /// When a reading was last begun anew since: the outline or the valve was asked to be another.
    pub fn begun_anew_secs(&self, since_secs: f64) -> Option<f64> {
        let is_anew = |(from, _, words): &&(f64, f64, String)| {
            *from >= since_secs
                && (words.starts_with("asked Calibrate")
                    || words.starts_with("asked FindGlasses")
                    || words.starts_with("mark: valve"))
        };
        let times = self.lines.iter().filter(is_anew).map(|(from, ..)| *from);
        times.max_by(f64::total_cmp)
    }

    pub fn forget_before(&mut self, secs: f64) {
        self.lines.retain(|(_, to, _)| *to >= secs);
    }
}
