//! Every colour of the window, in one place: a dark look for the engine room at night, a light one
//! like an enamelled dial, and one of high contrast. Colours carry the meanings of IEC 60073 (red: danger,
//! yellow: caution, green: normal, grey: no meaning) and never stand without a word and a shape.
//! It leaves letters, spacing and the choice
//! of a look to `style`.

use eframe::egui::{self, Color32};

use crate::judge::{AlarmState, Cause, FeedState};
use crate::ui::style::Look;

/// The colours of one look.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Palette {
    /// Behind everything.
    pub room: Color32,
    /// The plates on which feeds, alarms and set-up stand.
    pub plate: Color32,
    /// The plate of the chosen feed.
    pub plate_chosen: Color32,
    /// Behind pictures, strips and plots; also the inside of entry fields.
    pub well: Color32,
    /// A key at rest.
    pub key: Color32,
    /// A key under the pointer.
    pub key_hover: Color32,
    /// A key held down, or switched on.
    pub key_down: Color32,
    /// The edge of a key.
    pub key_edge: Color32,
    /// Brass: rules, edges of plates, screw heads. Decoration only.
    pub brass: Color32,
    /// A fainter rule inside a plate or a plot.
    pub rule: Color32,
    /// Words.
    pub ink: Color32,
    /// Less important words.
    pub ink_soft: Color32,
    /// The large figures.
    pub figure: Color32,
    /// Words on the well.
    pub ink_well: Color32,
    /// The ring round what has the keyboard.
    pub focus: Color32,
    /// Normal: the fill of a state's badge.
    pub normal: Color32,
    /// Words and shapes on `normal`.
    pub on_normal: Color32,
    /// Caution: the fill.
    pub caution: Color32,
    /// Words and shapes on `caution`.
    pub on_caution: Color32,
    /// Danger: the fill.
    pub danger: Color32,
    /// Words and shapes on `danger`.
    pub on_danger: Color32,
    /// No meaning (no reading yet, cannot see): the fill.
    pub neutral: Color32,
    /// Words and shapes on `neutral`.
    pub on_neutral: Color32,
    /// Words of warning straight on a plate.
    pub ink_danger: Color32,
    /// The band on a scale or in a plot.
    pub band: Color32,
    /// The band's limits.
    pub band_edge: Color32,
    /// The line of a scale.
    pub scale_line: Color32,
    /// The limits of a reading, on a scale.
    pub limits: Color32,
    /// The reading's line in a plot, on the well.
    pub trace: Color32,
    /// The ribbon between its limits, on the well.
    pub ribbon: Color32,
    /// The band in a plot, on the well.
    pub band_well: Color32,
    /// The band's limits in a plot, on the well.
    pub band_edge_well: Color32,
}

/// The engine room at night: oil-green enamel, dull brass, ivory figures.
pub const DARK: Palette = Palette {
    room: Color32::from_rgb(0x0d, 0x16, 0x13),
    plate: Color32::from_rgb(0x17, 0x27, 0x20),
    plate_chosen: Color32::from_rgb(0x1d, 0x35, 0x2b),
    well: Color32::from_rgb(0x07, 0x0d, 0x0b),
    key: Color32::from_rgb(0x24, 0x3a, 0x31),
    key_hover: Color32::from_rgb(0x2f, 0x4b, 0x3f),
    key_down: Color32::from_rgb(0x38, 0x57, 0x49),
    key_edge: Color32::from_rgb(0x84, 0x92, 0x80),
    brass: Color32::from_rgb(0xa5, 0x8a, 0x52),
    rule: Color32::from_rgb(0x3a, 0x4c, 0x43),
    ink: Color32::from_rgb(0xf2, 0xec, 0xdd),
    ink_soft: Color32::from_rgb(0xbf, 0xc9, 0xba),
    figure: Color32::from_rgb(0xff, 0xf8, 0xe6),
    ink_well: Color32::from_rgb(0xd8, 0xdc, 0xcc),
    focus: Color32::from_rgb(0xff, 0xd8, 0x6b),
    normal: Color32::from_rgb(0x11, 0x7b, 0x64),
    on_normal: Color32::from_rgb(0xff, 0xff, 0xff),
    caution: Color32::from_rgb(0xf5, 0xbd, 0x2e),
    on_caution: Color32::from_rgb(0x1d, 0x16, 0x02),
    danger: Color32::from_rgb(0xb9, 0x2a, 0x14),
    on_danger: Color32::from_rgb(0xff, 0xff, 0xff),
    neutral: Color32::from_rgb(0x34, 0x39, 0x38),
    on_neutral: Color32::from_rgb(0xff, 0xff, 0xff),
    ink_danger: Color32::from_rgb(0xff, 0x8f, 0x80),
    band: Color32::from_rgb(0x2b, 0x84, 0x58),
    band_edge: Color32::from_rgb(0x8d, 0xe0, 0xb2),
    scale_line: Color32::from_rgb(0x8f, 0x9c, 0x8e),
    limits: Color32::from_rgb(0xff, 0xf8, 0xe6),
    trace: Color32::from_rgb(0xff, 0xe9, 0xae),
    ribbon: Color32::from_rgb(0x57, 0x50, 0x38),
    band_well: Color32::from_rgb(0x12, 0x38, 0x27),
    band_edge_well: Color32::from_rgb(0x4d, 0xa8, 0x78),
};

