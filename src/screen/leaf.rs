//! Pages that can be opened over anything: keys and signs, and how a drill is marked.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::command::{Command, Keys, key_name};
use super::drilling::scrolled;
use super::frame::{Areas, foot, head, keys, sheet_columns, sheet_rows};
use super::sheet::{Line, STORED_ENERGY, TRAINING_ONLY, Text, draw_lines};
use super::theme::Theme;
use crate::drill::Help;
use crate::score::Rubric;
use crate::units::significant;

/// What the page tells.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum About {
    /// Keys and signs.
    Keys,
    /// How a drill is marked.
    Marks,
}

/// An open page.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Leaf {
    /// What it tells.
    pub(super) about: About,
    /// The first line shown.
    at: usize,
}

impl Leaf {
    /// The page that a command opens, where it opens one.
    pub(super) fn opened_by(command: Command) -> Option<Self> {
        let about = match command {
            Command::Help => About::Keys,
            Command::Rubric => About::Marks,
            _ => return None,
        };
        Some(Self { about, at: 0 })
    }

    /// The page after a command that moves its text.
    pub(super) fn moved(self, command: Command, stage: Rect, keys: &Keys) -> Self {
        let lines = self.lines(keys, sheet_columns(stage), Theme::new(false)).len();
        Self { at: scrolled(self.at, command, lines, usize::from(sheet_rows(stage))), ..self }
    }

    fn title(self) -> &'static str {
        match self.about {
            About::Keys => "KEYS AND SIGNS",
            About::Marks => "HOW A DRILL IS MARKED",
        }
    }

    fn lines(self, keys: &Keys, columns: u16, theme: Theme) -> Vec<Line> {
        let mut text = Text { columns, lines: Vec::new(), theme };
        match self.about {
            About::Keys => keys_and_signs(&mut text, keys),
            About::Marks => {
                for paragraph in Rubric::shipped().explained() {
                    text.paragraph(&paragraph, Style::new());
                    text.blank();
                }
            }
        }
        text.lines
    }
}

/// Points that help of this degree takes, as a person reads them.
pub(super) fn price_told(help: Help) -> String {
    let rubric = Rubric::shipped();
    let points = match help {
        Help::None => 0.0,
        Help::Reminder => rubric.reminder,
        Help::LastStep => rubric.judgement,
        Help::BestStep => rubric.advice,
    };
    let unit = if (points - 1.0).abs() < 1e-9 { "point" } else { "points" };
    format!("{} {unit}", significant(points, 3))
}

/// What a key does, with its price where it takes points.
fn told(command: Command, help: &str) -> String {
    let price = match command {
        Command::Advise => Help::BestStep,
        Command::Judge => Help::LastStep,
        Command::Remind => Help::Reminder,
        _ => return help.to_owned(),
    };
    format!("{help}; takes {}", price_told(price))
}

fn keys_and_signs(text: &mut Text, keys: &Keys) {
    text.heading("KEYS");
    for (letter, row) in keys.rows() {
        let key = format!("{:>7}", key_name(letter));
        text.item(&key, &told(row.command, row.help));
    }
    for (key, help) in [
        (" arrows", "to the thing beside, above or below; in a list, up and down"),
        ("    Tab", "to the next thing one can act on; Shift-Tab to the one before"),
        ("  Enter", "what the line above the keys offers, at the price it names"),
        ("    Esc", "back"),
        (" Ctrl-C", "leave at once"),
    ] {
        text.item(key, help);
    }
    text.blank();
    text.heading("IN AN ORAL");
    for (key, help) in [
        ("letters", "choose an answer, or mark it where several may be right; 1-4 grade your own"),
        ("  Enter", "gives the answer, and goes on"),
        ("   Bksp", "takes the last answer back, save before the board"),
        ("      d", "after an answer: the diagram"),
    ] {
        text.item(key, help);
    }
    text.blank();
    text.heading("MOUSE");
    for (what, help) in [
        ("  click", "to a thing, its price in the line above the keys; again: do it"),
        (" points", "a click puts the red lead on a test point, the next one the black"),
        ("  boxes", "on the suspects board a click in [ ] goes through the marks"),
    ] {
        text.item(what, help);
    }
    text.blank();
    text.heading("SIGNS");
    for (sign, help) in [
        ("[ LAMP ]", "dark"),
        ("[░LAMP░]", "glimmering"),
        ("[▒LAMP▒]", "dim"),
        ("[█LAMP█]", "bright"),
        ("[▚LAMP▞]", "flickering"),
        ("[▌LAMP▐]", "flashing in the rhythm of its flasher"),
        ("● / ◉ OUT", "breaker in / out, its collar showing"),
        ("[━] / [ ]", "fuse in its holder / pulled"),
        ("? / ✓", "your own mark: suspect / cleared"),
        ("● / ┼", "in the diagram: lines joined / lines that only cross"),
        ("≡ /2", "in the diagram: airframe, a bundle of two lines"),
    ] {
        text.item(&format!("{sign:>11}"), help);
    }
    text.blank();
    text.paragraph(TRAINING_ONLY, Style::new());
    text.paragraph(STORED_ENERGY, Style::new());
}

/// Draws the page.
pub(super) fn draw(buffer: &mut Buffer, areas: &Areas, (leaf, of): (Leaf, &Keys), theme: Theme) {
    head(buffer, areas.head, leaf.title(), "read on with ↑↓", theme);
    let stage = areas.stage;
    let lines = leaf.lines(of, sheet_columns(stage), theme);
    let body = Rect { y: stage.y + 1, height: sheet_rows(stage), ..stage };
    draw_lines(buffer, body, (&lines, leaf.at), theme);
    foot(buffer, areas.foot, &[], None, theme);
    let other = match leaf.about {
        About::Keys => (Command::Rubric, "how a drill is marked"),
        About::Marks => (Command::Help, "keys and signs"),
    };
    let key = of.rows().find(|(_, row)| row.command == other.0).map(|(key, _)| key_name(key));
    let key = key.unwrap_or_default();
    let hints = [("Enter", "close"), ("↑↓", "read on"), (key.as_str(), other.1), ("Esc", "back")];
    keys(buffer, areas.foot, &hints, theme);
}
