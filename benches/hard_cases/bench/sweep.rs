//! The cases of the first way: scenes, disturbances and levels, as words for the demo. Level 1 is the range that
//! must hold, 2 is twice that. It draws and counts nothing.

use std::fmt::Write as _;

use super::h264::Coding;

/// Frames a second where nothing else is said.
const FPS: f64 = 30.0;

/// There is a stall for so many seconds of a case.
const STALL_EVERY_SECS: f64 = 20.0;

/// A kind of glass and light, in the demo's words.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Scene {
    /// Its name in the table.
    pub name: &'static str,
    /// The demo's words for it.
    pub words: &'static str,
}

/// Tubes lit from behind, before a card, from the front with a dark background; and ports.
pub const SCENES: [Scene; 4] = [
    Scene {
        name: "backlit",
        words: "light=backlit",
    },
    Scene {
        name: "card",
        words: "light=card",
    },
    Scene {
        name: "front",
        words: "light=front",
    },
    Scene {
        name: "port",
        words: "kind=port",
    },
];

/// One thing that can be wrong.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Disturbance {
    /// Its name in the table and for `--only`.
    pub name: &'static str,
    /// What level 1 is.
    pub at_one: &'static str,
}

const fn disturbance(name: &'static str, at_one: &'static str) -> Disturbance {
    Disturbance { name, at_one }
}

/// Everything that is swept, in the order of the table.
pub const DISTURBANCES: [Disturbance; 42] = [
    disturbance("plain", "nothing is wrong"),
    disturbance("shake", "3 px either way at 6 to 14 Hz"),
    disturbance("flicker", "8 % of the light, in rolling bands"),
    disturbance("exposure", "steps of 30 % up and down"),
    disturbance("contrast", "a fifth of the contrast is left"),
    disturbance("noise", "a spread of 4 luma steps"),
    disturbance("steam", "half the light is taken by drifting steam"),
    disturbance("passer", "somebody walks past before, every 12 s"),
    disturbance("passer-behind", "somebody walks past behind, every 12 s"),
    disturbance("gas", "as many bubbles of gas as drops"),
    disturbance("pairs", "half the drops in pairs, a bead's width apart"),
    disturbance("triplets", "half the drops in threes, a bead's width apart"),
    disturbance(
        "followed",
        "half the drops bring one half as large, a width behind",
    ),
    disturbance("overtaking", "half the drops overtake one half as large"),
    disturbance("lost", "10 % of the frames are lost"),
    disturbance("doubled", "10 % of the frames come twice"),
    disturbance("late", "stamps up to 25 ms late"),
    disturbance("stall", "no frames for 2 s, every 20 s"),
    disturbance("film", "half the contrast is lost to a film each minute"),
    disturbance("reflection", "mirrored door and lamp of 40 luma steps"),
    disturbance("zoom", "3 % a minute"),
    disturbance("knock", "the camera moves by 12 px and 0.7° for good"),
    disturbance("h264", "H.264 as a phone codes it, 0.145 bits a pixel"),
    disturbance("h264-sparing", "H.264, constant rate factor 28"),
    disturbance(
        "shake-rolling",
        "as shake, by a rolling shutter, with its blur",
    ),
    disturbance("roll", "the camera is rolled by 15°"),
    disturbance("turn", "the camera is turned by 20°"),
    disturbance("small-beads", "beads of 8 px"),
    disturbance("large-beads", "beads of 40 px, 1280 × 720"),
    disturbance("slow-camera", "15 frames a second"),
    disturbance("slow-large", "15 frames a second, beads of 6 mm"),
    disturbance("fast-camera", "60 frames a second"),
    disturbance("full-hd", "1920 × 1080"),
    disturbance("all", "all of the list together"),
    disturbance("all-unmoved", "the same, but for the knock"),
    disturbance("all-sparing", "as that, with H.264 at rate factor 28"),
    disturbance("idle-plain", "no bead and nothing wrong"),
    disturbance("idle", "no bead, and all of the list but the knock"),
    disturbance("idle-gas", "as idle, with bubbles of gas"),
    disturbance("idle-knock", "as idle-gas, with a knock"),
    disturbance("idle-reflection", "no bead, and mirrored door and lamp"),
    disturbance("idle-faded", "as that, with a fifth of the contrast"),
];

