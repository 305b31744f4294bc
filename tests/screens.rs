//! What the screen shows, as text: one state drawn at three sizes.
//!
//! `INSTA_UPDATE=always cargo test screens` writes the pictures anew; look at them before
//! keeping them.

use std::fmt::Write as _;
use std::sync::Arc;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use halfsplit::circuit::Circuit;
use halfsplit::drill::Session;
use halfsplit::screen::{
    App, Background, Beginning, Begun, Command, Entry, Start, Theme, command_for, draw,
};
use halfsplit::{faults, library};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::{Buffer, Cell};
use ratatui::style::{Color, Modifier};

const SIZES: [(u16, u16); 3] = [(80, 24), (120, 36), (200, 60)];

/// The theme of the pictures: 256 colours on a dark background.
fn usual() -> Theme {
    Theme::new(true).on(Background::Dark)
}

fn flagship() -> Circuit {
    library::load("t4-ac").expect("the flagship reads clean")
}

fn drill(circuit: Circuit, fault: &str) -> App {
    drill_in(circuit, fault, usual())
}

fn drill_in(circuit: Circuit, fault: &str, theme: Theme) -> App {
    let circuit = Arc::new(circuit);
    let (fault, _) = faults::parse(&circuit, fault).expect("the flagship has this fault");
    let session = Session::planted(circuit, fault, 7).expect("it can be solved");
    App::new(Start::Drill(Box::new(session)), SIZES[1], theme)
}

fn menu() -> App {
    let entries = library::NAMES
        .into_iter()
        .map(|name| {
            let circuit = library::load(name).expect("it comes with the program");
            let row = |title: &str, note: &str, what| Entry {
                system: name.to_owned(),
                title: title.to_owned(),
                note: note.to_owned(),
                brief: "A gyro has stopped.".to_owned(),
                what,
                within: Vec::new(),
            };
            let any = row("Any fault", "", Beginning::Any { mods: Vec::new() });
            let written = (1..=20).map(|n| {
                let rung = format!("rung {}", n / 4 + 1);
                row(&format!("Drill {n}"), &rung, Beginning::Written(format!("d{n}")))
            });
            Entry {
                system: circuit.id,
                title: circuit.title,
                note: "20 drills".to_owned(),
                brief: circuit.brief,
                what: Beginning::Nothing,
                within: [any].into_iter().chain(written).collect(),
            }
        })
        .collect();
    let load = |entry: &Entry| {
        let circuit = library::load(&entry.system).map_err(|error| error.to_string())?;
        let (fault, _) = faults::parse(&circuit, "F-FLT-C:open").map_err(|e| e.to_string())?;
        let session = Session::planted(Arc::new(circuit), fault, 7);
        session.map(|s| Begun::Drill(Box::new(s))).map_err(|error| error.to_string())
    };
    App::new(Start::Menu { entries, load: Box::new(load) }, SIZES[1], usual())
}

/// Presses keys: names of keys between blanks, and text to type in single quotes.
fn press(app: &mut App, keys: &str) {
    let mut type_key = |code: KeyCode| {
        let key = KeyEvent::new(code, KeyModifiers::NONE);
        if let Some(command) = command_for(key, app.is_typing(), app.keys()) {
            app.update(command);
        }
        if app.is_waiting() {
            app.work();
        }
    };
    for key in keys.split(' ') {
        match key {
            "Enter" => type_key(KeyCode::Enter),
            "Esc" => type_key(KeyCode::Esc),
            "Tab" => type_key(KeyCode::Tab),
            "Up" => type_key(KeyCode::Up),
            "Down" => type_key(KeyCode::Down),
            "Left" => type_key(KeyCode::Left),
            "Right" => type_key(KeyCode::Right),
            "End" => type_key(KeyCode::End),
            "Space" => type_key(KeyCode::Char(' ')),
            typed => typed.trim_matches('\'').chars().for_each(|c| type_key(KeyCode::Char(c))),
        }
    }
}

