//! What a drill rules out: the means that are not there today, and the stations that
//! cannot be reached.

use std::fmt::Write as _;

use super::probe::Function;
use super::rig::{Act, Step};
use crate::circuit::{Circuit, StationId};

/// Something hands do, as far as a drill can rule it out. Moving controls is always allowed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Handwork {
    /// Pulling breakers and fuses.
    Pull,
    /// Pushing in breakers.
    PushIn,
    /// Fitting spare fuses.
    FitSpare,
    /// Exchanging parts.
    Replace,
}

impl Handwork {
    /// All of them.
    pub const ALL: [Self; 4] = [Self::Pull, Self::PushIn, Self::FitSpare, Self::Replace];

    /// Its name in a file.
    pub fn name(self) -> &'static str {
        match self {
            Self::Pull => "pulling",
            Self::PushIn => "pushing in",
            Self::FitSpare => "spare fuses",
            Self::Replace => "exchanging",
        }
    }

    fn of(act: Act) -> Option<Self> {
        match act {
            Act::Set { .. } | Act::Hold { .. } | Act::Refit(_) => None,
            Act::Pull(_) => Some(Self::Pull),
            Act::PushIn(_) => Some(Self::PushIn),
            Act::FitSpare(_) => Some(Self::FitSpare),
            Act::Replace(_) => Some(Self::Replace),
        }
    }
}

/// What a drill rules out; nothing unless it says so.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Barred {
    /// What the hand meter does not measure today.
    pub functions: Vec<Function>,
    /// What hands may not do.
    pub handwork: Vec<Handwork>,
    /// Stations that cannot be reached.
    pub stations: Vec<StationId>,
}

impl Barred {
    /// Whether nothing is ruled out.
    pub fn is_empty(&self) -> bool {
        self.functions.is_empty() && self.handwork.is_empty() && self.stations.is_empty()
    }

    /// Why a step that is done at a station is ruled out, as a sentence without its stop;
    /// `None` when it is not.
    pub fn reason(&self, circuit: &Circuit, step: Step, at: StationId) -> Option<String> {
        if self.stations.contains(&at) {
            return Some(format!("{} cannot be reached in this drill", circuit.station(at).title));
        }
        match step {
            Step::Probe(probe) if self.functions.contains(&probe.function) => {
                Some(format!("this drill rules out measuring {}", probe.function.name()))
            }
            Step::Act(act) => Handwork::of(act)
                .filter(|work| self.handwork.contains(work))
                .map(|work| format!("this drill rules out {}", work.name())),
            Step::Probe(_) | Step::Go(_) | Step::LookAround => None,
        }
    }

    /// What is ruled out, as one sentence; empty when nothing is.
    pub fn told(&self, circuit: &Circuit) -> String {
        if self.is_empty() {
            return String::new();
        }
        let measuring = self.functions.iter().map(|function| function.name().to_owned());
        let handwork = self.handwork.iter().map(|work| work.name().to_owned());
        let stations = self.stations.iter().map(|at| circuit.station(*at).title.clone());
        let all: Vec<String> = measuring.chain(handwork).chain(stations).collect();
        let mut text = String::new();
        let _ = write!(text, "Ruled out today: {}.", all.join(", "));
        text
    }
}
