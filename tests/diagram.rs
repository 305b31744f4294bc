//! The picture of a system: what is drawn connected is what is connected.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use halfsplit::circuit::{AIRFRAME, Circuit, NetId};
use halfsplit::diagram::{Cell, Class, Drawing, Live, Mark, Overlay, Piece, cells, svg};
use halfsplit::observation::Rig;
use halfsplit::{faults, library};
use proptest::prelude::*;

use crate::harness::Bench;
use crate::program;
use crate::properties::ladder;

/// Every system with no mod, with each of its mods and with all of them.
fn builds() -> Vec<Circuit> {
    let mut builds = Vec::new();
    for system in ["bench", "t4-dc", "t4-ac"] {
        let plain = library::load(system).expect("it comes with the program");
        let all: Vec<String> = plain.mods.iter().map(|m| m.id.clone()).collect();
        let mut fitted: Vec<Vec<String>> = all.iter().map(|m| vec![m.clone()]).collect();
        fitted.push(all);
        builds.push(plain);
        builds.extend(
            fitted
                .iter()
                .filter(|mods| !mods.is_empty())
                .map(|mods| library::load_build(system, mods).expect("its mods can be fitted")),
        );
    }
    builds
}

fn holds(piece: &Piece, cell: Cell) -> bool {
    (piece.from.column..=piece.to.column).contains(&cell.column)
        && (piece.from.row..=piece.to.row).contains(&cell.row)
}

/// Where two pieces meet as one reads it: where one of them ends on the other, or where
/// a dot stands on their crossing.
fn meet(a: &Piece, b: &Piece, dots: &BTreeSet<Cell>) -> bool {
    let left = a.from.column.max(b.from.column);
    let right = a.to.column.min(b.to.column);
    let top = a.from.row.max(b.from.row);
    let bottom = a.to.row.min(b.to.row);
    if left > right || top > bottom {
        return false;
    }
    let crossing = Cell { column: left, row: top };
    let ends = [a.from, a.to, b.from, b.to];
    (left, top) != (right, bottom) || ends.contains(&crossing) || dots.contains(&crossing)
}

fn find(parents: &mut [usize], mut at: usize) -> usize {
    while parents[at] != at {
        parents[at] = parents[parents[at]];
        at = parents[at];
    }
    at
}

