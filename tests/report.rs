//! The debrief as a page: whole, by itself, the same every time, and safe from what texts in
//! a system may hold.

use std::collections::BTreeSet;
use std::sync::Arc;

use halfsplit::circuit::Circuit;
use halfsplit::diagnostic::is_unprintable;
use halfsplit::drill::command::{Request, parse};
use halfsplit::drill::{Action, Session};
use halfsplit::report::html;
use halfsplit::score::debrief;
use halfsplit::{faults, library};
use roxmltree::{Document, Node, ParsingOptions};

use crate::program::{run, run_with};

/// A drill with a weak step, a mark, a walk back and a proof.
const LINES: [&str; 9] = [
    "set VSEL C1 A",
    "go fuses",
    "clear T-FLT-A",
    "ac TBF-1",
    "pull F-FLT-A",
    "refit F-FLT-A",
    "go deck",
    "go fuses",
    "pull F-FLT-C",
];

fn worked(circuit: Circuit, fault: &str, lines: &[&str]) -> Session {
    let circuit = Arc::new(circuit);
    let cause = faults::parse_cause(&circuit, fault).expect("a fault");
    let mut session = Session::planted(Arc::clone(&circuit), cause.clone(), 7).expect("it settles");
    for line in lines {
        match parse(&circuit, line) {
            Ok(Request::Do(action)) => session.apply(action),
            other => panic!("{line}: {other:?}"),
        };
    }
    session.apply(Action::Call(cause));
    session
}

fn flagship() -> Circuit {
    library::load("t4-ac").expect("it comes with the program")
}

fn page(session: &Session) -> String {
    let debrief = debrief(session).expect("it can be worked out");
    html(session, &debrief).expect("it can be written")
}

fn tree(page: &str) -> Document<'_> {
    let options = ParsingOptions { allow_dtd: true, ..ParsingOptions::default() };
    Document::parse_with_options(page, options).unwrap_or_else(|error| panic!("{error}"))
}

fn text_of(node: Node<'_, '_>) -> String {
    node.descendants().filter_map(|n| n.text().filter(|_| n.is_text())).collect()
}

/// Everything that a reader has to find, and the rules that hold for any page.
fn held(page: &str) {
    let document = tree(page);
    let all = || document.descendants().filter(Node::is_element);
    let root = document.root_element();
    assert!(page.starts_with("<!DOCTYPE html>"));
    assert_eq!((root.tag_name().name(), root.attribute("lang")), ("html", Some("en")));
    let allowed = ["meta", "br", "path", "rect", "circle", "i"];
    let mut ids = BTreeSet::new();
    for node in all() {
        let name = node.tag_name().name();
        assert!(!["script", "link", "img", "iframe", "object", "embed", "base"].contains(&name));
        if !node.has_children() {
            assert!(allowed.contains(&name) || name == "g", "an empty {name} would not close");
        }
        for attribute in node.attributes() {
            let (key, value) = (attribute.name(), attribute.value());
            assert!(!key.starts_with("on") && key != "src" && key != "action", "{key}");
            assert!(key != "href" || value.starts_with('#'), "{value}");
            if key == "style" {
                assert!(value.starts_with("width:"), "{value}");
            }
            if key == "id" {
                assert!(ids.insert(value), "two things are called {value}");
            }
        }
    }
    let known = |list: &str| list.split(' ').all(|id| ids.contains(id));
    for node in all() {
        assert!(node.attribute("aria-labelledby").is_none_or(known));
        assert!(node.attribute("href").is_none_or(|to| known(&to[1..])));
        if node.tag_name().name() == "th" {
            assert!(matches!(node.attribute("scope"), Some("col" | "row")), "{}", text_of(node));
        }
        if node.tag_name().name() == "table" {
            assert!(node.children().any(|n| n.has_tag_name("caption")));
            let columns = |row: Node<'_, '_>| row.children().filter(Node::is_element).count();
            let rows = || node.descendants().filter(|n| n.has_tag_name("tr"));
            let first = rows().next().map(columns);
            assert!(rows().all(|row| Some(columns(row)) == first), "a row is short");
        }
    }
    let mut level = 0;
    for node in all() {
        if let Some(digit) = node.tag_name().name().strip_prefix('h').and_then(|d| d.parse().ok()) {
            let next: u32 = digit;
            assert!(next <= level + 1, "a heading of level {next} after one of {level}");
            level = next;
        }
    }
    for elsewhere in ["http:", "https:", "src=", "url(", "@import", "javascript:", "<script"] {
        assert!(!page.contains(elsewhere), "{elsewhere}");
    }
    for c in page.chars() {
        assert!(c == '\n' || !is_unprintable(c), "{c:?}");
    }
}

