//! What the screen does beyond showing: the suspects board, leads put by mouse, prices named
//! before help is given, keys that no page swallows, and tracing in the diagram.

use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use halfsplit::circuit::{AIRFRAME, Circuit, Kind, NetId, PartId};
use halfsplit::diagram::{Branch, branches, trace};
use halfsplit::drill::{Help, Rules, Session};
use halfsplit::screen::{App, Command, Start, Theme, command_for, draw};
use halfsplit::{faults, library};
use ratatui::Terminal;
use ratatui::backend::TestBackend;

const SMALL: (u16, u16) = (80, 24);

fn system(name: &str) -> Circuit {
    library::load(name).expect("it comes with the program")
}

fn drill_under(name: &str, fault: &str, rules: Rules) -> App {
    let circuit = Arc::new(system(name));
    let (fault, _) = faults::parse(&circuit, fault).expect("the system has this fault");
    let session = Session::planted(circuit, fault, 7).expect("it can be solved").under(rules);
    App::new(Start::Drill(Box::new(session)), SMALL, Theme::new(true))
}

fn drill(name: &str, fault: &str) -> App {
    drill_under(name, fault, Rules::default())
}

/// Presses keys: names of keys between blanks, anything else letter by letter.
fn press(app: &mut App, keys: &str) {
    for key in keys.split(' ') {
        let codes: Vec<KeyCode> = match key {
            "Enter" => vec![KeyCode::Enter],
            "Esc" => vec![KeyCode::Esc],
            "Left" => vec![KeyCode::Left],
            "Right" => vec![KeyCode::Right],
            "Up" => vec![KeyCode::Up],
            "Down" => vec![KeyCode::Down],
            "Tab" => vec![KeyCode::Tab],
            "Home" => vec![KeyCode::Home],
            "End" => vec![KeyCode::End],
            "PgDn" => vec![KeyCode::PageDown],
            "Bksp" => vec![KeyCode::Backspace],
            typed => typed.chars().map(KeyCode::Char).collect(),
        };
        for code in codes {
            let key = KeyEvent::new(code, KeyModifiers::NONE);
            if let Some(command) = command_for(key, app.is_typing(), app.keys()) {
                app.update(command);
            }
            while app.is_waiting() {
                app.work();
            }
        }
    }
}

fn seen_at(app: &mut App, size: (u16, u16)) -> String {
    app.update(Command::Resize(size.0, size.1));
    let mut terminal = Terminal::new(TestBackend::new(size.0, size.1)).expect("a test terminal");
    terminal.draw(|frame| draw(app, frame)).expect("a test terminal takes all");
    let buffer = terminal.backend().buffer();
    let rows = buffer.content().chunks(usize::from(size.0)).map(|row| {
        let line: String = row.iter().map(ratatui::buffer::Cell::symbol).collect();
        format!("{}\n", line.trim_end())
    });
    rows.collect()
}

fn seen(app: &mut App) -> String {
    seen_at(app, SMALL)
}

/// Clicks on the first place, from above, where this stands.
#[track_caller]
fn click(app: &mut App, text: &str) {
    let screen = seen(app);
    let found =
        screen.lines().enumerate().find_map(|(row, line)| Some((row, line.find(text)?, line)));
    let (row, at, line) = found.unwrap_or_else(|| panic!("no `{text}` on\n{screen}"));
    let column = line[..at].chars().count();
    app.update(Command::Click(column as u16, row as u16));
    while app.is_waiting() {
        app.work();
    }
}

fn row_of<'a>(screen: &'a str, text: &str) -> &'a str {
    screen.lines().find(|line| line.contains(text)).unwrap_or_else(|| panic!("no {text}\n{screen}"))
}

// --- The suspects board -------------------------------------------------------------------

/// Whether the parts of a branch hang together: joined by nets other than the airframe.
fn hangs_together(circuit: &Circuit, branch: &Branch) -> bool {
    let parts: Vec<PartId> = branch.parts.iter().map(|(part, _)| *part).collect();
    let mut reached: BTreeSet<PartId> = parts.iter().take(1).copied().collect();
    loop {
        let nets: BTreeSet<NetId> =
            reached.iter().flat_map(|part| circuit.connections(*part)).collect();
        let more: Vec<PartId> = parts
            .iter()
            .filter(|part| !reached.contains(part))
            .filter(|part| {
                circuit.connections(**part).iter().any(|net| *net != AIRFRAME && nets.contains(net))
            })
            .copied()
            .collect();
        if more.is_empty() {
            return reached.len() == parts.len();
        }
        reached.extend(more);
    }
}

