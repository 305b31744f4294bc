//! The fault dictionary: what every fault shows in every setup.
//!
//! A [`Setup`] is how hands have left the aircraft before anything fails: controls
//! moved from the normal setup, breakers and fuses pulled. A [`Case`] is what then
//! fails, up to two parts at once, while everything runs. What a person would see,
//! read and measure after that is an [`Entry`]: every face, and every test point to the
//! airframe, in volts direct and alternating.
//!
//! The dictionary is worked out, never stored: [`Dictionary::entry`] settles one case
//! in one setup in some microseconds. It knows every fault alike and nothing of which
//! one is hidden in a drill.
//!
//! ```
//! use std::sync::Arc;
//! use halfsplit::dictionary::{Dictionary, Setup};
//!
//! let text = r#"System(id: "lamp", title: "A lamp",
//!     stations: [Station(id: "desk", title: "DESK")], nets: ["BAT"],
//!     parts: [Supply(id: "B1", at: "desk", plus: "BAT"), Lamp(id: "L1", at: "desk", a: "BAT")])"#;
//! let (circuit, _) = halfsplit::circuit::read_system("lamp.ron", text);
//! let dictionary = Dictionary::new(Arc::new(circuit.expect("it reads"))).expect("it settles");
//! let normal = dictionary.settle(&Setup::normal()).expect("it settles");
//! let dead = dictionary.case("B1:dead").expect("a supply can be dead");
//! let entry = dictionary.entry(&normal, dead).expect("it settles");
//! let words: Vec<String> = dictionary.told(&entry).map(|row| row.perceived).collect();
//! assert_eq!(words, ["dark"]);
//! ```

mod file;
mod groups;
mod setup;
mod testability;

pub use file::read_setups;
pub use groups::{Fingerprint, Groups};
pub use setup::Setup;
pub use testability::{NewPoint, Survey, Testability};

use std::sync::Arc;

use crate::circuit::{Circuit, Kind, PartId};
use crate::faults::{self, Fault, FaultMode};
use crate::network::{BaseCase, Network, Settled, SolveError, State};
use crate::observation::{
    Function, Look, Percept, Probe, Showing, Touch, What, face, hand_meter, has_face, meter_value,
};

/// What has failed: nothing, one part, or two at once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Case {
    /// Nothing has.
    Sound,
    /// One fault, by its place in [`Dictionary::faults`].
    One(u32),
    /// Two faults of two parts, the first before the second.
    Two(u32, u32),
}

/// A setup at rest, ready for faults to strike in it.
#[derive(Debug)]
pub struct Page {
    base: BaseCase,
    shown: Vec<Shown>,
}

impl Page {
    /// How the sound aircraft stands in it.
    pub fn settled(&self) -> &Settled {
        self.base.settled()
    }
}

/// One observation of an entry: what is perceived, by an instrument without error, and
/// the exact value where there is one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// What is perceived.
    pub percept: Percept,
    /// Volts, or units of the scale; `None` for what is one of a few words.
    pub value: Option<f64>,
}

/// What one case shows in one setup.
#[derive(Debug)]
pub struct Entry<'a> {
    shown: std::borrow::Cow<'a, [Shown]>,
    /// Whether anything electrical came of it at all.
    touched: bool,
}

/// One observation in words.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Its name: a part, or `DC volts TB1-2 to GND`.
    pub observation: String,
    /// What is perceived.
    pub perceived: String,
    /// The exact value where there is one.
    pub value: Option<f64>,
}

/// Every fault of a circuit, made ready once for any number of setups.
#[derive(Debug)]
pub struct Dictionary {
    circuit: Arc<Circuit>,
    network: Network,
    normal: State,
    faults: Vec<(Fault, FaultMode)>,
    networks: Vec<Network>,
    observations: Vec<What>,
}

impl Dictionary {
    /// Makes every fault of a circuit ready.
    ///
    /// # Errors
    /// [`SolveError`] when the sound circuit has no solution.
    pub fn new(circuit: Arc<Circuit>) -> Result<Self, SolveError> {
        let network = Network::new(Arc::clone(&circuit));
        let normal = network.settle(State::at_rest(&circuit))?.state;
        let faults = faults::all(&circuit);
        let networks = faults
            .iter()
            .map(|(fault, mode)| network.with_parts(&[(fault.part, mode.faulted.clone())]))
            .collect();
        let faces = circuit.parts_with_ids().map(|(part, _)| part);
        let faces = faces.filter(|part| has_face(&circuit, *part)).map(What::Face);
        let points = circuit.test_points_with_ids().flat_map(|(point, _)| {
            [Function::DcVolts, Function::AcVolts].map(|function| {
                let (red, black) = (Touch::Point(point), Touch::Airframe);
                What::Display(Probe { function, red, black })
            })
        });
        let observations = faces.chain(points).collect();
        Ok(Self { circuit, network, normal, faults, networks, observations })
    }

    /// The circuit.
    pub fn circuit(&self) -> &Arc<Circuit> {
        &self.circuit
    }

    /// Every single fault, in part order.
    pub fn faults(&self) -> &[(Fault, FaultMode)] {
        &self.faults
    }

    /// What is observed, in the order of every entry.
    pub fn observations(&self) -> &[What] {
        &self.observations
    }

    /// Nothing, and every single fault.
    pub fn singles(&self) -> Vec<Case> {
        let faults = (0..self.faults.len() as u32).map(Case::One);
        std::iter::once(Case::Sound).chain(faults).collect()
    }

