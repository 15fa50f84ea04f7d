//! The alarm's sound: one thread that looks at the newest snapshot by itself, so that a hidden or
//! slow window never silences an alarm. No sound device: one quiet sentence, and it tries again.
//!
//! On request each drop is heard as well, a pitch for each feed, and never beside an alarm.
//!
//! The tones lie between 500 and 2500 Hz, where ISO 7731 wants danger signals (by way of public
//! notes on it): two tones in turn for danger, a short double knock for caution.

use std::collections::HashMap;
use std::num::NonZero;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread::JoinHandle;
use std::time::Duration;

use rodio::{DeviceSinkBuilder, MixerDeviceSink, Player, Source};

use crate::base::{Clock, FeedNumber};
use crate::judge::{AlarmState, Cause};
use crate::run::Snapshot;
use crate::ui::backend::Look;
use crate::ui::kept::Hears;
use crate::ui::words;

/// How often the thread looks at the alarms, seconds: well under a person's reaction time.
const LOOK_SECS: f64 = 0.2;
/// How long after a failure the sound device is tried again, seconds.
const TRY_AGAIN_SECS: f64 = 30.0;
/// Samples a second; every sound device takes it.
const SAMPLES_PER_SECOND: NonZero<u32> = match NonZero::new(48_000) {
    Some(rate) => rate,
    None => NonZero::<u32>::MIN,
};
/// Lower tone of the danger signal, Hz.
const LOW_HZ: f64 = 740.0;
/// Higher tone of the danger signal, Hz.
const HIGH_HZ: f64 = 988.0;
/// The caution's tone, Hz.
const CAUTION_HZ: f64 = 620.0;
/// How often the thread looks for drops while they are to be heard, seconds: sound and flash seem
/// one to the eye and ear.
const LOOK_FOR_DROPS_SECS: f64 = 0.04;
/// Pitches of drops, Hz: five notes to the octave from middle C (equal temperament, A at 440 Hz)
/// upwards, without those near an alarm's tones.
const PITCHES_HZ: [f64; 8] = [261.63, 293.66, 329.63, 392.0, 440.0, 523.25, 783.99, 880.0];
/// How long a drop sounds, seconds: shorter than two drops a second are apart.
const DROP_SECS: f64 = 0.3;
/// In how long a drop's sound falls to a third, seconds.
const DROP_DIES_SECS: f64 = 0.07;
/// Loudness of a drop, 0 to 1: well under an alarm's.
const DROP_LOUDNESS: f64 = 0.35;
/// Loudness of 0 to 1: the device's own setting does the rest; headroom for the two partials.
const LOUDNESS: f64 = 0.6;

/// What should sound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Tone {
    /// Nothing.
    Silent,
    /// A double knock every three seconds.
    Caution,
    /// Two tones in turn without a pause.
    Danger,
}

/// What should sound for these alarms: only what nobody acknowledged.
#[must_use]
pub fn wanted(snapshot: &Snapshot) -> Tone {
    let mut tone = Tone::Silent;
    for alarm in &snapshot.alarms {
        if alarm.state != AlarmState::Unacknowledged {
            continue;
        }
        match alarm.cause {
            Cause::Stopped | Cause::FarHigh | Cause::CameraLost | Cause::LogbookNotWritten => {
                return Tone::Danger;
            }
            Cause::Low | Cause::High | Cause::CannotSee => tone = Tone::Caution,
        }
    }
    tone
}

/// The sample of a tone at a time in seconds, within ±1.
#[must_use]
pub fn sample(tone: Tone, at_secs: f64) -> f32 {
    let (hz, loud) = match tone {
        Tone::Silent => return 0.0,
        Tone::Danger => {
            // Four tones a second, in turn; soft edges, so that nothing clicks.
            let part = (at_secs * 4.0).rem_euclid(2.0);
            let hz = if part < 1.0 { LOW_HZ } else { HIGH_HZ };
            (hz, edge(part.fract() / 4.0, 0.25))
        }
        Tone::Caution => {
            let within = at_secs.rem_euclid(3.0);
            let loud = if within < 0.15 {
                edge(within, 0.15)
            } else if (0.25..0.4).contains(&within) {
                edge(within - 0.25, 0.15)
            } else {
                0.0
            };
            (CAUTION_HZ, loud)
        }
    };
    let turn = std::f64::consts::TAU * hz * at_secs;
    // A second partial makes it carry through a noisy room.
    let wave = 0.75 * turn.sin() + 0.25 * (2.0 * turn).sin();
    (wave * loud * LOUDNESS) as f32
}

/// Rises and falls within five milliseconds at the ends of a part.
fn edge(within_secs: f64, long_secs: f64) -> f64 {
    (within_secs.min(long_secs - within_secs) / 0.005).clamp(0.0, 1.0)
}