#[test]
fn every_part_is_on_the_board_once_among_those_it_hangs_together_with() {
    for name in library::NAMES {
        let circuit = system(name);
        let branches = branches(&circuit);
        let mut count: BTreeMap<PartId, usize> = BTreeMap::new();
        for (part, _) in branches.iter().flat_map(|branch| &branch.parts) {
            *count.entry(*part).or_default() += 1;
        }
        assert_eq!(count.len(), circuit.parts.len(), "{name}: a part is missing");
        assert!(count.values().all(|n| *n == 1), "{name}: a part is there twice");
        let names: BTreeSet<&str> = branches.iter().map(|branch| branch.name.as_str()).collect();
        assert_eq!(names.len(), branches.len(), "{name}: two branches of one name");
        for branch in &branches {
            let shared = ["GROUNDS", "LINKAGES"].contains(&branch.name.as_str());
            // The phases of one bus are joined by what they feed, not always by a net.
            let phases = circuit.find_net(&branch.name).is_none();
            assert!(shared || phases || hangs_together(&circuit, branch), "{name}: {branch:?}");
        }
    }
}

#[test]
fn a_branch_goes_from_its_bus_to_the_load() {
    let circuit = system("bench");
    let branches = branches(&circuit);
    let names = |branch: &Branch| -> Vec<String> {
        branch.parts.iter().map(|(part, _)| circuit.part(*part).id.clone()).collect()
    };
    // One path without a bus: it begins at the source and ends at the lamp.
    assert_eq!(branches[0].name, "BT1");
    assert_eq!(names(&branches[0]), ["BT1", "CB1", "W1", "S1", "DS1"]);
    assert_eq!(names(&branches[1]), ["E1"]);
}

#[test]
fn parts_are_marked_by_key_and_a_whole_branch_at_once() {
    let mut app = drill("bench", "S1:open-ON");
    press(&mut app, "Enter s");
    let screen = seen(&mut app);
    assert!(screen.contains("SUSPECTS, BY WHAT FEEDS THEM"), "{screen}");
    press(&mut app, "Home Down Right");
    assert!(row_of(&seen(&mut app), "BT1   ").contains("[?]") || seen(&mut app).contains("[?]"));
    press(&mut app, "Home Left");
    let screen = seen(&mut app);
    assert_eq!(screen.matches("[✓]").count(), 6, "the heading and its five parts: {screen}");
    assert!(screen.contains("5 parts, 5 ✓"), "{screen}");
    press(&mut app, "Down Down Bksp");
    let screen = seen(&mut app);
    assert!(row_of(&screen, " CB1").contains("[ ]"), "{screen}");
    assert!(screen.contains("5 parts, 4 ✓"), "{screen}");
}

#[test]
fn parts_are_marked_by_mouse() {
    let mut app = drill("bench", "S1:open-ON");
    press(&mut app, "Enter s");
    let screen = seen(&mut app);
    let row = screen.lines().position(|line| line.contains(" CB1")).expect("it is there") as u16;
    for box_of in ["[?]", "[✓]", "[ ]"] {
        app.update(Command::Click(3, row));
        let screen = seen(&mut app);
        assert!(row_of(&screen, " CB1").contains(box_of), "{box_of}: {screen}");
    }
}

// --- The hand meter -----------------------------------------------------------------------

#[test]
fn two_clicks_on_test_points_put_both_leads() {
    let mut app = drill("bench", "S1:open-ON");
    press(&mut app, "Enter");
    click(&mut app, "TB1-2");
    let screen = seen(&mut app);
    assert!(screen.contains("Red lead on TB1-2") && screen.contains("RTB1-2"), "{screen}");
    click(&mut app, "TB1-4");
    let screen = seen(&mut app);
    assert!(screen.contains("TB1-2 (red) to TB1-4 (black), 0.8 min"), "{screen}");
    press(&mut app, "Esc");
    click(&mut app, "TB1-3");
    click(&mut app, "TB1-3");
    let screen = seen(&mut app);
    assert!(screen.contains("TB1-3 (red) to GND (black)"), "{screen}");
    // A key in between takes the lead away again.
    press(&mut app, "Esc");
    click(&mut app, "TB1-1");
    press(&mut app, "Tab");
    assert!(!seen(&mut app).contains("RTB1"), "{}", seen(&mut app));
}

