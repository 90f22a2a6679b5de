//! One chart of a picture: scales, layers, marks and the key over it.

use super::axis::Axis;
use super::ink::{self, Ink};
use super::marks::{At, DOTTED, Dash, Marks, Side, WIDTH, width_of};

/// Sizes of letters in points.
const SMALL: f64 = 11.0;
/// Height of the key over a chart, and room for it.
const KEY: f64 = 18.0;
const ABOVE: f64 = 24.0;
/// Room for numbers and name under a chart, left of it, and right of it without and with a scale there.
const BELOW: f64 = 40.0;
const LEFT: f64 = 78.0;
const RIGHT: (f64, f64) = (24.0, 78.0);

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
    Line(&'a [f64], f64, Dash),
    /// Between two curves.
    Band(&'a [f64], &'a [f64]),
    /// Dots with a word over each.
    Dots(&'a [f64], &'a [String]),
}

impl<'a> Layer<'a> {
    pub fn new(x: &'a [f64], shape: Shape<'a>, ink: Ink) -> Layer<'a> {
        Layer {
            x,
            shape,
            ink,
            right: false,
            label: None,
        }
    }

    pub fn named(self, label: &'a str) -> Layer<'a> {
        Layer {
            label: Some(label),
            ..self
        }
    }
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

impl<'a> Panel<'a> {
    /// Layers on two scales, with the name of the lower one.
    pub fn new(x: Axis, left: Axis, below: &'a str, layers: Vec<Layer<'a>>) -> Panel<'a> {
        Panel {
            x,
            left,
            right: None,
            layers,
            cuts: Vec::new(),
            marks: Vec::new(),
            levels: Vec::new(),
            below: Some(below),
            left_ink: ink::QUIET,
            right_ink: ink::QUIET,
        }
    }
}

/// The place of a chart in the picture: left, top, right, bottom of the plotting area.
#[derive(Clone, Copy, Debug)]
struct Frame {
    left: f64,
    top: f64,
    right: f64,
    bottom: f64,
}

impl Frame {
    /// Place of an x value, which need not be on the scale.
    fn across(&self, panel: &Panel, x: f64) -> f64 {
        self.left + panel.x.share(x) * (self.right - self.left)
    }

    fn place(&self, panel: &Panel, right: bool, x: f64, y: f64) -> At {
        let scale = match (&panel.right, right) {
            (Some(scale), true) => scale,
            _ => &panel.left,
        };
        if !(-1e-9..=1.0 + 1e-9).contains(&panel.x.share(x)) {
            return (f64::NAN, f64::NAN);
        }
        // What lies beyond the scale is drawn at its end.
        let up = scale.share(y);
        let up = if up.is_nan() { up } else { up.clamp(0.0, 1.0) };
        (
            self.across(panel, x),
            self.bottom - up * (self.bottom - self.top),
        )
    }

    fn upright(&self, marks: &mut Marks, x: f64, ink: Ink, width: f64, dash: Dash) {
        marks.line(&[(x, self.top), (x, self.bottom)], ink, width, dash);
    }
}

/// Draws a chart from `top` on, its key above a plotting area of this height; gives how high it is altogether.
pub(in crate::plot) fn draw(marks: &mut Marks, panel: &Panel, top: f64, height: f64) -> f64 {
    let beside = if panel.right.is_some() {
        RIGHT.1
    } else {
        RIGHT.0
    };
    let frame = Frame {
        left: LEFT,
        top: top + ABOVE,
        right: WIDTH - beside,
        bottom: top + ABOVE + height,
    };
    grid(marks, panel, frame);
    for &cut in &panel.cuts {
        hatch(marks, panel, frame, cut);
    }
    for &level in &panel.levels {
        let places = [panel.x.from, panel.x.to].map(|x| frame.place(panel, false, x, level));
        marks.line(&places, ink::QUIET, 0.8, Some((5.0, 4.0)));
    }
    for layer in &panel.layers {
        draw_layer(marks, panel, frame, layer);
    }
    instants(marks, panel, frame);
    key(marks, panel, frame);
    ABOVE + height + panel.below.map_or(0.0, |_| BELOW)
}

