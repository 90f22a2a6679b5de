//! Tables of readings as terms of the least squares.
//!
//! A row is one state of the motor. With voltage V, current i, speed ω and load torque T as the meters read them, gains and zeros taken off,
//!
//! ```text
//! V = R (1 + α ϑ)(1 + p) i + V_b tanh(i/I_b) + (1 − a i) e,    e = K ω        voltage balance, V
//! (1 − a i) i = I_c + G_v e + W e² + T/K                                      torque balance, A
//! ```
//! (ϑ: how much warmer the winding is than in the captures, K; p: departure of the resistance at a held rotor's position.) Each gives one
//! residual. Meters are shared by all rows and tables that name them; each reading has digits of its own.

mod balance;
mod meter;
mod prepare;

pub use balance::{BalanceOf, Residual, RowTerm};
pub use prepare::table_terms;
