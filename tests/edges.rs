//! The logbook at its edges: where it may not be written, is damaged, or is wanted by two.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use halfsplit::logbook::handin::{Header, Sheet, Systems, judge};
use halfsplit::logbook::{Filter, Store};

use crate::logbook::{book, by_chance, header, started};
use crate::program::{data_home, run};

/// The program where the modes of files hold for whoever runs the tests: root may write anything,
/// save without capabilities (capabilities(7)).
fn under_modes(home: &Path, arguments: &[&str], lines: &str) -> Output {
    use std::os::unix::fs::MetadataExt;
    let program = env!("CARGO_BIN_EXE_halfsplit");
    let is_root = fs::metadata("/proc/self").expect("a process").uid() == 0;
    let mut command = if is_root {
        let mut command = Command::new("setpriv");
        command.args(["--bounding-set=-all", program]);
        command
    } else {
        Command::new(program)
    };
    let mut child = crate::program::piped_in(command.args(arguments), home);
    // It may have ended before it reads anything.
    let _ = child.stdin.take().expect("piped").write_all(lines.as_bytes());
    child.wait_with_output().expect("it ends")
}

fn set_mode(path: &Path, mode: u32) {
    use std::os::unix::fs::PermissionsExt;
    fs::set_permissions(path, fs::Permissions::from_mode(mode)).expect("it is ours");
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8(bytes.to_vec()).expect("it prints text")
}

/// A logbook with an attempt that is closed and one that is open.
fn two_attempts() -> PathBuf {
    let home = data_home();
    let mut store = Store::open(&book(&home)).expect("it opens");
    store.begin(&by_chance("bench", 1, 2)).expect("it is kept");
    let mut open = by_chance("bench", 2, 2);
    open.moves.pop();
    store.begin(&open).expect("it is kept");
    home
}

/// A logbook in a folder, or in a file, that may not be written is listed, looked back on, handed
/// in and gone on with; one line says that nothing is kept, and nothing is.
#[test]
fn a_logbook_that_may_not_be_written_is_read() {
    for (mode_of_folder, mode_of_file) in [(0o555, 0o644), (0o555, 0o444), (0o755, 0o444)] {
        let home = two_attempts();
        let (folder, file) = (home.join("halfsplit"), book(&home));
        let before = fs::read(&file).expect("it is there");
        set_mode(&file, mode_of_file);
        set_mode(&folder, mode_of_folder);
        let out = home.join("out.jsonl");
        let out = out.to_str().expect("text");
        let wanted: [(&[&str], &str); 4] = [
            (&["log"], "no call yet"),
            (&["log", "--next"], "halfsplit drill "),
            (&["replay", "1"], "Debrief."),
            (&["handin", "--name", "12", "--out", out], "1 attempt of 12"),
        ];
        for (arguments, told) in wanted {
            let output = under_modes(&home, arguments, "");
            let (said, complained) = (text(&output.stdout), text(&output.stderr));
            assert!(said.contains(told), "{arguments:?}: {said}{complained}");
            assert_eq!(output.status.code(), Some(0), "{complained}");
            assert!(complained.ends_with("can only be read.\n"), "{complained}");
            assert_eq!(complained.lines().count(), 1, "{complained}");
        }
        let output = under_modes(&home, &["resume", "2", "--plain"], "look\nlook\n");
        let said = text(&output.stdout);
        assert_eq!(said.matches("Not kept: ").count(), 1, "{said}");
        assert!(said.contains("can only be read. The drill goes on."), "{said}");
        assert!(text(&output.stderr).starts_with("Lost, as it could not be kept: 2 moves ("));
        let output = under_modes(&home, &["oral", "bench", "--plain", "--seed", "1"], "quit\n");
        let said = text(&output.stdout);
        assert!(said.starts_with("Not kept: ") && said.contains("The oral goes on."), "{said}");
        set_mode(&folder, 0o755);
        assert_eq!(fs::read(&file).expect("it is there"), before);
    }
}

