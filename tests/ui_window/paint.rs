//! Paints the window's triangles into a picture in plain arithmetic: the same on every machine,
//! with no graphics card and no display.

use std::collections::HashMap;
use std::sync::{Arc, Mutex};

use eframe::egui::epaint::{ImageDelta, Mesh, Primitive, Vertex};
use eframe::egui::{Color32, Context, FullOutput, ImageData, Rect, TextureId, TexturesDelta};
use egui_kittest::TestRenderer;
use image::{Rgba, RgbaImage};

/// One texture: width and pixels.
type Texture = (usize, Vec<Color32>);

/// Keeps the textures, and paints.
#[derive(Clone, Default)]
pub struct SoftPainter {
    textures: Arc<Mutex<HashMap<TextureId, Texture>>>,
}

impl TestRenderer for SoftPainter {
    fn handle_delta(&mut self, delta: &mut TexturesDelta) {
        let mut textures = self.textures.lock().unwrap();
        let mut delta = std::mem::take(delta);
        for (id, parts) in &delta.set {
            for part in parts {
                apply(textures.entry(*id).or_default(), part);
            }
        }
        for id in &delta.free {
            textures.remove(id);
        }
        delta.clear();
    }
}

fn apply(texture: &mut Texture, part: &ImageDelta) {
    let ImageData::Color(image) = &part.image;
    match part.pos {
        None => *texture = (image.size[0], image.pixels.clone()),
        Some([left, top]) => {
            for (row, pixels) in image.pixels.chunks(image.size[0]).enumerate() {
                let at = (top + row) * texture.0 + left;
                texture.1[at..at + pixels.len()].copy_from_slice(pixels);
            }
        }
    }
}

impl SoftPainter {
    /// How many textures there are.
    pub fn count(&self) -> usize {
        self.textures.lock().unwrap().len()
    }

    /// Paints what the window drew last.
    pub fn paint(&self, ctx: &Context, output: &FullOutput) -> RgbaImage {
        let scale = output.pixels_per_point;
        let screen = ctx.content_rect();
        let (width, height) = (
            (screen.width() * scale).round() as u32,
            (screen.height() * scale).round() as u32,
        );
        let mut picture = RgbaImage::from_pixel(width, height, Rgba([0, 0, 0, 255]));
        let textures = self.textures.lock().unwrap();
        for clipped in ctx.tessellate(output.shapes.clone(), scale) {
            let Primitive::Mesh(mesh) = clipped.primitive else {
                continue;
            };
            let Some(texture) = textures.get(&mesh.texture_id) else {
                continue;
            };
            paint_mesh(&mut picture, &mesh, texture, clipped.clip_rect, scale);
        }
        picture
    }
}

fn paint_mesh(picture: &mut RgbaImage, mesh: &Mesh, texture: &Texture, clip: Rect, scale: f32) {
    let bounds = [
        (clip.min.x * scale)
            .round()
            .clamp(0.0, picture.width() as f32) as i64,
        (clip.min.y * scale)
            .round()
            .clamp(0.0, picture.height() as f32) as i64,
        (clip.max.x * scale)
            .round()
            .clamp(0.0, picture.width() as f32) as i64,
        (clip.max.y * scale)
            .round()
            .clamp(0.0, picture.height() as f32) as i64,
    ];
    for corner in mesh.indices.chunks_exact(3) {
        let triangle = [0, 1, 2].map(|i| mesh.vertices[corner[i] as usize]);
        paint_triangle(picture, triangle, texture, bounds, f64::from(scale));
    }
}

/// Twice the signed area of a triangle.
fn area(a: (f64, f64), b: (f64, f64), c: (f64, f64)) -> f64 {
    (b.0 - a.0) * (c.1 - a.1) - (b.1 - a.1) * (c.0 - a.0)
}

