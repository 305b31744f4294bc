//! The sums of a class, held against counts made by hand, and figures that are kept.

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use halfsplit::logbook::class::{Found, Judged, Refusal, Register};
use halfsplit::logbook::{habit_to_work_on, handin, practise_next};
use halfsplit::score::HabitKind;

/// An attempt of which only what a test is about matters.
fn attempt(id: &str, trainee: &str) -> Judged {
    Judged {
        id: id.to_owned(),
        trainee: trainee.into(),
        signed: false,
        system: "bench".into(),
        drill: "bench/one".into(),
        begun: "2026-11-26T12:00:00Z".into(),
        ended: "2026-11-26T12:10:00Z".into(),
        moves: 4,
        called: "W1:open".into(),
        hidden: "W1:open".into(),
        kinds: vec!["Wire".into()],
        right: true,
        proven: true,
        minutes: 6.0,
        par_minutes: 4.0,
        wasted_bits: 0.25,
        cautions: 0,
        points: 80.0,
        useless: Vec::new(),
        habits: Vec::new(),
    }
}

fn register(all: impl IntoIterator<Item = Judged>) -> Register {
    let mut register = Register::default();
    for one in all {
        register.take(Found::Counts(Box::new(one)));
    }
    register
}

#[test]
fn trainees_faults_habits_and_tests_are_counted() {
    let wrong = Judged {
        right: false,
        proven: false,
        called: "S1:open-ON".into(),
        points: 10.0,
        cautions: 2,
        useless: vec!["set S1 to ON".into(), "set S1 to ON".into()],
        habits: vec![(HabitKind::AgainstCautions, 10.0), (HabitKind::WeakSplits, 4.0)],
        ..attempt("2", "Ann")
    };
    let guessed = Judged { proven: false, points: 30.0, minutes: 0.5, ..attempt("3", "Ann") };
    let left = Judged { called: "".into(), right: false, proven: false, ..attempt("4", "Ann") };
    let slow = Judged { minutes: 12.0, ..attempt("5", "Ann") };
    let other = Judged { points: 100.0, ..attempt("6", "Bo") };
    let class = register([attempt("1", "Ann"), wrong, guessed, left, slow, other]).class();
    assert_eq!(class.attempts, 6);
    let ann = &class.trainees["Ann"];
    assert_eq!(
        (ann.drills, ann.proven, ann.unproven, ann.wrong, ann.left_open, ann.cautions),
        (4, 2, 1, 1, 1, 2)
    );
    // 6/4 and 12/4, of the two that were proven: the guess of half a minute does not count.
    assert_eq!(ann.times_par, Some(2.25));
    assert_eq!((ann.minutes, ann.par_minutes, ann.wasted_bits), (24.5, 16.0, 1.0));
    assert_eq!(ann.points, [80.0, 10.0, 30.0, 80.0]);
    assert_eq!(ann.mean_points(), Some(50.0));
    assert_eq!(ann.habits["Went against cautions"].drills, 1);
    let fault = &class.faults["bench W1:open"];
    assert_eq!(
        (fault.hidden, fault.proven, fault.unproven, fault.wrong, fault.left_open),
        (6, 3, 1, 1, 1)
    );
    assert_eq!(fault.called_as["S1:open-ON"], 1);
    assert_eq!(class.useless_tests["bench: set S1 to ON"], 2);
    assert_eq!(class.habits["Weak splits"], 1);
    let text = class.text();
    let at = |name: &str| text.find(name).unwrap_or_else(|| panic!("{name} in {text}"));
    assert!(at("\nAnn ") < at("\nBo "), "whoever needs help most comes first: {text}");
    let row = text.lines().find(|line| line.starts_with("Ann ")).expect("a row");
    let cells: Vec<&str> = row.split_whitespace().collect();
    assert_eq!(cells, ["Ann", "4", "2", "1", "1", "1", "2.25", "1.0", "2", "80", "10", "30", "80"]);
}

#[test]
fn cautions_are_named_however_many_habits_cost_more() {
    let habits = vec![
        (HabitKind::ChangedBeforeTesting, 40.0),
        (HabitKind::WeakSplits, 30.0),
        (HabitKind::CalledUnproven, 20.0),
        (HabitKind::WalkedForNothing, 15.0),
        (HabitKind::AgainstCautions, 5.0),
    ];
    let class = register([Judged { habits, cautions: 1, ..attempt("1", "Hugo") }]).class();
    let text = class.text();
    assert!(text.contains("Went against cautions: 1 of 1 drills"), "{text}");
    assert!(!text.contains("Walked back and forth: 1 of 1"), "{text}");
    assert!(class.html().contains("Went against cautions: 1 of 1 drills"));
}

#[test]
fn of_attempts_begun_in_the_same_second_those_that_came_first_are_first() {
    let points = |id: &str, points| Judged { points, ..attempt(id, "Ann") };
    let later = Judged { begun: "2026-11-26T11:00:00Z".into(), ..points("0", 70.0) };
    let class = register([points("9", 10.0), points("1", 20.0), later, points("5", 30.0)]).class();
    assert_eq!(class.trainees["Ann"].points, [70.0, 10.0, 20.0, 30.0]);
}

