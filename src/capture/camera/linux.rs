//! Cameras on Linux through video4linux: formats, modes, streaming, and what its errors mean. Each
//! read is preceded by a bounded wait, because a read on a camera that has stalled never returns.

use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::Path;

use v4l::buffer::{Flags, Type};
use v4l::capability::Flags as Can;
use v4l::format::FourCC;
use v4l::frameinterval::FrameIntervalEnum;
use v4l::framesize::{FrameSizeEnum, Stepwise};
use v4l::io::mmap::Stream;
use v4l::io::traits::{CaptureStream, Stream as _};
use v4l::video::Capture;
use v4l::video::capture::Parameters;
use v4l::{Format, Fraction};

use crate::capture::limits::check_size;
use crate::capture::pixel::PixelFormat;

use super::device::{Device, Event, Open, Packed};
use super::identity::{self, Identity, Node};
use super::list::CameraListing;
use super::mode::{self, Mode};

/// Longest wait for a picture, milliseconds.
const PATIENCE_MILLIS: i32 = 450;

/// Picture buffers asked of the driver: one being filled, one full, one being read, one in reserve.
const BUFFERS: u32 = 4;

/// Sizes tried on a camera that takes any size between two limits.
const USUAL_SIZES_PX: [(u32, u32); 4] = [(640, 480), (1280, 720), (1920, 1080), (320, 240)];

/// Rate asked of a camera that takes any.
const USUAL_PER_SECOND: f64 = 30.0;

// The numbers of the kernel's errors (errno.h), the same on every Linux architecture.
const EPERM: i32 = 1;
const EINTR: i32 = 4;
const EIO: i32 = 5;
const ENXIO: i32 = 6;
const EACCES: i32 = 13;
const EBUSY: i32 = 16;
const ENODEV: i32 = 19;
const ENOSPC: i32 = 28;

/// Opens one camera of this computer, known by its identity.
pub(super) struct Opener {
    identity: String,
}

impl Opener {
    /// For the camera of this identity.
    pub(super) fn new(identity: &str) -> Self {
        Self {
            identity: identity.to_owned(),
        }
    }
}

impl Open for Opener {
    fn open(&mut self, preferred: Option<Mode>) -> Result<Box<dyn Device>, String> {
        let nodes = here();
        let wanted: Identity = self.identity.parse().map_err(|()| {
            format!(
                "'{}' is not the identity of a camera of this computer.",
                self.identity
            )
        })?;
        let mut why = format!(
            "The camera '{}' is not there. Plug it into the same socket again; the cable may be \
             loose.",
            wanted.name
        );
        for node in identity::matches(&nodes, &wanted) {
            match Camera::open(&node.path, preferred) {
                Ok(camera) => return Ok(Box::new(camera)),
                Err(words) => why = words,
            }
        }
        Err(why)
    }
}

/// An open, streaming camera.
struct Camera {
    /// None only while it is being dropped.
    stream: Option<Stream<'static>>,
    mode: Mode,
    stride: u32,
}

impl Camera {
    fn open(path: &Path, preferred: Option<Mode>) -> Result<Self, String> {
        guarded(|| Self::try_open(path, preferred))
            .map_err(|e| sentence(&e, path))
            .and_then(|opened| {
                opened.map_err(|why| format!("The camera at {} {why}", path.display()))
            })
    }

    /// Opens and starts; the inner error says why it has no mode that can be used.
    fn try_open(path: &Path, preferred: Option<Mode>) -> io::Result<Result<Self, String>> {
        let device = v4l::Device::with_path(path)?;
        let modes = modes(&device);
        let chosen = preferred.filter(|p| modes.iter().any(|m| is_same(m, p)));
        let Some((code, chosen)) = chosen
            .or_else(|| mode::best(&modes.iter().map(|(_, m)| *m).collect::<Vec<_>>()))
            .and_then(|c| modes.iter().find(|m| is_same(m, &c)).map(|m| (m.0, c)))
        else {
            return Ok(Err(no_mode(&device)));
        };
        let format = device.set_format(&Format::new(chosen.width, chosen.height, code))?;
        let rate = set_rate(&device, chosen.frames_per_second);
        let Some(packing) = PixelFormat::from_fourcc(format.fourcc.repr) else {
            return Ok(Err(no_mode(&device)));
        };
        if let Err(e) = check_size(u64::from(format.width), u64::from(format.height)) {
            return Ok(Err(format!("{e}. Use another camera.")));
        }
        let mut stream = Stream::with_buffers(&device, Type::VideoCapture, BUFFERS)?;
        // All buffers but the first are handed to the driver by hand and the first by the first
        // read, so that the first read, too, can be preceded by a bounded wait.
        let mut handed = 0;
        for index in 1..BUFFERS as usize {
            match CaptureStream::queue(&mut stream, index) {
                Ok(()) => handed += 1,
                // The driver gave fewer than were asked for.
                Err(_) if handed > 0 => break,
                Err(e) => return Err(e),
            }
        }
        stream.start()?;
        Ok(Ok(Self {
            stream: Some(stream),
            mode: Mode {
                format: packing,
                width: format.width,
                height: format.height,
                frames_per_second: rate.or(chosen.frames_per_second),
            },
            stride: if packing.is_compressed() {
                0
            } else {
                format.stride
            },
        }))
    }
}