fn picture(app: &App, (columns, rows): (u16, u16)) -> TestBackend {
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).expect("a test terminal");
    terminal.draw(|frame| draw(app, frame)).expect("a test terminal takes all");
    terminal.backend().clone()
}

fn buffer(app: &App, size: (u16, u16)) -> Buffer {
    picture(app, size).buffer().clone()
}

/// A picture, and below it every stretch that is not plain: row, first and last column,
/// colour of letters on background, and `b`old, `r`eversed, `u`nderlined.
fn with_styles(picture: &TestBackend) -> String {
    let told = |cell: &Cell| {
        let colour = |colour: Color| match colour {
            Color::Reset => "-".to_owned(),
            Color::Indexed(index) => index.to_string(),
            other => other.to_string(),
        };
        let mut style = match (cell.fg, cell.bg) {
            (Color::Reset, Color::Reset) => String::new(),
            (fg, Color::Reset) => colour(fg),
            (fg, bg) => format!("{}/{}", colour(fg), colour(bg)),
        };
        let modifiers =
            [(Modifier::BOLD, 'b'), (Modifier::REVERSED, 'r'), (Modifier::UNDERLINED, 'u')];
        style.extend(modifiers.iter().filter(|(m, _)| cell.modifier.contains(*m)).map(|(_, c)| *c));
        style
    };
    let buffer = picture.buffer();
    let width = usize::from(buffer.area.width);
    let mut text = format!("{picture}\n");
    for (y, row) in buffer.content().chunks(width).enumerate() {
        let mut stretches = Vec::new();
        let mut x = 0;
        while x < width {
            let style = told(&row[x]);
            let run = row[x..].iter().take_while(|cell| told(cell) == style).count();
            if !style.is_empty() {
                stretches.push(format!("{x}-{} {style}", x + run - 1));
            }
            x += run;
        }
        if !stretches.is_empty() {
            writeln!(text, "{y:>2}: {}", stretches.join(", ")).expect("a string takes all");
        }
    }
    text
}

/// Keeps the picture of a state at every size; returns the one at 80x24 as text.
fn keep(name: &str, app: &mut App) -> String {
    for size in SIZES {
        // The page knows the size as it does in the terminal, for what depends on it.
        app.update(Command::Resize(size.0, size.1));
        let name = format!("{name}_{}x{}", size.0, size.1);
        insta::assert_snapshot!(name, with_styles(&picture(app, size)));
    }
    picture(app, SIZES[0]).to_string()
}

#[test]
fn the_menu_lists_the_systems() {
    let text = keep("menu", &mut menu());
    assert!(text.contains("Tarnwick T4"), "{text}");
    assert!(text.contains("Training model only"), "{text}");
}

#[test]
fn a_system_opens_its_ladder_and_closes_it_again() {
    let mut app = menu();
    press(&mut app, "Down Enter Down Down Down");
    let text = keep("ladder", &mut app);
    assert!(text.contains("▸ Drill 3") && text.contains("rung 1"), "{text}");
    press(&mut app, "End");
    assert!(picture(&app, SIZES[0]).to_string().contains("▸ Drill 20"));
    press(&mut app, "Esc");
    let text = picture(&app, SIZES[0]).to_string();
    assert!(text.contains("SYSTEMS") && text.contains("▸ Tarnwick T4 - DC power"), "{text}");
}

#[test]
fn a_drill_opens_with_its_write_up() {
    let mut app = menu();
    press(&mut app, "Enter Enter");
    let text = keep("write_up", &mut app);
    assert!(text.contains("FLT GYRO: bright"), "{text}");
}

#[test]
fn the_flight_deck_has_needle_lamps_and_controls() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter Enter Right Right Enter");
    let text = keep("flight_deck", &mut app);
    assert!(text.contains("[█FLT GYRO█]") && text.contains("[ SVY GYRO ]"), "{text}");
    // A pointer, and words for where it stands; no number of its own.
    assert!(text.contains("AC VOLTS: ") && !text.contains("115.0"), "{text}");
}

