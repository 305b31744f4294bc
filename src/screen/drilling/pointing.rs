//! What is pointed at: clicks on the screen, and where the leads of the meter go.

use super::{Drilling, Overlay};
use crate::circuit::{AIRFRAME, TestPointId};
use crate::drill::view;
use crate::observation::{Function, Step, Touch};
use crate::screen::frame;
use crate::screen::hand_meter::HandMeter;
use crate::screen::mouse::Target;
use crate::screen::station::Item;

impl Drilling {
    /// Takes what was clicked into focus; tells whether it was there already, so that the
    /// click is to do what Enter does.
    pub(in super::super) fn aim(&mut self, target: Target, size: (u16, u16)) -> bool {
        self.remark = None;
        match (target, &mut self.overlay) {
            (Target::Row(row), Some(Overlay::Picker(picker))) => {
                let there = picker.at == row;
                picker.at = row;
                there
            }
            (Target::Box(row), Some(Overlay::Picker(picker))) => {
                picker.at = row;
                true
            }
            (Target::Picture(x, y), Some(Overlay::Diagram(diagram))) => {
                diagram.click(self.session.circuit(), (x, y), size);
                false
            }
            (Target::Meter(column, row), Some(Overlay::Meter(meter))) => {
                meter.put(&self.session, column, row);
                false
            }
            (Target::Item(Item::Point(point)), None) => {
                self.put_lead(point);
                false
            }
            (Target::Item(item), None) => {
                self.red_lead = None;
                let stage = frame::areas(size, true).stage;
                let view = view(&self.session);
                let plan = self.plan(&view, stage);
                let there = self.focus(&plan) == Some(item);
                if !there {
                    // A hand on another control lets go of it.
                    self.grip = None;
                    if let Some(lesson) = &mut self.lesson {
                        lesson.moved = true;
                    }
                    self.focus.insert(self.session.place().station, item);
                }
                there
            }
            _ => false,
        }
    }

    /// A click on a test point: the first puts the red lead there, the second the black
    /// one; a second click on the same point puts the black lead on the airframe.
    fn put_lead(&mut self, point: TestPointId) {
        self.grip = None;
        if let Some(lesson) = &mut self.lesson {
            lesson.moved = true;
        }
        self.focus.insert(self.session.place().station, Item::Point(point));
        let at = Touch::Point(point);
        match self.red_lead.take() {
            None => {
                self.red_lead = Some(point);
                let id = &self.session.circuit().test_point(point).id;
                self.remark = Some(format!(
                    "Red lead on {id}. Click a second point for the black lead, or {id} again \
                     for the airframe."
                ));
            }
            Some(red) if red == point => self.take_meter((at, Touch::Airframe)),
            Some(red) => self.take_meter((Touch::Point(red), at)),
        }
    }

    /// The meter keeps the function it was last used on; before that it stands on what the
    /// point has in a sound aircraft.
    pub(super) fn take_meter(&mut self, leads: (Touch, Touch)) {
        let function = self
            .session
            .log()
            .iter()
            .rev()
            .find_map(|entry| match entry.observation.step {
                Step::Probe(probe) => Some(probe.function),
                _ => None,
            })
            .unwrap_or_else(|| {
                let net = leads.0.net(self.session.circuit());
                let sound = &self.session.normal().settled().solution;
                let direct = sound.dc_between(net, AIRFRAME).abs();
                let alternating = sound.ac_between(net, AIRFRAME);
                if direct > alternating { Function::DcVolts } else { Function::AcVolts }
            });
        self.overlay = Some(Overlay::Meter(HandMeter::on(leads, function)));
    }
}