/// Moves that have not been taken into the file, and no way to see them: that is told.
#[test]
fn what_cannot_be_seen_of_a_logbook_is_told() {
    let (home, copy) = (two_attempts(), data_home());
    let mut store = Store::open(&book(&home)).expect("it opens");
    store.begin(&by_chance("bench", 3, 2)).expect("it is kept");
    fs::create_dir_all(copy.join("halfsplit")).expect("a folder");
    for name in ["logbook.sqlite3", "logbook.sqlite3-wal"] {
        let of = |home: &Path| home.join("halfsplit").join(name);
        fs::copy(of(&home), of(&copy)).expect("it is there");
    }
    set_mode(&copy.join("halfsplit"), 0o555);
    let output = under_modes(&copy, &["log"], "");
    set_mode(&copy.join("halfsplit"), 0o755);
    let complained = text(&output.stderr);
    assert!(complained.contains("what was done last stands in a file beside it"), "{complained}");
    assert_eq!(text(&output.stdout).lines().count(), 2);
    // Where it can be written everything is there.
    let store = Store::open(&book(&copy)).expect("it opens");
    assert_eq!(store.attempts(&Filter::default()).expect("they can be read").len(), 3);
}

/// A list makes no logbook where there is none.
#[test]
fn a_list_makes_no_logbook() {
    let home = data_home();
    let output = under_modes(&home, &["log"], "");
    assert!(text(&output.stdout).starts_with("No attempts in "), "{output:?}");
    assert_eq!((output.status.code(), text(&output.stderr).as_str()), (Some(0), ""));
    assert!(!home.exists());
}

/// What is typed wrongly stands in the message, and nothing of it can drive a terminal: neither
/// the C0 controls nor those of C1 (ECMA-48).
#[test]
fn what_is_typed_wrongly_drives_no_terminal() {
    let hostile = "\u{1b}[31m\u{9b}31m\u{7}\u{85}\u{9d}0;x\u{9c}";
    let flag = format!("--{hostile}");
    let verbs: [&[&str]; 4] = [
        &[hostile],
        &["drill", "bench", &flag],
        &["resume", hostile],
        &["log", "--since", hostile],
    ];
    let mut refused = 0;
    for arguments in verbs {
        let (code, said, complained) = run(arguments);
        let marks = said.chars().chain(complained.chars()).filter(|c| c.is_control() && *c != '\n');
        assert_eq!(marks.count(), 0, "{arguments:?}: {complained:?}");
        refused += usize::from(code == Some(2) && complained.contains('\u{FFFD}'));
    }
    assert!(refused >= 3, "{refused} of {} were refused with what was typed", verbs.len());
}

/// A key of another length, or that cannot be read, signs nothing and stays as it is.
#[test]
fn a_key_that_is_none_signs_nothing() {
    let home = two_attempts();
    let (key, out) = (home.join("halfsplit/signing-key"), home.join("out.jsonl"));
    let arguments = ["handin", "--name", "12", "--sign", "--out", out.to_str().expect("text")];
    let refused = |what: &str| {
        let output = under_modes(&home, &arguments, "");
        let complained = text(&output.stderr);
        assert!(complained.contains("signing-key cannot be used"), "{what}: {complained}");
        assert_eq!((output.status.code(), complained.lines().count()), (Some(2), 1), "{what}");
        assert!(!out.exists(), "{what}");
    };
    for length in [0, 31, 33, 4096] {
        fs::write(&key, vec![7; length]).expect("it can be written");
        refused(&format!("{length} bytes"));
        assert_eq!(fs::read(&key).expect("it is there"), vec![7; length]);
    }
    fs::write(&key, [7; 32]).expect("it can be written");
    set_mode(&key, 0o000);
    refused("unreadable");
    fs::remove_file(&key).expect("it is there");
    fs::create_dir(&key).expect("a folder");
    refused("a folder");
    fs::remove_dir(&key).expect("it is there");
    let output = under_modes(&home, &arguments, "");
    assert!(text(&output.stdout).ends_with(", signed.\n"), "{output:?}");
}

/// A public key of small order fits a signature to anything (RFC 8032, section 8.9 calls such
/// checks by their equation; the neutral element is from memory): it is refused.
#[test]
fn a_key_that_fits_everything_is_refused() {
    let mut neutral = [0; 32];
    neutral[0] = 1;
    let mut signature = [0; 64];
    signature[0] = 1;
    let header = Header { key: Some(BASE64.encode(neutral)), ..header() };
    let sheet =
        Sheet { attempt: by_chance("bench", 1, 1), signature: Some(BASE64.encode(signature)) };
    let told = judge(&header, &sheet, &Systems::default_systems()).told();
    assert!(told.starts_with("signature: it does not fit"), "{told}");
}

