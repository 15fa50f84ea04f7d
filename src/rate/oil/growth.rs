//! Beads that grow over hours. A nozzle that is rough or coated holds the drop until it is larger,
//! so growth is a hint to look at the nozzle; a hint only, because heat and the oil change size too.

use super::Figure;
use crate::rate::trend;

/// Beads are taken together by blocks of so many seconds, their median standing for them.
pub const GROWTH_BLOCK_SECS: f64 = 600.0;

/// Shorter than this, seconds, a glass that warms up looks the same as a nozzle that fouls.
pub const GROWTH_SPAN_SECS: f64 = 7200.0;

/// Under this p a trend is told: once in a hundred shifts without any.
pub const GROWTH_P: f64 = 0.01;

/// Less growth of the diameter than this share over the time watched is no hint: a twentieth is an
/// eighth and more of the volume, and smaller changes come with the warmth of the glass.
pub const GROWTH_SHARE: f64 = 0.05;

/// Fewest beads of a block.
const FEWEST_IN_BLOCK: usize = 3;

/// Fewest blocks: with six, the smallest p that Mann–Kendall can give is 0.003.
const FEWEST_BLOCKS: usize = 6;

/// How the size of a feed's beads went over the time watched.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Growth {
    /// From the first to the last block, seconds.
    pub span_secs: f64,
    /// Blocks of beads in use.
    pub blocks: usize,
    /// Growth over that time as a share of the size at its middle (Theil–Sen slope times the time).
    pub share: Figure,
    /// Mann–Kendall's p, with the variance made larger by what hangs together (Hamed and Rao).
    pub p: f64,
    /// Whether it is worth a hint.
    pub is_hint: bool,
}

impl Growth {
    /// A hint for people, without the full stop; none when there is nothing to hint at.
    #[must_use]
    pub fn words(&self) -> Option<String> {
        self.is_hint.then(|| {
            format!(
                "hint: the beads have grown by {:.0} % ({:.0} to {:.0}) in {:.1} h; a fouled \
                 nozzle gives larger beads: see to it when the feed is next shut off",
                100.0 * self.share.middle,
                100.0 * self.share.low,
                100.0 * self.share.high,
                self.span_secs / 3600.0
            )
        })
    }
}

/// The growth of beads from their times, seconds, and sizes (mm or px: only their ratio counts), in
/// any order. None under six blocks of three beads.
///
/// Source of the hint: J. H. Maggard, *Rough and Tumble Engineering* (Project Gutenberg 11164),
/// 'Sight feed lubricator': a drop adheres to a coated nozzle until it is too large. Trend as in
/// [`trend()`].
#[must_use]
pub fn growth(sizes: &[(f64, f64)]) -> Option<Growth> {
    let mut sizes: Vec<(f64, f64)> = sizes
        .iter()
        .copied()
        .filter(|(at, size)| at.is_finite() && size.is_finite() && *size > 0.0)
        .collect();
    sizes.sort_by(|a, b| a.0.total_cmp(&b.0));
    let first_secs = sizes.first()?.0;
    let number = |at: f64| ((at - first_secs) / GROWTH_BLOCK_SECS).floor();
    let blocks: Vec<(f64, f64)> = sizes
        .chunk_by(|a, b| number(a.0) == number(b.0))
        .filter(|block| block.len() >= FEWEST_IN_BLOCK)
        .filter_map(|block| {
            let middle = |mut values: Vec<f64>| {
                values.sort_by(f64::total_cmp);
                values.get(values.len() / 2).copied()
            };
            let at = middle(block.iter().map(|(at, _)| *at).collect())?;
            Some((at, middle(block.iter().map(|(_, size)| *size).collect())?))
        })
        .collect();
    if blocks.len() < FEWEST_BLOCKS {
        return None;
    }
    let found = trend(&blocks, crate::rate::CONFIDENCE)?;
    let span_secs = blocks.last()?.0 - blocks.first()?.0;
    let mut all: Vec<f64> = blocks.iter().map(|(_, size)| *size).collect();
    all.sort_by(f64::total_cmp);
    let typical = all.get(all.len() / 2).copied()?;
    let share = Figure {
        middle: found.slope * span_secs / typical,
        low: found.slope_limits.low * span_secs / typical,
        high: found.slope_limits.high * span_secs / typical,
    };
    let p = found.p.max(found.p_correlated);
    Some(Growth {
        span_secs,
        blocks: blocks.len(),
        share,
        p,
        is_hint: span_secs >= GROWTH_SPAN_SECS && p < GROWTH_P && share.middle >= GROWTH_SHARE,
    })
}
