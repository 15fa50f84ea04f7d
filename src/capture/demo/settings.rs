//! What a demo shows, as numbers and as words: `demo:feeds=2,rates=2.5;10,light=front`. Parsing
//! and checking only; the model and the scene make something of it.

use std::str::FromStr;

use serde::{Deserialize, Serialize};

use crate::base::GlassKind;
use crate::capture::CaptureError;

/// How the glasses are lit.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Light {
    /// A white lit plate behind each glass.
    Backlit,
    /// A pale card behind one side of each glass, lit from the front.
    Card,
    /// Nothing behind but the dark panel; a lamp in front.
    Front,
}

/// Everything that can be asked of a demo. Lists give one value a feed and start over when they
/// are shorter than the number of feeds.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct DemoSettings {
    /// How many feeds, 1 to 8.
    pub feeds: usize,
    /// Tubes or ports.
    pub kind: GlassKind,
    /// How they are lit.
    pub light: Light,
    /// Picture width, pixels, 160 to 4096.
    pub width_px: u32,
    /// Picture height, pixels, 120 to 4096.
    pub height_px: u32,
    /// Frames a second, 5 to 120.
    pub fps: f64,
    /// Same seed, same pictures.
    pub seed: u64,
    /// Drops a minute of each feed, 0 to 120.
    pub rates_per_minute: Vec<f64>,
    /// Spread of the intervals ÷ their mean, 0 (a clockwork) to 1 (pure chance), each feed.
    pub scatter: Vec<f64>,
    /// Gas bubbles a minute, each feed.
    pub gas_per_minute: Vec<f64>,
    /// Mean diameter of the drops, mm, each feed.
    pub bead_mm: Vec<f64>,
    /// Spread of the drops' diameters ÷ their mean.
    pub bead_scatter: f64,
    /// How far beads wander off the axis, mm.
    pub wobble_mm: f64,
    /// Share of drops, 0 to 1, that leave a small satellite behind.
    pub satellites: f64,
    /// Share of drops, 0 to 1, that bring a second one close behind.
    pub pairs: f64,
    /// Clear water between the two of a pair, or the three of a triplet, in bead diameters.
    pub pair_gap: f64,
    /// Share of drops, 0 to 1, that bring two more close behind.
    pub triplets: f64,
    /// Share of drops, 0 to 1, that a small one follows, with the clear water of a pair between.
    pub followed: f64,
    /// Share of drops, 0 to 1, that overtake a small one on their way.
    pub overtaking: f64,
    /// Diameter of such a small drop as a share of the large one's.
    pub small_size: f64,
    /// Share of light, 0 to 1, that passes through 4 mm of the oil, each feed.
    pub tint: Vec<f64>,
    /// How bright the oil's body looks under a lamp, 0 (black) to 1 (white), each feed.
    pub albedo: Vec<f64>,
    /// 1: beads flattened as rising drops are; 0: round ones.
    pub flatten: f64,
    /// Spread of the sensor's noise at mid-grey, luma steps.
    pub noise: f64,
    /// Share of the time between frames, 0 to 1, during which the shutter is open.
    pub shutter: f64,
    /// Clockwise roll of the camera, degrees, within ±30.
    pub roll_deg: f64,
    /// Turn of the camera about the vertical, degrees, within ±40.
    pub turn_deg: f64,
    /// Picture scale at the glasses' axes; chosen to fill the picture when absent.
    pub px_per_mm: Option<f64>,
    /// Outside diameter of a tube, mm.
    pub outside_mm: f64,
    /// Bore of a tube, mm.
    pub bore_mm: f64,
    /// Visible height of a tube between its fittings, mm.
    pub glass_mm: f64,
    /// Diameter of a port's window, mm.
    pub port_mm: f64,
    /// Temperature of the condensate, °C.
    pub temperature_c: f64,
    /// Density of the oil at that temperature, kg/m³.
    pub oil_kg_per_m3: f64,
    /// Tension between oil and condensate, N/m.
    pub tension_n_per_m: f64,
    /// Faults from the start, in the words of the faults, parted by semicolons.
    pub fault: String,
}

