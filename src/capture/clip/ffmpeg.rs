//! Any video, decoded by the ffmpeg program as a process of its own: luma on its standard output,
//! true time stamps on its error output. Decoding therefore runs beside measuring, and a decoder
//! that crashes takes nothing with it.

use std::ffi::{OsStr, OsString};
use std::io;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError};
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Duration;

use crate::base::{Extent, Frame};
use crate::capture::{About, CaptureError, Grab, Source};

use super::ffmpeg_pipes::{self, Log, Message, lock};
use super::short_name;

/// How long one call waits for a picture.
const PATIENCE: Duration = Duration::from_millis(450);

/// How often the first picture is waited for, each time as long as one call may wait: a minute in
/// all, for a large clip on a slow disk.
const FIRST_PICTURE_WAITS: u32 = 133;

/// A video read through ffmpeg.
pub(super) struct Ffmpeg {
    shown: String,
    child: Child,
    threads: Vec<JoinHandle<()>>,
    /// None before they can come and while the source is being dropped.
    pictures: Option<Receiver<Message>>,
    first: Option<Message>,
    log: Arc<Mutex<Log>>,
    number: u64,
    last_secs: f64,
    /// The stamp of the first picture, seconds.
    start_secs: f64,
    ended: bool,
    about: About,
}

/// Which words tell the program to keep every frame with its own time.
#[derive(Clone, Copy, PartialEq)]
enum Passthrough {
    /// Since ffmpeg 5.1.
    FpsMode,
    /// Before.
    Vsync,
}

impl Ffmpeg {
    /// Starts `program` on a clip and waits for the first picture.
    pub(super) fn open(path: &Path, program: &OsStr) -> Result<Self, CaptureError> {
        match Self::start(path, program, Passthrough::FpsMode) {
            Err(CaptureError::Damaged(why)) if why.contains("fps_mode") => {
                Self::start(path, program, Passthrough::Vsync)
            }
            other => other,
        }
    }

    fn start(path: &Path, program: &OsStr, mode: Passthrough) -> Result<Self, CaptureError> {
        let shown = path.display().to_string();
        let failed = |what: &str, source: io::Error| CaptureError::Io {
            what: format!("ffmpeg could not be {what} for {shown}; try again"),
            source,
        };
        let mut child = Command::new(program)
            .args(arguments(path, mode).map_err(|e| failed("given the path", e))?)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map_err(|e| match e.kind() {
                io::ErrorKind::NotFound => missing(&shown),
                _ => failed("started", e),
            })?;
        let log = Arc::new(Mutex::new(Log::new()));
        let outputs = (child.stdout.take(), child.stderr.take());
        // From here on the child ends with `source`, whatever happens.
        let mut source = Self {
            about: About {
                name: short_name(path),
                identity: String::new(),
                width: 0,
                height: 0,
                frames_per_second: None,
                frames: None,
                live: false,
            },
            shown: shown.clone(),
            child,
            threads: Vec::new(),
            pictures: None,
            first: None,
            log: Arc::clone(&log),
            number: 0,
            last_secs: 0.0,
            start_secs: 0.0,
            ended: false,
        };
        let (Some(stdout), Some(stderr)) = outputs else {
            return Err(failed("heard", io::Error::other("no pipe")));
        };
        let (threads, pictures) =
            ffmpeg_pipes::listen(stdout, stderr, &log).map_err(|e| failed("heard", e))?;
        source.threads = threads;
        source.pictures = Some(pictures);
        source.wait_for_first()?;
        Ok(source)
    }

