//! What a capture's phases are checked for once they are known; each check leaves remarks.

pub(crate) mod current;
pub(crate) mod held;
