//! The division of the screen: heading, stage, what is known beside it, what came of the
//! last step, what is offered, and the keys.

use std::time::Duration;

use ratatui::Frame;
use ratatui::buffer::Buffer;
use ratatui::layout::Rect;
use ratatui::style::Style;

use super::app::{App, Beginning, Page, Pending};
use super::command::{Keys, key_name};
use super::drilling::{Drilling, Overlay, Question};
use super::sheet::{Sheet, draw_lines};
use super::station::Attention;
use super::text::{fit, inside, put, put_centred, put_right, rule, width, wrap};
use super::theme::Theme;
use super::{ascii, asking, debriefing, diagram, hand_meter, leaf, list, menu, side, station};
use crate::drill::{Help, view};
use crate::units::minutes;

/// The smallest terminal on which anything is drawn, and the one it is made for.
const LEAST: (u16, u16) = (60, 18);
const MEANT: (u16, u16) = (80, 24);

/// Where things go.
#[derive(Clone, Copy, Debug)]
pub(super) struct Areas {
    /// The heading, one row.
    pub(super) head: Rect,
    /// The stage.
    pub(super) stage: Rect,
    /// What is known, on a wide screen.
    pub(super) side: Option<Rect>,
    /// The rule under the stage, what came of the last command, what is offered, keys.
    pub(super) foot: Rect,
}

const FOOT_ROWS: u16 = 5;
/// Columns from which notebook and suspects stand beside the station.
const WIDE: u16 = 110;

/// Divides a terminal of so many columns and rows.
pub(super) fn areas((columns, rows): (u16, u16), with_side: bool) -> Areas {
    let head = Rect::new(0, 0, columns, 1.min(rows));
    let foot_rows = FOOT_ROWS.min(rows.saturating_sub(1));
    let foot = Rect::new(0, rows - foot_rows, columns, foot_rows);
    let middle = Rect::new(0, head.height, columns, rows - head.height - foot_rows);
    if !with_side || columns < WIDE {
        return Areas { head, stage: inside(middle), side: None, foot };
    }
    let side_columns = (columns * 34 / 100).max(40);
    let stage = Rect { width: columns - side_columns, ..middle };
    let side = Rect { x: stage.right(), width: side_columns, ..middle };
    Areas { head, stage: inside(stage), side: Some(side), foot }
}

/// Rows for the text of a sheet or list on a stage, below its title.
pub(super) fn sheet_rows(stage: Rect) -> u16 {
    stage.height.saturating_sub(2)
}

/// Columns of running text beyond which lines are tiring to read.
const READABLE: u16 = 78;

/// Columns for the text of a sheet.
pub(super) fn sheet_columns(stage: Rect) -> u16 {
    stage.width.min(READABLE)
}

/// Draws everything.
pub fn draw(app: &App, frame: &mut Frame) {
    draw_on(app, frame.buffer_mut());
    if app.theme.ascii() {
        ascii::flatten(frame.buffer_mut());
    }
}

/// Whether anything is drawn on a terminal of so many columns and rows.
pub(super) fn is_drawn((columns, rows): (u16, u16)) -> bool {
    columns >= LEAST.0 && rows >= LEAST.1
}

/// Draws everything on a sheet of the size of the screen.
pub(super) fn draw_on(app: &App, buffer: &mut Buffer) {
    let area = buffer.area;
    if !is_drawn((area.width, area.height)) {
        let text = format!(
            "halfsplit needs {}x{}, this is {}x{}; Ctrl-C leaves",
            MEANT.0, MEANT.1, area.width, area.height
        );
        for (row, line) in wrap(&text, area.width).iter().enumerate() {
            put(buffer, area, area.x, area.y + row as u16, line, Style::new());
        }
        return;
    }
    let size = (area.width, area.height);
    if let Some(leaf) = app.leaf {
        leaf::draw(buffer, &areas(size, false), (leaf, &app.keys), app.theme);
        return;
    }
    match &app.page {
        Page::Menu(menu) => {
            let areas = areas(size, false);
            menu::draw(buffer, &areas, (app, *menu), app.theme);
            let note = match &app.pending {
                Some(Pending::Load(entry)) => match entry.what {
                    Beginning::Oral { .. } => "Working out the questions…",
                    Beginning::Attempt(_) => "Doing again what was done…",
                    _ => "Preparing the aircraft and hiding a fault…",
                },
                _ => app.notice.as_str(),
            };
            foot(buffer, areas.foot, &[note.to_owned()], None, app.theme);
            keys(
                buffer,
                areas.foot,
                &[
                    ("↑↓", "choose"),
                    ("Enter", menu.verb(&app.entries)),
                    ("k", "how it is marked"),
                    ("?", "help"),
                    ("q", "quit"),
                ],
                app.theme,
            );
        }
        Page::Making(told, _) => making(buffer, size, (told, app.now), app.theme),
        Page::Drill(drilling) if !drilling.begun => before(buffer, size, drilling, app.theme),
        Page::Drill(drilling) => drill(buffer, size, (drilling, app.now), app.theme),
        Page::Oral(asking) => asking::draw(buffer, &areas(size, false), asking, app.theme),
        Page::Debrief(debriefing) => {
            debriefing::draw(buffer, &areas(size, false), debriefing, app.theme);
        }
    }
}

