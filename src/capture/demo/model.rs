//! The model lubricator: when each feed lets a drop go, where every bead is, and when it passes
//! mid-glass. It steps in time, keeps only what is in the glasses, and draws nothing.
//!
//! Heights are millimetres above mid-glass; times are seconds since the model's start.

use rand::RngExt;
use rand_chacha::ChaCha8Rng;
use rand_chacha::rand_core::SeedableRng;
use rand_distr::{Distribution, Exp, Gamma, StandardNormal};

use super::physics::{self, Pair, Rise};
use super::settings::{DemoSettings, of_feed};
use crate::base::{BeadKind, GlassKind};

/// Share of a drop that stays on the nozzle when it lets go (pictures of pinch-off, from memory).
const STAYS_SHARE: f64 = 0.04;
/// How much narrower than a ball a drop is when it lets go.
const STRETCH: f64 = 0.04;
/// How quickly a drop's shape settles after it let go, seconds.
const SETTLE_SECS: f64 = 0.05;
/// How fast its shape swings meanwhile, Hz: the lowest mode of a 4 mm drop (order of magnitude).
const SWING_HZ: f64 = 12.0;
/// Gas bubbles are drawn between these diameters, mm.
const GAS_MM: (f64, f64) = (1.0, 3.0);
/// Bubbles wider than this go up in a zigzag, mm (from memory: about 1.5 mm in water).
const ZIGZAG_MM: f64 = 1.5;
/// A satellite's diameter as a share of its drop's.
const SATELLITE_SHARE: (f64, f64) = (0.28, 0.40);
/// The most beads followed at once in one feed: far more than fit into a glass.
const MOST_LIVE: usize = 256;

/// Place and shape of one bead at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place {
    /// Across, mm.
    pub x_mm: f64,
    /// Height of the centre above mid-glass, mm.
    pub y_mm: f64,
    /// Towards the camera, mm.
    pub z_mm: f64,
    /// Half the width, mm.
    pub half_width_mm: f64,
    /// Half the height, mm.
    pub half_height_mm: f64,
}

/// A bead on its way up.
#[derive(Clone, Debug)]
pub struct Bead {
    /// Index of its feed, from 0.
    pub feed: usize,
    /// Oil or gas.
    pub kind: BeadKind,
    /// Diameter of the ball of its volume, mm.
    pub diameter_mm: f64,
    /// When it let go.
    pub released_secs: f64,
    /// Height of its centre then, mm.
    pub start_mm: f64,
    /// When its centre passes mid-glass.
    pub mid_secs: f64,
    rise: Rise,
    start_across_mm: (f64, f64),
    wander_mm: (f64, f64),
    wander_hz: f64,
    wander_phase: f64,
    height_by_width: f64,
    passed: bool,
}

impl Bead {
    /// Where it is at a time (its start before it let go).
    #[must_use]
    pub fn place(&self, at_secs: f64) -> Place {
        let since = (at_secs - self.released_secs).max(0.0);
        let grown = 1.0 - (-since / 0.2).exp();
        let turn = std::f64::consts::TAU * self.wander_hz * since + self.wander_phase;
        let radius = 0.5 * self.diameter_mm;
        let (half_width_mm, half_height_mm) = match self.kind {
            BeadKind::Oil => {
                let settled = self.height_by_width.powf(-1.0 / 3.0);
                let fading = (-since / SETTLE_SECS).exp();
                let swing = (std::f64::consts::TAU * SWING_HZ * since).cos();
                let wide = 1.0 + (settled - 1.0) * (1.0 - fading) - STRETCH * fading * swing;
                (radius * wide, radius / (wide * wide))
            }
            BeadKind::Gas => {
                let wide = self.height_by_width.powf(-1.0 / 3.0);
                (radius * wide, radius / (wide * wide))
            }
        };
        Place {
            x_mm: self.start_across_mm.0 + grown * self.wander_mm.0 * turn.sin(),
            y_mm: self.start_mm + self.rise.height_mm(since),
            z_mm: self.start_across_mm.1 + grown * self.wander_mm.1 * (0.83 * turn + 1.0).sin(),
            half_width_mm,
            half_height_mm,
        }
    }

    /// Its terminal speed in this glass, mm/s.
    #[must_use]
    pub fn rise_mm_per_s(&self) -> f64 {
        self.rise.terminal_mm_per_s()
    }
}

