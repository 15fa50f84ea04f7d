//! The moment in which a path was seen: how restless the glass was, whether beads were known, and how far
//! the path stands out. Worked out once; what each costs or lends is in `explain`.

use std::ops::RangeInclusive;

use crate::base::GlassKind;
use crate::bead::bore::Bore;
use crate::bead::clutter::Clutter;
use crate::bead::rise::Rise;

/// Such company from which a glass counts as restless though nothing drifts over it, until beads are
/// known.
const RESTLESS_COMPANY: f32 = 0.05;
/// The same under which a clear thing is alone.
const ALONE: f32 = 0.01;
/// The same from which a first one may be a piece of something, however clear that is.
const CROWD: f32 = 1.0;
/// Width over height under which a first one of a restless tube may be such a piece: of a bead that is lit
/// from one side half shows, 0.66 times as wide as high, and its motion makes that 0.5.
const SLENDER: f32 = 0.45;
/// What turns up so often in a frame in an eighth of the glass is common there: the glass is restless.
const COMMON: f32 = 0.02;
/// What is common and stands out by less than so many spreads of single samples is faint: a coder draws
/// noise out into specks that wander.
pub(super) const FAINTLY: f32 = 2.8;
/// What is round and stands out by so many of them is clear, where nothing else moves.
const CLEARLY: f32 = 10.0;
/// Width over height, as without the glass, of what counts as round.
const ROUND: RangeInclusive<f32> = 0.6..=1.6;
/// Least spread of single samples, grey levels: a coded picture may show none.
const LEAST_GRAIN: f32 = 0.5;

/// The moment in which a path was seen.
#[expect(
    clippy::struct_excessive_bools,
    reason = "facts of one moment, each asked by itself"
)]
#[derive(Clone, Copy, Debug)]
pub(super) struct Moment {
    /// Mean number of other things of such strength that were in the glass at the same time.
    pub(super) company: f32,
    /// Whether something drifts over the glass. A clear thing that is alone is no part of it: what stirs
    /// the glass is itself, a large bead, and the place at the nozzle from which it came.
    pub(super) drifts: bool,
    /// Whether something drifts over the glass, or there was such company.
    pub(super) is_restless: bool,
    /// Whether no bead of oil is known, and the glass is stirred or such things are common in it.
    pub(super) is_first: bool,
    /// Whether such a first one hardly stands out, too.
    pub(super) is_faint: bool,
    /// Whether a first one that is faint, slender or one of a crowd may be a piece of the streak that a
    /// round glass makes of a reflection.
    pub(super) may_be_streak: bool,
    /// Whether it is clear, and nothing else moves.
    pub(super) is_clear: bool,
}

impl Moment {
    pub(super) fn of(rise: &Rise<'_>, bore: &Bore, clutter: &Clutter) -> Self {
        let company = rise.mean(|p| clutter.company(p.frame, rise.weight));
        let often = rise.mean(|p| clutter.anywhere(p.frame, p.seen.row, p.seen.weight));
        let is_round = ROUND.contains(&rise.shape());
        let stands_clear = is_round && rise.stands_out() >= CLEARLY * bore.grain.max(LEAST_GRAIN);
        let drifts = bore.drift && !(stands_clear && company <= ALONE);
        let is_restless = drifts || company > RESTLESS_COMPANY;
        let is_first = (bore.drift || is_restless || often > COMMON) && !bore.known.has_oil();
        let is_faint = is_first && often > COMMON && rise.stands_out() < FAINTLY * bore.grain;
        let is_slender = is_restless && rise.width < SLENDER * rise.height;
        let is_odd = is_faint || is_slender || company > CROWD;
        Self {
            company,
            drifts,
            is_restless,
            is_first,
            is_faint,
            may_be_streak: bore.kind == GlassKind::Tube && is_first && is_odd,
            is_clear: !is_restless && stands_clear,
        }
    }
}
