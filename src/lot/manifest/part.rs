//! A share of a lot, so that several machines work on it.

use std::str::FromStr;

/// Every n-th motor from the k-th, written `k/n`; the whole lot by default.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// k, counted from 1.
    number: u64,
    /// n.
    parts: u64,
}

impl Default for Part {
    fn default() -> Part {
        Part {
            number: 1,
            parts: 1,
        }
    }
}

impl Part {
    /// True when a row of the manifest, counted from 0, belongs to this part.
    pub fn contains(self, row: u64) -> bool {
        row % self.parts == self.number - 1
    }
}

impl FromStr for Part {
    type Err = String;

    fn from_str(text: &str) -> Result<Part, String> {
        let (k, n) = text
            .split_once('/')
            .ok_or("expected K/N, e.g. 2/8 for the second of eight parts")?;
        let whole = |t: &str| t.trim().parse::<u64>().map_err(|e| format!("{t:?}: {e}"));
        let (number, parts) = (whole(k)?, whole(n)?);
        if number == 0 || number > parts {
            return Err(format!(
                "there is no part {number} of {parts}: expected 1 to {parts}"
            ));
        }
        Ok(Part { number, parts })
    }
}
