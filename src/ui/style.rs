//! Letters, spacing and edges of the window, the looks a person may choose, and how far two colours
//! stand apart. The colours themselves stand in `theme`.

use eframe::egui::style::{Selection, WidgetVisuals, Widgets};
use eframe::egui::{
    self, Color32, CornerRadius, FontFamily, FontId, Id, Margin, Shadow, Stroke, TextStyle, Theme,
    Visuals,
};
use serde::{Deserialize, Serialize};

use crate::ui::theme::{DARK, HIGH_CONTRAST, LIGHT, Palette};

/// A look of the whole window.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Look {
    /// The engine room at night.
    Dark,
    /// Daylight.
    Light,
    /// Black, white and yellow.
    HighContrast,
}

impl Look {
    /// All looks, in the order in which a key goes through them.
    pub const ALL: [Self; 3] = [Self::Dark, Self::Light, Self::HighContrast];

    /// The look in force: the chosen one, or that of the system.
    #[must_use]
    pub fn of(ctx: &egui::Context) -> Self {
        let chosen = ctx.data(|data| data.get_temp::<Self>(Id::NULL));
        match (chosen, ctx.theme()) {
            (Some(Self::HighContrast), _) => Self::HighContrast,
            (_, Theme::Dark) => Self::Dark,
            (_, Theme::Light) => Self::Light,
        }
    }

    /// The colours.
    #[must_use]
    pub fn palette(self) -> &'static Palette {
        match self {
            Self::Dark => &DARK,
            Self::Light => &LIGHT,
            Self::HighContrast => &HIGH_CONTRAST,
        }
    }

    /// The next one.
    #[must_use]
    pub fn next(self) -> Self {
        match self {
            Self::Dark => Self::Light,
            Self::Light => Self::HighContrast,
            Self::HighContrast => Self::Dark,
        }
    }

    /// Puts it in force.
    pub fn choose(self, ctx: &egui::Context) {
        ctx.data_mut(|data| data.insert_temp(Id::NULL, self));
        let theme = match self {
            Self::Light => Theme::Light,
            Self::Dark | Self::HighContrast => Theme::Dark,
        };
        ctx.set_theme(theme);
        put_in_force(ctx);
    }
}

