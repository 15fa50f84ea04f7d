//! Faults on request: which are on, and what each asks of the model, the picture and the sensor at
//! a given time. Their words are read elsewhere, and it draws nothing itself.

use super::fault_words::{self, Fault, Request};
use super::noise;
use crate::capture::CaptureError;

/// The most requests kept at once.
const MOST_ACTIVE: usize = 64;

/// A fault that was asked for.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Active {
    fault: Fault,
    feed: Option<usize>,
    strength: f64,
    from_secs: f64,
    to_secs: f64,
}

/// All faults asked for, and the slow ones' state.
#[derive(Clone, Debug)]
pub struct Faults {
    feeds: usize,
    active: Vec<Active>,
    flooded: Vec<f64>,
    filmed: Vec<f64>,
    zoomed: f64,
    salt: u32,
}

/// What the sensor makes of a picture: luma × gain + offset in each row, and noise.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sensor {
    /// Gain of the whole picture.
    pub gain: f64,
    /// Offset, luma steps.
    pub offset: f64,
    /// Flicker: share of the light, cycles a second, source time of the first row.
    pub flicker: Option<(f64, f64, f64)>,
    /// Noise to add to the camera's own, spread in luma steps.
    pub noise: f64,
}

impl Faults {
    /// Nothing wrong with any of so many feeds.
    #[must_use]
    pub fn new(feeds: usize, seed: u64) -> Self {
        Self {
            feeds,
            active: Vec::new(),
            flooded: vec![0.0; feeds],
            filmed: vec![0.0; feeds],
            zoomed: 1.0,
            salt: (seed as u32) ^ 0x00FA_0175,
        }
    }

    /// Switches faults on or off at `now_secs`, in the words of [`fault_words`].
    ///
    /// # Errors
    /// [`CaptureError::NoSuchSource`] with a sentence; what stood before the wrong request has
    /// been done.
    pub fn ask(&mut self, words: &str, now_secs: f64) -> Result<(), CaptureError> {
        words
            .split([';', ',', '\n'])
            .map(str::trim)
            .filter(|request| !request.is_empty())
            .try_for_each(|request| self.ask_one(request, now_secs))
    }

    fn ask_one(&mut self, request: &str, now_secs: f64) -> Result<(), CaptureError> {
        let Some(request) = fault_words::read(request, self.feeds, now_secs)? else {
            self.active.clear();
            self.flooded.fill(0.0);
            self.filmed.fill(0.0);
            self.zoomed = 1.0;
            return Ok(());
        };
        let Request { fault, feed, .. } = request;
        // The same fault may be asked for again at another time; at the same time the newer holds.
        let apart = |a: &Active| a.to_secs <= request.from_secs || request.to_secs <= a.from_secs;
        self.active.retain(|a| {
            a.fault != fault
                || (feed.is_some() && a.feed != feed)
                || (request.strength.is_some() && apart(a))
        });
        let Some(strength) = request.strength else {
            if fault == Fault::Film {
                for (index, film) in self.filmed.iter_mut().enumerate() {
                    if feed.is_none_or(|f| f == index) {
                        *film = 0.0;
                    }
                }
            }
            return Ok(());
        };
        if self.active.len() < MOST_ACTIVE {
            self.active.push(Active {
                fault,
                feed,
                strength,
                from_secs: request.from_secs,
                to_secs: request.to_secs,
            });
        }
        Ok(())
    }

    /// Moves the slow faults on by a step that ends at `now_secs`.
    pub fn advance(&mut self, now_secs: f64, step_secs: f64) {
        // A drained glass is clear again after so many seconds.
        const DRAIN_SECS: f64 = 6.0;
        if let Some(per_cent) = self.strength(Fault::Zoom, now_secs) {
            self.zoomed *= (per_cent / 100.0 / 60.0 * step_secs).exp();
        }
        for feed in 0..self.feeds {
            let flooding = self.strength_of(Fault::Flood, Some(feed), now_secs);
            let filming = self.strength_of(Fault::Film, Some(feed), now_secs);
            let change = flooding.map_or(-1.0 / DRAIN_SECS, |fill_secs| 1.0 / fill_secs);
            let flooded = &mut self.flooded[feed];
            *flooded = (*flooded + change * step_secs).clamp(0.0, 1.0);
            if let Some(a_minute) = filming {
                let film = &mut self.filmed[feed];
                *film = (*film + a_minute / 60.0 * step_secs).min(0.97);
            }
        }
    }

