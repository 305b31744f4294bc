//! Drills played at random: which steps, depends on a seed alone.

use std::sync::Arc;

use halfsplit::chance::Chance;
use halfsplit::circuit::{Circuit, Kind, PartId};
use halfsplit::drill::{Action, Outcome, Session};
use halfsplit::faults::{self, Fault};
use halfsplit::library;
use halfsplit::observation::{Act, Function, Probe, Step, Touch};

/// The systems that come with the program.
pub(super) fn shipped() -> Vec<Arc<Circuit>> {
    let load = |name| Arc::new(library::load(name).expect("it comes with the program"));
    library::NAMES.into_iter().map(load).collect()
}

/// One of several, all equally likely.
pub(super) fn one<T: Clone>(chance: &mut Chance, of: &[T]) -> Option<T> {
    of.get((chance.unit() * of.len() as f64) as usize).cloned()
}

/// Any fault of a circuit, all equally likely.
pub(super) fn any_fault(circuit: &Circuit, chance: &mut Chance) -> Fault {
    one(chance, &faults::all(circuit)).expect("something can fail").0
}

/// A step that could be meant where one stands; not every one is allowed.
fn conceivable(session: &Session, chance: &mut Chance) -> Option<Step> {
    let circuit = session.circuit();
    let here = session.place().station;
    let at_hand = |of: fn(&Kind) -> bool| -> Vec<PartId> {
        let parts = circuit.parts_with_ids();
        parts.filter(|(_, p)| p.station == here && of(&p.kind)).map(|(id, _)| id).collect()
    };
    Some(match chance.weighted(&[1.5, 2.5, 1.0, 1.5, 0.5, 3.5])? {
        0 => {
            let stations: Vec<_> = circuit.stations_with_ids().map(|(id, _)| id).collect();
            Step::Go(one(chance, &stations)?)
        }
        1 => {
            let control = one(chance, &at_hand(|kind| kind.control().is_some()))?;
            let it = circuit.part(control).kind.control()?;
            let positions: Vec<u8> = (0..it.positions.len() as u8).collect();
            let position = one(chance, &positions)?;
            Step::Act(if it.springs_back {
                Act::Hold { control, position }
            } else {
                Act::Set { control, position }
            })
        }
        2 => {
            let breaker = one(chance, &at_hand(|kind| matches!(kind, Kind::Breaker(_))))?;
            Step::Act(one(chance, &[Act::Pull(breaker), Act::PushIn(breaker)])?)
        }
        3 => {
            let fuse = one(chance, &at_hand(|kind| matches!(kind, Kind::Fuse(_))))?;
            Step::Act(one(chance, &[Act::Pull(fuse), Act::Refit(fuse), Act::FitSpare(fuse)])?)
        }
        4 => Step::Act(Act::Replace(one(chance, &at_hand(|_| true))?)),
        _ => {
            let points = circuit.test_points_with_ids().filter(|(_, t)| t.station == here);
            let points: Vec<Touch> = points.map(|(id, _)| Touch::Point(id)).collect();
            let red = one(chance, &points)?;
            let other = one(chance, &points)?;
            let black = one(chance, &[Touch::Airframe, Touch::Airframe, other])?;
            let function = one(chance, &Function::ALL)?;
            Step::Probe(Probe { function, red, black })
        }
    })
}

/// Does any step that is allowed.
pub(super) fn any_step(session: &mut Session, chance: &mut Chance) -> Step {
    loop {
        if let Some(step) = conceivable(session, chance)
            && matches!(session.apply(Action::Step(step)), Outcome::Done(_))
        {
            return step;
        }
    }
}