/// Reads the connections off the drawing and holds them against the circuit; then that
/// nothing overlaps.
fn check(circuit: &Circuit) {
    let drawing = Drawing::of(circuit);
    let told = &circuit.id;
    let pieces: Vec<&Piece> = drawing.lines.iter().flat_map(|line| &line.pieces).collect();
    let dots: BTreeSet<Cell> =
        drawing.lines.iter().flat_map(|line| line.dots.iter().copied()).collect();
    let mut parents: Vec<usize> = (0..pieces.len()).collect();
    for a in 0..pieces.len() {
        for b in 0..a {
            if meet(pieces[a], pieces[b], &dots) {
                let (a, b) = (find(&mut parents, a), find(&mut parents, b));
                parents[a] = b;
            }
        }
    }
    // What hangs on every connected piece of drawing, and how often each net is drawn.
    let mut drawn: BTreeMap<usize, Vec<Vec<NetId>>> = BTreeMap::new();
    let mut ends: BTreeMap<NetId, usize> = BTreeMap::new();
    for shape in &drawing.shapes {
        for pin in &shape.pins {
            if pin.is_grounded() {
                assert!(!pieces.iter().any(|piece| holds(piece, pin.at)), "{told} {}", shape.name);
                continue;
            }
            for net in &pin.nets {
                *ends.entry(*net).or_default() += 1;
            }
            let Some(piece) = pieces.iter().position(|piece| holds(piece, pin.at)) else {
                let alone = circuit.parts_with_ids().filter(|(id, part)| {
                    !shape.parts.contains(id) && part.kind.nets().contains(&pin.nets[0])
                });
                assert_eq!(alone.count(), 0, "{told}: a pin of {} hangs in the air", shape.name);
                continue;
            };
            drawn.entry(find(&mut parents, piece)).or_default().push(pin.nets.clone());
        }
    }
    let mut seen: BTreeSet<NetId> = BTreeSet::new();
    for pins in drawn.values() {
        assert!(pins.len() > 1, "{told}: a line that joins nothing");
        assert!(pins.iter().all(|nets| *nets == pins[0]), "{told}: different nets are joined");
        for net in &pins[0] {
            let name = circuit.net_name(*net);
            assert!(seen.insert(*net), "{told}: {name} is drawn in two pieces");
            assert_eq!(ends[net], pins.len(), "{told}: {name} is not whole");
        }
    }
    for (id, part) in circuit.parts_with_ids() {
        let shapes = drawing.shapes.iter().filter(|shape| shape.parts.contains(&id));
        let mut pins: Vec<NetId> =
            shapes.flat_map(|shape| &shape.pins).flat_map(|pin| pin.nets.clone()).collect();
        pins.sort_unstable();
        for net in part.kind.nets() {
            assert!(pins.contains(&net), "{told}: {} is not on {net:?}", part.id);
        }
        assert!(drawing.find(id).is_some(), "{told}: {} is not drawn", part.id);
    }
    assert!(drawing.lines.iter().all(|line| !line.nets.contains(&AIRFRAME)));
    for (at, shape) in drawing.shapes.iter().enumerate() {
        let a = shape.area;
        for other in &drawing.shapes[..at] {
            let b = other.area;
            let apart = a.left >= b.right()
                || b.left >= a.right()
                || a.top >= b.bottom()
                || b.top >= a.bottom();
            assert!(apart, "{told}: {} lies on {}", shape.name, other.name);
        }
        for piece in &pieces {
            let beside = piece.from.column >= a.right()
                || piece.to.column < a.left
                || piece.from.row >= a.bottom()
                || piece.to.row < a.top;
            assert!(beside, "{told}: a line runs through {}: {piece:?}", shape.name);
        }
        assert!(a.left >= 0 && a.top >= 0 && a.right() <= drawing.columns);
        assert!(a.bottom() <= drawing.rows);
    }
    for piece in pieces {
        assert!(piece.from.column >= 0 && piece.from.row >= 0);
        assert!(piece.to.column < drawing.columns && piece.to.row < drawing.rows);
    }
}

/// Reads an SVG and holds every text against the picture it stands in.
fn check_svg(text: &str) {
    let document = roxmltree::Document::parse(text).expect("it is XML");
    let root = document.root_element();
    let view: Vec<f64> = root
        .attribute("viewBox")
        .expect("it has one")
        .split(' ')
        .map(|number| number.parse().expect("a number"))
        .collect();
    for name in ["title", "desc"] {
        let found =
            root.children().find(|node| node.has_tag_name(("http://www.w3.org/2000/svg", name)));
        assert!(found.is_some_and(|node| node.text().is_some_and(|text| !text.is_empty())));
    }
    for node in document.descendants().filter(roxmltree::Node::is_element) {
        let name = node.tag_name().name();
        assert!(!["script", "image", "use", "a", "foreignObject"].contains(&name), "{name}");
        for attribute in node.attributes() {
            assert!(!attribute.name().starts_with("on") && attribute.name() != "href");
        }
        if name != "text" {
            continue;
        }
        let number = |node: roxmltree::Node, name: &str| -> f64 {
            node.attribute(name).map_or(0.0, |n| n.parse().expect("a number"))
        };
        let (mut x, mut y) = (number(node, "x"), number(node, "y"));
        for above in node.ancestors() {
            let Some(moved) = above.attribute("transform") else { continue };
            let inner = moved.trim_start_matches("translate(").trim_end_matches(')');
            let (across, down) = inner.split_once(',').expect("two numbers");
            x += across.parse::<f64>().expect("a number");
            y += down.parse::<f64>().expect("a number");
        }
        // A monospaced letter is about 0.61 of its size wide.
        let wide = match node.attribute("class") {
            Some("h") => 9.8,
            Some("t") => 6.4,
            _ => 7.4,
        };
        let written = node.text().unwrap_or_default();
        let length = wide * written.chars().count() as f64;
        let left = match node.attribute("text-anchor") {
            Some("middle") => x - length / 2.0,
            Some("end") => x - length,
            _ => x,
        };
        assert!(left >= view[0] && left + length <= view[0] + view[2], "{written} at {x}, {y}");
        assert!(y >= view[1] + 8.0 && y <= view[1] + view[3], "{written} at {x}, {y}");
    }
    assert!(text.contains("For training only"));
}

