//! Files whose x axis is not time: spectra, sweeps of a frequency, tables against an angle or a wavelength.

use super::columns::{Column, Role};
use super::survey::ColumnSurvey;
use super::words::{is_horizontal_unit, is_other_axis_name, is_spectrum_name, is_spectrum_setting};
use crate::capture::cell::unit;
use crate::capture::record::PreambleFact;
use crate::capture::wording::{OtherAxis, ReadErrorKind};

/// Looks for a sign that the rows do not stand against time: the name or unit of the first column that runs on, a setting, a
/// name of a spectrum among the other columns, or steps that grow by a constant factor. A column that is time by its name or
/// unit settles that they do.
pub(super) fn other_axis(
    columns: &[Column],
    seen: &[ColumnSurvey],
    facts: &[PreambleFact],
) -> Option<ReadErrorKind> {
    let (column, sign) = axis_with_sign(columns, seen, facts)?;
    let axis = column + 1;
    Some(ReadErrorKind::OtherAxis { axis, sign })
}

fn is_value(column: &Column) -> bool {
    matches!(column.role, Role::Value | Role::Time | Role::Index)
}

/// The 0-based column of the axis, and what shows that it is not time.
fn axis_with_sign(
    columns: &[Column],
    seen: &[ColumnSurvey],
    facts: &[PreambleFact],
) -> Option<(usize, OtherAxis)> {
    let title = |c: &Column| c.name.clone().unwrap_or("without a name".to_string());
    let running = || {
        let all = columns.iter().zip(seen).enumerate();
        all.filter(|(_, (c, s))| is_value(c) && runs_on(&s.values))
            .map(|(at, (c, _))| (at, c))
            // A count of the rows may stand before the axis.
            .take(2)
    };
    for (at, column) in running() {
        if let Some(unit) = column.unit_text.clone().filter(|u| is_other_unit(u)) {
            let (name, column) = (title(column), at + 1);
            return Some((at, OtherAxis::Unit { column, name, unit }));
        }
        let is_other = |name: &String| is_other_axis_name(name) || is_other_unit(name);
        if let Some(name) = column.name.clone().filter(is_other) {
            let column = at + 1;
            return Some((at, OtherAxis::Name { column, name }));
        }
    }
    let (axis, _) = running().next()?;
    let others = columns.iter().enumerate();
    let others: Vec<(usize, &Column)> = others
        .filter(|(at, c)| *at != axis && is_value(c))
        .collect();
    let spectrum = |c: &Column| {
        let in_decibels = |u: &str| u.trim().to_lowercase().starts_with("db");
        c.unit_text.as_deref().is_some_and(in_decibels)
            || c.name.as_deref().is_some_and(is_spectrum_name)
    };
    let by_level = || {
        let (at, c) = others.iter().find(|(_, c)| spectrum(c))?;
        let (column, name) = (at + 1, title(c));
        Some(OtherAxis::Level { column, name })
    };
    let by_steps = || {
        let factor = constant_factor(&seen[axis].values).filter(|_| !others.is_empty())?;
        let column = axis + 1;
        Some(OtherAxis::Steps { column, factor })
    };
    let why = by_setting(facts).or_else(by_level).or_else(by_steps)?;
    Some((axis, why))
}

/// A setting that only a spectrum or a sweep has.
fn by_setting(facts: &[PreambleFact]) -> Option<OtherAxis> {
    let horizontal = facts.iter().filter(|f| is_horizontal_unit(&f.key));
    let mut units = horizontal.filter_map(|f| Some((f, f.values.first()?)));
    if let Some((fact, unit)) = units.find(|(_, unit)| is_other_unit(unit)) {
        return Some(OtherAxis::StatedUnit {
            line: fact.line,
            key: fact.key.clone(),
            unit: unit.clone(),
        });
    }
    let fact = facts
        .iter()
        .find(|f| is_spectrum_setting(&f.key) || is_spectrum_name(&f.key))?;
    let (line, key) = (fact.line, fact.key.clone());
    Some(OtherAxis::Setting { line, key })
}

/// A unit that no time has: of frequency, length, angle or level.
fn is_other_unit(text: &str) -> bool {
    let text = unit::strip_brackets(text);
    let known = unit::parse(text, true).is_some_and(|u| u.symbol == "Hz");
    let lower = text.to_lowercase();
    known
        || lower.starts_with("db")
        || matches!(
            lower.as_str(),
            "nm" | "\u{b5}m" | "deg" | "degree" | "degrees" | "\u{b0}" | "1/cm" | "1/s"
        )
}

/// Numbers that only grow, or only fall.
fn runs_on(values: &[f64]) -> bool {
    let pairs = || values.iter().zip(values.iter().skip(1));
    values.len() >= 3 && (pairs().all(|(a, b)| b > a) || pairs().all(|(a, b)| b < a))
}

/// The factor between neighbours, where it is the same all along and the steps are not.
fn constant_factor(values: &[f64]) -> Option<f64> {
    let (first, last) = (*values.first()?, *values.last()?);
    if values.len() < 8 || first <= 0.0 || last < 3.0 * first {
        return None;
    }
    let mean = (last / first).powf(1.0 / (values.len() - 1) as f64);
    let ratios = values.iter().zip(&values[1..]).map(|(a, b)| b / a);
    let same = ratios
        .clone()
        .all(|r| (r - mean).abs() < 0.25 * (mean - 1.0));
    same.then_some(mean)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_of_a_sweep_grow_by_a_factor() {
        let sweep: Vec<f64> = (0..50)
            .map(|k| (100.0 * 1.1f64.powi(k)).round() / 10.0)
            .collect();
        assert!((constant_factor(&sweep).expect("a sweep") - 1.1).abs() < 1e-3);
        let even: Vec<f64> = (1..50).map(f64::from).collect();
        assert_eq!(constant_factor(&even), None);
    }
}