/// Daylight: an ivory dial, black figures, brass rules. Pictures keep their dark well.
pub const LIGHT: Palette = Palette {
    room: Color32::from_rgb(0xdd, 0xd8, 0xc8),
    plate: Color32::from_rgb(0xfb, 0xf8, 0xef),
    plate_chosen: Color32::from_rgb(0xf3, 0xe8, 0xc9),
    well: Color32::from_rgb(0x12, 0x1a, 0x17),
    key: Color32::from_rgb(0xee, 0xe8, 0xd7),
    key_hover: Color32::from_rgb(0xe2, 0xd9, 0xbf),
    key_down: Color32::from_rgb(0xd3, 0xc6, 0xa2),
    key_edge: Color32::from_rgb(0x7a, 0x70, 0x57),
    brass: Color32::from_rgb(0x8f, 0x71, 0x33),
    rule: Color32::from_rgb(0xc9, 0xc1, 0xa9),
    ink: Color32::from_rgb(0x17, 0x1c, 0x19),
    ink_soft: Color32::from_rgb(0x48, 0x50, 0x49),
    figure: Color32::from_rgb(0x0c, 0x10, 0x0e),
    ink_well: Color32::from_rgb(0xe4, 0xe6, 0xd8),
    focus: Color32::from_rgb(0x1b, 0x4f, 0x9c),
    normal: Color32::from_rgb(0x0f, 0x75, 0x60),
    on_normal: Color32::from_rgb(0xff, 0xff, 0xff),
    caution: Color32::from_rgb(0xf5, 0xb8, 0x1f),
    on_caution: Color32::from_rgb(0x1d, 0x16, 0x02),
    danger: Color32::from_rgb(0xb0, 0x26, 0x13),
    on_danger: Color32::from_rgb(0xff, 0xff, 0xff),
    neutral: Color32::from_rgb(0x36, 0x3b, 0x39),
    on_neutral: Color32::from_rgb(0xff, 0xff, 0xff),
    ink_danger: Color32::from_rgb(0xa3, 0x18, 0x12),
    band: Color32::from_rgb(0x4f, 0x9d, 0x72),
    band_edge: Color32::from_rgb(0x14, 0x5c, 0x38),
    scale_line: Color32::from_rgb(0x5f, 0x66, 0x5b),
    limits: Color32::from_rgb(0x0c, 0x10, 0x0e),
    trace: Color32::from_rgb(0xff, 0xe9, 0xae),
    ribbon: Color32::from_rgb(0x5c, 0x55, 0x3d),
    band_well: Color32::from_rgb(0x19, 0x3f, 0x2e),
    band_edge_well: Color32::from_rgb(0x58, 0xb0, 0x82),
};

