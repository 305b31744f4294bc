//! What a click means: the thing under it, as the screen shows it at that moment.
//!
//! A first click on a thing takes it into focus and shows its price; a click on what has the
//! focus does what Enter would do. A key named on the last line can be clicked instead of
//! pressed.

use ratatui::buffer::Buffer;
use ratatui::layout::{Position, Rect};

use super::app::{App, Page};
use super::command::{Command, Keys, key_name};
use super::drilling::{Drilling, Overlay};
use super::frame::{areas, draw_on, sheet_rows};
use super::station::Item;
use super::{hand_meter, list};
use crate::drill::view;

/// Rows that one notch of the wheel moves a text.
pub(super) const WHEEL_ROWS: usize = 3;

/// What was clicked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Target {
    /// A key on the line of keys, or what is offered.
    Key(Command),
    /// A thing at the station.
    Item(Item),
    /// A row of a list or of the menu.
    Row(usize),
    /// The box for the mark of a row, which takes a mark at the first click.
    Box(usize),
    /// The name of a part of the page.
    Heading(usize),
    /// A cell of the diagram: column and row of the screen.
    Picture(u16, u16),
    /// A place in one of the three columns of the hand meter.
    Meter(usize, usize),
}

/// What lies under a cell of the screen.
pub(super) fn target(app: &App, size: (u16, u16), at: Position) -> Option<Target> {
    let screen = Rect::new(0, 0, size.0, size.1);
    if !screen.contains(at) {
        return None;
    }
    let foot = areas(size, false).foot;
    if foot.contains(at) {
        let mut buffer = Buffer::empty(screen);
        draw_on(app, &mut buffer);
        return on_foot(&buffer, foot, at, &app.keys).map(Target::Key);
    }
    match &app.page {
        _ if app.leaf.is_some() => None,
        Page::Menu(menu) => {
            super::menu::row_at(app, *menu, areas(size, false).stage, at).map(Target::Row)
        }
        Page::Drill(drilling) if !drilling.begun || drilling.question.is_some() => None,
        Page::Drill(drilling) if matches!(drilling.overlay, Some(Overlay::Diagram(_))) => {
            areas(size, false).stage.contains(at).then_some(Target::Picture(at.x, at.y))
        }
        Page::Drill(drilling) => in_drill(drilling, areas(size, true).stage, at),
        Page::Debrief(debriefing) => debriefing.target(areas(size, false).stage, at),
        Page::Oral(asking) => asking.target(areas(size, false).stage, at),
        Page::Making(..) => None,
    }
}

fn in_drill(drilling: &Drilling, stage: Rect, at: Position) -> Option<Target> {
    if !stage.contains(at) {
        return None;
    }
    match &drilling.overlay {
        Some(Overlay::Picker(picker)) => {
            let rows = usize::from(sheet_rows(stage));
            let from = (picker.at + 1).saturating_sub(rows);
            let row = from + usize::from(at.y.checked_sub(stage.y + 2)?);
            let boxed = picker.marks() && list::in_box(at.x - stage.x);
            let target = if boxed { Target::Box(row) } else { Target::Row(row) };
            (row < picker.rows(&drilling.session).len()).then_some(target)
        }
        Some(Overlay::Meter(meter)) => {
            let (column, row) = hand_meter::cell_at(stage, &drilling.session, meter, at)?;
            Some(Target::Meter(column, row))
        }
        Some(_) => None,
        None => {
            let view = view(&drilling.session);
            let plan = drilling.plan(&view, stage);
            if let Some(item) = plan.tab_at(at.x - stage.x, at.y - stage.y) {
                return Some(Target::Item(item));
            }
            let tabs = plan.rows_of_tabs();
            let rows = stage.height.saturating_sub(tabs);
            let scroll = plan.scroll_to(drilling.focus(&plan), rows);
            let there = Position::new(at.x - stage.x, at.y - stage.y - tabs + scroll);
            let under = |item: &Item| plan.area_of(*item).is_some_and(|a| a.contains(there));
            plan.items().into_iter().find(under).map(Target::Item)
        }
    }
}

/// The key that stands under a cell of the foot, read off the screen itself.
fn on_foot(buffer: &Buffer, foot: Rect, at: Position, keys: &Keys) -> Option<Command> {
    let line: Vec<&str> = (foot.left()..foot.right())
        .filter_map(|x| buffer.cell((x, at.y)).map(ratatui::buffer::Cell::symbol))
        .collect();
    if at.y + 1 < foot.bottom() {
        // What is offered stands with its key at the right end of its line.
        let line = line.concat();
        return (line.contains("Enter ") && at.y > foot.y).then_some(Command::Take);
    }
    // Two blanks part one key with its word from the next.
    let here = usize::from(at.x - foot.x);
    let mut from = here;
    while from > 0 && !(line[from - 1] == " " && (from < 2 || line[from - 2] == " ")) {
        from -= 1;
    }
    let key: String = line[from..].iter().take_while(|cell| **cell != " ").copied().collect();
    match key.as_str() {
        "Enter" => Some(Command::Take),
        "Esc" => Some(Command::Back),
        "Bksp" => Some(Command::Erase),
        key => keys.rows().find(|(letter, _)| key_name(*letter) == key).map(|(_, row)| row.command),
    }
}
