//! What pictures are made of: lines, areas and words in points, and how the drawing library paints them into either file.

use super::ink::{self, Ink};
use crate::plot::error::PlotError;
use plotters::coord::Shift;
use plotters::element::{Circle, Drawable, PathElement, PointCollection, Polygon, Rectangle, Text};
use plotters::prelude::{DrawingArea, DrawingBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontFamily, FontStyle, IntoFont, RGBAColor, ShapeStyle, TextStyle};
use std::sync::OnceLock;

/// Width of every picture in points.
pub(in crate::plot) const WIDTH: f64 = 900.0;
/// Backend pixels to a point: fine enough for the whole-number coordinates of the drawing library.
pub(in crate::plot) const PIXELS: f64 = 2.0;
/// The drawing library divides the size of a font by this.
const FONT_SCALE: f64 = 1.24;
/// A long line is cut into pieces of so many points, so that no element of a picture grows without bound.
const LONGEST: usize = 4000;

static FACE: &[u8] = include_bytes!("../font/sans.ttf");

/// Where a word is relative to its place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::plot) enum Side {
    Left,
    Centre,
    Right,
}

/// Lengths of dash and gap in points; `None` is a whole line.
pub(in crate::plot) type Dash = Option<(f64, f64)>;

pub(in crate::plot) const DASHED: Dash = Some((6.0, 3.5));
pub(in crate::plot) const DOTTED: Dash = Some((1.5, 2.5));

/// Place in points from the upper left corner; y grows downwards.
pub(in crate::plot) type At = (f64, f64);

enum Mark {
    Line(Vec<At>, Ink, f64, Dash),
    Area(Vec<At>, Ink),
    Rectangle(At, At, Ink),
    Dot(At, f64, Ink, Ink),
    Word(String, At, f64, Side, Ink),
}

/// Marks in the order in which they cover each other.
#[derive(Default)]
pub(in crate::plot) struct Marks(Vec<Mark>);

impl Marks {
    /// A line through places; places that are no numbers break it.
    pub fn line(&mut self, places: &[At], ink: Ink, width: f64, dash: Dash) {
        self.0.push(Mark::Line(places.to_vec(), ink, width, dash));
    }

    pub fn area(&mut self, places: Vec<At>, ink: Ink) {
        self.0.push(Mark::Area(places, ink));
    }

    pub fn rectangle(&mut self, from: At, to: At, ink: Ink) {
        self.0.push(Mark::Rectangle(from, to, ink));
    }

    pub fn dot(&mut self, at: At, radius: f64, fill: Ink, rim: Ink) {
        self.0.push(Mark::Dot(at, radius, fill, rim));
    }

    /// A word in one line, centred on `at` in height; from a file or not, it is shown as text.
    pub fn word(&mut self, text: &str, at: At, size: f64, side: Side, ink: Ink) {
        self.0.push(Mark::Word(shown(text), at, size, side, ink));
    }

