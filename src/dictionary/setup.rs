//! How hands leave the aircraft before anything fails.

use crate::circuit::{Circuit, Kind, PartId};
use crate::network::{PartState, State};

/// Controls moved from the normal setup, breakers and fuses pulled.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Setup {
    /// What it is called.
    pub name: String,
    /// Controls and the index of the position each is in.
    pub sets: Vec<(PartId, u8)>,
    /// Breakers and fuses that are pulled.
    pub pulled: Vec<PartId>,
}

impl Setup {
    /// The normal setup: nothing moved.
    pub fn normal() -> Self {
        Self { name: "normal".to_owned(), ..Self::default() }
    }

    /// The normal setup and all that differ from it in one thing: each control in each
    /// other position, each breaker or fuse pulled.
    pub fn single(circuit: &Circuit) -> Vec<Self> {
        let mut setups = vec![Self::normal()];
        for (part, p) in circuit.parts_with_ids() {
            if let Some(control) = p.kind.control() {
                for (at, position) in (0_u8..).zip(&control.positions) {
                    if at != control.start {
                        let name = format!("{}={position}", p.id);
                        setups.push(Self { name, sets: vec![(part, at)], pulled: Vec::new() });
                    }
                }
            }
            if is_pulled_by_hand(&p.kind) {
                let name = format!("{} pulled", p.id);
                setups.push(Self { name, sets: Vec::new(), pulled: vec![part] });
            }
        }
        setups
    }

    /// Puts its controls and pulls what it pulls.
    pub(super) fn put(&self, state: &mut State) {
        for (control, position) in &self.sets {
            state.set(*control, PartState::Position(*position));
        }
        for part in &self.pulled {
            state.set(
                *part,
                match state.of(*part) {
                    PartState::Fuse { blown, .. } => PartState::Fuse { seated: false, blown },
                    _ => PartState::Breaker { closed: false, tripped: false },
                },
            );
        }
    }
}

/// Whether hands can pull it out of the circuit.
pub(super) fn is_pulled_by_hand(kind: &Kind) -> bool {
    matches!(kind, Kind::Breaker(_) | Kind::Fuse(_))
}
