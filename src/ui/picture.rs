//! The live picture: one texture that is set, never made anew, at most fifteen times a second and
//! only for a picture not yet shown; over it the outlines and the marks round beads. It counts
//! nothing; it draws what the snapshot says.

use eframe::egui::{
    Align2, ColorImage, Context, Painter, Pos2, Rect, TextureHandle, TextureOptions, Ui, pos2, vec2,
};
use image::GrayImage;

use crate::base::{BeadKind, FeedNumber, Frame, GlassKind};
use crate::glass::Outline;
use crate::judge::FeedState;
use crate::run::FeedSnapshot;
use crate::ui::feed_panel::Told;
use crate::ui::figures;
use crate::ui::flash::Flashes;
use crate::ui::fresh::Fresh;
use crate::ui::paint::{self, Lit};
use crate::ui::shapes::{self, Firmness};
use crate::ui::style::{LEAST_LETTERS, letters};
use crate::ui::theme::{HALO, OUTLINE, OUTLINE_CHOSEN, PICTURE, Palette, RING_GAS, RING_OIL};
use crate::ui::words;

/// Least time between two uploads of the picture, seconds: fifteen a second, as many as an eye
/// needs to follow a bead and few enough for a small machine.
pub const LEAST_BETWEEN_SECS: f64 = 1.0 / 15.0;

/// A grey texture that follows a changing picture.
#[derive(Default)]
pub struct GreyTexture {
    handle: Option<TextureHandle>,
    shown: Option<usize>,
    set_at_secs: f64,
    sets: u64,
}

impl GreyTexture {
    /// Shows `luma` from now on, unless it is shown already or the last change was too short ago.
    /// `mark` tells one picture from another; `shrink` leaves out pixels that would not be seen.
    pub fn follow(
        &mut self,
        ctx: &Context,
        name: &str,
        luma: &GrayImage,
        mark: usize,
        shrink: usize,
        now_secs: f64,
    ) {
        if self.shown == Some(mark) {
            return;
        }
        let too_soon = now_secs - self.set_at_secs < LEAST_BETWEEN_SECS * 0.9;
        if self.handle.is_some() && too_soon && now_secs >= self.set_at_secs {
            return;
        }
        let image = grey(luma, shrink);
        match &mut self.handle {
            Some(handle) => handle.set(image, TextureOptions::LINEAR),
            None => self.handle = Some(ctx.load_texture(name, image, TextureOptions::LINEAR)),
        }
        self.shown = Some(mark);
        self.set_at_secs = now_secs;
        self.sets += 1;
    }

    /// The texture, once there is one.
    #[must_use]
    pub fn handle(&self) -> Option<&TextureHandle> {
        self.handle.as_ref()
    }

    /// How many times it was set since the start.
    #[must_use]
    pub fn sets(&self) -> u64 {
        self.sets
    }
}

/// A grey picture for the screen, every `shrink`-th pixel of it.
fn grey(luma: &GrayImage, shrink: usize) -> ColorImage {
    let (width, height) = (luma.width() as usize, luma.height() as usize);
    let shrink = shrink.clamp(1, width.min(height).max(1));
    if shrink == 1 {
        return ColorImage::from_gray([width, height], luma.as_raw());
    }
    let size = [width / shrink, height / shrink];
    let pixels = (0..size[1]).flat_map(|y| {
        let row = &luma.as_raw()[y * shrink * width..];
        (0..size[0]).map(move |x| row[x * shrink])
    });
    ColorImage::from_gray_iter(size, pixels)
}

/// Where the picture stands on the screen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Placing {
    /// The picture on the screen, points.
    pub shown: Rect,
    /// Points a picture pixel.
    pub points_per_px: f32,
}

impl Placing {
    /// The largest place for a picture of this size in a rectangle.
    #[must_use]
    pub fn fit(rect: Rect, width_px: u32, height_px: u32) -> Self {
        let (w, h) = (width_px.max(1) as f32, height_px.max(1) as f32);
        let points_per_px = (rect.width() / w).min(rect.height() / h);
        Self {
            shown: Rect::from_center_size(rect.center(), vec2(w, h) * points_per_px),
            points_per_px,
        }
    }

    /// Screen point of a picture point.
    #[must_use]
    pub fn screen_from_picture(&self, x_px: f64, y_px: f64) -> Pos2 {
        self.shown.min + vec2(x_px as f32, y_px as f32) * self.points_per_px
    }

    /// Picture point of a screen point.
    #[must_use]
    pub fn picture_from_screen(&self, at: Pos2) -> (f64, f64) {
        let offset = (at - self.shown.min) / self.points_per_px;
        (f64::from(offset.x), f64::from(offset.y))
    }
}