    /// Since when and how strongly a fault is on now.
    fn on(&self, fault: Fault, feed: Option<usize>, now_secs: f64) -> Option<(f64, f64)> {
        self.active
            .iter()
            .rev()
            .find(|a| {
                a.fault == fault
                    && (a.feed.is_none() || a.feed == feed)
                    && (a.from_secs..a.to_secs).contains(&now_secs)
            })
            .map(|a| (a.from_secs, a.strength))
    }

    fn strength_of(&self, fault: Fault, feed: Option<usize>, now_secs: f64) -> Option<f64> {
        self.on(fault, feed, now_secs).map(|(_, strength)| strength)
    }

    /// Whether a fault of the whole picture is on, and how strongly.
    #[must_use]
    pub fn strength(&self, fault: Fault, now_secs: f64) -> Option<f64> {
        self.strength_of(fault, None, now_secs)
    }

    /// How much faster than asked a feed runs now.
    #[must_use]
    pub fn rate_factor(&self, feed: usize, now_secs: f64) -> f64 {
        let fast = self
            .strength_of(Fault::Fast, Some(feed), now_secs)
            .unwrap_or(1.0);
        let stop = self
            .strength_of(Fault::Stop, Some(feed), now_secs)
            .unwrap_or(0.0);
        fast * (1.0 - stop)
    }

    /// Share of a glass, from above, that is full of oil now.
    #[must_use]
    pub fn flooded(&self, feed: usize) -> f64 {
        self.flooded.get(feed).copied().unwrap_or(0.0)
    }

    /// Share of a glass's contrast that its film takes now.
    #[must_use]
    pub fn filmed(&self, feed: usize) -> f64 {
        self.filmed.get(feed).copied().unwrap_or(0.0)
    }

    /// How much larger the picture is than at first, through a lens that zooms: about the middle of
    /// the picture.
    #[must_use]
    pub fn zoomed(&self) -> f64 {
        self.zoomed
    }

    /// Where the camera trembles to at a moment, pixels: as a whole picture sees it.
    #[must_use]
    pub fn shake_px(&self, now_secs: f64) -> Option<(f64, f64)> {
        self.trembling(Fault::Shake, now_secs, now_secs)
    }

    /// The same as a row sees it that is read out at `row_secs`, in a picture of `now_secs`.
    #[must_use]
    pub fn rolling_shake_px(&self, now_secs: f64, row_secs: f64) -> Option<(f64, f64)> {
        self.trembling(Fault::ShakeRolling, now_secs, row_secs)
    }

    fn trembling(&self, fault: Fault, now_secs: f64, at_secs: f64) -> Option<(f64, f64)> {
        // Two tones each way, Hz, between 5 and 15: an engine's frame on its wheels or bed.
        const TONES_HZ: [(f64, f64); 2] = [(6.3, 11.9), (8.1, 13.7)];
        let size = self.strength(fault, now_secs).filter(|&s| s > 0.0)?;
        let swell = 0.75 + 0.25 * noise::smooth(0.7 * at_secs, 0.0, self.salt);
        let way = |(slow, quick): (f64, f64), start: f64| {
            let turn = std::f64::consts::TAU * at_secs;
            size * swell * (0.65 * (slow * turn + start).sin() + 0.35 * (quick * turn).sin())
        };
        Some((0.8 * way(TONES_HZ[0], 0.4), way(TONES_HZ[1], 1.9)))
    }

    /// How somebody who walks past stands in the picture now, if anybody does: his place from −0.3
    /// (left of it) to 1.3 (right of it).
    #[must_use]
    pub fn passer_at(&self, fault: Fault, now_secs: f64) -> Option<f64> {
        // Seconds that one passing takes, and seconds before the first.
        const PASSING_SECS: f64 = 3.0;
        const FIRST_AFTER_SECS: f64 = 1.0;
        let (from, every) = self.on(fault, None, now_secs)?;
        let since = now_secs - from - FIRST_AFTER_SECS;
        if since < 0.0 {
            return None;
        }
        let (turn, within) = ((since / every).floor(), since.rem_euclid(every));
        if within > PASSING_SECS {
            return None;
        }
        let place = -0.3 + 1.6 * within / PASSING_SECS;
        let leftwards = (turn as i64) % 2 == 1;
        Some(if leftwards { 1.0 - place } else { place })
    }