/// What lies in the folder of a class and is no hand-in is named in one line, however much it is.
#[test]
fn what_a_class_passes_over_is_told() {
    let folder = data_home();
    fs::create_dir_all(folder.join("older")).expect("a folder");
    fs::create_dir_all(folder.join("b.jsonl")).expect("a folder");
    let beginning = serde_json::to_string(&header()).expect("JSON");
    fs::write(folder.join("a.jsonl"), beginning).expect("a file");
    fs::write(folder.join("notes\u{1b}.txt"), "").expect("a file");
    std::os::unix::fs::symlink("/nowhere/at/all", folder.join("c.jsonl")).expect("a link");
    let class = || run(&["class", folder.to_str().expect("text")]);
    let (code, _, complained) = class();
    assert_eq!(code, Some(0), "{complained}");
    assert_eq!(
        complained,
        "Passed over: b.jsonl (a folder), c.jsonl (cannot be looked at), notes\u{FFFD}.txt (not \
         .jsonl), older (a folder).\n"
    );
    for at in 0..300 {
        fs::write(folder.join(format!("{at:03}{}", "x".repeat(200))), "").expect("a file");
    }
    let (_, _, complained) = class();
    assert!(complained.ends_with(" and 294 more.\n"), "{complained}");
    assert!(complained.len() < 800 && complained.lines().count() == 1, "{complained}");
}

/// Whatever is damaged in an attempt is told in one short line, and the others are listed.
#[test]
fn damage_is_told_in_one_short_line() {
    let long = "y".repeat(200_000);
    let damages = [
        format!("UPDATE attempt SET recipe = '{{\"{long}\": 1}}' WHERE number = 2"),
        format!("UPDATE attempt SET recipe = replace(recipe, 'bench', '{long}') WHERE number = 2"),
        format!("UPDATE move SET line = '{long}' WHERE attempt = 2 AND number = 1"),
        format!("UPDATE move SET shown = '[\"{long}\"]' WHERE attempt = 2 AND number = 1"),
        "UPDATE move SET line = x'ff00' WHERE attempt = 2 AND number = 1".to_owned(),
        "UPDATE attempt SET begun = x'ff00' WHERE number = 2".to_owned(),
    ];
    for damage in &damages {
        let home = two_attempts();
        let raw = rusqlite::Connection::open(book(&home)).expect("a file");
        assert_eq!(raw.execute(damage, []).expect("damaged"), 1);
        drop(raw);
        for verb in ["replay", "resume"] {
            let output = under_modes(&home, &[verb, "2"], "");
            let complained = text(&output.stderr);
            let which = &damage[..40];
            assert!(complained.starts_with("attempt 2 "), "{verb}, {which}: {complained}");
            assert!(complained.len() < 900, "{verb}, {which}: {} bytes", complained.len());
            assert_eq!((complained.lines().count(), output.status.code()), (1, Some(2)), "{which}");
        }
        let listed = under_modes(&home, &["log"], "");
        let listed = text(&listed.stdout);
        assert!(listed.contains("    1  2026-"), "{listed}");
        assert!(listed.len() < 900, "{} bytes", listed.len());
    }
}

/// Two go on with one attempt at once: the second is told what has come between, once.
#[test]
fn two_who_go_on_at_once_are_told() {
    let home = two_attempts();
    let mut one = started(&home, &["resume", "2", "--plain"]);
    let mut other = started(&home, &["resume", "2", "--plain"]);
    let mut of_other = BufReader::new(other.stdout.take().expect("piped"));
    let mut told = String::new();
    // It has read the attempt before the first one goes on.
    while !told.contains("`help` for the commands") {
        assert!(of_other.read_line(&mut told).expect("it answers") > 0, "{told}");
    }
    one.stdin.take().expect("piped").write_all(b"look\n").expect("it reads");
    assert!(one.wait().expect("it ends").success());
    other.stdin.take().expect("piped").write_all(b"look\nlook\nlook\n").expect("it reads");
    let mut told = String::new();
    std::io::Read::read_to_string(&mut of_other, &mut told).expect("it answers");
    other.wait().expect("it ends");
    let wanted = "Not kept: another program has gone on with attempt 2 since it was opened here.";
    assert_eq!(told.matches("Not kept").count(), 1, "{told}");
    assert!(told.contains(wanted), "{told}");
    let store = Store::open(&book(&home)).expect("it opens");
    let kept = store.attempt(2).expect("it is there").attempt;
    assert_eq!((kept.moves.len(), kept.first_edit()), (3, None));
}