    /// Every pair of faults of two parts.
    pub fn pairs(&self) -> Vec<Case> {
        let part = |at: u32| self.faults[at as usize].0.part;
        let all = 0..self.faults.len() as u32;
        all.clone()
            .flat_map(|one| all.clone().skip(one as usize + 1).map(move |other| (one, other)))
            .filter(|(one, other)| part(*one) != part(*other))
            .map(|(one, other)| Case::Two(one, other))
            .collect()
    }

    /// The case named `PART:MODE`.
    pub fn case(&self, code: &str) -> Option<Case> {
        let known =
            |(fault, _): &(Fault, FaultMode)| fault.code(&self.circuit).eq_ignore_ascii_case(code);
        self.faults.iter().position(known).map(|at| Case::One(at as u32))
    }

    /// A case in words: `-`, `PART:MODE`, `PART:MODE + PART:MODE`.
    pub fn name(&self, case: Case) -> String {
        let code = |at: u32| self.faults[at as usize].0.code(&self.circuit);
        match case {
            Case::Sound => "-".to_owned(),
            Case::One(at) => code(at),
            Case::Two(one, other) => format!("{} + {}", code(one), code(other)),
        }
    }

    /// Brings the sound aircraft into a setup, from the normal one.
    ///
    /// # Errors
    /// [`SolveError`] when it has no solution there.
    pub fn settle(&self, setup: &Setup) -> Result<Page, SolveError> {
        let mut state = self.normal.clone();
        setup.put(&mut state);
        let settled = self.network.settle(state)?;
        let shown = self.look(&self.network, &settled)?;
        let base = BaseCase::new(&self.network, settled)?;
        Ok(Page { base, shown })
    }

    /// Lets a case strike in a setup and looks at everything there is.
    ///
    /// # Errors
    /// [`SolveError`] when that has no solution.
    pub fn entry<'a>(&self, page: &'a Page, case: Case) -> Result<Entry<'a>, SolveError> {
        let paired;
        let (network, parts) = match case {
            Case::Sound => {
                return Ok(Entry { shown: page.shown.as_slice().into(), touched: false });
            }
            Case::One(at) => (&self.networks[at as usize], vec![self.part(at)]),
            Case::Two(one, other) => {
                // A fault with a structure of its own is the one to start from.
                let akin = self.networks[other as usize].is_akin(&self.network);
                let (from, to) = if akin { (one, other) } else { (other, one) };
                let (fault, mode) = &self.faults[to as usize];
                paired =
                    self.networks[from as usize].with_parts(&[(fault.part, mode.faulted.clone())]);
                (&paired, vec![self.part(one), self.part(other)])
            }
        };
        let (mut all, touched) = match network.struck_from(&page.base, &parts)? {
            Some(settled) => (self.look(network, &settled)?, true),
            None => (page.shown.clone(), false),
        };
        if !touched {
            // Only the faces of the failed parts themselves can differ.
            for (what, seen) in self.observations.iter().zip(&mut all) {
                if matches!(what, What::Face(part) if parts.contains(part)) {
                    *seen = shown(network, page.settled(), *what)?;
                }
            }
        }
        Ok(Entry { shown: all.into(), touched })
    }

    /// The observations of an entry in words, in order.
    pub fn told<'a>(&'a self, entry: &'a Entry<'_>) -> impl Iterator<Item = Row> + 'a {
        self.observations.iter().zip(entry.shown.iter()).map(|(what, shown)| Row {
            observation: match what {
                What::Face(part) | What::Standing(part) => self.circuit.part(*part).id.clone(),
                What::Display(_) | What::InHand(_) | What::WhileHeld(_) => what.told(&self.circuit),
            },
            perceived: shown.percept.told(*what, &self.circuit),
            value: shown.value,
        })
    }

    fn part(&self, fault: u32) -> PartId {
        self.faults[fault as usize].0.part
    }

    fn look(&self, network: &Network, settled: &Settled) -> Result<Vec<Shown>, SolveError> {
        self.observations.iter().map(|what| shown(network, settled, *what)).collect()
    }
}

/// One thing that is seen, heard or measured.
fn shown(network: &Network, settled: &Settled, what: What) -> Result<Shown, SolveError> {
    let (showing, value) = match what {
        What::Face(part) | What::WhileHeld(part) => {
            let value = if let Kind::Meter(meter)
            | Kind::Ammeter(meter)
            | Kind::Loadmeter(meter)
            | Kind::FrequencyMeter(meter) = network.kind(part)
            {
                Some(meter_value(meter, &settled.solution))
            } else {
                None
            };
            (face(network, settled, part), value)
        }
        What::Display(probe) => {
            let showing = hand_meter(network, settled, probe)?;
            let value = match showing {
                Showing::Dial(dial) => Some(dial.exact),
                Showing::Look(_) | Showing::Position(_) => None,
            };
            (Some(showing), value)
        }
        What::InHand(_) | What::Standing(_) => (None, None),
    };
    let percept = match showing {
        Some(Showing::Look(look)) => Percept::Look(look),
        Some(Showing::Position(at)) => Percept::Position(at),
        Some(Showing::Dial(dial)) => Percept::Reading(dial.reading(0.0)),
        // Only what has a face is among the observations.
        None => Percept::Look(Look::Dead),
    };
    Ok(Shown { percept, value })
}

impl Entry<'_> {
    /// What is shown, in the order of [`Dictionary::observations`].
    pub fn shown(&self) -> &[Shown] {
        &self.shown
    }

    /// Whether anything electrical came of the case.
    pub fn touched(&self) -> bool {
        self.touched
    }
}
