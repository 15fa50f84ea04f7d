//! What the ffmpeg program writes to its error output, line by line: the time base, size and stamp
//! of each picture, what the clip says of itself, and complaints. It starts no program.

/// One line, as far as it matters.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Line {
    /// The unit of the stamps that follow, seconds.
    TimeBase(f64),
    /// A picture follows on the standard output.
    Picture(Picture),
    /// Length of the clip, seconds.
    Duration(f64),
    /// What the clip announces of its pictures.
    Video {
        /// Frames a second.
        rate: Option<f64>,
        /// Black is coded as 0 and white as 255, and not as 16 and 235.
        is_full_range: bool,
    },
    /// Something is wrong.
    Complaint(String),
    /// A packet of the clip came damaged.
    Corrupt,
    /// The clip stops before its own end.
    Cut,
    /// Of no interest.
    Other,
}

/// What is told of one picture before it comes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Picture {
    /// Stamp in units of the time base; none when the clip has none.
    pub(super) stamp: Option<i64>,
    /// Columns, as told.
    pub(super) width: u64,
    /// Rows, as told.
    pub(super) height: u64,
    /// By its format black is coded as 0 and white as 255, and not as 16 and 235.
    pub(super) is_full_range: bool,
}

/// Longest complaint kept, in letters: enough for a sentence on a screen.
const MAX_COMPLAINT_CHARS: usize = 200;

/// Reads one line of a log made with `-loglevel level+info`.
pub(super) fn read(line: &str) -> Line {
    let line = line.trim_end();
    let (speaker, rest) = split_speaker(line);
    let Some((level, words)) = split_tag(rest) else {
        return Line::Other;
    };
    // A clip's own words (its title, say) are printed without a speaker and cannot pass for these.
    if speaker.is_some_and(|s| s.starts_with("Parsed_showinfo")) {
        return read_showinfo(words);
    }
    if words.ends_with("partial file") || words.contains("File ended prematurely") {
        return Line::Cut;
    }
    match level {
        "error" | "fatal" | "panic" => Line::Complaint(shorten(words)),
        "warning" if words.contains("corrupt input packet") || words.contains("Packet corrupt") => {
            Line::Corrupt
        }
        "info" => read_announcement(words),
        _ => Line::Other,
    }
}

/// `[name @ 0x1234] rest` → name and rest.
fn split_speaker(line: &str) -> (Option<&str>, &str) {
    match split_tag(line) {
        Some((tag, rest)) if tag.contains(" @ ") => (Some(tag), rest),
        _ => (None, line),
    }
}

/// `[tag] rest` → tag and rest.
fn split_tag(text: &str) -> Option<(&str, &str)> {
    let (tag, rest) = text.strip_prefix('[')?.split_once(']')?;
    Some((tag, rest.strip_prefix(' ').unwrap_or(rest)))
}

fn read_showinfo(words: &str) -> Line {
    if let Some(rest) = words.strip_prefix("config in time_base:") {
        let base = rest.trim_start().split([',', ' ']).next();
        return match base.and_then(|b| b.split_once('/')) {
            Some((n, d)) => match (n.parse::<f64>(), d.parse::<f64>()) {
                (Ok(n), Ok(d)) if n > 0.0 && d > 0.0 => Line::TimeBase(n / d),
                _ => Line::Other,
            },
            None => Line::Other,
        };
    }
    if !words.starts_with("n:") {
        return Line::Other;
    }
    // `pts_time` is rounded to six digits, which is not enough after a quarter of an hour.
    let stamp = field(words, " pts:").and_then(|w| w.parse().ok());
    let size = field(words, " s:").and_then(|s| s.split_once('x'));
    let format = field(words, " fmt:").unwrap_or_default();
    match size.map(|(w, h)| (w.parse(), h.parse())) {
        Some((Ok(width), Ok(height))) => Line::Picture(Picture {
            stamp,
            width,
            height,
            is_full_range: format.starts_with("yuvj") || format.starts_with("gray"),
        }),
        _ => Line::Other,
    }
}

fn field<'a>(words: &'a str, name: &str) -> Option<&'a str> {
    let at = words.find(name)? + name.len();
    words[at..].split_ascii_whitespace().next()
}

fn read_announcement(words: &str) -> Line {
    let plain = words.trim_start();
    if let Some(rest) = plain.strip_prefix("Duration:") {
        let clock = rest.trim_start().split(',').next().unwrap_or_default();
        return read_clock(clock).map_or(Line::Other, Line::Duration);
    }
    // The clip's first video; the rawvideo that is made of it is announced later.
    if plain.starts_with("Stream #") && plain.contains(": Video:") {
        let rate = plain
            .split(", ")
            .find_map(|part| part.trim().strip_suffix(" fps"))
            .and_then(|n| n.parse::<f64>().ok());
        let format = plain
            .split(", ")
            .find(|part| part.starts_with("yuv"))
            .unwrap_or_default();
        return Line::Video {
            rate: rate.filter(|rate| rate.is_finite() && *rate > 0.0),
            is_full_range: format.contains("(pc"),
        };
    }
    Line::Other
}

