//! One chart of a picture: scales, layers, marks and the key over it.

use super::axis::Axis;
use super::ink::{self, Ink};
use super::surface::{At, DOTTED, Dash, Side, Surface};
use crate::plot::error::PlotError;

/// Sizes of letters in points.
pub(in crate::plot) const SMALL: f64 = 11.0;
/// Height of the key over a chart.
const KEY: f64 = 18.0;

/// Something drawn in a chart.
pub(in crate::plot) struct Layer<'a> {
    pub x: &'a [f64],
    pub shape: Shape<'a>,
    pub ink: Ink,
    /// Counts on the right scale.
    pub right: bool,
    /// In the key; none for what belongs to another layer.
    pub label: Option<&'a str>,
}

pub(in crate::plot) enum Shape<'a> {
    Line {
        y: &'a [f64],
        width: f64,
        dash: Dash,
    },
    /// Between two curves.
    Band { low: &'a [f64], high: &'a [f64] },
    /// Dots with a word over each.
    Dots { y: &'a [f64], words: &'a [String] },
}

/// One chart.
pub(in crate::plot) struct Panel<'a> {
    pub x: Axis,
    pub left: Axis,
    pub right: Option<Axis>,
    pub layers: Vec<Layer<'a>>,
    /// Stretches that are hatched.
    pub cuts: Vec<(f64, f64)>,
    /// Upright lines with a word.
    pub marks: Vec<(f64, &'a str)>,
    /// Level lines on the left scale.
    pub levels: Vec<f64>,
    /// Named under the x axis; with `Some("")` only the numbers stand there, with `None` not even these.
    pub below: Option<&'a str>,
    pub left_ink: Ink,
    pub right_ink: Ink,
}

