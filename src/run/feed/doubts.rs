//! Reasons to trust a feed's reading less, as they stand now: by the times of its drops, by how its beads
//! could be seen, and by what surrounds the glass.

use super::Feed;
use crate::base::BeadKind;
use crate::rate::{self, DropRecord, Silence};

/// Confidence under which a bead is a doubt on the reading.
const SURE_ENOUGH: f64 = 0.8;
/// Texture agreement under which the picture counts as restless.
const RESTLESS_AGREEING: f64 = 0.7;
/// Beads of oil of a feed from which it can be said how they stand out.
const FEWEST_BEADS: usize = 5;
/// What a quarter of the beads may fall short of in evidence to spare (natural logarithm) before others are
/// taken to be missed: three or four sightings, which a bead loses that rises close behind another, or that
/// somebody, steam or the coder hides for a tenth of a second. With every disturbance at half, three quarters
/// and all of its range (71 feeds, a minute each) 22 % of the drops of feeds under it were missed, and 1.6 % of
/// the others; with each disturbance alone 5 % (6 feeds, all but one of them ports at 15 frames a second) and
/// 0.4 % (314 feeds).
const USUAL_SURPLUS: f64 = 20.0;

/// The doubt on a feed whose beads hardly stand out.
pub const LIKELY_MISSED: &str = "beads are likely to be missed: they hardly stand out, and more light behind the glass, \
     a sharper picture, or a nearer or faster camera helps";

/// Whether beads of such surplus (natural logarithm) are so near to what is not told any more that others
/// of their feed are likely to be missed.
fn hardly_stand_out(surplus: impl Iterator<Item = f64>) -> bool {
    let mut surplus: Vec<f64> = surplus.collect();
    surplus.sort_by(f64::total_cmp);
    let lower_quartile = surplus.get(surplus.len().saturating_sub(1) / 4);
    surplus.len() >= FEWEST_BEADS && lower_quartile.is_some_and(|it| *it < USUAL_SURPLUS)
}

impl Feed {
    pub(super) fn doubts_now(&self, record: &DropRecord, silence: &Silence) -> Vec<String> {
        let mut doubts: Vec<String> =
            rate::doubts(record, self.reading.as_ref(), silence, self.fresh_change())
                .iter()
                .map(rate::Doubt::words)
                .collect();
        let oil = || self.counted.iter().filter(|b| b.kind == BeadKind::Oil);
        let unsure = oil().filter(|b| b.confidence < SURE_ENOUGH).count();
        if hardly_stand_out(oil().map(|b| b.surplus)) {
            // It comes first: the others are of the drops that were counted.
            doubts.insert(0, LIKELY_MISSED.to_owned());
        } else if unsure > 0 {
            doubts.push(format!(
                "{unsure} of the newest beads could only just be made out: more light behind the glass helps"
            ));
        }
        if self.look.pose.agreeing < RESTLESS_AGREEING && !self.look.gathering {
            doubts.push(
                "the surround of the glass has changed: check that the camera has not moved"
                    .to_owned(),
            );
        }
        doubts
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn beads_hardly_stand_out_when_a_quarter_has_little_to_spare() {
        let calm = [95.0, 110.0, 102.0, 88.0, 120.0, 99.0, 104.0, 91.0];
        assert!(!hardly_stand_out(calm.into_iter()));
        // One of many that came behind another, or was only told because the feed is known.
        assert!(!hardly_stand_out(calm.into_iter().chain([-1.0])));
        let poor = [3.4, 15.0, 0.3, 28.0, 11.0, 41.0];
        assert!(hardly_stand_out(poor.into_iter()));
        // Of so few nothing is said.
        assert!(!hardly_stand_out(poor.into_iter().take(4)));
        assert!(!hardly_stand_out(std::iter::empty()));
    }
}
