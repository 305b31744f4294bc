//! Lists to choose from, narrowed by typing.

use std::sync::Arc;

use crate::circuit::{Circuit, PartId};
use crate::diagram::Branch;
use crate::drill::command::steps_here;
use crate::drill::{Mark, Session};
use crate::faults::{Cause, Fault, FaultMode, left, modes};
use crate::observation::{Act, Function, Look, Percept, Probe, Step, Touch, What};
use crate::units::{counted, minutes, quantity};

/// What is being chosen.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Picking {
    /// A station to walk to.
    Station,
    /// A part to replace here.
    Replacement,
    /// Parts to mark, as they hang together.
    Marks(Arc<Vec<Branch>>),
    /// The part that is called; the second one after a first fault.
    CalledPart(Option<Fault>),
    /// The way in which that part has failed, after a first fault or not.
    CalledMode(PartId, Option<Fault>),
    /// Anything that can be done now.
    Acts,
    /// Nothing: the wiring list is only read.
    Wiring,
    /// The old fuse or a spare.
    Fuse(PartId),
}

/// A list, what has been typed to narrow it, and the row in focus.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Picker {
    /// What is being chosen.
    pub(super) picking: Picking,
    /// What has been typed.
    pub(super) filter: String,
    /// The row in focus, of those that are left.
    pub(super) at: usize,
}

/// What a row stands for.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Choice {
    /// A step.
    Step(Step),
    /// A part.
    Part(PartId),
    /// Parts that hang together.
    Branch(Vec<PartId>),
    /// A fault.
    Fault(Fault),
    /// All that is wrong.
    Cause(Cause),
    /// Nothing to choose.
    Nothing,
}

/// A row of a list.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Row {
    /// What it stands for.
    pub(super) choice: Choice,
    /// The trainee's mark, or a blank.
    pub(super) mark: &'static str,
    /// The name in files and commands.
    pub(super) name: String,
    /// What it is.
    pub(super) note: String,
    /// What stands at the right end: mostly the price.
    pub(super) end: String,
}

/// The sign of a mark.
pub(super) fn mark_sign(mark: Option<Mark>) -> &'static str {
    match mark {
        Some(Mark::Suspect) => "?",
        Some(Mark::Cleared) => "✓",
        None => " ",
    }
}

impl Picker {
    /// A list with nothing typed yet.
    pub(super) fn of(picking: Picking) -> Self {
        Self { picking, filter: String::new(), at: 0 }
    }

    /// The heading over it.
    pub(super) fn title(&self, circuit: &Circuit) -> String {
        match &self.picking {
            Picking::Station => "GO TO".to_owned(),
            Picking::Replacement => "REPLACE A PART HERE".to_owned(),
            Picking::Marks(_) => "SUSPECTS, BY WHAT FEEDS THEM".to_owned(),
            Picking::CalledPart(None) => "CALL: WHICH PART HAS FAILED".to_owned(),
            Picking::CalledPart(Some(first)) => {
                format!("CALL: {}, AND WHICH OTHER", circuit.part(first.part).id)
            }
            Picking::CalledMode(part, _) => {
                format!("CALL: HOW HAS {} FAILED", circuit.part(*part).id)
            }
            Picking::Acts => "ALL ACTS HERE AND NOW".to_owned(),
            Picking::Wiring => "WIRING LIST".to_owned(),
            Picking::Fuse(part) => format!("HOLDER {}", circuit.part(*part).id),
        }
    }

