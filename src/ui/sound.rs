//! The alarm's sound: one thread that looks at the newest snapshot by itself, so that a hidden or
//! slow window never silences an alarm. No sound device: one quiet sentence, and it tries again.
//!
//! The tones lie between 500 and 2500 Hz, where ISO 7731 wants danger signals (by way of public
//! notes on it): two tones in turn for danger, a short double knock for caution.

use std::num::NonZero;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::thread::JoinHandle;
use std::time::Duration;

use rodio::{DeviceSinkBuilder, MixerDeviceSink, Player, Source};

use crate::base::Clock;
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

/// An endless tone for the sound device.
struct Endless {
    tone: Tone,
    at: u64,
}

impl Iterator for Endless {
    type Item = f32;

    fn next(&mut self) -> Option<f32> {
        let value = sample(
            self.tone,
            self.at as f64 / f64::from(SAMPLES_PER_SECOND.get()),
        );
        self.at += 1;
        Some(value)
    }
}

impl Source for Endless {
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
    trouble: Mutex<Option<String>>,
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
        self.trouble
            .lock()
            .unwrap_or_else(PoisonError::into_inner)
            .clone()
    }

    fn set_trouble(&self, trouble: Option<String>) {
        *self.trouble.lock().unwrap_or_else(PoisonError::into_inner) = trouble;
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

fn keep_sounding(look: &Look, clock: &dyn Clock, switch: &SoundSwitch) {
    let mut open: Option<(MixerDeviceSink, Player)> = None;
    let mut sounding = Tone::Silent;
    let mut try_at_secs = 0.0;
    while !switch.stop.load(Ordering::Relaxed) {
        let tone = if switch.is_on() {
            wanted(&look())
        } else {
            Tone::Silent
        };
        if tone != sounding {
            // The device is closed in silence: it would keep the processor awake.
            open = None;
            sounding = Tone::Silent;
            if tone != Tone::Silent && clock.monotonic_secs() >= try_at_secs {
                match open_device() {
                    Ok(mut sink) => {
                        sink.log_on_drop(false);
                        let player = Player::connect_new(sink.mixer());
                        player.append(Endless { tone, at: 0 });
                        open = Some((sink, player));
                        sounding = tone;
                        switch.set_trouble(None);
                    }
                    Err(why) => {
                        try_at_secs = clock.monotonic_secs() + TRY_AGAIN_SECS;
                        tracing::info!(why, "no sound");
                        switch.set_trouble(Some(words::get().no_sound.to_owned()));
                    }
                }
            }
        }
        clock.wait_secs(LOOK_SECS);
    }
    drop(open);
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
    use crate::base::FeedNumber;
    use crate::judge::Alarm;

    fn with(alarms: &[(Cause, AlarmState)]) -> Snapshot {
        Snapshot {
            alarms: alarms
                .iter()
                .map(|(cause, state)| Alarm {
                    feed: Some(FeedNumber(1)),
                    cause: *cause,
                    state: *state,
                    since_secs: 0.0,
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
