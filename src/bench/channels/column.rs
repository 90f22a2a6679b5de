//! The column of a record in which a channel stands.

use super::plan::ChannelPlan;
use crate::bench::sheet::NameOrNumber;
use crate::capture::{Channel, Record};

/// The column of a plan in a record. The error says what was looked for and which columns there are.
pub fn column<'r>(plan: &ChannelPlan, record: &'r Record) -> Result<&'r Channel, String> {
    if !plan.columns.is_empty() {
        return plan
            .columns
            .iter()
            .find_map(|wanted| match wanted {
                NameOrNumber::Name(name) => by_name(record, name),
                NameOrNumber::Number(number) => {
                    record.channels.iter().find(|c| c.column == *number)
                }
            })
            .ok_or_else(|| {
                let wanted: Vec<String> = plan
                    .columns
                    .iter()
                    .map(|w| match w {
                        NameOrNumber::Name(name) => format!("\"{name}\""),
                        NameOrNumber::Number(number) => number.to_string(),
                    })
                    .collect();
                format!(
                    "no column {} for the {}; the columns are {}",
                    wanted.join(" or "),
                    plan.measures.word(),
                    list(record)
                )
            });
    }
    if let Some(channel) = by_name(record, &plan.name) {
        return Ok(channel);
    }
    // A raw shunt voltage stands in volts like the voltage itself, so no unit shows it.
    let unit = (!plan.raw_volts).then_some(plan.measures.unit());
    let matching: Vec<&Channel> = record
        .channels
        .iter()
        .filter(|c| unit.is_some() && c.unit.as_deref() == unit)
        .collect();
    match matching.as_slice() {
        [channel] => Ok(channel),
        _ => Err(format!(
            "{} columns could be the {}; the columns are {}. Say which with `column` (flags --voltage-column and --current-column), or give the units (flag --unit 2=V)",
            matching.len(),
            plan.measures.word(),
            list(record)
        )),
    }
}

/// A column by its name: as written, else without regard to case, else without the unit that the file writes behind it.
fn by_name<'r>(record: &'r Record, name: &str) -> Option<&'r Channel> {
    let find = |same: &dyn Fn(&Channel) -> bool| record.channels.iter().find(|c| same(c));
    let lower = |text: &str| text.trim().to_lowercase();
    let wanted = lower(name);
    find(&|c| c.name == name)
        .or_else(|| find(&|c| lower(&c.name) == wanted))
        .or_else(|| {
            // Two columns that differ in their unit alone are not told apart by their name without it.
            let mut bare = record
                .channels
                .iter()
                .filter(|c| lower(without_unit(&c.name)) == wanted);
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
fn list(record: &Record) -> String {
    if record.channels.is_empty() {
        return "none".to_string();
    }
    record
        .channels
        .iter()
        .map(|c| {
            let unit = c
                .unit_text
                .as_deref()
                .or(c.unit.as_deref())
                .unwrap_or("no unit");
            format!("{} \"{}\" ({unit})", c.column, c.name)
        })
        .collect::<Vec<_>>()
        .join(", ")
}