    fn wait_for_first(&mut self) -> Result<(), CaptureError> {
        for _ in 0..FIRST_PICTURE_WAITS {
            match self.receive() {
                None => {}
                Some(Message::Picture(luma, stamp)) => {
                    self.start_secs = stamp.unwrap_or(0.0);
                    self.about.width = luma.width();
                    self.about.height = luma.height();
                    let log = lock(&self.log);
                    self.about.frames_per_second = log.frames_per_second;
                    self.about.frames = log
                        .duration_secs
                        .zip(log.frames_per_second)
                        .map(|(secs, rate)| (secs * rate).round() as u64);
                    drop(log);
                    self.first = Some(Message::Picture(luma, stamp));
                    return Ok(());
                }
                Some(Message::Done(why)) => {
                    self.ended = true;
                    return Err(self.why_ended(why).unwrap_or_else(|| {
                        CaptureError::Damaged(format!(
                            "{} holds no pictures. Record or copy it again.",
                            self.shown
                        ))
                    }));
                }
            }
        }
        Err(CaptureError::Damaged(format!(
            "ffmpeg brought no picture of {} within a minute. Copy the clip to this computer's \
             own disk, or make it smaller.",
            self.shown
        )))
    }

    /// The next message, or none within one call's patience.
    fn receive(&mut self) -> Option<Message> {
        if let Some(first) = self.first.take() {
            return Some(first);
        }
        match self.pictures.as_ref()?.recv_timeout(PATIENCE) {
            Ok(message) => Some(message),
            Err(RecvTimeoutError::Timeout) => None,
            Err(RecvTimeoutError::Disconnected) => Some(Message::Done(None)),
        }
    }

    /// The sentence for the end of the pictures; none when all is well.
    fn why_ended(&mut self, why: Option<String>) -> Option<CaptureError> {
        if why.is_some() {
            // We stopped listening; the program may still be talking.
            self.child.kill().ok();
        }
        let status = self.child.wait();
        // What it said last must have been read.
        self.stop_listening();
        let log = lock(&self.log);
        let shown = &self.shown;
        let so_far = match self.number {
            0 => String::new(),
            n => format!(" The {n} frames before were read."),
        };
        if let Some(why) = why {
            return Some(CaptureError::Damaged(format!("{shown} {why}.{so_far}")));
        }
        let complaints: Vec<&str> = log.complaints.iter().map(String::as_str).collect();
        let complaints = complaints.join("; ");
        if !status.as_ref().is_ok_and(std::process::ExitStatus::success) {
            if complaints.contains("matches no streams") {
                return Some(CaptureError::Damaged(format!(
                    "{shown} holds no pictures (it may be sound alone). Name a video."
                )));
            }
            let words = match (complaints.is_empty(), status) {
                (false, _) => complaints,
                (true, Ok(status)) => format!("it ended with {status}"),
                (true, Err(e)) => e.to_string(),
            };
            return Some(CaptureError::Damaged(format!(
                "{shown} cannot be read as a video; ffmpeg says: {words}.{so_far} Check that it \
                 was copied whole and that it plays elsewhere."
            )));
        }
        if log.is_cut || log.corrupt > 0 {
            let what = if log.is_cut {
                "is cut: it stops before its own end"
            } else {
                "is damaged"
            };
            return Some(CaptureError::Damaged(format!(
                "{shown} {what}.{so_far} Copy the clip again from where it was recorded."
            )));
        }
        if log.complained > 0 {
            tracing::warn!(
                "ffmpeg complained {} times about {shown}, last: {complaints}. Readings near such \
                 places may be wrong",
                log.complained
            );
        }
        None
    }

    /// Ends the threads, once the program has ended.
    fn stop_listening(&mut self) {
        // A thread that waits for room in the queue wakes when nobody listens any more.
        self.pictures = None;
        for thread in self.threads.drain(..) {
            thread.join().ok();
        }
    }

    /// Source time of a picture; a sentence when its stamp cannot be used.
    fn time_of(&self, stamp: Option<f64>) -> Result<f64, String> {
        let at_secs = match (stamp, self.about.frames_per_second) {
            (Some(stamp), _) => stamp - self.start_secs,
            (None, Some(rate)) => self.number as f64 / rate,
            (None, None) => {
                return Err("a picture has no time and the clip no rate".to_owned());
            }
        };
        if self.number > 0 && at_secs <= self.last_secs {
            return Err(format!(
                "the time of picture {} is not later than the one before",
                self.number
            ));
        }
        Ok(at_secs)
    }
}