impl Device for Camera {
    fn mode(&self) -> Mode {
        self.mode
    }

    fn stride(&self) -> u32 {
        self.stride
    }

    fn grab(&mut self) -> Event<'_> {
        let gone = |e: &io::Error| {
            Event::Gone(match e.raw_os_error() {
                Some(ENODEV | ENXIO) => {
                    "The camera was unplugged. Plug it into the same socket again.".to_owned()
                }
                _ => format!("The camera's stream broke off ({e}); it is opened anew."),
            })
        };
        let Some(stream) = self.stream.as_mut() else {
            return Event::Gone("The camera is closed.".to_owned());
        };
        // POLLIN, which is 1 on every Linux.
        match stream.handle().poll(1, PATIENCE_MILLIS) {
            Ok(0) => return Event::Stall,
            Ok(_) => {}
            Err(e) if e.raw_os_error() == Some(EINTR) => return Event::Stall,
            Err(e) => return gone(&e),
        }
        match CaptureStream::next(stream) {
            Ok((buffer, meta)) => {
                let used = match meta.bytesused as usize {
                    // Some drivers of uncompressed cameras leave it out.
                    0 if !self.mode.format.is_compressed() => buffer.len(),
                    n => n.min(buffer.len()),
                };
                let is_monotonic = meta.flags & Flags::TIMESTAMP_MASK == Flags::TIMESTAMP_MONOTONIC;
                Event::Picture(Packed {
                    bytes: &buffer[..used],
                    stamp_secs: is_monotonic
                        .then_some(meta.timestamp.sec as f64 + meta.timestamp.usec as f64 * 1e-6),
                    received_secs: None,
                    sequence: Some(meta.sequence),
                    is_bad: meta.flags.contains(Flags::ERROR),
                })
            }
            Err(e) => gone(&e),
        }
    }
}

impl Drop for Camera {
    fn drop(&mut self) {
        // The library panics when stopping fails in a way it does not expect.
        if let Some(stream) = self.stream.take()
            && guarded(|| {
                drop(stream);
                Ok(())
            })
            .is_err()
        {
            tracing::warn!("the camera could not be stopped properly");
        }
    }
}

/// The cameras that this computer has, for the list. `found` is what the camera library lists.
pub(super) fn listings(found: &[nokhwa::utils::CameraInfo]) -> Vec<CameraListing> {
    let known: Vec<String> = found
        .iter()
        .map(|i| format!("video{}", i.index()))
        .collect();
    here()
        .iter()
        .filter(|node| {
            let name = node
                .path
                .file_name()
                .map(|n| n.to_string_lossy().into_owned());
            name.is_some_and(|n| known.contains(&n))
        })
        .filter_map(listing)
        .collect()
}

/// One camera for the list; none for what is no camera (a camera's second device for its own
/// data, a codec).
fn listing(node: &Node) -> Option<CameraListing> {
    let mut listing = CameraListing {
        name: node.identity.name.clone(),
        identity: node.identity.to_string(),
        modes: Vec::new(),
        usable: false,
        note: String::new(),
    };
    let looked = guarded(|| {
        let device = v4l::Device::with_path(&node.path)?;
        let can = guarded(|| device.query_caps()).map(|c| c.capabilities);
        if can.is_ok_and(|can| !can.contains(Can::VIDEO_CAPTURE) || can.contains(Can::VIDEO_M2M)) {
            return Ok(None);
        }
        Ok(Some((modes(&device), no_mode(&device))))
    });
    match looked {
        Ok(None) => return None,
        Ok(Some((modes, no_mode))) => {
            listing.modes = modes.into_iter().map(|(_, mode)| mode).collect();
            if let Some(best) = mode::best(&listing.modes) {
                listing.usable = true;
                let at = listing.modes.iter().position(|m| *m == best).unwrap_or(0);
                listing.modes[..=at].rotate_right(1);
            } else {
                listing.note = format!("It {no_mode}");
            }
        }
        Err(e) => listing.note = sentence(&e, &node.path),
    }
    Some(listing)
}

