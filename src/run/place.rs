//! Where the camera stands: keeps a picture in which the outlines are right, notices that the
//! camera was moved for good or drifts, and says where the outlines are then. When that is not sure
//! it says nothing, and the glasses stay blind. Pure: the same frames give the same answers; what a
//! moved outline means for counting is left to the feed.

use crate::base::{BlindWhy, Frame};
use crate::glass::Outline;
use crate::glass::register::{Again, Certainty, Effort, Followed, Known};

/// Time a glass must be lost before it is looked for, seconds: the camera comes to rest first.
const LOST_SECS: f64 = 0.4;
/// Time between two looks that must agree, seconds: a camera that still moves gives two places.
const AGAIN_SECS: f64 = 0.25;
/// Time between two glances in vain, seconds: they cost a millisecond.
const GLANCE_SECS: f64 = 0.5;
/// First and longest time between two whole looks in vain, seconds: they cost much more, and somebody
/// may stand there, or steam drift by, for minutes.
const VAIN_SECS: (f64, f64) = (0.5, 4.0);
/// After so long without a lost glass, seconds, whole looks begin anew with the shortest time.
const CALM_SECS: f64 = 8.0;
/// How far two looks may be apart, pixels: a trembling camera moves by three either way.
const AGREE_PX: f64 = 6.0;
/// The same for scale (part) and turn (degrees).
const AGREE_SCALE: f64 = 0.015;
const AGREE_TURN_DEG: f64 = 0.7;
/// A glass whose corners moved by less than this, pixels, did not move.
const MOVED_PX: f64 = 1.5;
/// Time between two looks at drift, seconds: a zoom of 1 % a minute moves the end of a glass of
/// 400 pixels by a fifteenth of a pixel in that time.
const DRIFT_SECS: f64 = 2.0;
/// The same while nothing hints at a drift, seconds: such a look costs as much as two hundred glances at
/// one glass.
const CALM_DRIFT_SECS: f64 = 8.0;
/// Steady shift of a glass, or drift found before, that hints at one, pixels.
const HINT_PX: f64 = 0.4;
/// Drift of a corner that is followed, pixels: under it the picture at rest hides it.
const DRIFT_PX: f64 = 1.2;
/// Steady shift that is made good, pixels: half of what steadying can follow.
const SAG_PX: f64 = 4.0;
/// Share of the newest shift in its mean, a frame: a second or so of frames, many times a tremble.
const MEAN_SHARE: f64 = 0.03;
/// Outlines are carried at a moment when the tremble is no more than this off its mean, pixels.
const AT_REST_PX: f64 = 1.0;
/// Age at which the kept picture is replaced while all is well, seconds: light changes slowly.
const KEEP_SECS: f64 = 10.0;
/// Share of agreeing texture with which all is well.
const WELL: f64 = 0.8;
/// Looks at drift in a row that find a glass not where it is thought to be, before the whole
/// picture is looked for.
const DOUBTFUL_LOOKS: u32 = 2;

/// Every so many looks at drift it is learned, too, how much of the kept picture's texture agrees.
const LEARN_LOOKS: u32 = 3;

/// How a feed's glass stands in a frame.
#[derive(Clone, Copy, Debug)]
pub(super) struct Standing {
    /// Its outline.
    pub outline: Outline,
    /// Where steadying says it is against that, pixels (right, down).
    pub shift_px: (f64, f64),
    /// Share of the texture round it that agrees.
    pub agreeing: f64,
    /// Why it cannot be seen, when it cannot.
    pub blind: Option<BlindWhy>,
}

impl Standing {
    /// The outline where it is now.
    fn now(&self) -> Outline {
        Outline {
            centre_x_px: self.outline.centre_x_px + self.shift_px.0,
            centre_y_px: self.outline.centre_y_px + self.shift_px.1,
            ..self.outline
        }
    }
}

/// Why outlines are carried along.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Why {
    /// The camera was moved.
    Knocked,
    /// It sags, or the picture slowly grows.
    Drifted,
}

/// Outlines to be carried along.
#[derive(Clone, Debug)]
pub(super) struct Carry {
    /// Index of each feed and its outline in this frame.
    pub outlines: Vec<(usize, Outline)>,
    /// Why.
    pub why: Why,
    /// A sentence about it, when it is news.
    pub words: Option<String>,
}

