//! `halfsplit drill` and the program without a verb.

use std::cell::RefCell;
use std::io::IsTerminal;
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::{Result, bail};

use super::again::Again;
use super::{Ended, args, debrief, plain};
use crate::circuit::Circuit;
use crate::drill::Session;
use crate::faults::{self, Cause, Causes, Exposure, Scope};
use crate::library;
use crate::scenario::Ready;
use crate::screen::{self, Keep, Start};
use crate::units::quantity;

/// Works one drill.
pub(super) fn run(arguments: &args::Drill, plain: bool, looks: args::Looks) -> Result<Ended> {
    let seed = arguments.seed.unwrap_or_else(fresh_seed);
    let report = arguments.report.as_deref();
    let on_screen = !plain && on_a_terminal();
    if arguments.watch {
        return watched(arguments, seed, on_screen);
    }
    let session = if let (system, Some(id)) = library::split_drill(&arguments.build.system) {
        let ready = written(system, id, arguments)?;
        if on_screen && ready.scope.pairs {
            report.map_or(Ok(()), debrief::can_be_written)?;
            let (circuit, scope) = (Arc::clone(&ready.circuit), ready.scope);
            let make = Box::new(move || ready.begin(seed).map_err(|error| error.to_string()));
            return working_out(&circuit, (scope, make), arguments, (seed, looks));
        }
        ready.begin(seed)?
    } else {
        let circuit = Arc::new(arguments.build.load()?);
        if on_screen && arguments.scope().pairs {
            // Bad faults and files are told before the screen opens.
            let circuit = with_conditions(circuit, arguments);
            hidden(&circuit, arguments)?;
            report.map_or(Ok(()), debrief::can_be_written)?;
            let (scope, wanted) = (arguments.scope(), arguments.clone());
            let of = Arc::clone(&circuit);
            let make = Box::new(move || {
                let made = session(of, &wanted, seed).map_err(|error| format!("{error:#}"))?;
                Ok(made.under(wanted.rules()))
            });
            return working_out(&circuit, (scope, make), arguments, (seed, looks));
        }
        session(circuit, arguments, seed)?.under(arguments.rules())
    };
    report.map_or(Ok(()), debrief::can_be_written)?;
    if !on_screen {
        let input = std::io::stdin();
        let prompt = input.is_terminal();
        let (input, out) = (input.lock(), std::io::stdout().lock());
        return plain::work(session, input, out, (prompt, report), None);
    }
    let session = Box::new(session);
    let start = if arguments.guided { Start::Guided(session) } else { Start::Drill(session) };
    show(start, report, looks)
}

/// Works a drill as plain lines that is made anew whenever its files are saved.
fn watched(arguments: &args::Drill, seed: u64, on_screen: bool) -> Result<Ended> {
    let report = arguments.report.as_deref();
    if on_screen {
        bail!("--watch goes with plain lines: add --plain");
    }
    let (system, drill) = library::split_drill(&arguments.build.system);
    let files = library::files(system);
    if files.is_empty() {
        bail!("{system} comes with the program: there is no file of it to watch");
    }
    let make = |before: Option<&Session>| -> Result<Session> {
        if let Some(id) = drill {
            return Ok(written(system, id, arguments)?.begin(seed)?);
        }
        let circuit = with_conditions(Arc::new(arguments.build.load()?), arguments);
        // What is hidden stays hidden as long as it can be.
        let kept = before.and_then(|before| before.hidden_on(&circuit));
        let session = match kept {
            Some(cause) => Session::planted_within(circuit, cause, arguments.scope(), seed)?,
            None => session(circuit, arguments, seed)?,
        };
        Ok(session.under(arguments.rules()))
    };
    let session = make(None)?;
    report.map_or(Ok(()), debrief::can_be_written)?;
    let mut again = Again::new(files, make);
    let input = std::io::stdin();
    let prompt = input.is_terminal();
    let (input, out) = (input.lock(), std::io::stdout().lock());
    plain::work(session, input, out, (prompt, report), Some(&mut again))
}

/// Works a drill whose making takes long: the screen opens at once and tells what is being
/// worked out.
fn working_out(
    circuit: &Circuit,
    (scope, make): (Scope, screen::Make),
    arguments: &args::Drill,
    (seed, looks): (u64, args::Looks),
) -> Result<Ended> {
    let causes = Causes::within(circuit, scope).len();
    let singles = faults::all(circuit).len();
    let told = vec![
        format!("{}, drill {seed}.", circuit.title_with_mods()),
        format!(
            "This drill reckons with {causes} things that may be wrong: {singles} single faults, \
             and two of them at once."
        ),
        "One of them is hidden, and every one is held against what the crew wrote: whatever \
         would have shown something else is out. The others each keep an aircraft of their own, \
         so that every step can be judged by what it could tell."
            .to_owned(),
    ];
    let start = Start::Making { told, guided: arguments.guided, make };
    show(start, arguments.report.as_deref(), looks)
}

