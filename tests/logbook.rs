//! The logbook: nothing that was acknowledged is lost, and every attempt can be done again.

use std::collections::BTreeMap;
use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Child, Command};
use std::time::Duration;

use halfsplit::chance::Chance;
use halfsplit::drill::command::{Request, line_of, parse, steps_here};
use halfsplit::drill::{Action, Advice, Outcome, Rules, Thoughts};
use halfsplit::library;
use halfsplit::logbook::class::{Found, Register, cell, found};
use halfsplit::logbook::handin::{Header, Reader, Sheet, Systems, Verdict, judge, name_of, write};
use halfsplit::logbook::{Attempt, Filter, Recipe, Store, Upshot, deeds_as_moves, statement_of};
use halfsplit::score::{Beginnings, debrief, glance};

use crate::program::data_home;

/// How often what is tried by chance is tried; `LOGBOOK_TIMES=300` tries it as often as that.
fn times(usual: u64) -> u64 {
    std::env::var("LOGBOOK_TIMES").ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
}

pub(crate) const AT: &str = "2026-11-26T12:00:00Z";

/// An attempt at a drill by somebody who does whatever chance says, and calls in the end.
pub(crate) fn by_chance(name: &str, seed: u64, steps: usize) -> Attempt {
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

pub(crate) fn header() -> Header {
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

/// Advice that was asked for stands in what is done again, without being worked out once more.
#[test]
fn advice_is_noted_and_not_worked_out_again() {
    let recipe = Recipe::new("bench", Rules::default(), 4).expect("it can be read");
    let mut session = recipe.begin().expect("it begins");
    for line in ["advise", "set S1 ON", "advise", "dc TB1-2"] {
        let Ok(Request::Do(action)) = parse(session.circuit(), line) else { panic!("{line}") };
        session.apply(action);
    }
    let mut again = recipe.begin().expect("it begins");
    assert_eq!(again.repeat(Action::Advise), Outcome::Noted);
    let called = session.truth().clone();
    session.apply(Action::Call(called));
    let mut attempt = Attempt::new("0".repeat(32), AT.to_owned(), recipe);
    attempt.moves = deeds_as_moves(&session, 0, &attempt.first_seal(), AT);
    assert_eq!(attempt.moves.iter().filter(|done| done.line == "advise").count(), 2);
    let replayed = attempt.replay().expect("it begins");
    assert_eq!(replayed.difference, None);
    let told = [&session, &replayed.session]
        .map(|session| format!("{:?}", debrief(session).expect("it has a solution")));
    assert_eq!(told[0], told[1]);
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

/// Whoever takes another's attempt gains nothing: a signature outranks none, and without any it
/// counts for nobody; nor does a drill whose fault its trainee had named.
#[test]
fn what_others_hand_in_counts_for_nobody() {
    let systems = Systems::default_systems();
    let key = ed25519_dalek::SigningKey::from_bytes(&[7; 32]);
    let own = by_chance("bench", 1, 2);
    let mut longer = by_chance("bench", 1, 6);
    longer.id.clone_from(&own.id);
    let handed_in = |name: &str, attempt: &Attempt, key: Option<&ed25519_dalek::SigningKey>| {
        let mut text = Vec::new();
        write(&mut text, (name, AT), std::slice::from_ref(attempt), key).expect("it is written");
        let mut reader = Reader::new(text.as_slice()).expect("a beginning");
        let (line, sheet) = reader.next_sheet().expect("it reads").expect("an attempt");
        found("a.jsonl", line, &reader.header, &sheet, &systems)
    };
    let signed = handed_in("Ann", &own, Some(&key));
    let copied = handed_in("Zed", &own, None);
    let grown = handed_in("Ann", &longer, None);
    let counts = |all: &[&Found]| {
        let mut register = Register::default();
        for one in all {
            register.take((*one).clone());
        }
        let class = register.class();
        let trainees: Vec<String> = class.trainees.keys().cloned().collect();
        (trainees, register.counted().iter().map(|one| one.moves).sum::<usize>())
    };
    let of_ann = (vec!["Ann".to_owned()], own.moves.len());
    for order in [[&signed, &copied, &grown], [&grown, &copied, &signed]] {
        assert_eq!(counts(&order), of_ann);
    }
    let plain = handed_in("Ann", &own, None);
    assert_eq!(counts(&[&plain, &copied]), (Vec::new(), 0));
    let mut named = own.clone();
    named.recipe.hidden = vec!["W1:open".to_owned()];
    let mut session = named.recipe.begin().expect("it begins");
    session.apply(Action::Call(session.truth().clone()));
    named.moves = deeds_as_moves(&session, 0, &named.first_seal(), AT);
    match handed_in("Ann", &named, None) {
        Found::Refused(one) => assert!(one.why.contains("had named its fault"), "{}", one.why),
        Found::Counts(_) => panic!("it counts"),
    }
}

/// Times that cannot be are told, though every seal is reckoned anew.
#[test]
fn impossible_times_are_found() {
    let systems = Systems::default_systems();
    for (at, told) in [
        ("1970-01-01T00:00:00Z", "comes after"),
        ("2099-01-01T00:00:00Z", "comes after"),
        ("never", "`never` is no time"),
    ] {
        let mut attempt = by_chance("bench", 3, 2);
        let session = attempt.replay().expect("it begins").session;
        attempt.moves = deeds_as_moves(&session, 0, &attempt.first_seal(), at);
        assert_eq!(attempt.first_edit(), None, "its seals fit");
        let sheet = Sheet { attempt, signature: None };
        let said = judge(&header(), &sheet, &systems).told();
        assert!(said.contains(told), "{at}: {said}");
    }
}

/// Nothing is written in the place of the logbook or of the trainee's key.
#[test]
fn no_output_takes_the_place_of_the_logbook() {
    let home = data_home();
    let folder = home.join("halfsplit");
    fs::create_dir_all(&folder).expect("a folder");
    for name in ["logbook.sqlite3", "signing-key", "new"] {
        let path = folder.join(name);
        let output = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
            .args(["oral", "bench", "--paper", "1", "--out"])
            .arg(&path)
            .env("XDG_DATA_HOME", &home)
            .env("XDG_CACHE_HOME", &home)
            .output()
            .expect("it runs");
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        assert!(said.contains("stands beside the logbook"), "{name}: {said}");
        assert_eq!(output.status.code(), Some(2));
        assert!(!path.exists());
    }
}

/// A damaged attempt is left out of lists; it is told of when it is asked for.
#[test]
fn a_damaged_attempt_leaves_the_others_standing() {
    let path = book(&data_home());
    let mut store = Store::open(&path).expect("it opens");
    let first = store.begin(&by_chance("bench", 1, 2)).expect("it is kept");
    let second = store.begin(&by_chance("bench", 2, 2)).expect("it is kept");
    let raw = rusqlite::Connection::open(&path).expect("a file");
    raw.execute("UPDATE attempt SET recipe = '{' WHERE number = ?1", [second]).expect("damaged");
    let kept = store.attempts(&Filter::default()).expect("they can be read");
    assert_eq!(kept.iter().map(|kept| kept.number).collect::<Vec<_>>(), [first]);
    let told = store.attempt(second).expect_err("it is damaged").to_string();
    assert!(told.contains("is damaged"), "{told}");
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

/// Whatever lies in the folder of a class, one line says why it does not count, and what counts
/// is summed up; nothing that is printed can drive a terminal.
#[test]
fn hostile_files_leave_a_class_standing() {
    let home = data_home();
    let folder = home.join("class");
    fs::create_dir_all(folder.join("a-folder.jsonl")).expect("a folder");
    let evil = "\u{1b}[2J\u{202e}<b onclick=x>=cmd|'/c calc'!A1";
    let mut good = Vec::new();
    let attempts = [by_chance("bench/opens-again", 1, 2)];
    write(&mut good, (evil, AT), &attempts, None).expect("it is written");
    fs::write(folder.join("good.jsonl"), &good).expect("a file");
    let text = String::from_utf8(good).expect("text");
    fs::write(folder.join("empty.jsonl"), "").expect("a file");
    fs::write(folder.join("zip.jsonl"), b"PK\x05\x06\0\0\0\0\0\0").expect("a file");
    fs::write(folder.join("binary.jsonl"), [0xff, 0xfe, 0, 10, 7]).expect("a file");
    let nested = format!("{}{}", text.lines().next().expect("one"), "\n") + &"[".repeat(200_000);
    fs::write(folder.join("nested.jsonl"), nested).expect("a file");
    let mut long = text.lines().next().expect("a beginning").to_owned() + "\n";
    long.push_str(&"a".repeat(9 << 20));
    fs::write(folder.join("long.jsonl"), long).expect("a file");
    // Texts that nobody would type, wherever an attempt may have one.
    let mut odd = attempts[0].clone();
    odd.id = evil.to_owned();
    odd.begun = evil.to_owned();
    odd.recipe.system = evil.to_owned();
    odd.recipe.system_hash = evil.to_owned();
    let mut out = Vec::new();
    write(&mut out, ("12", AT), &[odd], None).expect("it is written");
    fs::write(folder.join("odd.jsonl"), out).expect("a file");
    #[cfg(unix)]
    std::os::unix::fs::symlink("/dev/zero", folder.join("zero.jsonl")).expect("a link");
    let page = home.join("class.html");
    let told = |arguments: &[&str]| {
        let output = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
            .args(["class", folder.to_str().expect("text")])
            .args(arguments)
            .env("XDG_DATA_HOME", &home)
            .env("XDG_CACHE_HOME", &home)
            .output()
            .expect("it runs");
        assert_eq!(output.status.code(), Some(1), "{output:?}");
        String::from_utf8(output.stdout).expect("text")
    };
    let text = told(&["--html", page.to_str().expect("text")]);
    assert!(
        text.starts_with("Counted: 1 attempt of 2 trainees. Not counted: 1 refused, 5 unreadable."),
        "{text}"
    );
    for file in ["binary", "empty", "long", "nested", "odd", "zip"] {
        assert_eq!(text.matches(&format!("  {file}.jsonl:")).count(), 1, "{file}: {text}");
    }
    let drives = |c: char| (c.is_control() && c != '\n') || c == '\u{202e}';
    assert!(!text.contains(drives), "{text:?}");
    let page = fs::read_to_string(page).expect("a page");
    assert!(!page.contains("<b ") && !page.contains(drives), "{page}");
    roxmltree::Document::parse(page.trim_start_matches("<!DOCTYPE html>\n")).expect("well-formed");
    let csv = told(&["--csv"]);
    assert!(!csv.contains(|c: char| c.is_control() && c != '\r' && c != '\n'), "{csv:?}");
    // `verify` says of each in one line as well what it is.
    for file in ["empty", "zip", "binary", "zero", "a-folder"] {
        let output = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
            .arg("verify")
            .arg(folder.join(format!("{file}.jsonl")))
            .output()
            .expect("it runs");
        let said = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(2), "{file}: {said}");
        assert_eq!(said.lines().count(), 1, "{file}: {said}");
    }
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
    let register = |all: &[Found]| {
        let mut register = Register::default();
        for one in all {
            register.take(one.clone());
        }
        register
    };
    let once = register(&all);
    let class = once.class();
    assert_eq!(class.refused, [""; 0]);
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
    // Handed in again it counts once.
    let mut twice = all.clone();
    twice.extend(all);
    let register = register(&twice);
    let class = register.class();
    assert_eq!((class.attempts, class.again.len()), (3, 3));
    let statements = register.counted().into_iter().filter_map(statement_of);
    assert_eq!(statements.map(|statement| checked_as_xapi(&statement)).count(), 3);
}

/// What the published rules of the Experience API ask of a statement: xAPI 1.0.3, part two, as
/// its working group publishes it (github.com/adlnet/xAPI-Spec, xAPI-Data.md at commit
/// ca782a1129bc); IEEE 9274.1.1-2023 has taken these over. The section is named at each rule.
fn checked_as_xapi(statement: &serde_json::Value) {
    let keys = |pointer: &str| -> Vec<String> {
        let object = statement.pointer(pointer).and_then(|value| value.as_object());
        object.unwrap_or_else(|| panic!("{pointer} is an object")).keys().cloned().collect()
    };
    let only = |pointer: &str, allowed: &[&str]| {
        for key in keys(pointer) {
            assert!(allowed.contains(&key.as_str()), "{pointer} has no `{key}`");
        }
    };
    let text = |pointer: &str| {
        let text = statement.pointer(pointer).and_then(|value| value.as_str());
        text.unwrap_or_else(|| panic!("{pointer} is a text"))
    };
    let number = |pointer: &str| {
        let number = statement.pointer(pointer).and_then(serde_json::Value::as_f64);
        number.unwrap_or_else(|| panic!("{pointer} is a number"))
    };
    // 2.2: no nulls outside extensions, no key that is not allowed, no empty object.
    assert!(!without_extensions(statement).to_string().contains("null"), "{statement}");
    assert!(!statement.to_string().contains("{}"), "{statement}");
    // 2.4: actor, verb and object there. 2.4.10: a version is better left to the store.
    only("", &["id", "timestamp", "actor", "verb", "object", "result", "context"]);
    // 2.4.1 and 4.4: a UUID of variant 2 in standard form, case-insensitive data in lower case.
    let id = text("/id");
    let shape = id.chars().enumerate().all(|(at, c)| match at {
        8 | 13 | 18 | 23 => c == '-',
        19 => "89ab".contains(c),
        _ => c.is_ascii_digit() || ('a'..='f').contains(&c),
    });
    assert!(id.len() == 36 && shape, "{id}");
    // 2.4.2.1 and 2.4.2.4: exactly one identifier, here an account with home page and name.
    only("/actor", &["objectType", "account"]);
    assert_eq!(text("/actor/objectType"), "Agent");
    only("/actor/account", &["homePage", "name"]);
    assert!(is_iri(text("/actor/account/homePage")) && !text("/actor/account/name").is_empty());
    // 2.4.3: the verb by its IRI, its word in a language map.
    only("/verb", &["id", "display"]);
    assert!(is_iri(text("/verb/id")));
    // 2.4.4.1: an activity by its IRI; its type an IRI, its name a language map.
    only("/object", &["objectType", "id", "definition"]);
    assert_eq!(text("/object/objectType"), "Activity");
    assert!(is_iri(text("/object/id")));
    only("/object/definition", &["type", "name"]);
    assert!(is_iri(text("/object/definition/type")));
    // 4.2: keys of language maps are tags of RFC 5646; these are of two or three letters.
    for map in ["/verb/display", "/object/definition/name"] {
        for tag in keys(map) {
            let letters = tag.chars().all(|c| c.is_ascii_lowercase());
            assert!((2..=3).contains(&tag.len()) && letters, "{tag}");
            text(&format!("{map}/{tag}"));
        }
    }
    // 2.4.5: types of a result; 2.4.5.1: scaled within -1 and 1, raw between min and max.
    only("/result", &["score", "success", "completion", "response", "duration", "extensions"]);
    assert!(statement.pointer("/result/success").is_some_and(serde_json::Value::is_boolean));
    assert!(statement.pointer("/result/completion").is_some_and(serde_json::Value::is_boolean));
    text("/result/response");
    only("/result/score", &["scaled", "raw", "min", "max"]);
    assert!((-1.0..=1.0).contains(&number("/result/score/scaled")));
    let (min, max) = (number("/result/score/min"), number("/result/score/max"));
    assert!(min < max && (min..=max).contains(&number("/result/score/raw")));
    // 4.6: a duration of ISO 8601, to 0.01 s at the most.
    let duration = text("/result/duration");
    assert!(duration.parse::<jiff::SignedDuration>().is_ok(), "{duration}");
    let decimals = duration.split('.').nth(1).map_or(0, |rest| rest.len() - 1);
    assert!(duration.starts_with("PT") && decimals <= 2, "{duration}");
    // 4.1: keys of extensions are IRIs.
    assert!(keys("/result/extensions").iter().all(|key| is_iri(key)));
    // 2.4.6: platform only where the object is an activity; a known language.
    only("/context", &["platform", "language"]);
    assert_eq!(text("/context/language"), "en");
    // 2.4.7 and 4.5: RFC 3339 with milliseconds and a zone.
    if let Some(at) = statement.get("timestamp") {
        let at = at.as_str().expect("a text");
        let milliseconds = at.split('.').nth(1).is_some_and(|rest| rest.len() == 4);
        assert!(at.parse::<jiff::Timestamp>().is_ok() && milliseconds && at.ends_with('Z'), "{at}");
    }
}

/// An IRI as far as RFC 3987 can be checked at a glance: a scheme, something after it, and
/// nothing that must be encoded.
fn is_iri(text: &str) -> bool {
    text.split_once(':').is_some_and(|(scheme, rest)| {
        let barred = |c: char| c.is_control() || " <>\"{}|\\^`".contains(c);
        scheme.starts_with(|c: char| c.is_ascii_alphabetic())
            && scheme.chars().all(|c| c.is_ascii_alphanumeric() || "+-.".contains(c))
            && !rest.is_empty()
            && !rest.contains(barred)
    })
}

fn without_extensions(value: &serde_json::Value) -> serde_json::Value {
    let mut value = value.clone();
    if let Some(result) = value.get_mut("result").and_then(|result| result.as_object_mut()) {
        result.remove("extensions");
    }
    value
}

/// The figures of a class are those of the debrief, whatever is worked out only once or not at
/// all for them: drills by chance, and by somebody who follows advice half of the time.
#[test]
fn a_class_is_told_what_the_debrief_tells() {
    let beginnings = Beginnings::default();
    let (mut habits, mut told_nothing, mut wasted) = (0, 0, 0.0);
    for (seed, name) in (0..times(20)).zip(DRILLS.iter().cycle()) {
        let attempt =
            if seed % 2 == 0 { by_chance(name, seed, 14) } else { half_advised(name, seed) };
        let replayed = attempt.replay().expect("it begins");
        assert_eq!(replayed.difference, None, "{name}");
        let told = debrief(&replayed.session).expect("it can be worked out");
        // Twice, so that what has been kept of the first time is used.
        for _ in 0..2 {
            let glance =
                glance(&replayed.session, &replayed.build, &beginnings).expect("worked out");
            let bits = |row: &halfsplit::score::Row| {
                (row.expected_bits, row.gained_bits, row.best.as_ref().map(|best| best.bits))
            };
            let all: Vec<_> = told.rows.iter().map(bits).collect();
            let steps = glance.steps.iter();
            let same: Vec<_> =
                steps.map(|s| (s.expected_bits, s.gained_bits, s.best_bits)).collect();
            assert_eq!(same, all, "{name} {seed}");
            let worked: Vec<_> =
                told.habits.iter().map(|habit| (habit.kind, habit.points)).collect();
            // A debrief names the worst three, a class counts them all.
            assert_eq!(glance.habits[..worked.len()], worked, "{name} {seed}");
            assert!(worked.len() == 3 || glance.habits.len() == worked.len(), "{name} {seed}");
            assert_eq!(
                (glance.points, glance.par, glance.minutes, glance.cautions),
                (told.score.total, told.par, told.minutes, told.cautions.len()),
                "{name} {seed}"
            );
            let held = (glance.counted_minutes, glance.allowed_minutes);
            assert_eq!(held, (told.record.minutes, told.record.par_minutes), "{name} {seed}");
            for (step, row) in glance.steps.iter().zip(&told.rows) {
                let words = row.remark.starts_with("could tell nothing");
                assert_eq!(step.told_nothing, words, "{name} {seed}: {}", row.remark);
                let best = row.best.as_ref().map_or(0.0, |best| best.bits);
                let short = (best - row.expected_bits).max(0.0);
                assert!([0.0, short].contains(&step.wasted_bits), "{name} {seed}: {}", row.remark);
                let most =
                    row.remark.starts_with("tells most a minute of all available steps, with");
                let planned = row.remark.starts_with("the planned step") || most;
                assert!(!planned || step.wasted_bits == 0.0, "{name} {seed}: {}", row.remark);
                told_nothing += usize::from(words);
                wasted += step.wasted_bits;
            }
            let verdict = (&glance.planted, &glance.called, glance.right_part, glance.proven);
            let full = &told.verdict;
            assert_eq!(
                verdict,
                (&full.planted, &full.called, full.right_part, full.proven),
                "{name} {seed}"
            );
            habits += worked.len();
        }
    }
    assert!(habits > 10, "some of them have habits: {habits}");
    assert!(told_nothing > 10 && wasted > 1.0, "{told_nothing} tests, {wasted} bits");
}

/// Somebody who does one of two steps by advice, without asking for it, and calls what is
/// likeliest.
fn half_advised(name: &str, seed: u64) -> Attempt {
    let (system, drill) = library::split_drill(name);
    let mut recipe = Recipe::new(system, Rules::default(), seed).expect("it can be read");
    recipe.drill = drill.map(str::to_owned);
    let mut session = recipe.begin().expect("it begins");
    let mut chance = Chance::stream(seed, "half advised");
    for _ in 0..6 {
        let doable = steps_here(&session);
        let by_chance = doable[(chance.unit() * doable.len() as f64) as usize].0;
        session.apply(Action::Step(by_chance));
        let (circuit, place) = (session.circuit().clone(), session.place().clone());
        let advisor = session.advisor().expect("it can be worked out");
        let belief = session.belief().expect("it can be worked out");
        if let Advice::Do { prospect, .. } =
            advisor.advise(&Thoughts::default(), belief, &circuit, &place)
        {
            for step in prospect.path() {
                session.apply(Action::Step(step));
            }
        }
    }
    let belief = session.belief().expect("it can be worked out");
    let called = belief.likeliest().map(|(likeliest, _)| likeliest.cause.clone());
    session.apply(Action::Call(called.expect("something is left")));
    let mut attempt = Attempt::new(format!("{seed:032x}"), AT.to_owned(), recipe);
    attempt.moves = deeds_as_moves(&session, 0, &attempt.first_seal(), AT);
    attempt
}

pub(crate) fn book(home: &Path) -> PathBuf {
    home.join("halfsplit").join("logbook.sqlite3")
}

pub(crate) fn started(home: &Path, arguments: &[&str]) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_halfsplit"));
    crate::program::piped_in(command.args(arguments), home)
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
    let mut child = crate::program::piped_in(command, home);
    // So many moves that no file of a few pages holds them.
    let lines = "dc TB1-1\nlook\n".repeat(400) + "call S1:open-ON\n";
    child.stdin.take().expect("piped").write_all(lines.as_bytes()).expect("it reads");
    let output = child.wait_with_output().expect("it ends");
    let text = String::from_utf8_lossy(&output.stdout);
    assert_eq!(text.matches("Not kept: ").count(), 1, "{}", &text[..text.len().min(2000)]);
    assert!(text.contains("The drill goes on.") && text.contains("Debrief."));
}

/// A logbook of version 2 opens with its grades, and its lists know of no debrief.
#[test]
fn a_logbook_of_version_2_opens() {
    let path = book(&data_home());
    fs::create_dir_all(path.parent().expect("a folder")).expect("a folder");
    let old = rusqlite::Connection::open(&path).expect("a file");
    old.execute_batch(include_str!("logbook/version-2.sql")).expect("it is SQL");
    drop(old);
    let mut store = Store::open(&path).expect("it opens");
    let kept = store.attempts(&Filter::default()).expect("they can be read");
    assert_eq!(kept[0].attempt.moves.len(), 3);
    assert_eq!(kept[0].attempt.first_edit(), None);
    let grades = store.grades().expect("they can be read");
    assert_eq!(grades.iter().map(|grade| grade.rating).collect::<Vec<_>>(), [1, 3]);
    assert!(store.upshots().expect("they can be read").is_empty());
    let upshot = Upshot {
        program: "0.1.0".to_owned(),
        found: true,
        proven: false,
        minutes: 4.5,
        points: 61.0,
    };
    store.keep_upshot(kept[0].number, &upshot).expect("it can be written");
    let kept = store.upshots().expect("they can be read");
    assert_eq!(kept.into_values().collect::<Vec<_>>(), [upshot]);
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
