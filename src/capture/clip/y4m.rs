//! Uncompressed .y4m clips: luma of every common 8-bit packing. The chroma is read past.

use std::fs::File;
use std::io::{self, BufRead, BufReader, Read};
use std::path::Path;

use image::GrayImage;

use crate::base::Frame;
use crate::capture::limits::check_size;
use crate::capture::{About, CaptureError, Grab, Source};

use super::{ASSUMED_FRAMES_PER_SECOND, short_name};

/// How a .y4m begins.
pub(super) const MAGIC: &[u8] = b"YUV4MPEG2";

/// Longest heading line, in bytes: real ones have less than 200.
const MAX_LINE_BYTES: u64 = 4096;

/// What to do about a .y4m that cannot be read.
const CURE: &str = "Make it again, for instance with: ffmpeg -i CLIP -pix_fmt yuv420p OUT.y4m";

/// A .y4m clip being read.
pub(super) struct Y4m {
    shown: String,
    reader: BufReader<File>,
    /// Bytes of chroma behind each luma plane.
    chroma_bytes: u64,
    frames_per_second: f64,
    number: u64,
    ended: bool,
    about: About,
}

/// What the first line says.
#[derive(Debug, PartialEq)]
struct Heading {
    width: u32,
    height: u32,
    frames_per_second: Option<f64>,
    chroma_bytes: u64,
}

impl Y4m {
    pub(super) fn open(path: &Path) -> Result<Self, CaptureError> {
        let shown = path.display().to_string();
        let cannot = |source| CaptureError::Io {
            what: format!("{shown} cannot be read; check who may read it"),
            source,
        };
        let file = File::open(path).map_err(cannot)?;
        let file_bytes = file.metadata().map_err(cannot)?.len();
        let mut reader = BufReader::with_capacity(1 << 20, file);
        let line = read_line(&mut reader).map_err(cannot)?;
        let heading = line
            .as_deref()
            .ok_or_else(|| "has no heading line".to_owned())
            .and_then(read_heading)
            .map_err(|what| CaptureError::Damaged(format!("{shown} {what}. {CURE}")))?;
        let frames_per_second = heading.frames_per_second.unwrap_or_else(|| {
            tracing::warn!(
                "{shown} does not tell its rate: {ASSUMED_FRAMES_PER_SECOND} frames a second are \
                 assumed"
            );
            ASSUMED_FRAMES_PER_SECOND
        });
        let luma_bytes = u64::from(heading.width) * u64::from(heading.height);
        let line_bytes = line.map_or(0, |l| l.len() as u64 + 1);
        let frame_bytes = "FRAME\n".len() as u64 + luma_bytes + heading.chroma_bytes;
        // Rounded up, so that a cut last frame is reached and told.
        let frames = file_bytes.saturating_sub(line_bytes).div_ceil(frame_bytes);
        Ok(Self {
            about: About {
                name: short_name(path),
                identity: String::new(),
                width: heading.width,
                height: heading.height,
                frames_per_second: Some(frames_per_second),
                frames: Some(frames),
                live: false,
            },
            shown,
            reader,
            chroma_bytes: heading.chroma_bytes,
            frames_per_second,
            number: 0,
            ended: false,
        })
    }

    fn read_frame(&mut self) -> Result<Option<GrayImage>, CaptureError> {
        let cannot = |shown: &str, source| CaptureError::Io {
            what: format!("{shown} cannot be read further; check the disk"),
            source,
        };
        if self
            .reader
            .fill_buf()
            .map_err(|e| cannot(&self.shown, e))?
            .is_empty()
        {
            if self.number == 0 {
                return Err(CaptureError::Damaged(format!(
                    "{} holds no frames, only a heading. {CURE}",
                    self.shown
                )));
            }
            return Ok(None);
        }
        let line = read_line(&mut self.reader).map_err(|e| cannot(&self.shown, e))?;
        let is_frame = line
            .as_ref()
            .is_some_and(|l| l == b"FRAME" || l.starts_with(b"FRAME "));
        if !is_frame {
            return Err(CaptureError::Damaged(format!(
                "{} is damaged: no frame begins behind the {} good ones, which were read. {CURE}",
                self.shown, self.number
            )));
        }
        let mut luma = vec![0; self.about.width as usize * self.about.height as usize];
        let whole = match self.reader.read_exact(&mut luma) {
            Ok(()) => {
                let mut chroma = Read::by_ref(&mut self.reader).take(self.chroma_bytes);
                io::copy(&mut chroma, &mut io::sink()).map(|n| n == self.chroma_bytes)
            }
            Err(e) if e.kind() == io::ErrorKind::UnexpectedEof => Ok(false),
            Err(e) => Err(e),
        };
        let picture = GrayImage::from_raw(self.about.width, self.about.height, luma);
        if let (true, Some(picture)) = (whole.map_err(|e| cannot(&self.shown, e))?, picture) {
            return Ok(Some(picture));
        }
        let so_far = match self.number {
            0 => "within its first frame".to_owned(),
            1 => "after its first frame, which was read".to_owned(),
            n => format!("after {n} frames, which were read"),
        };
        Err(CaptureError::Damaged(format!(
            "{} is cut: it stops {so_far}. Copy the clip again from where it was recorded.",
            self.shown
        )))
    }
}

