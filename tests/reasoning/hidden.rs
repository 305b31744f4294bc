//! The hidden fault is hidden from the reasoner: where two faults have shown the same so
//! far, all that it knows, advises and says is the same to the last bit.

use std::fmt::{self, Debug, Write};
use std::sync::Arc;

use halfsplit::chance::Chance;
use halfsplit::circuit::Circuit;
use halfsplit::drill::{Action, Outcome, Session};
use halfsplit::faults::Fault;
use halfsplit::observation::Step;
use halfsplit::score;

use super::play::{any_fault, any_step, shipped};

/// The debug text of a thing boiled down to its length and a hash (FNV-1a): that of an
/// aircraft for every fault runs to many megabytes.
#[derive(Debug, PartialEq, Eq)]
struct Digest(usize, u64);

impl Digest {
    fn of(thing: &impl Debug) -> Self {
        let mut digest = Self(0, 0xcbf2_9ce4_8422_2325);
        write!(digest, "{thing:?}").expect("a digest takes anything");
        digest
    }
}

impl Write for Digest {
    fn write_str(&mut self, text: &str) -> fmt::Result {
        self.0 += text.len();
        for byte in text.bytes() {
            self.1 = (self.1 ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        }
        Ok(())
    }
}

/// The same drill with another fault, unless it would have shown something else.
fn with_another(session: &Session, fault: &Fault, circuit: &Arc<Circuit>) -> Option<Session> {
    let mut other =
        Session::planted(Arc::clone(circuit), fault.clone(), session.seed()).expect("it settles");
    if other.write_up() != session.write_up() {
        return None;
    }
    for entry in session.log() {
        let done = other.apply(Action::Step(entry.observation.step));
        let Outcome::Done(index) = done else { return None };
        if other.log()[index].observation != entry.observation {
            return None;
        }
    }
    Some(other)
}

/// All that the reasoner makes of a drill, as text.
fn reasoning(mut session: Session) -> (String, Digest, String) {
    let advice = format!("{:?}", session.apply(Action::Advise));
    let belief = session.belief().expect("it can be worked out");
    // All of it but the workspaces of the solver, which change nothing but its haste.
    let candidates: Vec<_> = belief
        .candidates()
        .iter()
        .map(|c| {
            let rig = c.rig().map(|rig| (rig.settled(), rig.failed_parts().collect::<Vec<_>>()));
            (&c.cause, &c.excluded, rig)
        })
        .collect();
    let weights: Vec<u64> = belief.posterior().into_iter().map(f64::to_bits).collect();
    let belief = Digest::of(&(candidates, weights, belief.groups(), belief.group_of()));
    let debrief = score::debrief(&session).expect("it can be worked out");
    // What happened inside and how it ended is told after the call and may differ.
    let judged: Vec<_> = debrief.rows.iter().map(|row| (&row.remark, &row.best)).collect();
    let told = format!("{judged:?} {:?} {:?}", debrief.exclusions, debrief.left);
    (advice, belief, told)
}

#[test]
fn another_fault_that_shows_the_same_changes_nothing() {
    let mut of_two_groups = 0;
    let circuits = shipped();
    let mut pairs = vec![0; circuits.len()];
    for number in 0..25 * circuits.len() as u64 {
        let which = number as usize % circuits.len();
        let circuit = &circuits[which];
        let mut chance = Chance::stream(number, "hidden");
        let fault = any_fault(circuit, &mut chance);
        let mut session =
            Session::planted(Arc::clone(circuit), fault.clone(), number).expect("it settles");
        // Where the crew saw nothing, everything is left and takes its time.
        let many = |session: &mut Session| {
            let belief = session.belief().expect("it can be worked out");
            belief.alive().count() > 60
        };
        if many(&mut session) {
            continue;
        }
        for _ in 0..number % 4 {
            any_step(&mut session, &mut chance);
        }
        let belief = session.belief().expect("it can be worked out");
        let others: Vec<Fault> =
            belief.alive().map(|c| c.cause.faults()[0].clone()).filter(|f| *f != fault).collect();
        // The likeliest to be overlooked is one of another part.
        let (elsewhere, here): (Vec<_>, Vec<_>) =
            others.into_iter().partition(|f| f.part != fault.part);
        let found = elsewhere
            .iter()
            .chain(&here)
            .find_map(|other| Some((other, with_another(&session, other, circuit)?)));
        let Some((other, twin)) = found else { continue };
        let steps: Vec<Step> = session.log().iter().map(|e| e.observation.step).collect();
        let codes = format!("{} and {}, {steps:?}", fault.code(circuit), other.code(circuit));
        let (advice, belief, told) = reasoning(session);
        let (twin_advice, twin_belief, twin_told) = reasoning(twin);
        assert_eq!(advice, twin_advice, "{codes}");
        assert_eq!(belief, twin_belief, "{codes}");
        assert_eq!(told, twin_told, "{codes}");
        pairs[which] += 1;
        let group = |fault: &Fault| circuit.part(fault.part).group.as_str();
        of_two_groups += usize::from(group(&fault) != group(other));
    }
    assert!(pairs.iter().all(|found| *found >= 3), "{pairs:?}");
    assert!(of_two_groups >= 5, "{of_two_groups}");
}
