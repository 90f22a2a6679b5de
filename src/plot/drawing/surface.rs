//! What pictures are painted on: lines, areas and words in points, whichever file they end up in.

use super::ink::Ink;
use crate::plot::error::PlotError;
use plotters::coord::Shift;
use plotters::element::{Circle, PathElement, Polygon, Rectangle, Text};
use plotters::prelude::{DrawingArea, DrawingBackend};
use plotters::style::text_anchor::{HPos, Pos, VPos};
use plotters::style::{Color, FontFamily, FontStyle, IntoFont, RGBAColor, ShapeStyle, TextStyle};
use std::sync::OnceLock;

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

/// Place in points from the upper left corner.
pub(in crate::plot) type At = (f64, f64);

/// Draws in points; y grows downwards.
pub(in crate::plot) trait Surface {
    /// A line through places; places that are no numbers break it.
    fn line(&mut self, places: &[At], ink: Ink, width: f64, dash: Dash) -> Result<(), PlotError>;
    fn area(&mut self, places: &[At], ink: Ink) -> Result<(), PlotError>;
    fn rectangle(&mut self, from: At, to: At, ink: Ink) -> Result<(), PlotError>;
    fn dot(&mut self, at: At, radius: f64, fill: Ink, rim: Ink) -> Result<(), PlotError>;
    /// A word in one line, centred on `at` in height.
    fn word(
        &mut self,
        text: &str,
        at: At,
        size: f64,
        side: Side,
        ink: Ink,
    ) -> Result<(), PlotError>;
    /// Width of a word in points.
    fn width_of(&self, text: &str, size: f64) -> f64;
}

/// As much of a text as fits into a width, with `…` where it was cut.
pub(in crate::plot) fn fitting(surface: &dyn Surface, text: &str, size: f64, width: f64) -> String {
    if surface.width_of(text, size) <= width {
        return text.to_owned();
    }
    let letters: Vec<char> = text.chars().collect();
    let cut = |count: usize| letters[..count].iter().chain(&['…']).collect::<String>();
    let (mut fits, mut beyond) = (0, letters.len());
    while beyond - fits > 1 {
        let middle = (fits + beyond) / 2;
        if surface.width_of(&cut(middle), size) <= width {
            fits = middle;
        } else {
            beyond = middle;
        }
    }
    cut(fits)
}

/// A text in at most two lines, broken between words; the second is cut where even that is too short.
pub(in crate::plot) fn two_lines(
    surface: &dyn Surface,
    text: &str,
    size: f64,
    width: f64,
) -> Vec<String> {
    if surface.width_of(text, size) <= width {
        return vec![text.to_owned()];
    }
    let mut first = String::new();
    let mut rest = text;
    while let Some((word, after)) = rest.split_once(' ') {
        let longer = if first.is_empty() {
            word.to_owned()
        } else {
            format!("{first} {word}")
        };
        if surface.width_of(&longer, size) > width {
            break;
        }
        (first, rest) = (longer, after);
    }
    [first, rest.to_owned()]
        .iter()
        .filter(|line| !line.is_empty())
        .map(|line| fitting(surface, line, size, width))
        .collect()
}

/// A surface of the drawing library.
pub(in crate::plot) struct Canvas<'a, DB: DrawingBackend> {
    area: &'a DrawingArea<DB, Shift>,
    bitmap: bool,
}

impl<'a, DB: DrawingBackend> Canvas<'a, DB> {
    /// `bitmap`: the surface is pixels, whose lines and letters the library sets otherwise.
    ///
    /// # Errors
    /// [`PlotError::Draw`] when the letters cannot be read.
    pub fn new(area: &'a DrawingArea<DB, Shift>, bitmap: bool) -> Result<Self, PlotError> {
        static REGISTERED: OnceLock<bool> = OnceLock::new();
        let registered = REGISTERED.get_or_init(|| {
            plotters::style::register_font("sans-serif", FontStyle::Normal, FACE).is_ok()
        });
        if *registered {
            Ok(Canvas { area, bitmap })
        } else {
            Err(PlotError::Draw(
                "the built-in letters cannot be read".into(),
            ))
        }
    }

