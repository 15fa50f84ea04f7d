//! Whether the picture can be trusted: darkness, frozen frames, light steps, something in the
//! way, a flood of oil. What cannot be seen becomes a blind spell with its reason, never a guess.
//! It is told figures and gives a verdict; it looks at no picture itself (but `aim` does, for a
//! person who places the camera).

pub mod aim;
mod lit;
mod pictures;

use crate::base::{BlindWhy, Span};

use lit::Lit;
use pictures::Pictures;

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
    /// Shift of the glass against its outline, pixels.
    pub shift_px: f64,
    /// Not one sample of any glass differs from the frame before.
    pub identical: bool,
}

/// Where the limits lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct HealthSettings {
    /// Mean luma under which a bead cannot be told from the dark, grey levels.
    pub dark_level: f32,
    /// Change of light from one frame to the next, as a ratio, beyond which the frame is not
    /// judged when it also left its mark: a step of exposure is evened out and must not blind.
    pub light_step: f32,
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
            lit_anew_share: 0.12,
            covered_share: 0.3,
            uncovered_share: 0.8,
            other_scene_share: 0.12,
            settled_secs: 2.0,
            hidden_share: 0.5,
            patience_secs: 0.25,
            recovery_secs: 0.3,
            frozen_secs: 2.5,
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
        self.pictures.came(now);
        if !signs.identical || self.changed_secs.is_none() {
            self.changed_secs = Some(now);
        }
        let sign = self.sign(signs);
        self.last_mean = signs.mean;
        self.last_secs = Some(now);
        if let Some((why, since)) = sign {
            self.good_since_secs = None;
            let first = match self.suspect {
                Some((same, first)) if same == why => first,
                _ => since,
            };
            self.suspect = Some((why, first));
            let patient = match why {
                BlindWhy::Frozen | BlindWhy::LightChanged | BlindWhy::NoFrames => 0.0,
                BlindWhy::Covered if signs.changed > self.settings.hidden_share => 0.0,
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

    /// A covered glass that stays dark while its surround is where it was is full of oil.
    fn refine(&mut self, signs: &Signs) {
        if let Some((why, since)) = &mut self.blind
            && *why == BlindWhy::Covered
            && signs.at_secs - *since > self.settings.flooded_secs
            && self
                .lit
                .is_some_and(|lit| lit.is_filled(signs, self.settings.flooded_gain))
        {
            *why = BlindWhy::Flooded;
        }
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
        if self.last_mean > 0.0
            && step.max(1.0 / step) > s.light_step
            && signs.changed > s.lit_anew_share
        {
            return Some((BlindWhy::LightChanged, now));
        }
        if signs.agreeing < s.agreeing_share || signs.shift_px > s.farthest_px {
            return Some((BlindWhy::Moved, now));
        }
        let covered_secs = match self.blind {
            Some((BlindWhy::Covered | BlindWhy::Flooded, since)) => Some(now - since),
            _ => None,
        };
        let share = covered_secs.map_or(1.0, |_| s.uncovered_share);
        // A glass full of oil is as even as one full of water: only its light tells them apart.
        let is_filled = self
            .lit
            .is_some_and(|lit| lit.is_filled(signs, s.flooded_gain))
            && covered_secs.map_or(signs.changed > s.other_scene_share, |secs| {
                secs < s.longest_flood_secs
            });
        if is_filled || signs.changed > share * s.covered_share {
            return Some((BlindWhy::Covered, now));
        }
        let too_few_since = self.pictures.too_few_since();
        too_few_since.map(|since| (BlindWhy::NoFrames, since))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn good(at_secs: f64) -> Signs {
        Signs {
            at_secs,
            mean: 120.0,
            gain: 1.0,
            surround_gain: 1.0,
            changed: 0.01,
            agreeing: 0.98,
            shift_px: 0.2,
            identical: false,
        }
    }

    fn run(
        watch: &mut Watch,
        frames: std::ops::Range<u32>,
        signs: impl Fn(f64) -> Signs,
    ) -> Vec<Spell> {
        frames
            .flat_map(|f| watch.frame(&signs(f64::from(f) / 30.0)).0)
            .collect()
    }

    #[test]
    fn a_good_picture_is_trusted() {
        let mut watch = Watch::new(HealthSettings::default());
        assert!(run(&mut watch, 0..300, good).is_empty());
        assert_eq!(watch.trust(), Trust::Clear);
    }

    #[test]
    fn something_in_the_way_is_one_spell_that_begins_when_it_came() {
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..300, |t| Signs {
            changed: if (2.0..5.0).contains(&t) { 0.8 } else { 0.0 },
            ..good(t)
        });
        assert_eq!(spells.len(), 1);
        assert_eq!(spells[0].why, BlindWhy::Covered);
        assert!((spells[0].span.from_secs - 2.0).abs() < 0.04);
        assert!((spells[0].span.to_secs - 5.3).abs() < 0.08);
    }

    #[test]
    fn a_flicker_of_two_frames_is_no_spell() {
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..300, |t| Signs {
            changed: if (2.0..2.07).contains(&t) { 0.4 } else { 0.0 },
            ..good(t)
        });
        assert!(spells.is_empty());
    }

    #[test]
    fn a_frozen_picture_was_blind_from_its_last_change() {
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..400, |t| Signs {
            identical: (3.0..9.0).contains(&t),
            ..good(t)
        });
        assert_eq!(spells.len(), 1);
        assert_eq!(spells[0].why, BlindWhy::Frozen);
        assert!((spells[0].span.from_secs - 3.0).abs() < 0.05);
        assert!((spells[0].span.to_secs - 9.0).abs() < 0.05);
    }

    #[test]
    fn a_gap_between_frames_is_a_spell_and_so_is_silence() {
        let mut watch = Watch::new(HealthSettings::default());
        watch.frame(&good(0.0));
        let (over, trust) = watch.frame(&good(1.0));
        assert_eq!(
            over[0].span,
            Span {
                from_secs: 0.0,
                to_secs: 1.0
            }
        );
        assert_eq!(trust, Trust::Clear);
        assert_eq!(watch.no_frame(1.2, BlindWhy::NoFrames), Trust::Clear);
        assert!(matches!(
            watch.no_frame(1.5, BlindWhy::NoFrames),
            Trust::Blind {
                since_secs: 1.0,
                ..
            }
        ));
        assert!(matches!(
            watch.no_frame(2.5, BlindWhy::CameraLost),
            Trust::Blind {
                why: BlindWhy::CameraLost,
                since_secs: 1.0
            }
        ));
        let (over, trust) = watch.frame(&good(4.0));
        assert_eq!(over.len(), 1);
        assert_eq!(
            over[0].span,
            Span {
                from_secs: 1.0,
                to_secs: 4.0
            }
        );
        assert_eq!(trust, Trust::Clear);
    }

    #[test]
    fn pictures_too_few_for_a_bead_are_a_spell_of_their_own() {
        let mut watch = Watch::new(HealthSettings::default());
        watch.passed(0.66);
        let mut spells = Vec::new();
        // Every third is spoiled, and once four in a row are lost: no hole is long enough alone.
        for n in (0..900).filter(|n| n % 3 != 0 && !(300..304).contains(n)) {
            spells.extend(watch.frame(&good(f64::from(n) / 15.0)).0);
        }
        assert_eq!(spells.len(), 1, "{spells:?}");
        assert_eq!(spells[0].why, BlindWhy::NoFrames);
        let span = spells[0].span;
        assert!(span.from_secs < 20.0 && span.to_secs > 20.2, "{span:?}");
        assert!(span.secs() < 1.2, "{span:?}");
        assert_eq!(watch.trust(), Trust::Clear);
    }

    #[test]
    fn a_flood_is_told_from_something_in_the_way() {
        let mut watch = Watch::new(HealthSettings::default());
        run(&mut watch, 0..300, |t| Signs {
            changed: if t > 2.0 { 0.9 } else { 0.0 },
            gain: if t > 2.0 { 0.6 } else { 1.0 },
            ..good(t)
        });
        assert!(matches!(
            watch.trust(),
            Trust::Blind {
                why: BlindWhy::Flooded,
                ..
            }
        ));
    }

    #[test]
    fn a_flood_that_rises_and_drains_slowly_is_one_spell() {
        // The share that is far from rest wavers about the limit, falls when the light of all the
        // glass is taken for another lamp, and comes back on the way out.
        let level = |t: f64| match t {
            ..2.0 => 0.0,
            2.0..12.0 => (t - 2.0) / 10.0,
            12.0..20.0 => 1.0,
            _ => (1.0 - (t - 20.0) / 6.0).max(0.0),
        };
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..900, |t| {
            let oil = level(t) as f32;
            let waver = 0.02 * (t * 9.0).sin() as f32;
            let (gain, changed) = if oil > 0.8 {
                (0.24, 1.0 - oil)
            } else {
                (1.0, (0.6 * oil + waver).max(0.0))
            };
            Signs {
                gain,
                changed,
                ..good(t)
            }
        });
        assert_eq!(spells.len(), 1, "{spells:?}");
        let span = spells[0].span;
        assert_eq!(spells[0].why, BlindWhy::Flooded);
        // Covered from half full on; clear when a fifth is left.
        assert!((6.5..8.0).contains(&span.from_secs), "{span:?}");
        assert!((24.0..26.0).contains(&span.to_secs), "{span:?}");
    }

    #[test]
    fn another_lamp_is_no_flood() {
        // Somebody stands in the way and turns the lamp down: glass and surround are darker alike.
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..600, |t| Signs {
            changed: if (2.0..9.0).contains(&t) { 0.9 } else { 0.02 },
            gain: if t > 4.0 { 0.5 } else { 1.0 },
            surround_gain: if t > 4.0 { 0.5 } else { 1.0 },
            ..good(t)
        });
        assert_eq!(spells.len(), 1);
        assert_eq!(spells[0].why, BlindWhy::Covered);
        assert!((spells[0].span.to_secs - 9.3).abs() < 0.08);
    }

    #[test]
    fn a_flood_that_brightens_the_glass_is_told_and_a_lamp_beside_it_is_none() {
        let run_with = |surround: f32, changed: f32| {
            let mut watch = Watch::new(HealthSettings::default());
            run(&mut watch, 0..1200, |t| {
                let is_lit = (10.0..30.0).contains(&t);
                Signs {
                    gain: if is_lit { 1.36 } else { 1.0 },
                    surround_gain: if is_lit { surround } else { 1.0 },
                    changed: if is_lit { changed } else { 0.01 },
                    ..good(t)
                }
            })
        };
        let spells = run_with(1.0, 0.19);
        assert_eq!(spells.len(), 1, "{spells:?}");
        assert_eq!(spells[0].why, BlindWhy::Flooded);
        assert!((spells[0].span.from_secs - 10.0).abs() < 0.05);
        assert!((spells[0].span.to_secs - 30.3).abs() < 0.08);
        // A lamp that lights both, a lamp that lights the glass and leaves its picture as it is.
        assert!(run_with(1.36, 0.19).is_empty());
        assert!(run_with(1.0, 0.01).is_empty());
    }

    #[test]
    fn a_card_behind_the_glass_blinds_for_ten_minutes_at_most() {
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..30_000, |t| Signs {
            gain: if t > 10.0 { 1.6 } else { 1.0 },
            changed: if t > 10.0 { 0.15 } else { 0.01 },
            ..good(t)
        });
        assert_eq!(spells.len(), 1, "{spells:?}");
        assert!((spells[0].span.secs() - 602.0).abs() < 0.2, "{spells:?}");
    }

    #[test]
    fn a_scene_that_stays_another_is_taken_for_what_it_shows() {
        let mut watch = Watch::new(HealthSettings::default());
        let spells = run(&mut watch, 0..600, |t| Signs {
            changed: match t {
                ..2.0 => 0.0,
                2.0..5.0 => 0.8,
                _ => 0.2,
            },
            ..good(t)
        });
        assert_eq!(spells.len(), 1);
        assert!((spells[0].span.to_secs - 7.0).abs() < 0.08, "{spells:?}");
    }
}
