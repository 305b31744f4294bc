//! Where the things of a circuit stand in the file they were read from.
//!
//! A circuit is what a file means; it has forgotten lines and columns. Whoever finds
//! something in the circuit itself, such as a fuse too large for its wire, points back into
//! the file with these.

use super::{PartId, StationId};
use crate::diagnostic::{Place, Severity};

/// Where each part and station stands, and what only the file says of them.
#[derive(Clone, Debug, Default)]
pub struct Origins {
    pub(super) parts: Vec<PartOrigin>,
    pub(super) stations: Vec<Place>,
    pub(super) system: Place,
}

/// One part as written.
#[derive(Clone, Debug)]
pub(super) struct PartOrigin {
    /// As messages call it: ``Fuse `F1` ``.
    pub(super) who: String,
    pub(super) place: Place,
    /// The fields that are given.
    pub(super) fields: Vec<(&'static str, Place)>,
    /// Its gauge, where its ohms come from that.
    pub(super) gauge_awg: Option<u8>,
}

impl Origins {
    /// The part as messages call it: its kind and its name in quotes.
    pub fn who(&self, part: PartId) -> &str {
        self.parts.get(part.index()).map_or("a part", |origin| origin.who.as_str())
    }

    /// The American wire gauge of a wire whose ohms follow from it.
    pub fn gauge_awg(&self, part: PartId) -> Option<u8> {
        self.parts.get(part.index())?.gauge_awg
    }

    /// Where a remark points: the field if it is given, or what it belongs to.
    pub(super) fn place(&self, spot: Spot) -> Place {
        match spot {
            Spot::System => self.system,
            Spot::Station(station) => {
                self.stations.get(station.index()).copied().unwrap_or(self.system)
            }
            Spot::Part(part, field) => self.parts.get(part.index()).map_or(self.system, |origin| {
                let given = origin.fields.iter().find(|(name, _)| *name == field);
                given.map_or(origin.place, |(_, place)| *place)
            }),
        }
    }
}

/// What a remark is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Spot {
    /// The system as a whole.
    System,
    /// A station.
    Station(StationId),
    /// A field of a part, or the part itself where the field is not given.
    Part(PartId, &'static str),
}

/// Something found in a circuit rather than in its text.
#[derive(Clone, Debug, PartialEq)]
pub struct Remark {
    /// How serious it is.
    pub severity: Severity,
    /// Short stable name of the finding, such as `protector-too-large`.
    pub code: &'static str,
    /// What it is about.
    pub spot: Spot,
    /// What is wrong and what was expected, one sentence without a full stop.
    pub message: String,
    /// A suggestion, where there is one.
    pub hint: Option<String>,
}
