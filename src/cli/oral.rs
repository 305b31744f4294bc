//! `halfsplit oral`: asking, papers, and what is due.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::io::{BufRead, IsTerminal, Write};
use std::path::Path;
use std::rc::Rc;
use std::sync::Arc;
use std::time::Instant;

use anyhow::{Context, Result, bail};
use jiff::ZonedDateTime;

use super::drill::{on_a_terminal, on_screen};
use super::recorder::Recorder;
use super::sitting::{Sitting, sitting};
use super::{Ended, args, debrief, recorder, whole_file};
use crate::circuit::Circuit;
use crate::diagnostic::plain;
use crate::library::{self, LoadError};
use crate::logbook::{Grade, Store};
use crate::oral::{Answer, Deck, Examiner, Given, Paper, Question, Rating, Terms, read_questions};
use crate::screen::{Start, wrap};
use crate::units::{counted, significant};

/// Days that the forecast tells.
pub(super) const FORECAST_DAYS: usize = 14;

/// New cards that a session brings at most, beside those that are due.
const LEAST_NEW: usize = 5;

/// Runs the verb.
pub(super) fn run(arguments: &args::Oral, plain: bool, looks: args::Looks) -> Result<Ended> {
    if arguments.plan {
        return plan(arguments);
    }
    let system = arguments.system.as_deref().context("name the system to be asked about")?;
    let seed = arguments.seed.unwrap_or_else(super::drill::fresh_seed);
    if arguments.paper.is_none() && !plain && on_a_terminal() {
        let recorder = Rc::new(RefCell::new(Recorder::new(!arguments.no_log)));
        let oral = sitting(Sitting {
            system,
            mods: &arguments.mods,
            questions: arguments.questions,
            timed: arguments.timed,
            board: arguments.board,
            seed,
            recorder: &recorder,
        })?;
        return on_screen(Start::Oral(Box::new(oral)), looks, (None, None), &recorder);
    }
    let circuit = library::load_build(system, &arguments.mods)?;
    let examiner = examiner(system, circuit)?;
    if arguments.paper.is_some() {
        return paper(arguments, &examiner, seed);
    }
    let input = std::io::stdin();
    let prompt = input.is_terminal();
    let (input, out) = (input.lock(), std::io::stdout().lock());
    ask(arguments, &examiner, seed, (input, out, prompt))
}

/// Who asks about a build, told what each mod brings.
pub(super) fn examiner(system: &str, circuit: Circuit) -> Result<Examiner> {
    let mut mods = Vec::new();
    for of in &circuit.mods {
        let with = library::load_build(system, std::slice::from_ref(&of.id));
        let without = library::load(system);
        if let (Ok(with), Ok(without)) = (with, without) {
            let new = with.parts.iter().filter(|part| without.find_part(&part.id).is_none());
            mods.push((of.id.clone(), new.map(|part| part.id.clone()).collect()));
        }
    }
    let own = match library::oral_source(system)? {
        None => Vec::new(),
        Some((file, text)) => {
            let (own, findings) = read_questions(&circuit, &file, &text);
            if library::has_errors(&findings) {
                return Err(LoadError::Findings(findings).into());
            }
            own
        }
    };
    Ok(Examiner::new(Arc::new(circuit), mods)?.with_own(own))
}

/// Today, counted in days from 1970-01-01 where the user is.
pub(super) fn today() -> i64 {
    let date = ZonedDateTime::now().date();
    let first = jiff::civil::date(1970, 1, 1);
    date.since(first).map_or(0, |span| i64::from(span.get_days()))
}

/// Every card with its grades, as the logbook has them.
pub(super) fn deck(store: &Store) -> Result<Deck> {
    let grades = store.grades()?;
    let rated = grades.iter().filter_map(|grade| {
        Rating::of(grade.rating).map(|rating| (grade.card.as_str(), grade.day, rating))
    });
    Ok(Deck::of(rated))
}