#[test]
fn the_meter_tells_which_lead_is_chosen_and_what_is_typed() {
    let mut app = drill("bench", "S1:open-ON");
    press(&mut app, "Enter p");
    let screen = seen(&mut app);
    assert!(screen.contains("▸RED LEAD") && !screen.contains("▸BLACK"), "{screen}");
    // At the end of the row it goes no further; Tab goes round.
    press(&mut app, "Right Right Right");
    let screen = seen(&mut app);
    assert!(screen.contains("▸BLACK LEAD") && !screen.contains("▸RED"), "{screen}");
    press(&mut app, "Tab");
    assert!(seen(&mut app).contains("▸FUNCTION"), "{}", seen(&mut app));
    press(&mut app, "Right tb1-3");
    let screen = seen(&mut app);
    assert!(screen.contains("find tb1-3▏") && screen.contains("TB1-3 (red)"), "{screen}");
    press(&mut app, "x");
    assert!(seen(&mut app).contains("no `tb1-3x` here"), "{}", seen(&mut app));
}

// --- Prices and warnings ------------------------------------------------------------------

#[test]
fn help_is_priced_before_it_is_given() {
    for (key, price) in [("a", "takes 3 points"), ("m", "takes 1 point "), ("j", "takes 2 points")]
    {
        let mut app = drill("bench", "S1:open-ON");
        press(&mut app, "Enter Tab Enter");
        press(&mut app, key);
        let screen = seen(&mut app);
        assert!(screen.contains(price) && screen.contains("Esc not now"), "{key}: {screen}");
        press(&mut app, "Esc");
        let screen = seen(&mut app);
        assert!(screen.contains("? help") && !screen.contains("The debrief will"), "{screen}");
        press(&mut app, key);
        press(&mut app, key);
        assert!(seen(&mut app).contains("The debrief will say"), "{key}: {}", seen(&mut app));
    }
}

#[test]
fn a_call_without_a_proof_is_warned_of_alike_for_every_part() {
    let warning = "What was seen proves no part yet";
    let asked = |app: &mut App, part: &str| {
        press(app, "c");
        press(app, part);
        press(app, "Enter Enter");
        let screen = seen(app);
        assert!(screen.contains("This ends the drill."), "{screen}");
        press(app, "Esc Esc Esc Esc");
        let told: String = screen.split_whitespace().collect::<Vec<_>>().join(" ");
        told.contains(warning)
    };
    let mut app = drill("bench", "S1:open-ON");
    press(&mut app, "Enter");
    for part in ["s1", "w1", "cb1", "ds1", "bt1"] {
        assert!(asked(&mut app, part), "{part}");
    }
    // Where no help may be had nothing is told.
    let rules = Rules { help: Help::None, ..Rules::default() };
    let mut app = drill_under("bench", "S1:open-ON", rules);
    press(&mut app, "Enter");
    for part in ["s1", "w1"] {
        assert!(!asked(&mut app, part), "{part}");
    }
}

#[test]
fn a_proved_call_is_not_warned_of() {
    let mut app = drill("t4-ac", "F-FLT-C:open");
    press(&mut app, "Enter");
    for _ in 0..25 {
        press(&mut app, "a a");
        let advice = seen(&mut app);
        press(&mut app, "Enter");
        if advice.contains("make this call") {
            let screen = seen(&mut app);
            assert!(screen.contains("This ends the drill."), "{screen}");
            // The words may be broken over two lines.
            let told = screen.split_whitespace().collect::<Vec<_>>().join(" ");
            assert!(!told.contains("proves no part yet"), "{screen}");
            return;
        }
        if seen(&mut app).contains("CAUTIONS:") {
            press(&mut app, "Enter");
        }
    }
    panic!("no call was advised");
}

// --- Keys ---------------------------------------------------------------------------------