    /// What Enter does, for the line of keys.
    pub(super) fn verb(&self) -> &'static str {
        match &self.picking {
            Picking::Station => "go",
            Picking::Replacement => "replace",
            Picking::Marks(_) => "mark",
            Picking::CalledPart(_) => "choose how it failed",
            Picking::CalledMode(..) => "call",
            Picking::Acts | Picking::Fuse(_) => "do it",
            Picking::Wiring => "",
        }
    }

    /// The rows that are left by what has been typed.
    pub(super) fn rows(&self, session: &Session) -> Vec<Row> {
        let wanted: Vec<String> = self.filter.split_whitespace().map(str::to_lowercase).collect();
        let typed = self.filter.trim().to_lowercase();
        let mut rows = self.all_rows(session);
        rows.retain(|row| {
            let text = format!("{} {} {}", row.name, row.note, row.end).to_lowercase();
            wanted.iter().all(|word| text.contains(word.as_str()))
        });
        if !typed.is_empty() {
            // What is called so comes before what only has it somewhere.
            rows.sort_by_key(|row| {
                let name = row.name.trim_start().to_lowercase();
                (name != typed, !name.starts_with(&typed))
            });
        }
        rows
    }

    /// Whether its rows have boxes for marks.
    pub(super) fn marks(&self) -> bool {
        matches!(self.picking, Picking::Marks(_))
    }

    /// The row in focus.
    pub(super) fn chosen(&self, session: &Session) -> Option<Row> {
        self.rows(session).into_iter().nth(self.at)
    }

    fn all_rows(&self, session: &Session) -> Vec<Row> {
        match &self.picking {
            Picking::Station => stations(session),
            Picking::Replacement => parts(session, true),
            Picking::Marks(branches) => board(session, branches, self.filter.is_empty()),
            Picking::CalledPart(first) => called_parts(session, first.as_ref()),
            Picking::CalledMode(part, _) => callable(session, *part)
                .map(|mode| Row {
                    choice: Choice::Fault(Fault { part: *part, mode: mode.name.clone() }),
                    mark: " ",
                    name: mode.name,
                    note: mode.text,
                    end: String::new(),
                })
                .collect(),
            Picking::Acts => acts(session),
            Picking::Wiring => wiring(session),
            Picking::Fuse(part) => fuse(session, *part),
        }
    }
}

/// The ways in which a part can be called in this drill.
fn callable(session: &Session, part: PartId) -> impl Iterator<Item = FaultMode> + use<> {
    let part = session.circuit().part(part);
    let left = if session.scope().controls { left(part) } else { Vec::new() };
    modes(part).into_iter().chain(left)
}

/// The parts that can be called, suspects first; before them what ends the call without
/// another part.
fn called_parts(session: &Session, first: Option<&Fault>) -> Vec<Row> {
    let end = |cause: Cause, name: &str, note: String| Row {
        choice: Choice::Cause(cause),
        mark: " ",
        name: name.to_owned(),
        note,
        end: String::new(),
    };
    let mut rows = parts(session, false);
    rows.retain(|row| match row.choice {
        Choice::Part(part) => {
            first.is_none_or(|first| first.part != part) && callable(session, part).next().is_some()
        }
        _ => false,
    });
    rows.sort_by_key(|row| row.mark != "?");
    if let Some(first) = first {
        let alone = Cause::from(first.clone());
        let note = alone.told(session.circuit());
        rows.insert(0, end(alone, "no other", note));
    } else if session.scope().nothing {
        rows.insert(0, end(Cause::nothing(), "nothing", "nothing is wrong".to_owned()));
    }
    rows
}

fn stations(session: &Session) -> Vec<Row> {
    let (circuit, place) = (session.circuit(), session.place());
    circuit
        .stations_with_ids()
        .map(|(id, station)| {
            let here = id == place.station;
            let opening = station.open_minutes > 0.0 && !place.opened[id.index()];
            Row {
                choice: if here { Choice::Nothing } else { Choice::Step(Step::Go(id)) },
                mark: " ",
                name: station.title.clone(),
                note: if here {
                    "you are here".to_owned()
                } else if opening {
                    format!("{} of it to open", minutes(station.open_minutes))
                } else {
                    String::new()
                },
                end: if here { String::new() } else { minutes(place.minutes_to(circuit, id)) },
            }
        })
        .collect()
}

fn parts(session: &Session, replaceable_here: bool) -> Vec<Row> {
    let (circuit, place) = (session.circuit(), session.place());
    circuit
        .parts_with_ids()
        .filter(|(id, _)| {
            let step = Step::Act(Act::Replace(*id));
            !replaceable_here || place.allows(circuit, step, |_| false).is_ok()
        })
        .map(|(id, part)| Row {
            choice: Choice::Part(id),
            mark: mark_sign(session.marks().get(&id).copied()),
            name: part.id.clone(),
            note: part.label.clone(),
            end: if replaceable_here {
                minutes(part.replace_minutes)
            } else {
                circuit.station(part.station).title.clone()
            },
        })
        .collect()
}

