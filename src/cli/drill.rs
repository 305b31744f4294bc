//! `halfsplit drill` and the program without a verb.

use std::cell::RefCell;
use std::io::{IsTerminal, Write};
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::time::{SystemTime, UNIX_EPOCH};

use anyhow::{Result, bail};

use super::again::Again;
use super::recorder::{Recorder, Shared};
use super::{Ended, args, debrief, plain};
use crate::circuit::Circuit;
use crate::diagnostic::plain as clean;
use crate::drill::{Baselines, Session};
use crate::faults::{self, Causes, Scope};
use crate::library;
use crate::logbook::{Ground, Recipe, with_conditions, words_of};
use crate::score::Debrief;
use crate::screen::{self, Anew, Keep, Kept, Record, Start};

/// Works one drill.
pub(super) fn run(arguments: &args::Drill, plain: bool, looks: args::Looks) -> Result<Ended> {
    let seed = arguments.seed.unwrap_or_else(fresh_seed);
    let report = arguments.report.as_deref();
    let on_screen = !plain && on_a_terminal();
    if arguments.watch {
        return watched(arguments, seed, on_screen.then_some(looks));
    }
    let recipe = recipe(arguments, seed)?;
    let mut recorder = Recorder::new(!arguments.no_log);
    recorder.begin(recipe.clone());
    let recorder = Rc::new(RefCell::new(recorder));
    let ground = recipe.ground()?;
    let (circuit, scope) = match &ground {
        Ground::Drill(ready) => (Arc::clone(&ready.circuit), ready.scope),
        Ground::Build(circuit) => (Arc::clone(circuit), recipe.scope()),
    };
    if on_screen && (scope.pairs || takes_long(&circuit).is_some()) {
        // Bad faults and files are told before the screen opens.
        let circuit = with_conditions(circuit, scope, &recipe.hidden);
        recipe.cause(&circuit)?;
        report.map_or(Ok(()), debrief::can_be_written)?;
        let make = Box::new(move || recipe.begin_in(&ground).map_err(|error| error.to_string()));
        return working_out(&circuit, (scope, make), arguments, (seed, looks, &recorder));
    }
    say_that_it_takes_long(&circuit);
    let session = recipe.begin_in(&ground)?;
    report.map_or(Ok(()), debrief::can_be_written)?;
    if !on_screen {
        return in_lines(session, report, None, &recorder);
    }
    let session = Box::new(session);
    let start = if arguments.guided { Start::Guided(session) } else { Start::Drill(session) };
    show(start, report, looks, (&recorder, None))
}

/// What a drill is made of.
fn recipe(arguments: &args::Drill, seed: u64) -> Result<Recipe> {
    let (system, drill) = library::split_drill(&arguments.build.system);
    if let Some(id) = drill {
        says_it_itself(system, id, arguments)?;
    }
    let mut recipe = Recipe::new(system, arguments.rules(), seed)?;
    recipe.drill = drill.map(str::to_owned);
    recipe.mods.clone_from(&arguments.build.mods);
    recipe.hidden.clone_from(&arguments.faults);
    recipe.reckon_with = words_of(arguments.scope());
    Ok(recipe)
}

/// Works a drill as plain lines, from standard input to standard output.
pub(super) fn in_lines(
    session: Session,
    report: Option<&Path>,
    again: Option<&mut Again<'_>>,
    recorder: &Shared,
) -> Result<Ended> {
    let input = std::io::stdin();
    let prompt = input.is_terminal();
    let (input, out) = (input.lock(), std::io::stdout().lock());
    let mut troubled = false;
    let mut keep = |session: &Session| {
        let kept = recorder.borrow_mut().catch_up(session);
        let was = std::mem::replace(&mut troubled, kept.is_err());
        match kept {
            Err(why) if !was => Some(format!("Not kept: {why}. The drill goes on.")),
            Ok(()) if was => Some("Everything is kept now.".to_owned()),
            _ => None,
        }
    };
    let mut judged = |debrief: &Debrief| recorder.borrow_mut().upshot(debrief);
    let ended = plain::work(session, input, out, (prompt, report), (again, &mut keep, &mut judged));
    tell_what_is_lost(recorder);
    ended
}

/// Keeps what still waits, and says what of it is lost.
fn tell_what_is_lost(recorder: &Shared) {
    if let Some(lost) = recorder.borrow_mut().finish() {
        // Where nobody can be told, there is nothing more to be done.
        let _ = writeln!(std::io::stderr(), "{}", clean(&lost));
    }
}

/// Works a drill that is made anew whenever its files are saved, on the screen or as plain
/// lines.
fn watched(arguments: &args::Drill, seed: u64, looks: Option<args::Looks>) -> Result<Ended> {
    let report = arguments.report.as_deref();
    let (system, _) = library::split_drill(&arguments.build.system);
    let files = library::files(system);
    if files.is_empty() {
        bail!("{system} comes with the program: there is no file of it to watch");
    }
    let of = arguments.clone();
    let make = move |before: Option<&Session>| -> Result<Session> {
        let recipe = recipe(&of, seed)?;
        if recipe.drill.is_some() {
            return Ok(recipe.begin()?);
        }
        let circuit = Arc::new(of.build.load()?);
        let circuit = with_conditions(circuit, recipe.scope(), &recipe.hidden);
        // What is hidden stays hidden as long as it can be.
        let kept = before.and_then(|before| before.hidden_on(&circuit));
        let session = match kept {
            Some(cause) => Session::planted_within(circuit, cause, of.scope(), seed)?,
            None => recipe.begin_on(&circuit, &Baselines::default())?,
        };
        Ok(session.under(of.rules()))
    };
    let session = make(None)?;
    report.map_or(Ok(()), debrief::can_be_written)?;
    let mut again = Again::new(files, make);
    // What is done on an aircraft that changes under one's hands cannot be done again.
    let recorder = Rc::new(RefCell::new(Recorder::new(false)));
    let Some(looks) = looks else {
        return in_lines(session, report, Some(&mut again), &recorder);
    };
    let session = Box::new(session);
    let start = if arguments.guided { Start::Guided(session) } else { Start::Drill(session) };
    show(start, report, looks, (&recorder, Some(Box::new(move |old| again.told(old)))))
}

