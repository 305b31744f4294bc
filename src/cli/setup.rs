//! The setup named on the command line, brought to rest: shared by every verb that
//! looks at a circuit as it then stands.

use std::sync::Arc;

use anyhow::{Context, Result, anyhow, bail};

use super::args;
use crate::circuit::{Circuit, Kind};
use crate::diagnostic::did_you_mean;
use crate::faults;
use crate::network::{Network, PartState, Settled, State};

/// Sets the controls, switches on, lets the faults strike one after another.
///
/// # Errors
/// When a control, a position or a fault is not of this circuit, or some state on the
/// way has no solution.
pub(super) fn settle(circuit: Circuit, setup: &args::Setup) -> Result<(Network, Settled)> {
    let mut circuit = Arc::new(circuit);
    let mut state = State::at_rest(&circuit);
    for set in &setup.sets {
        let (control, position) =
            set.split_once('=').with_context(|| format!("`{set}` is not CONTROL=POSITION"))?;
        let id = circuit.find_part(control).ok_or_else(|| {
            let hint = did_you_mean(control, circuit.parts.iter().map(|p| p.id.as_str()));
            anyhow!("no control `{control}` in this system{}", tail(hint))
        })?;
        let Kind::Switch(switch) = &circuit.part(id).kind else {
            bail!("{} is not a control", circuit.part(id).id)
        };
        let at =
            switch.positions.iter().position(|p| p.eq_ignore_ascii_case(position)).ok_or_else(
                || {
                    anyhow!(
                        "{} has no position `{position}`; it has {}",
                        circuit.part(id).id,
                        switch.positions.join(", ")
                    )
                },
            )?;
        state.set(id, PartState::Position(at as u8));
    }
    let mut network = Network::new(Arc::clone(&circuit));
    let mut settled = network.settle(state)?;
    for typed in &setup.faults {
        let (fault, mode) = faults::parse(&circuit, typed)?;
        circuit = Arc::new(faults::apply(&circuit, &fault, &mode));
        network = Network::like(Arc::clone(&circuit), &network);
        let mut state = settled.state.clone();
        state.adopt(&circuit, fault.part);
        let events = settled.events;
        settled = network.settle(state)?;
        settled.events.splice(0..0, events);
    }
    Ok((network, settled))
}

fn tail(hint: Option<String>) -> String {
    hint.map(|h| format!("; {h}")).unwrap_or_default()
}