    /// Paints all marks. `bitmap`: the area is pixels, whose lines and letters the library sets otherwise.
    ///
    /// # Errors
    /// [`PlotError::Draw`], also when the built-in letters cannot be read.
    pub fn paint<DB: DrawingBackend>(
        &self,
        area: &DrawingArea<DB, Shift>,
        bitmap: bool,
    ) -> Result<(), PlotError> {
        if !letters_known() {
            return Err(PlotError::Draw(
                "the built-in letters cannot be read".into(),
            ));
        }
        for mark in &self.0 {
            match mark {
                Mark::Line(places, ink, width, dash) => {
                    for pixels in pieces(places, *dash, bitmap) {
                        draw(area, &PathElement::new(pixels, style(*ink, *width, false)))?;
                    }
                }
                Mark::Area(places, ink) => {
                    let mut pixels: Vec<(i32, i32)> = places.iter().copied().map(pixel).collect();
                    pixels.dedup();
                    if pixels.len() > 2 {
                        draw(area, &Polygon::new(pixels, style(*ink, 0.0, true)))?;
                    }
                }
                Mark::Rectangle(from, to, ink) => {
                    let corners = [pixel(*from), pixel(*to)];
                    draw(area, &Rectangle::new(corners, style(*ink, 0.0, true)))?;
                }
                Mark::Dot(at, radius, fill, rim) => {
                    let size = (radius * PIXELS).round() as i32;
                    for (ink, filled) in [(fill, true), (rim, false)] {
                        draw(
                            area,
                            &Circle::new(pixel(*at), size, style(*ink, 1.2, filled)),
                        )?;
                    }
                }
                Mark::Word(text, at, size, side, ink) => {
                    // Letters on pixels hang from their ascent, so that capitals stand too high by this share of their size.
                    let down = if bitmap { 0.225 * size } else { 0.0 };
                    let place = pixel((at.0, at.1 + down));
                    draw(
                        area,
                        &Text::new(text.clone(), place, letters(*size, *side, *ink)),
                    )?;
                }
            }
        }
        Ok(())
    }
}

fn draw<'e, DB: DrawingBackend, E>(
    area: &DrawingArea<DB, Shift>,
    element: &'e E,
) -> Result<(), PlotError>
where
    &'e E: PointCollection<'e, (i32, i32)>,
    E: Drawable<DB>,
{
    area.draw(element)
        .map_err(|error| PlotError::Draw(error.to_string()))
}

/// A text from a file as every XML reader and every line of a picture takes it.
pub(in crate::plot) fn shown(text: &str) -> String {
    let clean = |letter: char| match letter {
        '\u{fffe}' | '\u{ffff}' => '\u{fffd}',
        _ if letter.is_control() => '\u{fffd}',
        _ => letter,
    };
    text.chars().map(clean).collect()
}

/// Width of a word in points.
pub(in crate::plot) fn width_of(text: &str, size: f64) -> f64 {
    letters_known();
    let layout = letters(size, Side::Left, ink::TEXT).font.layout_box(text);
    layout.map_or(0.6 * size * text.chars().count() as f64, |(from, to)| {
        f64::from(to.0 - from.0) / PIXELS
    })
}

fn letters_known() -> bool {
    static REGISTERED: OnceLock<bool> = OnceLock::new();
    *REGISTERED.get_or_init(|| {
        plotters::style::register_font("sans-serif", FontStyle::Normal, FACE).is_ok()
    })
}

fn letters(size: f64, side: Side, ink: Ink) -> TextStyle<'static> {
    let side = match side {
        Side::Left => HPos::Left,
        Side::Centre => HPos::Center,
        Side::Right => HPos::Right,
    };
    let font = (FontFamily::SansSerif, size * PIXELS * FONT_SCALE).into_font();
    let mut style = TextStyle::from(font).pos(Pos::new(side, VPos::Center));
    style.color = colour(ink).to_backend_color();
    style
}

fn style(ink: Ink, width: f64, filled: bool) -> ShapeStyle {
    ShapeStyle {
        color: colour(ink),
        filled,
        stroke_width: (width * PIXELS).round().max(1.0) as u32,
    }
}

fn colour(ink: Ink) -> RGBAColor {
    RGBAColor(ink.0, ink.1, ink.2, ink.3)
}

fn pixel((x, y): At) -> (i32, i32) {
    ((x * PIXELS).round() as i32, (y * PIXELS).round() as i32)
}

