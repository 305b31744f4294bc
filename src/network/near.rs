//! The balance of a state near a base case.
//!
//! Filaments and motors are looked for at their ports alone, all at once by Newton's
//! method: each asks for a conductance that follows from its volts, and all volts follow
//! from all conductances.

use super::base::BaseCase;
use super::dense::Dense;
use super::follow::{BALANCED, UNHEARD};
use super::patch::{DirectPatch, conductance};
use super::prepare::{Network, SolveError};
use super::solution::{AcGroup, Solution};
use super::solve::{LEAST_SPEED, Workspace};
use super::state::State;

/// Rounds in which a balance near a base case is looked for.
const ROUNDS: u32 = 25;

impl Network {
    /// The balance of a state: from a base case where that is near enough, afresh where
    /// it is not.
    ///
    /// # Errors
    /// [`SolveError`] when a net hangs in the air or no balance is found.
    pub(super) fn balance_near(
        &self,
        base: Option<&BaseCase>,
        state: &mut State,
        workspace: &mut Workspace,
    ) -> Result<Solution, SolveError> {
        if let Some(base) = base
            && self.followers().iter().all(|f| f.stands_alone())
        {
            let mut near = state.clone();
            if let Some(solution) = self.balance_from(base, &mut near, workspace)? {
                *state = near;
                return Ok(solution);
            }
        }
        self.balance_in(state, workspace)
    }

    /// The balance of a state as worked out from a base case; `None` when that does not
    /// do.
    fn balance_from(
        &self,
        base: &BaseCase,
        state: &mut State,
        workspace: &mut Workspace,
    ) -> Result<Option<Solution>, SolveError> {
        let followers = self.followers();
        if followers.len() != base.ports.len() {
            return Ok(None);
        }
        for follower in followers {
            let conductance = &mut state.conductance[follower.part.index()];
            if conductance.is_nan() {
                *conductance = follower.first_guess();
            }
        }
        let altered = self.altered(base, state);
        let Some(changed) = self.direct_changes(base, state, &altered) else { return Ok(None) };
        let Some(direct) = DirectPatch::new(base, changed) else { return Ok(None) };
        // A port whose element has been exchanged is among the changes already.
        let joined: Vec<bool> =
            base.ports.iter().map(|port| altered.binary_search(&port.element).is_err()).collect();
        let ports = followers.len();
        let mut solution = Solution { dc: vec![0.0; self.nets()], ac: Vec::new() };
        let (mut all_due, mut due) = (true, Vec::new());
        for _ in 0..ROUNDS {
            if all_due || !due.is_empty() {
                self.groups_from(base, state, &altered, (all_due, &due), workspace, &mut solution.ac)?;
                (all_due, due) = (false, Vec::new());
            }
            let more: Vec<f64> = (0..ports)
                .map(|at| {
                    let e = self.wiring().element(base.ports[at].element);
                    let now = conductance(e, state, followers[at].part.index());
                    if joined[at] { now - base.ports[at].siemens } else { 0.0 }
                })
                .collect();
            let Some(ported) = direct.with_ports(&more) else { return Ok(None) };
            let dc = ported.solve(&direct.open);
            let mut worst = 0.0_f64;
            let (mut gaps, mut slopes) = (vec![0.0; ports], vec![0.0; ports]);
            for (at, follower) in followers.iter().enumerate() {
                let (a, b) = follower.nets();
                let watts = |part| {
                    let group = solution.ac.iter().find(|group| group.source == part);
                    group.map_or(0.0, |group| self.delivered_watts(group))
                };
                let across = (dc[at], solution.ac_between(a, b));
                let (asked, slope) = follower.asked_at(across, watts, state);
                gaps[at] = asked - state.conductance[follower.part.index()];
                slopes[at] = slope;
                worst = worst.max((gaps[at] / asked.max(1e-12)).abs());
                if let Some(speed) = follower.speed_at(dc[at], state)
                    && (speed - state.speed[follower.part.index()]).abs() > BALANCED
                {
                    due.push((follower.part, speed));
                }
            }
            if worst <= BALANCED && due.is_empty() {
                let amps: Vec<f64> = more.iter().zip(&dc).map(|(g, volts)| -g * volts).collect();
                return Ok(direct.volts(&amps, &mut solution.dc).map(|()| solution));
            }
            let Some(steps) = newton(&direct, &ported, &dc, &gaps, &slopes, &joined) else {
                return Ok(None);
            };
            for (at, follower) in followers.iter().enumerate() {
                let had = &mut state.conductance[follower.part.index()];
                let next = *had + steps[at];
                let next = if next > 0.0 { next } else { *had + gaps[at] };
                let (a, b) = follower.nets();
                all_due |= solution.ac_between(a, b) * (next - *had).abs() > UNHEARD;
                *had = next;
            }
            for (part, speed) in &due {
                state.speed[part.index()] = *speed;
            }
        }
        Ok(None)
    }

    /// What every running machine alone sets up, or those only that are due.
    fn groups_from(
        &self,
        base: &BaseCase,
        state: &State,
        altered: &[u32],
        (all, due): (bool, &[(crate::circuit::PartId, f64)]),
        workspace: &mut Workspace,
        groups: &mut Vec<AcGroup>,
    ) -> Result<(), SolveError> {
        workspace.distrust_phasors();
        for (at, machine) in self.machines().iter().enumerate() {
            if !all && !due.iter().any(|(part, _)| *part == machine.part) {
                continue;
            }
            groups.retain(|group| group.source != machine.part);
            let speed = machine.speed(state);
            let (true, Some(number)) = (machine.gives() && speed >= LEAST_SPEED, machine.island)
            else {
                continue;
            };
            let hertz = machine.hertz(speed);
            let known = base.groups[at].as_ref().filter(|group| group.hertz == hertz);
            let unit = known.and_then(|group| self.unit_from(base, group, at, state, altered));
            let group = match unit {
                Some(unit) => Some(self.regulated(machine, number, speed, &unit)),
                None => self.group(machine, state, workspace)?,
            };
            if let Some(group) = group {
                let place = groups.partition_point(|g| g.source < group.source);
                groups.insert(place, group);
            }
        }
        Ok(())
    }
}

impl DirectPatch<'_> {
    /// `1 + W G` in factors, with `W` the volts between ports and `G` what their
    /// conductances are above those of the base case.
    fn with_ports(&self, more: &[f64]) -> Option<Dense<f64>> {
        let ports = more.len();
        let mut matrix = self.between.clone();
        for row in 0..ports {
            for (column, more) in more.iter().enumerate() {
                matrix[row * ports + column] *= more;
            }
            matrix[row * ports + row] += 1.0;
        }
        Dense::factor(ports, matrix)
    }
}

/// Newton's step for conductances whose gaps to what is asked are these: with `K` the
/// volts lost at each port for a siemens more at each, `(1 + S K) step = gap`.
fn newton(
    direct: &DirectPatch<'_>,
    ported: &Dense<f64>,
    dc: &[f64],
    gaps: &[f64],
    slopes: &[f64],
    joined: &[bool],
) -> Option<Vec<f64>> {
    let ports = gaps.len();
    let mut matrix = vec![0.0; ports * ports];
    for column in 0..ports {
        if joined[column] {
            let asked: Vec<f64> =
                (0..ports).map(|row| direct.between[row * ports + column] * dc[column]).collect();
            let lost = ported.solve(&asked);
            for row in 0..ports {
                matrix[row * ports + column] = slopes[row] * lost[row];
            }
        }
        matrix[column * ports + column] += 1.0;
    }
    Some(Dense::factor(ports, matrix)?.solve(gaps))
}