/// The heading: a placard, a rule, and at the right where and when.
pub(super) fn head(buffer: &mut Buffer, area: Rect, placard: &str, right: &str, theme: Theme) {
    rule(buffer, area, area.y, theme.quiet());
    let right = format!(" {right} ");
    let room = area.width.saturating_sub(width(&right) + 4);
    let inner = Rect { width: area.width.saturating_sub(1), ..area };
    put_right(buffer, inner, area.y, &right, theme.quiet());
    let placard = format!(" {} ", fit(placard, room.saturating_sub(2)));
    put(buffer, area, area.x, area.y, &placard, theme.strong());
}

/// The foot without its keys: rule, message, offer.
pub(super) fn foot(
    buffer: &mut Buffer,
    area: Rect,
    message: &[String],
    offer: Option<(&str, &str)>,
    theme: Theme,
) {
    rule(buffer, area, area.y, theme.quiet());
    let inner = inside(area);
    let mut lines: Vec<String> = message.iter().flat_map(|m| wrap(m, inner.width)).collect();
    if lines.len() > 2 {
        lines.truncate(2);
        let second = lines.pop().unwrap_or_default();
        lines.push(format!("{}… n: all", fit(&second, inner.width.saturating_sub(9))));
    }
    for (row, line) in lines.iter().enumerate() {
        put(buffer, inner, inner.x, area.y + 1 + row as u16, line, Style::new());
    }
    if let Some((told, doing)) = offer {
        let y = area.y + 3;
        let x = put_right(buffer, inner, y, doing, theme.strong());
        let room = x.saturating_sub(inner.x + 1);
        put(buffer, inner, inner.x, y, &fit(told, room), Style::new());
    }
}

/// The line of keys, as many as there is room for.
pub(super) fn keys(buffer: &mut Buffer, foot: Rect, keys: &[(&str, &str)], theme: Theme) {
    let inner = inside(foot);
    let y = foot.bottom() - 1;
    let mut x = inner.x;
    for (key, word) in keys.iter().filter(|(_, word)| !word.is_empty()) {
        if x + width(key) + 1 + width(word) > inner.right() {
            break;
        }
        put(buffer, inner, x, y, key, theme.strong());
        x += width(key) + 1;
        put(buffer, inner, x, y, word, theme.quiet());
        x += width(word) + 2;
    }
}

/// The letter keys of a station: all of them, or without what matters less, until they fit.
fn letter_keys(columns: u16, keys: &Keys) -> Vec<(String, String)> {
    let said = |short: bool, rank: u8| -> Vec<(String, String)> {
        let rows = keys.rows().filter(|(_, row)| !row.word.is_empty() && row.rank <= rank);
        rows.map(|(key, row)| (key_name(key), if short { row.short } else { row.word }.to_owned()))
            .collect()
    };
    let most = keys.rows().map(|(_, row)| row.rank).max().unwrap_or(0);
    let tries = [(false, most)].into_iter().chain((0..=most).rev().map(|rank| (true, rank)));
    let fits = |keys: &Vec<(String, String)>| {
        let wanted: u16 = keys.iter().map(|(key, word)| width(key) + width(word) + 3).sum();
        wanted <= columns + 2
    };
    tries.map(|(short, rank)| said(short, rank)).find(fits).unwrap_or_else(|| said(true, 0))
}

fn where_and_when(drilling: &Drilling) -> String {
    let session = &drilling.session;
    // The message line tells why once; this stands as long as it is so.
    let kept = if drilling.waits { "NOT KEPT · " } else { "" };
    format!("{kept}{} · {}", session.circuit().title_with_mods(), minutes(session.minutes()))
}