impl Source for Ffmpeg {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        if self.ended {
            return Ok(Grab::End);
        }
        match self.receive() {
            None => Ok(Grab::Nothing {
                at_secs: self.last_secs,
            }),
            Some(Message::Picture(luma, stamp)) => {
                let timed = self.time_of(stamp);
                let number = self.number;
                self.number += 1;
                Ok(match timed {
                    Ok(at_secs) => {
                        self.last_secs = at_secs;
                        Grab::Frame(Frame::shared(number, at_secs, luma, Extent::Whole))
                    }
                    Err(why) => Grab::Spoiled {
                        at_secs: self.last_secs,
                        why,
                    },
                })
            }
            Some(Message::Done(why)) => {
                self.ended = true;
                self.why_ended(why).map_or(Ok(Grab::End), Err)
            }
        }
    }

    fn about(&self) -> &About {
        &self.about
    }
}

impl Drop for Ffmpeg {
    fn drop(&mut self) {
        // It may have ended by itself; then there is nothing to kill.
        self.child.kill().ok();
        self.child.wait().ok();
        self.stop_listening();
    }
}

/// The words after `ffmpeg`. Each is an argument of its own; no shell reads them.
fn arguments(path: &Path, mode: Passthrough) -> io::Result<Vec<OsString>> {
    // Absolute and with its protocol named, so that neither a leading dash nor a colon in a file's
    // name is taken for anything else.
    let mut input = OsString::from("file:");
    input.push(std::path::absolute(path)?);
    let mut words: Vec<OsString> = ["-nostdin", "-hide_banner", "-nostats"]
        .map(Into::into)
        .into();
    words.extend(["-loglevel", "level+info", "-i"].map(Into::into));
    words.push(input);
    words.extend(["-map", "0:v:0", "-an", "-sn", "-dn", "-vf"].map(Into::into));
    // Square pixels: a tube must not come out wider than it is.
    // Luma is taken as it was coded, and its range made good afterwards: the program's own conversion
    // to grey costs as much as its decoding.
    words.push(
        "scale=w=trunc(iw*sar+0.5):h=ih:flags=area,\
         format=pix_fmts=yuv420p|yuvj420p|yuv422p|yuvj422p|yuv444p|yuvj444p|gray,\
         showinfo=checksum=0,extractplanes=y"
            .into(),
    );
    words.extend(
        match mode {
            Passthrough::FpsMode => ["-fps_mode", "passthrough"],
            Passthrough::Vsync => ["-vsync", "passthrough"],
        }
        .map(Into::into),
    );
    words.extend(["-f", "rawvideo", "-pix_fmt", "gray", "pipe:1"].map(Into::into));
    Ok(words)
}

