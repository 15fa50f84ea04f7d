//! How long the reservoir lasts: from its capacity, what has gone since it was filled, and what
//! goes now, with limits.

use super::{Figure, OilFlow, total_flow};

/// How far a stated capacity is taken to be from what a filling holds, as a share, 95 %: neither the
/// maker's figure nor 'full' is better (common practice).
const CAPACITY_SHARE: f64 = 0.05;

/// A reservoir that was filled.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reservoir {
    /// What it holds, mL.
    pub capacity_ml: f64,
    /// How long ago it was filled, seconds.
    pub filled_ago_secs: f64,
}

/// How what has gone is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum UsedBy {
    /// By the drops counted since the filling; while a feed could not be seen it is taken to have
    /// run as it does now.
    Counting,
    /// By the rates now: the filling was before the watching, and the feeds are taken to have run as they do now.
    RatesNow,
}

/// What is left and for how long.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ReservoirLife {
    /// All feeds together, mL an hour.
    pub ml_per_hour: Figure,
    /// What has gone since the filling, mL.
    pub used_ml: Figure,
    /// What is left, mL; never below 0.
    pub left_ml: Figure,
    /// Time until it is empty, seconds from now; never below 0.
    pub empty_in_secs: Figure,
    /// How what has gone is known.
    pub used_by: UsedBy,
}

/// The life of a reservoir that feeds these flows. `counted` holds, for each flow, the drops counted
/// since the filling and the seconds since then in which they could not be counted; none when the
/// filling was before the watching. None without a flow, or for a capacity or time that is none.
///
/// What has gone and what goes rest on the same volume of a drop, so that is reckoned in drops: with
/// drops of the largest volume more has gone *and* the rest goes faster. The lower limit of the time
/// takes the largest flow and the smallest capacity in the same way.
///
/// ```
/// use beadtally::rate::Reading;
/// use beadtally::rate::oil::{Figure, Reservoir, VolumeFrom, oil_flow, reservoir_life};
/// let reading = Reading { drops_per_minute: 2.5, low: 2.4, high: 2.6, scatter: 0.15, drops: 60 };
/// let drop_ul = Figure { middle: 65.45, low: 60.0, high: 72.0 };
/// let flow = oil_flow(&reading, drop_ul, VolumeFrom::Beads, Some(60)).ok_or("usable")?;
/// // Half a litre, an hour after it was filled: one feed takes 9.8 mL an hour.
/// let filled = Reservoir { capacity_ml: 500.0, filled_ago_secs: 3600.0 };
/// let life = reservoir_life(filled, &[flow], None).ok_or("a flow")?;
/// assert!((life.empty_in_secs.middle / 3600.0 - 49.9).abs() < 0.1);
/// # Ok::<(), &str>(())
/// ```
#[must_use]
pub fn reservoir_life(
    filled: Reservoir,
    flows: &[OilFlow],
    counted: Option<&[(u64, f64)]>,
) -> Option<ReservoirLife> {
    let Reservoir {
        capacity_ml,
        filled_ago_secs,
    } = filled;
    let usable = capacity_ml > 0.0
        && capacity_ml.is_finite()
        && filled_ago_secs >= 0.0
        && filled_ago_secs.is_finite();
    let ml_per_hour = total_flow(flows).filter(Figure::is_usable)?;
    if !usable {
        return None;
    }
    // What has gone, mL, when every volume and every rate is that share of its middle.
    let used = |volume_share: f64, rate_share: f64| -> f64 {
        let by_feed = flows.iter().enumerate().map(|(index, flow)| {
            let a_second = flow.drops_per_minute.middle * rate_share / 60.0;
            let drops = match counted {
                Some(counted) => {
                    let (drops, unseen_secs) = counted.get(index).copied().unwrap_or_default();
                    drops as f64 + unseen_secs.max(0.0) * a_second
                }
                None => filled_ago_secs * a_second,
            };
            drops * flow.drop_ul.middle * volume_share / 1000.0
        });
        by_feed.sum()
    };
    // Of the whole: volumes move together, rates each on their own.
    let sum = |of: &dyn Fn(&OilFlow) -> f64| flows.iter().map(of).sum::<f64>();
    let root = |of: &dyn Fn(&OilFlow) -> f64| flows.iter().fold(0.0_f64, |r, f| r.hypot(of(f)));
    let middle = ml_per_hour.middle;
    let at = |figure: &Figure, end: End| (end.of(figure) / figure.middle - 1.0).abs();
    let share = |end: End| {
        (
            sum(&|f| at(&f.drop_ul, end) * f.ml_per_hour.middle) / middle,
            root(&|f| at(&f.drops_per_minute, end) * f.ml_per_hour.middle) / middle,
        )
    };
    let used_ml = used(1.0, 1.0);
    let left_ml = (capacity_ml - used_ml).max(0.0);
    let secs = |left: f64, per_hour: f64| 3600.0 * left.max(0.0) / per_hour;
    let empty_middle = secs(left_ml, middle);
    // Each cause alone moves the result so far; together in quadrature.
    let moved = |end: End| {
        let (volume, rate) = share(end);
        let factor = |share: f64| match end {
            End::Low => 1.0 - share.min(0.99),
            End::High => 1.0 + share,
        };
        let (volume, rate) = (factor(volume), factor(rate));
        let capacity = factor(CAPACITY_SHARE);
        let (by_volume, by_rate) = (used(volume, 1.0), used(1.0, rate));
        let used_off = (by_volume - used_ml).hypot(by_rate - used_ml);
        let capacity_off = capacity_ml * (capacity - 1.0);
        let empty_off = [
            secs(capacity_ml - by_volume, middle * volume),
            secs(capacity_ml - by_rate, middle * rate),
            // More capacity is more time, more flow less.
            secs(capacity_ml * (2.0 - capacity) - used_ml, middle),
        ]
        .iter()
        .fold(0.0_f64, |root, secs| root.hypot(secs - empty_middle));
        (used_off, used_off.hypot(capacity_off), empty_off)
    };
    // More flow: less time.
    let (used_less, left_more, empty_more) = moved(End::Low);
    let (used_more, left_less, empty_less) = moved(End::High);
    let figure = |middle: f64, less: f64, more: f64| Figure {
        middle,
        low: (middle - less).max(0.0),
        high: middle + more,
    };
    Some(ReservoirLife {
        ml_per_hour,
        used_ml: figure(used_ml, used_less, used_more),
        left_ml: figure(left_ml, left_less, left_more),
        empty_in_secs: figure(empty_middle, empty_less, empty_more),
        used_by: match counted {
            Some(_) => UsedBy::Counting,
            None => UsedBy::RatesNow,
        },
    })
}

/// Which limit.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum End {
    Low,
    High,
}

impl End {
    fn of(self, figure: &Figure) -> f64 {
        match self {
            Self::Low => figure.low,
            Self::High => figure.high,
        }
    }
}