#[test]
fn the_page_is_whole_and_asks_for_nothing_from_elsewhere() {
    let session = worked(flagship(), "F-FLT-C:open", &LINES);
    let page = page(&session);
    held(&page);
    let document = tree(&page);
    let body = text_of(document.root_element());
    for words in [
        "For training only",
        "Isolated and proven",
        "points of 100",
        "proved the least with the tests it reckons with",
        "pull F-FLT-A",
        "Weak splits",
        "cleared too soon: T-FLT-A",
        "FLT GYRO: bright",
        "115 V 400 Hz on the bus bars",
        "No caution was gone against",
        "call was provable from",
        "excluded",
    ] {
        assert!(body.contains(words), "`{words}` is missing");
    }
    // The write-up, then every step: in the table of steps, in what could be known.
    let rows = |id: &str| {
        let section = document.descendants().find(|n| n.attribute("id") == Some(id));
        let section = section.unwrap_or_else(|| panic!("no {id}"));
        section.descendants().filter(|n| n.has_tag_name("tr")).count()
    };
    assert_eq!(rows("steps"), 1 + session.log().len());
    assert_eq!(rows("known"), 2 + session.log().len());
    // The figures behind the plots: one's own way and par's, a head and a row a moment each.
    let figures = |head: &str| {
        let table = document
            .descendants()
            .find(|n| n.has_tag_name("table") && text_of(*n).contains(head))
            .unwrap_or_else(|| panic!("no table `{head}`"));
        table.descendants().filter(|n| n.has_tag_name("tr")).count()
    };
    assert_eq!(figures("Your way"), 2 + session.log().len());
    assert!(figures("Par’s way") >= 2);
    // Reasons with many faults are folded, and hold them all.
    let folded = || document.descendants().filter(|n| n.has_tag_name("details"));
    assert!(folded().count() > 0);
    for reason in folded() {
        let told = text_of(reason);
        let count: usize = told.split(' ').next().and_then(|n| n.parse().ok()).expect("a count");
        let list = told.split_once("faults").expect("a list").1;
        let named: usize = list.split("; ").map(|part| part.split(", ").count()).sum();
        assert_eq!(named, count, "{told}");
    }
    // Two plots and three samples of the key, each with a way of its own; one diagram.
    let of_class = |class: &str| {
        document.descendants().filter(|n| n.attribute("class") == Some(class)).count()
    };
    assert_eq!((of_class("plot"), of_class("diagram")), (5, 1));
    assert!(of_class("own-n") >= 8, "the steps are numbered");
}

#[test]
fn the_same_drill_gives_the_same_page() {
    let once = page(&worked(flagship(), "F-FLT-C:open", &LINES));
    assert_eq!(once, page(&worked(flagship(), "F-FLT-C:open", &LINES)));
}

#[test]
fn a_call_at_once_and_a_wrong_call_have_a_page() {
    held(&page(&worked(flagship(), "CV2:motor-open", &[])));
    let circuit = Arc::new(flagship());
    let hidden = faults::parse_cause(&circuit, "F-FLT-C:open").expect("a fault");
    let called = faults::parse_cause(&circuit, "CV1:motor-open").expect("a fault");
    let mut session = Session::planted(circuit, hidden, 7).expect("it settles");
    session.apply(Action::Call(called));
    let page = page(&session);
    held(&page);
    assert!(page.contains("Wrong call") && page.contains("No step was made"));
}

