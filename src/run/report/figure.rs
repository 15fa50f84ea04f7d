//! A figure with axes, written as SVG: the paper is the page's, the words are real words that a
//! person can select, search and have read out. What is drawn is for the plots.
//!
//! It is written here and not by a plotting library because a report needs what those do not give:
//! a title and a description in each figure, patterns beside colours, and the page's own letters.

use super::markup::Markup;
use super::scale::Scale;
use super::style;

/// Width of a figure over the whole page, in its own pixels; the page scales it.
pub const WIDE_PX: f64 = 900.0;
/// Width of a figure of which two stand side by side.
pub const HALF_PX: f64 = 540.0;
/// Room left of the axes for figures and the name of the axis.
const LEFT_PX: f64 = 62.0;
/// Room on the right.
const RIGHT_PX: f64 = 14.0;
/// Room below for figures and the name of the axis.
const BELOW_PX: f64 = 44.0;
/// Height of one row of the key.
const KEY_ROW_PX: f64 = 20.0;
/// Width of a letter of the key, about.
const LETTER_PX: f64 = 6.9;

/// How a line is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Dash {
    /// In one.
    Whole,
    /// In strokes.
    Strokes,
    /// In dots.
    Dots,
}

impl Dash {
    fn pattern(self) -> &'static str {
        match self {
            Self::Whole => "none",
            Self::Strokes => "6 4",
            Self::Dots => "1.5 3.5",
        }
    }
}

