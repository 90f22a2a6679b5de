//! A drawn bench as a user brings it: written into a folder and read again.

use rundown::bench::{Bench, BenchError, LoadOptions, read_sheet};
use testbench::{DrawnBench, temporary_folder};

pub fn load(drawn: &DrawnBench) -> Result<Bench, BenchError> {
    let folder = temporary_folder(drawn).expect("a folder can be written");
    read_sheet(&folder.path().join("bench.toml"), &LoadOptions::default())
}