/// The place of a chart in the picture: left, top, right, bottom of the plotting area.
#[derive(Clone, Copy, Debug)]
pub(in crate::plot) struct Frame {
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

impl Frame {
    fn place(&self, panel: &Panel, right: bool, x: f64, y: f64) -> At {
        let scale = match (&panel.right, right) {
            (Some(scale), true) => scale,
            _ => &panel.left,
        };
        let share = panel.x.share(x);
        if !(-1e-9..=1.0 + 1e-9).contains(&share) {
            return (f64::NAN, f64::NAN);
        }
        // What lies beyond the scale is drawn at its end.
        let up = scale.share(y);
        let up = if up.is_nan() { up } else { up.clamp(0.0, 1.0) };
        (
            self.left + share * (self.right - self.left),
            self.bottom - up * (self.bottom - self.top),
        )
    }
}

/// Draws a chart whose plotting area lies in `frame`; the key is above it, numbers around it.
pub(in crate::plot) fn draw(
    surface: &mut dyn Surface,
    panel: &Panel,
    frame: Frame,
) -> Result<(), PlotError> {
    grid(surface, panel, frame)?;
    for &(from, to) in &panel.cuts {
        hatch(surface, panel, frame, (from, to))?;
    }
    for &level in &panel.levels {
        let places = [panel.x.from, panel.x.to].map(|x| frame.place(panel, false, x, level));
        surface.line(&places, ink::QUIET, 0.8, Some((5.0, 4.0)))?;
    }
    for layer in &panel.layers {
        draw_layer(surface, panel, frame, layer)?;
    }
    marks(surface, panel, frame)?;
    key(surface, panel, frame)
}

fn grid(surface: &mut dyn Surface, panel: &Panel, frame: Frame) -> Result<(), PlotError> {
    let (width, height) = (frame.right - frame.left, frame.bottom - frame.top);
    for (value, label) in panel.x.ticks((width / 85.0) as usize) {
        let x = frame.left + panel.x.share(value) * width;
        surface.line(&[(x, frame.top), (x, frame.bottom)], ink::GRID, 0.5, None)?;
        if panel.below.is_some() {
            surface.word(
                &label,
                (x, frame.bottom + 11.0),
                SMALL,
                Side::Centre,
                ink::QUIET,
            )?;
        }
    }
    if let Some(name) = panel.below.filter(|name| !name.is_empty()) {
        let middle = 0.5 * (frame.left + frame.right);
        surface.word(
            name,
            (middle, frame.bottom + 27.0),
            SMALL,
            Side::Centre,
            ink::QUIET,
        )?;
    }
    let most = ((height / 30.0) as usize).max(2);
    for (value, label) in panel.left.ticks(most) {
        let y = frame.bottom - panel.left.share(value) * height;
        surface.line(&[(frame.left, y), (frame.right, y)], ink::GRID, 0.5, None)?;
        surface.word(
            &label,
            (frame.left - 7.0, y),
            SMALL,
            Side::Right,
            panel.left_ink,
        )?;
    }
    for (value, label) in panel.right.iter().flat_map(|axis| axis.ticks(most)) {
        let share = panel.right.as_ref().map_or(0.0, |axis| axis.share(value));
        let y = frame.bottom - share * height;
        surface.word(
            &label,
            (frame.right + 7.0, y),
            SMALL,
            Side::Left,
            panel.right_ink,
        )?;
    }
    Ok(())
}

fn draw_layer(
    surface: &mut dyn Surface,
    panel: &Panel,
    frame: Frame,
    layer: &Layer,
) -> Result<(), PlotError> {
    let place = |x: f64, y: f64| frame.place(panel, layer.right, x, y);
    match &layer.shape {
        Shape::Line { y, width, dash } => {
            let places: Vec<At> = layer.x.iter().zip(*y).map(|(x, y)| place(*x, *y)).collect();
            surface.line(&places, layer.ink, *width, *dash)
        }
        Shape::Band { low, high } => {
            let ends: Vec<(At, At)> = layer
                .x
                .iter()
                .zip(low.iter().zip(*high))
                .map(|(x, (low, high))| (place(*x, *low), place(*x, *high)))
                .collect();
            let whole = |(a, b): &(At, At)| a.0.is_finite() && a.1.is_finite() && b.1.is_finite();
            for run in ends.split(|pair| !whole(pair)) {
                let outline: Vec<At> = run
                    .iter()
                    .map(|pair| pair.1)
                    .chain(run.iter().rev().map(|pair| pair.0))
                    .collect();
                surface.area(&outline, layer.ink)?;
            }
            Ok(())
        }
        Shape::Dots { y, words } => {
            let mut free = f64::NEG_INFINITY;
            for ((x, y), word) in layer.x.iter().zip(*y).zip(*words) {
                let at = place(*x, *y);
                if !(at.0.is_finite() && at.1.is_finite()) {
                    continue;
                }
                surface.dot(at, 3.5, ink::PAPER, layer.ink)?;
                let half = 0.5 * surface.width_of(word, SMALL);
                // A word that would run into the one before is left out.
                if at.0 - half > free {
                    let above = (at.1 - 11.0).max(frame.top + 7.0);
                    surface.word(word, (at.0, above), SMALL, Side::Centre, ink::TEXT)?;
                    free = at.0 + half + 3.0;
                }
            }
            Ok(())
        }
    }
}

/// Slanted lines over a stretch of the plotting area.
fn hatch(
    surface: &mut dyn Surface,
    panel: &Panel,
    frame: Frame,
    (from, to): (f64, f64),
) -> Result<(), PlotError> {
    let at = |x: f64| {
        let share = panel.x.share(x).clamp(0.0, 1.0);
        frame.left + share * (frame.right - frame.left)
    };
    if to < panel.x.from || from > panel.x.to {
        return Ok(());
    }
    let (left, right) = (at(from), at(to).max(at(from) + 1.5));
    let height = frame.bottom - frame.top;
    let mut start = ((left - height) / 7.0).floor() * 7.0;
    while start < right {
        let (first, last) = ((left - start).max(0.0), (right - start).min(height));
        if last > first {
            let ends = [first, last].map(|t| (start + t, frame.bottom - t));
            surface.line(&ends, ink::CUT, 0.6, None)?;
        }
        start += 7.0;
    }
    Ok(())
}

/// Upright lines; words that would run into the one before are left out.
fn marks(surface: &mut dyn Surface, panel: &Panel, frame: Frame) -> Result<(), PlotError> {
    let mut free = f64::NEG_INFINITY;
    for &(at, word) in &panel.marks {
        let share = panel.x.share(at);
        if !(0.0..=1.0).contains(&share) {
            continue;
        }
        let x = frame.left + share * (frame.right - frame.left);
        surface.line(
            &[(x, frame.top), (x, frame.bottom)],
            ink::QUIET,
            0.8,
            DOTTED,
        )?;
        let width = surface.width_of(word, SMALL);
        let begin = if x + 4.0 + width > frame.right {
            x - 4.0 - width
        } else {
            x + 4.0
        };
        if begin >= free {
            surface.word(word, (begin, frame.top + 7.0), SMALL, Side::Left, ink::TEXT)?;
            free = begin + width + 6.0;
        }
    }
    Ok(())
}

fn key(surface: &mut dyn Surface, panel: &Panel, frame: Frame) -> Result<(), PlotError> {
    let mut x = frame.left;
    let y = frame.top - 0.5 * KEY;
    for layer in &panel.layers {
        let Some(label) = layer.label else { continue };
        let end = x + 22.0;
        match layer.shape {
            Shape::Line { width, dash, .. } => {
                surface.line(&[(x, y), (end, y)], layer.ink, width.max(1.2), dash)?;
            }
            Shape::Band { .. } => surface.rectangle((x, y - 4.0), (end, y + 4.0), layer.ink)?,
            Shape::Dots { .. } => surface.dot((x + 11.0, y), 3.5, ink::PAPER, layer.ink)?,
        }
        surface.word(label, (end + 5.0, y), SMALL, Side::Left, ink::QUIET)?;
        x = end + 5.0 + surface.width_of(label, SMALL) + 18.0;
    }
    Ok(())
}