#[test]
fn help_opens_over_everything_and_what_was_there_is_there_again() {
    for page in ["", "g", "p", "r", "s", "d", "w", "c", "/", "n", "!", "q"] {
        let mut app = drill("t4-dc", "BEACON:bulbs-out");
        press(&mut app, "Enter");
        if !page.is_empty() {
            press(&mut app, page);
        }
        let before = seen(&mut app);
        press(&mut app, "?");
        assert!(seen(&mut app).contains("KEYS AND SIGNS"), "{page}: {}", seen(&mut app));
        press(&mut app, "Down Esc");
        assert_eq!(seen(&mut app), before, "{page}");
    }
    let mut app = drill("bench", "S1:open-ON");
    press(&mut app, "?");
    assert!(seen(&mut app).contains("KEYS AND SIGNS"), "before the drill begins");
    press(&mut app, "k");
    assert!(seen(&mut app).contains("HOW A DRILL IS MARKED"), "{}", seen(&mut app));
}

#[test]
fn a_page_of_cautions_swallows_no_key() {
    for (key, opened) in [("p", "HAND METER"), ("n", "NOTEBOOK"), ("g", "GO TO"), ("d", "DIAGRAM")]
    {
        let mut app = drill("t4-ac", "F-FLT-C:open");
        press(&mut app, "Enter g relay Enter");
        assert!(seen(&mut app).contains("CAUTIONS: RELAY BOX"), "{}", seen(&mut app));
        press(&mut app, key);
        assert!(seen(&mut app).contains(opened), "{key}: {}", seen(&mut app));
    }
}

#[test]
fn a_small_screen_names_the_keys_that_matter_most() {
    let mut app = drill("t4-ac", "F-FLT-C:open");
    press(&mut app, "Enter");
    let screen = seen(&mut app);
    let keys = screen.lines().last().expect("a line of keys");
    for key in
        ["g go", "p probe", "d diagram", "w wiring", "a advice", "c call", "? help", "q quit"]
    {
        assert!(keys.contains(key), "{key}: {keys}");
    }
}

// --- Room ---------------------------------------------------------------------------------

#[test]
fn a_deck_of_many_panels_is_shown_panel_by_panel_without_scrolling() {
    let mut app = drill("t4-dc", "BEACON:bulbs-out");
    press(&mut app, "Enter");
    let titles = ["DC POWER", "WINDSCREEN", "PUMPS AND HEAT", "GEAR", "ENGINES", "DECK BREAKERS"];
    let mut met: BTreeSet<&str> = BTreeSet::new();
    for _ in 0..80 {
        let screen = seen(&mut app);
        assert!(!screen.contains("more rows") && !screen.contains("rows above"), "{screen}");
        let names = screen.lines().nth(1).expect("the names of the panels");
        assert!(titles.iter().all(|title| names.contains(title)), "{names}");
        let shown = |title: &&str| names.contains(&format!("▸{title}"));
        met.extend(titles.iter().copied().filter(shown));
        press(&mut app, "Tab");
    }
    assert_eq!(met.len(), titles.len(), "Tab goes through all panels: {met:?}");
    click(&mut app, "ENGINES");
    assert!(seen(&mut app).contains("▸ENGINES"), "{}", seen(&mut app));
    press(&mut app, "Left");
    assert!(seen(&mut app).contains("▸GEAR"), "{}", seen(&mut app));
}

#[test]
fn a_large_screen_has_the_diagram_beside_the_station() {
    let mut app = drill("t4-dc", "BEACON:bulbs-out");
    press(&mut app, "Enter");
    for size in [(200, 60), (240, 70)] {
        let screen = seen_at(&mut app, size);
        assert!(screen.contains("NOTEBOOK") && screen.contains("SUSPECTS"), "{screen}");
        assert!(screen.contains("DIAGRAM") && screen.contains("BATT"), "{screen}");
    }
}

// --- The diagram --------------------------------------------------------------------------

