//! The trainee's eyes: turns what is shown into what is read, through errors that
//! are drawn once per instrument and then stay; of the hand meter once per pair of places.

use std::collections::BTreeMap;

use crate::chance::Chance;
use crate::circuit::PartId;
use crate::observation::{Instrument, Percept, Probe, Showing, Sight, Touch};

/// Reads instruments with the errors that belong to one seed.
#[derive(Clone, Debug)]
pub(super) struct Reader {
    seed: u64,
    /// How often an installed meter has been exchanged: a new one has its own error.
    renewals: BTreeMap<PartId, u32>,
}

impl Reader {
    pub(super) fn new(seed: u64) -> Self {
        Self { seed, renewals: BTreeMap::new() }
    }

    /// Notes that a part has been exchanged.
    pub(super) fn renew(&mut self, part: PartId) {
        *self.renewals.entry(part).or_default() += 1;
    }

    /// What is perceived of a sight.
    pub(super) fn read(&self, sight: Sight) -> Percept {
        match sight.showing {
            Showing::Look(look) => Percept::Look(look),
            Showing::Position(at) => Percept::Position(at),
            Showing::Dial(dial) => {
                let error = sight.what.instrument().map_or(0.0, |i| self.error_of(i));
                Percept::Reading(dial.reading(error))
            }
        }
    }

    fn error_of(&self, instrument: Instrument) -> f64 {
        let purpose = match instrument {
            Instrument::Meter(part) => {
                let renewals = self.renewals.get(&part).copied().unwrap_or(0);
                format!("meter {} {renewals}", part.0)
            }
            Instrument::Hand(Probe { function, red, black }) => {
                let place = |touch| match touch {
                    Touch::Point(point) => format!("{}", point.0),
                    Touch::Airframe => "GND".to_owned(),
                };
                format!("hand meter {} {} {}", function.name(), place(red), place(black))
            }
        };
        Chance::stream(self.seed, &purpose).signed()
    }
}
