//! The versions of the standard.

/// Version of the standard.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FmiVersion {
    /// 2.0
    Two,
    /// 3.0
    Three,
}