/// While a drill is being made: what is being worked out, and for how long already.
fn making(buffer: &mut Buffer, size: (u16, u16), (told, now): (&[String], Duration), theme: Theme) {
    let areas = areas(size, false);
    head(buffer, areas.head, "WORKING OUT THE DRILL", &format!("{} s", now.as_secs()), theme);
    let stage = areas.stage;
    let mut y = stage.y + 1;
    for paragraph in told {
        for line in wrap(paragraph, sheet_columns(stage)) {
            put(buffer, stage, stage.x, y, &line, Style::new());
            y += 1;
        }
        y += 1;
    }
    foot(buffer, areas.foot, &[], None, theme);
    keys(buffer, areas.foot, &[("q", "leave")], theme);
}

/// The page before the drill begins.
fn before(buffer: &mut Buffer, size: (u16, u16), drilling: &Drilling, theme: Theme) {
    let areas = areas(size, false);
    let session = &drilling.session;
    head(
        buffer,
        areas.head,
        &session.circuit().title_with_mods(),
        &format!("drill {}", session.seed()),
        theme,
    );
    let lines = Sheet::WriteUp.lines(session, sheet_columns(areas.stage), theme);
    draw_lines(buffer, areas.stage, (&lines, drilling.scroll), theme);
    foot(buffer, areas.foot, &[], None, theme);
    if drilling.question.is_some() {
        question(buffer, areas.foot, drilling, theme);
    } else {
        keys(
            buffer,
            areas.foot,
            &[("Enter", "begin the drill"), ("↑↓", "read on"), ("q", "quit")],
            theme,
        );
    }
}

fn drill(
    buffer: &mut Buffer,
    size: (u16, u16),
    (drilling, now): (&Drilling, Duration),
    theme: Theme,
) {
    let session = &drilling.session;
    let circuit = session.circuit();
    if let Some(Overlay::Diagram(shown)) = &drilling.overlay {
        let areas = areas(size, false);
        head(buffer, areas.head, "DIAGRAM", &where_and_when(drilling), theme);
        diagram::draw(buffer, &areas, (shown, circuit), theme);
        if drilling.question.is_some() {
            question(buffer, areas.foot, drilling, theme);
        }
        return;
    }
    let areas = areas(size, true);
    let title = &circuit.station(session.place().station).title;
    head(buffer, areas.head, title, &where_and_when(drilling), theme);
    let stage = areas.stage;
    let mut looked_at = None;
    let mut offered: Option<(String, String)> = None;
    let mut hints: Vec<(String, String)> = Vec::new();
    let mut hint = |key: &str, word: &str| hints.push((key.to_owned(), word.to_owned()));
    match &drilling.overlay {
        Some(Overlay::Sheet(sheet, at)) => {
            put(buffer, stage, stage.x, stage.y, &sheet.title(session), theme.strong());
            let lines = sheet.lines(session, sheet_columns(stage), theme);
            let body = Rect { y: stage.y + 2, height: sheet_rows(stage), ..stage };
            draw_lines(buffer, body, (&lines, *at), theme);
            hint("Enter", sheet.verb());
            hint("↑↓", "read on");
            hint("Esc", "back");
        }
        Some(Overlay::Picker(picker)) => {
            list::draw(buffer, stage, (session, picker), theme);
            if picker.marks() {
                hint("→", "suspect");
                hint("←", "cleared");
                hint("Bksp", "unsure");
                hint("Enter", "next mark");
                hint("letters", "find");
            } else {
                hint("Enter", picker.verb());
                hint("letters", "narrow the list");
                hint("↑↓", "choose");
            }
            hint("Esc", "back");
        }
        Some(Overlay::Meter(meter)) => {
            hand_meter::draw(buffer, stage, session, meter, theme);
            hint("Enter", "measure");
            hint("←→", "function, red, black");
            hint("↑↓ letters", "choose");
            hint("Esc", "put it away");
        }
        // It has the whole screen and was drawn above.
        Some(Overlay::Diagram(_)) => {}
        None => {
            let mut view = view(session);
            if let Some(swing) = &drilling.swing {
                swing.show(now, &mut view);
            }
            let plan = drilling.plan(&view, stage);
            let attention = match drilling.question {
                Some(_) => Attention { focus: None, ..drilling.attention(&plan) },
                None => drilling.attention(&plan),
            };
            looked_at = drilling.focus(&plan);
            station::draw(buffer, stage, (&view, circuit), (&plan, attention), theme);
            offered = drilling.offer(&view, &plan).map(|offer| {
                let doing = match offer.minutes {
                    Some(price) => format!("Enter {} · {}", offer.verb, minutes(price)),
                    None => "space mark it".to_owned(),
                };
                (format!("▸ {}", offer.told), doing)
            });
            if drilling.reads() {
                // Nothing else can be done until the needle has been read.
                offered = None;
                hint("figures", "what the needle shows, to half a division");
                hint("Enter", "say so");
                hint("q", "leave");
            } else if let Some(grip) = drilling.grip {
                let positions = super::offer::positions(circuit, grip.control);
                let to = positions.get(grip.to).copied().unwrap_or_default();
                let label = &circuit.part(grip.control).label;
                offered = offered.map(|(_, doing)| (format!("▸ {label} to {to}"), doing));
                hint("←→", "choose the position");
                hint("Enter", "turn it there");
                hint("Esc", "let go");
            } else {
                hints = letter_keys(inside(areas.foot).width, &drilling.keys);
            }
        }
    }
    if let Some(beside) = areas.side {
        side::draw(buffer, beside, (drilling, looked_at), theme);
    }
    let offered = offered.as_ref().map(|(told, doing)| (told.as_str(), doing.as_str()));
    let mut message = drilling.message();
    if let Some(Overlay::Picker(picker)) = &drilling.overlay
        && drilling.remark.is_none()
        && let Some(row) = list::cut_row(stage, session, picker)
    {
        message.insert(0, row);
        message.truncate(2);
    }
    foot(buffer, areas.foot, &message, offered, theme);
    if drilling.question.is_some() {
        question(buffer, areas.foot, drilling, theme);
    } else {
        let hints: Vec<(&str, &str)> =
            hints.iter().map(|(key, word)| (key.as_str(), word.as_str())).collect();
        keys(buffer, areas.foot, &hints, theme);
    }
}