/// What stands in the key before its words.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Sign {
    /// A line of a colour.
    Line(&'static str, Dash),
    /// A filled box of a colour.
    Box(&'static str),
    /// A box of slanting lines: a blind spell.
    Blind,
    /// A box of crossing lines: a stop.
    Stop,
    /// A round point.
    Point(&'static str),
    /// A square point: outside its limits.
    Square(&'static str),
    /// A short upright tick: a drop.
    Tick(&'static str),
}

/// A figure being drawn. Places are pixels of the figure, x to the right, y downwards.
#[derive(Debug)]
pub struct Figure {
    markup: Markup,
    id: String,
    width_px: f64,
    height_px: f64,
}

/// Where the axes of one panel lie.
#[expect(clippy::struct_field_names, reason = "the unit stands in the names")]
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Panel {
    /// Left edge.
    pub left_px: f64,
    /// Upper edge.
    pub top_px: f64,
    /// Right edge.
    pub right_px: f64,
    /// Lower edge.
    pub foot_px: f64,
}

impl Panel {
    /// The ends of the axis to the right, as a scale wants them.
    #[must_use]
    pub fn across(&self) -> (f64, f64) {
        (self.left_px, self.right_px)
    }

    /// The ends of the axis upwards.
    #[must_use]
    pub fn upwards(&self) -> (f64, f64) {
        (self.foot_px, self.top_px)
    }

    fn width_px(&self) -> f64 {
        self.right_px - self.left_px
    }

    fn height_px(&self) -> f64 {
        self.foot_px - self.top_px
    }
}

/// How many rows a key needs in a figure of a width.
#[must_use]
pub fn key_rows(width_px: f64, key: &[(Sign, &str)]) -> usize {
    let mut rows = usize::from(!key.is_empty());
    let mut x = LEFT_PX;
    for (_, words) in key {
        let width = key_width(words);
        if x + width > width_px - RIGHT_PX && x > LEFT_PX {
            rows += 1;
            x = LEFT_PX;
        }
        x += width;
    }
    rows
}

fn key_width(words: &str) -> f64 {
    46.0 + LETTER_PX * words.chars().count() as f64
}

/// A place or a length as SVG writes it.
fn px(value: f64) -> String {
    format!("{value:.1}")
}

impl Figure {
    /// A figure with a name that no other on the page has, a title and a description for those who
    /// do not see it, and a key above the axes.
    #[must_use]
    pub fn new(
        id: &str,
        title: &str,
        description: &str,
        (width_px, height_px): (f64, f64),
        key: &[(Sign, &str)],
    ) -> Self {
        let mut markup = Markup::new();
        let (title_id, description_id) = (format!("{id}-t"), format!("{id}-d"));
        markup.open(
            "svg",
            &[
                ("xmlns", "http://www.w3.org/2000/svg"),
                (
                    "viewBox",
                    &format!("0 0 {} {}", px(width_px), px(height_px)),
                ),
                ("role", "img"),
                ("aria-labelledby", &format!("{title_id} {description_id}")),
            ],
        );
        markup.words("title", &[("id", &title_id)], title);
        markup.words("desc", &[("id", &description_id)], description);
        let mut figure = Self {
            markup,
            id: id.to_owned(),
            width_px,
            height_px,
        };
        figure.patterns();
        figure.key(key);
        figure
    }

    /// Room for one panel under a key of so many rows; `share` of the height from `from_share` on.
    #[must_use]
    pub fn panel(&self, key_rows: usize, from_share: f64, share: f64) -> Panel {
        let top = 8.0 + KEY_ROW_PX * key_rows as f64;
        let room = self.height_px - top;
        Panel {
            left_px: LEFT_PX,
            top_px: top + from_share * room,
            right_px: self.width_px - RIGHT_PX,
            foot_px: top + (from_share + share) * room - BELOW_PX,
        }
    }

    /// The finished figure.
    #[must_use]
    pub fn finish(self) -> Markup {
        let mut whole = Markup::new();
        whole.put(self.markup);
        whole
    }

    fn pattern_id(&self, name: &str) -> String {
        format!("{}-{name}", self.id)
    }

    fn patterns(&mut self) {
        self.markup.open("defs", &[]);
        for (name, paths, colour) in [
            ("blind", "M-2,2 l4,-4 M0,8 l8,-8 M6,10 l4,-4", style::BLIND),
            ("stop", "M0,0 l8,8 M0,8 l8,-8", style::ALARM),
        ] {
            let id = self.pattern_id(name);
            self.markup.open(
                "pattern",
                &[
                    ("id", &id),
                    ("width", "8"),
                    ("height", "8"),
                    ("patternUnits", "userSpaceOnUse"),
                ],
            );
            self.markup.empty(
                "rect",
                &[
                    ("width", "8"),
                    ("height", "8"),
                    ("fill", style::PAPER),
                    ("fill-opacity", "0.6"),
                ],
            );
            self.markup.empty(
                "path",
                &[
                    ("d", paths),
                    ("stroke", colour),
                    ("stroke-width", "1"),
                    ("fill", "none"),
                ],
            );
            self.markup.close();
        }
        self.markup.close();
    }

    fn key(&mut self, key: &[(Sign, &str)]) {
        let width_px = self.width_px;
        let (mut x, mut y) = (LEFT_PX, 14.0);
        for (sign, words) in key {
            let width = key_width(words);
            if x + width > width_px - RIGHT_PX && x > LEFT_PX {
                x = LEFT_PX;
                y += KEY_ROW_PX;
            }
            let mid = y - 4.0;
            match sign {
                Sign::Line(colour, dash) => {
                    self.line((x, mid), (x + 26.0, mid), colour, 2.0, *dash);
                }
                Sign::Box(colour) => self.rect((x, mid - 6.0), (26.0, 12.0), colour, 1.0),
                Sign::Blind => self.patterned((x, mid - 6.0), (26.0, 12.0), "blind"),
                Sign::Stop => self.patterned((x, mid - 6.0), (26.0, 12.0), "stop"),
                Sign::Point(colour) => self.point((x + 13.0, mid), colour),
                Sign::Square(colour) => self.square((x + 13.0, mid), colour),
                Sign::Tick(colour) => {
                    for step in [5.0, 13.0, 21.0] {
                        let from = (x + step, mid - 5.0);
                        self.line(from, (x + step, mid + 5.0), colour, 1.2, Dash::Whole);
                    }
                }
            }
            self.words((x + 32.0, y), "start", "small", words);
            x += width;
        }
    }

    /// The frame, the marks and the names of the axes of a panel.
    pub fn axes(
        &mut self,
        panel: &Panel,
        x: (&Scale, &[(f64, String)], &str),
        y: (&Scale, &[(f64, String)], &str),
    ) {
        let (x_scale, x_ticks, x_name) = x;
        let (y_scale, y_ticks, y_name) = y;
        for (value, words) in y_ticks {
            let at = y_scale.px(*value);
            self.line(
                (panel.left_px, at),
                (panel.right_px, at),
                style::RULE,
                0.6,
                Dash::Whole,
            );
            self.words((panel.left_px - 7.0, at + 4.5), "end", "small", words);
        }
        for (value, words) in x_ticks {
            let at = x_scale.px(*value);
            self.line(
                (at, panel.foot_px),
                (at, panel.foot_px + 5.0),
                style::INK,
                1.0,
                Dash::Whole,
            );
            self.words((at, panel.foot_px + 19.0), "middle", "small", words);
        }
        self.markup.empty(
            "rect",
            &[
                ("x", &px(panel.left_px)),
                ("y", &px(panel.top_px)),
                ("width", &px(panel.width_px())),
                ("height", &px(panel.height_px())),
                ("fill", "none"),
                ("stroke", style::INK),
                ("stroke-width", "1"),
            ],
        );
        let middle = f64::midpoint(panel.left_px, panel.right_px);
        self.words((middle, panel.foot_px + 38.0), "middle", "soft", x_name);
        let middle = f64::midpoint(panel.top_px, panel.foot_px);
        self.markup.words(
            "text",
            &[
                (
                    "transform",
                    &format!("translate(15 {}) rotate(-90)", px(middle)),
                ),
                ("text-anchor", "middle"),
                ("class", "soft"),
            ],
            y_name,
        );
    }

    /// Draws what follows only within a panel, until [`end_clip`](Self::end_clip).
    pub fn clip(&mut self, panel: &Panel, name: &str) {
        let id = self.pattern_id(name);
        self.markup.open("clipPath", &[("id", &id)]);
        self.markup.empty(
            "rect",
            &[
                ("x", &px(panel.left_px)),
                ("y", &px(panel.top_px)),
                ("width", &px(panel.width_px())),
                ("height", &px(panel.height_px())),
            ],
        );
        self.markup.close();
        self.markup
            .open("g", &[("clip-path", &format!("url(#{id})"))]);
    }

    /// See [`clip`](Self::clip).
    pub fn end_clip(&mut self) {
        self.markup.close();
    }

    /// A straight line.
    pub fn line(
        &mut self,
        from: (f64, f64),
        to: (f64, f64),
        colour: &str,
        width_px: f64,
        dash: Dash,
    ) {
        self.markup.empty(
            "line",
            &[
                ("x1", &px(from.0)),
                ("y1", &px(from.1)),
                ("x2", &px(to.0)),
                ("y2", &px(to.1)),
                ("stroke", colour),
                ("stroke-width", &px(width_px)),
                ("stroke-dasharray", dash.pattern()),
            ],
        );
    }

    /// A line through places.
    pub fn polyline(&mut self, places: &[(f64, f64)], colour: &str, width_px: f64) {
        if places.len() < 2 {
            // A single place would be invisible.
            if let Some(place) = places.first() {
                self.point(*place, colour);
            }
            return;
        }
        self.markup.empty(
            "polyline",
            &[
                ("points", &joined(places)),
                ("fill", "none"),
                ("stroke", colour),
                ("stroke-width", &px(width_px)),
                ("stroke-linejoin", "round"),
            ],
        );
    }

    /// A filled area round places.
    pub fn area(&mut self, places: &[(f64, f64)], colour: &str) {
        self.markup
            .empty("polygon", &[("points", &joined(places)), ("fill", colour)]);
    }

    /// A filled box.
    pub fn rect(&mut self, at: (f64, f64), size: (f64, f64), colour: &str, opacity: f64) {
        self.markup.empty(
            "rect",
            &[
                ("x", &px(at.0)),
                ("y", &px(at.1)),
                ("width", &px(size.0)),
                ("height", &px(size.1)),
                ("fill", colour),
                ("fill-opacity", &format!("{opacity:.2}")),
            ],
        );
    }

    /// A stretch of a panel that was blind, from one place to the other; at least a line.
    pub fn blind(&mut self, panel: &Panel, from_px: f64, to_px: f64) {
        self.stretch(panel, from_px, to_px, "blind");
    }

    /// A stretch of a panel in which the feed had stopped.
    pub fn stop(&mut self, panel: &Panel, from_px: f64, to_px: f64) {
        self.stretch(panel, from_px, to_px, "stop");
    }

    fn stretch(&mut self, panel: &Panel, from_px: f64, to_px: f64, pattern: &str) {
        let from = from_px.clamp(panel.left_px, panel.right_px);
        let width = (to_px.clamp(panel.left_px, panel.right_px) - from).max(1.5);
        self.patterned((from, panel.top_px), (width, panel.height_px()), pattern);
    }

    fn patterned(&mut self, at: (f64, f64), size: (f64, f64), pattern: &str) {
        let colour = if pattern == "stop" {
            style::ALARM
        } else {
            style::BLIND
        };
        let fill = format!("url(#{})", self.pattern_id(pattern));
        self.markup.empty(
            "rect",
            &[
                ("x", &px(at.0)),
                ("y", &px(at.1)),
                ("width", &px(size.0)),
                ("height", &px(size.1)),
                ("fill", &fill),
                ("stroke", colour),
                ("stroke-width", "0.8"),
            ],
        );
    }

    /// Many round points as one element: a run of a day has tens of thousands.
    pub fn points(&mut self, places: &[(f64, f64)], colour: &str) {
        let dots: Vec<String> = places
            .iter()
            .map(|(x, y)| format!("M{},{}h0", px(*x), px(*y)))
            .collect();
        self.strokes(&dots.concat(), colour, "5.2", "round");
    }

    /// Many short upright ticks from a foot upwards as one element.
    pub fn ticks(&mut self, at_px: &[f64], foot_px: f64, height_px: f64, colour: &str) {
        let ticks: Vec<String> = at_px
            .iter()
            .map(|x| format!("M{},{}v-{}", px(*x), px(foot_px), px(height_px)))
            .collect();
        self.strokes(&ticks.concat(), colour, "0.8", "butt");
    }

    fn strokes(&mut self, path: &str, colour: &str, width: &str, cap: &str) {
        if path.is_empty() {
            return;
        }
        self.markup.empty(
            "path",
            &[
                ("d", path),
                ("stroke", colour),
                ("stroke-width", width),
                ("stroke-linecap", cap),
                ("fill", "none"),
            ],
        );
    }

    /// A round point.
    pub fn point(&mut self, at: (f64, f64), colour: &str) {
        self.markup.empty(
            "circle",
            &[
                ("cx", &px(at.0)),
                ("cy", &px(at.1)),
                ("r", "2.6"),
                ("fill", colour),
            ],
        );
    }

    /// A square point, larger than a round one.
    pub fn square(&mut self, at: (f64, f64), colour: &str) {
        self.markup.empty(
            "rect",
            &[
                ("x", &px(at.0 - 4.5)),
                ("y", &px(at.1 - 4.5)),
                ("width", "9"),
                ("height", "9"),
                ("fill", style::PAPER),
                ("stroke", colour),
                ("stroke-width", "2"),
            ],
        );
    }

    /// Words; `anchor` is `start`, `middle` or `end`, `class` one of the style sheet.
    pub fn words(&mut self, at: (f64, f64), anchor: &str, class: &str, words: &str) {
        self.markup.words(
            "text",
            &[
                ("x", &px(at.0)),
                ("y", &px(at.1)),
                ("text-anchor", anchor),
                ("class", class),
            ],
            words,
        );
    }

    /// Words on a ground of paper, so that lines behind them do not hide them.
    pub fn label(&mut self, at: (f64, f64), anchor: &str, words: &str) {
        let width = 6.4 * words.chars().count() as f64 + 6.0;
        let left = match anchor {
            "middle" => at.0 - width / 2.0,
            "end" => at.0 - width + 3.0,
            _ => at.0 - 3.0,
        };
        self.rect((left, at.1 - 11.5), (width, 15.0), style::PAPER, 0.85);
        self.words(at, anchor, "small", words);
    }
}

fn joined(places: &[(f64, f64)]) -> String {
    let places: Vec<String> = places
        .iter()
        .map(|(x, y)| format!("{},{}", px(*x), px(*y)))
        .collect();
    places.join(" ")
}
