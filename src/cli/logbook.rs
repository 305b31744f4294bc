//! `halfsplit log`, `resume`, `replay`, `handin`, `verify` and `class`.

use std::cell::RefCell;
use std::fs::{self, File};
use std::io::{BufReader, IsTerminal, Write};
use std::path::Path;
use std::rc::Rc;

use anyhow::{Context, Result, bail};
use ed25519_dalek::SigningKey;
use rayon::prelude::*;

use super::drill::{in_lines, on_a_terminal, on_screen, say_that_it_takes_long};
use super::figures::Known;
use super::recorder::{self, Recorder};
use super::{Ended, args, debrief, whole_file};
use crate::circuit::Circuit;
use crate::diagnosis::Belief;
use crate::diagnostic::{plain, shortened};
use crate::drill::Session;
use crate::logbook::class::{Found, Judged, judged};
use crate::logbook::handin::{self, HandinError, Header, Reader, Sheet, Systems, Verdict};
use crate::logbook::{
    Attempt, Filter, Ground, Kept, Key, RecipeError, Store, habit_to_work_on, hash_of, key_of,
    practise_next,
};
use crate::score::{self, Beginnings, FEW_FAULTS, HabitKind};
use crate::screen::Start;
use crate::units::{counted, minutes};

/// Drills that are proposed at once.
const PROPOSED: usize = 8;

/// The logbook, to be read; where nothing can be kept in it that is told on standard error.
fn opened_to_read() -> Result<Store> {
    let store = recorder::open_to_read()?;
    if let Some(told) = recorder::only_read(&store) {
        writeln!(std::io::stderr(), "{told}")?;
    }
    Ok(store)
}

/// Lists attempts, or what to practise next.
pub(super) fn list(arguments: &args::Log) -> Result<Ended> {
    let store = opened_to_read()?;
    if arguments.next {
        return next(&store);
    }
    let filter = Filter {
        system: arguments.system.clone(),
        since: arguments.since.clone(),
        open: arguments.open,
    };
    let mut out = std::io::stdout().lock();
    let attempts = store.attempts(&filter)?;
    if attempts.is_empty() && !arguments.json {
        writeln!(out, "No attempts in {}.", plain(&store.path().to_string_lossy()))?;
    }
    let upshots = store.upshots()?;
    for kept in &attempts {
        if arguments.json {
            let told = serde_json::json!({ "number": kept.number, "attempt": kept.attempt });
            writeln!(out, "{told}")?;
        } else {
            // What the last debrief came to, where there was one.
            let upshot = upshots.get(&kept.number).map_or_else(String::new, |upshot| {
                format!(": {}, {:.0} points", upshot.told(), upshot.points)
            });
            writeln!(out, "{}{upshot}", line(kept))?;
        }
    }
    Ok(Ended::Well)
}

/// An attempt in a line: number, day, drill, how far it went.
pub(super) fn line(kept: &Kept) -> String {
    let Kept { number, attempt } = kept;
    format!("{number:>5}  {}  {}", shortened(&plain(&attempt.begun), 20), told(attempt))
}

/// The drill of an attempt and how far it went.
pub(super) fn told(attempt: &Attempt) -> String {
    let recipe = &attempt.recipe;
    let mods = if recipe.mods.is_empty() {
        String::new()
    } else {
        format!(" mod {}", recipe.mods.join(", "))
    };
    let how = match attempt.moves.last() {
        Some(last) if attempt.is_closed() => plain(last.line.trim_start_matches("call ")),
        _ => "no call yet".to_owned(),
    };
    format!(
        "{}{}: {}, {}",
        shortened(&plain(&recipe.name()), VALUE_TOLD),
        shortened(&plain(&mods), VALUE_TOLD),
        counted(attempt.moves.len(), "move"),
        shortened(&how, VALUE_TOLD)
    )
}

/// Letters of a value of an attempt that are told: more than any drill or fault has.
const VALUE_TOLD: usize = 120;

/// Letters of a verdict on an attempt: three such values and what is said of them.
const VERDICT_TOLD: usize = 600;

fn next(store: &Store) -> Result<Ended> {
    let mut out = std::io::stdout().lock();
    let judged = all_judged(store)?;
    if let Some((habit, drills, all)) = habit_to_work_on(&judged) {
        let without_help = match habit {
            HabitKind::AskedForAdvice => "; `--help-up-to none` begins a drill without help",
            _ => "",
        };
        let title = habit.title();
        writeln!(out, "Habit to work on: {title} (in {drills} of {all} drills){without_help}.")?;
    }
    for one in practise_next(&judged, PROPOSED) {
        writeln!(out, "  halfsplit drill {}: {}", plain(&one.drill), plain(&one.reason))?;
    }
    Ok(Ended::Well)
}