fn here() -> Vec<Node> {
    identity::nodes(Path::new(identity::CLASS), Path::new("/dev"))
}

fn is_same((_, a): &(FourCC, Mode), b: &Mode) -> bool {
    (a.format, a.width, a.height) == (b.format, b.width, b.height)
        && match (a.frames_per_second, b.frames_per_second) {
            // The driver rounds.
            (Some(a), Some(b)) => (a - b).abs() < 0.5,
            _ => true,
        }
}

/// Why a camera has no mode that can be used.
fn no_mode(device: &v4l::Device) -> String {
    let packings: Vec<String> = device
        .enum_formats()
        .unwrap_or_default()
        .iter()
        .map(|f| f.fourcc.to_string())
        .collect();
    if packings.is_empty() {
        return "offers no pictures now. A virtual camera must first be given some; any other, \
                unplug and plug in again."
            .to_owned();
    }
    format!(
        "offers only {}, but YUYV, NV12, GREY or MJPEG is needed. Use another camera.",
        packings.join(", ")
    )
}

/// The modes that can be used, each with the camera's own code for its packing.
fn modes(device: &v4l::Device) -> Vec<(FourCC, Mode)> {
    let mut modes = Vec::new();
    for description in device.enum_formats().unwrap_or_default() {
        let code = description.fourcc;
        let Some(format) = PixelFormat::from_fourcc(code.repr) else {
            continue;
        };
        let mut sizes = Vec::new();
        match device.enum_framesizes(code) {
            Ok(listed) => {
                for size in listed {
                    match size.size {
                        FrameSizeEnum::Discrete(d) => sizes.push((d.width, d.height)),
                        FrameSizeEnum::Stepwise(s) => sizes.extend(usual_sizes(&s)),
                    }
                }
            }
            // The camera does not tell its sizes: the one it is set to will do.
            Err(_) => sizes.extend(device.format().ok().map(|f| (f.width, f.height))),
        }
        sizes.dedup();
        for (width, height) in sizes {
            if check_size(u64::from(width), u64::from(height)).is_err() {
                continue;
            }
            for frames_per_second in rates(device, code, width, height) {
                modes.push((
                    code,
                    Mode {
                        format,
                        width,
                        height,
                        frames_per_second,
                    },
                ));
            }
        }
    }
    modes
}

/// The usual sizes that a camera of free sizes takes; its largest when it takes none.
fn usual_sizes(range: &Stepwise) -> Vec<(u32, u32)> {
    let fits = |n: u32, min: u32, max: u32, step: u32| {
        (min..=max).contains(&n) && (n - min).is_multiple_of(step.max(1))
    };
    let sizes: Vec<_> = USUAL_SIZES_PX
        .into_iter()
        .filter(|(w, h)| {
            fits(*w, range.min_width, range.max_width, range.step_width)
                && fits(*h, range.min_height, range.max_height, range.step_height)
        })
        .collect();
    if sizes.is_empty() {
        vec![(range.max_width, range.max_height)]
    } else {
        sizes
    }
}

fn rates(device: &v4l::Device, code: FourCC, width: u32, height: u32) -> Vec<Option<f64>> {
    let mut rates = Vec::new();
    for listed in device
        .enum_frameintervals(code, width, height)
        .unwrap_or_default()
    {
        match listed.interval {
            FrameIntervalEnum::Discrete(interval) => rates.extend(per_second(interval).map(Some)),
            FrameIntervalEnum::Stepwise(range) => {
                if let (Some(fastest), Some(slowest)) =
                    (per_second(range.min), per_second(range.max))
                {
                    rates.push(Some(USUAL_PER_SECOND.clamp(slowest.min(fastest), fastest)));
                }
            }
        }
    }
    if rates.is_empty() { vec![None] } else { rates }
}

/// Frames a second from the time between two; none when the driver tells nonsense.
fn per_second(interval: Fraction) -> Option<f64> {
    (interval.numerator > 0 && interval.denominator > 0)
        .then(|| f64::from(interval.denominator) / f64::from(interval.numerator))
}

