//! What was done and what it showed: each step's own result, and of the faces only
//! what is not as it was last seen.

use std::collections::BTreeMap;

use crate::circuit::{Circuit, PartId};
use crate::drill::{Entry, Session};
use crate::observation::{Act, Look, Percept, Step, What};

/// One step in the notebook.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Note {
    /// Minutes since the start.
    pub(super) clock: f64,
    /// Minutes it took.
    pub(super) minutes: f64,
    /// What was done.
    pub(super) step: String,
    /// What it showed.
    pub(super) showed: Vec<String>,
    /// Cautions it went against.
    pub(super) breaches: Vec<String>,
}

/// The whole notebook, in order.
pub(super) fn notes(session: &Session) -> Vec<Note> {
    let mut seen: BTreeMap<PartId, Percept> = BTreeMap::new();
    for (what, percept) in session.write_up().observations.iter().flat_map(|o| &o.percepts) {
        if let What::Face(part) = what {
            seen.insert(*part, *percept);
        }
    }
    let log = session.log().iter().enumerate();
    log.map(|(at, entry)| note(session, (at, entry), &mut seen)).collect()
}

/// A control that does not stand as it usually does.
fn unusual(circuit: &Circuit, part: PartId, percept: Percept) -> Option<String> {
    let control = circuit.part(part).kind.control()?;
    let usual = Percept::Position(control.start);
    let what = What::Standing(part);
    (percept != usual).then(|| {
        let (id, now) = (what.told(circuit), percept.told(what, circuit));
        format!("{id} is {now}, usually {}", usual.told(what, circuit))
    })
}

fn note(
    session: &Session,
    (at, entry): (usize, &Entry),
    seen: &mut BTreeMap<PartId, Percept>,
) -> Note {
    let circuit = session.circuit();
    let mut showed = Vec::new();
    let mut changes = Changes::default();
    let mut while_held = Changes::default();
    for &(what, percept) in &entry.observation.percepts {
        let told = session.told(at, what, percept);
        match what {
            What::InHand(part) => showed.push(format!("{}: {told}", circuit.part(part).label)),
            What::Display(_) => showed.push(told),
            What::Standing(part) => showed.extend(unusual(circuit, part, percept)),
            What::WhileHeld(part) => {
                if seen.get(&part) != Some(&percept) {
                    while_held.add(told, &circuit.part(part).label);
                }
            }
            What::Face(part) => {
                let before = seen.insert(part, percept);
                let news = match before {
                    Some(before) => before != percept,
                    None => stands_out(percept),
                };
                let again = springs_back(entry.observation.step, part, percept);
                let told = if again { format!("{told} again") } else { told };
                if (news || again) && !goes_without_saying(entry.observation.step, part, percept) {
                    changes.add(told, &circuit.part(part).label);
                }
            }
        }
    }
    showed.extend(while_held.lines().into_iter().map(|line| format!("while held, {line}")));
    showed.extend(changes.lines());
    if showed.is_empty() {
        showed.push(
            match entry.observation.step {
                Step::Go(_) | Step::LookAround => "nothing new stands out",
                Step::Act(_) | Step::Probe(_) => "nothing to be seen here changed",
            }
            .to_owned(),
        );
    }
    let step = match entry.observation.step {
        // What a probe shows is all there is to tell; the word "measure" is not needed.
        Step::Probe(probe) => What::Display(probe).told(circuit),
        step => step.told(circuit),
    };
    Note {
        clock: entry.clock,
        minutes: entry.minutes,
        step,
        showed,
        breaches: entry.breaches.clone(),
    }
}

/// Whether a breaker is as the hand that moved it left it.
fn goes_without_saying(step: Step, part: PartId, percept: Percept) -> bool {
    match step {
        Step::Act(Act::Pull(pulled)) => pulled == part && percept == Percept::Look(Look::Out),
        Step::Act(Act::PushIn(pushed)) => pushed == part && percept == Percept::Look(Look::In),
        _ => false,
    }
}

/// Whether a breaker that was pushed in is out again.
fn springs_back(step: Step, part: PartId, percept: Percept) -> bool {
    step == Step::Act(Act::PushIn(part)) && percept == Percept::Look(Look::Out)
}

/// Whether something seen for the first time is worth a note.
fn stands_out(percept: Percept) -> bool {
    !matches!(percept, Percept::Look(Look::Works | Look::In | Look::Dark))
}

/// Things that show the same word, gathered so that a bus that dies takes one line.
#[derive(Default)]
struct Changes {
    words: Vec<(String, Vec<String>)>,
}

impl Changes {
    fn add(&mut self, word: String, label: &str) {
        match self.words.iter_mut().find(|(known, _)| *known == word) {
            Some((_, labels)) => labels.push(label.to_owned()),
            None => self.words.push((word, vec![label.to_owned()])),
        }
    }

    fn lines(self) -> Vec<String> {
        self.words
            .into_iter()
            .map(|(word, labels)| match labels.as_slice() {
                [one] => format!("{one}: {word}"),
                many => format!("{word}: {}", many.join(", ")),
            })
            .collect()
    }
}