/// Every attempt of the logbook that can be done again, worked out, the earliest first.
fn all_judged(store: &Store) -> Result<Vec<Judged>> {
    let mut attempts = store.attempts(&Filter::default())?;
    attempts.reverse();
    attempts.retain(|kept| kept.attempt.is_closed());
    let beginnings = Beginnings::default();
    let keys: Vec<Key> = attempts
        .iter()
        .map(|kept| {
            let ground = hash_of(&kept.attempt.recipe.system).unwrap_or_default();
            let sheet = Sheet { attempt: kept.attempt.clone(), signature: None };
            key_of(&ground, &Header::default(), &sheet)
        })
        .collect();
    let mut figures = Known::open_quietly();
    let known = figures.of(&keys);
    let worked: Vec<(Option<Found>, bool)> = attempts
        .par_iter()
        .zip(&keys)
        .map(|(kept, key)| match known.get(key) {
            Some(found) => (Some(found.clone()), false),
            None => (worked_out(&kept.attempt, &beginnings), true),
        })
        .collect();
    let new = keys.iter().zip(&worked).filter(|(_, (_, is_new))| *is_new);
    figures.keep(new.filter_map(|(key, (found, _))| Some((key, found.as_ref()?))));
    let counts = |found| match found {
        Found::Counts(judged) => Some(*judged),
        Found::Refused(_) => None,
    };
    Ok(worked.into_iter().filter_map(|(found, _)| counts(found?)).collect())
}

/// An attempt of one's own, done again and worked out; none where it shows something else.
fn worked_out(attempt: &Attempt, beginnings: &Beginnings) -> Option<Found> {
    let replayed = attempt.replay().ok()?;
    let whole = replayed.difference.is_none() && replayed.session.call().is_some();
    let judged = whole.then(|| judged("", attempt, &replayed, beginnings).ok())??;
    Some(Found::Counts(Box::new(judged)))
}

/// An attempt done again, which must show what it showed; whether it is told on standard error
/// that this takes long, where it does.
fn again(kept: &Kept, tell: bool) -> Result<Session> {
    let Kept { number, attempt } = kept;
    let refused = |error: RecipeError| {
        let why = shortened(&error.to_string(), VERDICT_TOLD);
        anyhow::anyhow!("attempt {number} cannot be done again: {why}")
    };
    let ground = attempt.recipe.ground().map_err(refused)?;
    if tell {
        say_that_it_takes_long(match &ground {
            Ground::Drill(ready) => &ready.circuit,
            Ground::Build(circuit) => circuit,
        });
    }
    let session = attempt.recipe.begin_in(&ground).map_err(refused)?;
    let replayed = attempt.replay_in(session, attempt.recipe.build());
    if let Some(difference) = replayed.difference {
        bail!(
            "attempt {} cannot be done again as it was: {}",
            kept.number,
            plain(&difference.told())
        );
    }
    Ok(replayed.session)
}

/// The drill of an attempt of the logbook, as the menu opens it, and the attempt.
pub(super) fn taken_up(number: i64) -> Result<(Session, Kept)> {
    let kept = recorder::open_on_screen()?.attempt(number)?;
    Ok((again(&kept, false)?, kept))
}

/// Goes on with an attempt.
pub(super) fn resume(arguments: &args::Resume, plain: bool, looks: args::Looks) -> Result<Ended> {
    let store = recorder::open_to_read()?;
    let report = arguments.report.as_deref();
    report.map_or(Ok(()), debrief::can_be_written)?;
    let kept = if let Some(number) = arguments.number {
        store.attempt(number)?
    } else {
        let open = Filter { open: true, ..Filter::default() };
        let latest = store.attempts(&open)?.into_iter().next();
        latest.context("no attempt is open; `halfsplit drill SYSTEM` begins one")?
    };
    if kept.attempt.is_closed() {
        bail!("the call of attempt {} has been made; look back with replay", kept.number);
    }
    let session = again(&kept, true)?;
    let mut recorder = Recorder::new(true);
    recorder.go_on(kept);
    let recorder = Rc::new(RefCell::new(recorder));
    if plain || !on_a_terminal() {
        return in_lines(session, report, None, &recorder);
    }
    super::drill::show(Start::Drill(Box::new(session)), report, looks, (&recorder, None))
}