/// A question takes the place of message, offer and keys.
fn question(buffer: &mut Buffer, area: Rect, drilling: &Drilling, theme: Theme) {
    let Some(question) = &drilling.question else { return };
    let session = &drilling.session;
    let circuit = session.circuit();
    let (text, yes, no) = match question {
        Question::Leave => {
            let what = if drilling.waits {
                "Not all of it is in the logbook; that is tried once more at the end."
            } else if drilling.is_kept {
                "What was done is in the logbook; it can go on from there."
            } else {
                "What was done in it is lost."
            };
            (format!("Leave the drill? {what}"), "leave", "stay")
        }
        Question::Replace(part) => {
            let part = circuit.part(*part);
            let text = format!(
                "Replace {} ({})? It takes {}. Power off and proven dead first.",
                part.id,
                part.label,
                minutes(part.replace_minutes)
            );
            (text, "replace it", "do not")
        }
        Question::Call(cause, warning) => {
            let words = cause.told(circuit);
            let mut text = format!("Call {}: {words}? This ends the drill.", cause.code(circuit));
            if let Some(warning) = warning {
                text.push(' ');
                text.push_str(warning);
            }
            (text, "make the call", "not yet")
        }
        Question::Help(help) => {
            let what = match help {
                Help::BestStep => "The best next step",
                Help::LastStep => "What the last step was worth",
                Help::Reminder | Help::None => "A reminder of what has been shown so far",
            };
            let price = leaf::price_told(*help);
            let text = format!("{what}: takes {price} of 100, and the debrief will tell of it.");
            (text, "ask for it", "not now")
        }
    };
    let blank = " ".repeat(usize::from(area.width));
    for y in area.y + 1..area.bottom() {
        put(buffer, area, area.x, y, &blank, Style::new());
    }
    let inner = inside(area);
    for (row, line) in wrap(&text, inner.width).iter().take(3).enumerate() {
        put(buffer, inner, inner.x, area.y + 1 + row as u16, line, theme.strong());
    }
    keys(buffer, area, &[("Enter", yes), ("Esc", no)], theme);
}

/// One line in the middle of a stage.
pub(super) fn notice(buffer: &mut Buffer, stage: Rect, text: &str, theme: Theme) {
    put_centred(buffer, stage, stage.y + stage.height / 2, text, theme.strong());
}