/// The questions of a session: cards that are due, then new ones.
pub(super) fn session(
    examiner: &Examiner,
    deck: &Deck,
    (count, seed, day): (usize, u64, i64),
) -> Vec<Question> {
    let mut asked: Vec<Question> = Vec::new();
    let due = deck.due(day);
    let room = count.saturating_sub(LEAST_NEW.min(count / 2)).max(usize::from(count > 0));
    for (at, card) in (0..).zip(due) {
        if asked.len() >= room {
            break;
        }
        asked.extend(examiner.again(card, seed.wrapping_add(at)));
    }
    let known: Vec<String> = asked.iter().map(|question| question.card.clone()).collect();
    let mut later = Vec::new();
    for question in examiner.session_questions(count * 4, seed) {
        if asked.len() >= count {
            break;
        }
        if known.contains(&question.card) || deck.cards.contains_key(&question.card) {
            later.push(question);
        } else {
            asked.push(question);
        }
    }
    // Where every card is known already, those are asked before their time.
    later.truncate(count.saturating_sub(asked.len()));
    asked.extend(later);
    asked
}

/// A session as it goes.
struct Asking {
    questions: Vec<Question>,
    /// Whether each was asked because another one was not known.
    followed: Vec<bool>,
    at: usize,
    /// Whether each that was answered was right.
    right: BTreeMap<usize, bool>,
    /// Whether the model answer of a spoken question has been shown.
    shown: bool,
}

impl Asking {
    /// Goes on to the next one, a follow-up where there is one to be asked.
    fn go_on(&mut self, is_right: bool, follow_up: Option<Question>) {
        self.right.insert(self.at, is_right);
        self.at += 1;
        self.shown = false;
        if let Some(question) = follow_up {
            self.questions.insert(self.at, question);
            self.followed.insert(self.at, true);
        }
    }

    /// Goes back to the one before.
    fn go_back(&mut self) {
        self.at -= 1;
        self.shown = false;
        self.right.remove(&self.at);
    }
}

fn ask(
    arguments: &args::Oral,
    examiner: &Examiner,
    seed: u64,
    (mut input, mut out, prompt): (impl BufRead, impl Write, bool),
) -> Result<Ended> {
    let mut store = None;
    let mut known = None;
    if !arguments.no_log {
        match recorder::open() {
            Ok(opened) => store = Some(opened),
            Err(why) => {
                say(
                    &mut out,
                    "",
                    &format!("Not kept: {}. The oral goes on.", plain(&format!("{why:#}"))),
                )?;
                known = recorder::open_to_read().ok();
            }
        }
    }
    let day = today();
    let deck = store.as_ref().or(known.as_ref()).map(deck).transpose()?.unwrap_or_default();
    let questions = session(examiner, &deck, (arguments.questions, seed, day));
    let limit =
        (arguments.timed || arguments.board).then(|| Terms::default().minutes(questions.len()));
    say(&mut out, "", &examiner.circuit().title_with_mods())?;
    let within = limit.map(|limit| format!(", {limit} min")).unwrap_or_default();
    let head = format!(
        "{} from seed {seed}{within}. `undo` takes the last answer back, `quit` leaves. For training only.",
        counted(questions.len(), "question")
    );
    say(&mut out, "", &head)?;
    let begun = Instant::now();
    let followed = vec![false; questions.len()];
    let mut asking = Asking { questions, followed, at: 0, right: BTreeMap::new(), shown: false };
    let mut told = usize::MAX;
    let mut line = String::new();
    while let Some(question) = asking.questions.get(asking.at).cloned() {
        if limit.is_some_and(|limit| begun.elapsed().as_secs() > 60 * u64::from(limit)) {
            writeln!(out, "The time is over.")?;
            break;
        }
        if told != asking.at {
            put(&mut out, asking.at, &question)?;
            told = asking.at;
        }
        if prompt {
            write!(out, "> ")?;
        }
        out.flush()?;
        line.clear();
        if input.read_line(&mut line)? == 0 {
            break;
        }
        let typed = line.trim().to_lowercase();
        match typed.as_str() {
            "quit" | "exit" => break,
            "undo" if arguments.board => {
                writeln!(out, "Before the board an answer stands.")?;
                continue;
            }
            "undo" if asking.at > 0 => {
                if let Some(store) = &mut store {
                    store.take_back()?;
                }
                asking.go_back();
                told = usize::MAX;
                writeln!(out, "Taken back.")?;
                continue;
            }
            _ => {}
        }
        if let (Answer::Words { model }, false) = (&question.answer, asking.shown) {
            writeln!(out, "A model answer:")?;
            for sentence in model {
                say(&mut out, "   ", sentence)?;
            }
            say(&mut out, "", how(&question, true).as_str())?;
            asking.shown = true;
            continue;
        }
        let given = given(&question, &typed);
        let judged = given
            .as_ref()
            .and_then(|given| Some((question.is_right(given)?, question.rating(given)?)));
        let Some((is_right, rating)) = judged else {
            say(&mut out, "", &format!("{} Or `undo`, or `quit`.", how(&question, asking.shown)))?;
            continue;
        };
        // Kept before it is acknowledged.
        if let Some(store) = &mut store {
            store.grade(&Grade {
                card: question.card.clone(),
                at: recorder::now(),
                day,
                rating: rating.number(),
            })?;
        }
        answered(&mut out, &question, is_right)?;
        let digs = arguments.board && !is_right && !asking.followed[asking.at];
        let follow_up = digs.then(|| examiner.follow_up(&question, seed)).flatten();
        if follow_up.is_some() {
            writeln!(out, "Then let us look closer.")?;
        }
        asking.go_on(is_right, follow_up);
    }
    let right = asking.right;
    let correct = right.values().filter(|right| **right).count();
    // Before a board what was not answered was not known.
    let of = if arguments.board { asking.questions.len() } else { right.len() };
    let enough = Terms::default().enough(of);
    if right.is_empty() {
        writeln!(out, "Nothing answered.")?;
    } else {
        let passed = if correct >= enough { "enough" } else { "not enough" };
        writeln!(out, "{correct} of {of} right: {passed} for 75 %.")?;
    }
    if let Some(store) = &store {
        let deck = self::deck(store)?;
        writeln!(out, "{}", due_told(&deck, day))?;
    }
    Ok(Ended::Well)
}

