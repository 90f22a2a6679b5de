//! Identification of a brushed permanent-magnet DC motor from oscilloscope captures.
//!
//! The modules stand in the order in which the data flow through them; a module may use those above it in the
//! list of its needs, never those below.
//!
//! * [`quantity`]: units, and numbers as people write and read them.
//! * [`stats`]: pure statistics, no files, no terminal, no clock.
//! * [`files`]: files written atomically, and read within a bound.
//! * [`motor`]: the motor model, its simulation and sensitivities.
//! * [`capture`]: bytes of an exported file to a [`capture::Record`].
//! * [`mod@bench`]: bench sheet and instruments; a record becomes a [`bench::Waveform`] in volts and amperes.
//! * [`events`]: make, bounce, release, arc, short, standstill: the phases of a waveform.
//! * [`ripple`]: speed from commutation ripple, in the angle domain.
//! * [`fit`]: the joint estimate of all captures and readings of one motor.
//! * [`motor_file`]: the written result.
//! * [`mod@identify`]: the way from a bench through events and fit to the motor file.
//! * [`claim`]: a vendor's sheet held against a motor file.
//! * [`drive`]: what the motor file means for the drive.
//! * [`next`]: what to measure next, before any capture and after a fit.
//! * [`export`]: one file a format that other tools read.
//! * [`report`]: the HTML page of a fit, and its data.
//! * [`verify`]: a motor file held against its inputs.
//! * [`lot`]: many motors, and what they say together.
//! * [`mod@plot`]: pictures of a motor file, SVG and PNG.

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
pub mod verify;
