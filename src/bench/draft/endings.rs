//! Files that may be captures.

/// Endings of files that are tried as captures; `.gz` may follow.
pub(super) const ENDINGS: [&str; 6] = ["csv", "tsv", "txt", "dat", "asc", "tab"];
