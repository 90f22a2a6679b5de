//! One file a command: its arguments, and what it does with the library.

pub mod claim;
pub mod drive;
pub mod export;
pub mod fit;
pub mod look;
pub mod lot;
pub mod next;
pub mod plot;
pub mod sheet;
pub mod verify;
pub mod watch;
