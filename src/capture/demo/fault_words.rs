//! The words of faults: `NAME [FEED] [STRENGTH] [off] [@FROM[-TO]]`, such as `stop 2`, `shake`,
//! `shake 4`, `shake off`, `stop 2 @30-90`, `clear`. FEED is for the faults of one feed (all feeds
//! when absent); the times are the demo's own seconds. Reading only; what a fault does is left to
//! others.

use crate::capture::CaptureError;

/// What can go wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fault {
    /// The feed gives no drops.
    Stop,
    /// The feed runs faster than asked.
    Fast,
    /// The glass fills with oil from above.
    Flood,
    /// A film grows on the glass.
    Film,
    /// The camera trembles; each picture is sharp and straight.
    Shake,
    /// The camera trembles, seen by a rolling shutter: rows are shifted one by one, and blurred by
    /// the motion while the shutter is open.
    ShakeRolling,
    /// A lamp on the mains flickers, in bands that roll through the picture.
    Flicker,
    /// Bright drifting steam before the lubricator.
    Steam,
    /// The camera's exposure jumps.
    Exposure,
    /// Somebody walks past between camera and glasses.
    Passer,
    /// Somebody walks past behind the glasses.
    PasserBehind,
    /// The camera repeats one picture.
    Frozen,
    /// Too little light.
    Dark,
    /// Too little contrast.
    Contrast,
    /// A noisy sensor.
    Noise,
    /// The camera is knocked and stays where it is then.
    Knock,
    /// The lens zooms in slowly.
    Zoom,
    /// Bright things that move about the room are mirrored in the glass.
    Reflection,
    /// Frames are lost.
    Lost,
    /// Frames come twice.
    Doubled,
    /// Frames are stamped late.
    Late,
    /// No frames come for a while.
    Stall,
}

/// What a fault strikes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Reach {
    /// One feed, or all.
    Feed,
    /// The whole picture.
    Picture,
}

/// A fault's word, what it strikes, and its strength: what it means, what it is
/// when nothing is said, and its limits.
struct Kind {
    fault: Fault,
    word: &'static str,
    reach: Reach,
    meaning: &'static str,
    usual: f64,
    least: f64,
    most: f64,
}

const fn kind(
    fault: Fault,
    word: &'static str,
    reach: Reach,
    meaning: &'static str,
    (usual, least, most): (f64, f64, f64),
) -> Kind {
    Kind {
        fault,
        word,
        reach,
        meaning,
        usual,
        least,
        most,
    }
}

const KINDS: [Kind; 22] = [
    kind(
        Fault::Stop,
        "stop",
        Reach::Feed,
        "share of the rate taken away",
        (1.0, 0.0, 1.0),
    ),
    kind(
        Fault::Fast,
        "fast",
        Reach::Feed,
        "times the rate",
        (4.0, 0.1, 20.0),
    ),
    kind(
        Fault::Flood,
        "flood",
        Reach::Feed,
        "seconds to fill the glass",
        (15.0, 0.5, 3600.0),
    ),
    kind(
        Fault::Film,
        "film",
        Reach::Feed,
        "share of the contrast lost a minute",
        (0.3, 0.0, 10.0),
    ),
    kind(
        Fault::Shake,
        "shake",
        Reach::Picture,
        "pixels either way",
        (2.0, 0.0, 40.0),
    ),
    kind(
        Fault::ShakeRolling,
        "shake-rolling",
        Reach::Picture,
        "pixels either way",
        (2.0, 0.0, 40.0),
    ),
    kind(
        Fault::Flicker,
        "flicker",
        Reach::Picture,
        "per cent of the light",
        (8.0, 0.0, 60.0),
    ),
    kind(
        Fault::Steam,
        "steam",
        Reach::Picture,
        "thickness, 0 to 1",
        (0.6, 0.0, 1.0),
    ),
    kind(
        Fault::Exposure,
        "exposure",
        Reach::Picture,
        "per cent up and down",
        (30.0, 0.0, 80.0),
    ),
    kind(
        Fault::Passer,
        "passer",
        Reach::Picture,
        "seconds between two passings",
        (12.0, 4.0, 3600.0),
    ),
    kind(
        Fault::PasserBehind,
        "passer-behind",
        Reach::Picture,
        "seconds between two passings",
        (12.0, 4.0, 3600.0),
    ),
    kind(
        Fault::Frozen,
        "frozen",
        Reach::Picture,
        "no strength",
        (1.0, 0.0, 1.0),
    ),
    kind(
        Fault::Dark,
        "dark",
        Reach::Picture,
        "per cent of the light taken away",
        (85.0, 0.0, 100.0),
    ),
    kind(
        Fault::Contrast,
        "contrast",
        Reach::Picture,
        "per cent of the contrast lost",
        (75.0, 0.0, 100.0),
    ),
    kind(
        Fault::Noise,
        "noise",
        Reach::Picture,
        "spread in luma steps",
        (10.0, 0.0, 60.0),
    ),
    kind(
        Fault::Knock,
        "knock",
        Reach::Picture,
        "pixels",
        (12.0, 0.0, 200.0),
    ),
    kind(
        Fault::Zoom,
        "zoom",
        Reach::Picture,
        "per cent a minute",
        (3.0, -30.0, 30.0),
    ),
    kind(
        Fault::Reflection,
        "reflection",
        Reach::Picture,
        "luma steps",
        (40.0, 0.0, 250.0),
    ),
    kind(
        Fault::Lost,
        "lost",
        Reach::Picture,
        "per cent of the frames",
        (10.0, 0.0, 95.0),
    ),
    kind(
        Fault::Doubled,
        "doubled",
        Reach::Picture,
        "per cent of the frames",
        (10.0, 0.0, 95.0),
    ),
    kind(
        Fault::Late,
        "late",
        Reach::Picture,
        "most milliseconds late",
        (25.0, 0.0, 500.0),
    ),
    kind(
        Fault::Stall,
        "stall",
        Reach::Picture,
        "seconds without frames",
        (4.0, 0.1, 3600.0),
    ),
];