fn missing(shown: &str) -> CaptureError {
    CaptureError::MissingProgram(format!(
        "To read {shown} the program ffmpeg is needed, and it is not installed. Debian and Ubuntu: \
         sudo apt install ffmpeg. Windows: winget install ffmpeg. macOS: brew install ffmpeg. \
         Folders of PNG or JPEG pictures and .y4m clips are read without it."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Makes a clip with ffmpeg; these tests need the program.
    fn make(file: &Path, words: &str) {
        let status = Command::new("ffmpeg")
            .args(["-v", "error", "-nostdin", "-y"])
            .args(words.split(' '))
            .arg(format!("file:{}", file.display()))
            .status()
            .expect("these tests need the program ffmpeg");
        assert!(status.success());
    }

    fn drain(source: &mut Ffmpeg) -> (Vec<Frame>, Result<(), CaptureError>) {
        let mut frames = Vec::new();
        loop {
            match source.next() {
                Ok(Grab::Frame(f)) => frames.push(f),
                Ok(Grab::Nothing { .. }) => {}
                Ok(Grab::End) => return (frames, Ok(())),
                Ok(other) => panic!("{other:?}"),
                Err(e) => {
                    assert!(matches!(source.next(), Ok(Grab::End)));
                    return (frames, Err(e));
                }
            }
        }
    }

    const PLAIN: &str = "-f lavfi -i testsrc=size=64x48:rate=25:duration=2 -pix_fmt yuv420p";

    #[test]
    fn a_clip_gives_all_its_frames_with_their_times() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("plain.mp4");
        make(&file, PLAIN);
        let mut source = Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap();
        assert_eq!(source.about().name, "plain.mp4");
        assert_eq!((source.about().width, source.about().height), (64, 48));
        assert_eq!(source.about().frames, Some(50));
        assert_eq!(source.about().frames_per_second, Some(25.0));
        let (frames, end) = drain(&mut source);
        end.unwrap();
        assert_eq!(frames.len(), 50);
        for (n, frame) in frames.iter().enumerate() {
            assert_eq!(frame.number, n as u64);
            assert!((frame.at_secs - n as f64 / 25.0).abs() < 1e-6);
        }
    }

    #[test]
    fn frames_at_uneven_times_keep_their_times() {
        // Every seventh frame is missing, and the first comes at 0.2 s.
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("uneven.mkv");
        make(
            &file,
            &format!("{PLAIN} -vf select=gte(n\\,5)*mod(n\\,7) -fps_mode passthrough"),
        );
        let (frames, end) = drain(&mut Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap());
        end.unwrap();
        let expected: Vec<f64> = (5..50)
            .filter(|n| n % 7 != 0)
            .map(|n| (n - 5) as f64 / 25.0)
            .collect();
        assert_eq!(frames.len(), expected.len());
        for (frame, at_secs) in frames.iter().zip(expected) {
            // Matroska keeps milliseconds.
            assert!(
                (frame.at_secs - at_secs).abs() < 1.1e-3,
                "{} {at_secs}",
                frame.at_secs
            );
        }
    }

    #[test]
    fn stamps_stay_exact_far_into_a_clip() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("long.mp4");
        // One frame every 100.04 s: the sixth digit of the printed seconds would be 10 ms.
        make(
            &file,
            "-f lavfi -i testsrc=size=16x16:rate=25:duration=1 -vf setpts=N*100.04/TB \
             -fps_mode passthrough -video_track_timescale 12800 -pix_fmt yuv420p",
        );
        let (frames, end) = drain(&mut Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap());
        end.unwrap();
        let last = frames.last().unwrap();
        let expected_secs = (frames.len() - 1) as f64 * 100.04;
        assert!(expected_secs > 2000.0);
        assert!(
            (last.at_secs - expected_secs).abs() < 1e-3,
            "{}",
            last.at_secs
        );
    }

    #[test]
    fn odd_names_are_only_names() {
        let dir = tempfile::tempdir().unwrap();
        for name in ["-i.mp4", "a b'\"$(touch x);&.mp4", "50%d.mp4", "x:y.mp4"] {
            let file = dir.path().join(name);
            make(
                &file,
                "-f lavfi -i testsrc=size=16x16:rate=25:duration=0.2 -pix_fmt yuv420p",
            );
            let (frames, end) = drain(&mut Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap());
            end.unwrap();
            assert_eq!(frames.len(), 5, "{name}");
        }
        assert!(!Path::new("x").exists());
    }

    #[test]
    fn turned_clips_come_upright_and_oblong_pixels_square() {
        let dir = tempfile::tempdir().unwrap();
        let plain = dir.path().join("plain.mp4");
        make(&plain, PLAIN);
        let turned = dir.path().join("turned.mp4");
        make(
            &turned,
            &format!("-i {} -c copy -metadata:s:v rotate=90", plain.display()),
        );
        let source = Ffmpeg::open(&turned, "ffmpeg".as_ref()).unwrap();
        assert_eq!((source.about().width, source.about().height), (48, 64));
        let oblong = dir.path().join("oblong.mp4");
        make(&oblong, &format!("{PLAIN} -vf setsar=3/2"));
        let source = Ffmpeg::open(&oblong, "ffmpeg".as_ref()).unwrap();
        assert_eq!((source.about().width, source.about().height), (96, 48));
    }

    #[test]
    fn a_cut_clip_gives_what_is_whole_and_then_a_sentence() {
        let dir = tempfile::tempdir().unwrap();
        for (name, more) in [("cut.mp4", " -movflags +faststart"), ("cut.mkv", "")] {
            let file = dir.path().join(name);
            make(&file, &format!("{PLAIN}{more}"));
            let bytes = std::fs::read(&file).unwrap();
            std::fs::write(&file, &bytes[..bytes.len() * 3 / 4]).unwrap();
            let (frames, end) = drain(&mut Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap());
            assert!(
                !frames.is_empty() && frames.len() < 50,
                "{name}: {}",
                frames.len()
            );
            let Err(CaptureError::Damaged(words)) = end else {
                panic!("{name}: {end:?}")
            };
            assert!(words.contains("cut"), "{words}");
        }
    }

    #[test]
    fn sound_alone_is_told() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("sound.wav");
        make(&file, "-f lavfi -i sine=d=0.2");
        let error = Ffmpeg::open(&file, "ffmpeg".as_ref())
            .err()
            .unwrap()
            .to_string();
        assert!(error.contains("sound alone"), "{error}");
    }

    #[test]
    fn a_clip_that_changes_size_is_refused_at_that_place() {
        let dir = tempfile::tempdir().unwrap();
        let mut both = Vec::new();
        for size in ["64x48", "32x24"] {
            let part = dir.path().join("part.h264");
            make(
                &part,
                &format!("-f lavfi -i testsrc=size={size}:rate=25:duration=1 -pix_fmt yuv420p"),
            );
            both.extend(std::fs::read(&part).unwrap());
        }
        let file = dir.path().join("both.h264");
        std::fs::write(&file, both).unwrap();
        let (frames, end) = drain(&mut Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap());
        assert_eq!(frames.len(), 25);
        assert!(end.unwrap_err().to_string().contains("32 × 24"));
    }

    #[test]
    fn without_the_program_a_sentence_says_how_to_get_it() {
        let dir = tempfile::tempdir().unwrap();
        let error = Ffmpeg::open(dir.path(), "no-such-program-here".as_ref())
            .err()
            .unwrap();
        assert!(matches!(error, CaptureError::MissingProgram(_)));
        let words = error.to_string();
        for part in ["apt install", "winget", "brew", ".y4m", "PNG"] {
            assert!(words.contains(part), "{words}");
        }
    }

    #[test]
    fn the_program_ends_when_the_source_is_dropped() {
        let dir = tempfile::tempdir().unwrap();
        let file = dir.path().join("long.mp4");
        make(
            &file,
            "-f lavfi -i testsrc=size=320x240:rate=25:duration=20 -pix_fmt yuv420p -preset ultrafast",
        );
        let mut source = Ffmpeg::open(&file, "ffmpeg".as_ref()).unwrap();
        assert!(matches!(source.next(), Ok(Grab::Frame(_))));
        assert!(source.child.try_wait().unwrap().is_none(), "still decoding");
        // Joins both threads and reaps the process, or hangs here.
        drop(source);
    }

    #[test]
    fn older_programs_are_asked_in_older_words() {
        let words = arguments(Path::new("clip.mp4"), Passthrough::Vsync).unwrap();
        let at = words.iter().position(|w| w == "-vsync").unwrap();
        assert_eq!(words[at + 1], "passthrough");
        assert!(!words.iter().any(|w| w == "-fps_mode"));
    }
}
