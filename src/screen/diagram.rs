//! The diagram of the system: a window on a picture larger than the screen.
//!
//! In a drill it shows what hands have moved and the trainee's own marks and nothing of
//! what is live; in the debrief what was really live after each step, and what was
//! excluded by then.

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::{Modifier, Style};

use super::command::Command;
use super::frame::{Areas, areas, foot, keys};
use super::text::put;
use super::theme::Theme;
use crate::circuit::{Circuit, PartId};
use crate::diagnostic::{nearest, plain};
use crate::diagram::{Area, Class, Drawing, Grid, Live, Mark, Overlay, cells};
use crate::drill::{self, Session};
use crate::score::Debrief;

/// Columns and rows that an arrow moves the picture.
const ACROSS: i32 = 8;
const DOWN: i32 = 3;

/// One state that can be looked at.
#[derive(Clone, Debug, PartialEq)]
struct Frame {
    /// What it is, for the line below the picture.
    told: String,
    grid: Grid,
}

/// A diagram on the screen.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Diagram {
    drawing: Drawing,
    /// One in a drill; in the debrief one for the start and one for every step.
    frames: Vec<Frame>,
    /// Which is shown.
    step: usize,
    /// The cell in the upper left corner.
    left: i32,
    top: i32,
    /// What is being typed to look for.
    search: Option<String>,
    /// What was found last.
    found: Option<Area>,
    /// An answer to the last search.
    remark: Option<String>,
}

impl Diagram {
    fn new(drawing: Drawing, frames: Vec<Frame>) -> Self {
        let (left, top) = (0, 0);
        Self { drawing, frames, step: 0, left, top, search: None, found: None, remark: None }
    }

    /// As far as a trainee may know: what hands moved, and the trainee's marks.
    pub(super) fn of_drill(session: &Session) -> Self {
        let drawing = Drawing::of(session.circuit());
        let mut overlay = Overlay::standing(&session.place().hands);
        for (part, mark) in session.marks() {
            let mark = match mark {
                drill::Mark::Suspect => Mark::Suspect,
                drill::Mark::Cleared => Mark::Cleared,
            };
            overlay.mark(*part, mark);
        }
        let grid = cells(&drawing, &overlay, false);
        let told = "Controls, breakers and fuses as you left them, relays at rest; ? and ✓ are \
                    your marks."
            .to_owned();
        Self::new(drawing, vec![Frame { told, grid }])
    }

    /// What was really live, step by step, and what was excluded, opened at the part that
    /// had failed; in words, why not.
    pub(super) fn of_debrief(
        session: &Session,
        debrief: &Debrief,
        size: (u16, u16),
    ) -> Result<Self, String> {
        let circuit = session.circuit();
        let drawing = Drawing::of(circuit);
        let rigs = session.looked_back().map_err(|error| error.to_string())?;
        let mut frames = Vec::with_capacity(rigs.len());
        for (step, rig) in rigs.iter().enumerate() {
            let mut overlay = Overlay::of_settled(&drawing, rig.network(), rig.settled());
            for part in excluded(circuit, debrief, step) {
                overlay.mark(part, Mark::Excluded);
            }
            let what = match step.checked_sub(1).and_then(|row| debrief.rows.get(row)) {
                Some(row) => format!("After step {step} of {}: {}.", rigs.len() - 1, row.step),
                None => "As the crew left it.".to_owned(),
            };
            let told = format!("{what} ━ live, ─ dead, ◄ fed backwards, × and dotted: excluded.");
            frames.push(Frame { told, grid: cells(&drawing, &overlay, false) });
        }
        if frames.is_empty() {
            return Err("no call was made".to_owned());
        }
        let mut diagram = Self::new(drawing, frames);
        if let Some(part) = parts_of(circuit, &debrief.verdict.planted).first().copied() {
            diagram.centre_on(part, size);
        }
        Ok(diagram)
    }

    /// Whether letters are letters of a part that is looked for.
    pub(super) fn is_searching(&self) -> bool {
        self.search.is_some()
    }

