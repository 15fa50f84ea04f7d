//! Whether the picture can be trusted: darkness, frozen frames, light steps, something in the
//! way, a flood of oil. What cannot be seen becomes a blind spell with its reason, never a guess.
//! It is told figures and gives a verdict; it looks at no picture itself (but `aim` does, for a
//! person who places the camera).

pub mod aim;
mod lit;
mod pictures;

use crate::base::{BlindWhy, Span};

use lit::{Lit, Wavering};
use pictures::{Picture, Pictures};

/// Added to both sides of a step of light, grey levels.
const LIGHT_BASE: f32 = 4.0;

/// What is known of one glass in one frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Signs {
    /// Source time, seconds.
    pub at_secs: f64,
    /// Mean luma of the glass, grey levels 0 to 255.
    pub mean: f32,
    /// Light of the glass against rest; 1 is the same.
    pub gain: f32,
    /// Light of what stands round the glass against the first picture; 1 is the same.
    pub surround_gain: f32,
    /// Share of the glass that is far from the picture at rest, 0 to 1.
    pub changed: f32,
    /// Share of the texture round the glass that is where it should be, 0 to 1.
    pub agreeing: f64,
    /// Contrast of that texture for its light; 1 is as it was.
    pub contrast: f64,
    /// Shift of the glass against its outline, pixels.
    pub shift_px: f64,
    /// Not one sample of any glass differs from the frame before.
    pub identical: bool,
    /// Something moves in the glass, or did a moment ago.
    pub stirs: bool,
    /// Source time since which the scene has not stood still for long enough to learn the picture at
    /// rest, seconds.
    pub unsettled_since_secs: Option<f64>,
}

/// Where the limits lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HealthSettings {
    /// Mean luma under which a bead cannot be told from the dark, grey levels.
    pub dark_level: f32,
    /// Change of light from one frame to the next, as a ratio, beyond which the frame is not
    /// judged when it also left its mark: a step of exposure is evened out and must not blind.
    pub light_step: f32,
    /// The same, beyond which it is not judged at all: black is not nought in a camera, so dark and
    /// bright parts of a glass change by other ratios, and no one ratio evens them.
    pub light_leap: f32,
    /// Share of the glass that is still far from rest after such a step has been evened out.
    pub lit_anew_share: f32,
    /// Share of the glass that no bead can cover: a 6 mm bead in a 15 mm bore covers a tenth.
    pub covered_share: f32,
    /// Share of `covered_share` under which what covered the glass is gone: the share wavers by a
    /// tenth with the noise, and a flood that rises past the limit must not end the spell it began.
    pub uncovered_share: f32,
    /// Share of the glass far from rest from which the picture is another than before a spell.
    pub other_scene_share: f32,
    /// Seconds of good signs after which a glass that was covered and is still another than before
    /// is taken for what it shows: what drains or is wiped away is not done in less.
    pub settled_secs: f64,
    /// Share of the glass from which it is hidden, however short the moment.
    pub hidden_share: f32,
    /// Seconds a sign must last before it counts: a bead takes longer to pass than this.
    pub patience_secs: f64,
    /// Seconds of good signs after which a blind spell is over.
    pub recovery_secs: f64,
    /// Seconds without a single changed sample after which the picture is frozen. Video coding
    /// repeats a calm picture for a second or two; a camera's noise never stands still. 2.5, so
    /// that it is shown within three seconds.
    pub frozen_secs: f64,
    /// Contrast of the texture round the glass under which it is hidden: somebody as dark as what he
    /// hides changes no sample by much. Steam that takes half the light and shines itself leaves
    /// a third of it.
    pub hidden_contrast: f64,
    /// Share of agreeing texture under which the glass is not where it was.
    pub agreeing_share: f64,
    /// Farthest shift that steadying can follow, pixels.
    pub farthest_px: f64,
    /// Gap between two frames, seconds, in which a whole bead could pass unseen.
    pub gap_secs: f64,
    /// Light of a glass full of oil against the same glass with water: lit from behind it darkens,
    /// and stays so; lit from the front it may brighten as much.
    pub flooded_gain: f32,
    /// Seconds after which a lasting change of the glass alone is taken for a flood.
    pub flooded_secs: f64,
    /// Seconds after which a glass that is even, but lit otherwise than before, is taken for what it
    /// shows: somebody has put a card behind it. A flood is a matter of minutes.
    pub longest_flood_secs: f64,
}

impl Default for HealthSettings {
    fn default() -> Self {
        Self {
            dark_level: 8.0,
            light_step: 1.8,
            light_leap: 2.5,
            lit_anew_share: 0.12,
            covered_share: 0.3,
            uncovered_share: 0.8,
            other_scene_share: 0.12,
            settled_secs: 2.0,
            hidden_share: 0.5,
            patience_secs: 0.25,
            recovery_secs: 0.3,
            frozen_secs: 2.5,
            hidden_contrast: 0.2,
            agreeing_share: 0.35,
            farthest_px: 8.5,
            gap_secs: 0.35,
            flooded_gain: 0.75,
            flooded_secs: 4.0,
            longest_flood_secs: 600.0,
        }
    }
}

