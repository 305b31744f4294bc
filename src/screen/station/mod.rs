//! The station where the trainee stands: the stage of a drill.

mod cells;
mod control;
mod meter;
mod plan;

use std::collections::BTreeMap;

use ratatui::buffer::Buffer;
use ratatui::layout::Rect;

use super::picker::mark_sign;
use super::text::{put, put_right, rule};
use super::theme::Theme;
use crate::circuit::{Circuit, PartId};
use crate::drill::{Mark, Needle, View};
use crate::observation::Look;
use plan::{Piece, Placed};

pub(super) use plan::{Item, Plan, plan};

/// A hand on a control, about to move it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Grip {
    /// The control.
    pub(super) control: PartId,
    /// The position it would go to.
    pub(super) to: usize,
}

/// What is in hand and in view at a station.
#[derive(Clone, Copy, Debug)]
pub(super) struct Attention<'a> {
    /// What has the focus; `None` while something else has it.
    pub(super) focus: Option<Item>,
    /// A control in the hand.
    pub(super) grip: Option<Grip>,
    /// The test point that has the red lead, while the black one is still to be put.
    pub(super) red_lead: Option<Item>,
    /// The trainee's marks, which stand beside the things they are of.
    pub(super) marks: &'a BTreeMap<PartId, Mark>,
}

impl Attention<'_> {
    /// What stands before a thing: the pointer of the focus, or the trainee's mark.
    fn sign(&self, item: Option<Item>) -> &'static str {
        match item {
            Some(_) if item == self.red_lead => "R",
            Some(_) if item == self.focus => "▸",
            Some(Item::Part(part)) => mark_sign(self.marks.get(&part).copied()),
            _ => " ",
        }
    }
}

/// A pointer instrument alone, so many rows high, as it looks at its station.
pub fn dial(needle: &Needle, rows: u16, theme: Theme) -> Buffer {
    let area = Rect::new(0, 0, meter::columns(rows), rows);
    let mut buffer = Buffer::empty(area);
    meter::draw(&mut buffer, area, needle, (false, " "), theme);
    if theme.ascii() {
        super::ascii::flatten(&mut buffer);
    }
    buffer
}

/// Draws a station into `area`.
pub(super) fn draw(
    buffer: &mut Buffer,
    area: Rect,
    (view, circuit): (&View, &Circuit),
    (plan, attention): (&Plan, Attention),
    theme: Theme,
) {
    tabs(buffer, area, (plan, view), theme);
    let above = plan.rows_of_tabs().min(area.height);
    let area = Rect { y: area.y + above, height: area.height - above, ..area };
    let sheet = Rect { x: 0, y: 0, width: area.width, height: plan.height.max(1) };
    let mut drawn = Buffer::empty(sheet);
    for placed in &plan.placed {
        piece(&mut drawn, placed, (view, circuit), attention, (plan, theme));
    }
    let scroll = plan.scroll_to(attention.focus, area.height);
    for y in 0..area.height.min(plan.height.saturating_sub(scroll)) {
        for x in 0..area.width {
            if let (Some(from), Some(to)) =
                (drawn.cell((x, y + scroll)), buffer.cell_mut((area.x + x, area.y + y)))
            {
                *to = from.clone();
            }
        }
    }
    if plan.height > scroll + area.height {
        let below = format!(" ▾ {} more rows", plan.height - scroll - area.height);
        put_right(buffer, area, area.bottom() - 1, &below, theme.quiet());
    }
    if scroll > 0 {
        put_right(buffer, area, area.top(), &format!(" ▴ {scroll} rows above"), theme.quiet());
    }
}

/// The names of the panels, where one of them is shown at a time; a sign tells of a lamp
/// that is lit on one.
fn tabs(buffer: &mut Buffer, area: Rect, (plan, view): (&Plan, &View), theme: Theme) {
    for (column, tab) in plan.tabs() {
        let lit = view
            .annunciators
            .iter()
            .any(|lamp| tab.items.contains(&Item::Part(lamp.part)) && lamp.look != Look::Dark);
        let (sign, style) = if tab.shown { ("▸", theme.focus()) } else { (" ", theme.quiet()) };
        let light = if lit { "*" } else { " " };
        put(buffer, area, area.x + column, area.y, &format!("{sign}{}{light}", tab.title), style);
    }
}

fn piece(
    buffer: &mut Buffer,
    placed: &Placed,
    (view, circuit): (&View, &Circuit),
    attention: Attention,
    (plan, theme): (&Plan, Theme),
) {
    let roomy = plan.roomy;
    let area = placed.area;
    let focus = placed.item.is_some() && placed.item == attention.focus;
    // What stands beside a meter has one row whatever the layout.
    let sign = attention.sign(placed.item);
    let cell = cells::Manner { focus, sign, roomy: roomy && area.height > 1, theme };
    match placed.piece {
        Piece::Heading(title) => {
            let text = plan.titles.get(title).map_or("", String::as_str);
            rule(buffer, area, area.y, theme.quiet());
            put(buffer, area, area.x + 1, area.y, &format!(" {text} "), theme.quiet());
        }
        Piece::Needle(at) => meter::draw(buffer, area, &view.needles[at], (focus, sign), theme),
        Piece::Lamp(at) => cells::annunciator(buffer, area, &view.annunciators[at], cell),
        Piece::Control(at) => {
            let control = &view.controls[at];
            let about = attention.grip.filter(|g| g.control == control.part).map(|grip| grip.to);
            let manner = control::Manner { focus, sign, about, theme };
            control::draw(buffer, area, control, manner);
        }
        Piece::Sign(at) => cells::sign(buffer, area, &view.life_signs[at], cell),
        Piece::Machine(at) => cells::sign(buffer, area, &view.machines[at], cell),
        Piece::Breaker(at) => cells::breaker(buffer, area, &view.breakers[at], cell),
        Piece::Fuse(at) => cells::fuse(buffer, area, (at + 1, &view.fuses[at]), cell),
        Piece::Point(at) => {
            let point = circuit.test_point(view.points[at]);
            cells::point(buffer, area, &point.id, circuit.net_name(point.net), cell);
        }
    }
}
