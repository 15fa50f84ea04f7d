//! The two threads that listen to the ffmpeg program: one reads stamps and complaints from its error
//! output, the other a picture for each stamp from its standard output. Starting and ending the
//! program is left to `ffmpeg`.

use std::io::{self, BufRead, BufReader, Read};
use std::process::{ChildStderr, ChildStdout};
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::{Builder, JoinHandle};

use image::GrayImage;

use crate::base::Ring;
use crate::capture::limits::check_size;
use crate::capture::pool::Pool;

use super::ffmpeg_log::{self, Line, Picture};

/// Decoded pictures held ready: enough to smooth the decoder's hiccups, little memory.
const PICTURES_AHEAD: usize = 3;

/// Stamps that may run ahead of their pictures: more than the program ever buffers between its
/// filter and its output, so that neither of its outputs ever waits for the other.
const STAMPS_AHEAD: usize = 1024;

/// Complaints kept for the sentence at the end.
const COMPLAINTS_KEPT: usize = 2;

/// From the thread that reads pictures.
pub(super) enum Message {
    /// A picture and its stamp in seconds, when it has one.
    Picture(Arc<GrayImage>, Option<f64>),
    /// Nothing more comes; why, when it is not the plain end.
    Done(Option<String>),
}

/// A stamp on its way from one thread to the other.
struct Announced {
    /// Its range is that of its format or of the clip.
    picture: Picture,
    at_secs: Option<f64>,
}

/// What the error output has told so far.
pub(super) struct Log {
    pub(super) duration_secs: Option<f64>,
    pub(super) frames_per_second: Option<f64>,
    pub(super) is_full_range: Option<bool>,
    pub(super) complaints: Ring<String>,
    pub(super) complained: u64,
    pub(super) corrupt: u64,
    pub(super) is_cut: bool,
}

impl Log {
    pub(super) fn new() -> Self {
        Self {
            duration_secs: None,
            frames_per_second: None,
            is_full_range: None,
            complaints: Ring::new(COMPLAINTS_KEPT),
            complained: 0,
            corrupt: 0,
            is_cut: false,
        }
    }
}

/// What was told so far; a thread that died does not hide it.
pub(super) fn lock(log: &Mutex<Log>) -> MutexGuard<'_, Log> {
    log.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Starts listening: the threads, the pictures as they come, and what was told so far.
///
/// # Errors
/// When the system gives no threads.
pub(super) fn listen(
    stdout: ChildStdout,
    stderr: ChildStderr,
    log: &Arc<Mutex<Log>>,
) -> io::Result<(Vec<JoinHandle<()>>, Receiver<Message>)> {
    let (pictures_out, pictures_in) = sync_channel(PICTURES_AHEAD);
    let (stamps_out, stamps_in) = sync_channel(STAMPS_AHEAD);
    let log = Arc::clone(log);
    let stamps = Builder::new()
        .name("clip-stamps".to_owned())
        .spawn(move || read_log(stderr, &log, &stamps_out))?;
    // Without this second thread the first ends with the program, which its owner ends.
    let pictures = Builder::new()
        .name("clip-pictures".to_owned())
        .spawn(move || read_pictures(stdout, &stamps_in, &pictures_out))?;
    Ok((vec![stamps, pictures], pictures_in))
}