/// Pitch of a feed's drops, Hz: five notes to the octave, the leftmost the lowest, all well away
/// from the tones of alarms.
#[must_use]
pub fn pitch_hz(feed: FeedNumber) -> f64 {
    PITCHES_HZ[feed.index() % PITCHES_HZ.len()]
}

/// The sample of a drop's sound at a time in seconds, within ±1: a soft pluck that dies away.
#[must_use]
pub fn drop_sample(feed: FeedNumber, at_secs: f64) -> f32 {
    if !(0.0..DROP_SECS).contains(&at_secs) {
        return 0.0;
    }
    let dying = (-at_secs / DROP_DIES_SECS).exp() * edge(at_secs, DROP_SECS);
    let wave = (std::f64::consts::TAU * pitch_hz(feed) * at_secs).sin();
    (wave * dying * DROP_LOUDNESS) as f32
}

/// A sound made for the sound device, sample by sample.
struct Made<F> {
    sample: F,
    at: u64,
    until: u64,
}

impl Made<()> {
    /// An alarm's tone, without an end.
    fn endless(tone: Tone) -> Made<impl FnMut(f64) -> f32 + Send> {
        Made {
            sample: move |at_secs| sample(tone, at_secs),
            at: 0,
            until: u64::MAX,
        }
    }

    /// One drop.
    fn drop_of(feed: FeedNumber) -> Made<impl FnMut(f64) -> f32 + Send> {
        Made {
            sample: move |at_secs| drop_sample(feed, at_secs),
            at: 0,
            until: (DROP_SECS * f64::from(SAMPLES_PER_SECOND.get())) as u64,
        }
    }
}

impl<F: FnMut(f64) -> f32> Iterator for Made<F> {
    type Item = f32;

    fn next(&mut self) -> Option<f32> {
        if self.at >= self.until {
            return None;
        }
        let value = (self.sample)(self.at as f64 / f64::from(SAMPLES_PER_SECOND.get()));
        self.at += 1;
        Some(value)
    }
}

impl<F: FnMut(f64) -> f32> Source for Made<F> {
    fn current_span_len(&self) -> Option<usize> {
        None
    }

    fn channels(&self) -> NonZero<u16> {
        NonZero::<u16>::MIN
    }

    fn sample_rate(&self) -> NonZero<u32> {
        SAMPLES_PER_SECOND
    }

    fn total_duration(&self) -> Option<Duration> {
        None
    }
}

/// The switch and the state of the sound, shared by window and thread.
#[derive(Debug, Default)]
pub struct SoundSwitch {
    off: AtomicBool,
    drops: AtomicBool,
    stop: AtomicBool,
    no_device: AtomicBool,
}

/// Whether there is anything to be heard with.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Heard {
    Yes,
    NoDevice,
}

impl SoundSwitch {
    /// Whether the sound is on.
    #[must_use]
    pub fn is_on(&self) -> bool {
        !self.off.load(Ordering::Relaxed)
    }

    /// The other way round; gives whether it is on now.
    pub fn toggle(&self) -> bool {
        self.off.fetch_xor(true, Ordering::Relaxed)
    }

    /// Whether drops are heard.
    #[must_use]
    pub fn drops(&self) -> Hears {
        Hears::from(self.drops.load(Ordering::Relaxed))
    }

    /// Lets drops be heard, or not.
    pub fn let_drops_sound(&self, hears: Hears) {
        self.drops.store(hears == Hears::On, Ordering::Relaxed);
    }

    /// Why nothing can be heard, if nothing can.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        self.no_device
            .load(Ordering::Relaxed)
            .then(|| words::get().no_sound.to_owned())
    }

    fn set_trouble(&self, heard: Heard) {
        self.no_device
            .store(heard == Heard::NoDevice, Ordering::Relaxed);
    }
}

/// The sound's thread; it ends when this is dropped.
pub struct Sound {
    switch: Arc<SoundSwitch>,
    thread: Option<JoinHandle<()>>,
}

impl Sound {
    /// Starts the thread.
    ///
    /// # Errors
    /// When the computer can start no thread.
    pub fn start(look: Look, clock: Arc<dyn Clock>) -> std::io::Result<Self> {
        let switch = Arc::new(SoundSwitch::default());
        let shared = switch.clone();
        let thread = std::thread::Builder::new()
            .name("sound".to_owned())
            .spawn(move || keep_sounding(&look, &*clock, &shared))?;
        Ok(Self {
            switch,
            thread: Some(thread),
        })
    }

    /// The switch.
    #[must_use]
    pub fn switch(&self) -> Arc<SoundSwitch> {
        self.switch.clone()
    }
}