/// The picture in which the outlines were right.
#[derive(Clone, Debug)]
struct Kept {
    at_secs: f64,
    picture: Known,
    outlines: Vec<Outline>,
    /// Looks at drift against it so far.
    looks: u32,
}

impl Kept {
    fn of(frame: &Frame, outlines: Vec<Outline>) -> Option<Self> {
        Some(Self {
            at_secs: frame.at_secs,
            picture: Known::new(&frame.luma, &outlines)?,
            outlines,
            looks: 0,
        })
    }
}

/// Watches over the camera's place.
#[derive(Clone, Debug, Default)]
pub(super) struct Place {
    kept: Option<Kept>,
    lost_since_secs: Option<f64>,
    next_look_secs: f64,
    next_whole_secs: f64,
    vain_secs: f64,
    lost_at_secs: f64,
    seen_once: Option<Vec<Followed>>,
    /// When drift was last looked at, seconds.
    drift_secs: Option<f64>,
    /// That look found a glass not quite where it was.
    is_off: bool,
    drift_once: Vec<Option<Outline>>,
    doubtful: u32,
    mean_shift_px: Vec<(f64, f64)>,
}

impl Place {
    /// Outlines were given anew: the next frame is the one in which they are right.
    pub fn begin(&mut self) {
        *self = Self::default();
    }

    /// Takes a frame and how the glasses stand in it; says which outlines are to be carried along.
    pub fn look(&mut self, frame: &Frame, glasses: &[Standing]) -> Option<Carry> {
        if glasses.is_empty() {
            return None;
        }
        let Some(kept) = &self.kept else {
            if frame.is_whole() {
                self.keep(frame, glasses);
            }
            return None;
        };
        if kept.outlines.len() != glasses.len() {
            self.begin();
            return None;
        }
        self.follow_mean(glasses);
        if !frame.is_whole() {
            // What is due waits for the next whole picture.
            return None;
        }
        let lost = |g: &Standing| matches!(g.blind, Some(BlindWhy::Moved | BlindWhy::Covered));
        if self.doubtful >= DOUBTFUL_LOOKS || glasses.iter().any(lost) {
            return self.seek(frame, glasses);
        }
        self.lost_since_secs = None;
        self.seen_once = None;
        if glasses.iter().any(|g| g.blind.is_some()) {
            return None;
        }
        let last = *self.drift_secs.get_or_insert(frame.at_secs);
        let hints = self.doubtful > 0
            || self.is_off
            || glasses.iter().any(|g| g.agreeing < WELL)
            || self.mean_shift_px.iter().any(|m| m.0.hypot(m.1) > HINT_PX);
        let wait_secs = if hints { DRIFT_SECS } else { CALM_DRIFT_SECS };
        if frame.at_secs - last >= wait_secs {
            self.drift_secs = Some(frame.at_secs);
            return self.drift(frame, glasses);
        }
        None
    }

    /// The outlines stand so in this frame, and are right.
    fn keep(&mut self, frame: &Frame, glasses: &[Standing]) {
        self.kept = Kept::of(frame, glasses.iter().map(Standing::now).collect());
        self.drift_once = vec![None; glasses.len()];
        self.mean_shift_px = glasses.iter().map(|g| g.shift_px).collect();
        self.doubtful = 0;
    }

    fn follow_mean(&mut self, glasses: &[Standing]) {
        for (mean, glass) in self.mean_shift_px.iter_mut().zip(glasses) {
            if glass.blind.is_none() {
                mean.0 += MEAN_SHARE * (glass.shift_px.0 - mean.0);
                mean.1 += MEAN_SHARE * (glass.shift_px.1 - mean.1);
            }
        }
    }