#[test]
fn what_came_twice_is_told_once_for_each_and_says_who_gets_it() {
    let signed = |id: &str| Judged { signed: true, ..attempt(id, "Ann") };
    let all = [
        signed("00000000a"),
        signed("00000000a"),
        signed("00000000b"),
        signed("00000000b"),
        attempt("00000000a", "Zed"),
        attempt("00000000b", "Zed"),
        attempt("00000000c", "Ann"),
        attempt("00000000c", "Zed"),
    ];
    let class = register(all).class();
    assert_eq!((class.attempts, class.disputed), (2, 1));
    assert_eq!(class.trainees.keys().collect::<Vec<_>>(), ["Ann"]);
    assert_eq!(
        class.again,
        [
            "Ann: 2 attempts again",
            "Ann and Zed: 1 attempt under these names, no signature decides: they count for \
             nobody: bench/one (00000000)",
            "Ann and Zed: 2 attempts under these names, signed by Ann, who gets them: bench/one \
             (00000000), bench/one (00000000)",
        ]
    );
    assert!(
        class
            .text()
            .starts_with("Counted: 2 attempts of 1 trainee. Not counted: 1 under several names.")
    );
}

#[test]
fn a_drill_without_a_call_counts_for_none_in_the_order_of_the_table() {
    let done = |id: &str, name: &str, points| Judged { points, ..attempt(id, name) };
    let left = |id: &str| Judged { called: "".into(), right: false, ..attempt(id, "Fern") };
    let text = register([done("1", "Fern", 100.0), left("2"), left("3"), done("4", "Ann", 60.0)])
        .class()
        .text();
    let at = |name: &str| text.find(name).unwrap_or_else(|| panic!("{name} in {text}"));
    assert!(at("\nFern ") < at("\nAnn "), "{text}");
}

/// Of a written drill the last attempt counts; drills that were drawn are each another one.
#[test]
fn the_habit_to_work_on_is_counted_drill_by_drill() {
    let habits = || vec![(HabitKind::CalledUnproven, 20.0)];
    let of =
        |id: &str, drill: &str| Judged { drill: drill.into(), habits: habits(), ..attempt(id, "") };
    let drawn = [of("1", "t4-ac"), of("2", "t4-ac"), attempt("3", "")];
    assert_eq!(habit_to_work_on(&drawn), Some((HabitKind::CalledUnproven, 2, 3)));
    assert_eq!(habit_to_work_on(&[of("1", "bench/one"), of("2", "bench/one")]), None);
}

/// A drill whose fault is of a kind that was missed goes before others, and nothing that is said
/// of it names the kind.
#[test]
fn what_to_practise_next_gives_no_fault_away() {
    let missed = Judged {
        right: false,
        proven: false,
        called: "S1:open-ON".into(),
        kinds: vec!["Fuse".into()],
        ..attempt("1", "")
    };
    let next = practise_next(&[missed], 100);
    let shares = |reason: &str| reason.ends_with("practises what went wrong in another drill");
    let sharing = next.iter().filter(|one| shares(&one.reason)).count();
    assert!(sharing > 3 && sharing < next.len(), "{next:#?}");
    let undone = || next.iter().filter(|one| one.reason.starts_with("not done yet"));
    assert!(undone().take(sharing).all(|one| shares(&one.reason)), "{next:#?}");
    assert!(undone().all(|one| !one.reason.to_lowercase().contains("fuse")), "{next:#?}");
}

/// Whoever has handed in only what does not count still stands in the table.
#[test]
fn nobody_vanishes_whose_attempts_are_refused() {
    let mut register = register([attempt("1", "Ann")]);
    let refusal = |trainee: Option<&str>| Refusal {
        file: "jory.jsonl".into(),
        line: 2,
        trainee: trainee.map(Into::into),
        why: "differs: step 1, `look`, was edited".to_owned(),
    };
    register.take(Found::Refused(refusal(Some("Jory"))));
    register.take(Found::Refused(refusal(None)));
    let class = register.class();
    assert_eq!(class.trainees["Jory"].refused, 1);
    let text = class.text();
    assert!(
        text.starts_with("Counted: 1 attempt of 2 trainees. Not counted: 1 refused, 1 unreadable.")
    );
    assert!(text.contains("jory.jsonl:2 (Jory): differs"), "{text}");
    assert!(text.contains("    handed in and not counted: 1"), "{text}");
    assert!(class.csv().contains("Jory,0,0,0,0,0,1,0.00,0.00,,0.00,0,,\r\n"), "{}", class.csv());
}

/// Runs `class` over a folder with its own folder for caches.
fn class_of(folder: &Path, cache: &Path, more: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .arg("class")
        .arg(folder)
        .args(more)
        .env("XDG_CACHE_HOME", cache)
        .env("XDG_DATA_HOME", cache)
        .output()
        .expect("it runs")
}