impl Drop for Sound {
    fn drop(&mut self) {
        self.switch.stop.store(true, Ordering::Relaxed);
        if let Some(thread) = self.thread.take() {
            // A thread that died has nothing left to end.
            let _ended = thread.join();
        }
    }
}

/// An open device, with the alarm's tone on it if there is one.
struct Open {
    sink: MixerDeviceSink,
    alarm: Option<(Tone, Player)>,
}

fn keep_sounding(look: &Look, clock: &dyn Clock, switch: &SoundSwitch) {
    let mut open: Option<Open> = None;
    let mut drops = NewDrops::default();
    let mut try_at_secs = 0.0;
    while !switch.stop.load(Ordering::Relaxed) {
        let snapshot = look();
        let tone = if switch.is_on() {
            wanted(&snapshot)
        } else {
            Tone::Silent
        };
        let new = drops.take(&snapshot);
        let hears_drops = switch.drops() == Hears::On;
        if tone == Tone::Silent && !hears_drops {
            // The device is closed in silence: it would keep the processor awake.
            open = None;
        } else if open.is_none() && clock.monotonic_secs() >= try_at_secs {
            match open_device() {
                Ok(mut sink) => {
                    sink.log_on_drop(false);
                    open = Some(Open { sink, alarm: None });
                    switch.set_trouble(Heard::Yes);
                }
                Err(why) => {
                    try_at_secs = clock.monotonic_secs() + TRY_AGAIN_SECS;
                    tracing::info!(why, "no sound");
                    switch.set_trouble(Heard::NoDevice);
                }
            }
        }
        if let Some(open) = &mut open {
            let sounding = open.alarm.as_ref().map_or(Tone::Silent, |(tone, _)| *tone);
            if tone != sounding {
                open.alarm = (tone != Tone::Silent).then(|| {
                    let player = Player::connect_new(open.sink.mixer());
                    player.append(Made::endless(tone));
                    (tone, player)
                });
            }
            // Nothing is heard beside an alarm.
            if hears_drops && tone == Tone::Silent {
                for feed in new {
                    open.sink.mixer().add(Made::drop_of(feed));
                }
            }
        }
        clock.wait_secs(if hears_drops {
            LOOK_FOR_DROPS_SECS
        } else {
            LOOK_SECS
        });
    }
    drop(open);
}

/// Which feeds counted a drop since the last look.
#[derive(Debug, Default)]
struct NewDrops {
    seen: HashMap<FeedNumber, u64>,
}

impl NewDrops {
    /// Takes the counts; one sound a feed, however many drops came.
    fn take(&mut self, snapshot: &Snapshot) -> Vec<FeedNumber> {
        let mut new = Vec::new();
        for feed in &snapshot.feeds {
            let before = self.seen.insert(feed.feed, feed.drops);
            if before.is_some_and(|before| feed.drops > before) {
                new.push(feed.feed);
            }
        }
        new
    }
}

fn open_device() -> Result<MixerDeviceSink, String> {
    if !may_have_sound() {
        return Err("no-sound-system".to_owned());
    }
    DeviceSinkBuilder::open_default_sink().map_err(|error| error.to_string())
}

/// Whether it makes sense to ask for a sound device. On Linux the sound library fills the terminal
/// with complaints where there is neither a sound card nor a sound server.
#[cfg(target_os = "linux")]
fn may_have_sound() -> bool {
    let has_card = std::fs::read_to_string("/proc/asound/cards")
        .is_ok_and(|cards| cards.trim_start().starts_with(|c: char| c.is_ascii_digit()));
    let has_server = std::env::var_os("PULSE_SERVER").is_some()
        || std::env::var_os("XDG_RUNTIME_DIR").is_some_and(|folder| {
            let folder = std::path::PathBuf::from(folder);
            folder.join("pulse/native").exists() || folder.join("pipewire-0").exists()
        });
    has_card || has_server
}