/// Columns of a plain line.
const COLUMNS: u16 = 78;

/// Writes a text in lines of so many columns, what follows the first set in as far as its head
/// is long.
fn say(out: &mut impl Write, head: &str, text: &str) -> Result<()> {
    let indent = u16::try_from(head.len()).unwrap_or(0);
    for (at, line) in wrap(text, COLUMNS - indent).iter().enumerate() {
        let head = if at == 0 { head.to_owned() } else { " ".repeat(head.len()) };
        writeln!(out, "{head}{line}")?;
    }
    Ok(())
}

/// What was typed, as an answer of the form that a question has.
fn given(question: &Question, typed: &str) -> Option<Given> {
    let place = |letter: char, count: usize| ('a'..).take(count).position(|known| known == letter);
    match &question.answer {
        Answer::One { choices, .. } => {
            let mut letters = typed.chars();
            let at = place(letters.next()?, choices.len())?;
            letters.next().is_none().then_some(Given::One(at))
        }
        Answer::All { choices, .. } => {
            let mut marked = vec![false; choices.len()];
            for letter in typed.chars().filter(|letter| !matches!(letter, ' ' | ',')) {
                marked[place(letter, choices.len())?] = true;
            }
            marked.contains(&true).then_some(Given::All(marked))
        }
        Answer::Number { unit, .. } => {
            let figure = typed.strip_suffix(&unit.to_lowercase()).unwrap_or(typed).trim();
            let figure: f64 = figure.replace(',', ".").parse().ok()?;
            figure.is_finite().then_some(Given::Number(figure))
        }
        Answer::Words { .. } => typed.parse().ok().and_then(Rating::of).map(Given::Words),
    }
}

/// How a question is answered; of a spoken one, whether its model answer has been shown.
fn how(question: &Question, shown: bool) -> String {
    match &question.answer {
        Answer::One { .. } => "Answer with the letter of one of them.".to_owned(),
        Answer::All { .. } => "Answer with the letters of all that are right, as `ac`.".to_owned(),
        Answer::Number { unit, .. } => format!("Answer with a figure in {unit}."),
        Answer::Words { .. } if !shown => {
            "Say it aloud, then press Enter to see a model answer.".to_owned()
        }
        Answer::Words { .. } => {
            "Grade yourself: 1 not known, 2 with effort, 3 known, 4 at once.".to_owned()
        }
    }
}

fn put(out: &mut impl Write, at: usize, question: &Question) -> Result<()> {
    writeln!(out)?;
    say(out, &format!("{}. ", at + 1), &question.text)?;
    match &question.answer {
        Answer::One { choices, .. } | Answer::All { choices, .. } => {
            for (letter, choice) in ('a'..).zip(choices) {
                say(out, &format!("   {letter}) "), choice)?;
            }
        }
        Answer::Number { .. } | Answer::Words { .. } => {}
    }
    if !matches!(question.answer, Answer::One { .. }) {
        say(out, "   ", &how(question, false))?;
    }
    Ok(())
}