/// Whether an edge's own pixels belong to the triangle, so that neighbours do not paint twice.
fn owns(a: (f64, f64), b: (f64, f64)) -> bool {
    b.1 < a.1 || (b.1 == a.1 && b.0 > a.0)
}

fn paint_triangle(
    picture: &mut RgbaImage,
    mut corners: [Vertex; 3],
    texture: &Texture,
    bounds: [i64; 4],
    scale: f64,
) {
    let place = |v: &Vertex| (f64::from(v.pos.x) * scale, f64::from(v.pos.y) * scale);
    let mut p = [place(&corners[0]), place(&corners[1]), place(&corners[2])];
    let mut whole = area(p[0], p[1], p[2]);
    if whole < 0.0 {
        corners.swap(1, 2);
        p.swap(1, 2);
        whole = -whole;
    }
    if whole < 1e-9 {
        return;
    }
    let least = |f: fn(&(f64, f64)) -> f64| p.iter().map(f).fold(f64::INFINITY, f64::min);
    let most = |f: fn(&(f64, f64)) -> f64| p.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
    let x_from = (least(|q| q.0).floor() as i64).max(bounds[0]);
    let x_to = (most(|q| q.0).ceil() as i64).min(bounds[2]);
    let y_from = (least(|q| q.1).floor() as i64).max(bounds[1]);
    let y_to = (most(|q| q.1).ceil() as i64).min(bounds[3]);
    for y in y_from..y_to {
        for x in x_from..x_to {
            let at = (x as f64 + 0.5, y as f64 + 0.5);
            let weights = [
                area(p[1], p[2], at),
                area(p[2], p[0], at),
                area(p[0], p[1], at),
            ];
            let inside = (0..3).all(|i| {
                let (a, b) = (p[(i + 1) % 3], p[(i + 2) % 3]);
                weights[i] > 0.0 || (weights[i] == 0.0 && owns(a, b))
            });
            if !inside {
                continue;
            }
            let w = weights.map(|w| w / whole);
            let mix =
                |f: &dyn Fn(&Vertex) -> f64| (0..3).map(|i| w[i] * f(&corners[i])).sum::<f64>();
            let texel = sample(
                texture,
                mix(&|v| f64::from(v.uv.x)),
                mix(&|v| f64::from(v.uv.y)),
            );
            let tint = [0, 1, 2, 3].map(|i| mix(&|v| f64::from(v.color.to_array()[i])));
            let source = [0, 1, 2, 3].map(|i| texel[i] * tint[i] / 255.0);
            let pixel = picture.get_pixel_mut(x as u32, y as u32);
            for i in 0..3 {
                let under = f64::from(pixel.0[i]) * (1.0 - source[3] / 255.0);
                pixel.0[i] = (source[i] + under).round().clamp(0.0, 255.0) as u8;
            }
        }
    }
}

/// A texture between its pixels' centres, each channel 0 to 255.
fn sample((width, pixels): &Texture, u: f64, v: f64) -> [f64; 4] {
    let height = pixels.len() / (*width).max(1);
    let x = (u * *width as f64 - 0.5).clamp(0.0, *width as f64 - 1.0);
    let y = (v * height as f64 - 0.5).clamp(0.0, height as f64 - 1.0);
    let (x0, y0) = (x.floor() as usize, y.floor() as usize);
    let (x1, y1) = ((x0 + 1).min(width - 1), (y0 + 1).min(height - 1));
    let (fx, fy) = (x - x0 as f64, y - y0 as f64);
    let texel = |x: usize, y: usize| pixels[y * width + x].to_array();
    let corners = [
        (texel(x0, y0), (1.0 - fx) * (1.0 - fy)),
        (texel(x1, y0), fx * (1.0 - fy)),
        (texel(x0, y1), (1.0 - fx) * fy),
        (texel(x1, y1), fx * fy),
    ];
    [0, 1, 2, 3].map(|i| corners.iter().map(|(c, w)| f64::from(c[i]) * w).sum())
}
