//! What keys do to the sheets, lists and the hand meter that lie over the station.

use super::{Drilling, Overlay, Question, Turn, scrolled};
use crate::drill::Advice;
use crate::faults::Cause;
use crate::observation::{Act, Step};
use crate::screen::command::Command;
use crate::screen::frame;
use crate::screen::hand_meter::HandMeter;
use crate::screen::picker::{Choice, Picker, Picking};
use crate::screen::sheet::Sheet;
use crate::screen::theme::Theme;

impl Drilling {
    pub(super) fn on_sheet(
        &mut self,
        sheet: Sheet,
        at: usize,
        command: Command,
        size: (u16, u16),
    ) -> Turn {
        match (command, sheet) {
            (Command::Take, Sheet::Cautions(_, waiting)) => self.steps(waiting),
            (Command::Take, Sheet::Advice(Advice::Do { prospect, .. })) => {
                self.steps(prospect.path());
            }
            (Command::Take, Sheet::Advice(Advice::Call { cause, .. })) => {
                return self.call(cause);
            }
            (Command::Take | Command::Back, _) => {}
            // A key that means something does it once the page is closed; what was to be
            // done after reading is then left.
            (command, _) if command.is_deed() => return self.at_station(command, size),
            (_, sheet) => {
                let rows = usize::from(frame::sheet_rows(frame::areas(size, true).stage));
                let lines = self.sheet_lines(&sheet, size);
                let at = scrolled(at, command, lines, rows);
                self.overlay = Some(Overlay::Sheet(sheet, at));
            }
        }
        Turn::Stay
    }

    pub(super) fn sheet_lines(&self, sheet: &Sheet, size: (u16, u16)) -> usize {
        let stage = frame::areas(size, true).stage;
        sheet.lines(&self.session, frame::sheet_columns(stage), Theme::new(false)).len()
    }

    pub(super) fn on_picker(
        &mut self,
        mut picker: Picker,
        command: Command,
        size: (u16, u16),
    ) -> Turn {
        if picker.marks() && self.mark_row(&picker, command).is_some() {
            self.overlay = Some(Overlay::Picker(picker));
            return Turn::Stay;
        }
        let count = picker.rows(&self.session).len();
        let page = usize::from(frame::sheet_rows(frame::areas(size, true).stage)).max(1);
        match command {
            Command::Take => return self.choose(picker),
            Command::Back if picker.filter.is_empty() => return Turn::Stay,
            Command::Back => {
                picker.filter.clear();
                picker.at = 0;
            }
            Command::Type(letter) => {
                picker.filter.push(letter);
                picker.at = 0;
            }
            Command::Erase => {
                picker.filter.pop();
                picker.at = 0;
            }
            Command::Up | Command::Previous => picker.at = picker.at.saturating_sub(1),
            Command::Down | Command::Next => picker.at += 1,
            Command::PageUp => picker.at = picker.at.saturating_sub(page),
            Command::PageDown => picker.at += page,
            Command::First => picker.at = 0,
            Command::Last => picker.at = count,
            _ => {}
        }
        picker.at = picker.at.min(picker.rows(&self.session).len().saturating_sub(1));
        self.overlay = Some(Overlay::Picker(picker));
        Turn::Stay
    }

    fn choose(&mut self, picker: Picker) -> Turn {
        let Some(row) = picker.chosen(&self.session) else {
            self.overlay = Some(Overlay::Picker(picker));
            return Turn::Stay;
        };
        match (picker.picking.clone(), row.choice) {
            (_, Choice::Step(Step::Act(Act::Replace(part))))
            | (Picking::Replacement, Choice::Part(part)) => {
                self.overlay = Some(Overlay::Picker(picker));
                self.question = Some(Question::Replace(part));
            }
            (_, Choice::Step(step)) => self.step(step),
            (Picking::CalledPart(first), Choice::Part(part)) => {
                let modes = Picking::CalledMode(part, first);
                self.overlay = Some(Overlay::Picker(Picker::of(modes)));
            }
            (Picking::CalledMode(_, None), Choice::Fault(fault)) if self.session.scope().pairs => {
                let another = Picking::CalledPart(Some(fault));
                self.overlay = Some(Overlay::Picker(Picker::of(another)));
            }
            (Picking::CalledMode(_, Some(first)), Choice::Fault(fault)) => {
                self.overlay = Some(Overlay::Picker(picker));
                return self.call(Cause::pair(first, fault));
            }
            (_, Choice::Fault(fault)) => {
                self.overlay = Some(Overlay::Picker(picker));
                return self.call(fault.into());
            }
            (_, Choice::Cause(cause)) => {
                self.overlay = Some(Overlay::Picker(picker));
                return self.call(cause);
            }
            (_, Choice::Part(_) | Choice::Branch(_) | Choice::Nothing) => {
                self.overlay = Some(Overlay::Picker(picker));
            }
        }
        Turn::Stay
    }

    pub(super) fn on_meter(&mut self, mut meter: HandMeter, command: Command) {
        match command {
            Command::Back => return,
            Command::Take => {
                let steps = self.session.log().len();
                self.step(Step::Probe(meter.probe));
                meter.measured |= self.session.log().len() > steps;
            }
            Command::Left => meter.sideways(false),
            Command::Right => meter.sideways(true),
            Command::Previous => meter.round(false),
            Command::Next => meter.round(true),
            Command::Up => meter.along(&self.session, -1),
            Command::Down => meter.along(&self.session, 1),
            Command::PageUp => meter.along(&self.session, -8),
            Command::PageDown => meter.along(&self.session, 8),
            Command::First => meter.along(&self.session, isize::MIN / 2),
            Command::Last => meter.along(&self.session, isize::MAX / 2),
            Command::Type(letter) => meter.letter(&self.session, letter),
            Command::Erase => meter.erase(&self.session),
            _ => {}
        }
        self.overlay = Some(Overlay::Meter(meter));
    }
}