#[test]
fn the_fuse_cabinet_shows_a_pulled_fuse_as_an_empty_holder() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter g 'fuse' Enter");
    let cautions = picture(&app, SIZES[0]).to_string();
    assert!(cautions.contains("CAUTIONS: FUSE CABINET"), "{cautions}");
    press(&mut app, "Enter / 'pull' Space 'f-flt-c' Enter");
    let text = keep("fuse_cabinet", &mut app);
    assert!(text.contains("▸[ ] 2 FLT GYRO PRI C") && text.contains("blown"), "{text}");
}

#[test]
fn a_pulled_breaker_shows_its_collar() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter / 'pull' Space 'cb-warn' Enter");
    let text = picture(&app, SIZES[0]).to_string();
    assert!(text.contains("◉ WARN LTS     OUT"), "{text}");
}

#[test]
fn the_hand_meter_shows_what_it_measured() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter g 'relay' Enter Enter p Down Enter");
    let text = keep("hand_meter", &mut app);
    assert!(text.contains("V AC"), "{text}");
}

#[test]
fn a_call_is_made_of_part_and_mode_and_asked_for_once_more() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter s 'f-flt-c' Enter Esc Esc c");
    // What was marked suspect stands first.
    keep("call_part", &mut app);
    press(&mut app, "Enter");
    let text = picture(&app, SIZES[0]).to_string();
    assert!(text.contains("CALL: HOW HAS F-FLT-C FAILED"), "{text}");
    press(&mut app, "Enter");
    let text = keep("call_question", &mut app);
    assert!(text.contains("Call F-FLT-C:open") && text.contains("This ends the drill"), "{text}");
    press(&mut app, "Esc");
    assert!(!picture(&app, SIZES[0]).to_string().contains("This ends the drill"));
}

#[test]
fn replacing_asks_first_and_names_the_minutes() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter g 'relay' Enter Enter r 'k-main' Enter");
    let text = picture(&app, SIZES[0]).to_string();
    assert!(text.contains("Replace K-MAIN (MAIN CONTACTOR)? It takes 25 min."), "{text}");
    assert!(text.contains("· 1.5 min"), "nothing has been spent yet: {text}");
    press(&mut app, "Enter");
    let text = picture(&app, SIZES[0]).to_string();
    assert!(text.contains("· 26.5 min"), "{text}");
}

#[test]
fn the_debrief_judges_every_step() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter / 'pull' Space 'cb-warn' Enter g 'fuse' Enter Enter");
    press(&mut app, "/ 'pull' Space 'f-flt-c' Enter c 'f-flt-c' Enter Enter Enter");
    let text = keep("debrief_verdict", &mut app);
    for words in ["Isolated and proven", "The fault was F-FLT-C:open", "one bit halves"] {
        assert!(text.contains(words), "{words}: {text}");
    }
    press(&mut app, "Right Down Down");
    let text = keep("debrief", &mut app);
    assert!(text.contains("Isolated and proven"), "{text}");
    assert!(text.contains("pull F-FLT-C"), "{text}");
    assert_eq!(app.right_part(), Some(true));
    press(&mut app, "Right");
    let text = keep("debrief_path", &mut app);
    assert!(text.contains("DOUBT ABOUT THE REPAIR") && text.contains("provable from"), "{text}");
    press(&mut app, "Right");
    let text = keep("debrief_habits", &mut app);
    assert!(text.contains("No habit to work on"), "{text}");
    press(&mut app, "Right");
    keep("debrief_inside", &mut app);
    press(&mut app, "Right");
    let few = keep("debrief_why_not", &mut app);
    // One step tells each of its reasons once, with as many faults as it put out.
    assert_eq!(few.matches("Write-up").count(), 1, "{few}");
    assert!(few.contains("; and "), "{few}");
    press(&mut app, "Space");
    let all = picture(&app, SIZES[2]).to_string();
    assert!(!all.contains("; and "), "{all}");
    // One Enter too many only reads on.
    press(&mut app, "Enter");
    assert!(!app.is_over() && picture(&app, SIZES[0]).to_string().contains("▸VERDICT"));
    press(&mut app, "Esc");
    assert!(app.is_over());
}