#[cfg(not(target_os = "linux"))]
fn may_have_sound() -> bool {
    true
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::{Alarm, Step};

    fn with(alarms: &[(Cause, AlarmState)]) -> Snapshot {
        Snapshot {
            alarms: alarms
                .iter()
                .map(|(cause, state)| Alarm {
                    feed: Some(FeedNumber(1)),
                    cause: *cause,
                    state: *state,
                    since_secs: 0.0,
                    step: Step::default(),
                })
                .collect(),
            ..Snapshot::default()
        }
    }

    #[test]
    fn only_what_nobody_acknowledged_sounds() {
        use AlarmState::{Acknowledged, ReturnedUnacknowledged, Unacknowledged};
        assert_eq!(wanted(&with(&[])), Tone::Silent);
        assert_eq!(
            wanted(&with(&[(Cause::Stopped, Acknowledged)])),
            Tone::Silent
        );
        let over = with(&[(Cause::Stopped, ReturnedUnacknowledged)]);
        assert_eq!(wanted(&over), Tone::Silent);
        assert_eq!(
            wanted(&with(&[(Cause::Low, Unacknowledged)])),
            Tone::Caution
        );
        let both = with(&[
            (Cause::Low, Unacknowledged),
            (Cause::Stopped, Unacknowledged),
        ]);
        assert_eq!(wanted(&both), Tone::Danger);
    }

    /// Power of a tone at one frequency (Goertzel), over a second.
    fn power(tone: Tone, hz: f64) -> f64 {
        let (mut sin, mut cos) = (0.0, 0.0);
        for i in 0..48_000 {
            let t = f64::from(i) / 48_000.0;
            let v = f64::from(sample(tone, t));
            sin += v * (std::f64::consts::TAU * hz * t).sin();
            cos += v * (std::f64::consts::TAU * hz * t).cos();
        }
        sin.hypot(cos) / 48_000.0
    }

    // ISO 7731 by way of public notes: components about 500 to 2500 Hz.
    #[test]
    fn the_tones_lie_where_danger_signals_belong() {
        for tone in [Tone::Danger, Tone::Caution] {
            let strongest = (1..=120)
                .map(|i| f64::from(i) * 50.0)
                .max_by(|a, b| power(tone, *a).total_cmp(&power(tone, *b)))
                .unwrap();
            assert!(
                (500.0..=2500.0).contains(&strongest),
                "{tone:?}: {strongest} Hz"
            );
        }
        assert!(power(Tone::Danger, LOW_HZ) > 0.02);
        assert!(power(Tone::Danger, HIGH_HZ) > 0.02);
        assert!(power(Tone::Danger, 100.0) < 0.005);
        assert!(power(Tone::Silent, LOW_HZ) == 0.0);
    }

    /// Power of a feed's drop at one frequency.
    fn drop_power(feed: u16, hz: f64) -> f64 {
        let (mut sin, mut cos) = (0.0, 0.0);
        for i in 0..14_400 {
            let t = f64::from(i) / 48_000.0;
            let v = f64::from(drop_sample(FeedNumber(feed), t));
            sin += v * (std::f64::consts::TAU * hz * t).sin();
            cos += v * (std::f64::consts::TAU * hz * t).cos();
        }
        sin.hypot(cos) / 14_400.0
    }

    #[test]
    fn each_feed_has_its_own_pitch_and_none_sounds_like_an_alarm() {
        for feed in 1..=8_u16 {
            let own = pitch_hz(FeedNumber(feed));
            for other in (1..=8).filter(|other| *other != feed) {
                let other_hz = pitch_hz(FeedNumber(other));
                assert!((own / other_hz).ln().abs() > 0.1, "{feed} and {other}");
                assert!(drop_power(feed, own) > 2.0 * drop_power(feed, other_hz));
            }
            for alarm in [LOW_HZ, HIGH_HZ, CAUTION_HZ] {
                assert!((own / alarm).ln().abs() > 0.05, "{feed} and {alarm} Hz");
            }
            // It dies away, and an alarm does not.
            let late = (14_000..14_400).map(|i| drop_sample(FeedNumber(feed), f64::from(i) / 48e3));
            assert!(late.fold(0.0, |most: f32, v| most.max(v.abs())) < 0.02);
        }
    }

    #[test]
    fn a_drop_sounds_once_and_a_new_start_of_counting_is_silent() {
        use crate::ui::backend::Backend;
        use crate::ui::pretend::{Pretend, Scene};
        let behind = Pretend::new(Scene::Well);
        let mut drops = NewDrops::default();
        assert!(drops.take(&behind.snapshot()).is_empty());
        behind.change(|snapshot| snapshot.feeds[1].drops += 2);
        assert_eq!(drops.take(&behind.snapshot()), [FeedNumber(2)]);
        assert!(drops.take(&behind.snapshot()).is_empty());
        behind.change(|snapshot| snapshot.feeds[1].drops = 0);
        assert!(drops.take(&behind.snapshot()).is_empty());
        let made: Vec<f32> = Made::drop_of(FeedNumber(1)).collect();
        assert_eq!(made.len(), 14_400);
        assert_eq!(Made::endless(Tone::Danger).take(5).count(), 5);
    }

    #[test]
    fn nothing_is_louder_than_the_device_and_nothing_clicks() {
        for tone in [Tone::Danger, Tone::Caution] {
            let mut before = 0.0;
            for i in 0..(3 * 48_000) {
                let now = sample(tone, f64::from(i) / 48_000.0);
                assert!(now.abs() <= 1.0);
                assert!((now - before).abs() < 0.2, "{tone:?} jumps at {i}");
                before = now;
            }
        }
    }
}
