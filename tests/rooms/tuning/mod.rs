//! The rules of tuning: the beam against an exact one, simulated persons, bench against instrument, ranks beside each other,
//! where an instrument stands.

mod beam;
mod offsets;
mod persons;
mod ranks;
mod sitting;
mod speech;
mod stands;