impl Default for DemoSettings {
    fn default() -> Self {
        Self {
            feeds: 3,
            kind: GlassKind::Tube,
            light: Light::Backlit,
            width_px: 640,
            height_px: 480,
            fps: 30.0,
            seed: 1,
            rates_per_minute: vec![2.5, 2.2, 2.8],
            scatter: vec![0.12],
            gas_per_minute: vec![0.0],
            bead_mm: vec![4.2, 4.6, 3.8],
            bead_scatter: 0.02,
            wobble_mm: 0.3,
            satellites: 0.0,
            pairs: 0.0,
            pair_gap: 1.0,
            triplets: 0.0,
            followed: 0.0,
            overtaking: 0.0,
            small_size: 0.5,
            tint: vec![0.5, 0.6, 0.4],
            albedo: vec![0.65],
            flatten: 0.0,
            noise: 1.5,
            shutter: 0.3,
            roll_deg: 0.0,
            turn_deg: 0.0,
            px_per_mm: None,
            outside_mm: 19.0,
            bore_mm: 15.0,
            glass_mm: 60.0,
            port_mm: 28.0,
            temperature_c: 40.0,
            oil_kg_per_m3: 895.0,
            tension_n_per_m: 0.03,
            fault: String::new(),
        }
    }
}

/// The words a demo knows, for the sentences that refuse others.
const KNOWN: &str = "feeds, kind (tube or port), light (backlit, card or front), size (such as \
1280x720), fps, seed, rates, scatter, gas, bead_mm, bead_scatter, wobble_mm, satellites, pairs, \
pair_gap, triplets, followed, overtaking, small_size, tint, albedo, flatten, noise, shutter, roll, turn, px_per_mm, outside_mm, bore_mm, \
glass_mm, port_mm, water_c, oil_density, tension, fault";

/// Smallest clear space between neighbouring glasses in a picture, as a share of the glass's width.
const LEAST_GAP_SHARE: f64 = 0.15;

fn refuse(sentence: String) -> CaptureError {
    CaptureError::NoSuchSource(sentence)
}

fn number<T: FromStr>(key: &str, value: &str) -> Result<T, CaptureError> {
    value.trim().parse().map_err(|_| {
        refuse(format!(
            "demo: `{key}={value}` is not a number of the kind wanted; write for example `{key}=2`"
        ))
    })
}

fn numbers(key: &str, value: &str) -> Result<Vec<f64>, CaptureError> {
    value.split(';').map(|part| number(key, part)).collect()
}

fn between(what: &str, value: f64, low: f64, high: f64) -> Result<(), CaptureError> {
    if value.is_finite() && value >= low && value <= high {
        Ok(())
    } else {
        Err(refuse(format!(
            "demo: {what} is {value}, but must lie between {low} and {high}"
        )))
    }
}

fn all_between(what: &str, values: &[f64], low: f64, high: f64) -> Result<(), CaptureError> {
    if values.is_empty() {
        return Err(refuse(format!("demo: {what} needs at least one number")));
    }
    values
        .iter()
        .try_for_each(|&value| between(what, value, low, high))
}

/// The value for one feed from a list that starts over when it is short (0 from an empty one).
#[must_use]
pub fn of_feed(values: &[f64], index: usize) -> f64 {
    if values.is_empty() {
        0.0
    } else {
        values[index % values.len()]
    }
}

impl DemoSettings {
    /// Reads `demo` or `demo:key=value,key=value…`; lists are parted by semicolons. When several
    /// rates are named but the number of feeds is not, there are as many feeds as rates.
    ///
    /// # Errors
    /// [`CaptureError::NoSuchSource`] with a sentence that says what is wrong and what is known.
    ///
    /// ```
    /// use beadtally::capture::demo::DemoSettings;
    /// let settings = DemoSettings::from_words("demo:rates=2.5;10,size=1280x720").unwrap();
    /// assert_eq!((settings.feeds, settings.width_px), (2, 1280));
    /// ```
    pub fn from_words(words: &str) -> Result<Self, CaptureError> {
        let rest = words.trim();
        let rest = rest.strip_prefix("demo").unwrap_or(rest);
        let rest = rest.strip_prefix(':').unwrap_or(rest).trim();
        let mut settings = Self::default();
        let (mut feeds_named, mut rates_named) = (false, false);
        for part in rest.split(',').map(str::trim).filter(|p| !p.is_empty()) {
            let Some((key, value)) = part.split_once('=') else {
                return Err(refuse(format!(
                    "demo: `{part}` has no value; write key=value. Known keys: {KNOWN}"
                )));
            };
            let (key, value) = (key.trim(), value.trim());
            feeds_named |= key == "feeds";
            rates_named |= key == "rates";
            settings.set(key, value)?;
        }
        if rates_named && !feeds_named && settings.rates_per_minute.len() > 1 {
            settings.feeds = settings.rates_per_minute.len();
        }
        settings.check()?;
        Ok(settings)
    }

