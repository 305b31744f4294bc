//! Where no ohmmeter may be put.

use super::draft::{Draft, Form, one_of, shuffle};
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{AIRFRAME, TestPointId};
use crate::oral::question::{Asked, Claim};
use crate::units::quantity;

/// Volts from which a point is live beyond doubt, and below which it is not.
const LIVE_VOLTS: f64 = 5.0;
const DEAD_VOLTS: f64 = 0.1;

impl Examiner {
    /// Which point is live in a setup, or which alone is not.
    pub(super) fn live(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (setup, view) = self.some_view(subject, chance)?;
        let solution = &view.page.settled().solution;
        let volts =
            |point: TestPointId| solution.rms_between(self.circuit.test_point(point).net, AIRFRAME);
        let points: Vec<TestPointId> =
            self.circuit.test_points_with_ids().map(|(id, _)| id).collect();
        let mut live: Vec<TestPointId> =
            points.iter().copied().filter(|point| volts(*point) > LIVE_VOLTS).collect();
        let mut dead: Vec<TestPointId> =
            points.iter().copied().filter(|point| volts(*point) < DEAD_VOLTS).collect();
        shuffle(&mut live, chance);
        shuffle(&mut dead, chance);
        let wants_live = dead.len() >= ALTERNATIVES - 1 && (live.len() < 2 || chance.unit() < 0.5);
        let (mut right, wrong) = if wants_live { (live, dead) } else { (dead, live) };
        right.truncate(1);
        let right = *one_of(&right, chance)?;
        let choice = |point: TestPointId| {
            let told = &self.circuit.test_point(point).id;
            (told.clone(), Claim::Live(setup.clone(), point, wants_live))
        };
        let mut reasons: Vec<String> = std::iter::once(right)
            .chain(wrong.iter().copied().take(ALTERNATIVES - 1))
            .map(|point| {
                let id = &self.circuit.test_point(point).id;
                let told = if volts(point) < DEAD_VOLTS { 0.0 } else { volts(point) };
                format!("{id}: {} to the airframe.", quantity(told, "V"))
            })
            .collect();
        reasons.push("Ohms are measured on a dead circuit only.".to_owned());
        let asks = if wants_live {
            "which of these is live, so that no ohmmeter may touch it?"
        } else {
            "which of these alone may an ohmmeter touch, being dead?"
        };
        Some(Draft {
            asked: Asked::Live,
            subject: self.circuit.part(view.moved).id.clone(),
            text: format!("{} and all else in the normal setup, {asks}", view.given),
            form: Form::One(
                choice(right),
                wrong.into_iter().take(ALTERNATIVES - 1).map(choice).collect(),
            ),
            reasons,
            difficulty: 2,
            look: None,
        })
    }
}