/// A bead that has passed mid-glass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pass {
    /// Index of its feed, from 0.
    pub feed: usize,
    /// Oil or gas.
    pub kind: BeadKind,
    /// When its centre passed mid-glass.
    pub at_secs: f64,
    /// Diameter of the ball of its volume, mm.
    pub diameter_mm: f64,
    /// Terminal speed, mm/s.
    pub rise_mm_per_s: f64,
}

/// Where things are in a glass, mm above mid-glass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GlassSpace {
    /// Lower end of what can be seen.
    pub floor_mm: f64,
    /// Upper end of what can be seen.
    pub top_mm: f64,
    /// Tip of the nozzle.
    pub tip_mm: f64,
    /// Width that the wall leaves to the beads.
    pub bore_mm: f64,
}

impl GlassSpace {
    /// The space of the glasses asked for.
    #[must_use]
    pub fn new(settings: &DemoSettings) -> Self {
        // The tip stands this share of the visible height above its lower end.
        const TIP_SHARE_TUBE: f64 = 0.13;
        const TIP_SHARE_PORT: f64 = 0.18;
        let height = settings.glass_height_mm();
        let (share, bore_mm) = match settings.kind {
            GlassKind::Tube => (TIP_SHARE_TUBE, settings.bore_mm),
            GlassKind::Port => (TIP_SHARE_PORT, settings.port_mm),
        };
        Self {
            floor_mm: -0.5 * height,
            top_mm: 0.5 * height,
            tip_mm: (share - 0.5) * height,
            bore_mm,
        }
    }
}

/// One feed and its nozzle.
#[derive(Clone, Debug)]
struct Feed {
    rng: ChaCha8Rng,
    /// Chance for the gas, of its own so that drops and bubbles do not depend on who comes first.
    gas_rng: ChaCha8Rng,
    rate_per_minute: f64,
    scatter: f64,
    mean_mm: f64,
    gas_per_minute: f64,
    rim_mm: f64,
    /// How far the present interval has gone, and how long it is, both in mean intervals.
    progress: f64,
    interval: f64,
    next_mm: f64,
    next_gas_secs: f64,
    factor: f64,
    ceiling_mm: f64,
    drops: u64,
}

/// All feeds.
#[derive(Clone, Debug)]
pub struct Model {
    feeds: Vec<Feed>,
    live: Vec<Bead>,
    passes: Vec<Pass>,
    now_secs: f64,
    space: GlassSpace,
    oil: Pair,
    gas: Pair,
    settings: DemoSettings,
}

impl Model {
    /// A lubricator at time 0, each nozzle somewhere within its interval.
    #[must_use]
    pub fn new(settings: &DemoSettings) -> Self {
        let oil = Pair::oil(
            settings.temperature_c,
            settings.oil_kg_per_m3,
            settings.tension_n_per_m,
        );
        let feeds = (0..settings.feeds)
            .map(|index| Feed::new(settings, index, oil))
            .collect();
        Self {
            feeds,
            live: Vec::new(),
            passes: Vec::new(),
            now_secs: 0.0,
            space: GlassSpace::new(settings),
            oil,
            gas: Pair::gas(settings.temperature_c),
            settings: settings.clone(),
        }
    }

    /// The space inside the glasses.
    #[must_use]
    pub fn space(&self) -> GlassSpace {
        self.space
    }

    /// Wetted rim radius of a feed's nozzle, mm.
    #[must_use]
    pub fn rim_mm(&self, feed: usize) -> f64 {
        self.feeds.get(feed).map_or(1.0, |f| f.rim_mm)
    }

    /// Model time.
    #[must_use]
    pub fn now_secs(&self) -> f64 {
        self.now_secs
    }

    /// Beads on their way up in any glass.
    #[must_use]
    pub fn live(&self) -> &[Bead] {
        &self.live
    }

    /// Drops that a feed has let go since the start.
    #[must_use]
    pub fn drops(&self, feed: usize) -> u64 {
        self.feeds.get(feed).map_or(0, |f| f.drops)
    }

    /// Sets how much faster than asked a feed runs: 0 stopped, 1 as asked.
    pub fn set_factor(&mut self, feed: usize, factor: f64) {
        if let Some(feed) = self.feeds.get_mut(feed) {
            feed.factor = factor;
        }
    }

    /// Sets the height at which rising beads vanish into oil that fills the glass from above
    /// (infinity for none), mm above mid-glass.
    pub fn set_ceiling(&mut self, feed: usize, ceiling_mm: f64) {
        if let Some(feed) = self.feeds.get_mut(feed) {
            feed.ceiling_mm = ceiling_mm;
        }
    }

