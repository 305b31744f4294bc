//! The reference of part kinds on the command line: all of the catalogue, in lines
//! that fit.

use std::process::{Command, Output};

use halfsplit::circuit::{CATALOGUE, PART_FIELDS};
use serde_json::{Value, json};

fn kinds(arguments: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_halfsplit"));
    command.arg("kinds").args(arguments).output().expect("it runs")
}

fn said(arguments: &[&str]) -> String {
    let output = kinds(arguments);
    assert_eq!(output.status.code(), Some(0), "{arguments:?}");
    let text = String::from_utf8(output.stdout).expect("it is text");
    // Standard output is no terminal here, so it is taken to have 80 columns.
    for line in text.lines().filter(|_| !arguments.contains(&"--json")) {
        assert!(line.chars().count() <= 80 && line.trim_end() == line, "{line:?}");
    }
    text
}

/// A text without the breaks and margins of its lines.
fn flowing(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_list_has_every_kind_in_order() {
    let list = said(&[]);
    let mut rest = list.as_str();
    for spec in &CATALOGUE {
        let at =
            rest.find(&format!("\n  {} ", spec.name)).unwrap_or_else(|| panic!("{}", spec.name));
        rest = &rest[at + 1..];
    }
    assert!(list.starts_with(&format!("{} kinds of part.", CATALOGUE.len())));
}

#[test]
fn a_page_has_all_that_the_catalogue_has() {
    for spec in &CATALOGUE {
        let page = said(&[&spec.name.to_lowercase()]);
        assert!(page.starts_with(&format!("{}\n", spec.name)));
        let flow = flowing(&page);
        assert!(flow.contains(&flowing(spec.purpose)), "{page}");
        for field in spec.fields.iter().chain(&PART_FIELDS) {
            let item = format!("{} {}", field.name, flowing(field.doc));
            assert!(flow.contains(&item), "{item}\n{page}");
        }
        // A mode that is a resistance tells between which ohms, and which are usual.
        let ranged = spec.modes.iter().filter(|mode| flow.contains(&format!("in {}@", mode.name)));
        let names: Vec<&str> = ranged.map(|mode| mode.name).collect();
        let expected: &[&str] = match spec.name {
            "Wire" => &["chafed", "high-resistance"],
            "Ground" | "GroundStud" | "Splice" => &["high-resistance"],
            "Connector" => &["pin-high-resistance", "pins-touching"],
            _ => &[],
        };
        let mut sorted = names.clone();
        sorted.sort_unstable();
        assert_eq!(sorted, expected, "{page}");
        for mode in spec.modes {
            for text in [mode.name, mode.text, mode.source] {
                assert!(flow.contains(&flowing(text)), "{text}\n{page}");
            }
        }
    }
}

#[test]
fn json_has_all_of_it_too() {
    let all: Value = serde_json::from_str(&said(&["--json"])).expect("it is JSON");
    let listed = all["kinds"].as_array().expect("a list");
    assert_eq!(listed.len(), CATALOGUE.len());
    assert_eq!(all["every_part"].as_array().expect("a list").len(), PART_FIELDS.len());
    for (spec, kind) in CATALOGUE.iter().zip(listed) {
        assert_eq!(kind["kind"], spec.name);
        let count = |list: &str| kind[list].as_array().expect("a list").len();
        assert_eq!(count("pins") + count("parameters"), spec.fields.len());
        assert_eq!(count("fault_modes"), spec.modes.len());
        for (mode, told) in spec.modes.iter().zip(kind["fault_modes"].as_array().expect("a list")) {
            assert_eq!(told["name"], mode.name);
            assert_eq!(told["rate_per_million_hours"], mode.rate);
            assert_eq!(told["rate_source"], mode.source);
            let ranged = ["chafed", "high-resistance", "pin-high-resistance", "pins-touching"];
            assert_eq!(told["ohms"].is_object(), ranged.contains(&mode.name), "{told}");
        }
    }
    let chafe = &listed.iter().find(|kind| kind["kind"] == "Wire").expect("a wire")["fault_modes"];
    let chafe = chafe.as_array().expect("a list").iter().find(|mode| mode["name"] == "chafed");
    assert_eq!(
        chafe.expect("it chafes")["ohms"],
        json!({"least": 0.01, "usual": 0.05, "most": 1000.0})
    );
    let wire: Value = serde_json::from_str(&said(&["wire", "--json"])).expect("it is JSON");
    assert_eq!(&wire, listed.iter().find(|kind| kind["kind"] == "Wire").expect("there is one"));
    let feet = wire["parameters"].as_array().expect("a list").iter().find(|f| f["name"] == "feet");
    let feet = feet.expect("it has a length");
    assert_eq!((&feet["unit"], &feet["default"]), (&"ft".into(), &10.0.into()));
}

#[test]
fn an_unknown_kind_is_answered_with_a_near_one() {
    let output = kinds(&["Wrie"]);
    assert_eq!(output.status.code(), Some(2));
    assert_eq!(
        String::from_utf8_lossy(&output.stderr),
        "there is no kind of part named `Wrie`; did you mean `Wire`? (`halfsplit kinds` lists them)\n"
    );
}