    /// Brings a part into the middle of the window.
    pub(super) fn centre_on(&mut self, part: PartId, size: (u16, u16)) -> bool {
        let Some(area) = self.drawing.find(part).map(|shape| shape.area) else { return false };
        let window = areas(size, false).stage;
        self.left = area.left + area.columns / 2 - i32::from(window.width) / 2;
        self.top = area.top + area.rows / 2 - i32::from(window.height) / 2;
        self.found = Some(area);
        self.keep_inside(size);
        true
    }

    /// The picture does not leave the window.
    fn keep_inside(&mut self, size: (u16, u16)) {
        let window = areas(size, false).stage;
        let most = |whole: i32, seen: u16| (whole - i32::from(seen)).max(0);
        self.left = self.left.clamp(0, most(self.drawing.columns, window.width));
        self.top = self.top.clamp(0, most(self.drawing.rows, window.height));
    }

    /// Takes a command; tells whether the diagram stays open.
    pub(super) fn update(&mut self, command: Command, circuit: &Circuit, size: (u16, u16)) -> bool {
        self.remark = None;
        if self.search.is_some() {
            self.on_search(command, circuit, size);
            return true;
        }
        let window = areas(size, false).stage;
        let page = (i32::from(window.width) - ACROSS).max(ACROSS);
        let stepping = self.frames.len() > 1;
        match command {
            Command::Back | Command::Take | Command::Diagram => return false,
            Command::Up => self.top -= DOWN,
            Command::Down => self.top += DOWN,
            Command::Left | Command::TurnBack if stepping => {
                self.step = self.step.saturating_sub(1);
            }
            Command::Right | Command::TurnOn if stepping => {
                self.step = (self.step + 1).min(self.frames.len() - 1);
            }
            Command::Left => self.left -= ACROSS,
            Command::Right => self.left += ACROSS,
            Command::PageUp => self.left -= page,
            Command::PageDown => self.left += page,
            Command::First => (self.left, self.top) = (0, 0),
            Command::Last => self.left = self.drawing.columns,
            Command::Acts => self.search = Some(String::new()),
            _ => {}
        }
        self.keep_inside(size);
        true
    }

    fn on_search(&mut self, command: Command, circuit: &Circuit, size: (u16, u16)) {
        let Some(mut typed) = self.search.take() else { return };
        match command {
            Command::Back => {}
            Command::Take => match look_for(circuit, &typed) {
                Some(part) if self.centre_on(part, size) => {
                    let part = circuit.part(part);
                    let station = &circuit.station(part.station).title;
                    self.remark = Some(format!("{}: {}, {station}", part.id, part.label));
                }
                Some(_) | None => {
                    let known = circuit.parts.iter().map(|part| part.id.as_str());
                    let hint = nearest(&typed.to_uppercase(), known)
                        .map_or_else(String::new, |id| format!("; did you mean {id}?"));
                    self.remark = Some(format!("No part {}{hint}", plain(&typed)));
                }
            },
            Command::Type(letter) => {
                typed.push(letter);
                self.search = Some(typed);
            }
            Command::Erase => {
                typed.pop();
                self.search = Some(typed);
            }
            _ => self.search = Some(typed),
        }
    }
}

/// The part that someone means: by its whole id, by how it begins, or by a piece of it.
fn look_for(circuit: &Circuit, typed: &str) -> Option<PartId> {
    let typed = typed.trim().to_lowercase();
    if typed.is_empty() {
        return None;
    }
    let find = |fits: &dyn Fn(&str) -> bool| {
        circuit.parts_with_ids().find(|(_, part)| fits(&part.id.to_lowercase())).map(|(id, _)| id)
    };
    find(&|id| id == typed)
        .or_else(|| find(&|id| id.starts_with(&typed)))
        .or_else(|| find(&|id| id.contains(&typed)))
}

/// The parts that a cause names, as `PART:MODE` or several of these.
fn parts_of(circuit: &Circuit, cause: &str) -> Vec<PartId> {
    let ids = cause.split('+').filter_map(|fault| fault.rsplit_once(':'));
    ids.filter_map(|(id, _)| circuit.find_part(id.trim())).collect()
}