    fn set(&mut self, key: &str, value: &str) -> Result<(), CaptureError> {
        match key {
            "feeds" => self.feeds = number(key, value)?,
            "kind" => {
                self.kind = match value {
                    "tube" => GlassKind::Tube,
                    "port" => GlassKind::Port,
                    _ => {
                        return Err(refuse(format!(
                            "demo: kind `{value}` is not known; write kind=tube or kind=port"
                        )));
                    }
                }
            }
            "light" => {
                self.light = match value {
                    "backlit" => Light::Backlit,
                    "card" => Light::Card,
                    "front" => Light::Front,
                    _ => {
                        return Err(refuse(format!(
                            "demo: light `{value}` is not known; write light=backlit, light=card \
                             or light=front"
                        )));
                    }
                }
            }
            "size" => {
                let Some((width, height)) = value.split_once(['x', 'X', '×']) else {
                    return Err(refuse(format!(
                        "demo: `size={value}` is not a picture size; write for example \
                         size=1280x720"
                    )));
                };
                self.width_px = number(key, width)?;
                self.height_px = number(key, height)?;
            }
            "fps" => self.fps = number(key, value)?,
            "seed" => self.seed = number(key, value)?,
            "rates" => self.rates_per_minute = numbers(key, value)?,
            "scatter" => self.scatter = numbers(key, value)?,
            "gas" => self.gas_per_minute = numbers(key, value)?,
            "bead_mm" => self.bead_mm = numbers(key, value)?,
            "bead_scatter" => self.bead_scatter = number(key, value)?,
            "wobble_mm" => self.wobble_mm = number(key, value)?,
            "satellites" => self.satellites = number(key, value)?,
            "pairs" => self.pairs = number(key, value)?,
            "pair_gap" => self.pair_gap = number(key, value)?,
            "triplets" => self.triplets = number(key, value)?,
            "followed" => self.followed = number(key, value)?,
            "overtaking" => self.overtaking = number(key, value)?,
            "small_size" => self.small_size = number(key, value)?,
            "tint" => self.tint = numbers(key, value)?,
            "albedo" => self.albedo = numbers(key, value)?,
            "flatten" => self.flatten = number(key, value)?,
            "noise" => self.noise = number(key, value)?,
            "shutter" => self.shutter = number(key, value)?,
            "roll" => self.roll_deg = number(key, value)?,
            "turn" => self.turn_deg = number(key, value)?,
            "px_per_mm" => self.px_per_mm = Some(number(key, value)?),
            "outside_mm" => self.outside_mm = number(key, value)?,
            "bore_mm" => self.bore_mm = number(key, value)?,
            "glass_mm" => self.glass_mm = number(key, value)?,
            "port_mm" => self.port_mm = number(key, value)?,
            "water_c" => self.temperature_c = number(key, value)?,
            "oil_density" => self.oil_kg_per_m3 = number(key, value)?,
            "tension" => self.tension_n_per_m = number(key, value)?,
            "fault" => value.clone_into(&mut self.fault),
            _ => {
                return Err(refuse(format!(
                    "demo: `{key}` is not known; known keys: {KNOWN}"
                )));
            }
        }
        Ok(())
    }

