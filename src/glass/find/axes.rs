//! Where the axis of a tube may run: half-way between two long upright edges, or up from a short
//! post that stands on an edge across. Only suggestions; cheap to make, judged by others.

use super::lines::Line;
use super::motion::Trail;
use super::plane::Slopes;
use super::pose::Pose;

/// A suggested axis.
#[derive(Clone, Copy, Debug)]
pub(super) struct Axis {
    /// Origin half-way along the glass as far as it is known, and lean.
    pub pose: Pose,
    /// Half the width of the strip that surely lies on the glass, working pixels.
    pub strip: f32,
    /// How far to either side the silhouette may lie, working pixels.
    pub reach: f32,
    /// Where the head is expected, `along`: the nearest and the farthest place.
    pub head: (f32, f32),
    /// Where the foot is expected, `along`: the nearest and the farthest place.
    pub foot: (f32, f32),
    /// How wrong the lean may be, as a slope.
    pub lean_doubt: f32,
}

/// Height over width a visible tube may have.
pub(super) const SQUATTEST: f32 = 1.25;
pub(super) const SLIMMEST: f32 = 11.0;
/// Narrowest tube, working pixels.
pub(super) const NARROWEST_PX: f32 = 12.0;
/// Widest tube, part of the picture's width.
const WIDEST: f32 = 0.4;
/// Most suggestions of each sort.
const MOST_PAIRS: usize = 190;
const MOST_POSTS: usize = 70;
/// Shortest line of a pair, part of the other line.
const UNEVEN: f32 = 0.3;

/// The lean that most of the length of long lines has (dx/dy), and how much length agrees.
pub(super) fn common_lean(lines: &[Line]) -> f32 {
    /// Lines shorter than this say little about the lean, working pixels.
    const LONG_PX: f32 = 24.0;
    /// Leans closer than this agree: half a degree.
    const AGREE: f32 = 0.009;
    let weight_at = |slope: f32| -> f32 {
        lines
            .iter()
            .filter(|l| l.length() >= LONG_PX && (l.slope - slope).abs() < 2.0 * AGREE)
            .map(|l| l.length() * (1.0 - (l.slope - slope).abs() / (2.0 * AGREE)))
            .sum()
    };
    lines
        .iter()
        .filter(|l| l.length() >= LONG_PX)
        .map(|l| (weight_at(l.slope), l.slope))
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map_or(0.0, |best| best.1)
}

/// Axes half-way between pairs of long lines. Pairs with nearly the same axis and extent are one.
pub(super) fn between_pairs(slopes: &Slopes, lines: &[Line]) -> Vec<Axis> {
    struct Bundle {
        x: f32,
        y: f32,
        slope: f32,
        narrow: f32,
        wide: f32,
        top: f32,
        bottom: f32,
        weight: f32,
    }
    let widest = slopes.width as f32 * WIDEST;
    let mut bundles: Vec<Bundle> = Vec::new();
    for (i, left) in lines.iter().enumerate() {
        for right in &lines[i + 1..] {
            if (left.slope - right.slope).abs() > 0.05 {
                continue;
            }
            let (short, long) = {
                let (a, b) = (left.length(), right.length());
                (a.min(b), a.max(b))
            };
            let (top, bottom) = (left.top.max(right.top), left.bottom.min(right.bottom));
            let overlap = bottom - top;
            if short < UNEVEN * long || overlap < 0.7 * short || overlap < 10.0 {
                continue;
            }
            let y = f32::midpoint(top, bottom);
            let slope = (left.slope * left.length() + right.slope * right.length())
                / (left.length() + right.length());
            let (xl, xr) = (left.x_at(y), right.x_at(y));
            let width = (xr - xl) / slope.hypot(1.0);
            if width < NARROWEST_PX
                || width > widest
                || long < 0.6 * SQUATTEST * width
                || short < 0.4 * width
                || long > 1.3 * SLIMMEST * width
            {
                continue;
            }
            let x = f32::midpoint(xl, xr);
            let (top, bottom) = (left.top.min(right.top), left.bottom.max(right.bottom));
            let weight = short + 0.2 * long;
            let same = bundles.iter_mut().find(|b| {
                let across = (x - (b.x + b.slope * (y - b.y))).abs();
                let common = bottom.min(b.bottom) - top.max(b.top);
                across < (0.025 * width).max(1.2)
                    && (b.slope - slope).abs() < 0.02
                    && width < 1.25 * b.narrow
                    && width > 0.8 * b.wide
                    && common > 0.75 * (bottom - top).max(b.bottom - b.top)
            });
            match same {
                Some(b) => {
                    if weight > b.weight {
                        (b.x, b.y, b.slope, b.weight) = (x, y, slope, weight);
                        (b.top, b.bottom) = (top, bottom);
                    }
                    b.narrow = b.narrow.min(width);
                    b.wide = b.wide.max(width);
                }
                None => bundles.push(Bundle {
                    x,
                    y,
                    slope,
                    narrow: width,
                    wide: width,
                    top,
                    bottom,
                    weight,
                }),
            }
        }
    }
    bundles.sort_by(|a, b| b.weight.total_cmp(&a.weight));
    bundles.truncate(MOST_PAIRS);
    bundles
        .iter()
        .map(|b| {
            let stretch = b.slope.hypot(1.0);
            let slack = 0.4 * b.wide;
            let (top, bottom) = ((b.top - b.y) * stretch, (b.bottom - b.y) * stretch);
            let fifth = 0.3 * (bottom - top);
            Axis {
                pose: Pose::leaning(b.x, b.y, b.slope),
                strip: 0.45 * b.narrow,
                reach: 0.85 * b.wide + 3.0,
                head: (top + fifth, top - slack),
                foot: (bottom - fifth, bottom + slack),
                lean_doubt: 0.015,
            }
        })
        .collect()
}