    /// For how long bright things have been moving about the room, and how bright they are.
    #[must_use]
    pub fn reflection(&self, now_secs: f64) -> Option<(f64, f64)> {
        self.on(Fault::Reflection, None, now_secs)
            .map(|(from, luma)| (now_secs - from, luma))
    }

    /// What the sensor does now.
    #[must_use]
    pub fn sensor(&self, now_secs: f64) -> Sensor {
        // Mid-grey about which contrast is lost, luma.
        const MIDDLE: f64 = 95.0;
        // A lamp on 50 Hz mains flickers at twice that.
        const LAMP_HZ: f64 = 100.0;
        let share = |fault| self.strength(fault, now_secs).map_or(0.0, |s| s / 100.0);
        let light = (1.0 - share(Fault::Dark)) * self.exposure_step(now_secs);
        let kept = 1.0 - share(Fault::Contrast);
        Sensor {
            gain: light * kept,
            offset: MIDDLE * (1.0 - kept) * light.min(1.0),
            flicker: self
                .strength(Fault::Flicker, now_secs)
                .map(|per_cent| (per_cent / 100.0, LAMP_HZ, now_secs)),
            noise: self.strength(Fault::Noise, now_secs).unwrap_or(0.0),
        }
    }

    /// Gain of an exposure that jumps every few seconds.
    fn exposure_step(&self, now_secs: f64) -> f64 {
        // The exposure may jump at multiples of this, seconds.
        const EVERY_SECS: f64 = 2.5;
        let Some((from, per_cent)) = self.on(Fault::Exposure, None, now_secs) else {
            return 1.0;
        };
        let slot = ((now_secs - from) / EVERY_SECS).floor() as i32;
        if slot == 0 {
            return 1.0;
        }
        match (noise::cell(slot, 3, self.salt) * 3.0) as u32 {
            0 => 1.0 - per_cent / 100.0,
            1 => 1.0,
            _ => 1.0 + per_cent / 100.0,
        }
    }

    /// Where a knock has moved the camera to: pixels across and down, degrees.
    #[must_use]
    pub fn knocked(&self, now_secs: f64) -> Option<((f64, f64), f64)> {
        // A knock also turns the camera: degrees for each pixel it moves.
        const DEG_PER_PX: f64 = 0.06;
        let px = self.strength(Fault::Knock, now_secs)?;
        let angle = 0.6 + 0.5 * noise::cell(1, 1, self.salt);
        Some(((px * angle.cos(), px * angle.sin()), -DEG_PER_PX * px))
    }

    /// Whether a frame is struck by a fault that strikes a share of the frames.
    #[must_use]
    pub fn strikes(&self, fault: Fault, number: u64, now_secs: f64) -> bool {
        self.strength(fault, now_secs)
            .is_some_and(|per_cent| self.chance(fault, number) * 100.0 < per_cent)
    }

    /// How late a frame is stamped, seconds.
    #[must_use]
    pub fn late_secs(&self, number: u64, now_secs: f64) -> f64 {
        self.strength(Fault::Late, now_secs).map_or(0.0, |most_ms| {
            most_ms * 1e-3 * self.chance(Fault::Late, number)
        })
    }

    /// Until when no frames come, if that is so now.
    #[must_use]
    pub fn stalled_until(&self, now_secs: f64) -> Option<f64> {
        let (from, secs) = self.on(Fault::Stall, None, now_secs)?;
        (now_secs < from + secs).then_some(from + secs)
    }

    /// A number from 0 to 1 for a frame and a fault.
    fn chance(&self, fault: Fault, number: u64) -> f64 {
        let salt = self.salt ^ (fault as u32 + 1).wrapping_mul(0x9E37_79B9);
        noise::cell(number as i32, (number >> 31) as i32, salt)
    }
}
