//! Bytes of an exported file to a [`Record`]: decoding, layout found by structure, numbers, units, faults with positions.
//!
//! [`read()`] is the way in. Inside, data pass `source` (hash, gzip, encoding, line ends, bounds), `sniff` (delimiter,
//! decimal mark, first row of numbers), `layout` with `header` and `role` (names, units, time column), `table` and
//! `bulk` (rows streamed into columns; `digits` and `line_ends` are their fast ways), `axis` with `time` (even or listed, gaps and repeats), with `facts` (preamble),
//! `unit`, `cell` and `remark` (wording) beside. `signal` and `noise` tell what a column says of the instrument.

mod alike;
mod axis;
mod block;
mod bulk;
mod cell;
mod digits;
mod error;
mod facts;
mod header;
mod layout;
mod levels;
mod line_ends;
mod noise;
mod options;
mod piece;
mod read;
mod record;
mod remark;
mod role;
mod signal;
mod sniff;
mod source;
mod table;
mod time;
mod times;
mod unit;

pub use error::ReadError;
pub use noise::noise;
pub use options::{Limits, ReadOptions, TimeGaps};
pub use read::{read, read_from};
pub use record::{Channel, ChannelFacts, PreambleFact, Record, Remark, TimeAxis};
pub use remark::is_doubtful;
pub use signal::{Codes, clipped, codes, codes_and_noise, quantisation_step};
pub use unit::seconds as parse_seconds;
