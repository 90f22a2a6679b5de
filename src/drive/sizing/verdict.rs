//! Which limit a profile meets first, and whether it holds in the worst case.

use crate::drive::remarks::notes::Note;
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
    let (first, limit, share) = used.max_by(|a, b| a.2.upper.total_cmp(&b.2.upper))?;
    let reversed = sizing.bounded(REVERSED).filter(|v| v.upper > 0.0);
    let (holds, first, note) = match reversed {
        Some(volts) => {
            let (middle_v, worst_v) = (volts.middle, volts.upper);
            (false, REVERSED, Note::Reversed { middle_v, worst_v })
        }
        None => {
            let (middle, worst) = (share.middle, share.upper);
            let note = Note::NearestLimit {
                limit,
                middle,
                worst,
            };
            (worst <= 1.0, first, note)
        }
    };
    Some(Verdict {
        holds,
        first,
        text: note.to_string(),
    })
}