    fn style(ink: Ink, width: f64, filled: bool) -> ShapeStyle {
        ShapeStyle {
            color: colour(ink),
            filled,
            stroke_width: (width * PIXELS).round().max(1.0) as u32,
        }
    }

    fn letters(&self, size: f64, side: Side, ink: Ink) -> TextStyle<'static> {
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
}

fn colour(ink: Ink) -> RGBAColor {
    RGBAColor(ink.0, ink.1, ink.2, ink.3)
}

fn pixel((x, y): At) -> (i32, i32) {
    ((x * PIXELS).round() as i32, (y * PIXELS).round() as i32)
}

fn drawing_error<E: std::fmt::Display>(error: E) -> PlotError {
    PlotError::Draw(error.to_string())
}

impl<DB: DrawingBackend> Surface for Canvas<'_, DB> {
    fn line(&mut self, places: &[At], ink: Ink, width: f64, dash: Dash) -> Result<(), PlotError> {
        let style = Self::style(ink, width, false);
        let runs = places.split(|p| !(p.0.is_finite() && p.1.is_finite()));
        for run in runs.filter(|run| run.len() > 1) {
            let pieces = match dash {
                None => run
                    .chunks(LONGEST - 1)
                    .scan(None, |last: &mut Option<At>, piece| {
                        let joined: Vec<At> = last.iter().chain(piece).copied().collect();
                        *last = piece.last().copied();
                        Some(joined)
                    })
                    .collect(),
                Some((on, off)) => dashes(run, on, off),
            };
            // On pixels the library mitres its corners without a limit: a spike would leave the chart.
            let pieces: Vec<Vec<At>> = if self.bitmap {
                pieces.iter().flat_map(|piece| at_corners(piece)).collect()
            } else {
                pieces
            };
            for piece in pieces {
                let mut pixels: Vec<(i32, i32)> = piece.into_iter().map(pixel).collect();
                pixels.dedup();
                if pixels.len() > 1 {
                    self.area
                        .draw(&PathElement::new(pixels, style))
                        .map_err(drawing_error)?;
                }
            }
        }
        Ok(())
    }

    fn area(&mut self, places: &[At], ink: Ink) -> Result<(), PlotError> {
        let mut pixels: Vec<(i32, i32)> = places.iter().copied().map(pixel).collect();
        pixels.dedup();
        if pixels.len() < 3 {
            return Ok(());
        }
        let style = Self::style(ink, 0.0, true);
        self.area
            .draw(&Polygon::new(pixels, style))
            .map_err(drawing_error)
    }

    fn rectangle(&mut self, from: At, to: At, ink: Ink) -> Result<(), PlotError> {
        let style = Self::style(ink, 0.0, true);
        self.area
            .draw(&Rectangle::new([pixel(from), pixel(to)], style))
            .map_err(drawing_error)
    }

    fn dot(&mut self, at: At, radius: f64, fill: Ink, rim: Ink) -> Result<(), PlotError> {
        let size = (radius * PIXELS).round() as i32;
        for (ink, filled) in [(fill, true), (rim, false)] {
            self.area
                .draw(&Circle::new(pixel(at), size, Self::style(ink, 1.2, filled)))
                .map_err(drawing_error)?;
        }
        Ok(())
    }

    fn word(
        &mut self,
        text: &str,
        at: At,
        size: f64,
        side: Side,
        ink: Ink,
    ) -> Result<(), PlotError> {
        let style = self.letters(size, side, ink);
        // Letters on pixels hang from their ascent, so that capitals stand too high by this share of their size.
        let down = if self.bitmap { 0.225 * size } else { 0.0 };
        let place = pixel((at.0, at.1 + down));
        self.area
            .draw(&Text::new(text.to_owned(), place, style))
            .map_err(drawing_error)
    }

    fn width_of(&self, text: &str, size: f64) -> f64 {
        let style = self.letters(size, Side::Left, super::ink::TEXT);
        self.area
            .estimate_text_size(text, &style)
            .map_or(0.6 * size * text.chars().count() as f64, |(width, _)| {
                f64::from(width) / PIXELS
            })
    }
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
