//! The words of the plain line mode, and what each of them does.
//!
//! One table gives name, form and help; the parser, the help text and the guide are
//! all read from it.

use super::{Action, Help, Mark, Session};
use crate::circuit::{Circuit, Kind, PartId, StationId};
use crate::diagnostic::did_you_mean;
use crate::faults;
use crate::observation::{Act, Function, Probe, Step, Touch};

/// What a line asks for.
#[derive(Clone, Debug, PartialEq)]
pub enum Request {
    /// An action in the drill.
    Do(Action),
    /// Tell what is at hand; changes nothing and costs nothing.
    Tell(Topic),
    /// Leave the drill.
    Quit,
}

/// What can be told.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topic {
    /// The commands.
    Help,
    /// The write-up.
    WriteUp,
    /// The stations and the minutes to each.
    Stations,
    /// What can be done where one stands, with the minutes of each.
    Steps,
    /// The log so far.
    Notebook,
    /// The trainee's own marks.
    Board,
    /// The fault modes of a part.
    Modes(PartId),
    /// Where a part is.
    Place(PartId),
    /// The wiring of a part: its nets and what else is on them.
    Wiring(PartId),
    /// The whole wiring list.
    WiringList,
    /// What the place where one stands shows on a sound aircraft.
    Values,
}

/// One command.
#[derive(Debug)]
pub struct CommandRow {
    /// Its name.
    pub name: &'static str,
    /// How it is written.
    pub form: &'static str,
    /// What it does.
    pub help: &'static str,
}

const fn row(name: &'static str, form: &'static str, help: &'static str) -> CommandRow {
    CommandRow { name, form, help }
}

/// Every command.
pub static COMMANDS: [CommandRow; 29] = [
    row("look", "look", "tell what the station shows"),
    row("go", "go STATION", "walk to a station"),
    row("set", "set CONTROL POSITION", "move a switch or selector"),
    row("press", "press CONTROL [POSITION]", "hold a control that springs back, look, let go"),
    row(
        "ac",
        "ac POINT [POINT]",
        "measure alternating volts, to GND unless a second point is given",
    ),
    row("dc", "dc POINT [POINT]", "measure direct volts"),
    row("ohms", "ohms POINT [POINT]", "measure resistance, on a dead circuit only"),
    row("pull", "pull PART", "pull a breaker, or a fuse to look at it"),
    row("push", "push PART", "push a breaker in"),
    row("refit", "refit FUSE", "put a pulled fuse back"),
    row("fit", "fit FUSE", "fit a spare fuse in an empty holder"),
    row("replace", "replace PART", "exchange a part for a good one"),
    row("suspect", "suspect PART", "mark a part as suspect on your board"),
    row("clear", "clear PART", "mark a part as cleared on your board"),
    row("unmark", "unmark PART", "wipe your mark"),
    row("read", "read VALUE", "say what the needle shows that waits to be read"),
    row("remind", "remind", "tell what has been shown so far; the debrief will mention it"),
    row("judge", "judge", "tell what the last step was worth; the debrief will mention it"),
    row("advise", "advise", "tell the best next step; the debrief will mention it"),
    row("call", "call PART:MODE", "name the fault, or two: A:x + B:y; this ends the drill"),
    row("steps", "steps", "list what can be done here, with minutes"),
    row("stations", "stations", "list the stations, with minutes"),
    row("modes", "modes PART", "list how a part can fail"),
    row("where", "where PART", "tell at which station a part is"),
    row("wiring", "wiring [PART]", "show the wiring list, or what a part is connected to"),
    row("values", "values", "tell what this station shows and carries on a sound aircraft"),
    row("board", "board", "show your marks"),
    row("notebook", "notebook", "show what has been done"),
    row("help", "help", "list the commands; `quit` leaves the drill"),
];