#[test]
fn every_build_is_drawn_as_it_is_connected() {
    for circuit in builds() {
        check(&circuit);
    }
}

#[test]
fn the_svg_of_every_build_is_whole_and_holds_its_text() {
    for circuit in builds() {
        let drawing = Drawing::of(&circuit);
        let mut overlay = Overlay::default();
        check_svg(&svg(&drawing, &overlay));
        for (at, mark) in [Mark::Suspect, Mark::Cleared, Mark::Excluded].into_iter().enumerate() {
            overlay.mark(halfsplit::circuit::PartId(at as u32), mark);
        }
        check_svg(&svg(&drawing, &overlay));
    }
}

#[test]
fn text_from_a_file_stays_text() {
    let mut circuit = library::load("bench").expect("it comes with the program");
    circuit.title = "a <script>alert(1)</script> & \"b\" \u{1b}[2J\u{FFFE}".to_owned();
    circuit.brief = "</desc><x>".to_owned();
    circuit.parts[0].id = "<b>'&".to_owned();
    circuit.parts[0].label = "]]> <!-- \u{0}".to_owned();
    let text = svg(&Drawing::of(&circuit), &Overlay::default());
    check_svg(&text);
    assert!(!text.contains("<script") && !text.contains('\u{1b}'));
    let grid = cells(&Drawing::of(&circuit), &Overlay::default(), true).text();
    assert!(!grid.contains('\u{1b}') && !grid.contains('\u{0}'));
}

#[test]
fn the_same_circuit_gives_the_same_bytes() {
    for circuit in builds() {
        let once = svg(&Drawing::of(&circuit), &Overlay::default());
        assert_eq!(once, svg(&Drawing::of(&circuit.clone()), &Overlay::default()));
    }
}

#[test]
fn the_bench_in_characters() {
    let circuit = library::load("bench").expect("it comes with the program");
    let drawing = Drawing::of(&circuit);
    insta::assert_snapshot!(cells(&drawing, &Overlay::default(), false).text());
    let ascii = cells(&drawing, &Overlay::default(), true);
    assert!(ascii.text().is_ascii());
    insta::assert_snapshot!(ascii.text());
    assert_eq!(ascii.at(-1, 0), (' ', Class::Blank));
}

#[test]
fn wires_of_one_machine_become_a_bundle() {
    let circuit = library::load("t4-ac").expect("it comes with the program");
    let drawing = Drawing::of(&circuit);
    let [a, c] = ["CV1.A", "CV1.C"].map(|net| circuit.find_net(net).expect("a net"));
    let bundle = drawing.lines.iter().find(|line| line.nets.contains(&a)).expect("it is drawn");
    assert_eq!(bundle.nets, [a, c]);
    let cable = circuit.find_part("W1-C").and_then(|part| drawing.find(part)).expect("drawn");
    assert_eq!((cable.name.as_str(), cable.parts.len()), ("W1-{A,C}", 2));
}

#[test]
fn a_gyro_that_holds_up_an_open_phase_is_seen_to_feed_backwards() {
    let circuit = Arc::new(library::load("t4-ac").expect("it comes with the program"));
    let drawing = Drawing::of(&circuit);
    let (fault, mode) = faults::parse(&circuit, "F-FLT-C:open").expect("it has this fault");
    let sound = Rig::normal(Arc::clone(&circuit)).expect("it settles");
    let live = |rig: &Rig| Overlay::of_settled(&drawing, rig.network(), rig.settled());
    let line = |overlay: &Overlay, net: &str| {
        let net = circuit.find_net(net).expect("a net");
        let at = drawing.lines.iter().position(|line| line.nets[0] == net);
        overlay.live_of_line(at.expect("it is drawn"))
    };
    let before = live(&sound);
    assert_eq!(line(&before, "FG.C"), Live::Energised);
    assert_eq!(line(&before, "SS.A"), Live::Dead, "the standby converter stands");
    let struck = sound.with_failed(fault.part, mode.faulted).expect("it settles");
    let after = live(&struck);
    // The fuse no longer feeds it, and the wire from the gyros does.
    let wire = circuit.find_part("W-FGD-C").expect("it is there");
    assert_eq!(after.parts[wire.index()], Live::Backwards);
    assert_eq!(line(&after, "FG.A"), Live::Energised);
    assert_eq!(line(&after, "FG.C"), Live::Backwards);
}

