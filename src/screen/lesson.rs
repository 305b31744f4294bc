//! The guided drill: what to do next, told from what has been done so far.
//!
//! The guide knows the keys and the state of the drill and nothing of the system, so any
//! system can be worked with it.

use super::command::{Command, Keys, key_name};
use super::drilling::Overlay;
use super::hand_meter::{Choosing, HandMeter};
use super::picker::Picking;
use crate::drill::{PROVEN, Session};
use crate::observation::{Act, Step};
use crate::units::counted;

/// What the guide keeps in mind.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Lesson {
    /// Whether the pointer has been moved over the station.
    pub(super) moved: bool,
    /// Faults and repair groups left.
    left: (usize, usize),
    /// Whether one repair group is proved.
    proven: bool,
}

impl Lesson {
    /// Takes in what the steps so far prove.
    pub(super) fn follow(&mut self, session: &mut Session) {
        let Ok(belief) = session.belief() else { return };
        let groups = belief.group_posterior();
        self.left = (belief.alive().count(), groups.iter().filter(|p| **p > 0.0).count());
        self.proven = groups.iter().any(|p| *p >= PROVEN);
    }

    /// What to do next, in one line.
    pub(super) fn told(&self, session: &Session, overlay: Option<&Overlay>, keys: &Keys) -> String {
        let key = |command: Command| {
            let row = keys.rows().find(|(_, row)| row.command == command);
            row.map_or_else(String::new, |(letter, _)| key_name(letter))
        };
        let log = session.log();
        let done = |counts: fn(Step) -> bool| log.iter().any(|e| counts(e.observation.step));
        let thrown = done(|step| matches!(step, Step::Act(Act::Set { .. } | Act::Hold { .. })));
        let measured = done(|step| matches!(step, Step::Probe(_)));
        match overlay {
            Some(Overlay::Meter(meter)) => self.at_the_meter(meter, &key(Command::Call)),
            Some(Overlay::Picker(picker)) => match picker.picking {
                Picking::Wiring => {
                    "Guide: a part with the nets it joins; letters find it, Esc goes back."
                }
                Picking::Marks(_) => {
                    "Guide: ↑↓ or letters find a part, Enter turns its mark, Esc goes back."
                }
                Picking::CalledPart(_) => {
                    "Guide: the part that alone explains all you saw; Enter takes it."
                }
                _ => "Guide: ↑↓ or letters find a row, Enter takes it, Esc goes back.",
            }
            .to_owned(),
            Some(Overlay::Sheet(..) | Overlay::Diagram(_)) => {
                "Guide: read on with ↑↓; Esc brings you back to the station.".to_owned()
            }
            None if self.proven && !log.is_empty() => format!(
                "Guide: that proves one part: {} shows what lies between, {} calls it.",
                key(Command::Wiring),
                key(Command::Call)
            ),
            None if !self.moved && !thrown => {
                "Guide: arrows move ▸; the line below tells what Enter does, and its price."
                    .to_owned()
            }
            None if !thrown => {
                "Guide: put ▸ on a control and press Enter; see what changes.".to_owned()
            }
            None if !measured => format!(
                "Guide: now measure. {} takes the hand meter; choose DC or AC volts.",
                key(Command::Meter)
            ),
            None if session.marks().is_empty() => format!(
                "Guide: {} lists the parts: Enter marks one suspect or cleared.",
                key(Command::Suspects)
            ),
            None => format!(
                "Guide: {} in {} left; halve them. {} reminds, {} advises.",
                counted(self.left.0, "fault"),
                counted(self.left.1, "repair group"),
                key(Command::Remind),
                key(Command::Advise)
            ),
        }
    }

