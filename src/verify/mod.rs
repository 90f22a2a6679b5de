//! A motor file held against what it was made from: are the inputs unchanged, and do they give its numbers again?
//!
//! * [`is_as_written`]: the hash in the file is that of what it holds.
//! * [`check_inputs`]: every input is found and hashed.
//! * [`reproduce`]: the bench sheet among them is fitted again and its numbers are compared.
//!
//! A motor file may come from anyone. So nothing is read but regular files inside the folders that the caller names, and a
//! sheet is only parsed when its hash is the stated one.

mod inputs;
mod numbers;

pub use inputs::{CheckedInput, Search, State, check_inputs};
pub use numbers::{
    Comparison, Difference, NotReproduced, Rounding, compare, is_as_written, reproduce,
};