/// One clip to be drawn and counted.
#[derive(Clone, Debug, PartialEq)]
pub struct Case {
    /// Scene.
    pub scene: Scene,
    /// What is wrong.
    pub disturbance: Disturbance,
    /// How much: 1 is the range that must hold.
    pub level: f64,
    /// The demo's words, seed and all.
    pub words: String,
    /// Time that is scored, seconds.
    pub secs: f64,
    /// The H.264 that the frames are put through.
    pub coding: Option<Coding>,
}

/// A number for a name, the same everywhere (FNV-1a, 32 bits), small enough to be typed.
#[must_use]
pub fn seed_of(name: &str) -> u32 {
    let hash = name.bytes().fold(0x811C_9DC5_u32, |hash, byte| {
        (hash ^ u32::from(byte)).wrapping_mul(0x0100_0193)
    });
    hash % 100_000
}

/// A number as words: no more digits than needed.
fn n(value: f64) -> String {
    format!("{}", (value * 1000.0).round() / 1000.0)
}

impl Case {
    /// The case, or none where that scene, disturbance and level make no sense. Each `drawing` has
    /// other beads and other noise.
    #[must_use]
    pub fn new(
        scene: Scene,
        disturbance: Disturbance,
        level: f64,
        secs: f64,
        drawing: u32,
    ) -> Option<Self> {
        if level == 0.0 && !matches!(disturbance.name, "plain" | "idle-plain") {
            return None;
        }
        if level != 0.0 && matches!(disturbance.name, "plain" | "idle-plain") {
            return None;
        }
        if level != 1.0 && disturbance.name == "full-hd" {
            return None;
        }
        let mut case = Self {
            scene,
            disturbance,
            level,
            words: String::new(),
            secs,
            coding: None,
        };
        let mut words: Vec<(&str, String)> = vec![
            ("fps", n(FPS)),
            ("rates", "16;12;20".to_owned()),
            ("scatter", "0.3".to_owned()),
            ("bead_mm", "4.2;3;5.4".to_owned()),
        ];
        let mut faults: Vec<String> = Vec::new();
        let mut set = |key: &'static str, value: String| {
            words.retain(|(known, _)| *known != key);
            words.push((key, value));
        };
        let any_of = |names: &[&str]| names.contains(&disturbance.name);
        let all_and_beads = any_of(&["all", "all-unmoved", "all-sparing"]);
        let all = all_and_beads || any_of(&["idle", "idle-gas", "idle-knock"]);
        let is = |name: &str| disturbance.name == name || all;
        let only = |name: &str| disturbance.name == name;
        if is("shake") {
            faults.push(format!("shake {}", n(3.0 * level)));
        }
        if is("flicker") {
            faults.push(format!("flicker {}", n(8.0 * level)));
        }
        if is("exposure") {
            faults.push(format!("exposure {}", n(30.0 * level)));
        }
        if is("contrast") || only("idle-faded") {
            // Left: 1 ÷ (1 + 4 × level), a fifth at 1.
            faults.push(format!(
                "contrast {}",
                n(100.0 - 100.0 / (1.0 + 4.0 * level))
            ));
        }
        if is("noise") {
            set("noise", n((4.0 * level).max(1.5)));
        }
        if is("steam") {
            faults.push(format!("steam {}", n(0.5 * level)));
        }
        if is("passer") {
            faults.push(format!("passer {}", n(12.0 / level)));
        }
        if is("passer-behind") {
            faults.push(format!("passer-behind {}", n(12.0 / level)));
        }
        if all_and_beads || any_of(&["gas", "idle-gas", "idle-knock"]) {
            let gas = [16.0, 12.0, 20.0].map(|rate| n(rate * level));
            set("gas", gas.join(";"));
        }
        if only("pairs") {
            set("pairs", "0.5".to_owned());
        }
        if only("triplets") {
            set("triplets", "0.5".to_owned());
        }
        if all_and_beads {
            set("pairs", "0.2".to_owned());
            set("triplets", "0.2".to_owned());
            set("followed", "0.2".to_owned());
            // As below: the small ones that follow are to have some 8 px, too.
            set("bead_mm", "5;5.6;4.6".to_owned());
        }
        if all_and_beads || any_of(&["pairs", "triplets", "followed"]) {
            set("pair_gap", n(1.0 / level));
        }
        if only("followed") || only("overtaking") {
            set(disturbance.name, "0.5".to_owned());
            // Large ones, so that half as large still has the 8 px that are asked for.
            set("bead_mm", "5;5.6;4.6".to_owned());
            set("small_size", n((0.75 - 0.25 * level).max(0.25)));
        }
        if is("lost") {
            faults.push(format!("lost {}", n(10.0 * level)));
        }
        if is("doubled") {
            faults.push(format!("doubled {}", n(10.0 * level)));
        }
        if is("late") {
            faults.push(format!("late {}", n(25.0 * level)));
        }
        if is("stall") {
            let stalls = if all {
                1
            } else {
                (secs / STALL_EVERY_SECS).max(1.0) as u32
            };
            for number in 1..=stalls {
                let from = secs * f64::from(number) / f64::from(stalls + 1);
                let to = from + 2.0 * level;
                faults.push(format!("stall {} @{}-{}", n(2.0 * level), n(from), n(to)));
            }
        }
        if is("film") {
            // A film is asked for glass by glass.
            faults.extend((1..=3).map(|feed| format!("film {feed} {}", n(0.5 * level))));
        }
        if any_of(&["knock", "all", "idle-knock"]) {
            faults.push(format!("knock {} @{}", n(12.0 * level), n(0.4 * secs)));
        }
        if is("reflection") || any_of(&["idle-reflection", "idle-faded"]) {
            faults.push(format!("reflection {}", n(40.0 * level)));
        }
        if is("zoom") {
            faults.push(format!("zoom {}", n(3.0 * level)));
        }
        if any_of(&["h264-sparing", "all-sparing"]) {
            case.coding = Some(Coding::sparing(level));
        } else if is("h264") {
            case.coding = Some(Coding::phone(level));
        }
        if only("shake-rolling") {
            faults.push(format!("shake-rolling {}", n(3.0 * level)));
        }
        if is("roll") {
            set("roll", n(15.0 * level));
        }
        if is("turn") {
            set("turn", n(20.0 * level));
        }
        if only("large-beads") {
            let scale = (8.0 * level).min(5.0 + 3.0 * level);
            set("size", "1280x720".to_owned());
            set("px_per_mm", n(scale));
            set("bead_mm", n(40.0 * level / scale));
        }
        if only("fast-camera") {
            set("fps", n(60.0 * level));
            case.secs = (secs * FPS / (60.0 * level)).max(0.45 * secs);
        }
        if only("full-hd") {
            set("size", "1920x1080".to_owned());
            case.secs = 0.4 * secs;
        }
        if only("small-beads") {
            set("bead_mm", n(8.0 / level / 4.0));
            set("px_per_mm", "4".to_owned());
        }
        if any_of(&["slow-camera", "slow-large"]) {
            set("fps", n(15.0 / level));
        }
        if only("slow-large") {
            set("bead_mm", "6;5.6;6".to_owned());
        }
        if disturbance.name.starts_with("idle") {
            set("rates", "0".to_owned());
        }
        set("seed", (seed_of(&case.name()) + drawing).to_string());
        let mut text = format!("demo:feeds=3,{}", scene.words);
        for (key, value) in words {
            let _ = write!(text, ",{key}={value}");
        }
        if !faults.is_empty() {
            let _ = write!(text, ",fault={}", faults.join(";"));
        }
        case.words = text;
        Some(case)
    }

    /// `scene/disturbance/level`.
    #[must_use]
    pub fn name(&self) -> String {
        format!(
            "{}/{}/{}",
            self.scene.name, self.disturbance.name, self.level
        )
    }
}
