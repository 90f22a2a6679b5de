//! Identification of a brushed permanent-magnet DC motor from oscilloscope captures.
//!
//! ```
//! use rundown::{bench, fit::FitOptions, identify, motor_file::{self, Overwrite, ParameterName, draw::ParameterSet}};
//! # fn main() -> Result<(), Box<dyn std::error::Error>> {
//! # let folder = tempfile::tempdir()?;
//! # let output = folder.path().join("motor.json");
//! let bench = bench::read_sheet("fixtures/ticket_printer/bench.toml".as_ref(), &bench::LoadOptions::default())?;
//! let found = identify::identify(&bench, &FitOptions::default(), |_stage| ())?;
//! let resistance = &found.file.parameters[&ParameterName::TerminalResistance];
//! println!("R = {:?} ohm, 95 % interval {:?} to {:?}", resistance.value, resistance.lower, resistance.upper);
//! let motor = ParameterSet::estimate(&found.file);
//! let k = motor.value(ParameterName::BackEmfConstant).expect("a speed reference");
//! let running = motor.steady().expect("determined").no_load(24.0).expect("it turns");
//! println!("no load at 24 V: {:.3} A, {:.1} rad/s", running.current_a, running.speed_rad_s(k));
//! motor_file::write(&output, &found.file, Overwrite::MotorFileOnly)?;
//! # assert!((resistance.value.unwrap() - 3.2).abs() < 0.3, "{resistance:?}");
//! # assert!((running.speed_rad_s(k) - 536.0).abs() < 15.0, "{running:?}");
//! # Ok(())
//! # }
//! ```
//!
//! The data flow through the modules in this order; a module uses those before it and none after it.
//!
//! | module | from what to what |
//! | --- | --- |
//! | [`quantity`] | text to SI values and back: units, prefixes, rounding, the nearest known word |
//! | [`stats`] | arrays to numbers: quantiles, covariances; no files, no terminal, no clock |
//! | [`files`] | atomic writes and bounded reads |
//! | [`motor`] | parameters and a terminal condition to states and operating points, with derivatives |
//! | [`capture`] | the bytes of an exported file to a [`capture::Record`] |
//! | [`mod@bench`] | a bench sheet and its records to a [`bench::Bench`] of [`bench::Waveform`]s in volts and amperes |
//! | [`events`] | a waveform to a [`events::Timeline`]: switch-on, bounce, arc, open terminals, short, standstill |
//! | [`ripple`] | a run-down or a current to a speed, by its commutation ripple |
//! | [`fit`] | a bench and its timelines to an [`fit::Estimate`]: one joint fit of all captures and readings |
//! | [`motor_file`] | an estimate to the written [`motor_file::MotorFile`], and back |
//! | [`mod@thermal`] | heat runs and cooling curves to the thermal model of a motor file |
//! | [`mod@identify`] | a bench to timelines, estimate and motor file: the way that commands take |
//! | [`claim`] | a motor file and a vendor's datasheet to verdicts |
//! | [`drive`] | a motor file and the conditions of a drive to currents, losses and limits |
//! | [`next`] | a bench, with or without a fit, to the captures worth making next |
//! | [`export`] | a motor file to the files of other tools |
//! | [`report`] | bench, timelines, estimate and motor file to one HTML page |
//! | [`verify`] | a motor file and its inputs to what has changed |
//! | [`mod@plot`] | a motor file and its captures to pictures, SVG and PNG |
//! | [`watch`] | a folder that captures arrive in to a page that follows it |
//! | [`lot`] | many benches to tables and a summary |

#![forbid(unsafe_code)]
#![deny(missing_docs)]

pub mod bench;
pub mod capture;
pub mod claim;
pub mod drive;
pub mod events;
pub mod export;
pub mod files;
pub mod fit;
pub mod identify;
pub mod lot;
pub mod motor;
pub mod motor_file;
pub mod next;
pub mod plot;
pub mod quantity;
pub mod report;
pub mod ripple;
pub mod stats;
pub mod thermal;
pub mod verify;
pub mod watch;