    /// What to do next with the meter in the hand.
    fn at_the_meter(&self, meter: &HandMeter, call: &str) -> String {
        if self.proven && meter.measured {
            return format!("Guide: that proves one part. Esc, then {call}, and call it.");
        }
        match (meter.measured, meter.choosing()) {
            (true, Choosing::Red) => {
                "Guide: read it off. ↑↓ put the red lead elsewhere, or Esc goes back.".to_owned()
            }
            (true, Choosing::Function | Choosing::Black) => {
                "Guide: read it off. Choose what else to measure, or Esc goes back.".to_owned()
            }
            (false, Choosing::Function) => {
                "Guide: ↑↓ choose what to measure; → goes on to the red lead.".to_owned()
            }
            (false, Choosing::Red) => {
                "Guide: ↑↓ put the red lead on a point; → black lead; Enter measures.".to_owned()
            }
            (false, Choosing::Black) => {
                "Guide: ↑↓ put the black lead, mostly on the airframe; Enter measures.".to_owned()
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::drill::Action;
    use crate::faults;
    use crate::library;
    use crate::observation::{Function, Probe, Touch};
    use crate::screen::text::width;

    #[test]
    fn the_guide_goes_from_the_first_key_to_the_call_in_lines_that_fit() {
        let circuit = Arc::new(library::load("bench").expect("it comes with the program"));
        let (fault, _) = faults::parse(&circuit, "S1:open-ON").expect("a fault");
        let mut session = Session::planted(Arc::clone(&circuit), fault, 1).expect("it settles");
        let mut lesson = Lesson::default();
        let keys = Keys::default();
        let mut told = Vec::new();
        let mut tell = |lesson: &Lesson, session: &Session| {
            let line = lesson.told(session, None, &keys);
            assert!(width(&line) <= 76, "{line}");
            told.push(line);
        };
        tell(&lesson, &session);
        lesson.moved = true;
        tell(&lesson, &session);
        let control = circuit.find_part("S1").expect("a switch");
        let mut steps = vec![Step::Act(Act::Set { control, position: 1 })];
        for point in ["TB1-2", "TB1-3"] {
            let red = Touch::Point(circuit.find_test_point(point).expect("a point"));
            let function = Function::DcVolts;
            steps.push(Step::Probe(Probe { function, red, black: Touch::Airframe }));
        }
        for step in steps {
            session.apply(Action::Step(step));
            lesson.follow(&mut session);
            tell(&lesson, &session);
        }
        assert!(told.windows(2).all(|pair| pair[0] != pair[1]), "{told:#?}");
        assert!(told.last().is_some_and(|line| line.contains("proves one part")), "{told:#?}");
    }

    #[test]
    fn the_guide_moves_on_while_the_meter_is_in_the_hand() {
        let circuit = Arc::new(library::load("bench").expect("it comes with the program"));
        let (fault, _) = faults::parse(&circuit, "S1:open-ON").expect("a fault");
        let session = Session::planted(Arc::clone(&circuit), fault, 1).expect("it settles");
        let keys = Keys::default();
        let point = circuit.find_test_point("TB1-2").expect("a point");
        let leads = (Touch::Point(point), Touch::Airframe);
        let mut meter = HandMeter::on(leads, Function::DcVolts);
        let mut lesson = Lesson::default();
        let mut told = Vec::new();
        let tell = |lesson: &Lesson, meter: &HandMeter, told: &mut Vec<String>| {
            let line = lesson.told(&session, Some(&Overlay::Meter(meter.clone())), &keys);
            assert!(width(&line) <= 76, "{line}");
            told.push(line);
        };
        meter.sideways(false);
        tell(&lesson, &meter, &mut told);
        meter.sideways(true);
        tell(&lesson, &meter, &mut told);
        meter.sideways(true);
        tell(&lesson, &meter, &mut told);
        meter.measured = true;
        tell(&lesson, &meter, &mut told);
        meter.sideways(false);
        tell(&lesson, &meter, &mut told);
        lesson.proven = true;
        tell(&lesson, &meter, &mut told);
        assert!(told.windows(2).all(|pair| pair[0] != pair[1]), "{told:#?}");
        assert!(told.last().is_some_and(|line| line.contains("call it")), "{told:#?}");
    }
}