/// Looks back on an attempt.
pub(super) fn replay(arguments: &args::Replay, plain: bool, looks: args::Looks) -> Result<Ended> {
    let kept = opened_to_read()?.attempt(arguments.number)?;
    let report = arguments.report.as_deref();
    report.map_or(Ok(()), debrief::can_be_written)?;
    let session = again(&kept, true)?;
    let over = session.call().is_some();
    if over && !plain && on_a_terminal() && report.is_none() {
        let nothing = Rc::new(RefCell::new(Recorder::new(false)));
        // How the call was is no news to the shell.
        on_screen(Start::LookBack(Box::new(session)), looks, (None, None), &nothing)?;
        return Ok(Ended::Well);
    }
    let mut out = std::io::stdout().lock();
    in_steps(&mut out, &kept.attempt, &session)?;
    if over {
        let told = score::debrief(&session)?;
        debrief::write(&mut out, &told)?;
        if let Some(path) = report {
            writeln!(out, "{}", debrief::write_report(path, &session, &told)?)?;
        }
    } else {
        writeln!(out, "No call yet: halfsplit resume {} goes on.", kept.number)?;
    }
    Ok(Ended::Well)
}

/// Every move with what it showed and what could then still be wrong.
fn in_steps(out: &mut impl Write, attempt: &Attempt, session: &Session) -> Result<()> {
    writeln!(
        out,
        "{}, begun {}.",
        plain(&session.circuit().title_with_mods()),
        plain(&attempt.begun)
    )?;
    for line in &session.write_up().lines {
        writeln!(out, "  The crew wrote: {}", plain(line))?;
    }
    let mut belief = session.known_at_start()?;
    writeln!(out, "  {} possible.", counted(belief.alive().count(), "fault"))?;
    for (at, (done, deed)) in attempt.moves.iter().zip(session.deeds()).enumerate() {
        writeln!(out, "{}. {} [{}]", at + 1, plain(&done.line), plain(&done.at))?;
        for shown in &done.shown {
            writeln!(out, "     {}", plain(shown))?;
        }
        if let Some(entry) = deed.entry.and_then(|at| session.log().get(at)) {
            belief.observe(&entry.observation);
            let left = counted(belief.alive().count(), "fault");
            let named = possible(&belief, session.circuit());
            writeln!(out, "     {}; {left} possible: {named}.", minutes(entry.clock))?;
        }
    }
    Ok(())
}

/// What is possible by name, the likeliest first, as far as that stays short.
fn possible(belief: &Belief, circuit: &Circuit) -> String {
    let mut alive: Vec<_> =
        belief.candidates().iter().zip(belief.posterior()).filter(|(_, p)| *p > 0.0).collect();
    // A stable sort: equals stay in the order of the parts.
    alive.sort_by(|a, b| b.1.total_cmp(&a.1));
    let named = alive.iter().take(FEW_FAULTS).map(|(one, _)| one.cause.code(circuit));
    let named = named.collect::<Vec<_>>().join(", ");
    match alive.len().saturating_sub(FEW_FAULTS) {
        0 => plain(&named),
        more => format!("{} and {more} more", plain(&named)),
    }
}

/// The trainee's name: as given, as kept, or asked for.
fn name(store: &mut Store, given: Option<&str>) -> Result<String> {
    let typed = match (given, store.setting("trainee")?) {
        (Some(given), _) => given.to_owned(),
        (None, Some(kept)) => return Ok(kept),
        (None, None) if std::io::stdin().is_terminal() => {
            let mut err = std::io::stderr().lock();
            write!(err, "Your name or number, as the instructor knows it: ")?;
            err.flush()?;
            let mut typed = String::new();
            std::io::stdin().read_line(&mut typed)?;
            typed
        }
        (None, None) => bail!("say who hands in: --name NAME; it is kept for the next time"),
    };
    let name = handin::name_of(&typed).map_err(anyhow::Error::msg)?;
    // Where it cannot be kept it is asked for again the next time.
    if store.only_read().is_none() {
        store.set("trainee", &name)?;
    }
    Ok(name)
}