/// As much of a text as fits into a width, with `…` where it was cut.
pub(in crate::plot) fn fitting(text: &str, size: f64, width: f64) -> String {
    if width_of(text, size) <= width {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().collect();
    let cut = |count: usize| letters[..count].iter().chain(&['…']).collect::<String>();
    let counts: Vec<usize> = (1..letters.len()).collect();
    cut(counts.partition_point(|count| width_of(&cut(*count), size) <= width))
}

/// A text in at most two lines, broken between words; the second is cut where even that is too short.
pub(in crate::plot) fn two_lines(text: &str, size: f64, width: f64) -> Vec<String> {
    let fits = |line: &str| width_of(line, size) <= width;
    if fits(text) {
        return vec![text.to_owned()];
    }
    let breaks = text.match_indices(' ').map(|(at, _)| at);
    let first = breaks.take_while(|at| fits(&text[..*at])).last();
    let (first, rest) = first.map_or(("", text), |at| (&text[..at], &text[at + 1..]));
    let lines = [first, rest].into_iter().filter(|line| !line.is_empty());
    lines.map(|line| fitting(line, size, width)).collect()
}

/// The pieces of a line in pixels, each of two or more.
fn pieces(places: &[At], dash: Dash, bitmap: bool) -> Vec<Vec<(i32, i32)>> {
    let runs = places.split(|p| !(p.0.is_finite() && p.1.is_finite()));
    let mut out = Vec::new();
    for run in runs.filter(|run| run.len() > 1) {
        let cut = match dash {
            // Each piece begins where the one before ends.
            None => (0..run.len())
                .step_by(LONGEST - 1)
                .map(|first| {
                    run[first.saturating_sub(1)..(first + LONGEST - 1).min(run.len())].to_vec()
                })
                .collect(),
            Some((on, off)) => dashes(run, on, off),
        };
        // On pixels the library mitres its corners without a limit: a spike would leave the chart.
        let cut: Vec<Vec<At>> = match bitmap {
            true => cut.iter().flat_map(|piece| at_corners(piece)).collect(),
            false => cut,
        };
        for piece in cut {
            let mut pixels: Vec<(i32, i32)> = piece.into_iter().map(pixel).collect();
            pixels.dedup();
            out.extend((pixels.len() > 1).then_some(pixels));
        }
    }
    out
}

/// A line cut where it turns by more than about 50 degrees.
fn at_corners(piece: &[At]) -> Vec<Vec<At>> {
    let mut out = Vec::new();
    let mut begin = 0;
    for k in 1..piece.len().saturating_sub(1) {
        let (a, b, c) = (piece[k - 1], piece[k], piece[k + 1]);
        let (before, after) = ((b.0 - a.0, b.1 - a.1), (c.0 - b.0, c.1 - b.1));
        let along = before.0 * after.0 + before.1 * after.1;
        if along < 0.65 * before.0.hypot(before.1) * after.0.hypot(after.1) {
            out.push(piece[begin..=k].to_vec());
            begin = k;
        }
    }
    out.push(piece[begin..].to_vec());
    out
}

/// A line cut into dashes, whose pattern goes on around its corners.
fn dashes(run: &[At], on: f64, off: f64) -> Vec<Vec<At>> {
    let mut out = Vec::new();
    let (mut drawing, mut left) = (true, on);
    let mut piece = vec![run[0]];
    for pair in run.windows(2) {
        let (mut at, end) = (pair[0], pair[1]);
        loop {
            let length = (end.0 - at.0).hypot(end.1 - at.1);
            if length <= left {
                left -= length;
                if drawing {
                    piece.push(end);
                }
                break;
            }
            let part = left / length;
            at = (at.0 + part * (end.0 - at.0), at.1 + part * (end.1 - at.1));
            if drawing {
                piece.push(at);
                out.push(std::mem::take(&mut piece));
                left = off;
            } else {
                piece = vec![at];
                left = on;
            }
            drawing = !drawing;
        }
    }
    if drawing && piece.len() > 1 {
        out.push(piece);
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn dashes_keep_their_pattern_around_a_corner() {
        let cut = dashes(&[(0.0, 0.0), (5.0, 0.0), (5.0, 15.0)], 6.0, 4.0);
        assert_eq!(cut[0], vec![(0.0, 0.0), (5.0, 0.0), (5.0, 1.0)]);
        assert_eq!(cut[1], vec![(5.0, 5.0), (5.0, 11.0)]);
        assert_eq!(cut.len(), 2);
    }
}
