//! What steps back in time look like, and what to do about them.

/// What steps back in time look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub enum BackwardsPattern {
    /// Single places.
    Single,
    /// Time begins again, as it does where several records stand in one file.
    Restarts,
    /// The rows are in no order of time.
    Unsorted,
}

impl BackwardsPattern {
    /// What to do, as sentences.
    pub(in crate::capture) fn advice(self) -> &'static str {
        match self {
            BackwardsPattern::Single => {
                "Export the record again, or pass --time-gaps split to keep its longest increasing stretch"
            }
            BackwardsPattern::Restarts => {
                "Time begins again there: the file holds several records. Export them one by one, or pass --time-gaps split to keep the longest (the first of equals)"
            }
            BackwardsPattern::Unsorted => {
                "The rows are not in the order of time, if this column is time at all. --time-gaps sort puts them in order; --time-column names another column"
            }
        }
    }
}