/// A request, read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Request {
    /// The fault.
    pub fault: Fault,
    /// Index of the feed from 0, for a fault of one feed; all when absent.
    pub feed: Option<usize>,
    /// How strongly; `None` switches it off.
    pub strength: Option<f64>,
    /// From when on, seconds.
    pub from_secs: f64,
    /// Until when, seconds; may be infinite.
    pub to_secs: f64,
}

fn refuse(sentence: String) -> CaptureError {
    CaptureError::NoSuchSource(sentence)
}

/// All words with what their strength means, for sentences and help.
#[must_use]
pub fn known_words() -> String {
    let words: Vec<String> = KINDS
        .iter()
        .map(|k| {
            let feed = match k.reach {
                Reach::Feed => " [FEED]",
                Reach::Picture => "",
            };
            format!("{}{feed} [{}]", k.word, k.meaning)
        })
        .collect();
    format!("{}, clear", words.join(", "))
}

/// Reads one request made at `now_secs` of a demo with so many feeds; `None` for `clear`.
///
/// # Errors
/// [`CaptureError::NoSuchSource`] with a sentence.
pub fn read(request: &str, feeds: usize, now_secs: f64) -> Result<Option<Request>, CaptureError> {
    let mut tokens = request.split_whitespace();
    let word = tokens.next().unwrap_or_default();
    if word == "clear" {
        return Ok(None);
    }
    let Some(kind) = KINDS.iter().find(|k| k.word == word) else {
        return Err(refuse(format!(
            "demo: the fault `{word}` is not known; known faults: {}",
            known_words()
        )));
    };
    let (mut numbers, mut off) = (Vec::new(), false);
    let (mut from_secs, mut to_secs) = (now_secs, f64::INFINITY);
    for token in tokens {
        if token == "off" {
            off = true;
        } else if let Some(times) = token.strip_prefix('@') {
            (from_secs, to_secs) = span(times, request)?;
        } else {
            numbers.push(finite(token).ok_or_else(|| {
                refuse(format!(
                    "demo: in `{request}`, `{token}` is neither a number, `off` nor a time such \
                     as @30-90"
                ))
            })?);
        }
    }
    let mut numbers = numbers.into_iter();
    let feed = match kind.reach {
        Reach::Feed => numbers
            .next()
            .map(|number| feed_index(number, feeds, request))
            .transpose()?,
        Reach::Picture => None,
    };
    let strength = numbers.next().unwrap_or(kind.usual);
    if strength < kind.least || strength > kind.most {
        return Err(refuse(format!(
            "demo: in `{request}`, {} must lie between {} and {}",
            kind.meaning, kind.least, kind.most
        )));
    }
    if let Some(extra) = numbers.next() {
        return Err(refuse(format!(
            "demo: in `{request}`, the number {extra} is one too many"
        )));
    }
    Ok(Some(Request {
        fault: kind.fault,
        feed,
        strength: (!off).then_some(strength),
        from_secs,
        to_secs,
    }))
}

fn finite(text: &str) -> Option<f64> {
    text.parse().ok().filter(|n: &f64| n.is_finite())
}

fn feed_index(number: f64, feeds: usize, request: &str) -> Result<usize, CaptureError> {
    if number.fract() == 0.0 && number >= 1.0 && number <= feeds as f64 {
        Ok(number as usize - 1)
    } else {
        Err(refuse(format!(
            "demo: in `{request}`, {number} is not one of the {feeds} feeds"
        )))
    }
}

/// Reads `30` or `30-90` as seconds from and to.
fn span(times: &str, request: &str) -> Result<(f64, f64), CaptureError> {
    let read = match times.split_once('-') {
        Some((from, to)) => finite(from).zip(finite(to)),
        None => finite(times).map(|from| (from, f64::INFINITY)),
    };
    read.filter(|(from, to)| *from >= 0.0 && to > from)
        .ok_or_else(|| {
            refuse(format!(
                "demo: in `{request}`, `@{times}` is not a stretch of seconds; write for example \
                 @30 or @30-90"
            ))
        })
}
