//! What keys mean: one table for dispatch, the line of keys and the help.

use std::collections::BTreeMap;

use crossterm::event::{
    KeyCode, KeyEvent, KeyEventKind, KeyModifiers, MouseButton, MouseEvent, MouseEventKind,
};

use crate::diagnostic::did_you_mean;

/// What a key asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Command {
    /// To what lies above.
    Up,
    /// To what lies below.
    Down,
    /// To what lies on the left.
    Left,
    /// To what lies on the right.
    Right,
    /// To the next thing one can act on.
    Next,
    /// To the one before.
    Previous,
    /// A page up.
    PageUp,
    /// A page down.
    PageDown,
    /// To the first.
    First,
    /// To the last.
    Last,
    /// Do what is offered.
    Take,
    /// Leave it and go back.
    Back,
    /// A letter of what is being looked for.
    Type(char),
    /// Take the last letter back.
    Erase,
    /// Choose a station to walk to.
    Go,
    /// Take the hand meter.
    Meter,
    /// Choose a part to replace.
    Replace,
    /// The list of all parts with the trainee's marks.
    Suspects,
    /// Mark the part that has the focus.
    Mark,
    /// Ask for the best next step.
    Advise,
    /// Ask what has been shown so far.
    Remind,
    /// Ask what the last step was worth.
    Judge,
    /// Make the call.
    Call,
    /// The notebook.
    Notebook,
    /// The diagram of the system.
    Diagram,
    /// The wiring list.
    Wiring,
    /// Everything that can be done now.
    Acts,
    /// The crew's write-up.
    WriteUp,
    /// Show the usual values of the station.
    Values,
    /// The cautions of the station.
    Cautions,
    /// Turn the control that has the focus one position back.
    TurnBack,
    /// Turn it one position on.
    TurnOn,
    /// Keys and signs.
    Help,
    /// How a drill is marked.
    Rubric,
    /// In the diagram: the whole of it, and back.
    Overview,
    /// Leave, after a question where something would be lost.
    Quit,
    /// Leave at once.
    Abort,
    /// A click on a cell: column, row.
    Click(u16, u16),
    /// A notch of the wheel, upwards.
    WheelUp,
    /// A notch of the wheel, downwards.
    WheelDown,
    /// The terminal has another size: columns, rows.
    Resize(u16, u16),
}

impl Command {
    /// Whether it asks for something to be done or opened, so that it is not lost when a page
    /// that lies open is closed for it.
    pub(super) fn is_deed(self) -> bool {
        match self {
            Self::Go
            | Self::Meter
            | Self::Replace
            | Self::Suspects
            | Self::Mark
            | Self::Advise
            | Self::Remind
            | Self::Judge
            | Self::Call
            | Self::Notebook
            | Self::Diagram
            | Self::Wiring
            | Self::Acts
            | Self::WriteUp
            | Self::Values
            | Self::Cautions
            | Self::TurnBack
            | Self::TurnOn
            | Self::Help
            | Self::Rubric
            | Self::Quit => true,
            Self::Up
            | Self::Down
            | Self::Left
            | Self::Right
            | Self::Next
            | Self::Previous
            | Self::PageUp
            | Self::PageDown
            | Self::First
            | Self::Last
            | Self::Take
            | Self::Back
            | Self::Overview
            | Self::Type(_)
            | Self::Erase
            | Self::Abort
            | Self::Click(..)
            | Self::WheelUp
            | Self::WheelDown
            | Self::Resize(..) => false,
        }
    }
}

/// A key with a name of its own.
#[derive(Debug)]
pub(super) struct KeyRow {
    /// What it is called where keys are chosen.
    pub(super) name: &'static str,
    /// The key, unless another has been chosen.
    pub(super) key: char,
    /// What it does.
    pub(super) command: Command,
    /// Its word on the line of keys; empty when it does not stand there.
    pub(super) word: &'static str,
    /// Its word where the line of keys is short.
    pub(super) short: &'static str,
    /// When the line of keys is too short for all, the highest go first; what is 0 stays.
    pub(super) rank: u8,
    /// What it does, for the help.
    pub(super) help: &'static str,
}

const fn row(
    name: &'static str,
    key: char,
    command: Command,
    (word, short, rank): (&'static str, &'static str, u8),
    help: &'static str,
) -> KeyRow {
    KeyRow { name, key, command, word, short, rank, help }
}

/// A key that does not stand on the line of keys.
const fn unsaid(name: &'static str, key: char, command: Command, help: &'static str) -> KeyRow {
    KeyRow { name, key, command, word: "", short: "", rank: 0, help }
}