/// Understands one line.
///
/// # Errors
/// One sentence saying what was not understood, with a suggestion.
pub fn parse(circuit: &Circuit, line: &str) -> Result<Request, String> {
    let line = line.trim();
    let (verb, rest) = line.split_once(char::is_whitespace).unwrap_or((line, ""));
    let rest = rest.trim();
    let verb = verb.to_lowercase();
    let act = |act| Ok(Request::Do(Action::Step(Step::Act(act))));
    match verb.as_str() {
        "" | "look" => Ok(Request::Do(Action::Step(Step::LookAround))),
        "go" => Ok(Request::Do(Action::Step(Step::Go(station(circuit, rest)?)))),
        "set" => {
            let (control, position) = control_and_position(circuit, rest)?;
            let position = position.ok_or("say which position: set CONTROL POSITION")?;
            act(Act::Set { control, position })
        }
        "press" => {
            let (control, position) = control_and_position(circuit, rest)?;
            let position = match position {
                Some(position) => position,
                None => first_other_position(circuit, control)?,
            };
            act(Act::Hold { control, position })
        }
        "ac" => probe(circuit, Function::AcVolts, rest),
        "dc" => probe(circuit, Function::DcVolts, rest),
        "ohms" => probe(circuit, Function::Ohms, rest),
        "pull" => act(Act::Pull(part(circuit, rest)?)),
        "push" => act(Act::PushIn(part(circuit, rest)?)),
        "refit" => act(Act::Refit(part(circuit, rest)?)),
        "fit" => act(Act::FitSpare(part(circuit, rest)?)),
        "replace" => act(Act::Replace(part(circuit, rest)?)),
        "suspect" => mark(circuit, rest, Some(Mark::Suspect)),
        "clear" => mark(circuit, rest, Some(Mark::Cleared)),
        "unmark" => mark(circuit, rest, None),
        "read" => match rest.parse::<f64>() {
            Ok(value) => Ok(Request::Do(Action::Read(value))),
            Err(_) => Err("say what the needle shows as a number: read VALUE".to_owned()),
        },
        "remind" => Ok(Request::Do(Action::Ask(Help::Reminder))),
        "judge" => Ok(Request::Do(Action::Ask(Help::LastStep))),
        "advise" => Ok(Request::Do(Action::Advise)),
        "call" => {
            let cause = faults::parse_cause(circuit, rest).map_err(|e| e.to_string())?;
            Ok(Request::Do(Action::Call(cause)))
        }
        "steps" => Ok(Request::Tell(Topic::Steps)),
        "stations" => Ok(Request::Tell(Topic::Stations)),
        "modes" => Ok(Request::Tell(Topic::Modes(part(circuit, rest)?))),
        "where" => Ok(Request::Tell(Topic::Place(part(circuit, rest)?))),
        "wiring" if rest.is_empty() => Ok(Request::Tell(Topic::WiringList)),
        "wiring" => Ok(Request::Tell(Topic::Wiring(part(circuit, rest)?))),
        "values" => Ok(Request::Tell(Topic::Values)),
        "board" => Ok(Request::Tell(Topic::Board)),
        "notebook" => Ok(Request::Tell(Topic::Notebook)),
        "write-up" => Ok(Request::Tell(Topic::WriteUp)),
        "help" | "?" => Ok(Request::Tell(Topic::Help)),
        "quit" | "exit" => Ok(Request::Quit),
        _ => {
            let known = COMMANDS.iter().map(|c| c.name).chain(["quit", "write-up"]);
            let hint = did_you_mean(&verb, known).unwrap_or("`help` lists the commands".into());
            Err(format!("no command `{verb}`; {hint}"))
        }
    }
}

/// The line that does a step: what the advice prints so that it can be typed.
pub fn line_for(circuit: &Circuit, step: Step) -> String {
    let id = |part: PartId| circuit.part(part).id.as_str();
    let position = |part: PartId, at: u8| {
        let control = circuit.part(part).kind.control();
        control.map_or("", |control| control.positions[usize::from(at)])
    };
    match step {
        Step::LookAround => "look".to_owned(),
        Step::Go(there) => format!("go {}", circuit.station(there).id),
        Step::Act(Act::Set { control, position: at }) => {
            format!("set {} {}", id(control), position(control, at))
        }
        Step::Act(Act::Hold { control, position: at }) => {
            format!("press {} {}", id(control), position(control, at))
        }
        Step::Act(Act::Pull(p)) => format!("pull {}", id(p)),
        Step::Act(Act::PushIn(p)) => format!("push {}", id(p)),
        Step::Act(Act::Refit(p)) => format!("refit {}", id(p)),
        Step::Act(Act::FitSpare(p)) => format!("fit {}", id(p)),
        Step::Act(Act::Replace(p)) => format!("replace {}", id(p)),
        Step::Probe(probe) => {
            let verb = match probe.function {
                Function::AcVolts => "ac",
                Function::DcVolts => "dc",
                Function::Ohms => "ohms",
            };
            let (red, black) = (probe.red.name(circuit), probe.black.name(circuit));
            if probe.black == Touch::Airframe {
                format!("{verb} {red}")
            } else {
                format!("{verb} {red} {black}")
            }
        }
    }
}

/// The line that does any action: [`parse`] makes that action of it again.
pub fn line_of(circuit: &Circuit, action: &Action) -> String {
    match action {
        Action::Step(step) => line_for(circuit, *step),
        Action::Mark { part, mark } => {
            let verb = match mark {
                Some(Mark::Suspect) => "suspect",
                Some(Mark::Cleared) => "clear",
                None => "unmark",
            };
            format!("{verb} {}", circuit.part(*part).id)
        }
        Action::Read(value) => format!("read {value}"),
        Action::Ask(Help::LastStep) => "judge".to_owned(),
        Action::Ask(_) => "remind".to_owned(),
        Action::Advise => "advise".to_owned(),
        Action::Call(cause) => format!("call {}", cause.code(circuit)),
    }
}

