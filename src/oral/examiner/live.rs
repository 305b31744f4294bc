//! Where no ohmmeter may be put.

use super::draft::{Draft, Form, by_length, one_of, shuffle};
use super::{ALTERNATIVES, Examiner};
use crate::chance::Chance;
use crate::circuit::{AIRFRAME, TestPointId};
use crate::oral::question::{Asked, Claim};
use crate::units::quantity;

/// Volts from which a point is live beyond doubt, and below which it is not.
const LIVE_VOLTS: f64 = 5.0;
const DEAD_VOLTS: f64 = 0.1;

/// Watts from which a part counts as carrying current.
const LEAST_WATTS: f64 = 1e-3;

impl Examiner {
    /// Which point is live in a setup. The others are dead and carry nothing: the return of
    /// something that runs stands at nought too, and is no place for an ohmmeter either.
    pub(super) fn live(&self, subject: Option<&str>, chance: &mut Chance) -> Option<Draft> {
        let (setup, view) = self.some_view(subject, chance)?;
        let solution = &view.page.settled().solution;
        let volts =
            |point: TestPointId| solution.rms_between(self.circuit.test_point(point).net, AIRFRAME);
        let points: Vec<TestPointId> =
            self.circuit.test_points_with_ids().map(|(id, _)| id).collect();
        let mut live: Vec<TestPointId> =
            points.iter().copied().filter(|point| volts(*point) > LIVE_VOLTS).collect();
        let network = self.scene(0)?.rig.network();
        let watts = network.watts(&view.page.settled().state, solution);
        let carries = |point: TestPointId| {
            let net = self.circuit.test_point(point).net;
            let at = watts.iter().flatten().filter(|(other, _)| *other == net);
            let parts = self.circuit.parts_with_ids().filter(|(id, _)| {
                self.circuit.connections(*id).contains(&net)
                    && watts[id.index()].iter().any(|(_, watts)| watts.abs() > LEAST_WATTS)
            });
            at.into_iter().any(|(_, watts)| watts.abs() > LEAST_WATTS) || parts.count() > 0
        };
        let mut dead: Vec<TestPointId> = points
            .iter()
            .copied()
            .filter(|point| volts(*point) < DEAD_VOLTS && !carries(*point))
            .collect();
        shuffle(&mut live, chance);
        shuffle(&mut dead, chance);
        live.truncate(1);
        let right = *one_of(&live, chance)?;
        let id = |point: &TestPointId| self.circuit.test_point(*point).id.clone();
        by_length(&mut dead, &id(&right), id);
        let wrong = dead;
        let choice = |point: TestPointId| {
            let told = &self.circuit.test_point(point).id;
            (told.clone(), Claim::Live(setup.clone(), point, true))
        };
        let mut reasons: Vec<String> = std::iter::once(right)
            .chain(wrong.iter().copied().take(ALTERNATIVES - 1))
            .map(|point| {
                let id = &self.circuit.test_point(point).id;
                let told = if volts(point) < DEAD_VOLTS { 0.0 } else { volts(point) };
                format!("{id}: {} to the airframe.", quantity(told, "V"))
            })
            .collect();
        reasons.push(
            "Ohms are measured on a circuit that is dead and isolated; nought to the airframe \
             alone proves neither."
                .to_owned(),
        );
        Some(Draft {
            asked: Asked::Live,
            subject: self.circuit.part(view.moved).id.clone(),
            text: format!(
                "{} and all else in the normal setup, which of these is live, so that no ohmmeter \
                 may touch it?",
                view.given
            ),
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