/// For eyes that need it: black and white, yellow where the keyboard is, every edge drawn.
pub const HIGH_CONTRAST: Palette = Palette {
    room: Color32::from_rgb(0x00, 0x00, 0x00),
    plate: Color32::from_rgb(0x00, 0x00, 0x00),
    plate_chosen: Color32::from_rgb(0x1c, 0x1c, 0x38),
    well: Color32::from_rgb(0x00, 0x00, 0x00),
    key: Color32::from_rgb(0x00, 0x00, 0x00),
    key_hover: Color32::from_rgb(0x26, 0x26, 0x4a),
    key_down: Color32::from_rgb(0x34, 0x34, 0x6a),
    key_edge: Color32::from_rgb(0xff, 0xff, 0xff),
    brass: Color32::from_rgb(0xff, 0xff, 0xff),
    rule: Color32::from_rgb(0x9a, 0x9a, 0x9a),
    ink: Color32::from_rgb(0xff, 0xff, 0xff),
    ink_soft: Color32::from_rgb(0xff, 0xff, 0xff),
    figure: Color32::from_rgb(0xff, 0xff, 0xff),
    ink_well: Color32::from_rgb(0xff, 0xff, 0xff),
    focus: Color32::from_rgb(0xff, 0xe6, 0x00),
    normal: Color32::from_rgb(0x14, 0x65, 0x3c),
    on_normal: Color32::from_rgb(0xff, 0xff, 0xff),
    caution: Color32::from_rgb(0xff, 0xd4, 0x00),
    on_caution: Color32::from_rgb(0x00, 0x00, 0x00),
    danger: Color32::from_rgb(0xff, 0x7e, 0x60),
    on_danger: Color32::from_rgb(0x00, 0x00, 0x00),
    neutral: Color32::from_rgb(0x2a, 0x2a, 0x2a),
    on_neutral: Color32::from_rgb(0xff, 0xff, 0xff),
    ink_danger: Color32::from_rgb(0xff, 0xb3, 0xa6),
    band: Color32::from_rgb(0x1f, 0x6f, 0x47),
    band_edge: Color32::from_rgb(0x7d, 0xff, 0xb9),
    scale_line: Color32::from_rgb(0xff, 0xff, 0xff),
    limits: Color32::from_rgb(0xff, 0xff, 0xff),
    trace: Color32::from_rgb(0xff, 0xe6, 0x00),
    ribbon: Color32::from_rgb(0x4a, 0x47, 0x30),
    band_well: Color32::from_rgb(0x0c, 0x3d, 0x26),
    band_edge_well: Color32::from_rgb(0x7d, 0xff, 0xb9),
};

/// The halo under everything that is drawn over a picture, so that it shows on any grey.
pub const HALO: Color32 = Color32::from_rgb(0x06, 0x0b, 0x09);
/// An outline over a picture.
pub const OUTLINE: Color32 = Color32::from_rgb(0xe9, 0xc8, 0x7c);
/// The chosen outline over a picture.
pub const OUTLINE_CHOSEN: Color32 = Color32::from_rgb(0xff, 0xf3, 0xcf);
/// The ring round a bead of oil.
pub const RING_OIL: Color32 = Color32::from_rgb(0x8c, 0xf0, 0xb8);
/// The lozenge round a bubble of gas.
pub const RING_GAS: Color32 = Color32::from_rgb(0xa8, 0xd8, 0xff);
/// The grey of a picture as it is.
pub const PICTURE: Color32 = Color32::WHITE;
/// The curtain behind a dialog.
pub const CURTAIN: Color32 = Color32::from_black_alpha(0x96);
/// Nothing.
pub const NONE: Color32 = Color32::TRANSPARENT;

/// Fill and ink of a badge.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Badge {
    /// The fill.
    pub fill: Color32,
    /// Words and shapes on it.
    pub ink: Color32,
}

