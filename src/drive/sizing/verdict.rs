//! Which limit a profile meets first, and whether it holds in the worst case.

use crate::drive::result::{Sizing, Verdict};

/// Rows of what a profile uses of each limit, with the limit in words.
const LIMITS: [(&str, &str); 3] = [
    ("profile_voltage_share", "the supply voltage"),
    ("profile_current_share", "the current limit"),
    ("profile_heat_share", "the permissible rise of the winding"),
];

/// Row of the voltage that a half bridge has not.
const REVERSED: &str = "profile_reversed_voltage";

/// The verdict; `None` where no limit is known.
pub fn verdict(sizing: &Sizing) -> Option<Verdict> {
    let used = LIMITS
        .iter()
        .filter_map(|(key, words)| Some((*key, *words, sizing.bounded(key)?)));
    let (first, words, share) = used.max_by(|a, b| a.2.upper.total_cmp(&b.2.upper))?;
    let percent = |share: f64| format!("{:.0} %", 100.0 * share);
    let (middle, worst) = (percent(share.middle), percent(share.upper));
    let reversed = sizing.bounded(REVERSED).filter(|v| v.upper > 0.0);
    if let Some(volts) = reversed {
        let text = format!(
            "a half bridge cannot drive it: it needs up to {:.1} V against the direction (worst case {:.1} V); take a full bridge (--bridge full), or brake more slowly",
            volts.middle, volts.upper
        );
        return Some(Verdict {
            holds: false,
            first: REVERSED,
            text,
        });
    }
    let text = if share.middle > 1.0 {
        format!("exceeds {words}: takes {middle} of it (worst case {worst})")
    } else if share.upper > 1.0 {
        format!("may exceed {words}: takes {middle} of it, in the worst case {worst}")
    } else {
        format!(
            "within every limit; the nearest is {words}: {middle} of it used (worst case {worst})"
        )
    };
    Some(Verdict {
        holds: share.upper <= 1.0,
        first,
        text,
    })
}