    /// Checks every number against what can be drawn.
    ///
    /// # Errors
    /// [`CaptureError::NoSuchSource`] with a sentence for the first value that is out of reach.
    pub fn check(&self) -> Result<(), CaptureError> {
        between("feeds", self.feeds as f64, 1.0, 8.0)?;
        between(
            "the width of the picture",
            f64::from(self.width_px),
            160.0,
            4096.0,
        )?;
        between(
            "the height of the picture",
            f64::from(self.height_px),
            120.0,
            4096.0,
        )?;
        between("fps", self.fps, 5.0, 120.0)?;
        all_between("rates", &self.rates_per_minute, 0.0, 120.0)?;
        all_between("scatter", &self.scatter, 0.0, 1.0)?;
        all_between("gas", &self.gas_per_minute, 0.0, 120.0)?;
        let widest_mm = match self.kind {
            GlassKind::Tube => 0.6 * self.bore_mm,
            GlassKind::Port => 0.4 * self.port_mm,
        };
        all_between("bead_mm", &self.bead_mm, 1.0, widest_mm.min(8.0))?;
        between("bead_scatter", self.bead_scatter, 0.0, 0.2)?;
        between("wobble_mm", self.wobble_mm, 0.0, 3.0)?;
        between("satellites", self.satellites, 0.0, 1.0)?;
        between("pairs", self.pairs, 0.0, 1.0)?;
        between("pair_gap", self.pair_gap, 0.1, 20.0)?;
        between("triplets", self.triplets, 0.0, 1.0)?;
        between("followed", self.followed, 0.0, 1.0)?;
        between("overtaking", self.overtaking, 0.0, 1.0)?;
        between("small_size", self.small_size, 0.2, 0.9)?;
        all_between("tint", &self.tint, 0.02, 1.0)?;
        all_between("albedo", &self.albedo, 0.0, 1.0)?;
        between("flatten", self.flatten, 0.0, 1.0)?;
        between("noise", self.noise, 0.0, 40.0)?;
        between("shutter", self.shutter, 0.0, 1.0)?;
        between("roll", self.roll_deg, -30.0, 30.0)?;
        between("turn", self.turn_deg, -40.0, 40.0)?;
        between("outside_mm", self.outside_mm, 8.0, 60.0)?;
        between("bore_mm", self.bore_mm, 5.0, self.outside_mm - 1.0)?;
        between("glass_mm", self.glass_mm, 25.0, 200.0)?;
        between("port_mm", self.port_mm, 15.0, 80.0)?;
        between("water_c", self.temperature_c, 4.0, 200.0)?;
        between("oil_density", self.oil_kg_per_m3, 700.0, 995.0)?;
        between("tension", self.tension_n_per_m, 0.002, 0.06)?;
        let scale = self.scale_px_per_mm();
        between("px_per_mm", scale, 1.0, 60.0)?;
        let needed = self.glass_width_mm() * (1.0 + LEAST_GAP_SHARE) * self.feeds as f64 * scale;
        if needed > f64::from(self.width_px) {
            return Err(refuse(format!(
                "demo: {} glasses at {scale} px/mm need {needed:.0} pixels side by side, the \
                 picture has {}; ask for fewer feeds, a wider picture or a smaller px_per_mm",
                self.feeds, self.width_px
            )));
        }
        Ok(())
    }

    /// Width of one glass as seen, mm.
    #[must_use]
    pub fn glass_width_mm(&self) -> f64 {
        match self.kind {
            GlassKind::Tube => self.outside_mm,
            GlassKind::Port => self.port_mm,
        }
    }

    /// Height of one glass as seen, mm.
    #[must_use]
    pub fn glass_height_mm(&self) -> f64 {
        match self.kind {
            GlassKind::Tube => self.glass_mm,
            GlassKind::Port => self.port_mm,
        }
    }

    /// The scale asked for, or one at which the glasses fill the picture well; px/mm to a
    /// twentieth.
    #[must_use]
    pub fn scale_px_per_mm(&self) -> f64 {
        // Shares of the picture that the glasses take when nothing is said: room for fittings.
        const HEIGHT_SHARE: f64 = 0.52;
        const PORT_HEIGHT_SHARE: f64 = 0.30;
        const PITCH_BY_WIDTH: f64 = 1.7;
        self.px_per_mm.unwrap_or_else(|| {
            let share = match self.kind {
                GlassKind::Tube => HEIGHT_SHARE,
                GlassKind::Port => PORT_HEIGHT_SHARE,
            };
            let by_height = share * f64::from(self.height_px) / self.glass_height_mm();
            let by_width = self.room_px()
                / (PITCH_BY_WIDTH * self.glass_width_mm() * (self.feeds as f64).max(1.0));
            ((by_height.min(by_width) * 20.0).floor() / 20.0).max(1.0)
        })
    }

    /// Width of the picture that the row of glasses may take, pixels: a turned camera brings one
    /// end nearer, a rolled one sets the row aslant.
    fn room_px(&self) -> f64 {
        // Shares of the picture's width to keep free for a sine of 1.
        const FOR_TURN: f64 = 0.8;
        const FOR_ROLL: f64 = 0.5;
        let turn = self.turn_deg.to_radians().sin().abs();
        let roll = self.roll_deg.to_radians().sin().abs();
        f64::from(self.width_px) / (1.0 + FOR_TURN * turn + FOR_ROLL * roll)
    }

    /// Distance between neighbouring glasses, mm.
    #[must_use]
    pub fn pitch_mm(&self) -> f64 {
        // Glasses stand about two and a half widths apart where there is room.
        const WANTED_BY_WIDTH: f64 = 2.4;
        let room = self.room_px() / self.scale_px_per_mm() / self.feeds as f64;
        (WANTED_BY_WIDTH * self.glass_width_mm()).min(room)
    }
}
