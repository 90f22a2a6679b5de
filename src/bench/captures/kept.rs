//! Captures as they were read last, for a sheet that is read again and again while little of it changes.

use super::plan::CapturePlan;
use crate::bench::capture::{Capture, CaptureWarning};
use crate::bench::channels::{ScaleEstimate, Seen};
use crate::bench::remarks::BenchRemarkKind;
use std::collections::HashMap;
use std::fmt::Debug;
use std::fs::Metadata;
use std::path::Path;

/// A capture as it was read, with what was remarked on the way.
#[derive(Clone)]
pub(super) struct Loaded {
    pub capture: Capture,
    pub warnings: Vec<BenchRemarkKind>,
    pub notes: Vec<BenchRemarkKind>,
    pub capture_warnings: Vec<CaptureWarning>,
    pub estimated: Vec<ScaleEstimate>,
    /// Of voltage and current.
    pub seen: [Option<Seen>; 2],
}

/// What was read of every capture, each under all that it follows from: its plan, the instruments, and size and times of its files.
#[derive(Default)]
pub struct Kept {
    /// Without it nothing is kept, and no copy made.
    pub(super) keeping: bool,
    pub(super) loaded: HashMap<String, Loaded>,
    pub(super) keys: Vec<String>,
    pub(super) warnings: Vec<Vec<CaptureWarning>>,
}

impl Kept {
    /// Keeps captures from one reading to the next; the default keeps none.
    pub fn keeping() -> Kept {
        Kept {
            keeping: true,
            ..Kept::default()
        }
    }

    /// One key a capture of the bench that was read last, in its order: equal keys mean equal captures, but for what was set by hand.
    pub fn keys(&self) -> &[String] {
        &self.keys
    }

    /// Of the same captures, what decides how far each can be used.
    pub fn warnings(&self) -> &[Vec<CaptureWarning>] {
        &self.warnings
    }
}

/// The key of a capture; `None` where a file cannot be looked at, so that nothing may be kept.
pub(super) fn key(plan: &CapturePlan, context: &impl Debug) -> Option<String> {
    let mut stamps = Vec::new();
    for path in std::iter::once(&plan.path).chain(&plan.further) {
        stamps.push(stamp(path)?);
    }
    // Places move with every line that is written above them, and what is set by hand changes nothing that is read.
    let mut plan = plan.clone();
    plan.place = None;
    plan.by_hand = Default::default();
    for channel in [&mut plan.voltage, &mut plan.current].into_iter().flatten() {
        channel.place = None;
    }
    Some(format!("{plan:?}{context:?}{stamps:?}"))
}

/// Size and times of a file, by which a change shows; where the system has them also number and time of the entry itself.
fn stamp(path: &Path) -> Option<(u64, Option<std::time::SystemTime>, [i64; 3])> {
    let metadata = std::fs::metadata(path).ok()?;
    let entry = entry(&metadata);
    Some((metadata.len(), metadata.modified().ok(), entry))
}

#[cfg(unix)]
fn entry(metadata: &Metadata) -> [i64; 3] {
    use std::os::unix::fs::MetadataExt;
    [
        metadata.ino() as i64,
        metadata.ctime(),
        metadata.ctime_nsec(),
    ]
}

#[cfg(not(unix))]
fn entry(_: &Metadata) -> [i64; 3] {
    [0; 3]
}