    /// Some glass is lost: looks for the whole kept picture, and believes what two looks agree on.
    fn seek(&mut self, frame: &Frame, glasses: &[Standing]) -> Option<Carry> {
        let now = frame.at_secs;
        let since = *self.lost_since_secs.get_or_insert_with(|| {
            self.next_look_secs = now + LOST_SECS;
            if now - self.lost_at_secs > CALM_SECS || self.vain_secs <= 0.0 {
                self.vain_secs = VAIN_SECS.0;
                self.next_whole_secs = now;
            }
            now
        });
        self.lost_at_secs = now;
        if now < self.next_look_secs || now - since < LOST_SECS {
            return None;
        }
        let kept = self.kept.as_ref()?;
        let effort = if now >= self.next_whole_secs || self.seen_once.is_some() {
            Effort::Whole
        } else {
            Effort::Glance
        };
        let found = match kept.picture.again(&frame.luma, effort) {
            Again::Found(found) => found,
            Again::Stays => {
                // Something is in the way, or will be gone soon.
                self.seen_once = None;
                self.doubtful = 0;
                self.next_look_secs = now + GLANCE_SECS;
                return None;
            }
            Again::Unsure => {
                self.seen_once = None;
                self.in_vain(now, effort);
                return None;
            }
        };
        let moved: Vec<(usize, Outline)> = found
            .glasses
            .iter()
            .zip(glasses)
            .enumerate()
            .filter(|(_, (glass, standing))| {
                glass.sure == Certainty::Sure
                    && (standing.blind.is_some()
                        || apart_px(&glass.outline, &standing.now()) > MOVED_PX)
            })
            .map(|(index, (glass, _))| (index, glass.outline))
            .collect();
        // Where nothing moved there is nothing to carry: something is in the way.
        let far = moved
            .iter()
            .map(|(index, outline)| {
                kept.outlines
                    .get(*index)
                    .map_or(0.0, |was| apart_px(outline, was))
            })
            .fold(0.0, f64::max);
        if moved.is_empty() || far < MOVED_PX {
            self.seen_once = None;
            self.doubtful = 0;
            self.in_vain(now, effort);
            return None;
        }
        let settled = self.seen_once.as_ref().is_some_and(|before| {
            moved.iter().all(|(index, outline)| {
                before
                    .get(*index)
                    .is_some_and(|b| b.sure == Certainty::Sure && agree(&b.outline, outline))
            })
        });
        if !settled {
            self.seen_once = Some(found.glasses);
            self.next_look_secs = now + AGAIN_SECS;
            return None;
        }
        let words = format!(
            "the camera moved: the picture shifted by {:.0} px, turned by {:.1}° and became {:.0} % \
             {}; {} outlines were carried along",
            found.shift_px.0.hypot(found.shift_px.1),
            found.turn_deg.abs(),
            100.0 * (found.scale - 1.0).abs(),
            if found.scale >= 1.0 {
                "larger"
            } else {
                "smaller"
            },
            moved.len()
        );
        self.seen_once = None;
        self.lost_since_secs = None;
        self.in_vain(now, effort);
        self.carried(frame, glasses, &moved);
        Some(Carry {
            outlines: moved,
            why: Why::Knocked,
            words: Some(words),
        })
    }

    fn in_vain(&mut self, now_secs: f64, effort: Effort) {
        self.next_look_secs = now_secs + GLANCE_SECS;
        if effort == Effort::Whole {
            self.next_whole_secs = now_secs + self.vain_secs;
            self.vain_secs = (2.0 * self.vain_secs).min(VAIN_SECS.1);
        }
    }

