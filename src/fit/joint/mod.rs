//! The steps of the joint fit: evidence, the plain motor, references from the ripple, every term, checks.

pub(super) mod descent;
mod evidence;
pub(super) mod joint_fit;
pub(super) mod memory;
mod plain_motor;
pub(super) mod preliminary_fit;
pub(super) mod weights;