/// How many letter keys there are.
const COUNT: usize = 23;

/// Which key does what: those of the table, or others that somebody has chosen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Keys([char; COUNT]);

impl Default for Keys {
    fn default() -> Self {
        Self(std::array::from_fn(|at| KEYS[at].key))
    }
}

impl Keys {
    /// The usual keys with some of them exchanged: names of commands and the keys chosen.
    ///
    /// # Errors
    /// In words, which choice cannot be: no such command, a key that is none, or one that
    /// does something else already.
    pub fn chosen(choices: &BTreeMap<String, String>) -> Result<Self, String> {
        let mut keys = Self::default();
        for (name, typed) in choices {
            let Some(at) = KEYS.iter().position(|row| row.name == name) else {
                let hint = did_you_mean(name, KEYS.iter().map(|row| row.name));
                let hint = hint.map(|hint| format!("; {hint}")).unwrap_or_default();
                return Err(format!("there is no command `{name}`{hint}"));
            };
            let mut letters = typed.chars();
            let (Some(key), None) = (letters.next(), letters.next()) else {
                return Err(format!("`{name}` takes one key, not `{typed}`"));
            };
            if key.is_control() || key.is_uppercase() {
                return Err(format!("`{name}`: choose a small letter, a figure or a sign"));
            }
            keys.0[at] = key;
        }
        for (at, key) in keys.0.iter().enumerate() {
            if let Some(other) = keys.0[..at].iter().position(|other| other == key) {
                let (first, second) = (KEYS[other].name, KEYS[at].name);
                return Err(format!(
                    "`{}` would be the key of both `{first}` and `{second}`",
                    key_name(*key)
                ));
            }
        }
        Ok(keys)
    }