/// Contrast of two colours by WCAG 2.2 (relative luminance, sRGB), 1 to 21.
///
/// ```
/// use beadtally::ui::style::contrast;
/// use eframe::egui::Color32;
/// assert!((contrast(Color32::BLACK, Color32::WHITE) - 21.0).abs() < 1e-9);
/// ```
#[must_use]
pub fn contrast(one: Color32, other: Color32) -> f64 {
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// Relative luminance by WCAG 2.2, 0 to 1.
fn luminance(colour: Color32) -> f64 {
    0.2126 * linear(colour.r()) + 0.7152 * linear(colour.g()) + 0.0722 * linear(colour.b())
}

/// Linear light of a channel of sRGB, 0 to 1.
fn linear(channel: u8) -> f64 {
    let c = f64::from(channel) / 255.0;
    if c <= 0.04045 {
        c / 12.92
    } else {
        ((c + 0.055) / 1.055).powf(2.4)
    }
}

/// Letters of the given height in points.
#[must_use]
pub fn letters(size: f32) -> FontId {
    FontId::new(size, FontFamily::Proportional)
}

/// Letters of equal width, for what must not jump.
#[must_use]
pub fn even_letters(size: f32) -> FontId {
    FontId::new(size, FontFamily::Monospace)
}

/// The least letters that may be drawn, points.
pub const LEAST_LETTERS: f32 = 12.0;
/// Letters of running text, points.
pub const BODY: f32 = 16.0;
/// Letters of a heading, points.
pub const HEADING: f32 = 21.0;

/// Puts the looks in force, one for each theme of the system.
pub fn put_in_force(ctx: &egui::Context) {
    let dark = match Look::of(ctx) {
        Look::HighContrast => &HIGH_CONTRAST,
        Look::Dark | Look::Light => &DARK,
    };
    for (theme, palette) in [(Theme::Dark, dark), (Theme::Light, &LIGHT)] {
        ctx.style_mut_of(theme, |style| {
            style.visuals = visuals(theme, palette);
            style.text_styles = [
                (TextStyle::Heading, letters(HEADING)),
                (TextStyle::Body, letters(BODY)),
                (TextStyle::Button, letters(BODY)),
                (TextStyle::Monospace, even_letters(BODY - 1.0)),
                (TextStyle::Small, letters(LEAST_LETTERS + 1.0)),
            ]
            .into();
            style.spacing.item_spacing = egui::vec2(8.0, 8.0);
            style.spacing.button_padding = egui::vec2(12.0, 6.0);
            // WCAG 2.2, 2.5.8: nothing to press is smaller than 24 points; gloves want more.
            style.spacing.interact_size = egui::vec2(48.0, 32.0);
            style.spacing.icon_width = 22.0;
            style.spacing.icon_width_inner = 13.0;
            style.spacing.text_edit_width = 360.0;
            // Nothing here moves by itself.
            style.animation_time = 0.0;
            style.scroll_animation = egui::style::ScrollAnimation::none();
            style.visuals.text_cursor.blink = false;
            style.interaction.selectable_labels = false;
            style.interaction.show_tooltips_only_when_still = true;
        });
    }
}

fn visuals(theme: Theme, palette: &Palette) -> Visuals {
    let mut visuals = theme.default_visuals();
    let key = |fill: Color32, edge: Stroke| WidgetVisuals {
        bg_fill: fill,
        weak_bg_fill: fill,
        bg_stroke: edge,
        corner_radius: CornerRadius::same(4),
        fg_stroke: Stroke::new(1.5, palette.ink),
        expansion: 0.0,
    };
    visuals.widgets = Widgets {
        noninteractive: WidgetVisuals {
            bg_fill: palette.plate,
            weak_bg_fill: palette.plate,
            bg_stroke: Stroke::new(1.0, palette.rule),
            corner_radius: CornerRadius::same(4),
            fg_stroke: Stroke::new(1.0, palette.ink),
            expansion: 0.0,
        },
        inactive: key(palette.key, Stroke::new(1.0, palette.key_edge)),
        hovered: key(palette.key_hover, Stroke::new(1.0, palette.key_edge)),
        active: key(palette.key_down, Stroke::new(2.0, palette.focus)),
        open: key(palette.key_down, Stroke::new(1.0, palette.key_edge)),
    };
    visuals.selection = Selection {
        bg_fill: palette.key_down,
        stroke: Stroke::new(2.0, palette.ink),
    };
    visuals.override_text_color = None;
    visuals.weak_text_color = Some(palette.ink_soft);
    visuals.hyperlink_color = palette.ink;
    visuals.faint_bg_color = palette.plate_chosen;
    visuals.extreme_bg_color = palette.room;
    visuals.text_edit_bg_color = Some(palette.room);
    visuals.code_bg_color = palette.plate_chosen;
    visuals.warn_fg_color = palette.ink_danger;
    visuals.error_fg_color = palette.ink_danger;
    visuals.window_fill = palette.plate;
    visuals.window_stroke = Stroke::new(1.5, palette.brass);
    visuals.window_corner_radius = CornerRadius::same(6);
    visuals.menu_corner_radius = CornerRadius::same(4);
    visuals.window_shadow = Shadow::NONE;
    visuals.popup_shadow = Shadow::NONE;
    visuals.panel_fill = palette.room;
    visuals.text_cursor.stroke = Stroke::new(2.0, palette.ink);
    visuals
}

/// The frame of a dialog.
pub fn dialog_frame(palette: &Palette) -> egui::Frame {
    egui::Frame::new()
        .fill(palette.plate)
        .stroke(Stroke::new(1.5, palette.brass))
        .corner_radius(CornerRadius::same(6))
        .inner_margin(Margin::same(18))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::FeedState;

    const LOOKS: [(&str, &Palette); 3] = [
        ("dark", &DARK),
        ("light", &LIGHT),
        ("high contrast", &HIGH_CONTRAST),
    ];

    // WCAG 2.2, 1.4.3 and 1.4.11, over every pair.
    #[test]
    fn every_pair_of_every_look_has_the_contrast_it_needs() {
        for (look, palette) in LOOKS {
            for pair in palette.pairs() {
                let found = contrast(pair.over, pair.under);
                assert!(
                    found >= pair.need.least(),
                    "{look}, {}: {:?} on {:?} has {found:.2}, needs {}",
                    pair.what,
                    pair.over,
                    pair.under,
                    pair.need.least()
                );
            }
        }
    }

    // From memory, as many contrast checkers print them: #777777 on white 4.48, #767676 4.54.
    #[test]
    fn contrast_agrees_with_known_pairs() {
        let white = Color32::WHITE;
        assert!((contrast(Color32::from_rgb(0x77, 0x77, 0x77), white) - 4.48).abs() < 0.005);
        assert!((contrast(Color32::from_rgb(0x76, 0x76, 0x76), white) - 4.54).abs() < 0.005);
        assert!((contrast(white, white) - 1.0).abs() < 1e-12);
    }

    // IEC 60073 by way of two published extracts: red danger, yellow caution, green normal.
    #[test]
    fn states_wear_the_colours_of_their_meaning() {
        for palette in [&DARK, &LIGHT, &HIGH_CONTRAST] {
            let red = palette.state(FeedState::Stopped).fill;
            assert!(u16::from(red.r()) * 3 > u16::from(red.g()) * 5 && red.r() > 2 * red.b());
            let yellow = palette.state(FeedState::Low).fill;
            assert!(yellow.r() > 200 && yellow.g() > 150 && yellow.b() < 80);
            let green = palette.state(FeedState::InBand).fill;
            assert!(green.g() > green.r() && green.g() > green.b());
            let grey = palette.state(FeedState::CannotSee).fill;
            assert!(grey.r().abs_diff(grey.g()) < 16 && grey.g().abs_diff(grey.b()) < 16);
        }
    }

    /// What a person without one kind of cone sees: matrices on linear light, red, green and blue,
    /// for severity 1.0. Source: Machado, Oliveira and Fernandes, 'A physiologically-based model
    /// for simulation of color vision deficiency', IEEE TVCG 15 (2009), table of severities.
    const EYES: [(&str, [[f64; 3]; 3]); 4] = [
        (
            "all cones",
            [[1.0, 0.0, 0.0], [0.0, 1.0, 0.0], [0.0, 0.0, 1.0]],
        ),
        (
            "no long cones",
            [
                [0.152_286, 1.052_583, -0.204_868],
                [0.114_503, 0.786_281, 0.099_216],
                [-0.003_882, -0.048_116, 1.051_998],
            ],
        ),
        (
            "no middle cones",
            [
                [0.367_322, 0.860_646, -0.227_968],
                [0.280_085, 0.672_501, 0.047_413],
                [-0.011_820, 0.042_940, 0.968_881],
            ],
        ),
        (
            "no short cones",
            [
                [1.255_528, -0.076_749, -0.178_779],
                [-0.078_411, 0.930_809, 0.147_602],
                [0.004_733, 0.691_367, 0.303_900],
            ],
        ),
    ];

    /// Distance of two colours in CIELAB (1976, D65) that nobody overlooks side by side: 2.3 is
    /// just noticeable (Mahy, Van Eycken and Oosterlinck, 1994); this is eight times that.
    const LEAST_DISTANCE: f64 = 18.0;

    fn lab(colour: Color32, eye: &[[f64; 3]; 3]) -> [f64; 3] {
        let rgb = [colour.r(), colour.g(), colour.b()].map(linear);
        let seen =
            eye.map(|row| (row[0] * rgb[0] + row[1] * rgb[1] + row[2] * rgb[2]).clamp(0.0, 1.0));
        // sRGB to XYZ, IEC 61966-2-1; white point D65.
        let xyz = [
            (0.412_456_4 * seen[0] + 0.357_576_1 * seen[1] + 0.180_437_5 * seen[2]) / 0.950_47,
            0.212_672_9 * seen[0] + 0.715_152_2 * seen[1] + 0.072_175 * seen[2],
            (0.019_333_9 * seen[0] + 0.119_192 * seen[1] + 0.950_304_1 * seen[2]) / 1.088_83,
        ];
        let f = xyz.map(|t: f64| {
            if t > 216.0 / 24389.0 {
                t.cbrt()
            } else {
                (24389.0 / 27.0 * t + 16.0) / 116.0
            }
        });
        [
            116.0 * f[1] - 16.0,
            500.0 * (f[0] - f[1]),
            200.0 * (f[1] - f[2]),
        ]
    }

    fn distance(a: Color32, b: Color32, eye: &[[f64; 3]; 3]) -> f64 {
        let (a, b) = (lab(a, eye), lab(b, eye));
        ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2) + (a[2] - b[2]).powi(2)).sqrt()
    }

    #[test]
    fn no_eye_takes_one_state_s_colour_for_another() {
        for (look, palette) in LOOKS {
            let badges = [
                ("normal", palette.normal),
                ("caution", palette.caution),
                ("danger", palette.danger),
                ("neutral", palette.neutral),
            ];
            for (eye, matrix) in &EYES {
                for (i, (one, a)) in badges.iter().enumerate() {
                    for (other, b) in &badges[i + 1..] {
                        let found = distance(*a, *b, matrix);
                        assert!(
                            found >= LEAST_DISTANCE,
                            "{look}, {eye}: {one} and {other} are {found:.1} apart"
                        );
                    }
                }
                let rings = distance(
                    crate::ui::theme::RING_OIL,
                    crate::ui::theme::OUTLINE,
                    matrix,
                );
                assert!(rings > 4.0, "{eye}: ring and outline are {rings:.1} apart");
            }
        }
    }

    #[test]
    fn the_simulation_can_fail_and_leaves_grey_alone() {
        // Red and green of one lightness: far apart for most, near for an eye without long cones.
        let (red, green) = (
            Color32::from_rgb(0xc0, 0x20, 0x20),
            Color32::from_rgb(0x3a, 0x62, 0x20),
        );
        assert!(distance(red, green, &EYES[0].1) > 60.0);
        assert!(distance(red, green, &EYES[1].1) < LEAST_DISTANCE);
        let grey = Color32::from_gray(0x80);
        for (_, eye) in &EYES {
            let seen = lab(grey, eye);
            assert!(seen[1].abs() < 0.5 && seen[2].abs() < 0.5, "{seen:?}");
        }
    }
}