/// Clicks the first cell of some text.
fn click(app: &mut App, size: (u16, u16), text: &str) {
    let drawn = buffer(app, size);
    let lines: Vec<String> = drawn
        .content()
        .chunks(usize::from(size.0))
        .map(|row| row.iter().map(Cell::symbol).collect())
        .collect();
    let (y, line) =
        lines.iter().enumerate().find(|(_, line)| line.contains(text)).expect("it is shown");
    let x = line[..line.find(text).expect("it is there")].chars().count();
    app.update(Command::Click(x as u16, y as u16));
}

#[test]
fn the_debrief_answers_to_the_mouse() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter / 'pull' Space 'cb-warn' Enter g 'fuse' Enter Enter");
    press(&mut app, "/ 'pull' Space 'f-flt-c' Enter c 'f-flt-c' Enter Enter Enter");
    let size = SIZES[1];
    app.update(Command::Resize(size.0, size.1));
    click(&mut app, size, "STEPS");
    assert!(picture(&app, size).to_string().contains("▸STEPS"));
    click(&mut app, size, "pull F-FLT-C");
    assert!(picture(&app, size).to_string().contains("▸ 3  pull F-FLT-C"));
    click(&mut app, size, "d diagram");
    click(&mut app, size, "F-FLT-C 4 A");
    let text = picture(&app, size).to_string();
    assert!(text.contains("F-FLT-C: FLT GYRO PRI C"), "{text}");
}

#[test]
fn the_path_is_drawn_with_ascii_alone_where_that_is_asked_for() {
    let mut app = drill_in(flagship(), "F-FLT-C:open", Theme::new(true).with_ascii(true));
    press(&mut app, "Enter / 'pull' Space 'cb-warn' Enter g 'fuse' Enter Enter");
    press(&mut app, "/ 'pull' Space 'f-flt-c' Enter c 'f-flt-c' Enter Enter Enter Right Right");
    let text = keep("debrief_path_ascii", &mut app);
    let drawn = text.trim_matches('"');
    assert!(drawn.is_ascii() && drawn.contains("####") && drawn.contains("..."), "{text}");
}

#[test]
fn what_to_work_on_is_told_with_its_steps() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter g 'fuse' Enter Enter / 'pull' Space 'f-flt-a' Enter");
    press(&mut app, "c 't-flt-a' Enter Enter Enter Right Right Right");
    let text = keep("debrief_work_on", &mut app);
    assert!(text.contains("Instead: ") && text.contains("by itself"), "{text}");
}

#[test]
fn a_debrief_is_kept_when_it_opens_and_a_failure_is_told() {
    for (kept, told) in [
        (Ok("The report is in a.html.".to_owned()), "The report is in a.html."),
        (Err("the disk is full".to_owned()), "No report: the disk is full."),
    ] {
        let mut app = drill(flagship(), "F-FLT-C:open");
        app.keep_debriefs(Box::new(move |session, debrief| {
            assert!(session.call().is_some() && debrief.verdict.right_part);
            kept.clone()
        }));
        press(&mut app, "Enter c 'f-flt-c' Enter Enter Enter");
        let text = picture(&app, SIZES[0]).to_string();
        assert!(text.contains(told) && text.contains("The part is right"), "{text}");
        press(&mut app, "Right");
        assert!(!picture(&app, SIZES[0]).to_string().contains(told));
    }
}