/// Runs in the thread `clip-stamps` until the program closes its error output.
fn read_log(stderr: ChildStderr, log: &Mutex<Log>, stamps: &SyncSender<Announced>) {
    let mut reader = BufReader::new(stderr);
    let mut bytes = Vec::new();
    let mut time_base_secs = None;
    loop {
        bytes.clear();
        match reader.read_until(b'\n', &mut bytes) {
            Ok(0) | Err(_) => return,
            Ok(_) => {}
        }
        match ffmpeg_log::read(&String::from_utf8_lossy(&bytes)) {
            Line::TimeBase(secs) => time_base_secs = Some(secs),
            Line::Picture(mut picture) => {
                picture.is_full_range |= lock(log).is_full_range.unwrap_or(false);
                let at_secs = picture
                    .stamp
                    .zip(time_base_secs)
                    .map(|(stamp, unit)| stamp as f64 * unit);
                if stamps.send(Announced { picture, at_secs }).is_err() {
                    // Nobody reads pictures any more. Read on, so that the program is not held up
                    // before it is ended.
                    io::copy(&mut reader, &mut io::sink()).ok();
                    return;
                }
            }
            Line::Duration(secs) => {
                lock(log).duration_secs.get_or_insert(secs);
            }
            Line::Video {
                rate,
                is_full_range,
            } => {
                // The rawvideo that is made of the clip is announced later.
                let mut log = lock(log);
                log.frames_per_second = log.frames_per_second.or(rate);
                log.is_full_range.get_or_insert(is_full_range);
            }
            Line::Complaint(words) => {
                let mut log = lock(log);
                log.complained += 1;
                if log.complaints.newest() != Some(&words) {
                    log.complaints.push(words);
                }
            }
            Line::Corrupt => lock(log).corrupt += 1,
            Line::Cut => lock(log).is_cut = true,
            Line::Other => {}
        }
    }
}

/// Runs in the thread `clip-pictures`: a picture for each stamp.
fn read_pictures(
    mut stdout: ChildStdout,
    stamps: &Receiver<Announced>,
    pictures: &SyncSender<Message>,
) {
    let mut size = None;
    let mut pool = Pool::default();
    // The end of the stamps is the end of the pictures.
    while let Ok(Announced { picture, at_secs }) = stamps.recv() {
        let message = match read_picture(&mut stdout, picture, &mut size, &mut pool) {
            Ok(luma) => Message::Picture(luma, at_secs),
            Err(why) => {
                pictures.send(Message::Done(why)).ok();
                return;
            }
        };
        if pictures.send(message).is_err() {
            return;
        }
    }
    pictures.send(Message::Done(None)).ok();
}

/// Luma from 16 to 235 made luma from 0 to 255: (y − 16) × 255 ÷ 219 (ITU-R BT.601, 2.5.3), rounded.
fn stretch(luma: &mut [u8]) {
    for level in luma {
        // 149 ÷ 128 is 255 ÷ 219 to three parts in ten thousand, and stays within sixteen bits.
        let above = u16::from(level.saturating_sub(16)).wrapping_mul(149);
        *level = (above.wrapping_add(64) >> 7).min(255) as u8;
    }
}

/// One picture; without words when the program stopped in the middle of it, which it then explains
/// itself.
fn read_picture(
    stdout: &mut ChildStdout,
    told: Picture,
    size: &mut Option<(u32, u32)>,
    pool: &mut Pool,
) -> Result<Arc<GrayImage>, Option<String>> {
    let told_size = check_size(told.width, told.height).map_err(Some)?;
    let (width, height) = *size.get_or_insert(told_size);
    if told_size != (width, height) {
        return Err(Some(format!(
            "changes its picture size from {width} × {height} to {} × {}; make a clip of each part",
            told.width, told.height
        )));
    }
    let mut luma = pool.whole(width, height);
    // The pool gives out nothing that anybody else holds.
    let into = Arc::get_mut(&mut luma).ok_or(None)?;
    stdout.read_exact(into).map_err(|_| None)?;
    if !told.is_full_range {
        stretch(into);
    }
    pool.keep(&luma, None);
    Ok(luma)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn black_is_0_and_white_255() {
        let mut luma: Vec<u8> = (0..=255).collect();
        stretch(&mut luma);
        for (coded, level) in luma.iter().enumerate() {
            let exact = ((coded as f64 - 16.0) * 255.0 / 219.0).clamp(0.0, 255.0);
            assert!((f64::from(*level) - exact).abs() <= 0.6, "{coded}: {level}");
        }
        assert_eq!((luma[16], luma[235]), (0, 255));
    }
}