/// What the watch over one glass says after a frame.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Trust {
    /// The frame may be counted in.
    Clear,
    /// Blind, for this reason, since `since_secs`.
    Blind {
        /// The reason.
        why: BlindWhy,
        /// Source time since which, seconds (may lie before the frame that showed it).
        since_secs: f64,
    },
}

/// A blind spell that is over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spell {
    /// From when to when.
    pub span: Span,
    /// Why.
    pub why: BlindWhy,
}

/// Watches over one glass.
#[derive(Clone, Debug)]
pub struct Watch {
    settings: HealthSettings,
    last_secs: Option<f64>,
    last_mean: f32,
    changed_secs: Option<f64>,
    suspect: Option<(BlindWhy, f64)>,
    blind: Option<(BlindWhy, f64)>,
    good_since_secs: Option<f64>,
    /// How glass and surround are lit while the glass is trusted.
    lit: Option<Lit>,
    /// How its light came and went of late.
    wavering: Wavering,
    pictures: Pictures,
}

impl Watch {
    /// A watch that trusts the picture until it has a reason not to.
    #[must_use]
    pub fn new(settings: HealthSettings) -> Self {
        Self {
            settings,
            last_secs: None,
            last_mean: 0.0,
            changed_secs: None,
            suspect: None,
            blind: None,
            good_since_secs: None,
            lit: None,
            wavering: Wavering::new(),
            pictures: Pictures::new(),
        }
    }

    /// A bead took so long through the whole glass, seconds: so long too few pictures must not
    /// have come.
    pub fn passed(&mut self, secs: f64) {
        self.pictures.passed(secs);
    }

    /// Takes the signs of a frame. Gives the spells that ended with it, and the verdict.
    pub fn frame(&mut self, signs: &Signs) -> (Vec<Spell>, Trust) {
        let mut over = Vec::new();
        let now = signs.at_secs;
        if let Some(last) = self.last_secs
            && now - last > self.settings.gap_secs
        {
            self.pictures.begin(now);
            if self.blind.is_none() {
                // Frames were lost, and a bead could have passed in the meantime.
                over.push(Spell {
                    span: Span {
                        from_secs: last,
                        to_secs: now,
                    },
                    why: BlindWhy::NoFrames,
                });
            }
        }
        let picture = match (signs.identical, signs.stirs) {
            (false, _) => Picture::New,
            (true, false) => Picture::Calm,
            (true, true) => Picture::Stale,
        };
        self.pictures.came(now, picture);
        if !signs.identical || self.changed_secs.is_none() {
            self.changed_secs = Some(now);
        }
        self.wavering.take(signs);
        let sign = self.sign(signs);
        self.last_mean = signs.mean;
        self.last_secs = Some(now);
        if let Some((why, since)) = sign {
            self.good_since_secs = None;
            // Somebody who passes hides the texture, then leads it astray, then hides it again: while one
            // sign follows another it is one event.
            let first = match self.suspect {
                Some((before, first)) if before == why || is_of_the_scene(before, why) => first,
                _ => since,
            };
            self.suspect = Some((why, first));
            let patient = match why {
                BlindWhy::Frozen | BlindWhy::LightChanged | BlindWhy::NoFrames => 0.0,
                BlindWhy::Covered
                    if signs.changed > self.settings.hidden_share
                        || signs.unsettled_since_secs.is_some() =>
                {
                    0.0
                }
                _ => self.settings.patience_secs,
            };
            if now - first >= patient {
                self.go_blind(why, first);
            }
            self.refine(signs);
        } else {
            self.suspect = None;
            if let Some((why, since)) = self.blind {
                let good = *self.good_since_secs.get_or_insert(now);
                let recovery = match why {
                    // Frames are back: what is seen now can be counted at once.
                    BlindWhy::NoFrames | BlindWhy::CameraLost | BlindWhy::Frozen => 0.0,
                    BlindWhy::Covered | BlindWhy::Flooded
                        if signs.changed > self.settings.other_scene_share =>
                    {
                        self.settings.settled_secs
                    }
                    _ => self.settings.recovery_secs,
                };
                if now - good >= recovery {
                    over.push(Spell {
                        span: Span {
                            from_secs: since,
                            to_secs: now.max(since),
                        },
                        why,
                    });
                    self.blind = None;
                    self.good_since_secs = None;
                    self.pictures.begin(now);
                }
            }
        }
        if !over.is_empty() {
            self.lit = None;
        } else if self.blind.is_none() && self.suspect.is_none() {
            self.lit = Some(Lit::followed(self.lit, signs));
        }
        (over, self.trust())
    }

    /// A frame came that was passed over because nothing moved, and repeats the one before.
    pub fn pass_over(&mut self, at_secs: f64) {
        self.pictures.came(at_secs, Picture::Calm);
        self.last_secs = Some(at_secs);
    }

