//! Events and cuts of a capture that were set by hand: `events_s = { switch-on = 0.0012 }`, `cuts_s = [[0.01, 0.02]]`.

use super::table::Table;
use crate::bench::by_hand::{ByHand, HandEvent};
use crate::bench::error::BenchError;

pub(super) fn read_by_hand(table: &Table<'_>) -> Result<ByHand, BenchError> {
    let mut by_hand = ByHand::default();
    if let Some(events) = table.table("events_s")? {
        for (key, event) in HandEvent::KEYS {
            if let Some(at_s) = events.number(key)? {
                by_hand.events_s.push((event, at_s));
            }
        }
        events.finish()?;
    }
    by_hand.cuts_s = table.pairs("cuts_s")?.unwrap_or_default();
    match by_hand.cuts_s.iter().find(|(from, to)| from >= to) {
        Some((from, to)) => table.invalid(
            "cuts_s",
            format!(
                "`cuts_s` has a stretch from {from} to {to} s, expected an end after its beginning"
            ),
        ),
        None => Ok(by_hand),
    }
}