impl Source for Y4m {
    fn next(&mut self) -> Result<Grab, CaptureError> {
        if self.ended {
            return Ok(Grab::End);
        }
        // Until a frame has come whole, this was the last call.
        self.ended = true;
        let Some(luma) = self.read_frame()? else {
            return Ok(Grab::End);
        };
        self.ended = false;
        let frame = Frame::new(
            self.number,
            self.number as f64 / self.frames_per_second,
            luma,
        );
        self.number += 1;
        Ok(Grab::Frame(frame))
    }

    fn about(&self) -> &About {
        &self.about
    }
}

/// A line without its end; none when no line end comes within bounds.
fn read_line(reader: &mut impl BufRead) -> io::Result<Option<Vec<u8>>> {
    let mut line = Vec::new();
    reader.take(MAX_LINE_BYTES).read_until(b'\n', &mut line)?;
    Ok((line.pop() == Some(b'\n')).then_some(line))
}

fn read_heading(line: &[u8]) -> Result<Heading, String> {
    let text = std::str::from_utf8(line).map_err(|_| "is not a .y4m clip".to_owned())?;
    let mut words = text.split_ascii_whitespace();
    if words.next().map(str::as_bytes) != Some(MAGIC) {
        return Err("is not a .y4m clip".to_owned());
    }
    let (mut width, mut height, mut rate, mut packing) = (None, None, None, "420jpeg");
    for word in words {
        let mut letters = word.chars();
        let letter = letters.next();
        let value = letters.as_str();
        let number = || {
            value
                .parse::<u64>()
                .map_err(|_| format!("has a heading that cannot be understood at '{word}'"))
        };
        match letter {
            Some('W') => width = Some(number()?),
            Some('H') => height = Some(number()?),
            Some('F') => rate = read_rate(value)?,
            Some('C') => packing = value,
            Some('I') if !matches!(value, "p" | "?" | "") => {
                tracing::warn!("the .y4m clip is interlaced: fast beads may look doubled");
            }
            _ => {}
        }
    }
    let (width, height) = check_size(
        width.ok_or_else(|| "does not tell its width".to_owned())?,
        height.ok_or_else(|| "does not tell its height".to_owned())?,
    )?;
    Ok(Heading {
        width,
        height,
        frames_per_second: rate,
        chroma_bytes: chroma_bytes(packing, u64::from(width), u64::from(height))?,
    })
}

/// A rate `numerator:denominator`; none when it says that it is unknown (a zero).
fn read_rate(value: &str) -> Result<Option<f64>, String> {
    let wrong = || format!("has a frame rate that cannot be understood: 'F{value}'");
    let (n, d) = value.split_once(':').ok_or_else(wrong)?;
    let n: u32 = n.parse().map_err(|_| wrong())?;
    let d: u32 = d.parse().map_err(|_| wrong())?;
    Ok((n > 0 && d > 0).then(|| f64::from(n) / f64::from(d)))
}

