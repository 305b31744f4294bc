//! The states a survey looks at: the normal setup, and each control moved by itself.

use std::sync::Arc;

use rayon::prelude::*;

use super::{Effort, Found};
use crate::circuit::{Circuit, Kind, PartId, Spot};
use crate::network::{Event, Network, PartState, Settled, SolveError, State, StopReason};

/// Net voltages that a quick survey may ask for, over all its states: some two hundred
/// milliseconds of one processor.
const QUICK_VOLTAGES: usize = 250_000;

/// One state, and the control that was moved to bring it about.
pub(super) struct Stand {
    pub(super) moved: Option<(PartId, u8)>,
    pub(super) settled: Result<Settled, SolveError>,
}

/// The states of one build.
pub(super) struct States {
    pub(super) normal: Settled,
    /// With one control moved, in part order.
    pub(super) moved: Vec<Stand>,
    /// Whether every position of every control is among them.
    pub(super) all: bool,
}

impl States {
    /// Settles the normal setup, and from there each control in each other position as far
    /// as the effort goes.
    pub(super) fn of(circuit: &Arc<Circuit>, effort: Effort) -> Result<Self, SolveError> {
        let network = Network::new(Arc::clone(circuit));
        let normal = network.settle(State::at_rest(circuit))?;
        let mut moves: Vec<(PartId, u8)> = Vec::new();
        for (part, p) in circuit.parts_with_ids() {
            if let Some(control) = p.kind.control() {
                let positions = 0..control.positions.len() as u8;
                moves.extend(positions.filter(|at| *at != control.start).map(|at| (part, at)));
            }
        }
        let most = match effort {
            Effort::Quick => QUICK_VOLTAGES / circuit.nets.len().max(1),
            Effort::Thorough => usize::MAX,
        };
        let all = moves.len() <= most;
        moves.truncate(most);
        let moved = moves
            .into_par_iter()
            .map(|(part, position)| {
                let mut state = normal.state.clone();
                state.set(part, PartState::Position(position));
                Stand { moved: Some((part, position)), settled: network.settle(state) }
            })
            .collect();
        Ok(Self { normal, moved, all })
    }

    /// Every state that has a solution, the normal one first.
    pub(super) fn settled(&self) -> impl Iterator<Item = &Settled> {
        let moved = self.moved.iter().filter_map(|stand| stand.settled.as_ref().ok());
        std::iter::once(&self.normal).chain(moved)
    }
}

/// Finds states that do not come to rest, have no solution, or tie two machines together.
pub(super) fn look(circuit: &Circuit, states: &States, found: &mut Found<'_>) {
    let mut told = Told::default();
    told.state(circuit, None, &states.normal, found);
    for stand in &states.moved {
        match &stand.settled {
            Ok(settled) => told.state(circuit, stand.moved, settled, found),
            Err(why) => {
                let Some((part, _)) = stand.moved else { continue };
                let message = format!("{} has no solution: {why}", when(circuit, stand.moved));
                found.warn("no-solution", Spot::Part(part, "id"), message, None);
            }
        }
    }
}

/// In which setup something is so.
fn when(circuit: &Circuit, moved: Option<(PartId, u8)>) -> String {
    let Some((part, at)) = moved else { return "the normal setup".to_owned() };
    let part = circuit.part(part);
    let control = part.kind.control();
    let position = control.and_then(|control| control.positions.get(usize::from(at)).copied());
    format!("the setup with {} at {}", part.id, position.unwrap_or("?"))
}

/// What has been told already: once is enough, in the first setup in which it is so.
#[derive(Default)]
struct Told {
    chattering: Vec<Vec<PartId>>,
    paralleled: Vec<(PartId, PartId)>,
}

impl Told {
    fn state(
        &mut self,
        circuit: &Circuit,
        moved: Option<(PartId, u8)>,
        settled: &Settled,
        found: &mut Found<'_>,
    ) {
        match &settled.stop {
            StopReason::Steady => {}
            // A flasher is made to keep changing, and what it feeds changes with it.
            StopReason::Chattering { parts, .. }
                if parts.iter().any(|p| matches!(circuit.part(*p).kind, Kind::Flasher(_))) => {}
            StopReason::Chattering { parts, .. } => {
                let mut parts = parts.clone();
                parts.sort();
                if let (Some(first), false) = (parts.first(), self.chattering.contains(&parts)) {
                    let names: Vec<&str> =
                        parts.iter().map(|part| circuit.part(*part).id.as_str()).collect();
                    let verb = if names.len() == 1 { "chatters" } else { "chatter" };
                    let message =
                        format!("{} {verb} in {}", names.join(", "), when(circuit, moved));
                    let hint = "a coil that its own contacts cut off never comes to rest";
                    found.warn("chattering", Spot::Part(*first, "id"), message, Some(hint));
                    self.chattering.push(parts);
                }
            }
            StopReason::StepLimit(steps) => {
                let spot = moved.map_or(Spot::System, |(part, _)| Spot::Part(part, "id"));
                let message =
                    format!("{} is still changing after {steps} changes", when(circuit, moved));
                found.warn("chattering", spot, message, None);
            }
        }
        for event in &settled.events {
            let Event::Paralleled { first, second } = event else { continue };
            let pair = (*first.min(second), *first.max(second));
            if self.paralleled.contains(&pair) {
                continue;
            }
            self.paralleled.push(pair);
            let message = format!(
                "{} and {} run free and are tied together in {}",
                found.who(pair.0),
                found.who(pair.1),
                when(circuit, moved)
            );
            let hint = "a changeover switch or an interlock keeps two such sources apart";
            found.warn("sources-paralleled", Spot::Part(pair.0, "id"), message, Some(hint));
        }
    }
}