    /// The height that [`Model::set_ceiling`] set, mm above mid-glass.
    #[must_use]
    pub fn ceiling_mm(&self, feed: usize) -> f64 {
        self.feeds.get(feed).map_or(f64::INFINITY, |f| f.ceiling_mm)
    }

    /// Moves the model on to a time and gives the beads that passed mid-glass since, in order of
    /// time.
    pub fn advance(&mut self, to_secs: f64) -> Vec<Pass> {
        let from = self.now_secs;
        if to_secs <= from {
            return Vec::new();
        }
        for index in 0..self.feeds.len() {
            self.run_feed(index, from, to_secs);
        }
        self.now_secs = to_secs;
        let space = self.space;
        let (feeds, passes) = (&self.feeds, &mut self.passes);
        self.live.retain_mut(|bead| {
            let ceiling = feeds[bead.feed].ceiling_mm;
            if !bead.passed && bead.mid_secs <= to_secs && ceiling > 0.0 {
                bead.passed = true;
                passes.push(Pass {
                    feed: bead.feed,
                    kind: bead.kind,
                    at_secs: bead.mid_secs,
                    diameter_mm: bead.diameter_mm,
                    rise_mm_per_s: bead.rise_mm_per_s(),
                });
            }
            let place = bead.place(to_secs);
            place.y_mm < space.top_mm + 2.0 * bead.diameter_mm && place.y_mm < ceiling
        });
        self.passes.sort_by(|a, b| a.at_secs.total_cmp(&b.at_secs));
        std::mem::take(&mut self.passes)
    }

    fn run_feed(&mut self, index: usize, from: f64, to: f64) {
        let mut at = from;
        loop {
            let feed = &mut self.feeds[index];
            let per_sec = feed.rate_per_minute * feed.factor / 60.0;
            if per_sec <= 0.0 {
                break;
            }
            let due = at + (feed.interval - feed.progress) / per_sec;
            if due > to {
                feed.progress += (to - at) * per_sec;
                break;
            }
            at = due;
            self.let_go(index, due);
        }
        loop {
            let feed = &mut self.feeds[index];
            let due = feed.next_gas_secs;
            if due > to {
                break;
            }
            feed.next_gas_secs = due + feed.gas_wait();
            self.bubble(index, due);
        }
    }

    fn let_go(&mut self, index: usize, at_secs: f64) {
        let start_mm = self
            .pendant_at(index, 1.0)
            .map_or(self.space.tip_mm, |p| p.y_mm);
        let wobble = self.settings.wobble_mm;
        let feed = &mut self.feeds[index];
        let diameter = feed.next_mm;
        feed.progress = 0.0;
        feed.interval = feed.draw_interval();
        feed.next_mm = feed.draw_diameter(self.settings.bead_scatter);
        let paired = feed.rng.random_bool(self.settings.pairs);
        let satellite = feed.rng.random_bool(self.settings.satellites);
        let small = diameter * feed.rng.random_range(SATELLITE_SHARE.0..SATELLITE_SHARE.1);
        // Chance is asked only where there is some, so that the rest stays as it was without.
        let mut strikes = |share: f64| share > 0.0 && feed.rng.random_bool(share);
        let tripled = strikes(self.settings.triplets);
        let followed = strikes(self.settings.followed);
        let overtaking = strikes(self.settings.overtaking);
        let behind = if tripled { 2 } else { u64::from(paired) };
        feed.drops += 1 + behind + u64::from(followed) + u64::from(overtaking);
        let small_one = self.settings.small_size * diameter;
        let at_secs = if overtaking {
            self.overtaken(index, at_secs, diameter, small_one, start_mm)
        } else {
            at_secs
        };
        let first = self.oil_bead(index, at_secs, diameter, start_mm, wobble);
        let terminal = first.rise_mm_per_s();
        self.keep(first);
        let gap_mm = self.settings.pair_gap * diameter;
        for place in 1..=behind {
            let after = place as f64 * (gap_mm + diameter) / terminal;
            let next = self.oil_bead(index, at_secs + after, diameter, start_mm, wobble);
            self.keep(next);
        }
        if followed {
            let last_secs = at_secs + behind as f64 * (gap_mm + diameter) / terminal;
            let after = (gap_mm + 0.5 * (diameter + small_one)) / terminal;
            let next = self.oil_bead(index, last_secs + after, small_one, start_mm, wobble);
            self.keep(next);
        }
        if satellite {
            let start = self.space.tip_mm + 0.5 * small;
            let bead = self.oil_bead(index, at_secs + 0.02, small, start, wobble);
            self.keep(bead);
        }
    }