fn chroma_bytes(packing: &str, width: u64, height: u64) -> Result<u64, String> {
    let half = |n: u64| n.div_ceil(2);
    match packing {
        "420" | "420jpeg" | "420mpeg2" | "420paldv" => Ok(2 * half(width) * half(height)),
        "411" => Ok(2 * width.div_ceil(4) * height),
        "422" => Ok(2 * half(width) * height),
        "444" => Ok(2 * width * height),
        "444alpha" => Ok(3 * width * height),
        "mono" => Ok(0),
        deep if deep.contains('p') || deep.starts_with("mono") => Err(format!(
            "has more than 8 bits a pixel ({deep}); only 8 bits are read"
        )),
        other => Err(format!(
            "packs its colours in a way that is not known: '{other}'"
        )),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn write(bytes: &[u8]) -> tempfile::NamedTempFile {
        let file = tempfile::NamedTempFile::new().unwrap();
        std::fs::write(file.path(), bytes).unwrap();
        file
    }

    fn drain(bytes: &[u8]) -> (Vec<(f64, Vec<u8>)>, Option<String>) {
        let file = write(bytes);
        let mut source = match Y4m::open(file.path()) {
            Ok(source) => source,
            Err(e) => return (Vec::new(), Some(e.to_string())),
        };
        let mut seen = Vec::new();
        loop {
            match source.next() {
                Ok(Grab::Frame(f)) => {
                    assert_eq!(f.number, seen.len() as u64);
                    seen.push((f.at_secs, f.luma.as_raw().clone()));
                }
                Ok(Grab::End) => return (seen, None),
                Ok(other) => panic!("{other:?}"),
                Err(e) => {
                    assert!(matches!(source.next(), Ok(Grab::End)));
                    return (seen, Some(e.to_string()));
                }
            }
        }
    }

    fn clip(packing: &str, width: u8, height: u8, chroma: usize) -> Vec<u8> {
        let mut bytes = format!("YUV4MPEG2 W{width} H{height} F30000:1001 Ip A1:1{packing} Xa=b\n")
            .into_bytes();
        for n in 0..2 {
            bytes.extend_from_slice(if n == 0 { b"FRAME\n" } else { b"FRAME Ip Xq\n" });
            bytes.extend((0..width * height).map(|i| i + 100 * n));
            bytes.extend(std::iter::repeat_n(0xEE, chroma));
        }
        bytes
    }

    #[test]
    fn luma_of_every_packing_also_with_odd_sizes() {
        for (packing, chroma) in [
            ("", 2 * 2 * 2),
            (" C420", 8),
            (" C420jpeg", 8),
            (" C420mpeg2", 8),
            (" C420paldv", 8),
            (" C411", 2 * 3),
            (" C422", 2 * 2 * 3),
            (" C444", 18),
            (" C444alpha", 27),
            (" Cmono", 0),
        ] {
            let (seen, error) = drain(&clip(packing, 3, 3, chroma));
            assert_eq!(error, None, "{packing}");
            assert_eq!(seen.len(), 2, "{packing}");
            assert_eq!(seen[0].1, (0..9).collect::<Vec<u8>>(), "{packing}");
            assert_eq!(seen[1].1, (100..109).collect::<Vec<u8>>(), "{packing}");
            assert_eq!(seen[0].0, 0.0);
            assert!((seen[1].0 - 1001.0 / 30000.0).abs() < 1e-12);
        }
    }

    #[test]
    fn a_cut_clip_gives_its_whole_frames_and_then_a_sentence() {
        let whole = clip("", 3, 3, 8);
        for cut in 1..=17 {
            let (seen, error) = drain(&whole[..whole.len() - cut]);
            assert_eq!(seen.len(), 1, "cut by {cut}");
            assert!(
                error.unwrap().contains("cut: it stops after its first"),
                "cut by {cut}"
            );
        }
    }

    #[test]
    fn wrong_headings_are_refused_with_a_cure() {
        for (bytes, word) in [
            (&b"YUV4MPEG2 W4 H4 F30:1 C420p10\nFRAME\n"[..], "8 bits"),
            (b"YUV4MPEG2 W4 H4 F30:1 Cmono16\nFRAME\n", "8 bits"),
            (b"YUV4MPEG2 W100000 H100000 F30:1\nFRAME\n", "megapixels"),
            (b"YUV4MPEG2 W0 H10 F30:1\nFRAME\n", "none at all"),
            (b"YUV4MPEG2 W-4 H10 F30:1\nFRAME\n", "'W-4'"),
            (b"YUV4MPEG2 W4 F30:1\nFRAME\n", "height"),
            (b"YUV4MPEG2 W4 H4 F30\nFRAME\n", "frame rate"),
            (b"YUV4MPEG2 W4 H4 C999\nFRAME\n", "not known"),
            (b"YUV4MPEG W4 H4\nFRAME\n", "not a .y4m"),
            (b"YUV4MPEG2 W4 H4 F30:1", "heading"),
            (b"YUV4MPEG2 W4 H4 F30:1\n", "no frames"),
            (b"YUV4MPEG2 W4 H4 F30:1\nFRAMING\n", "damaged: no frame"),
            (b"\xFF\xFE\xFF\n", "not a .y4m"),
        ] {
            let (seen, error) = drain(bytes);
            let error = error.unwrap_or_default();
            assert!(seen.is_empty());
            assert!(error.contains(word), "{word}: {error}");
            assert!(error.contains("ffmpeg -i"), "{error}");
        }
    }

    #[test]
    fn an_unknown_rate_is_taken_for_thirty() {
        let (seen, _) = drain(b"YUV4MPEG2 W1 H1 F0:0 Cmono\nFRAME\naFRAME\nb");
        assert_eq!(seen, [(0.0, vec![b'a']), (1.0 / 30.0, vec![b'b'])]);
    }
}