#[test]
fn the_diagram_finds_a_part_and_shows_the_marks_and_nothing_live() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter s 'f-flt-c' Enter Esc Esc d / 'f-flt-c' Enter");
    let text = keep("diagram", &mut app);
    assert!(text.contains("F-FLT-C 4 A") && text.contains("F-FLT-C: FLT GYRO PRI C"), "{text}");
    let live = ['━', '┃', '╋', '◄', '╍', '×'];
    let window: String = text.lines().take(20).collect();
    let told = window.replace("[━]", "").replace("(━)", "");
    assert!(!told.contains(live), "{text}");
    assert!(text.contains("4 A  ?") || text.contains("4 A ?"), "{text}");
    press(&mut app, "/ 'f-flx' Enter");
    let text = picture(&app, SIZES[0]).to_string();
    assert!(text.contains("No part or net f-flx"), "{text}");
    press(&mut app, "Esc");
    assert!(picture(&app, SIZES[0]).to_string().contains("FLIGHT DECK"));
}

#[test]
fn a_control_that_was_moved_is_moved_in_the_diagram() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter / 'master' Space 'off' Enter d / 'master' Enter");
    let text = picture(&app, SIZES[1]).to_string();
    assert!(text.contains("MASTER OFF") && text.contains("o╱o"), "{text}");
}

#[test]
fn the_debrief_shows_what_was_live_after_each_step() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter g 'fuse' Enter Enter / 'pull' Space 'f-flt-c' Enter");
    press(&mut app, "c 'f-flt-c' Enter Enter Enter d");
    let text = keep("diagram_debrief", &mut app);
    assert!(text.contains("As the crew left it.") && text.contains('━'), "{text}");
    press(&mut app, "Right Right");
    let text = picture(&app, SIZES[1]).to_string();
    assert!(text.contains("After step 2 of 2: pull F-FLT-C"), "{text}");
    assert!(text.contains("[ ]"), "the fuse is out of its holder: {text}");
    press(&mut app, "Esc");
    assert!(picture(&app, SIZES[0]).to_string().contains("Isolated and proven"));
}

#[test]
fn advice_is_done_by_one_key_with_the_cautions_first() {
    let mut app = drill(flagship(), "K-SG:stuck-released");
    press(&mut app, "Enter");
    for _ in 0..25 {
        press(&mut app, "a");
        let price = picture(&app, SIZES[0]).to_string();
        assert!(price.contains("takes 3 points of 100"), "{price}");
        press(&mut app, "a");
        let advice = picture(&app, SIZES[0]).to_string();
        assert!(advice.contains("ADVICE") && advice.contains("The debrief will say"), "{advice}");
        press(&mut app, "Enter");
        if advice.contains("make this call") {
            press(&mut app, "Enter");
            let text = picture(&app, SIZES[0]).to_string();
            assert!(text.contains("Isolated and proven"), "{text}");
            return;
        }
        if picture(&app, SIZES[0]).to_string().contains("CAUTIONS:") {
            press(&mut app, "Enter");
        }
    }
    panic!("no call after 25 pieces of advice");
}

#[test]
fn help_tells_every_key_and_sign() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    press(&mut app, "Enter ?");
    keep("help", &mut app);
}

/// The pages of a drill, one after another.
const PAGES: [&str; 15] = [
    "", "Enter", "Enter", "Esc g", "Esc p", "Esc r", "Esc s", "Esc w", "Esc c", "Esc /", "Esc n",
    "Esc ?", "Esc !", "Esc d", "Esc q",
];

#[test]
fn no_size_is_too_small_to_draw() {
    let mut app = drill(flagship(), "F-FLT-C:open");
    for keys in PAGES {
        press(&mut app, keys);
        for columns in [1, 2, 7, 30, 59, 60, 61, 80, 109, 110, 111, 200] {
            for rows in [1, 2, 5, 17, 18, 19, 24, 60] {
                app.update(Command::Resize(columns, rows));
                let text = picture(&app, (columns, rows)).to_string();
                let small = columns < 60 || rows < 18;
                if small && columns > 30 {
                    assert!(text.contains("needs 80x24"), "{columns}x{rows}: {text}");
                }
                press(&mut app, "Down Up");
            }
        }
    }
}

