//! Sentences of a panel: oil and reservoir with their limits, doubts as room allows.

use super::{figure, length, put};
use crate::rate::oil::{Figure, OilFlow};
use crate::run::oil::OilState;

/// Two figures that count: the limits bear no more.
fn plain(value: f64) -> String {
    figure(value, usize::from(value.abs() < 9.95))
}

/// How much oil a feed gives, with limits.
#[must_use]
pub fn oil(flow: &OilFlow) -> String {
    let Figure { middle, low, high } = flow.ml_per_hour;
    put!(
        oil,
        ml = plain(middle),
        low = plain(low),
        high = plain(high)
    )
}

/// The same where there is little room.
#[must_use]
pub fn oil_short(flow: &OilFlow) -> String {
    put!(oil_short, ml = plain(flow.ml_per_hour.middle))
}

/// Doubts in ever shorter forms: all, the first and how many more, the first alone, the same without what
/// helps.
#[must_use]
pub fn doubts_shorter(all: &[String]) -> Vec<String> {
    let mut forms = vec![super::doubts(all)];
    if let [first, rest @ ..] = all {
        let said = super::instrument(first);
        let brief = said.split_once(": ").map(|(what, _)| what.to_owned());
        for what in std::iter::once(said).chain(brief) {
            let what = super::doubts(&[what]);
            if !rest.is_empty() {
                forms.push(put!(and_more, what = what, more = rest.len()));
            }
            forms.push(what);
        }
        forms.push(super::get().in_doubt.to_owned());
    }
    forms
}

/// No alarms, and how the oil stands.
#[must_use]
pub fn no_alarms_and(oil: &str) -> String {
    put!(no_alarms_and, oil = oil)
}

/// The reservoir, or else the oil of all feeds; none when neither is known.
#[must_use]
pub fn oil_of_all(oil: &OilState) -> Option<String> {
    if let Some(life) = &oil.reservoir {
        return Some(put!(
            oil_reservoir,
            ml = plain(life.left_ml.middle),
            time = length(life.empty_in_secs.middle),
            low = length(life.empty_in_secs.low),
            high = length(life.empty_in_secs.high)
        ));
    }
    oil.total_ml_per_hour.map(|total| {
        put!(
            oil_total,
            ml = plain(total.middle),
            low = plain(total.low),
            high = plain(total.high)
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_doubt_is_cut_to_what_it_is_about_before_it_is_only_a_doubt() {
        let doubts =
            ["irregular feed: its intervals scatter by 50 %", "another"].map(str::to_owned);
        let forms = doubts_shorter(&doubts);
        let about = forms.iter().position(|form| {
            form.contains("irregular feed") && !form.contains("scatter") && !form.contains('1')
        });
        assert_eq!(about, Some(forms.len() - 2), "{forms:?}");
        assert!(doubts_shorter(&[]).len() == 1);
    }
}