/// A hand-in whose values are as long as a line may be is verified in a few short lines.
#[test]
fn long_values_are_verified_in_short_lines() {
    let long = "z".repeat(100_000);
    let whole = by_chance("bench", 1, 2);
    let mut sheets = vec![whole.clone(); 7];
    sheets[0].recipe.system.clone_from(&long);
    sheets[1].moves[0].line.clone_from(&long);
    sheets[2].moves[0].shown = vec![long.clone()];
    sheets[3].begun.clone_from(&long);
    sheets[4].recipe.drill = Some(long.clone());
    sheets[5].moves[2].line = format!("call {long}");
    sheets[6].recipe.mods = vec![long.clone(); 3];
    let mut text = serde_json::to_string(&header()).expect("JSON") + "\n";
    for attempt in sheets {
        let sheet = Sheet { attempt, signature: None };
        text += &(serde_json::to_string(&sheet).expect("JSON") + "\n");
    }
    text += &["{\"", &long, "\": 1}\n"].concat();
    let folder = data_home();
    fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join("long.jsonl");
    fs::write(&path, text).expect("a file");
    let (code, said, complained) = run(&["verify", path.to_str().expect("text")]);
    assert_eq!((code, complained.as_str()), (Some(1), ""));
    assert_eq!(said.lines().count(), 9, "{}", said.len());
    for line in said.lines() {
        assert!(line.chars().count() < 1200, "{}…", line.chars().take(300).collect::<String>());
    }
}

/// A folder that is named by a relative path is ignored (XDG Base Directory Specification 0.8),
/// and that is said once.
#[test]
fn a_relative_folder_is_ignored_and_told_of() {
    let home = data_home();
    fs::create_dir_all(&home).expect("a folder");
    let log = |set: &str| {
        let output = Command::new(env!("CARGO_BIN_EXE_halfsplit"))
            .args(["drill", "bench", "--plain"])
            .env("XDG_DATA_HOME", set)
            .env("XDG_CACHE_HOME", set)
            .env("HOME", &home)
            .current_dir(&home)
            .stdin(Stdio::null())
            .output()
            .expect("it runs");
        text(&output.stderr)
    };
    assert_eq!(
        log("here"),
        "XDG_DATA_HOME is `here`, which is not an absolute path: it is ignored.\n"
    );
    assert!(!home.join("here").exists());
    assert_eq!(log(""), "");
    assert_eq!(log(home.to_str().expect("text")), "");
}

/// So many lamps on one battery, four parts each.
pub(crate) fn many_lamps(count: usize) -> PathBuf {
    let each = |what: &dyn Fn(usize) -> String| (0..count).map(what).collect::<String>();
    let nets = each(&|at| format!("\"B{at}\", \"S{at}\", \"L{at}\", "));
    let parts = each(&|at| {
        format!(
            "Breaker(id: \"CB{at}\", at: \"bench\", label: \"LAMP {at}\", line: \"BAT\", \
             load: \"B{at}\", amps: 5),
             Wire(id: \"W{at}\", at: \"bench\", a: \"B{at}\", b: \"S{at}\", gauge: 20, feet: 6),
             Switch(id: \"SW{at}\", at: \"bench\", label: \"LAMP {at}\", \
             positions: [\"OFF\", \"ON\"], closes: {{\"ON\": [(\"S{at}\", \"L{at}\")]}}),
             Lamp(id: \"DS{at}\", at: \"bench\", label: \"LAMP {at}\", a: \"L{at}\", \
             b: \"RET\", colour: \"green\"),\n"
        )
    });
    let text = format!(
        "System(id: \"many\", title: \"MANY LAMPS\", brief: \"Lamps.\", insulation_megohms: 10.0,
         stations: [Station(id: \"bench\", title: \"BENCH\", crew: true)],
         nets: [\"BAT\", \"RET\", {nets}],
         parts: [Supply(id: \"BT1\", at: \"bench\", label: \"BATTERY\", plus: \"BAT\", volts: 27.5),
         Ground(id: \"E1\", at: \"bench\", net: \"RET\"),\n{parts}],
         test_points: [TestPoint(id: \"TB1\", net: \"BAT\", at: \"bench\")])"
    );
    let folder = data_home();
    fs::create_dir_all(&folder).expect("a folder");
    let path = folder.join("many.ron");
    fs::write(&path, text).expect("a file");
    path
}

/// A drill on a thousand parts takes long to make: that is said, and of a small one nothing is.
#[test]
fn a_long_start_is_told() {
    for (count, told) in [(250, "1002 parts: "), (3, "")] {
        let path = many_lamps(count);
        let (code, _, complained) = run(&["drill", path.to_str().expect("text"), "--plain"]);
        assert_eq!(code, Some(0), "{complained}");
        assert!(complained.starts_with(told), "{complained}");
        assert_eq!(complained.lines().count(), usize::from(!told.is_empty()), "{complained}");
    }
}