fn answered(out: &mut impl Write, question: &Question, is_right: bool) -> Result<()> {
    match (&question.answer, is_right) {
        (Answer::Words { .. }, true) => writeln!(out, "Known.")?,
        (Answer::Words { .. }, false) => writeln!(out, "To be asked again.")?,
        (_, true) => writeln!(out, "Right.")?,
        (_, false) => say(out, "No: ", &right_told(question))?,
    }
    if let (Answer::Number { tolerance, unit, .. }, true) = (&question.answer, is_right) {
        let told =
            format!("{}; within {} {unit}.", right_told(question), significant(*tolerance, 2));
        say(out, "   ", &told)?;
    }
    for reason in &question.reasons {
        say(out, "   ", reason)?;
    }
    Ok(())
}

/// What would have been right.
fn right_told(question: &Question) -> String {
    match &question.answer {
        Answer::One { choices, right, .. } => {
            let letter = ('a'..).nth(*right).unwrap_or('?');
            format!("{letter}) {}", choices[*right])
        }
        Answer::All { right, .. } => {
            let right = ('a'..).zip(right).filter(|(_, right)| **right);
            let letters: Vec<String> = right.map(|(letter, _)| letter.to_string()).collect();
            letters.join(", ")
        }
        Answer::Number { value, unit, .. } => format!("{} {unit}", significant(*value, 4)),
        Answer::Words { model } => model.join("; "),
    }
}

/// How many cards are due, and the days in a row.
pub(super) fn due_told(deck: &Deck, day: i64) -> String {
    format!(
        "{} due today, {} known, {} in a row.",
        counted(deck.due(day).len(), "card"),
        deck.cards.len(),
        counted(deck.streak_days(day) as usize, "day")
    )
}

/// What is due today and on the days to come.
fn plan(arguments: &args::Oral) -> Result<Ended> {
    let store = recorder::open_to_read()?;
    let mut deck = deck(&store)?;
    if let Some(system) = &arguments.system {
        let id = library::load(system)?.id;
        deck.cards.retain(|card, _| card.split(' ').next() == Some(id.as_str()));
    }
    let day = today();
    let mut out = std::io::stdout().lock();
    writeln!(out, "{}", due_told(&deck, day))?;
    let counts = deck.forecast(day, FORECAST_DAYS);
    let most = counts.iter().copied().max().unwrap_or(0).max(1);
    for (at, count) in counts.iter().enumerate() {
        let bar = "#".repeat((*count as usize * 40).div_ceil(most as usize));
        let when = if at == 0 { "today".to_owned() } else { format!("in {}", counted(at, "day")) };
        writeln!(out, "  {when:<10} {count:>4} {bar}")?;
    }
    Ok(Ended::Well)
}

/// Writes a paper with its key.
fn paper(arguments: &args::Oral, examiner: &Examiner, seed: u64) -> Result<Ended> {
    let count = arguments.paper.unwrap_or_default() as usize;
    let questions = examiner.questions(count, seed);
    if questions.len() < count {
        bail!(
            "this system gives {} without a repetition, not {count}",
            counted(questions.len(), "question")
        );
    }
    let terms = Terms { seconds_each: arguments.seconds, pass_percent: arguments.pass };
    let title = examiner.circuit().title_with_mods();
    let paper = Paper { title, seed, terms, questions };
    let text = match arguments.form {
        args::PaperForm::Markdown => paper.markdown(),
        args::PaperForm::Html => paper.html(),
        args::PaperForm::Qti => {
            let folder = arguments.out.as_deref().context("name a folder for it: --out FOLDER")?;
            return package(&paper, folder);
        }
    };
    match &arguments.out {
        None => write!(std::io::stdout().lock(), "{text}")?,
        Some(path) => {
            debrief::can_be_written(path)?;
            whole_file::write(path, &text)?;
        }
    }
    Ok(Ended::Well)
}

/// Writes the files of a package into a folder that is made.
fn package(paper: &Paper, folder: &Path) -> Result<Ended> {
    let told = || plain(&folder.to_string_lossy());
    std::fs::create_dir(folder).with_context(|| format!("{}: the folder is made anew", told()))?;
    let files = paper.qti();
    for (name, text) in &files {
        whole_file::write(&folder.join(name), text)?;
    }
    let many = counted(files.len(), "file");
    writeln!(std::io::stdout().lock(), "{many} in {}: QTI 3.0, pack them into one zip.", told())?;
    Ok(Ended::Well)
}