/// Opens the screen, and keeps the debrief in a file where one is named.
fn show(start: Start, report: Option<&Path>, looks: args::Looks) -> Result<Ended> {
    let Some(path) = report.map(Path::to_owned) else { return on_screen(start, looks, None) };
    // The screen tells of a failure at once, and the shell when it has its terminal back.
    let failed = Rc::new(RefCell::new(None));
    let seen = Rc::clone(&failed);
    let keep: Keep = Box::new(move |session, told| {
        debrief::write_report(&path, session, told).map_err(|error| {
            let words = format!("{error:#}");
            *seen.borrow_mut() = Some(error);
            words
        })
    });
    let ended = on_screen(start, looks, Some(keep))?;
    let failure = failed.borrow_mut().take();
    failure.map_or(Ok(ended), Err)
}

pub(super) fn on_screen(start: Start, looks: args::Looks, keep: Option<Keep>) -> Result<Ended> {
    let left = screen::run(start, looks.theme(), super::keys::chosen()?, keep)?;
    Ok(match (left.signal, left.right_part) {
        (Some(signal), _) => Ended::BySignal(u8::try_from(signal).unwrap_or_default()),
        (None, Some(false)) => Ended::WithFinding,
        (None, _) => Ended::Well,
    })
}

/// A drill that somebody has written. It says itself what it hides and on which
/// build; help can only be narrowed, and needles be read where it does not ask for that.
fn written(system: &str, id: &str, arguments: &args::Drill) -> Result<Ready> {
    let own = [
        ("--fault", !arguments.faults.is_empty()),
        ("--reckon-with", !arguments.reckon_with.is_empty()),
        ("--mod", !arguments.build.mods.is_empty()),
    ];
    if let Some((flag, _)) = own.into_iter().find(|(_, given)| *given) {
        bail!("{system}/{id} is a drill that says this itself: leave {flag} out");
    }
    let mut ready = library::scenario(system, id)?.ready;
    let asked = arguments.rules();
    ready.rules.read_needles |= asked.read_needles;
    ready.rules.help = ready.rules.help.min(asked.help);
    Ok(ready)
}

fn session(circuit: Arc<Circuit>, arguments: &args::Drill, seed: u64) -> Result<Session> {
    let scope = arguments.scope();
    let circuit = with_conditions(circuit, arguments);
    match hidden(&circuit, arguments)? {
        None => Ok(Session::drawn_within(circuit, scope, seed)?),
        Some(cause) => Ok(Session::planted_within(circuit, cause, scope, seed)?),
    }
}

/// The aircraft, with a control for its conditions where a fault may come and go.
fn with_conditions(circuit: Arc<Circuit>, arguments: &args::Drill) -> Arc<Circuit> {
    let comes_and_goes = |typed: &String| {
        typed.split(" + ").any(|one| Exposure::ALL.iter().any(|e| one.trim().ends_with(e.name())))
    };
    if arguments.scope().intermittent || arguments.faults.iter().any(comes_and_goes) {
        Arc::new(circuit.with_conditions())
    } else {
        circuit
    }
}

/// What was asked to be hidden; `None` where it is to be drawn.
fn hidden(circuit: &Circuit, arguments: &args::Drill) -> Result<Option<Cause>> {
    if arguments.faults.is_empty() {
        return Ok(None);
    }
    let typed: Vec<String> =
        arguments.faults.iter().map(|typed| always_there(circuit, typed)).collect::<Result<_>>()?;
    Ok(Some(faults::parse_cause(circuit, &typed.join(" + "))?))
}

/// Refuses what a drill cannot hide. Its reasoning weighs faults that are always there,
/// with their usual ohms; hiding another kind would make it prove what is not so.
fn always_there(circuit: &Circuit, typed: &str) -> Result<String> {
    let planted = match (faults::parse_cause(circuit, typed), typed.find(['@', '~'])) {
        (Ok(_), _) => return Ok(typed.to_owned()),
        (Err(error), None) => return Err(error.into()),
        (Err(_), Some(_)) => faults::parse_planted(circuit, typed)?,
    };
    let plain = planted.fault.code(circuit);
    if planted.is_intermittent() {
        bail!(
            "a drill cannot hide a fault that depends on a control: its reasoning would be misled. \
             Hide `{plain}`, or look at this one with `halfsplit solve --fault`"
        );
    }
    if let (Some(ohms), Some(range)) = (planted.ohms, planted.mode.range)
        && ohms != range.usual
    {
        bail!(
            "a drill hides `{plain}` with its usual {} only: its reasoning would be misled by {}. \
             Look at that with `halfsplit solve --fault`",
            quantity(range.usual, "ohm"),
            quantity(ohms, "ohm")
        );
    }
    Ok(plain)
}

pub(super) fn on_a_terminal() -> bool {
    std::io::stdin().is_terminal() && std::io::stdout().is_terminal()
}

/// A seed nobody chose: short enough to be read out and typed again.
pub(super) fn fresh_seed() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    (since.as_millis() as u64) % 1_000_000
}
