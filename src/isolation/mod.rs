//! A drill as a planning problem: the faults that are still possible, what can be looked
//! at and measured, and what that costs, as the numbers that [`crate::planning`] works on.
//!
//! The aircraft is simplified in five ways, so that a strategy is a tree of fixed
//! outcomes:
//!
//! * Readings that an instrument's error could exchange count as alike. Nobody can do
//!   worse than that; somebody who reads a good instrument may do better.
//! * Controls are moved one at a time from how they stand: *as found*, or one of them in
//!   another position. A control that springs back is held, looked at and let go. To have
//!   all as found again takes as long as the quickest control does.
//! * The walk to a station and its opening are paid once, by the first thing done there: a
//!   test, or a control moved for a test elsewhere. The walk back is not counted.
//! * A breaker that has tripped is reset once and watched from its station and from the
//!   flight deck; what is seen without that counts as still to be had.
//! * A fuse is pulled, looked at and put back; a part is exchanged, with it whatever fuse
//!   or breaker it had opened, and one looks where that may have helped.
//!
//! What is left when no test tells two groups apart is an ambiguity set, and a strategy
//! ends there.

mod alike;
mod standing;
mod table;

pub use standing::{Found, Position};
pub(crate) use table::mended;
pub use table::{Isolation, Trial, Trying};

use crate::circuit::{Circuit, StationId};
use crate::observation::{Percept, Rig, Showing};

/// The stations where the crew sit.
pub fn crew_stations(circuit: &Circuit) -> impl Iterator<Item = StationId> + '_ {
    circuit.stations_with_ids().filter(|(_, s)| s.crew).map(|(id, _)| id)
}

/// Whether the crew would see any difference between two aircraft.
pub fn noticed(normal: &Rig, faulted: &Rig) -> bool {
    // A pointer differs if a perfect instrument would be read differently.
    let plain = |rig: &Rig| -> Vec<Percept> {
        crew_stations(normal.circuit())
            .flat_map(|station| {
                rig.faces(station).map(|(_, showing)| perfect(showing)).collect::<Vec<_>>()
            })
            .collect()
    };
    plain(normal) != plain(faulted)
}

fn perfect(showing: Showing) -> Percept {
    match showing {
        Showing::Look(look) => Percept::Look(look),
        Showing::Position(at) => Percept::Position(at),
        Showing::Dial(dial) => Percept::Reading(dial.reading(0.0)),
    }
}