    /// Lets a small drop go that a large one overtakes somewhere in the middle third of the glass,
    /// beside it; returns when the large one must let go for that.
    fn overtaken(
        &mut self,
        index: usize,
        at_secs: f64,
        large_mm: f64,
        small_mm: f64,
        start_mm: f64,
    ) -> f64 {
        // The two pass with this much more than touching, as a share of the distance.
        const CLEAR: f64 = 1.05;
        let sixth = (self.space.top_mm - self.space.floor_mm) / 6.0;
        let mut small = self.oil_bead(index, at_secs, small_mm, start_mm, 0.0);
        let rng = &mut self.feeds[index].rng;
        let meet_mm = rng.random_range(-sixth..sixth) - start_mm;
        let turn = rng.random_range(0.0..std::f64::consts::TAU);
        let beside = CLEAR * 0.5 * (large_mm + small_mm) + self.settings.wobble_mm;
        small.start_across_mm = (beside * turn.cos(), beside * turn.sin());
        let large = Rise::of_drop(self.oil, large_mm, self.space.bore_mm);
        let lead_secs = small.rise.secs_to(meet_mm) - large.secs_to(meet_mm);
        self.keep(small);
        at_secs + lead_secs.max(0.0)
    }

    fn keep(&mut self, bead: Bead) {
        if self.live.iter().filter(|b| b.feed == bead.feed).count() < MOST_LIVE {
            self.live.push(bead);
        }
    }

    fn oil_bead(
        &mut self,
        feed: usize,
        at_secs: f64,
        diameter_mm: f64,
        start_mm: f64,
        wobble_mm: f64,
    ) -> Bead {
        let rise = Rise::of_drop(self.oil, diameter_mm, self.space.bore_mm);
        let flat = physics::height_by_width(self.oil.eotvos(diameter_mm * 1e-3));
        let height_by_width = 1.0 + self.settings.flatten * (flat - 1.0);
        let rng = &mut self.feeds[feed].rng;
        let mut share = || -> f64 { rng.random_range(-1.0..1.0) };
        let wander_mm = (wobble_mm * share(), wobble_mm * share());
        let wander_hz = 0.9 + 0.4 * share();
        let wander_phase = std::f64::consts::PI * share();
        Bead {
            feed,
            kind: BeadKind::Oil,
            diameter_mm,
            released_secs: at_secs,
            start_mm,
            mid_secs: at_secs + rise.secs_to(-start_mm),
            rise,
            start_across_mm: (0.0, 0.0),
            wander_mm,
            wander_hz,
            wander_phase,
            height_by_width,
            passed: false,
        }
    }

    fn bubble(&mut self, feed: usize, at_secs: f64) {
        let rng = &mut self.feeds[feed].gas_rng;
        let diameter_mm = rng.random_range(GAS_MM.0..GAS_MM.1);
        let reach = 0.15 * self.space.bore_mm;
        let start_across_mm = (
            rng.random_range(-reach..reach),
            rng.random_range(-reach..reach),
        );
        let zigzag = if diameter_mm > ZIGZAG_MM {
            rng.random_range(0.3..0.8)
        } else {
            0.1
        };
        let wander_hz = rng.random_range(5.0..7.0);
        let wander_phase = rng.random_range(0.0..std::f64::consts::TAU);
        let rise = Rise::of_bubble(self.gas, diameter_mm, self.space.bore_mm);
        let start_mm = self.space.floor_mm + diameter_mm;
        self.keep(Bead {
            feed,
            kind: BeadKind::Gas,
            diameter_mm,
            released_secs: at_secs,
            start_mm,
            mid_secs: at_secs + rise.secs_to(-start_mm),
            rise,
            start_across_mm,
            wander_mm: (zigzag, zigzag),
            wander_hz,
            wander_phase,
            height_by_width: physics::height_by_width(self.gas.eotvos(diameter_mm * 1e-3)),
            passed: false,
        });
    }

    /// The bead growing on a feed's nozzle now.
    #[must_use]
    pub fn pendant(&self, feed: usize) -> Option<Place> {
        let share = self.feeds.get(feed).map(|f| f.progress / f.interval)?;
        self.pendant_at(feed, share)
    }

