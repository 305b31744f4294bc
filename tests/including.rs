//! Systems in several files: what they mean, and where findings point.

use std::fs;
use std::path::Path;

use halfsplit::diagnostic::Diagnostic;
use halfsplit::library;
use halfsplit::survey::Effort;

use crate::program::run;

const MAIN: &str = r#"System(
    id: "two",
    title: "TWO FILES",
    include: ["panel.ron"],
    stations: [Station(id: "bench", title: "BENCH")],
    nets: ["BAT"],
    parts: [Supply(id: "BT1", at: "bench", plus: "BAT")],
)"#;

const PANEL: &str = r#"// The panel.
Include(
    nets: ["SW"],
    parts: [
        Switch(id: "S1", at: "bench", positions: ["OFF", "ON"], closes: {"ON": [("BAT", "SW")]}),
        Lamp(id: "DS1", at: "bench", a: "SW"),
    ],
    test_points: [TestPoint(id: "TP1", net: "SW", at: "bench")],
)"#;

/// A folder with these files; the name by which it is loaded.
fn folder(files: &[(&str, &str)]) -> (tempfile::TempDir, String) {
    let folder = tempfile::tempdir().expect("a folder");
    for (name, text) in files {
        let path = folder.path().join(name);
        fs::create_dir_all(path.parent().expect("a folder")).expect("made");
        fs::write(path, text).expect("written");
    }
    let name = folder.path().to_string_lossy().into_owned();
    (folder, name)
}

/// What is found in it, each with the folder left out of file names.
fn found(name: &str) -> Vec<Diagnostic> {
    let (_, mut findings) = library::check(name, Effort::Quick).expect("it can be read");
    for finding in &mut findings {
        let file = Path::new(&finding.file).strip_prefix(name).expect("in the folder");
        finding.file = file.to_string_lossy().into_owned();
    }
    findings
}

fn told(name: &str) -> Vec<String> {
    found(name).iter().map(ToString::to_string).collect()
}

#[test]
fn a_system_in_two_files_is_what_it_is_in_one() {
    let (_kept, name) = folder(&[("system.ron", MAIN), ("panel.ron", PANEL)]);
    let split = library::load(&name).expect("it reads");
    let one = r#"System(id: "two", title: "TWO FILES",
        stations: [Station(id: "bench", title: "BENCH")], nets: ["BAT", "SW"], parts: [
        Supply(id: "BT1", at: "bench", plus: "BAT"),
        Switch(id: "S1", at: "bench", positions: ["OFF", "ON"], closes: {"ON": [("BAT", "SW")]}),
        Lamp(id: "DS1", at: "bench", a: "SW")],
        test_points: [TestPoint(id: "TP1", net: "SW", at: "bench")])"#;
    let (whole, findings) = halfsplit::circuit::read_system("one", one);
    assert!(findings.is_empty());
    assert_eq!(Some(split), whole);
    assert!(told(&name).is_empty(), "{:?}", told(&name));
    let files = library::files(&name);
    assert!(files.iter().any(|path| path.ends_with("panel.ron")), "{files:?}");
}

#[test]
fn a_finding_points_into_the_file_it_is_in() {
    let panel = PANEL
        .replace("a: \"SW\"", "a: \"SWW\"")
        .replace("Lamp(id: \"DS1\"", "Lamp(id: \"BT1\"")
        .replace(
            "test_points: [",
            "test_points: [Testpoint(id: \"TP0\", net: \"SW\", at: \"bench\"), ",
        );
    let main = MAIN.replace("plus: \"BAT\"", "pluss: \"BAT\"");
    let (_kept, name) = folder(&[("system.ron", &main), ("panel.ron", &panel)]);
    let told = told(&name);
    let expected = [
        "system.ron:7:13: error[missing-field]",
        "system.ron:7:44: error[unknown-field]",
        "panel.ron:6:18: error[duplicate-id]: the part `BT1` is already at ",
        "panel.ron:6:41: error[unknown-net]: no net is named `SWW` (did you mean `SW`?)",
        "panel.ron:8:19: error[unknown-kind]",
    ];
    assert_eq!(told.len(), expected.len(), "{told:#?}");
    for (told, expected) in told.iter().zip(expected) {
        assert!(told.starts_with(expected), "{told}\n{expected}");
    }
    // The other place is named with its file, since it is in another one.
    assert!(told[2].ends_with("system.ron:7:24"), "{}", told[2]);
}