    /// All is seen: looks whether the glasses slowly grow, turn or sink.
    fn drift(&mut self, frame: &Frame, glasses: &[Standing]) -> Option<Carry> {
        let kept = self.kept.as_mut()?;
        let shifts: Vec<(f64, f64)> = glasses
            .iter()
            .zip(&kept.outlines)
            .map(|(glass, was)| {
                let now = glass.now();
                (
                    now.centre_x_px - was.centre_x_px,
                    now.centre_y_px - was.centre_y_px,
                )
            })
            .collect();
        let found = kept.picture.follow(&frame.luma, &shifts);
        if kept.looks % LEARN_LOOKS == 0 {
            kept.picture.learn(&frame.luma, &shifts, &found);
        }
        kept.looks += 1;
        let unsure = found.iter().any(|f| f.sure != Certainty::Sure);
        let mut due = false;
        self.is_off = false;
        let mut moved = Vec::new();
        for (index, (followed, glass)) in found.iter().zip(glasses).enumerate() {
            let once = self.drift_once.get_mut(index)?;
            if followed.sure != Certainty::Sure {
                *once = None;
                continue;
            }
            let off_px = apart_px(&followed.outline, &glass.now());
            self.is_off |= off_px > HINT_PX;
            let mean = self.mean_shift_px.get(index).copied().unwrap_or_default();
            let at_rest = (glass.shift_px.0 - mean.0).hypot(glass.shift_px.1 - mean.1) < AT_REST_PX;
            // What two looks find is no passing reflection. They are compared as the glass would
            // stand without tremble.
            let bare = Outline {
                centre_x_px: followed.outline.centre_x_px - glass.shift_px.0,
                centre_y_px: followed.outline.centre_y_px - glass.shift_px.1,
                ..followed.outline
            };
            let twice = once.is_some_and(|before| apart_px(&before, &bare) < DRIFT_PX);
            *once = Some(bare);
            let sags = mean.0.hypot(mean.1) > SAG_PX && at_rest;
            due |= sags || (off_px > DRIFT_PX && twice);
            if sags || (off_px > DRIFT_PX / 2.0 && twice) {
                moved.push((index, followed.outline));
            }
        }
        if unsure && glasses.iter().any(|g| g.agreeing < WELL) {
            self.doubtful += 1;
            self.next_look_secs = frame.at_secs;
        } else {
            self.doubtful = 0;
        }
        let stand: Vec<Outline> = found
            .iter()
            .zip(glasses)
            .map(|(f, g)| match f.sure {
                Certainty::Sure => f.outline,
                Certainty::Hidden | Certainty::Outside => g.now(),
            })
            .collect();
        if due {
            self.kept = Kept::of(frame, stand);
            for (index, _) in &moved {
                self.rests(*index);
            }
            return Some(Carry {
                outlines: moved,
                why: Why::Drifted,
                words: None,
            });
        }
        let all_well = !unsure && glasses.iter().all(|g| g.agreeing > WELL);
        if all_well && frame.at_secs - self.kept.as_ref()?.at_secs >= KEEP_SECS {
            // Where they were found, not where they are thought to be: many small steps add up.
            self.kept = Kept::of(frame, stand);
        }
        None
    }

    /// From now on these outlines stand so; when no glass is left behind, this frame shows it.
    fn carried(&mut self, frame: &Frame, glasses: &[Standing], moved: &[(usize, Outline)]) {
        self.doubtful = 0;
        for (index, _) in moved {
            self.rests(*index);
        }
        let is_moved = |index: usize| moved.iter().any(|(m, _)| *m == index);
        if glasses
            .iter()
            .enumerate()
            .all(|(index, glass)| glass.blind.is_none() || is_moved(index))
        {
            let mut outlines: Vec<Outline> = glasses.iter().map(Standing::now).collect();
            for (index, outline) in moved {
                if let Some(place) = outlines.get_mut(*index) {
                    *place = *outline;
                }
            }
            self.kept = Kept::of(frame, outlines);
        }
    }

    /// This glass is steadied against the newest frame from now on.
    fn rests(&mut self, index: usize) {
        if let Some(mean) = self.mean_shift_px.get_mut(index) {
            *mean = (0.0, 0.0);
        }
        if let Some(once) = self.drift_once.get_mut(index) {
            *once = None;
        }
    }
}

/// Greatest distance between the corners of two outlines, pixels.
fn apart_px(a: &Outline, b: &Outline) -> f64 {
    a.corners()
        .iter()
        .zip(b.corners())
        .map(|(p, q)| (p.0 - q.0).hypot(p.1 - q.1))
        .fold(0.0, f64::max)
}

/// Whether two looks found the same place, but for a tremble.
fn agree(a: &Outline, b: &Outline) -> bool {
    let off = (a.centre_x_px - b.centre_x_px).hypot(a.centre_y_px - b.centre_y_px);
    off < AGREE_PX
        && (a.width_px / b.width_px - 1.0).abs() < AGREE_SCALE
        && (a.angle_deg - b.angle_deg).abs() < AGREE_TURN_DEG
}