    /// The growing bead at a share of its interval: its volume grows evenly, as a cap of a ball on
    /// the rim, stretched a little as it nears letting go.
    fn pendant_at(&self, feed: usize, share: f64) -> Option<Place> {
        let feed = self.feeds.get(feed)?;
        let share = share.clamp(0.0, 1.0);
        let volume = physics::sphere_ul(feed.next_mm) * (STAYS_SHARE + (1.0 - STAYS_SHARE) * share);
        let height = cap_height_mm(volume, feed.rim_mm);
        let radius = (feed.rim_mm * feed.rim_mm + height * height) / (2.0 * height);
        let wide = 1.0 - STRETCH * share.powi(3);
        let half_height_mm = radius / (wide * wide);
        Some(Place {
            x_mm: 0.0,
            y_mm: self.space.tip_mm + height - radius + (half_height_mm - radius),
            z_mm: 0.0,
            half_width_mm: radius * wide,
            half_height_mm,
        })
    }
}

/// Height in mm of a cap of a ball with volume `volume_ul` standing on a circle of radius `rim_mm`:
/// V = πh(3a² + h²)/6, by halving.
fn cap_height_mm(volume_ul: f64, rim_mm: f64) -> f64 {
    let (mut low, mut high) = (0.0_f64, 20.0_f64);
    for _ in 0..50 {
        let h = 0.5 * (low + high);
        if std::f64::consts::PI * h * (3.0 * rim_mm * rim_mm + h * h) / 6.0 < volume_ul {
            low = h;
        } else {
            high = h;
        }
    }
    0.5 * (low + high)
}

impl Feed {
    fn new(settings: &DemoSettings, index: usize, oil: Pair) -> Self {
        // A nozzle thinner than this could not be seen or made, mm.
        const THINNEST_RIM_MM: f64 = 0.25;
        let mut rng = ChaCha8Rng::seed_from_u64(settings.seed);
        rng.set_stream(index as u64 + 1);
        let mean_mm = of_feed(&settings.bead_mm, index);
        let rim = physics::rim_mm_for(
            mean_mm,
            settings.tension_n_per_m,
            oil.difference_kg_per_m3(),
        );
        let mut gas_rng = rng.clone();
        gas_rng.set_stream(index as u64 + 1001);
        let mut feed = Self {
            rng,
            gas_rng,
            rate_per_minute: of_feed(&settings.rates_per_minute, index),
            scatter: of_feed(&settings.scatter, index),
            mean_mm,
            gas_per_minute: of_feed(&settings.gas_per_minute, index),
            rim_mm: rim.clamp(THINNEST_RIM_MM, 0.4 * mean_mm),
            progress: 0.0,
            interval: 1.0,
            next_mm: mean_mm,
            next_gas_secs: 0.0,
            factor: 1.0,
            ceiling_mm: f64::INFINITY,
            drops: 0,
        };
        feed.interval = feed.draw_interval();
        feed.progress = feed.interval * feed.rng.random::<f64>();
        feed.next_mm = feed.draw_diameter(settings.bead_scatter);
        feed.next_gas_secs = feed.gas_wait();
        feed
    }

    /// An interval in mean intervals: gamma with the feed's scatter.
    fn draw_interval(&mut self) -> f64 {
        // Below this a feed runs like a clockwork; a gamma that narrow is not worth drawing.
        const CLOCKWORK: f64 = 1e-3;
        // No drop comes sooner after the last than this share of the mean.
        const SHORTEST: f64 = 0.02;
        if self.scatter < CLOCKWORK {
            return 1.0;
        }
        let shape = 1.0 / (self.scatter * self.scatter);
        match Gamma::new(shape, 1.0 / shape) {
            Ok(gamma) => gamma.sample(&mut self.rng).max(SHORTEST),
            Err(_) => 1.0,
        }
    }

    fn draw_diameter(&mut self, scatter: f64) -> f64 {
        let step: f64 = StandardNormal.sample(&mut self.rng);
        self.mean_mm * (1.0 + scatter * step.clamp(-3.0, 3.0))
    }

    /// Seconds to the next gas bubble.
    fn gas_wait(&mut self) -> f64 {
        match Exp::new(self.gas_per_minute / 60.0) {
            Ok(wait) if self.gas_per_minute > 0.0 => wait.sample(&mut self.gas_rng),
            _ => f64::INFINITY,
        }
    }
}
