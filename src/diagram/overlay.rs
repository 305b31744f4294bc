//! What changes on a drawing: how contacts stand, what is live, what a person marked.

use super::Drawing;
use super::shape::{Joint, Pin, Shape, Side, When};
use crate::circuit::{AIRFRAME, NetId, PartId};
use crate::network::{Network, Settled, State};

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
#[derive(Clone, Debug, Default, PartialEq)]
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
    /// Contacts as they stand in a state, with nothing told of what is live. The state
    /// shows as much as it knows: one at rest but for what hands moved gives away nothing.
    pub fn standing(state: &State) -> Self {
        Self { state: Some(state.clone()), ..Self::default() }
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

/// Volts to the airframe, alternating and direct together, from which a net counts as
/// energised: less lights no test lamp.
const LIVE_VOLTS: f64 = 1.0;
/// Watts below which nothing counts as flowing: what insulation and voltmeters take.
const LEAST_WATTS: f64 = 0.05;

impl Overlay {
    /// What is live in a settled circuit, and which way it is fed. The drawing may be of
    /// the sound circuit: a fault changes what a part does, not where it is.
    pub fn of_settled(drawing: &Drawing, network: &Network, settled: &Settled) -> Self {
        let (state, solution) = (&settled.state, &settled.solution);
        let watts = network.watts(state, solution);
        let is_live =
            |net: NetId| net != AIRFRAME && solution.rms_between(net, AIRFRAME) >= LIVE_VOLTS;
        let into = |part: PartId, net: NetId| {
            let at = watts[part.index()].iter().find(|(other, _)| *other == net);
            at.map_or(0.0, |(_, watts)| *watts)
        };
        let parts = (0..state.parts.len()).map(|part| {
            let part = PartId(part as u32);
            let pins: Vec<&Pin> = drawing
                .shapes
                .iter()
                .filter(|shape| shape.parts.contains(&part))
                .flat_map(|shape| &shape.pins)
                .collect();
            // A cable's pins carry the nets of all its wires; watts tell which are its own.
            let on = |side: Side| {
                let mut nets: Vec<NetId> = pins
                    .iter()
                    .filter(|pin| pin.side == side)
                    .flat_map(|pin| pin.nets.iter().copied())
                    .filter(|net| watts[part.index()].iter().any(|(other, _)| other == net))
                    .collect();
                nets.sort_unstable();
                nets.dedup();
                nets
            };
            let sum = |nets: &[NetId]| nets.iter().map(|net| into(part, *net)).sum::<f64>();
            let (left, right) = (on(Side::Left), on(Side::Right));
            if !left.iter().chain(&right).any(|net| is_live(*net)) {
                Live::Dead
            } else if sum(&left) < -LEAST_WATTS && sum(&right) > LEAST_WATTS {
                Live::Backwards
            } else {
                Live::Energised
            }
        });
        let lines = drawing.lines.iter().map(|line| {
            together(line.nets.iter().map(|net| {
                if !is_live(*net) {
                    return Live::Dead;
                }
                // What the parts drawn as its feeders give it, and what those drawn as
                // fed by it do.
                let given = |side: Side| {
                    let shapes = drawing.shapes.iter().filter(|shape| {
                        shape.pins.iter().any(|pin| pin.side == side && pin.nets.contains(net))
                    });
                    let mut parts: Vec<PartId> =
                        shapes.flat_map(|shape| shape.parts.iter().copied()).collect();
                    parts.sort_unstable();
                    parts.dedup();
                    parts.into_iter().map(|part| -into(part, *net)).collect::<Vec<f64>>()
                };
                let from_feeders: f64 = given(Side::Right).iter().sum();
                let from_fed = given(Side::Left).into_iter().fold(0.0, f64::max);
                if from_feeders < LEAST_WATTS && from_fed > LEAST_WATTS {
                    Live::Backwards
                } else {
                    Live::Energised
                }
            }))
        });
        Self {
            parts: parts.collect(),
            lines: lines.collect(),
            marks: vec![None; state.parts.len()],
            state: Some(state.clone()),
        }
    }
}
