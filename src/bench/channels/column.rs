//! The column of a record in which a channel stands.

use super::plan::ChannelPlan;
use crate::bench::sheet::NameOrNumber;
use crate::capture::{Channel, Record};

/// The column of a plan in a record. The error says what was looked for and which columns there are.
pub fn column<'r>(plan: &ChannelPlan, record: &'r Record) -> Result<&'r Channel, String> {
    let columns = &record.channels;
    let what = plan.measures.word();
    if !plan.columns.is_empty() {
        let found = plan.columns.iter().find_map(|wanted| find(columns, wanted));
        return found.ok_or_else(|| {
            let wanted = plan.columns.iter().map(|wanted| match wanted {
                NameOrNumber::Name(name) => format!("\"{name}\""),
                NameOrNumber::Number(number) => number.to_string(),
            });
            let wanted = wanted.collect::<Vec<_>>().join(" or ");
            let known = list(columns);
            format!("no column {wanted} for the {what}; the columns are {known}")
        });
    }
    if let Some(channel) = by_name(columns, &plan.name) {
        return Ok(channel);
    }
    // A raw shunt voltage stands in volts like the voltage itself, so no unit shows it.
    let has_unit =
        |c: &&Channel| !plan.raw_volts && c.unit.as_deref() == Some(plan.measures.unit());
    let matching: Vec<&Channel> = columns.iter().filter(has_unit).collect();
    match matching.as_slice() {
        [channel] => Ok(channel),
        _ => Err(format!(
            "{} columns could be the {what}; the columns are {}. Say which with `column` (flags --voltage-column and --current-column), or give the units (flag --unit 2=V)",
            matching.len(),
            list(columns)
        )),
    }
}

/// The column with this name or number.
pub fn find<'c>(columns: &'c [Channel], wanted: &NameOrNumber) -> Option<&'c Channel> {
    match wanted {
        NameOrNumber::Name(name) => by_name(columns, name),
        NameOrNumber::Number(number) => columns.iter().find(|c| c.column == *number),
    }
}

/// A column by its name: as written, else without regard to case, else without the unit that the file writes behind it.
pub fn by_name<'c>(columns: &'c [Channel], name: &str) -> Option<&'c Channel> {
    let first = |same: &dyn Fn(&Channel) -> bool| columns.iter().find(|c| same(c));
    let lower = |text: &str| text.trim().to_lowercase();
    let wanted = lower(name);
    first(&|c| c.name == name)
        .or_else(|| first(&|c| lower(&c.name) == wanted))
        .or_else(|| {
            // Two columns that differ in their unit alone are not told apart by their name without it.
            let same = |c: &&Channel| lower(without_unit(&c.name)) == wanted;
            let mut bare = columns.iter().filter(same);
            bare.next().filter(|_| bare.next().is_none())
        })
}

/// `CH1 (V)`, `CH1 [V]` and `CH1/V` without their unit.
pub fn without_unit(name: &str) -> &str {
    let name = name.trim();
    let cut = if name.ends_with(')') {
        name.rfind('(')
    } else if name.ends_with(']') {
        name.rfind('[')
    } else {
        name.rfind('/')
    };
    match cut {
        Some(at) if at > 0 => name[..at].trim_end(),
        _ => name,
    }
}

/// `2 "CH1" (V), 3 "CH2" (A)`.
pub fn list(columns: &[Channel]) -> String {
    let each = columns.iter().map(|c| {
        let unit = c.unit_text.as_deref().or(c.unit.as_deref());
        format!(
            "{} \"{}\" ({})",
            c.column,
            c.name,
            unit.unwrap_or("no unit")
        )
    });
    match columns.is_empty() {
        true => "none".to_string(),
        false => each.collect::<Vec<_>>().join(", "),
    }
}