/// A bus with many branches of every common kind, some of them joined again.
fn large(branches: usize) -> Circuit {
    let mut bench = Bench::new().supply("PWR", "BUS", 28.0, 0.01);
    for n in 0..branches {
        let net = |name: &str| format!("{name}{n}");
        bench = bench
            .breaker(&format!("CB{n}"), "BUS", &net("F"), 5.0)
            .wire(&format!("W{n}"), &net("F"), &net("S"), 0.1)
            .switch(&format!("S{n}"), &net("S"), &net("L"))
            .fuse(&format!("F{n}"), &net("L"), &net("M"), 2.0)
            .lamp(&format!("L{n}"), &net("M"), "GND", 28.0, 0.04);
        if n % 7 == 3 {
            bench = bench.wire(&format!("X{n}"), &net("L"), &format!("M{}", n / 2), 0.1);
        }
    }
    bench.circuit()
}

#[test]
fn a_large_circuit_is_drawn_as_it_is_connected() {
    check(&large(60));
}

#[test]
fn a_chart_goes_to_standard_output_or_into_a_file() {
    let (code, text, _) = program::run(&["chart", "t4-ac", "--mod", "31", "--diagram"]);
    assert_eq!(code, Some(0));
    check_svg(&text);
    assert!(text.contains("mod 31") && text.contains("CB-WRN2"));
    let folder = tempfile::tempdir().expect("a folder");
    let path = folder.path().join("x.svg");
    let out = path.to_str().expect("it is text");
    let (code, printed, _) =
        program::run(&["chart", "t4-ac", "--mod", "31", "--diagram", "--out", out]);
    assert_eq!((code, printed.as_str()), (Some(0), ""));
    assert_eq!(std::fs::read_to_string(&path).expect("it is there"), text);
    assert_eq!(std::fs::read_dir(folder.path()).expect("it is there").count(), 1);
    // Characters are a way to draw the system; a chart has forms of its own.
    let (code, _, complaint) = program::run(&["chart", "bench", "--text"]);
    assert_eq!(code, Some(2));
    assert!(complaint.contains("--diagram"), "{complaint}");
}

#[test]
fn a_needle_has_its_own_unit_in_the_diagram() {
    let (code, text, _) = program::run(&["chart", "t4-dc", "--diagram", "--text"]);
    assert_eq!(code, Some(0));
    for (meter, unit) in [("BATAMP", "(A)"), ("FREQ", "(Hz)"), ("DCV", "(V)")] {
        let circuit = library::load("t4-dc").expect("it comes with the program");
        if circuit.find_part(meter).is_some() {
            assert!(text.contains(unit), "{meter}: {unit}");
        }
    }
    let svg = svg(
        &Drawing::of(&library::load("t4-dc").expect("it comes with the program")),
        &Overlay::default(),
    );
    assert!(svg.contains(">A</text>") && svg.contains(">Hz</text>"));
}

#[test]
fn a_chart_in_ascii_is_ascii_alone() {
    for system in library::NAMES {
        let (code, text, _) = program::run(&["chart", system, "--diagram", "--text", "--ascii"]);
        assert_eq!(code, Some(0));
        let odd: String = text.chars().filter(|c| !c.is_ascii()).collect();
        assert!(odd.is_empty(), "{system}: {odd}");
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn a_random_ladder_is_drawn_as_it_is_connected(seed: u64, feedback: bool) {
        check(&ladder(seed, feedback).circuit());
    }
}