#[test]
fn a_trace_reaches_what_conducts_and_nothing_else() {
    for name in ["bench", "t4-dc", "t4-ac"] {
        let circuit = system(name);
        for net in (1..circuit.nets.len()).map(|net| NetId(net as u32)) {
            let trace = trace(&circuit, &[net]);
            // Everything on the way is joined to the net by a chain of parts.
            let mut reached = BTreeSet::from([net]);
            let mut waiting = VecDeque::from([net]);
            while let Some(at) = waiting.pop_front() {
                for (id, _) in circuit.parts_with_ids() {
                    let nets = circuit.connections(id);
                    if nets.contains(&at) {
                        for next in nets.into_iter().filter(|next| *next != AIRFRAME) {
                            if reached.insert(next) {
                                waiting.push_back(next);
                            }
                        }
                    }
                }
            }
            let on: Vec<usize> = (0..trace.nets.len()).filter(|at| trace.nets[*at]).collect();
            assert!(on.iter().all(|at| reached.contains(&NetId(*at as u32))), "{name}");
            assert!(!trace.nets[AIRFRAME.index()], "{name}: the airframe is fed by everything");
        }
    }
}

#[test]
fn a_trace_of_the_bench_goes_from_battery_to_lamp() {
    let circuit = system("bench");
    let names = |parts: &[(PartId, bool)]| -> Vec<String> {
        parts.iter().map(|(part, _)| circuit.part(*part).id.clone()).collect()
    };
    let trace = trace(&circuit, &[circuit.find_net("SW").expect("a net")]);
    assert_eq!(names(&trace.feeding), ["W1", "CB1", "BT1"]);
    assert_eq!(names(&trace.fed), ["S1", "DS1"]);
    assert!(trace.fed[1].1 && trace.feeding[2].1, "lamp and battery are ends: {trace:?}");
}

#[test]
fn every_load_is_fed_by_a_source() {
    for name in ["t4-dc", "t4-ac"] {
        let circuit = system(name);
        for (id, part) in circuit.parts_with_ids() {
            if !matches!(part.kind, Kind::Motor(_) | Kind::Gyro(_)) {
                continue;
            }
            let nets: Vec<NetId> =
                circuit.connections(id).into_iter().filter(|net| *net != AIRFRAME).collect();
            let trace = trace(&circuit, &nets);
            assert!(trace.feeding.iter().any(|(_, source)| *source), "{name}: {}", part.id);
        }
    }
}

/// Rows and columns of the diagram that are drawn on.
fn drawn(screen: &str) -> usize {
    let rows = screen.lines().skip(1).take(18);
    rows.map(|row| row.chars().filter(|c| *c != ' ').count()).sum()
}

#[test]
fn the_diagram_never_opens_or_leaps_to_a_blank() {
    for name in ["bench", "t4-dc", "t4-ac"] {
        let fault = match name {
            "bench" => "S1:open-ON",
            "t4-dc" => "BEACON:bulbs-out",
            _ => "F-FLT-C:open",
        };
        let mut app = drill(name, fault);
        press(&mut app, "Enter d");
        for key in ["Esc d", "Home", "PgDn", "PgDn", "PgDn", "PgDn", "End", "Home"] {
            press(&mut app, key);
            let screen = seen(&mut app);
            assert!(drawn(&screen) > 20, "{name} {key}: {screen}");
        }
    }
}

#[test]
fn a_net_is_found_and_traced_and_the_whole_fits_on_one_screen() {
    let mut app = drill("t4-ac", "F-FLT-C:open");
    press(&mut app, "Enter d /");
    press(&mut app, "dc.main Enter");
    let screen = seen(&mut app);
    assert!(screen.contains("net DC.MAIN") && screen.contains("Enter traces it"), "{screen}");
    assert!(!screen.contains('═') || screen.contains("DC.MAIN"), "{screen}");
    press(&mut app, "Enter");
    let screen = seen(&mut app);
    assert!(screen.contains("is fed through") && screen.contains('═'), "{screen}");
    press(&mut app, "o");
    let screen = seen(&mut app);
    for machine in ["CV1", "CV2"] {
        assert!(screen.contains(machine), "{machine}: {screen}");
    }
    // Back to the large picture; the trace goes first, then the diagram.
    press(&mut app, "Esc Esc");
    assert!(seen(&mut app).contains("DIAGRAM"), "{}", seen(&mut app));
    press(&mut app, "Esc");
    assert!(!seen(&mut app).contains("DIAGRAM"), "{}", seen(&mut app));
}