/// Every part under the bus or source that feeds it; the headings only while nothing is
/// looked for.
fn board(session: &Session, branches: &[Branch], headings: bool) -> Vec<Row> {
    let circuit = session.circuit();
    let mark = |part: PartId| session.marks().get(&part).copied();
    let mut rows = Vec::new();
    for branch in branches {
        let parts: Vec<PartId> = branch.parts.iter().map(|(part, _)| *part).collect();
        let count = |wanted| parts.iter().filter(|part| mark(**part) == Some(wanted)).count();
        let (suspect, cleared) = (count(Mark::Suspect), count(Mark::Cleared));
        let first = parts.first().and_then(|part| mark(*part));
        let alike = first.filter(|_| parts.iter().all(|part| mark(*part) == first));
        let mut end = counted(parts.len(), "part");
        for (count, sign) in [(suspect, Mark::Suspect), (cleared, Mark::Cleared)] {
            if count > 0 {
                end = format!("{end}, {count} {}", mark_sign(Some(sign)));
            }
        }
        if headings {
            rows.push(Row {
                choice: Choice::Branch(parts),
                mark: mark_sign(alike),
                name: branch.name.clone(),
                note: String::new(),
                end,
            });
        }
        rows.extend(branch.parts.iter().map(|(part, depth)| {
            let of = circuit.part(*part);
            // What hangs behind another part stands further in.
            let indent = if headings { 1 + (*depth).min(DEEPEST) } else { 0 };
            Row {
                choice: Choice::Part(*part),
                mark: mark_sign(mark(*part)),
                name: format!("{}{}", " ".repeat(indent), of.id),
                note: of.label.clone(),
                end: circuit.station(of.station).title.clone(),
            }
        }));
    }
    rows
}

/// Columns by which a part on the board is set in at most.
const DEEPEST: usize = 3;

fn acts(session: &Session) -> Vec<Row> {
    let (circuit, place) = (session.circuit(), session.place());
    let mut steps = steps_here(session);
    for (point, _) in circuit.test_points_with_ids().filter(|(_, t)| t.station == place.station) {
        for function in Function::ALL {
            let step =
                Step::Probe(Probe { function, red: Touch::Point(point), black: Touch::Airframe });
            steps.push((step, place.minutes(circuit, step)));
        }
    }
    for (id, _) in circuit.parts_with_ids() {
        let step = Step::Act(Act::Replace(id));
        if place.allows(circuit, step, |_| false).is_ok() {
            steps.push((step, place.minutes(circuit, step)));
        }
    }
    steps
        .into_iter()
        .map(|(step, price)| Row {
            choice: Choice::Step(step),
            mark: " ",
            name: step.told(circuit),
            note: match step {
                Step::Act(act) => circuit.part(act.part()).label.clone(),
                Step::Probe(Probe { red: Touch::Point(point), .. }) => {
                    circuit.net_name(circuit.test_point(point).net).to_owned()
                }
                _ => String::new(),
            },
            end: minutes(price),
        })
        .collect()
}

fn wiring(session: &Session) -> Vec<Row> {
    let circuit = session.circuit();
    circuit
        .parts_with_ids()
        .map(|(id, part)| {
            let nets: Vec<String> = circuit
                .connections(id)
                .into_iter()
                .map(|net| circuit.net_with_points(net))
                .collect();
            Row {
                choice: Choice::Part(id),
                mark: mark_sign(session.marks().get(&id).copied()),
                name: part.id.clone(),
                note: nets.join(" - "),
                end: part.label.clone(),
            }
        })
        .collect()
}

fn fuse(session: &Session, part: PartId) -> Vec<Row> {
    let (circuit, place) = (session.circuit(), session.place());
    let crate::circuit::Kind::Fuse(fuse) = &circuit.part(part).kind else { return Vec::new() };
    let in_hand = session.fuse_in_hand(part);
    let blown = in_hand.is_some_and(Look::has_melted);
    let spares = place.spares_of(fuse.amps);
    let rating = quantity(fuse.amps, "A");
    let price = |act| minutes(place.minutes(circuit, Step::Act(act)));
    let row = |act, name: &str, note: String| Row {
        choice: Choice::Step(Step::Act(act)),
        mark: " ",
        name: name.to_owned(),
        note,
        end: price(act),
    };
    let told = in_hand.map(|look| Percept::Look(look).told(What::InHand(part), circuit));
    let old = format!("the one you pulled: {}", told.unwrap_or_default());
    let spare = row(Act::FitSpare(part), "fit a spare", format!("{rating}, {spares} left"));
    let old = row(Act::Refit(part), "put it back", old);
    // The likelier wish first.
    let mut rows = if blown { vec![spare, old] } else { vec![old, spare] };
    if spares == 0 {
        rows.retain(|row| row.choice != Choice::Step(Step::Act(Act::FitSpare(part))));
    }
    rows
}