/// Asks for a rate and gives back what the driver set; a camera that cannot be asked runs as it
/// likes.
fn set_rate(device: &v4l::Device, rate: Option<f64>) -> Option<f64> {
    let interval = Fraction::new(1000, (rate? * 1000.0).round() as u32);
    match device.set_params(&Parameters::new(interval)) {
        Ok(set) => per_second(set.interval),
        Err(_) => None,
    }
}

/// Runs `action` and turns a panic of the library below (it does not expect some things that
/// drivers say) into an error.
fn guarded<T>(action: impl FnOnce() -> io::Result<T>) -> io::Result<T> {
    catch_unwind(AssertUnwindSafe(action)).unwrap_or_else(|_| {
        Err(io::Error::other(
            "the camera library did not understand its driver",
        ))
    })
}

/// What an error of the kernel means for a person.
fn sentence(error: &io::Error, path: &Path) -> String {
    let shown = path.display();
    match error.raw_os_error() {
        Some(EBUSY) => format!(
            "The camera at {shown} is in use by another program. Close that program and try again."
        ),
        Some(EACCES | EPERM) => format!(
            "The camera at {shown} may not be used by this user. Add the user to the group video \
             (sudo usermod -aG video $USER), then log in again."
        ),
        Some(ENODEV | ENXIO) => format!(
            "The camera at {shown} is not there any more. Plug it into the same socket again."
        ),
        Some(ENOSPC) => format!(
            "The camera at {shown} cannot start: its USB bus is full. Plug it into a socket of its \
             own, without a hub, or unplug other cameras."
        ),
        Some(EIO) => format!(
            "The camera at {shown} does not deliver pictures. Unplug it and plug it in again; a \
             virtual camera must first be given pictures."
        ),
        _ => format!(
            "The camera at {shown} cannot be used: {error}. Unplug it and plug it in again."
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_error_has_its_own_sentence_with_a_cure() {
        let path = Path::new("/dev/video0");
        for (code, word) in [
            (EBUSY, "another program"),
            (EACCES, "group video"),
            (EPERM, "group video"),
            (ENODEV, "Plug it"),
            (ENOSPC, "USB bus"),
            (EIO, "does not deliver"),
            (22, "Unplug it"),
        ] {
            let words = sentence(&io::Error::from_raw_os_error(code), path);
            assert!(words.contains(word), "{code}: {words}");
            assert!(words.contains("/dev/video0"));
        }
        // The numbers are those of this system's error kinds.
        for (code, kind) in [
            (EACCES, io::ErrorKind::PermissionDenied),
            (EBUSY, io::ErrorKind::ResourceBusy),
            (ENOSPC, io::ErrorKind::StorageFull),
            (EINTR, io::ErrorKind::Interrupted),
        ] {
            assert_eq!(io::Error::from_raw_os_error(code).kind(), kind);
        }
    }

    #[test]
    fn what_is_no_camera_cannot_be_opened() {
        let words = Camera::open(Path::new("/dev/no-such-camera"), None)
            .err()
            .unwrap();
        assert!(words.contains("/dev/no-such-camera"));
        let words = Camera::open(Path::new("/dev/null"), None).err().unwrap();
        assert!(
            words.contains("offers no pictures") || words.contains("cannot be used"),
            "{words}"
        );
        let mut opener = Opener::new("Bench camera;nowhere;0;");
        let words = opener.open(None).err().unwrap();
        assert!(words.contains("'Bench camera' is not there"), "{words}");
        assert!(Opener::new("no identity").open(None).is_err());
    }

    #[test]
    fn a_panic_below_becomes_an_error() {
        let caught = guarded(|| -> io::Result<()> { panic!("as the library does") });
        assert!(caught.is_err());
    }

    #[test]
    fn rates_and_sizes_of_odd_drivers() {
        assert_eq!(
            per_second(Fraction::new(1001, 30000)).map(|r| (r * 100.0).round()),
            Some(2997.0)
        );
        assert_eq!(per_second(Fraction::new(0, 0)), None);
        assert_eq!(per_second(Fraction::new(1, 0)), None);
        let range = |min: u32, max: u32, step: u32| Stepwise {
            min_width: min,
            max_width: max,
            step_width: step,
            min_height: min,
            max_height: max,
            step_height: step,
        };
        assert_eq!(usual_sizes(&range(2, 8192, 1)), USUAL_SIZES_PX);
        assert_eq!(usual_sizes(&range(2, 8192, 0)), USUAL_SIZES_PX);
        assert_eq!(usual_sizes(&range(16, 100, 16)), [(100, 100)]);
    }
}