#[test]
fn what_stands_in_a_system_is_text_and_nothing_else() {
    let mut circuit = library::load("bench").expect("it comes with the program");
    let evil = "<script>x</script>&amp;\"'\u{1b}[2J\u{202e}\u{200f}\u{7}\u{9b}\u{0}]]>-->{}";
    circuit.title.push_str(evil);
    circuit.brief.push_str(evil);
    for part in &mut circuit.parts {
        part.label.push_str(evil);
        part.id.push_str(evil);
    }
    for station in &mut circuit.stations {
        station.title.push_str(evil);
        station.cautions.push(evil.to_owned());
    }
    for point in &mut circuit.test_points {
        point.id.push_str(evil);
    }
    for net in &mut circuit.nets {
        net.push_str(evil);
    }
    let circuit = Arc::new(circuit);
    let fault = faults::all(&circuit).remove(3).0;
    let mut session = Session::planted(circuit, fault.clone(), 7).expect("it can be solved");
    for (step, _) in halfsplit::drill::command::steps_here(&session).into_iter().take(2) {
        session.apply(Action::Step(step));
    }
    let suspected = session.circuit().parts_with_ids().next().expect("a part").0;
    let mark = Some(halfsplit::drill::Mark::Suspect);
    session.apply(Action::Mark { part: suspected, mark });
    session.apply(Action::Call(fault.into()));
    let page = page(&session);
    held(&page);
    assert!(page.contains("&lt;script&gt;x&lt;/script&gt;&amp;amp;&quot;&#39;"));
}

/// Relative luminance and contrast (W3C, Web Content Accessibility Guidelines 2.1, "relative
/// luminance" and "contrast ratio"; formula from memory).
fn contrast(one: &str, other: &str) -> f64 {
    let luminance = |colour: &str| {
        let hex = colour.trim_start_matches('#');
        let wide: String = if hex.len() == 3 {
            hex.chars().flat_map(|c| [c, c]).collect()
        } else {
            hex.to_owned()
        };
        let channel = |at: usize| {
            let value = u8::from_str_radix(&wide[at..at + 2], 16).expect("a colour");
            let share = f64::from(value) / 255.0;
            if share <= 0.03928 { share / 12.92 } else { libm::pow((share + 0.055) / 1.055, 2.4) }
        };
        0.2126 * channel(0) + 0.7152 * channel(2) + 0.0722 * channel(4)
    };
    let (a, b) = (luminance(one), luminance(other));
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

#[test]
fn letters_stand_off_their_ground_in_light_and_in_dark() {
    let page = page(&worked(flagship(), "CV2:motor-open", &[]));
    let mut palettes = 0;
    let mut colours = std::collections::BTreeMap::new();
    for block in page.split(":root{").skip(1) {
        let block = block.split('}').next().unwrap_or_default();
        for pair in block.split(';').filter_map(|pair| pair.split_once(':')) {
            colours.insert(pair.0.to_owned(), pair.1.to_owned());
        }
        for ink in ["--ink", "--quiet", "--accent"] {
            for ground in ["--ground", "--panel"] {
                let ratio = contrast(&colours[ink], &colours[ground]);
                assert!(ratio >= 4.5, "{ink} on {ground}: {ratio}");
            }
        }
        palettes += 1;
    }
    assert_eq!(palettes, 2);
    assert!((contrast("#000", "#ffffff") - 21.0).abs() < 1e-9);
}

const DRILL: [&str; 7] = ["drill", "t4-ac", "--plain", "--fault", "CV2:motor-open", "--seed", "7"];

#[test]
fn a_report_is_written_when_the_call_has_been_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("debrief.html");
    let path = file.to_str().expect("text");
    let arguments = [&DRILL[..], &["--report", path]].concat();
    let (code, out, _) = run_with(&arguments, "look\n");
    assert_eq!(code, Some(0));
    assert!(out.contains("No report was written") && !file.exists(), "{out}");
    let (code, out, _) = run_with(&arguments, "call CV2:motor-open\n");
    assert_eq!(code, Some(0), "{out}");
    assert!(out.contains("The report is in "), "{out}");
    held(&std::fs::read_to_string(&file).expect("it is there"));
    assert_eq!(std::fs::read_dir(folder.path()).expect("a folder").count(), 1);
}

#[test]
fn a_report_that_cannot_be_written_is_told_and_loses_nothing() {
    let (code, out, error) = run(&[&DRILL[..], &["--report", "/no/such/folder/a.html"]].concat());
    assert_eq!((code, out.as_str()), (Some(2), ""), "the drill does not begin");
    assert!(error.contains("there is no such folder"), "{error}");
    let (code, out, error) =
        run_with(&[&DRILL[..], &["--report", "/dev/full"]].concat(), "call CV2:motor-open\n");
    assert_eq!(code, Some(2));
    assert!(out.contains("Why the others are out:"), "{out}");
    assert!(error.contains("no report was written"), "{error}");
}