/// Parts from which on one waits for a drill: with a thousand it takes about a second, and the
/// time grows with the square of their number.
const MANY_PARTS: usize = 1000;

/// That a drill on this system takes long to make, in words, where it does.
fn takes_long(circuit: &Circuit) -> Option<String> {
    let parts = circuit.parts.len();
    (parts >= MANY_PARTS).then(|| {
        format!(
            "{parts} parts: what each of their faults would show is worked out first, which \
             takes a while."
        )
    })
}

/// Says so on standard error, where it does.
pub(super) fn say_that_it_takes_long(circuit: &Circuit) {
    if let Some(told) = takes_long(circuit) {
        let _ = writeln!(std::io::stderr(), "{told}");
    }
}

/// Works a drill whose making takes long: the screen opens at once and tells what is being
/// worked out.
fn working_out(
    circuit: &Circuit,
    (scope, make): (Scope, screen::Make),
    arguments: &args::Drill,
    (seed, looks, recorder): (u64, args::Looks, &Shared),
) -> Result<Ended> {
    let causes = Causes::within(circuit, scope).len();
    let singles = faults::all(circuit).len();
    let and_pairs = if scope.pairs { ", and two of them at once" } else { "" };
    let told = vec![
        format!("{}, drill {seed}.", circuit.title_with_mods()),
        takes_long(circuit).unwrap_or_default(),
        format!(
            "This drill reckons with {causes} things that may be wrong: {singles} single \
             faults{and_pairs}."
        ),
        "One of them is hidden, and every one is held against what the crew wrote: whatever \
         would have shown something else is out. The others each keep an aircraft of their own, \
         so that every step can be judged by what it could tell."
            .to_owned(),
    ];
    let told = told.into_iter().filter(|told| !told.is_empty()).collect();
    let start = Start::Making { told, guided: arguments.guided, make };
    show(start, arguments.report.as_deref(), looks, (recorder, None))
}

/// Opens the screen, and keeps the debrief in a file where one is named.
pub(super) fn show(
    start: Start,
    report: Option<&Path>,
    looks: args::Looks,
    (recorder, anew): (&Shared, Option<Anew>),
) -> Result<Ended> {
    let Some(path) = report.map(Path::to_owned) else {
        return on_screen(start, looks, (None, anew), recorder);
    };
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
    let ended = on_screen(start, looks, (Some(keep), anew), recorder)?;
    let failure = failed.borrow_mut().take();
    failure.map_or(Ok(ended), Err)
}

pub(super) fn on_screen(
    start: Start,
    looks: args::Looks,
    (keep, anew): (Option<Keep>, Option<Anew>),
    recorder: &Shared,
) -> Result<Ended> {
    let recorder = Rc::clone(recorder);
    let of_judged = Rc::clone(&recorder);
    let is_wanted = recorder.borrow().is_wanted();
    let notice = recorder.borrow_mut().notice.take();
    recorder.borrow_mut().on_screen();
    let record: Record = Box::new(move |session| match session {
        Some(session) => recorder.borrow_mut().catch_up(session),
        None => recorder.borrow_mut().try_again(),
    });
    let mut keep = keep;
    let judged = Rc::clone(&of_judged);
    let keep: Keep = Box::new(move |session, debrief| {
        judged.borrow_mut().upshot(debrief);
        keep.as_mut().map_or_else(|| Ok(String::new()), |keep| keep(session, debrief))
    });
    let kept = Kept { debrief: Some(keep), deeds: is_wanted.then_some(record), anew, notice };
    let left = screen::run(start, looks.theme(), super::keys::chosen()?, kept);
    tell_what_is_lost(&of_judged);
    let left = left?;
    Ok(match (left.signal, left.right_part) {
        (Some(signal), _) => Ended::BySignal(u8::try_from(signal).unwrap_or_default()),
        (None, Some(false)) => Ended::WithFinding,
        (None, _) => Ended::Well,
    })
}

/// Refuses what a drill that somebody has written says itself: what it hides and on which
/// build; help can only be narrowed, and needles be read where it does not ask for that.
fn says_it_itself(system: &str, id: &str, arguments: &args::Drill) -> Result<()> {
    let own = [
        ("--fault", !arguments.faults.is_empty()),
        ("--reckon-with", !arguments.reckon_with.is_empty()),
        ("--mod", !arguments.build.mods.is_empty()),
    ];
    match own.into_iter().find(|(_, given)| *given) {
        Some((flag, _)) => {
            bail!("{system}/{id} is a drill that says this itself: leave {flag} out")
        }
        None => Ok(()),
    }
}

pub(super) fn on_a_terminal() -> bool {
    std::io::stdin().is_terminal() && std::io::stdout().is_terminal()
}

/// A seed nobody chose: short enough to be read out and typed again.
pub(super) fn fresh_seed() -> u64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    (since.as_millis() as u64) % 1_000_000
}