/// The points of an outline on the screen.
#[must_use]
pub fn outline_points(outline: &Outline, placing: &Placing) -> Vec<Pos2> {
    /// Straight pieces round a port: round enough at any size a screen has.
    const PIECES: usize = 64;
    match outline.kind {
        GlassKind::Tube => outline
            .corners()
            .map(|(x, y)| placing.screen_from_picture(x, y))
            .to_vec(),
        GlassKind::Port => (0..PIECES)
            .map(|i| {
                let (sin, cos) = (i as f64 / PIECES as f64 * std::f64::consts::TAU).sin_cos();
                let (x, y) = outline.picture_from_glass(
                    cos * outline.width_px / 2.0,
                    sin * outline.height_px / 2.0,
                );
                placing.screen_from_picture(x, y)
            })
            .collect(),
    }
}

/// The live picture.
#[derive(Default)]
pub struct LivePicture {
    texture: GreyTexture,
}

impl LivePicture {
    /// Draws the newest picture into a rectangle; gives its placing, or nothing when there is none.
    pub fn show(
        &mut self,
        ui: &Ui,
        rect: Rect,
        frame: Option<&Frame>,
        fresh: &Fresh,
        palette: &Palette,
    ) -> Option<Placing> {
        ui.painter().rect_filled(rect, 4.0, palette.well);
        let Some(frame) = frame else {
            let snapshot = fresh.snapshot();
            let why = snapshot
                .notice
                .as_ref()
                .map_or(words::get().no_picture, |notice| notice.words.as_str());
            // Shorter lines than the window is wide read better.
            let width = (rect.width() - 32.0).min(720.0);
            let place = Rect::from_center_size(rect.center(), vec2(width, rect.height() - 32.0));
            let ink = palette.ink_well;
            paint::paragraph(ui, place, Align2::CENTER_CENTER, why, 18.0, ink);
            return None;
        };
        let placing = Placing::fit(rect.shrink(2.0), frame.width(), frame.height());
        let px_per_pixel = placing.points_per_px * ui.ctx().pixels_per_point();
        let shrink = (0.75 / px_per_pixel.max(0.01)).floor().max(1.0) as usize;
        self.texture.follow(
            ui.ctx(),
            "live-picture",
            &frame.luma,
            fresh.generation(),
            shrink,
            fresh.clock_secs(),
        );
        if let Some(handle) = self.texture.handle() {
            let whole = Rect::from_min_max(pos2(0.0, 0.0), pos2(1.0, 1.0));
            ui.painter()
                .image(handle.id(), placing.shown, whole, PICTURE);
        }
        Some(placing)
    }

    /// How many times the texture was set.
    #[must_use]
    pub fn sets(&self) -> u64 {
        self.texture.sets()
    }
}

/// Draws one feed over the picture: outline, number, beads.
pub fn feed_over(
    painter: &Painter,
    placing: &Placing,
    feed: &FeedSnapshot,
    told: &Told,
    chosen: Lit,
    flash: Lit,
    palette: &Palette,
) {
    let points = outline_points(&feed.outline_now, placing);
    let (colour, width) = match (chosen, flash) {
        (_, Lit::Yes) => (RING_OIL, 4.0),
        (Lit::Yes, Lit::No) => (OUTLINE_CHOSEN, 3.0),
        (Lit::No, Lit::No) => (OUTLINE, 1.75),
    };
    if told.state == FeedState::CannotSee {
        shapes::haloed_broken(painter, &points, width, colour);
    } else {
        shapes::haloed(painter, &points, width, colour);
        beads(painter, placing, feed, flash);
    }
    number_plate(
        painter,
        placing,
        feed.feed,
        &feed.outline_now,
        told,
        palette,
    );
}

/// The number of a feed over its glass, with the shape of its verdict.
fn number_plate(
    painter: &Painter,
    placing: &Placing,
    feed: FeedNumber,
    outline: &Outline,
    told: &Told,
    palette: &Palette,
) {
    let upright = outline.upright_box();
    let top = placing.screen_from_picture(upright.x + upright.width / 2.0, upright.y);
    let size = (placing.shown.height() * 0.045).clamp(LEAST_LETTERS, 26.0);
    let place = Rect::from_center_size(
        pos2(top.x, (top.y - size).max(placing.shown.top() + size * 0.8)),
        vec2(size * 2.6, size * 1.45),
    );
    let badge = palette.state(told.state);
    painter.rect_filled(place.expand(1.5), 4.0, HALO);
    painter.rect_filled(place, 3.0, badge.fill);
    let side = size * 0.95;
    let square = Rect::from_center_size(
        pos2(place.left() + size * 0.8, place.center().y),
        vec2(side, side),
    );
    shapes::verdict(painter, square, told.state, badge.ink);
    painter.text(
        pos2(place.right() - size * 0.75, place.center().y),
        Align2::CENTER_CENTER,
        feed.to_string(),
        letters(size),
        badge.ink,
    );
}

