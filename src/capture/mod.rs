//! Bytes of an exported file to a [`Record`]: decoding, layout found by structure, numbers, units, faults with positions.
//!
//! [`read()`] is the way in. Inside, data pass `source` (hash, gzip, encoding, line ends, bounds), `layout` (delimiter, decimal
//! mark, first row of numbers, preamble, names, units, time column), `rows` (cells to columns of numbers) and `time` (even or
//! listed, gaps and repeats). `signal` finds what a column shows of the instrument.
//! `wording` has what all of them say of a file.

mod assemble;
mod cell;
mod group;
mod layout;
mod read;
mod record;
mod rows;
mod signal;
mod source;
mod time;
mod wording;

pub use cell::unit::seconds as parse_seconds;
pub use group::{group_by_channel, read_group, read_joined};
pub use layout::tokens as name_words;
pub use read::{Limits, ReadOptions, TimeGaps, read, read_from};
pub use record::{Channel, ChannelFacts, PreambleFact, ReadError, Record, TimeAxis, Warning};
pub use signal::{Codes, clipped, codes, codes_and_noise, noise, quantisation_step, rests_at_zero};
pub use wording::{LayoutRule, OtherAxis, ReadErrorKind, StepsBack, WarningKind};
