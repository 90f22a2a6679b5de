//! Exports of one event with a file a channel: recognised by their names, and joined.

mod join;
mod pairing;

pub use join::{read_group, read_joined};
pub use pairing::group_by_channel;
