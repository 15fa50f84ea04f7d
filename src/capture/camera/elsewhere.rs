//! Cameras on Windows and macOS through nokhwa, which blocks while it waits: it is driven in a
//! thread of its own and its pictures come through a bounded queue. Compiled on Linux for the tests
//! only. It could not be tried on real cameras of those systems.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::Duration;

use nokhwa::Camera;
use nokhwa::utils::{
    CameraFormat, CameraIndex, CameraInfo, FrameFormat, RequestedFormat, RequestedFormatType,
};

use crate::base::Clock;
use crate::capture::pixel::PixelFormat;

use super::device::{Device, Event, Open, Packed};
use super::list::CameraListing;
use super::mode::{self, Mode};

/// Longest wait for a picture in one call.
const PATIENCE: Duration = Duration::from_millis(450);

/// Longest wait for a camera to open, in waits of that length: Windows takes some seconds.
const OPENING_WAITS: u32 = 20;

/// Pictures held ready; a full queue costs a picture, and the count tells.
const PICTURES_AHEAD: usize = 2;

/// The packings that are decoded here, not by the library.
const READABLE: [FrameFormat; 4] = [
    FrameFormat::YUYV,
    FrameFormat::NV12,
    FrameFormat::GRAY,
    FrameFormat::MJPEG,
];

/// Opens one camera, known by its identity.
pub(super) struct Opener {
    identity: String,
    clock: Arc<dyn Clock>,
}

impl Opener {
    /// For the camera of this identity; pictures are stamped by `clock` when they come.
    pub(super) fn new(identity: &str, clock: Arc<dyn Clock>) -> Self {
        Self {
            identity: identity.to_owned(),
            clock,
        }
    }
}

impl Open for Opener {
    fn open(&mut self, preferred: Option<Mode>) -> Result<Box<dyn Device>, String> {
        let found = super::list::query().map_err(|e| e.to_string())?;
        let info = found
            .iter()
            .find(|i| identity(i) == self.identity)
            .ok_or_else(|| {
                "The camera is not there. Plug it in again; the cable may be loose.".to_owned()
            })?;
        let index = info.index().clone();
        let device = Threaded::start(Arc::clone(&self.clock), move || {
            start_camera(index, preferred)
        })?;
        Ok(Box::new(device))
    }
}

/// The list for people and programs.
#[cfg_attr(
    target_os = "linux",
    expect(dead_code, reason = "Linux has a list of its own")
)]
pub(super) fn listings(found: &[CameraInfo]) -> Vec<CameraListing> {
    found
        .iter()
        .map(|info| CameraListing {
            name: info.human_name(),
            identity: identity(info),
            // Asking would open the camera.
            modes: Vec::new(),
            usable: true,
            note: String::new(),
        })
        .collect()
}

/// The system's own lasting name for the camera (symbolic link on Windows, unique identifier on
/// macOS), else its plain name.
fn identity(info: &CameraInfo) -> String {
    let lasting = info.misc();
    if lasting.is_empty() {
        info.human_name()
    } else {
        lasting
    }
}

/// A picture on its way through the queue.
struct Owned {
    bytes: Vec<u8>,
    sequence: u32,
    received_secs: f64,
}

/// What brings pictures in the thread: blocks until the next one comes.
type Bring = Box<dyn FnMut() -> Result<Vec<u8>, String>>;

/// A camera in a thread of its own.
struct Threaded {
    mode: Mode,
    pictures: Receiver<Result<Owned, String>>,
    stop: Arc<AtomicBool>,
    current: Vec<u8>,
}

