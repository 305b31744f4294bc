//! The logbook: nothing that was acknowledged is lost, and every attempt can be done again.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use halfsplit::chance::Chance;
use halfsplit::drill::command::{Request, line_of, parse, steps_here};
use halfsplit::drill::{Action, Rules};
use halfsplit::library;
use halfsplit::logbook::class::{Class, Found, cell, found};
use halfsplit::logbook::handin::{Header, Reader, Sheet, Systems, Verdict, judge, name_of, write};
use halfsplit::logbook::{Attempt, Filter, Recipe, Store, deeds_as_moves, statements};

use crate::program::data_home;

/// How often what is tried by chance is tried; `LOGBOOK_TIMES=300` tries it as often as that.
fn times(usual: u64) -> u64 {
    std::env::var("LOGBOOK_TIMES").ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

const AT: &str = "2026-11-26T12:00:00Z";

/// An attempt at a drill by somebody who does whatever chance says, and calls in the end.
fn by_chance(name: &str, seed: u64, steps: usize) -> Attempt {
    let (system, drill) = library::split_drill(name);
    let mut recipe = Recipe::new(system, Rules::default(), seed).expect("it can be read");
    recipe.drill = drill.map(str::to_owned);
    let mut session = recipe.begin().expect("it begins");
    let mut chance = Chance::stream(seed, "somebody");
    for _ in 0..steps {
        let doable = steps_here(&session);
        let at = (chance.unit() * doable.len() as f64) as usize;
        session.apply(Action::Step(doable[at].0));
    }
    let called = session.truth().clone();
    session.apply(Action::Call(called));
    let id = format!("{seed:032x}");
    let mut attempt = Attempt::new(id, AT.to_owned(), recipe);
    attempt.moves = deeds_as_moves(&session, 0, &attempt.first_seal(), AT);
    attempt
}

const DRILLS: [&str; 5] =
    ["bench/opens-again", "t4-dc", "t4-surfaces/dark-float", "power-cart/no-output", "t4-ac"];

fn header() -> Header {
    Header { halfsplit_handin: 1, trainee: "12".to_owned(), made: AT.to_owned(), key: None }
}

#[test]
fn every_action_is_kept_as_a_line_that_does_it() {
    for (seed, name) in (0..).zip(DRILLS) {
        let attempt = by_chance(name, seed, 12);
        let replayed = attempt.replay().expect("it begins");
        assert_eq!(replayed.difference, None, "{name}");
        let session = &replayed.session;
        assert_eq!(session.deeds().len(), attempt.moves.len());
        for deed in session.deeds() {
            let line = line_of(session.circuit(), &deed.action);
            assert_eq!(
                parse(session.circuit(), &line),
                Ok(Request::Do(deed.action.clone())),
                "{line}"
            );
        }
    }
}

/// Whoever edits a hand-in is found out, and told where it first differs; what nobody edited
/// is reproduced.
#[test]
fn edits_are_found_and_what_is_whole_is_reproduced() {
    let systems = Systems::default_systems();
    let mut chance = Chance::stream(5, "edits");
    let sheets: Vec<Sheet> = (0..times(25))
        .map(|seed| {
            let name = DRILLS[seed as usize % DRILLS.len()];
            Sheet { attempt: by_chance(name, seed, 6), signature: None }
        })
        .collect();
    for sheet in &sheets {
        let verdict = judge(&header(), sheet, &systems);
        assert!(matches!(verdict, Verdict::Reproduced(..)), "{}", verdict.told());
    }
    let mut kinds = BTreeMap::new();
    for edit in 0..times(200) {
        let mut sheet = sheets[edit as usize % sheets.len()].clone();
        let last = sheet.attempt.moves.len() - 1;
        let at = (chance.unit() * last as f64) as usize;
        let kind = edit % 5;
        match kind {
            0 => {
                // Another action, from anywhere in the attempt or the same with another part.
                let other = &sheet.attempt.moves[(at + 1) % (last + 1)].line;
                let line = if *other == sheet.attempt.moves[at].line {
                    "look".to_owned()
                } else {
                    other.clone()
                };
                if line == sheet.attempt.moves[at].line {
                    continue;
                }
                sheet.attempt.moves[at].line = line;
            }
            1 => sheet.attempt.moves[at].shown.push("DC VOLTS: on 28 V".to_owned()),
            2 if last > 0 => {
                let (one, other) = (at, (at + 1).min(last));
                if sheet.attempt.moves[one] == sheet.attempt.moves[other] {
                    continue;
                }
                sheet.attempt.moves.swap(one, other);
            }
            3 => sheet.attempt.recipe.seed += 1,
            _ => {
                sheet.attempt.moves.remove(at);
            }
        }
        let verdict = judge(&header(), &sheet, &systems);
        let Verdict::Differs(difference) = verdict else {
            panic!("edit {edit} of kind {kind} at {at}: {}", verdict.told());
        };
        // What was edited is at or right after the place that is named.
        let expected = if kind == 3 { 0..=1 } else { at..=at + 2 };
        assert!(expected.contains(&difference.number()), "{kind} at {at}: {}", difference.told());
        *kinds.entry(kind).or_insert(0) += 1;
    }
    assert_eq!(kinds.len(), 5, "{kinds:?}");
}

/// Reckoning every seal anew hides an edit from the seals, and the model still tells.
#[test]
fn the_model_finds_what_was_edited_and_sealed_again() {
    let mut attempt = by_chance("t4-ac/four-dials", 3, 0);
    let mut session = attempt.recipe.begin().expect("it begins");
    for line in ["go fuses", "pull F-PP"] {
        let Ok(Request::Do(action)) = parse(session.circuit(), line) else { panic!("{line}") };
        session.apply(action);
    }
    attempt.moves = deeds_as_moves(&session, 0, &attempt.first_seal(), AT);
    assert_eq!(attempt.moves[1].shown, ["fuse F-PP: blown"]);
    // The fuse is made good, as somebody would who wants to have been right not to change it.
    let mut forged = serde_json::to_value(&attempt).expect("it is JSON");
    forged["moves"][1]["shown"][0] = "fuse F-PP: whole".into();
    let mut forged: Attempt = serde_json::from_value(forged).expect("an attempt");
    forged.moves[1].seal = sealed(&forged, 1);
    assert_eq!(forged.first_edit(), None);
    let told = forged.replay().expect("it begins").difference.expect("it differs").told();
    assert_eq!(
        told,
        "step 2, `pull F-PP`: handed in as `fuse F-PP: whole`, the model shows `fuse F-PP: blown`"
    );
}

/// The seal of a move, worked out as README describes it.
fn sealed(attempt: &Attempt, at: usize) -> String {
    use sha2::{Digest, Sha256};
    let before = attempt.moves[at - 1].seal.clone();
    let done = &attempt.moves[at];
    let texts = [&before, &done.at, &done.line].into_iter().chain(&done.shown);
    let mut hash = Sha256::new();
    for text in texts {
        hash.update((text.len() as u64).to_le_bytes());
        hash.update(text.as_bytes());
    }
    let digits =
        hash.finalize()[..16].iter().flat_map(|byte| [byte >> 4, byte & 15]).collect::<Vec<_>>();
    digits.into_iter().filter_map(|digit| char::from_digit(digit.into(), 16)).collect()
}

#[test]
fn a_signature_holds_name_and_attempt_together() {
    let key = ed25519_dalek::SigningKey::from_bytes(&[7; 32]);
    let attempts = [by_chance("bench", 1, 4), by_chance("bench", 2, 4)];
    let mut text = Vec::new();
    write(&mut text, ("Ada 1", AT), &attempts, Some(&key)).expect("it is written");
    let text = String::from_utf8(text).expect("text");
    let verdicts = |text: &str| -> Vec<String> {
        let mut reader = Reader::new(text.as_bytes()).expect("a beginning");
        let mut told = Vec::new();
        while let Some((_, sheet)) = reader.next_sheet().expect("an attempt") {
            told.push(judge(&reader.header, &sheet, &Systems::default_systems()).told());
        }
        told
    };
    assert_eq!(verdicts(&text), ["reproduced", "reproduced"]);
    let other = "signature: it does not fit: another name, key or attempt was signed";
    assert_eq!(verdicts(&text.replace("Ada 1", "Ada 2")), [other, other]);
    let lines: Vec<&str> = text.lines().collect();
    let signature = |line: &str| line.split("\"signature\":").nth(1).expect("one").to_owned();
    let swapped = lines[1].replace(&signature(lines[1]), &signature(lines[2]));
    assert_eq!(verdicts(&format!("{}\n{swapped}\n", lines[0])), [other]);
}

#[test]
fn hostile_hand_ins_are_refused_with_one_message() {
    let refused =
        |text: &str| Reader::new(text.as_bytes()).map(|_| ()).expect_err("refused").to_string();
    assert!(
        refused("").starts_with("line 1, column 0: no beginning of a hand-in"),
        "{}",
        refused("")
    );
    assert!(refused("PK\u{3}\u{4}").starts_with("line 1, column 1: no beginning of a hand-in"));
    let good = serde_json::to_string(&header()).expect("JSON");
    assert!(
        refused(&good.replace("\"halfsplit_handin\":1", "\"halfsplit_handin\":9"))
            .contains("version 9")
    );
    assert!(
        refused(&good.replace("\"12\"", "\"\\u001b\\u0007\"")).contains("a name has at least one")
    );
    // A line of 100 MB is not read to its end.
    let long = std::io::Cursor::new(good + "\n").chain_zeros(100 << 20);
    let mut reader = Reader::new(BufReader::new(long)).expect("a beginning");
    let error = reader.next_sheet().expect_err("too long").to_string();
    assert!(error.starts_with("line 2: over 8388608 bytes long"), "{error}");
    assert_eq!(name_of("\u{1b}[31mKim\u{7}"), Ok("[31mKim".to_owned()));
    assert!(name_of(&"x".repeat(81)).is_err());
}

/// A reader with so many letters after it.
trait ChainZeros: std::io::Read + Sized {
    fn chain_zeros(self, bytes: u64) -> impl std::io::Read {
        self.chain(std::io::Read::take(std::io::repeat(b'a'), bytes))
    }
}
impl<R: std::io::Read> ChainZeros for R {}

/// Names are text wherever they go: no formula, no markup, no control character.
#[test]
fn names_stay_text_in_every_form_of_a_class() {
    assert_eq!(cell("=1+1"), "\"'=1+1\"");
    assert_eq!(cell("@x"), "\"'@x\"");
    assert_eq!(cell("a\"b,c"), "\"a\"\"b,c\"");
    let systems = Systems::default_systems();
    let mut all = Vec::new();
    for (seed, name) in (1..).zip(["=HYPERLINK(\"x\")", "<script>alert(1)</script>", "A & B"]) {
        let head = Header { trainee: name.to_owned(), ..header() };
        let sheet = Sheet { attempt: by_chance("bench/opens-again", seed, 3), signature: None };
        all.push(found("a.jsonl", 2, &head, &sheet, &systems));
    }
    let judged: Vec<_> = all
        .iter()
        .map(|one| match one {
            Found::Counts(judged) => (**judged).clone(),
            Found::Refused(_, _, why) => panic!("{why}"),
        })
        .collect();
    let class = Class::of(all.clone());
    let page = class.html();
    let document = roxmltree::Document::parse(page.trim_start_matches("<!DOCTYPE html>\n"))
        .expect("the page is well-formed");
    assert!(document.descendants().all(|node| !node.has_tag_name("script")));
    assert!(!page.contains("http://") && !page.contains("https://"), "the page asks for nothing");
    let names: Vec<_> = document
        .descendants()
        .filter(|node| node.attribute("scope") == Some("row"))
        .filter_map(|node| node.text())
        .collect();
    assert!(names.contains(&"<script>alert(1)</script>"), "{names:?}");
    assert!(class.csv().lines().all(|line| !line.starts_with(['=', '@', '+'])));
    // Handed in again, under one's own name and under another: it counts once.
    let mut twice = all.clone();
    twice.extend(all);
    let class = Class::of(twice);
    assert_eq!((class.attempts, class.again.len()), (3, 3));
    for statement in statements(&judged) {
        checked_as_xapi(&statement);
    }
}

/// What IEEE 9274.1.1-2023 (xAPI 2.0) asks of a statement, from its published rules: section
/// 4.2.2 (statement properties), 4.2.2.2 (actor with exactly one inverse functional identifier),
/// 4.2.2.3 (verb id is an IRI), 4.2.2.4 (activity id is an IRI), 4.2.4.2 (scaled in -1..1, raw between min
/// and max), ISO 8601 duration and RFC 3339 timestamp. Section numbers from memory.
fn checked_as_xapi(statement: &serde_json::Value) {
    let text =
        |pointer: &str| statement.pointer(pointer).and_then(|v| v.as_str()).unwrap_or_default();
    let known = ["id", "version", "timestamp", "actor", "verb", "object", "result", "context"];
    assert!(
        statement.as_object().expect("an object").keys().all(|key| known.contains(&key.as_str()))
    );
    let id: Vec<&str> = text("/id").split('-').collect();
    assert_eq!(id.iter().map(|part| part.len()).collect::<Vec<_>>(), [8, 4, 4, 4, 12]);
    assert!(id.concat().chars().all(|c| c.is_ascii_hexdigit()));
    let is_iri = |text: &str| {
        text.split_once(':').is_some_and(|(scheme, rest)| {
            scheme.starts_with(|c: char| c.is_ascii_alphabetic())
                && !rest.is_empty()
                && !rest.contains([' ', '<', '>', '"', '{', '}', '|', '\\', '^', '`'])
        })
    };
    assert!(
        is_iri(text("/verb/id"))
            && is_iri(text("/object/id"))
            && is_iri(text("/actor/account/homePage"))
    );
    assert!(!text("/actor/account/name").is_empty());
    assert!(statement.pointer("/actor/mbox").is_none(), "one identifier only");
    let extensions =
        statement.pointer("/result/extensions").and_then(|v| v.as_object()).expect("some");
    assert!(extensions.keys().all(|key| is_iri(key)));
    let number = |pointer: &str| {
        statement.pointer(pointer).and_then(serde_json::Value::as_f64).expect("a number")
    };
    assert!((-1.0..=1.0).contains(&number("/result/score/scaled")));
    assert!(
        (number("/result/score/min")..=number("/result/score/max"))
            .contains(&number("/result/score/raw"))
    );
    assert!(text("/timestamp").parse::<jiff::Timestamp>().is_ok());
    assert!(text("/result/duration").parse::<jiff::SignedDuration>().is_ok());
    assert_eq!(text("/version"), "2.0.0");
}

fn book(home: &Path) -> PathBuf {
    home.join("halfsplit").join("logbook.sqlite3")
}

fn started(home: &Path, arguments: &[&str]) -> Child {
    Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .args(arguments)
        .env("XDG_DATA_HOME", home)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts")
}

/// The program is killed at any moment: every move that it had acknowledged is in the logbook,
/// the file is whole, and the attempt goes on from there.
#[test]
fn a_kill_at_any_moment_loses_nothing_that_was_acknowledged() {
    let lines = ["dc TB1-1", "set S1 ON", "dc TB1-2", "suspect S1", "dc TB1-3", "look", "dc TB1-4"];
    let mut resumed = 0;
    for kill in 0..times(20) {
        let home = data_home();
        let mut chance = Chance::stream(kill, "kill");
        let seed = kill.to_string();
        let mut child = started(&home, &["drill", "bench", "--plain", "--seed", &seed]);
        let mut input = child.stdin.take().expect("piped");
        let mut output = BufReader::new(child.stdout.take().expect("piped"));
        // So many are waited for, and then it is killed with some more under way.
        let wanted = (chance.unit() * lines.len() as f64) as usize;
        let mut acknowledged = 0;
        for line in &lines[..wanted] {
            writeln!(input, "{line}").expect("it reads");
            let mut told = String::new();
            while !(told.starts_with('[') || told.starts_with("Noted.")) {
                told.clear();
                assert!(output.read_line(&mut told).expect("it answers") > 0, "it ended");
            }
            acknowledged += 1;
        }
        let _ = writeln!(input, "{}", lines[wanted..].join("\n"));
        std::thread::sleep(Duration::from_micros((chance.unit() * 8000.0) as u64));
        child.kill().expect("it can be killed");
        child.wait().expect("it ends");
        if acknowledged == 0 && !book(&home).exists() {
            continue;
        }
        let store = Store::open(&book(&home)).expect("the logbook opens");
        assert_eq!(store.damage().expect("it can be read"), None);
        let attempts = store.attempts(&Filter::default()).expect("they can be read");
        let Some(kept) = attempts.first() else {
            assert_eq!(acknowledged, 0);
            continue;
        };
        let moves: Vec<&str> = kept.attempt.moves.iter().map(|done| done.line.as_str()).collect();
        assert!(moves.len() >= acknowledged, "{acknowledged} were acknowledged, kept {moves:?}");
        assert_eq!(moves, lines[..moves.len()]);
        let replayed = kept.attempt.replay().expect("it begins");
        assert_eq!(replayed.difference, None);
        let before = moves.len();
        drop(store);
        let mut child = started(&home, &["resume", "--plain"]);
        child.stdin.take().expect("piped").write_all(b"look\ncall S1:open-ON\n").expect("it reads");
        let told = child.wait_with_output().expect("it ends");
        assert!(String::from_utf8_lossy(&told.stdout).contains("Debrief."), "{told:?}");
        let store = Store::open(&book(&home)).expect("the logbook opens");
        let kept = store.attempts(&Filter::default()).expect("they can be read").remove(0);
        assert_eq!(kept.attempt.moves.len(), before + 2);
        assert!(kept.attempt.is_closed());
        assert_eq!(kept.attempt.replay().expect("it begins").difference, None);
        resumed += 1;
    }
    assert!(resumed > 0, "some had got as far as that");
}

/// Two programs keep moves in one logbook at once: nothing is lost.
#[test]
fn two_at_once_lose_nothing() {
    let home = data_home();
    let path = book(&home);
    let each = times(60) as usize;
    let done: Vec<i64> = std::thread::scope(|scope| {
        let work = |seed: u64| {
            let path = path.clone();
            move || {
                let attempt = by_chance("bench", seed, 1);
                let mut store = Store::open(&path).expect("it opens");
                let number =
                    store.begin(&Attempt { moves: Vec::new(), ..attempt.clone() }).expect("kept");
                for at in 0..each {
                    store.add(number, at, &attempt.moves[..1]).expect("kept");
                }
                number
            }
        };
        let both = [scope.spawn(work(1)), scope.spawn(work(2))];
        both.map(|one| one.join().expect("it works")).to_vec()
    });
    let store = Store::open(&path).expect("it opens");
    assert_eq!(store.damage().expect("it can be read"), None);
    for number in done {
        assert_eq!(store.attempt(number).expect("it is there").attempt.moves.len(), each);
    }
}

/// A second program that goes on with the same attempt is told so, and what the first one kept
/// stays as it is.
#[test]
fn one_attempt_is_gone_on_with_by_one_program() {
    let path = book(&data_home());
    let attempt = by_chance("bench", 1, 3);
    let mut one = Store::open(&path).expect("it opens");
    let mut other = Store::open(&path).expect("it opens");
    let number = one.begin(&Attempt { moves: Vec::new(), ..attempt.clone() }).expect("kept");
    one.add(number, 0, &attempt.moves[..2]).expect("kept");
    assert!(other.add(number, 0, &attempt.moves[..1]).is_err());
    assert_eq!(one.attempt(number).expect("there").attempt.moves, attempt.moves[..2]);
}

/// Where nothing can be kept the drill goes on, and it is said once.
#[test]
fn a_drill_goes_on_where_nothing_can_be_kept() {
    let home = data_home();
    fs::create_dir_all(&home).expect("a folder");
    let taken = home.join("halfsplit");
    fs::write(&taken, "a file where the folder should be").expect("a file");
    told_once(
        Command::new(env!("CARGO_BIN_EXE_halfsplit")).args(["drill", "bench", "--plain"]),
        &home,
    );
    assert_eq!(fs::read_to_string(&taken).expect("there"), "a file where the folder should be");
}

/// The disk is full after the first moves: what had been kept stays whole. A limit on the size
/// of files stands for the disk; its signal is ignored, so that writing fails as it does there.
#[test]
fn a_full_disk_ends_the_keeping_and_not_the_drill() {
    let home = data_home();
    let mut child = started(&home, &["drill", "bench", "--plain"]);
    child.stdin.take().expect("piped").write_all(b"look\n").expect("it reads");
    child.wait().expect("it ends");
    let limit = fs::metadata(book(&home)).expect("there").len().div_ceil(512);
    let script = format!(
        "trap '' XFSZ; ulimit -f {limit}; exec {} drill bench --plain",
        env!("CARGO_BIN_EXE_halfsplit")
    );
    told_once(Command::new("sh").args(["-c", &script]), &home);
    let store = Store::open(&book(&home)).expect("it opens");
    assert_eq!(store.damage().expect("it can be read"), None);
    assert!(!store.attempts(&Filter::default()).expect("they can be read").is_empty());
}

fn told_once(command: &mut Command, home: &Path) {
    let mut child = command
        .env("XDG_DATA_HOME", home)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .expect("it starts");
    // So many moves that no file of a few pages holds them.
    let lines = "dc TB1-1\nlook\n".repeat(400) + "call S1:open-ON\n";
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(text.matches("Not kept: ").count(), 1, "{}", &text[..text.len().min(2000)]);
    assert!(text.contains("The drill goes on.") && text.contains("Debrief."));
}

/// A logbook of version 1 opens, its attempts are there, and it can be written.
#[test]
fn a_logbook_of_version_1_opens() {
    let home = data_home();
    let path = book(&home);
    fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    let old = rusqlite::Connection::open(&path).expect("a file");
    old.execute_batch(include_str!("logbook/version-1.sql")).expect("it is SQL");
    drop(old);
    let mut store = Store::open(&path).expect("it opens");
    let kept = store.attempts(&Filter::default()).expect("they can be read");
    assert_eq!(kept.len(), 1);
    assert_eq!(kept[0].attempt.recipe.name(), "bench/first-steps");
    assert_eq!(kept[0].attempt.moves.len(), 3);
    assert_eq!(kept[0].attempt.first_edit(), None);
    assert_eq!(store.setting("trainee").expect("it can be read").as_deref(), Some("12"));
    assert_eq!(store.grades().expect("they can be read"), []);
    store.begin(&by_chance("bench", 9, 1)).expect("it can be written");
    // One of a later version is left alone.
    let later = rusqlite::Connection::open(&path).expect("a file");
    later.pragma_update(None, "user_version", 99).expect("it is set");
    let told = Store::open(&path).expect_err("refused").to_string();
    assert!(told.contains("is of version 99") && told.contains("use a newer program"), "{told}");
}

#[test]
fn a_file_that_is_no_logbook_is_refused_and_left_as_it_is() {
    let path = book(&data_home());
    fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    fs::write(&path, "anything else at all, but no logbook".repeat(40)).expect("a file");
    let told = Store::open(&path).expect_err("refused").to_string();
    assert!(told.contains("cannot be used: file is not a database"), "{told}");
    assert!(fs::read_to_string(&path).expect("there").starts_with("anything else"));
}