/// What is known after each move is held until an attempt has been worked out, so nobody may
/// hand in moves without end.
#[test]
fn an_attempt_without_end_is_refused_before_it_is_done_again() {
    let mut attempt = crate::logbook::by_chance("bench", 1, 2);
    let one = attempt.moves[0].clone();
    attempt.moves = vec![one; handin::MOVES_LIMIT + 1];
    let header = handin::Header { made: crate::logbook::AT.to_owned(), ..Default::default() };
    let sheet = handin::Sheet { attempt, signature: None };
    let verdict = handin::judge(&header, &sheet, &handin::Systems::default_systems());
    assert_eq!(verdict.told(), "cannot be done again: 1001 moves: a drill takes 1000 at most");
}

/// What a trainee has handed in is there once: no page is written over it, by whatever way.
#[test]
fn no_page_takes_the_place_of_a_hand_in() {
    let home = crate::program::data_home();
    let (folder, link) = (home.join("class"), home.join("page.html"));
    fs::create_dir_all(&folder).expect("a folder");
    let hand_in = folder.join("a.jsonl");
    let mut text = Vec::new();
    let attempts = [crate::logbook::by_chance("bench", 1, 2)];
    handin::write(&mut text, ("Ann", crate::logbook::AT), &attempts, None).expect("written");
    fs::write(&hand_in, &text).expect("a file");
    #[cfg(unix)]
    std::os::unix::fs::symlink(&hand_in, &link).expect("a link");
    for (option, out) in [("--html", &hand_in), ("--xapi", &hand_in), ("--html", &link)] {
        let output = class_of(&folder, &home, &[option, out.to_str().expect("text")]);
        let told = String::from_utf8(output.stderr).expect("text");
        assert_eq!(output.status.code(), Some(2), "{told}");
        assert!(told.contains("is one of the hand-ins: name another file"), "{told}");
        assert_eq!(fs::read(&hand_in).expect("it is there"), text);
    }
    let page = folder.join("page.html");
    let name = page.to_str().expect("text");
    let output = class_of(&folder, &home, &["--html", name, "--xapi", name]);
    assert_eq!(output.status.code(), Some(2), "one file for both: {output:?}");
    assert!(!page.exists());
    let output = class_of(&folder, &home, &["--html", page.to_str().expect("text")]);
    assert!(output.status.success() && page.is_file(), "beside them is a place like any other");
}

/// Figures are found again, for the same attempt only; and nothing hangs on them.
#[test]
fn what_has_been_worked_out_is_found_again_and_can_be_done_without() {
    let home = crate::program::data_home();
    let (folder, cache) = (home.join("class"), home.join("cache"));
    fs::create_dir_all(&folder).expect("a folder");
    let attempts: Vec<_> = (0..3).map(|seed| crate::logbook::by_chance("bench", seed, 4)).collect();
    let hand_in = folder.join("a.jsonl");
    let written = |name: &str| {
        let mut out = Vec::new();
        handin::write(&mut out, (name, crate::logbook::AT), &attempts, None).expect("written");
        fs::write(&hand_in, out).expect("a file");
    };
    written("Ann");
    let text = |output: Output| String::from_utf8(output.stdout).expect("text");
    let first = text(class_of(&folder, &cache, &["--json"]));
    assert_eq!(
        first,
        text(class_of(&folder, &cache, &["--json"])),
        "the second time it is the same"
    );
    let file = cache.join("halfsplit/figures.sqlite3");
    let changed = |to: &str| {
        let figures = rusqlite::Connection::open(&file).expect("it opens");
        let sql =
            "UPDATE figure SET found = replace(found, '\"cautions\":', '\"cautions\":' || ?1)";
        assert!(figures.execute(sql, [to]).expect("it is changed") >= 3, "three are kept");
    };
    // Somebody who changes them sees that they are used, and that nothing else is.
    changed("7");
    let second = text(class_of(&folder, &cache, &["--json"]));
    assert_ne!(first, second, "what is kept is used");
    assert_eq!(first, text(class_of(&folder, &cache, &["--json", "--anew"])));
    written("Bo");
    let other = text(class_of(&folder, &cache, &["--json"]));
    assert_eq!(first.replace("Ann", "Bo"), other, "under another name it is another attempt");
    // What cannot be read is worked out.
    changed("x");
    assert_eq!(other, text(class_of(&folder, &cache, &["--json"])));
    fs::write(&file, "no database at all, and long enough to be taken for one ".repeat(40))
        .expect("a file");
    let output = class_of(&folder, &cache, &["--json"]);
    let told = String::from_utf8(output.stderr.clone()).expect("text");
    assert!(told.contains("figures cannot be kept for the next time"), "{told}");
    assert!(told.contains("it is damaged; take it away") && told.lines().count() == 1, "{told}");
    assert_eq!(other, text(output));
}