fn grid(marks: &mut Marks, panel: &Panel, frame: Frame) {
    let (width, height) = (frame.right - frame.left, frame.bottom - frame.top);
    for (value, label) in panel.x.ticks((width / 85.0) as usize) {
        let x = frame.across(panel, value);
        frame.upright(marks, x, ink::GRID, 0.5, None);
        if panel.below.is_some() {
            marks.word(
                &label,
                (x, frame.bottom + 11.0),
                SMALL,
                Side::Centre,
                ink::QUIET,
            );
        }
    }
    if let Some(name) = panel.below.filter(|name| !name.is_empty()) {
        let middle = (0.5 * (frame.left + frame.right), frame.bottom + 27.0);
        marks.word(name, middle, SMALL, Side::Centre, ink::QUIET);
    }
    let most = ((height / 30.0) as usize).max(2);
    for (value, label) in panel.left.ticks(most) {
        let y = frame.bottom - panel.left.share(value) * height;
        marks.line(&[(frame.left, y), (frame.right, y)], ink::GRID, 0.5, None);
        marks.word(
            &label,
            (frame.left - 7.0, y),
            SMALL,
            Side::Right,
            panel.left_ink,
        );
    }
    if let Some(axis) = &panel.right {
        for (value, label) in axis.ticks(most) {
            let at = (frame.right + 7.0, frame.bottom - axis.share(value) * height);
            marks.word(&label, at, SMALL, Side::Left, panel.right_ink);
        }
    }
}

fn draw_layer(marks: &mut Marks, panel: &Panel, frame: Frame, layer: &Layer) {
    let places = |y: &[f64]| -> Vec<At> {
        let pairs = layer.x.iter().zip(y);
        pairs
            .map(|(x, y)| frame.place(panel, layer.right, *x, *y))
            .collect()
    };
    match layer.shape {
        Shape::Line(y, width, dash) => marks.line(&places(y), layer.ink, width, dash),
        Shape::Band(low, high) => {
            let ends: Vec<(At, At)> = places(low).into_iter().zip(places(high)).collect();
            let whole = |(a, b): &(At, At)| a.0.is_finite() && a.1.is_finite() && b.1.is_finite();
            for run in ends.split(|pair| !whole(pair)) {
                let upper = run.iter().map(|pair| pair.1);
                let lower = run.iter().rev().map(|pair| pair.0);
                marks.area(upper.chain(lower).collect(), layer.ink);
            }
        }
        Shape::Dots(y, words) => {
            let mut free = f64::NEG_INFINITY;
            let seen = places(y).into_iter().zip(words);
            for (at, word) in seen.filter(|(at, _)| at.0.is_finite() && at.1.is_finite()) {
                marks.dot(at, 3.5, ink::PAPER, layer.ink);
                let half = 0.5 * width_of(word, SMALL);
                // A word that would run into the one before is left out.
                if at.0 - half > free {
                    let above = (at.1 - 11.0).max(frame.top + 7.0);
                    marks.word(word, (at.0, above), SMALL, Side::Centre, ink::TEXT);
                    free = at.0 + half + 3.0;
                }
            }
        }
    }
}

/// Slanted lines over a stretch of the plotting area.
fn hatch(marks: &mut Marks, panel: &Panel, frame: Frame, (from, to): (f64, f64)) {
    if to < panel.x.from || from > panel.x.to {
        return;
    }
    let at = |x: f64| frame.across(panel, x).clamp(frame.left, frame.right);
    let (left, right) = (at(from), at(to).max(at(from) + 1.5));
    let height = frame.bottom - frame.top;
    let mut start = ((left - height) / 7.0).floor() * 7.0;
    while start < right {
        let (first, last) = ((left - start).max(0.0), (right - start).min(height));
        if last > first {
            let ends = [first, last].map(|t| (start + t, frame.bottom - t));
            marks.line(&ends, ink::CUT, 0.6, None);
        }
        start += 7.0;
    }
}

/// Upright lines; words that would run into the one before are left out.
fn instants(marks: &mut Marks, panel: &Panel, frame: Frame) {
    let mut free = f64::NEG_INFINITY;
    let seen = panel.marks.iter();
    for &(at, word) in seen.filter(|(at, _)| (0.0..=1.0).contains(&panel.x.share(*at))) {
        let x = frame.across(panel, at);
        frame.upright(marks, x, ink::QUIET, 0.8, DOTTED);
        let width = width_of(word, SMALL);
        let fits = x + 4.0 + width <= frame.right;
        let begin = if fits { x + 4.0 } else { x - 4.0 - width };
        if begin >= free {
            marks.word(word, (begin, frame.top + 7.0), SMALL, Side::Left, ink::TEXT);
            free = begin + width + 6.0;
        }
    }
}

fn key(marks: &mut Marks, panel: &Panel, frame: Frame) {
    let mut x = frame.left;
    let y = frame.top - 0.5 * KEY;
    for layer in &panel.layers {
        let Some(label) = layer.label else { continue };
        let end = x + 22.0;
        match layer.shape {
            Shape::Line(_, width, dash) => {
                marks.line(&[(x, y), (end, y)], layer.ink, width.max(1.2), dash);
            }
            Shape::Band(..) => marks.rectangle((x, y - 4.0), (end, y + 4.0), layer.ink),
            Shape::Dots(..) => marks.dot((x + 11.0, y), 3.5, ink::PAPER, layer.ink),
        }
        marks.word(label, (end + 5.0, y), SMALL, Side::Left, ink::QUIET);
        x = end + 5.0 + width_of(label, SMALL) + 18.0;
    }
}