impl Threaded {
    /// Starts the thread `camera`; `open` runs in it, because a camera may not change threads.
    fn start(
        clock: Arc<dyn Clock>,
        open: impl FnOnce() -> Result<(Mode, Bring), String> + Send + 'static,
    ) -> Result<Self, String> {
        let (opened_out, opened_in) = sync_channel(1);
        let (pictures_out, pictures_in) = sync_channel(PICTURES_AHEAD);
        let stop = Arc::new(AtomicBool::new(false));
        let stopped = Arc::clone(&stop);
        // Not joined when dropped: it may hang in the library for ever.
        std::thread::Builder::new()
            .name("camera".to_owned())
            .spawn(move || match open() {
                Ok((mode, bring)) => {
                    if opened_out.send(Ok(mode)).is_ok() {
                        pump(bring, clock.as_ref(), &stopped, &pictures_out);
                    }
                }
                Err(why) => {
                    opened_out.send(Err(why)).ok();
                }
            })
            .map_err(|e| format!("No thread for the camera could be started ({e}). Try again."))?;
        for _ in 0..OPENING_WAITS {
            match opened_in.recv_timeout(PATIENCE) {
                Ok(opened) => {
                    return Ok(Self {
                        mode: opened?,
                        pictures: pictures_in,
                        stop,
                        current: Vec::new(),
                    });
                }
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        stop.store(true, Ordering::Relaxed);
        Err("The camera does not answer. Unplug it and plug it in again.".to_owned())
    }
}

impl Device for Threaded {
    fn mode(&self) -> Mode {
        self.mode
    }

    fn grab(&mut self) -> Event<'_> {
        match self.pictures.recv_timeout(PATIENCE) {
            Ok(Ok(owned)) => {
                self.current = owned.bytes;
                Event::Picture(Packed {
                    bytes: &self.current,
                    stamp_secs: None,
                    received_secs: Some(owned.received_secs),
                    sequence: Some(owned.sequence),
                    is_bad: false,
                })
            }
            Ok(Err(why)) => Event::Gone(format!("The camera stopped ({why}). Check its cable.")),
            Err(RecvTimeoutError::Timeout) => Event::Stall,
            Err(RecvTimeoutError::Disconnected) => {
                Event::Gone("The camera stopped. Check its cable.".to_owned())
            }
        }
    }
}

impl Drop for Threaded {
    fn drop(&mut self) {
        self.stop.store(true, Ordering::Relaxed);
    }
}

/// Brings pictures until it fails or nobody wants them.
fn pump(
    mut bring: Bring,
    clock: &dyn Clock,
    stop: &AtomicBool,
    pictures: &SyncSender<Result<Owned, String>>,
) {
    let mut sequence = 0_u32;
    while !stop.load(Ordering::Relaxed) {
        match bring() {
            Ok(bytes) => {
                let owned = Owned {
                    bytes,
                    sequence,
                    received_secs: clock.monotonic_secs(),
                };
                // A full queue costs this picture.
                if let Err(TrySendError::Disconnected(_)) = pictures.try_send(Ok(owned)) {
                    return;
                }
                sequence = sequence.wrapping_add(1);
            }
            Err(why) => {
                pictures.send(Err(why)).ok();
                return;
            }
        }
    }
}

/// Opens a camera in the mode that suits best.
fn start_camera(index: CameraIndex, preferred: Option<Mode>) -> Result<(Mode, Bring), String> {
    #[cfg(target_os = "macos")]
    ask_for_permission()?;
    let any = RequestedFormat::with_formats(RequestedFormatType::None, &READABLE);
    let mut camera = Camera::new(index, any).map_err(|e| {
        format!(
            "The camera cannot be opened: {e}. Close other programs that use it, and allow this \
             one to use the camera in the system's settings."
        )
    })?;
    let failed = |e: nokhwa::NokhwaError| {
        format!("The camera cannot be started: {e}. Unplug it and plug it in again.")
    };
    let formats = camera.compatible_camera_formats().map_err(failed)?;
    let modes: Vec<(CameraFormat, Mode)> = formats
        .into_iter()
        .filter_map(|f| as_mode(f).map(|m| (f, m)))
        .collect();
    let best = preferred
        .filter(|p| modes.iter().any(|(_, m)| m == p))
        .or_else(|| mode::best(&modes.iter().map(|(_, m)| *m).collect::<Vec<_>>()));
    if let Some((format, _)) = modes.iter().find(|(_, m)| Some(*m) == best) {
        let exact = RequestedFormat::with_formats(RequestedFormatType::Exact(*format), &READABLE);
        camera.set_camera_requset(exact).map_err(failed)?;
    }
    camera.open_stream().map_err(failed)?;
    let mode = as_mode(camera.camera_format()).ok_or_else(|| {
        "The camera has no mode that can be used (YUYV, NV12, GREY or MJPEG). Use another camera."
            .to_owned()
    })?;
    let bring = Box::new(move || {
        camera
            .frame()
            .map(|b| b.buffer().to_vec())
            .map_err(|e| e.to_string())
    });
    Ok((mode, bring))
}

fn as_mode(format: CameraFormat) -> Option<Mode> {
    let packing = match format.format() {
        FrameFormat::YUYV => PixelFormat::Yuyv,
        FrameFormat::NV12 => PixelFormat::Nv12,
        FrameFormat::GRAY => PixelFormat::Grey,
        FrameFormat::MJPEG => PixelFormat::Mjpeg,
        _ => return None,
    };
    Some(Mode {
        format: packing,
        width: format.width(),
        height: format.height(),
        frames_per_second: Some(f64::from(format.frame_rate())),
    })
}

/// macOS asks the person whether this program may use cameras.
#[cfg(target_os = "macos")]
fn ask_for_permission() -> Result<(), String> {
    let (answer_out, answer_in) = sync_channel(1);
    nokhwa::nokhwa_initialize(move |granted| {
        answer_out.try_send(granted).ok();
    });
    match answer_in.recv_timeout(PATIENCE * OPENING_WAITS) {
        Ok(true) => Ok(()),
        _ => Err(
            "This program may not use cameras. Allow it in System Settings, Privacy and \
                  Security, Camera."
                .to_owned(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ManualClock;

    const MODE: Mode = Mode {
        format: PixelFormat::Grey,
        width: 2,
        height: 1,
        frames_per_second: Some(30.0),
    };

    #[test]
    fn pictures_come_through_the_queue_and_its_end_is_told() {
        let clock = ManualClock::new(0.0);
        let hand = clock.clone();
        let mut left = 2;
        let mut device = Threaded::start(Arc::new(clock), move || {
            let bring: Bring = Box::new(move || {
                if left == 0 {
                    return Err("cable".to_owned());
                }
                left -= 1;
                hand.advance(1.0);
                Ok(vec![left, 7])
            });
            Ok((MODE, bring))
        })
        .unwrap();
        assert_eq!(device.mode(), MODE);
        for (expected, secs) in [(1_u8, 1.0), (0, 2.0)] {
            match device.grab() {
                Event::Picture(packed) => {
                    assert_eq!(packed.bytes, [expected, 7]);
                    assert_eq!(packed.received_secs, Some(secs));
                    assert_eq!(packed.stamp_secs, None);
                    assert_eq!(packed.sequence, Some(1 - u32::from(expected)));
                }
                _ => panic!("no picture"),
            }
        }
        assert!(matches!(device.grab(), Event::Gone(why) if why.contains("cable")));
        assert!(matches!(device.grab(), Event::Gone(_)));
    }

    #[test]
    fn a_slow_reader_loses_pictures_and_the_count_tells() {
        let (out, into) = sync_channel::<Result<Owned, String>>(PICTURES_AHEAD);
        let clock = ManualClock::new(0.0);
        let stop = Arc::new(AtomicBool::new(false));
        let seen = Arc::new(std::sync::Mutex::new(Vec::new()));
        let (stopper, reading) = (Arc::clone(&stop), Arc::clone(&seen));
        let mut brought = 0;
        let bring: Bring = Box::new(move || {
            // Ten pictures; only after the eighth the reader empties the queue.
            if brought == 8 {
                reading
                    .lock()
                    .unwrap()
                    .extend(into.try_iter().map(|p| p.unwrap().sequence));
            }
            stopper.store(brought == 9, Ordering::Relaxed);
            brought += 1;
            if brought == 10 {
                reading
                    .lock()
                    .unwrap()
                    .extend(into.try_iter().map(|p| p.unwrap().sequence));
            }
            Ok(Vec::new())
        });
        pump(bring, &clock, &stop, &out);
        assert_eq!(*seen.lock().unwrap(), [0, 1, 8]);
    }

    #[test]
    fn a_camera_that_does_not_open_says_why() {
        let clock = Arc::new(ManualClock::new(0.0));
        let error = Threaded::start(clock, || Err("In use.".to_owned()))
            .err()
            .unwrap();
        assert_eq!(error, "In use.");
    }

    #[test]
    fn opening_what_is_not_there_is_an_error() {
        let clock = Arc::new(ManualClock::new(0.0));
        assert!(Opener::new("no such camera", clock).open(None).is_err());
        assert!(start_camera(CameraIndex::Index(9999), None).is_err());
    }

    #[test]
    fn an_identity_is_what_lasts() {
        let info = |misc| CameraInfo::new("Bench camera", "", misc, CameraIndex::Index(0));
        assert_eq!(identity(&info("usb#7")), "usb#7");
        assert_eq!(identity(&info("")), "Bench camera");
    }
}