    /// Every command with its key.
    pub(super) fn rows(&self) -> impl Iterator<Item = (char, &'static KeyRow)> + '_ {
        self.0.iter().copied().zip(&KEYS)
    }

    /// What a letter means.
    pub(super) fn command(&self, letter: char) -> Option<Command> {
        self.rows().find(|(key, _)| *key == letter).map(|(_, row)| row.command)
    }
}

/// Every letter key of a drill.
pub(super) static KEYS: [KeyRow; COUNT] = [
    row("go", 'g', Command::Go, ("go", "go", 0), "walk to another station"),
    row("probe", 'p', Command::Meter, ("probe", "probe", 0), "measure with the hand meter"),
    row(
        "replace",
        'r',
        Command::Replace,
        ("replace", "replace", 2),
        "exchange a part for a good one",
    ),
    row(
        "suspects",
        's',
        Command::Suspects,
        ("suspects", "board", 0),
        "the suspects board: all parts by what feeds them, with your own marks",
    ),
    row(
        "diagram",
        'd',
        Command::Diagram,
        ("diagram", "diagram", 0),
        "the system as a diagram: arrows move it, / finds a part",
    ),
    row(
        "wiring",
        'w',
        Command::Wiring,
        ("wiring", "wiring", 0),
        "the wiring list: every part and its nets",
    ),
    row(
        "advice",
        'a',
        Command::Advise,
        ("advice", "advice", 0),
        "the best next step; the debrief will mention it",
    ),
    row("call", 'c', Command::Call, ("call", "call", 0), "name the fault; this ends the drill"),
    row(
        "notes",
        'n',
        Command::Notebook,
        ("notes", "notes", 1),
        "the notebook: what was done and what it showed",
    ),
    row(
        "all",
        '/',
        Command::Acts,
        ("all", "all", 3),
        "everything that can be done now, with its minutes",
    ),
    row("help", '?', Command::Help, ("help", "help", 0), "this page"),
    row("quit", 'q', Command::Quit, ("quit", "quit", 0), "leave the drill"),
    unsaid("mark", ' ', Command::Mark, "mark the part in focus: suspect, cleared, no mark"),
    unsaid("turn-back", '[', Command::TurnBack, "turn the control in focus one position back"),
    unsaid("turn-on", ']', Command::TurnOn, "turn the control in focus one position on"),
    unsaid("write-up", 'u', Command::WriteUp, "the crew's write-up"),
    unsaid(
        "values",
        'v',
        Command::Values,
        "usual values: what this station shows and carries on a sound aircraft",
    ),
    unsaid("cautions", '!', Command::Cautions, "the cautions of this station"),
    unsaid("remind", 'm', Command::Remind, "a reminder of what has been shown so far"),
    unsaid("judge", 'j', Command::Judge, "what the last step was worth"),
    unsaid("rubric", 'k', Command::Rubric, "how a drill is marked"),
    unsaid("overview", 'o', Command::Overview, "in the diagram: the whole system, and back"),
    unsaid("all-too", ':', Command::Acts, "the same as /"),
];

/// The name of a key for a person.
pub(super) fn key_name(key: char) -> String {
    if key == ' ' { "space".to_owned() } else { key.to_string() }
}

/// What the mouse means: the left button and the wheel, and nothing else.
pub(super) fn command_for_mouse(event: MouseEvent) -> Option<Command> {
    match event.kind {
        MouseEventKind::Down(MouseButton::Left) => Some(Command::Click(event.column, event.row)),
        MouseEventKind::ScrollUp => Some(Command::WheelUp),
        MouseEventKind::ScrollDown => Some(Command::WheelDown),
        _ => None,
    }
}

/// What a key means; while something is being typed, letters are letters.
pub fn command_for(key: KeyEvent, typing: bool, keys: &Keys) -> Option<Command> {
    if key.kind == KeyEventKind::Release {
        return None;
    }
    if key.modifiers.contains(KeyModifiers::CONTROL) {
        return match key.code {
            KeyCode::Char('c') => Some(Command::Abort),
            KeyCode::Char('n') => Some(Command::Down),
            KeyCode::Char('p') => Some(Command::Up),
            KeyCode::Char('h') => Some(Command::Erase),
            _ => None,
        };
    }
    Some(match key.code {
        KeyCode::Up => Command::Up,
        KeyCode::Down => Command::Down,
        KeyCode::Left => Command::Left,
        KeyCode::Right => Command::Right,
        KeyCode::Tab => Command::Next,
        KeyCode::BackTab => Command::Previous,
        KeyCode::PageUp => Command::PageUp,
        KeyCode::PageDown => Command::PageDown,
        KeyCode::Home => Command::First,
        KeyCode::End => Command::Last,
        KeyCode::Enter => Command::Take,
        KeyCode::Esc => Command::Back,
        KeyCode::Backspace | KeyCode::Delete => Command::Erase,
        // Help is always to be had; its key is no letter of any name.
        KeyCode::Char(c) if typing && keys.command(c) == Some(Command::Help) && is_sign(c) => {
            Command::Help
        }
        KeyCode::Char(c) if typing => Command::Type(c),
        KeyCode::Char(c) => keys.command(c.to_ascii_lowercase())?,
        _ => return None,
    })
}

/// Whether a key is a sign that nobody types to look for something.
fn is_sign(key: char) -> bool {
    key.is_ascii_punctuation() && !matches!(key, '-' | '.' | '_' | '/')
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_are_commands_unless_something_is_typed() {
        let key = KeyEvent::new(KeyCode::Char('g'), KeyModifiers::NONE);
        assert_eq!(command_for(key, false, &Keys::default()), Some(Command::Go));
        assert_eq!(command_for(key, true, &Keys::default()), Some(Command::Type('g')));
        let help = KeyEvent::new(KeyCode::Char('?'), KeyModifiers::NONE);
        assert_eq!(command_for(help, true, &Keys::default()), Some(Command::Help));
        let unknown = KeyEvent::new(KeyCode::Char('z'), KeyModifiers::NONE);
        assert_eq!(command_for(unknown, false, &Keys::default()), None);
    }

    #[test]
    fn chosen_keys_take_the_place_of_the_usual_ones() {
        let chosen = |pairs: &[(&str, &str)]| {
            let pairs = pairs.iter().map(|(name, key)| ((*name).to_owned(), (*key).to_owned()));
            Keys::chosen(&pairs.collect())
        };
        let keys = chosen(&[("go", "z"), ("quit", "g")]).expect("they can be");
        let key = |letter| KeyEvent::new(KeyCode::Char(letter), KeyModifiers::NONE);
        assert_eq!(command_for(key('z'), false, &keys), Some(Command::Go));
        assert_eq!(command_for(key('g'), false, &keys), Some(Command::Quit));
        assert_eq!(command_for(key('q'), false, &keys), None);
        for (pairs, said) in [
            (("walk", "z"), "no command `walk`"),
            (("go", "zz"), "takes one key"),
            (("go", "Z"), "small letter"),
            (("go", "p"), "the key of both `go` and `probe`"),
        ] {
            let error = chosen(&[pairs]).expect_err(said);
            assert!(error.contains(said), "{error}");
        }
    }

    #[test]
    fn no_key_stands_in_the_table_twice() {
        for (index, row) in KEYS.iter().enumerate() {
            assert!(KEYS[..index].iter().all(|other| other.key != row.key), "{:?}", row.key);
        }
    }
}