/// Axes up from short posts that stand on an edge across.
pub(super) fn above_posts(slopes: &Slopes, lines: &[Line], lean: f32, threshold: f32) -> Vec<Axis> {
    /// Narrowest and widest post, working pixels.
    const POST_PX: (f32, f32) = (2.0, 60.0);
    struct Post {
        x: f32,
        foot: f32,
        width: f32,
        worth: f32,
    }
    let mut posts: Vec<Post> = Vec::new();
    for (i, left) in lines.iter().enumerate() {
        if (left.slope - lean).abs() > 0.3 {
            continue;
        }
        for right in &lines[i + 1..] {
            let foot = f32::midpoint(left.bottom, right.bottom);
            let width = (right.x_at(foot) - left.x_at(foot)) / lean.hypot(1.0);
            let (a, b) = (left.length(), right.length());
            if width < POST_PX.0
                || width > POST_PX.1
                || (right.slope - lean).abs() > 0.3
                || a.min(b) < 0.4 * a.max(b)
                || a.min(b) < 0.35 * width
                || a.max(b) > 7.0 * width
                || (left.bottom - right.bottom).abs() > 0.3 * a.max(b) + 2.0
            {
                continue;
            }
            let worth = left.strength.abs().min(right.strength.abs());
            posts.push(Post {
                x: f32::midpoint(left.x_at(foot), right.x_at(foot)),
                foot,
                width,
                worth,
            });
        }
    }
    posts.sort_by(|a, b| b.worth.total_cmp(&a.worth));
    let mut kept: Vec<&Post> = Vec::new();
    for post in &posts {
        let twin = kept.iter().any(|k| {
            (k.x - post.x).abs() < 0.4 * k.width.max(2.0)
                && (k.foot - post.foot).abs() < 0.5 * k.width.max(3.0)
                && k.width < 1.5 * post.width
                && post.width < 1.5 * k.width
        });
        if !twin && stands(slopes, post.x, post.foot, post.width, lean, threshold) {
            kept.push(post);
            if kept.len() == MOST_POSTS {
                break;
            }
        }
    }
    kept.into_iter()
        .map(|post| {
            let wide = (11.0 * post.width).min(slopes.width as f32 * WIDEST);
            let high = (5.0 * wide).min(slopes.height as f32);
            Axis {
                pose: Pose::leaning(post.x, post.foot, lean),
                strip: 1.8 * post.width,
                reach: 0.65 * wide + 3.0,
                head: (-3.0 * post.width, -high),
                foot: (-0.4 * post.width - 1.0, 0.8 * post.width + 3.0),
                lean_doubt: 0.05,
            }
        })
        .collect()
}

/// Axes along the trails of rising beads: from the nozzle to the upper fitting.
pub(super) fn along_trails(slopes: &Slopes, trails: &[Trail]) -> Vec<Axis> {
    trails
        .iter()
        .map(|trail| {
            let y = f32::midpoint(trail.top, trail.bottom);
            let half = (trail.bottom - trail.top) / 2.0;
            // A bead fills between an eighth and three quarters of its glass.
            let reach = (4.5 * trail.width).min(slopes.width as f32 * WIDEST / 2.0);
            Axis {
                pose: Pose::leaning(trail.x, y, trail.slope),
                strip: 0.7 * trail.width,
                reach,
                head: (-0.85 * half, -1.15 * half - trail.width - 4.0),
                foot: (half, 2.0 * half + 1.5 * trail.width),
                lean_doubt: 0.03,
            }
        })
        .collect()
}

/// Whether an edge runs across on both sides of the foot of a post.
fn stands(slopes: &Slopes, x: f32, foot: f32, width: f32, lean: f32, threshold: f32) -> bool {
    const PLACES: [f32; 6] = [0.8, 1.0, 1.2, 1.4, 1.65, 1.9];
    let pose = Pose::leaning(x, foot, lean);
    let (from, to) = (-0.35 * width - 2.0, 0.7 * width + 3.0);
    let mut hits = 0;
    for side in [-1.0_f32, 1.0] {
        for place in PLACES {
            let mut v = from;
            while v <= to {
                let (x, y) = pose.picture(side * place * width, v);
                if pose.turn(slopes.at(x, y)).1.abs() > 1.2 * threshold {
                    hits += 1;
                    break;
                }
                v += 1.0;
            }
        }
    }
    hits >= 9
}