/// `hours:minutes:seconds` in seconds.
fn read_clock(clock: &str) -> Option<f64> {
    let mut secs = 0.0;
    for part in clock.trim().split(':') {
        let n: f64 = part.parse().ok()?;
        secs = secs * 60.0 + n;
    }
    (secs.is_finite() && secs > 0.0).then_some(secs)
}

/// Takes the file's name off a complaint, and the end when it is very long.
fn shorten(words: &str) -> String {
    let words = match words
        .strip_prefix("file:")
        .and_then(|w| w.rsplit_once(": "))
    {
        Some((_, what)) => what,
        None => words,
    };
    words
        .trim_end_matches('.')
        .chars()
        .take(MAX_COMPLAINT_CHARS)
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_as_the_program_writes_them() {
        for (line, meaning) in [
            (
                "[Parsed_showinfo_2 @ 0x55fc1e590a40] [info] config in time_base: 1/12800, \
                 frame_rate: 25/1",
                Line::TimeBase(1.0 / 12800.0),
            ),
            (
                "[Parsed_showinfo_2 @ 0x55cb] [info] n:   1 pts:    512 pts_time:0.04    pos:     \
                 3970 fmt:yuv420p sar:1/1 s:160x120 i:P iskey:0 type:P ",
                Line::Picture(Picture {
                    stamp: Some(512),
                    width: 160,
                    height: 120,
                    is_full_range: false,
                }),
            ),
            (
                "[Parsed_showinfo_2 @ 0x1] [info] n:  10 pts:   -512 pts_time:-0.04 duration:    \
                 512 duration_time:0.04 fmt:yuvj420p cl:unspecified sar:1/1 s:64x48 i:P",
                Line::Picture(Picture {
                    stamp: Some(-512),
                    width: 64,
                    height: 48,
                    is_full_range: true,
                }),
            ),
            (
                "[Parsed_showinfo_2 @ 0x1] [info] n:   0 pts:   NOPTS pts_time:NOPTS fmt:gray \
                 sar:0/1 s:64x48 i:P",
                Line::Picture(Picture {
                    stamp: None,
                    width: 64,
                    height: 48,
                    is_full_range: true,
                }),
            ),
            (
                "[info]   Duration: 01:00:03.50, start: 0.000000, bitrate: 26 kb/s",
                Line::Duration(3603.5),
            ),
            ("[info]   Duration: N/A, bitrate: N/A", Line::Other),
            (
                "[info]   Stream #0:0[0x1](und): Video: h264 (High) (avc1 / 0x31637661), \
                 yuv420p(progressive), 160x120 [SAR 1:1 DAR 4:3], 35 kb/s, 29.97 fps, 25 tbr",
                Line::Video {
                    rate: Some(29.97),
                    is_full_range: false,
                },
            ),
            (
                "[info]   Stream #0:0: Video: mjpeg (Baseline), yuv422p(pc, bt470bg/unknown), 64x48, 25 tbr",
                Line::Video {
                    rate: None,
                    is_full_range: true,
                },
            ),
            (
                "[mov,mp4,m4a,3gp,3g2,mj2 @ 0x55f3] [error] moov atom not found",
                Line::Complaint("moov atom not found".to_owned()),
            ),
            (
                "[error] file:/a/b: c.mp4: Invalid data found when processing input",
                Line::Complaint("Invalid data found when processing input".to_owned()),
            ),
            (
                "[fatal] Stream map '0:v:0' matches no streams.",
                Line::Complaint("Stream map '0:v:0' matches no streams".to_owned()),
            ),
            (
                "[warning] a.mp4: corrupt input packet in stream 0",
                Line::Corrupt,
            ),
            (
                "[mov,mp4,m4a,3gp,3g2,mj2 @ 0x1] [error] stream 0, offset 0x26a8: partial file",
                Line::Cut,
            ),
            (
                "[matroska,webm @ 0x1] [error] File ended prematurely",
                Line::Cut,
            ),
            ("", Line::Other),
            ("[", Line::Other),
            ("[]", Line::Other),
            (
                "To ignore this, add a trailing '?' to the map.",
                Line::Other,
            ),
        ] {
            assert_eq!(read(line), meaning, "{line}");
        }
    }

    #[test]
    fn a_title_in_the_clip_cannot_pass_for_a_picture() {
        let title =
            "[info]     title           : [Parsed_showinfo_2 @ 0x1] [info] n: 0 pts: 0 s:9x9";
        assert_eq!(read(title), Line::Other);
    }
}
