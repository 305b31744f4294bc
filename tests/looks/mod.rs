//! How the full screen looks: colours that can be read, characters that can be shown,
//! pointers that stand where they are read, and pictures of it.

mod contrast;
mod needles;
mod pictures;
mod stage;
mod swing;

use std::sync::Arc;

use crossterm::event::{KeyCode, KeyEvent, KeyModifiers};
use halfsplit::circuit::Circuit;
use halfsplit::drill::Session;
use halfsplit::screen::{App, Command, Start, Theme, command_for, draw};
use halfsplit::{faults, library};
use ratatui::Terminal;
use ratatui::backend::TestBackend;
use ratatui::buffer::Buffer;

fn system(name: &str) -> Circuit {
    library::load(name).expect("it comes with the program")
}

fn drill(circuit: Circuit, fault: &str, theme: Theme) -> App {
    let circuit = Arc::new(circuit);
    let (fault, _) = faults::parse(&circuit, fault).expect("the system has this fault");
    let session = Session::planted(circuit, fault, 7).expect("it can be solved");
    App::new(Start::Drill(Box::new(session)), (120, 36), theme)
}

/// Presses keys: names of keys between blanks, and text to type in single quotes.
fn press(app: &mut App, keys: &str) {
    for key in keys.split(' ') {
        let codes: Vec<KeyCode> = match key {
            "Enter" => vec![KeyCode::Enter],
            "Esc" => vec![KeyCode::Esc],
            "Left" => vec![KeyCode::Left],
            "Right" => vec![KeyCode::Right],
            "Space" => vec![KeyCode::Char(' ')],
            typed => typed.trim_matches('\'').chars().map(KeyCode::Char).collect(),
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

fn picture(app: &mut App, (columns, rows): (u16, u16)) -> Buffer {
    app.update(Command::Resize(columns, rows));
    still(app, (columns, rows))
}

fn still(app: &App, (columns, rows): (u16, u16)) -> Buffer {
    let mut terminal = Terminal::new(TestBackend::new(columns, rows)).expect("a test terminal");
    terminal.draw(|frame| draw(app, frame)).expect("a test terminal takes all");
    terminal.backend().buffer().clone()
}

fn text(buffer: &Buffer) -> String {
    let width = usize::from(buffer.area.width).max(1);
    let lines = buffer.content().chunks(width).map(|row| {
        let line: String = row.iter().map(ratatui::buffer::Cell::symbol).collect();
        format!("{}\n", line.trim_end())
    });
    lines.collect()
}