/// What can be done where the trainee stands, other than measuring and replacing,
/// with the minutes of each: walking, controls, breakers, fuses.
pub fn steps_here(session: &Session) -> Vec<(Step, f64)> {
    let circuit = session.circuit();
    let place = session.place();
    let here = place.station;
    let mut steps: Vec<Step> = circuit.stations_with_ids().map(|(id, _)| Step::Go(id)).collect();
    let faces = session.faces();
    for (id, part) in circuit.parts_with_ids().filter(|(_, p)| p.station == here) {
        if let Some(control) = part.kind.control() {
            for position in 0..control.positions.len() as u8 {
                steps.push(Step::Act(if control.springs_back {
                    Act::Hold { control: id, position }
                } else {
                    Act::Set { control: id, position }
                }));
            }
        }
        match &part.kind {
            Kind::Breaker(_) => {
                steps.extend([Step::Act(Act::Pull(id)), Step::Act(Act::PushIn(id))]);
            }
            Kind::Fuse(_) => {
                steps.extend([Act::Pull(id), Act::Refit(id), Act::FitSpare(id)].map(Step::Act));
            }
            _ => {}
        }
    }
    let popped = |part: PartId| {
        faces.iter().any(|(id, percept)| {
            *id == part
                && *percept == crate::observation::Percept::Look(crate::observation::Look::Out)
        })
    };
    steps
        .into_iter()
        .filter(|step| match step {
            // Holding a control where it rests anyway shows nothing.
            Step::Act(Act::Hold { control, position }) => {
                place.hands.position(*control) != Some(*position)
            }
            _ => true,
        })
        .filter(|step| place.allows(circuit, *step, popped).is_ok())
        .map(|step| (step, place.minutes(circuit, step)))
        .collect()
}

fn part(circuit: &Circuit, name: &str) -> Result<PartId, String> {
    if name.is_empty() {
        return Err("say which part".to_owned());
    }
    circuit.find_part(name).ok_or_else(|| {
        let hint = did_you_mean(name, circuit.parts.iter().map(|p| p.id.as_str()));
        format!("no part `{name}` in this system{}", tail(hint))
    })
}

fn station(circuit: &Circuit, name: &str) -> Result<StationId, String> {
    circuit.find_station(name).ok_or_else(|| {
        let known: Vec<&str> = circuit.stations.iter().map(|s| s.id.as_str()).collect();
        let hint = did_you_mean(name, known.iter().copied())
            .unwrap_or_else(|| format!("the stations are {}", known.join(", ")));
        format!("no station `{name}`; {hint}")
    })
}

/// Letters and digits alone: `C1 A`, `c1-a` and `C1A` all name one position.
fn loose(name: &str) -> String {
    name.chars().filter(|c| c.is_alphanumeric()).flat_map(char::to_lowercase).collect()
}

fn control_and_position(circuit: &Circuit, text: &str) -> Result<(PartId, Option<u8>), String> {
    let (name, position) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
    let id = part(circuit, name)?;
    let Some(control) = circuit.part(id).kind.control() else {
        return Err(format!("{} is not a control", circuit.part(id).id));
    };
    let position = position.trim();
    if position.is_empty() {
        return Ok((id, None));
    }
    match control.positions.iter().position(|p| loose(p) == loose(position)) {
        Some(at) => Ok((id, Some(at as u8))),
        None => Err(format!(
            "{} has no position `{position}`; it has {}",
            circuit.part(id).id,
            control.positions.join(", ")
        )),
    }
}

fn first_other_position(circuit: &Circuit, control: PartId) -> Result<u8, String> {
    let Some(found) = circuit.part(control).kind.control() else {
        return Err(format!("{} is not a control", circuit.part(control).id));
    };
    (0..found.positions.len() as u8)
        .find(|at| *at != found.start)
        .ok_or_else(|| format!("{} has one position only", circuit.part(control).id))
}

fn touch(circuit: &Circuit, name: &str) -> Result<Touch, String> {
    if name.eq_ignore_ascii_case(crate::circuit::AIRFRAME_NAME) {
        return Ok(Touch::Airframe);
    }
    circuit.find_test_point(name).map(Touch::Point).ok_or_else(|| {
        let hint = did_you_mean(name, circuit.test_points.iter().map(|t| t.id.as_str()));
        format!("no test point `{name}`{}", tail(hint))
    })
}

fn probe(circuit: &Circuit, function: Function, rest: &str) -> Result<Request, String> {
    let mut points = rest.split_whitespace();
    let red = points.next().ok_or("say where the probe goes: POINT [POINT]")?;
    let red = touch(circuit, red)?;
    let black = points.next().map_or(Ok(Touch::Airframe), |name| touch(circuit, name))?;
    if let Some(extra) = points.next() {
        return Err(format!("a meter has two leads; `{extra}` is one too many"));
    }
    Ok(Request::Do(Action::Step(Step::Probe(Probe { function, red, black }))))
}

fn mark(circuit: &Circuit, name: &str, mark: Option<Mark>) -> Result<Request, String> {
    Ok(Request::Do(Action::Mark { part: part(circuit, name)?, mark }))
}

fn tail(hint: Option<String>) -> String {
    hint.map(|h| format!("; {h}")).unwrap_or_default()
}
