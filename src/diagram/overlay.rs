//! What changes on a drawing: how contacts stand, what is live, what a person marked.

use super::shape::{Joint, Shape, When};
use crate::circuit::{Circuit, PartId};
use crate::network::State;

/// How a part or a line is fed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Live {
    /// Nothing is said of it.
    #[default]
    Untold,
    /// Energised.
    Energised,
    /// Not energised.
    Dead,
    /// Energised, and power flows against the direction it is drawn in.
    Backwards,
    /// A bundle some of whose lines are energised and some are not.
    Partly,
}

/// What is marked at a part.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mark {
    /// Suspected.
    Suspect,
    /// Cleared.
    Cleared,
    /// Excluded: none of its faults is possible any more.
    Excluded,
}

/// What is shown on a drawing besides the circuit.
#[derive(Clone, Debug, Default)]
pub struct Overlay {
    /// By part; empty when nothing is told.
    pub parts: Vec<Live>,
    /// By line of the drawing; empty when nothing is told.
    pub lines: Vec<Live>,
    /// By part.
    pub marks: Vec<Option<Mark>>,
    /// How the contacts stand.
    pub state: Option<State>,
}

impl Overlay {
    /// The controls as they stand in a state, everything else at rest: nothing is told
    /// that one could not see by looking at the controls.
    pub fn of_controls(circuit: &Circuit, positions: &State) -> Self {
        let mut state = State::at_rest(circuit);
        for (id, part) in circuit.parts_with_ids() {
            if part.kind.control().is_some() {
                state.set(id, positions.of(id));
            }
        }
        Self { state: Some(state), marks: vec![None; circuit.parts.len()], ..Self::default() }
    }

    /// Marks a part.
    pub fn mark(&mut self, part: PartId, mark: Mark) {
        if self.marks.len() <= part.index() {
            self.marks.resize(part.index() + 1, None);
        }
        self.marks[part.index()] = Some(mark);
    }

    /// The mark at a shape; of several parts the gravest.
    pub fn mark_of(&self, shape: &Shape) -> Option<Mark> {
        let marks: Vec<Option<Mark>> = shape
            .parts
            .iter()
            .map(|part| self.marks.get(part.index()).copied().flatten())
            .collect();
        if marks.contains(&Some(Mark::Suspect)) {
            return Some(Mark::Suspect);
        }
        // Cleared or excluded only when all of them are.
        marks.first().copied().flatten().filter(|_| marks.iter().all(|mark| *mark == marks[0]))
    }

    /// How a shape is fed; of several parts, partly where they differ.
    pub fn live_of(&self, shape: &Shape) -> Live {
        together(shape.parts.iter().map(|p| self.parts.get(p.index()).copied().unwrap_or_default()))
    }

    /// How a line is fed.
    pub fn live_of_line(&self, line: usize) -> Live {
        self.lines.get(line).copied().unwrap_or_default()
    }

    /// Whether a contact of a shape is closed.
    pub fn is_closed(&self, shape: &Shape, joint: Joint) -> bool {
        let part = shape.parts[0];
        match (&self.state, joint.when) {
            // A drawing at rest: breakers in, fuses whole, relays released.
            (None, When::Whole | When::Operated(false)) => true,
            (None, When::Position(_) | When::Follows(..) | When::Operated(true)) => false,
            (Some(state), When::Whole) => state.protector_closed(part),
            (Some(state), When::Position(at)) => state.position(part) == Some(at),
            (Some(state), When::Follows(other, at)) => state.found_at(other) == at,
            (Some(state), When::Operated(operated)) => state.operated(part) == operated,
        }
    }

    /// The word for the position a shape stands in; empty where it has none.
    pub fn position_of<'a>(&self, shape: &'a Shape) -> &'a str {
        let position = self.state.as_ref().and_then(|state| state.position(shape.parts[0]));
        position
            .and_then(|position| shape.positions.get(usize::from(position)))
            .map_or("", String::as_str)
    }
}

/// What is said of several at once.
pub(super) fn together(lives: impl Iterator<Item = Live>) -> Live {
    let lives: Vec<Live> = lives.collect();
    match lives.first() {
        Some(first) if lives.iter().all(|live| live == first) => *first,
        Some(_) if lives.contains(&Live::Untold) => Live::Untold,
        Some(_) => Live::Partly,
        None => Live::Untold,
    }
}