    /// ... and it was another than the frame before, so that the picture is not frozen.
    pub fn pass_over_another(&mut self, at_secs: f64) {
        self.pictures.came(at_secs, Picture::New);
        self.last_secs = Some(at_secs);
        self.changed_secs = Some(at_secs);
    }

    /// No frame came. After the gap that could hide a bead the glass is blind since the last one.
    pub fn no_frame(&mut self, at_secs: f64, why: BlindWhy) -> Trust {
        let since = *self.last_secs.get_or_insert(at_secs);
        if at_secs - since > self.settings.gap_secs {
            self.go_blind(why, since);
        }
        self.good_since_secs = None;
        self.trust()
    }

    /// The end of watching: closes a spell that is still open.
    pub fn finish(&mut self, at_secs: f64) -> Option<Spell> {
        self.blind.take().map(|(why, since)| Spell {
            span: Span {
                from_secs: since,
                to_secs: at_secs.max(since),
            },
            why,
        })
    }

    /// The scene has been learned anew: what was blind for it is over.
    pub fn start_over(&mut self, at_secs: f64) -> Option<Spell> {
        self.suspect = None;
        self.good_since_secs = None;
        self.last_mean = 0.0;
        self.lit_anew();
        self.finish(at_secs)
    }

    /// The light is told against another picture from now on.
    pub fn lit_anew(&mut self) {
        self.lit = None;
    }

    /// The verdict as it stands.
    #[must_use]
    pub fn trust(&self) -> Trust {
        match self.blind {
            Some((why, since_secs)) => Trust::Blind { why, since_secs },
            None => Trust::Clear,
        }
    }

    fn go_blind(&mut self, why: BlindWhy, since_secs: f64) {
        match &mut self.blind {
            None => self.blind = Some((why, since_secs)),
            // A lost camera is worse news than missing frames, and a reason once found stays.
            Some((held, _)) if why == BlindWhy::CameraLost => *held = why,
            Some(_) => {}
        }
    }

    /// A covered glass that stays dark while its surround is where it was is full of oil, as long as its
    /// light stands: that of steam comes and goes.
    fn refine(&mut self, signs: &Signs) {
        self.blind = self.blind.map(|(why, since_secs)| {
            let is_old = signs.at_secs - since_secs > self.settings.flooded_secs;
            let wavers = || self.wavering.is_there();
            let why = match why {
                BlindWhy::Covered if is_old && self.is_filled(signs) && !wavers() => {
                    BlindWhy::Flooded
                }
                BlindWhy::Flooded if wavers() => BlindWhy::Covered,
                _ => why,
            };
            (why, since_secs)
        });
    }

    /// Whether the light of the glass is that of one full of oil.
    fn is_filled(&self, signs: &Signs) -> bool {
        self.lit
            .is_some_and(|lit| lit.is_filled(signs, self.settings.flooded_gain))
    }

    fn sign(&self, signs: &Signs) -> Option<(BlindWhy, f64)> {
        let s = &self.settings;
        let now = signs.at_secs;
        if let Some(changed) = self.changed_secs
            && now - changed >= s.frozen_secs
        {
            return Some((BlindWhy::Frozen, changed));
        }
        if signs.mean < s.dark_level {
            return Some((BlindWhy::Dark, now));
        }
        // The base keeps near-black from making steps of its noise.
        let step = (signs.mean + LIGHT_BASE) / (self.last_mean + LIGHT_BASE);
        let step = step.max(1.0 / step);
        if self.last_mean > 0.0
            && (step > s.light_leap || step > s.light_step && signs.changed > s.lit_anew_share)
        {
            return Some((BlindWhy::LightChanged, now));
        }
        if signs.agreeing < s.agreeing_share || signs.shift_px > s.farthest_px {
            return Some((BlindWhy::Moved, now));
        }
        if let Some(since) = signs.unsettled_since_secs {
            return Some((BlindWhy::Covered, since));
        }
        let covered_secs = match self.blind {
            Some((BlindWhy::Covered | BlindWhy::Flooded, since)) => Some(now - since),
            _ => None,
        };
        let share = covered_secs.map_or(1.0, |_| s.uncovered_share);
        // A glass full of oil is as even as one full of water: only its light tells them apart.
        let is_filled = self.is_filled(signs)
            && covered_secs.map_or(signs.changed > s.other_scene_share, |secs| {
                secs < s.longest_flood_secs
            });
        if is_filled
            || signs.changed > share * s.covered_share
            || signs.contrast < s.hidden_contrast
        {
            return Some((BlindWhy::Covered, now));
        }
        let too_few_since = self.pictures.too_few_since();
        too_few_since.map(|since| (BlindWhy::NoFrames, since))
    }
}

/// Whether two signs may be of one event before the glass.
fn is_of_the_scene(before: BlindWhy, now: BlindWhy) -> bool {
    let is = |why| matches!(why, BlindWhy::Covered | BlindWhy::Moved);
    is(before) && is(now)
}

#[cfg(test)]
mod tests;