impl Palette {
    /// The look in force.
    #[must_use]
    pub fn of(ctx: &egui::Context) -> &'static Self {
        Look::of(ctx).palette()
    }

    /// The badge of a verdict.
    #[must_use]
    pub fn state(&self, state: FeedState) -> Badge {
        match state {
            FeedState::InBand => self.badge_normal(),
            FeedState::Low | FeedState::High => self.badge_caution(),
            FeedState::FarHigh | FeedState::Stopped => self.badge_danger(),
            FeedState::NoReadingYet | FeedState::CannotSee => self.badge_neutral(),
        }
    }

    /// The badge of an alarm: by its cause while it is active, grey once it is over.
    #[must_use]
    pub fn alarm(&self, cause: Cause, state: AlarmState) -> Badge {
        if matches!(
            state,
            AlarmState::ReturnedUnacknowledged | AlarmState::Normal
        ) {
            return self.badge_neutral();
        }
        match cause {
            Cause::Stopped | Cause::FarHigh | Cause::CameraLost | Cause::LogbookNotWritten => {
                self.badge_danger()
            }
            Cause::Low | Cause::High | Cause::CannotSee => self.badge_caution(),
        }
    }

    /// Green.
    #[must_use]
    pub fn badge_normal(&self) -> Badge {
        Badge {
            fill: self.normal,
            ink: self.on_normal,
        }
    }

    /// Yellow.
    #[must_use]
    pub fn badge_caution(&self) -> Badge {
        Badge {
            fill: self.caution,
            ink: self.on_caution,
        }
    }

    /// Red.
    #[must_use]
    pub fn badge_danger(&self) -> Badge {
        Badge {
            fill: self.danger,
            ink: self.on_danger,
        }
    }

    /// Grey.
    #[must_use]
    pub fn badge_neutral(&self) -> Badge {
        Badge {
            fill: self.neutral,
            ink: self.on_neutral,
        }
    }

    /// The edge of every badge, so that a dark one stands out as well.
    #[must_use]
    pub fn badge_edge(&self) -> Color32 {
        self.key_edge
    }

    /// Every pair of colours that meets in the window, with what WCAG 2.2 asks of it.
    #[must_use]
    pub fn pairs(&self) -> Vec<Pair> {
        use Need::{Graphic, Text};
        let mut pairs = Vec::new();
        let mut add = |what, over, under, need| {
            pairs.push(Pair {
                what,
                over,
                under,
                need,
            });
        };
        for (what, plate) in [
            ("plate", self.plate),
            ("chosen plate", self.plate_chosen),
            ("room", self.room),
            ("key", self.key),
            ("key under the pointer", self.key_hover),
            ("key held down", self.key_down),
        ] {
            add(what, self.ink, plate, Text);
            add(what, self.ink_soft, plate, Text);
            add(what, self.focus, plate, Graphic);
        }
        for (what, plate) in [
            ("plate", self.plate),
            ("chosen plate", self.plate_chosen),
            ("room", self.room),
        ] {
            add(what, self.figure, plate, Text);
            add(what, self.ink_danger, plate, Text);
            add(what, self.scale_line, plate, Graphic);
            add(what, self.limits, plate, Graphic);
            add(what, self.band_edge, plate, Graphic);
            add(what, self.key_edge, plate, Graphic);
        }
        add("limits over the band", self.limits, self.band, Graphic);
        add("well", self.ink_well, self.well, Text);
        add(
            "words in a plot's band",
            self.ink_well,
            self.band_well,
            Text,
        );
        add("words on a ribbon", self.ink_well, self.ribbon, Text);
        add("trace", self.trace, self.well, Graphic);
        add("trace on ribbon", self.trace, self.ribbon, Graphic);
        add("trace on band", self.trace, self.band_well, Graphic);
        add("band's edge", self.band_edge_well, self.well, Graphic);
        for badge in [
            self.badge_normal(),
            self.badge_caution(),
            self.badge_danger(),
            self.badge_neutral(),
        ] {
            add("badge", badge.ink, badge.fill, Text);
            add("badge's edge", self.badge_edge(), self.plate, Graphic);
        }
        add("edge of an entry field", self.key_edge, self.room, Graphic);
        add(
            "words on the far limits' well",
            self.ink_well,
            self.ribbon,
            Text,
        );
        for (what, ring) in [
            ("outline", OUTLINE),
            ("chosen outline", OUTLINE_CHOSEN),
            ("oil", RING_OIL),
            ("gas", RING_GAS),
        ] {
            add(what, ring, HALO, Text);
        }
        pairs
    }
}

/// What WCAG 2.2 asks of a pair of colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Need {
    /// Words: at least 4.5 (success criterion 1.4.3).
    Text,
    /// Shapes, edges and very large figures: at least 3 (success criterion 1.4.11).
    Graphic,
}

impl Need {
    /// The least contrast.
    #[must_use]
    pub fn least(self) -> f64 {
        match self {
            Self::Text => 4.5,
            Self::Graphic => 3.0,
        }
    }
}

/// Two colours that meet.
#[derive(Clone, Copy, Debug)]
pub struct Pair {
    /// Where.
    pub what: &'static str,
    /// The upper colour.
    pub over: Color32,
    /// The lower colour.
    pub under: Color32,
    /// What is asked.
    pub need: Need,
}