/// Draws the marks round the beads of a feed.
pub fn beads(painter: &Painter, placing: &Placing, feed: &FeedSnapshot, flash: Lit) {
    // Counted drops of oil in the picture, the newest lowest: they carry their numbers.
    let mut counted: Vec<f64> = feed
        .beads
        .iter()
        .filter(|bead| bead.settled && bead.kind == BeadKind::Oil)
        .map(|bead| bead.y_px)
        .collect();
    counted.sort_by(|a, b| b.total_cmp(a));
    for bead in &feed.beads {
        let centre = placing.screen_from_picture(bead.x_px, bead.y_px);
        let radius = (bead.radius_px as f32 * placing.points_per_px * 1.5).clamp(7.0, 400.0);
        let rank = counted.iter().position(|y| *y == bead.y_px);
        let newest = bead.settled && bead.kind == BeadKind::Oil && rank == Some(0);
        let firmness = match (bead.settled, newest && flash == Lit::Yes) {
            (_, true) => Firmness::Flash,
            (true, false) => Firmness::Counted,
            (false, false) => Firmness::Followed,
        };
        match bead.kind {
            BeadKind::Oil => shapes::ring(painter, centre, radius, firmness, RING_OIL),
            BeadKind::Gas => shapes::lozenge(painter, centre, radius, firmness, RING_GAS),
        }
        let size = (placing.shown.height() * 0.05).clamp(15.0, 40.0);
        let beside = centre + vec2(radius * 1.35 + 4.0, 0.0);
        match (bead.kind, bead.settled, rank) {
            (BeadKind::Oil, true, Some(rank)) => {
                let number = feed.drops.saturating_sub(rank as u64).to_string();
                let foot = beside + vec2(figures::width(&number, size), size / 2.0);
                figures::draw_over(painter, foot, size, &number, RING_OIL, HALO);
            }
            (BeadKind::Gas, _, _) => {
                for (x, y) in [(1.3, 1.3), (-1.3, 1.3), (1.3, -1.3), (-1.3, -1.3)] {
                    let at = beside + vec2(x, y);
                    painter.text(
                        at,
                        Align2::LEFT_CENTER,
                        words::get().gas,
                        letters(size),
                        HALO,
                    );
                }
                painter.text(
                    beside,
                    Align2::LEFT_CENTER,
                    words::get().gas,
                    letters(size),
                    RING_GAS,
                );
            }
            _ => {}
        }
    }
}

/// Draws all feeds over the picture.
pub fn feeds_over(
    ui: &Ui,
    placing: &Placing,
    feeds: &[(FeedSnapshot, Told)],
    chosen: Option<FeedNumber>,
    flashes: &Flashes,
    palette: &Palette,
) {
    let painter = ui.painter_at(placing.shown);
    for (feed, told) in feeds {
        feed_over(
            &painter,
            placing,
            feed,
            told,
            Lit::from(chosen == Some(feed.feed)),
            Lit::from(flashes.is_lit(feed.feed)),
            palette,
        );
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn placing_keeps_the_picture_s_shape_and_goes_both_ways() {
        let rect = Rect::from_min_size(pos2(10.0, 20.0), vec2(400.0, 400.0));
        let placing = Placing::fit(rect, 640, 320);
        assert!((placing.shown.width() - 400.0).abs() < 1e-3);
        assert!((placing.shown.height() - 200.0).abs() < 1e-3);
        let at = placing.screen_from_picture(123.0, 45.0);
        let (x, y) = placing.picture_from_screen(at);
        assert!((x - 123.0).abs() < 1e-3 && (y - 45.0).abs() < 1e-3);
    }

    #[test]
    fn the_texture_is_set_at_most_fifteen_times_a_second_and_made_once() {
        let ctx = Context::default();
        let mut texture = GreyTexture::default();
        // Sixty pictures in one second.
        for i in 0..60_u32 {
            let luma = GrayImage::from_pixel(8, 6, image::Luma([i as u8]));
            texture.follow(&ctx, "t", &luma, i as usize, 1, f64::from(i) / 60.0);
        }
        assert!((10..=15).contains(&texture.sets()), "{}", texture.sets());
        let made = ctx.tex_manager().read().num_allocated();
        let luma = GrayImage::from_pixel(8, 6, image::Luma([1]));
        texture.follow(&ctx, "t", &luma, 1000, 1, 50.0);
        texture.follow(&ctx, "t", &luma, 1000, 1, 60.0);
        assert_eq!(ctx.tex_manager().read().num_allocated(), made);
        let sets = texture.sets();
        texture.follow(&ctx, "t", &luma, 1000, 1, 70.0);
        assert_eq!(texture.sets(), sets, "the same picture is not set twice");
    }

    #[test]
    fn shrinking_keeps_the_corner_pixels_and_the_size() {
        let luma = GrayImage::from_fn(10, 6, |x, y| image::Luma([(x * 10 + y) as u8]));
        let small = grey(&luma, 2);
        assert_eq!(small.size, [5, 3]);
        assert_eq!(small.pixels[0].r(), 0);
        assert_eq!(small.pixels[14].r(), 84);
    }
}