/// The trainee's key: 32 bytes in a file that nobody else can read, made when it is first
/// needed.
fn key() -> Result<SigningKey> {
    let folder = recorder::folder().context("there is no place for a key: HOME is not set")?;
    let path = folder.join("signing-key");
    let unreadable = || format!("the key in {} cannot be used", plain(&path.to_string_lossy()));
    if !path.exists() {
        let mut bytes = [0; 32];
        getrandom::fill(&mut bytes)
            .map_err(|error| anyhow::anyhow!("no random numbers: {error}"))?;
        let mut options = fs::OpenOptions::new();
        options.write(true).create_new(true);
        #[cfg(unix)]
        {
            use std::os::unix::fs::OpenOptionsExt;
            options.mode(0o600);
        }
        let mut file = options.open(&path).with_context(unreadable)?;
        file.write_all(&bytes).and_then(|()| file.sync_all()).with_context(unreadable)?;
    }
    let there = fs::metadata(&path).with_context(unreadable)?;
    if !there.is_file() || there.len() != 32 {
        bail!(unreadable());
    }
    let bytes = fs::read(&path).with_context(unreadable)?;
    let bytes = <[u8; 32]>::try_from(bytes.as_slice()).ok().with_context(unreadable)?;
    Ok(SigningKey::from_bytes(&bytes))
}

/// Writes a hand-in.
pub(super) fn hand_in(arguments: &args::Handin) -> Result<Ended> {
    let mut store = opened_to_read()?;
    let attempts: Vec<Attempt> = if arguments.numbers.is_empty() {
        let all = store.attempts(&Filter::default())?.into_iter().map(|kept| kept.attempt);
        let wanted = |attempt: &Attempt| arguments.open || attempt.is_closed();
        let mut wanted: Vec<Attempt> = all.filter(wanted).collect();
        wanted.reverse();
        wanted
    } else {
        let wanted = arguments.numbers.iter().map(|number| store.attempt(*number));
        wanted.map(|kept| kept.map(|kept| kept.attempt)).collect::<Result<_, _>>()?
    };
    if attempts.is_empty() {
        bail!("there is nothing to hand in: no drill has been called yet");
    }
    let name = name(&mut store, arguments.name.as_deref())?;
    let key = arguments.sign.then(key).transpose()?;
    let mut text = Vec::new();
    handin::write(&mut text, (&name, &recorder::now()), &attempts, key.as_ref())?;
    whole_file::write(&arguments.out, &String::from_utf8(text)?)?;
    let mut out = std::io::stdout().lock();
    writeln!(
        out,
        "{} of {} in {}{}.",
        counted(attempts.len(), "attempt"),
        plain(&name),
        plain(&arguments.out.to_string_lossy()),
        if key.is_some() { ", signed" } else { "" }
    )?;
    Ok(Ended::Well)
}

/// Opens a hand-in.
///
/// # Errors
/// When it is no ordinary file or its first line is none of a hand-in.
pub(super) fn opened(path: &Path) -> Result<Reader<BufReader<File>>> {
    let told = || plain(&path.to_string_lossy());
    if !path.is_file() {
        bail!("{}: it is not an ordinary file", told());
    }
    let file = File::open(path).with_context(told)?;
    Reader::new(BufReader::new(file)).with_context(told)
}

/// Does hand-ins again.
pub(super) fn verify(arguments: &args::Verify) -> Result<Ended> {
    let systems = Systems::with(&arguments.with)?;
    let mut out = std::io::stdout().lock();
    let mut all_well = true;
    for path in &arguments.files {
        let file = plain(&path.to_string_lossy());
        let mut reader = opened(path)?;
        writeln!(out, "{file}: {}", plain(&reader.header.trainee))?;
        loop {
            match reader.next_sheet() {
                Ok(None) => break,
                Ok(Some((line, sheet))) => {
                    let verdict = handin::judge(&reader.header, &sheet, &systems);
                    all_well &= matches!(verdict, Verdict::Reproduced(..));
                    let signed = if sheet.signature.is_some() { ", signed" } else { "" };
                    let drill = told(&sheet.attempt);
                    let verdict = shortened(&plain(&verdict.told()), VERDICT_TOLD);
                    writeln!(out, "  line {line}: {drill}{signed}: {verdict}")?;
                }
                Err(error) => {
                    all_well = false;
                    writeln!(out, "  {}", plain(&error.to_string()))?;
                    if !matches!(error, HandinError::Line(..)) {
                        break;
                    }
                }
            }
        }
    }
    Ok(if all_well { Ended::Well } else { Ended::WithFinding })
}