#[test]
fn a_finding_of_the_model_shows_the_line_of_its_own_file() {
    let panel = PANEL
        .replace(
            "    parts: [\n",
            "    parts: [\n        Wire(id: \"W9\", at: \"bench\", \
        a: \"W9A\", b: \"W9B\", ohms: 1), Lamp(id: \"DS9\", at: \"bench\", a: \"W9A\"),\n        \
        Lamp(id: \"DS8\", at: \"bench\", a: \"W9B\"),\n",
        )
        .replace("[\"SW\"]", "[\"SW\", \"W9{A,B}\"]");
    let (_kept, name) = folder(&[("system.ron", MAIN), ("panel.ron", &panel)]);
    let (code, told, _) = run(&["check", &name]);
    assert_eq!(code, Some(1), "{told}");
    let lines: Vec<&str> = told.lines().collect();
    let at = lines.iter().position(|l| l.contains("Lamp `DS8` is never powered")).expect("found");
    assert!(lines[at].contains("panel.ron:6:18: warning[never-powered]"), "{told}");
    assert!(lines[at + 1].contains("6 |         Lamp(id: \"DS8\""), "{told}");
}

#[test]
fn what_does_not_read_is_told_of_its_own_file() {
    for (panel, expected) in [
        ("Include(\n    nets: [\"SW\",\n    parts: [],\n)", "panel.ron:3:"),
        (
            "System(id: \"x\")",
            "panel.ron:1:1: error[syntax]: expected `Include` but found `System`",
        ),
        (
            "// nothing\n",
            "panel.ron:1:1: error[empty-file]: the file is empty; it should hold `Include(...)`",
        ),
        (
            "Include(title: \"X\")",
            "panel.ron:1:9: error[unknown-field]: an included file has no field `title`",
        ),
        (
            "Include(nets: \"SW\")",
            "panel.ron:1:15: error[wrong-type]: `nets` of an included file must be a list",
        ),
    ] {
        let (_kept, name) = folder(&[("system.ron", MAIN), ("panel.ron", panel)]);
        let told = told(&name);
        assert!(told.iter().any(|told| told.starts_with(expected)), "{panel}: {told:#?}");
        assert!(library::load(&name).is_err(), "{panel}");
    }
}

#[test]
fn no_file_outside_the_folder_is_read_and_none_twice() {
    let (outside, _) = folder(&[("secret.ron", "Include(nets: [\"SECRET\"])")]);
    let (kept, name) = folder(&[
        (
            "system.ron",
            &MAIN.replace(
                "[\"panel.ron\"]",
                "[\"a.ron\", \"link.ron\", \"way/s.ron\", \"no.ron\", \"bin.ron\"]",
            ),
        ),
        ("a.ron", "Include(include: [\"sub/b.ron\"])"),
        ("sub/b.ron", "Include(include: [\"a.ron\", \"system.ron\", \"sub/b.ron\"])"),
        ("bin.ron", ""),
    ]);
    fs::write(kept.path().join("bin.ron"), b"\xFF\xFE").expect("written");
    #[cfg(unix)]
    {
        std::os::unix::fs::symlink(outside.path().join("secret.ron"), kept.path().join("link.ron"))
            .expect("a link");
        std::os::unix::fs::symlink(outside.path(), kept.path().join("way")).expect("a link");
    }
    fs::write(outside.path().join("s.ron"), "Include()").expect("written");
    let told = told(&name);
    for expected in [
        "system.ron:4:24: error[bad-include]: `link.ron` cannot be included: it is a link that leads out",
        "system.ron:4:36: error[bad-include]: `way/s.ron` cannot be included: it is a link that leads out",
        "system.ron:4:49: error[bad-include]: `no.ron` cannot be included: there is no such file",
        "system.ron:4:59: error[bad-include]: `bin.ron` cannot be included: ",
        "sub/b.ron:1:19: error[bad-include]: `a.ron` cannot be included: it would include itself",
        "sub/b.ron:1:28: error[bad-include]: `system.ron` cannot be included: it would include itself",
        "sub/b.ron:1:42: error[bad-include]: `sub/b.ron` cannot be included: it would include itself",
    ] {
        assert!(told.iter().any(|told| told.starts_with(expected)), "{expected}\n{told:#?}");
    }
    assert_eq!(told.len(), 7, "{told:#?}");
    assert!(!told.iter().any(|told| told.contains("SECRET")));
}

#[test]
fn a_file_included_twice_is_told() {
    let (_kept, name) = folder(&[
        ("system.ron", &MAIN.replace("[\"panel.ron\"]", "[\"panel.ron\", \"panel.ron\"]")),
        ("panel.ron", PANEL),
    ]);
    let told = told(&name);
    assert_eq!(told.len(), 1, "{told:#?}");
    assert!(told[0].contains("`panel.ron` cannot be included: it is included already"), "{told:?}");
}