#[test]
fn without_colour_nothing_is_lost_and_nothing_is_coloured() {
    for keys in ["Enter", "Enter g", "Enter / 'pull' Space 'cb-warn' Enter"] {
        let circuit = Arc::new(flagship());
        let (fault, _) = faults::parse(&circuit, "F-FLT-C:open").expect("a fault");
        let session = Session::planted(circuit, fault, 7).expect("it can be solved");
        let start = Start::Drill(Box::new(session));
        let mut plain = App::new(start, SIZES[0], Theme::new(false));
        let mut coloured = drill(flagship(), "F-FLT-C:open");
        press(&mut plain, keys);
        press(&mut coloured, keys);
        let drawn = buffer(&plain, SIZES[0]);
        assert!(drawn.content().iter().all(|c| c.fg == Color::Reset && c.bg == Color::Reset));
        // The focus is still marked by more than its sign.
        assert!(drawn.content().iter().any(|c| c.modifier.contains(Modifier::REVERSED)));
        assert_eq!(picture(&plain, SIZES[0]).to_string(), picture(&coloured, SIZES[0]).to_string());
    }
}

#[test]
fn amber_and_red_belong_to_the_lamps() {
    let lamps = [214, 94, 160, 88].map(Color::Indexed);
    let mut app = drill(flagship(), "F-FLT-C:open");
    for keys in PAGES {
        press(&mut app, keys);
        let drawn = buffer(&app, SIZES[0]);
        let text: String = drawn
            .content()
            .iter()
            .filter(|c| lamps.contains(&c.fg) || lamps.contains(&c.bg))
            .map(ratatui::buffer::Cell::symbol)
            .collect();
        assert!(text.is_empty() || text == "█FLT GYRO█", "{keys}: {text}");
    }
}

#[test]
fn text_from_a_file_cannot_drive_the_terminal() {
    let mut circuit = flagship();
    let evil = "\u{1b}[2J\u{202e}\u{7}\u{9b}31m";
    circuit.title = format!("T4 {evil}");
    circuit.brief = evil.repeat(9);
    for part in &mut circuit.parts {
        part.label.insert_str(0, evil);
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
    let fault = faults::all(&circuit).remove(0).0;
    let session = Session::planted(circuit, fault, 7).expect("it can be solved");
    let mut app = App::new(Start::Drill(Box::new(session)), SIZES[0], Theme::new(true));
    let visit =
        ["Esc Esc g 'bay' Enter", "Enter p Enter", "Esc a a", "Esc Esc c Enter Enter Enter"];
    for keys in PAGES[..14].iter().chain(&visit) {
        press(&mut app, keys);
        for size in SIZES {
            for cell in buffer(&app, size).content() {
                let symbol = cell.symbol();
                assert!(!symbol.contains(halfsplit::diagnostic::is_unprintable), "{symbol:?}");
            }
        }
    }
}

#[test]
fn the_direct_current_deck_has_its_panels() {
    let circuit = library::load("t4-dc").expect("it comes with the program");
    let mut app = drill_in(circuit, "BEACON:bulbs-out", usual());
    press(&mut app, "Enter");
    let text = keep("dc_deck", &mut app);
    assert!(text.contains("DC VOLTS"), "{text}");
}

#[test]
fn the_flight_deck_in_other_themes() {
    let themes = [
        ("mono", Theme::new(false)),
        ("light", Theme::new(true).on(Background::Light)),
        ("ascii", usual().with_ascii(true)),
    ];
    for (name, theme) in themes {
        let mut app = drill_in(flagship(), "F-FLT-C:open", theme);
        press(&mut app, "Enter / 'set' Space 'vsel' Space 'c1' Space 'a' Enter");
        app.update(Command::Resize(SIZES[1].0, SIZES[1].1));
        let name = format!("flight_deck_{name}");
        insta::assert_snapshot!(name, with_styles(&picture(&app, SIZES[1])));
    }
}
