//! The setup named on the command line, brought to rest: shared by every verb that
//! looks at a circuit as it then stands.

use std::sync::Arc;

use anyhow::{Context, Result, anyhow, bail};

use super::args;
use crate::circuit::{Circuit, PartId};
use crate::diagnostic::did_you_mean;
use crate::faults::{self, Planted};
use crate::network::{Network, PartState, Settled, State};

/// A fault of the setup, and whether it is there.
#[derive(Clone, Debug)]
pub(super) struct Struck {
    /// The fault.
    pub(super) planted: Planted,
    /// Whether its conditions hold.
    pub(super) present: bool,
}

/// A circuit brought to rest.
pub(super) struct Stands {
    pub(super) network: Network,
    pub(super) settled: Settled,
    /// How many of its events belong to switching on, before any fault struck.
    pub(super) switching_on: usize,
}

/// The faults that the setup names, in its order.
///
/// # Errors
/// When a control, a position or a fault is not of this circuit, or two faults are of
/// one part.
pub(super) fn faults(circuit: &Circuit, setup: &args::Setup) -> Result<Vec<Struck>> {
    let positions = positions(circuit, setup)?;
    let planted = setup
        .faults
        .iter()
        .map(|typed| faults::parse_planted(circuit, typed))
        .collect::<Result<Vec<_>, _>>()?;
    faults::compatible(circuit, &planted)?;
    let struck = |planted: Planted| Struck {
        present: planted.is_present(circuit, &positions, &setup.under),
        planted,
    };
    Ok(planted.into_iter().map(struck).collect())
}

/// Sets the controls, switches on, lets the faults that are there strike at once.
///
/// # Errors
/// When a control, a position or a fault is not of this circuit, two faults are of one
/// part, or some state on the way has no solution.
pub(super) fn settle(circuit: Circuit, setup: &args::Setup) -> Result<Stands> {
    let struck = faults(&circuit, setup)?;
    let present = || struck.iter().filter(|struck| struck.present).map(|struck| &struck.planted);
    let mut circuit = Arc::new(circuit);
    let mut state = State::at_rest(&circuit);
    for (control, position) in positions(&circuit, setup)? {
        state.set(control, PartState::Position(position));
    }
    let mut network = Network::new(Arc::clone(&circuit));
    let mut settled = network.settle(state)?;
    let switching_on = settled.events.len();
    // All at once, as the dictionary has it: so the order in which they are named makes
    // no difference.
    for planted in present() {
        circuit = Arc::new(faults::apply(&circuit, &planted.fault, &planted.mode));
    }
    if present().next().is_some() {
        network = Network::like(Arc::clone(&circuit), &network);
        let mut state = settled.state.clone();
        for planted in present() {
            state.adopt(&circuit, planted.fault.part);
        }
        let events = settled.events;
        settled = network.settle(state)?;
        settled.events.splice(0..0, events);
    }
    Ok(Stands { network, settled, switching_on })
}

/// The controls that the setup moves, and the positions it moves them to.
fn positions(circuit: &Circuit, setup: &args::Setup) -> Result<Vec<(PartId, u8)>> {
    let mut positions = Vec::new();
    for set in &setup.sets {
        let (control, position) =
            set.split_once('=').with_context(|| format!("`{set}` is not CONTROL=POSITION"))?;
        let id = circuit.find_part(control).ok_or_else(|| {
            let hint = did_you_mean(control, circuit.parts.iter().map(|p| p.id.as_str()));
            anyhow!("no control `{control}` in this system{}", tail(hint))
        })?;
        let Some(found) = circuit.part(id).kind.control() else {
            bail!("{} is not a control", circuit.part(id).id)
        };
        let at = found.positions.iter().position(|p| p.eq_ignore_ascii_case(position)).ok_or_else(
            || {
                anyhow!(
                    "{} has no position `{position}`; it has {}",
                    circuit.part(id).id,
                    found.positions.join(", ")
                )
            },
        )?;
        positions.push((id, at as u8));
    }
    Ok(positions)
}

fn tail(hint: Option<String>) -> String {
    hint.map(|h| format!("; {h}")).unwrap_or_default()
}