/// The parts of which nothing is possible any more after so many steps.
fn excluded(circuit: &Circuit, debrief: &Debrief, steps: usize) -> Vec<PartId> {
    let count = circuit.parts.len();
    let (mut out, mut open) = (vec![false; count], vec![false; count]);
    for line in &debrief.exclusions {
        // The write-up comes before the first step.
        let gone = line.row.is_none_or(|row| row < steps);
        for part in parts_of(circuit, &line.fault) {
            let told = if gone { &mut out } else { &mut open };
            told[part.index()] = true;
        }
    }
    for part in debrief.left.iter().flat_map(|(cause, _)| parts_of(circuit, cause)) {
        open[part.index()] = true;
    }
    let all = circuit.parts_with_ids().map(|(id, _)| id);
    all.filter(|id| out[id.index()] && !open[id.index()]).collect()
}

/// Draws the window, what it shows, and the keys.
pub(super) fn draw(buffer: &mut Buffer, areas: &Areas, diagram: &Diagram, theme: Theme) {
    let window = areas.stage;
    let Some(frame) = diagram.frames.get(diagram.step) else { return };
    let found = |column: i32, row: i32| {
        let here = crate::diagram::Cell { column, row };
        diagram.found.is_some_and(|area| area.holds(here))
    };
    for y in window.top()..window.bottom() {
        for x in window.left()..window.right() {
            let column = diagram.left + i32::from(x - window.left());
            let row = diagram.top + i32::from(y - window.top());
            let (letter, class) = frame.grid.at(column, row);
            // The second half of a wide character belongs to the first.
            if letter == '\0' {
                continue;
            }
            let mut style = style(class, theme);
            if found(column, row) && matches!(class, Class::Name(_)) {
                style = theme.focus();
            }
            let cell = Rect { x, y, width: window.right() - x, height: 1 };
            put(buffer, cell, x, y, letter.encode_utf8(&mut [0; 4]), style);
        }
    }
    let told = match (&diagram.search, &diagram.remark) {
        (Some(typed), _) => format!("Part: {}_", plain(typed)),
        (None, Some(remark)) => remark.clone(),
        (None, None) => frame.told.clone(),
    };
    let shown = |from: i32, seen: u16, whole: i32| {
        format!("{}-{} of {whole}", from + 1, (from + i32::from(seen)).min(whole))
    };
    let place = format!(
        "columns {}, rows {}",
        shown(diagram.left, window.width, diagram.drawing.columns),
        shown(diagram.top, window.height, diagram.drawing.rows)
    );
    foot(buffer, areas.foot, &[told], Some((&place, "")), theme);
    let hints: &[(&str, &str)] = if diagram.is_searching() {
        &[("letters", "id of a part"), ("Enter", "find it"), ("Esc", "back")]
    } else if diagram.frames.len() > 1 {
        &[
            ("←→", "step"),
            ("↑↓", "move"),
            ("PgUp PgDn", "a page left, right"),
            ("Home", "start"),
            ("/", "find a part"),
            ("Esc", "back"),
        ]
    } else {
        &[
            ("←→↑↓", "move"),
            ("PgUp PgDn", "a page left, right"),
            ("Home", "start"),
            ("/", "find a part"),
            ("Esc", "back"),
        ]
    };
    keys(buffer, areas.foot, hints, theme);
}

/// How a cell is styled; all that it means is in its character already.
fn style(class: Class, theme: Theme) -> Style {
    let live = |live: Live| match live {
        Live::Untold => Style::new(),
        Live::Dead => theme.quiet(),
        Live::Energised | Live::Partly => theme.strong(),
        Live::Backwards => theme.strong().add_modifier(Modifier::UNDERLINED),
    };
    match class {
        Class::Blank => Style::new(),
        Class::Part(_, Some(Mark::Excluded))
        | Class::Name(Some(Mark::Excluded))
        | Class::Text(_) => theme.quiet(),
        Class::Line(of) | Class::Part(of, _) => live(of),
        Class::Name(_) => theme.strong(),
    }
}
