//! `halfsplit log`, `resume`, `replay`, `handin`, `verify` and `class`.

use std::cell::RefCell;
use std::fs::{self, File};
use std::io::{BufReader, IsTerminal, Write};
use std::path::{Path, PathBuf};
use std::rc::Rc;
use std::sync::atomic::{AtomicU64, AtomicUsize, Ordering};

use anyhow::{Context, Result, bail};
use ed25519_dalek::SigningKey;
use rayon::prelude::*;

use super::drill::{in_lines, on_a_terminal, on_screen, say_that_it_takes_long};
use super::recorder::{self, Recorder};
use super::{Ended, args, debrief, whole_file};
use crate::circuit::Circuit;
use crate::diagnosis::Belief;
use crate::diagnostic::{plain, shortened};
use crate::drill::Session;
use crate::logbook::class::{Found, Judged, Register, found, judged};
use crate::logbook::handin::{self, HandinError, Reader, Systems, Verdict};
use crate::logbook::{
    Attempt, Filter, Ground, Kept, RecipeError, Store, practise_next, statement_of,
};
use crate::score::{self, Beginnings, FEW_FAULTS};
use crate::screen::Start;
use crate::units::{counted, minutes};

/// Drills that are proposed at once.
const PROPOSED: usize = 8;

/// Attempts that are done again side by side before more of a file is read, so that memory
/// does not grow with the file.
const AT_ONCE: usize = 64;

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
    for kept in &attempts {
        if arguments.json {
            let told = serde_json::json!({ "number": kept.number, "attempt": kept.attempt });
            writeln!(out, "{told}")?;
        } else {
            writeln!(out, "{}", line(kept))?;
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
    for one in practise_next(&all_judged(store)?, PROPOSED) {
        writeln!(out, "  halfsplit drill {}: {}", plain(&one.drill), plain(&one.reason))?;
    }
    Ok(Ended::Well)
}

/// Every attempt of the logbook that can be done again, worked out, the earliest first.
fn all_judged(store: &Store) -> Result<Vec<Judged>> {
    let mut attempts = store.attempts(&Filter::default())?;
    attempts.reverse();
    let beginnings = Beginnings::default();
    let worked = attempts.par_iter().map(|kept| {
        let replayed = kept.attempt.replay().ok()?;
        let whole = replayed.difference.is_none() && replayed.session.call().is_some();
        whole.then(|| judged("", &kept.attempt, &replayed, &beginnings).ok())?
    });
    Ok(worked.flatten().collect())
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
    let written = &session.write_up().observations;
    let mut belief = Belief::after(session.normal(), session.scope(), written)?;
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
        let mut closed: Vec<Attempt> = all.filter(Attempt::is_closed).collect();
        closed.reverse();
        closed
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

fn opened(path: &Path) -> Result<Reader<BufReader<File>>> {
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

/// Sums up a folder of hand-ins.
pub(super) fn class(arguments: &args::Class) -> Result<Ended> {
    for path in arguments.html.iter().chain(&arguments.xapi) {
        debrief::can_be_written(path)?;
    }
    let systems = Systems::with(&arguments.with)?;
    let (files, passed_over) = hand_ins(&arguments.folder)?;
    if let Some(told) = passed_over_told(&passed_over) {
        writeln!(std::io::stderr(), "{told}")?;
    }
    let length = |path: &PathBuf| fs::metadata(path).map_or(0, |file| file.len());
    let progress = Progress::new(files.iter().map(length).sum());
    let mut register = Register::default();
    let mut before = 0;
    for path in &files {
        one_file(path, &systems, &mut register, (&progress, before));
        before += length(path);
        progress.read(before);
    }
    progress.over();
    let class = register.class();
    let mut out = std::io::stdout().lock();
    if arguments.json {
        writeln!(out, "{}", serde_json::to_string(&class)?)?;
    } else if arguments.csv {
        write!(out, "{}", class.csv())?;
    } else {
        write!(out, "{}", class.text())?;
    }
    if let Some(path) = &arguments.html {
        whole_file::write(path, &class.html())?;
    }
    if let Some(path) = &arguments.xapi {
        let statements = register.counted().into_iter().filter_map(statement_of).collect();
        let statements = serde_json::Value::Array(statements);
        whole_file::write(path, &format!("{}\n", serde_json::to_string_pretty(&statements)?))?;
    }
    Ok(if class.refused.is_empty() { Ended::Well } else { Ended::WithFinding })
}

/// The hand-ins of a folder, by name, and what else lies in it and why that is no hand-in.
fn hand_ins(folder: &Path) -> Result<(Vec<PathBuf>, Vec<String>)> {
    let told = || plain(&folder.to_string_lossy());
    let mut files = Vec::new();
    let mut passed_over = Vec::new();
    for entry in fs::read_dir(folder).with_context(told)? {
        let path = entry.with_context(told)?.path();
        let is_named = path.extension().is_some_and(|extension| extension == "jsonl");
        let why = match fs::metadata(&path) {
            Ok(there) if there.is_dir() => "a folder",
            Ok(_) if !is_named => "not .jsonl",
            Ok(there) if !there.is_file() => "not an ordinary file",
            Err(_) => "cannot be looked at",
            Ok(_) => {
                files.push(path);
                continue;
            }
        };
        let name = path.file_name().unwrap_or_default().to_string_lossy();
        passed_over.push(format!("{} ({why})", shortened(&plain(&name), NAME_TOLD)));
    }
    files.sort();
    passed_over.sort();
    if files.is_empty() {
        bail!("{}: no hand-ins in it (files that end in .jsonl)", told());
    }
    Ok((files, passed_over))
}

/// Letters of a name of a file that are told, and names at most.
const NAME_TOLD: usize = 40;
const NAMES_TOLD: usize = 10;

/// What was passed over, in a line; `None` where nothing was.
fn passed_over_told(passed_over: &[String]) -> Option<String> {
    let named = passed_over.iter().take(NAMES_TOLD).cloned().collect::<Vec<_>>().join(", ");
    match passed_over.len() {
        0 => None,
        count if count > NAMES_TOLD => {
            Some(format!("Passed over: {named} and {} more.", count - NAMES_TOLD))
        }
        _ => Some(format!("Passed over: {named}.")),
    }
}

/// Works out one file, so many attempts at once; so many bytes have been read before it.
fn one_file(
    path: &Path,
    systems: &Systems,
    register: &mut Register,
    (progress, before): (&Progress, u64),
) {
    let file = path.file_name().map_or_else(String::new, |name| plain(&name.to_string_lossy()));
    let mut reader = match opened(path) {
        Ok(reader) => reader,
        Err(error) => return register.take(Found::Refused(file, 1, format!("{error:#}"))),
    };
    let mut over = false;
    while !over {
        let mut sheets = Vec::new();
        while sheets.len() < AT_ONCE && !over {
            match reader.next_sheet() {
                Ok(Some(sheet)) => sheets.push(sheet),
                Ok(None) => over = true,
                Err(error) => {
                    over = !matches!(error, HandinError::Line(..));
                    let line = match &error {
                        HandinError::Line(line, ..) | HandinError::Long(line) => *line,
                        HandinError::Read(_) => 0,
                    };
                    register.take(Found::Refused(file.clone(), line, error.to_string()));
                }
            }
        }
        let header = &reader.header;
        let worked = sheets.par_iter().map(|(line, sheet)| {
            let one = found(&file, *line, header, sheet, systems);
            progress.attempt_done();
            one
        });
        for one in worked.collect::<Vec<_>>() {
            register.take(one);
        }
        progress.read(before + reader.bytes());
    }
}

/// How far the work has got, on standard error while that is a terminal.
struct Progress {
    bytes: u64,
    read: AtomicU64,
    attempts: AtomicUsize,
    shown: bool,
}

impl Progress {
    fn new(bytes: u64) -> Self {
        let shown = std::io::stderr().is_terminal();
        Self { bytes: bytes.max(1), read: AtomicU64::new(0), attempts: AtomicUsize::new(0), shown }
    }

    /// Shows the bar: the share of the bytes, and how many attempts have been done again.
    fn tell(&self) {
        if self.shown {
            let percent = 100 * self.read.load(Ordering::Relaxed).min(self.bytes) / self.bytes;
            let bar = "#".repeat(percent as usize * 40 / 100);
            let attempts = self.attempts.load(Ordering::Relaxed);
            // What cannot be shown is no reason to stop.
            let _ = write!(
                std::io::stderr(),
                "\r[{bar:<40}] {percent:>3} %, {attempts} attempts done again"
            );
        }
    }

    fn attempt_done(&self) {
        self.attempts.fetch_add(1, Ordering::Relaxed);
        self.tell();
    }

    /// So many bytes of all files have been read and worked out.
    fn read(&self, bytes: u64) {
        self.read.store(bytes, Ordering::Relaxed);
        self.tell();
    }

    fn over(&self) {
        if self.shown {
            let _ = write!(std::io::stderr(), "\r{:<80}\r", "");
        }
    }
}
