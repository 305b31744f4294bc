//! Where one stands in a table: what is left there, what everything costs from there, and
//! which steps make a test.

use super::{Isolation, Trial, Trying};
use crate::circuit::{Circuit, PartId, StationId};
use crate::network::PartState;
use crate::observation::{Act, Step, Whereabouts};
use crate::planning::Configuration;

/// Where one stands in an isolation.
#[derive(Clone, Debug, PartialEq)]
pub struct Position {
    /// Weight of each candidate of the isolation; zero for one that is out.
    pub weights: Vec<f64>,
    /// Stations that need no walk.
    pub open: Vec<u32>,
    /// The setting, an index into that of [`Isolation::setting`]; `None` for another one.
    pub setting: Option<u32>,
    /// Minutes to each station, its opening included; after the stations, where something is
    /// not as found, the minutes to put that back.
    pub places: Vec<f64>,
    /// What it takes to bring about each setting, and where that is done.
    pub configurations: Vec<Configuration>,
}

/// Where one stands, found in a table.
#[derive(Clone, Debug, PartialEq)]
pub struct Found {
    /// The setting, were all fuses that are out put back.
    pub setting: u32,
    /// Fuses that are out of their holders though they were in when the table was made.
    pub fuses_out: Vec<PartId>,
}

impl Isolation {
    /// The position from which it was made.
    pub fn start(&self) -> Position {
        Position {
            weights: self.table.candidates.iter().map(|c| c.weight).collect(),
            open: self.table.open.clone(),
            setting: self.table.start,
            places: self.table.places.clone(),
            configurations: self.table.configurations.clone(),
        }
    }

    /// Which setting controls are in; `None` when more than one has been moved, or
    /// something else.
    pub fn setting(&self, found: &Whereabouts, now: &Whereabouts) -> Option<u32> {
        let mut moved = now.hands.parts.iter().zip(&found.hands.parts).enumerate();
        let differs = |(_, (now, then)): &(usize, (&PartState, &PartState))| now != then;
        let Some((at, (state, _))) = moved.find(differs) else { return Some(0) };
        let PartState::Position(position) = *state else { return None };
        if moved.any(|one| differs(&one)) {
            return None;
        }
        let act = Act::Set { control: PartId(at as u32), position };
        self.settings.iter().position(|setting| *setting == act).map(|at| at as u32 + 1)
    }

    /// The test that a step amounts to where one stands, if it is among them or tells what
    /// one of them tells; with the minutes that it takes more than that one.
    pub fn trial_of(
        &self,
        step: Step,
        station: StationId,
        setting: Option<u32>,
    ) -> Option<(u32, f64)> {
        let moved = |setting: u32| setting.checked_sub(1).map(|at| self.settings[at as usize]);
        let (trying, station, setting) = match step {
            Step::LookAround => (Trying::Look, station, moved(setting?)),
            Step::Go(there) => (Trying::Look, there, moved(setting?)),
            Step::Probe(probe) => (Trying::Measure(probe), station, moved(setting?)),
            Step::Act(act @ Act::Hold { .. }) if setting == Some(0) => {
                (Trying::Hold(act), station, None)
            }
            Step::Act(act @ Act::Set { control, .. }) => match moved(setting?) {
                // Another control on top of the one that has been moved is no setting.
                Some(before) if before.part() != control => return None,
                _ => (Trying::Look, station, Some(act).filter(|act| self.settings.contains(act))),
            },
            Step::Act(Act::Pull(part)) => (Trying::PullFuse(part), station, None),
            Step::Act(Act::Replace(part)) => (Trying::Exchange(part), station, None),
            Step::Act(Act::PushIn(part)) => (Trying::Reset(part), station, None),
            Step::Act(Act::Hold { .. } | Act::Refit(_) | Act::FitSpare(_)) => {
                return None;
            }
        };
        let wanted = Trial { trying, station, setting };
        if let Some(at) = self.trials.iter().position(|trial| *trial == wanted) {
            return Some((at as u32, 0.0));
        }
        let alike = self.alike.iter().find(|(trial, ..)| *trial == wanted)?;
        Some((alike.1, alike.2))
    }

    /// Where hands have left everything, as far as the table knows it: one control moved at
    /// the most, and fuses pulled. `None` for anything else.
    pub fn find(&self, circuit: &Circuit, start: &Whereabouts, now: &Whereabouts) -> Option<Found> {
        let out = |(id, _): &(PartId, _)| {
            matches!(now.hands.of(*id), PartState::Fuse { seated: false, .. })
                && matches!(start.hands.of(*id), PartState::Fuse { seated: true, .. })
        };
        let fuses_out: Vec<PartId> =
            circuit.parts_with_ids().filter(out).map(|(id, _)| id).collect();
        let mut refitted = now.clone();
        for fuse in &fuses_out {
            refitted.hands.set(*fuse, start.hands.of(*fuse));
        }
        Some(Found { setting: self.setting(start, &refitted)?, fuses_out })
    }

    /// The control moved in a setting; `None` where all stand as they were found.
    pub fn moved(&self, setting: u32) -> Option<Act> {
        setting.checked_sub(1).and_then(|at| self.settings.get(at as usize)).copied()
    }

    /// The position of somebody who stands here and now, in a drill that began at `start`:
    /// every walk counts from here, and a fuse that is out has to go back before anything is
    /// looked at or measured.
    pub fn position(
        &self,
        circuit: &Circuit,
        (start, place): (&Whereabouts, &Whereabouts),
        found: Option<&Found>,
        posterior: &[f64],
    ) -> Position {
        let now = found.and_then(|found| self.moved(found.setting));
        let fuses: &[PartId] = found.map_or(&[], |found| &found.fuses_out);
        let station = |part: PartId| circuit.part(part).station.index() as u32;
        let minutes = |act: Act| place.minutes(circuit, Step::Act(act));
        let mut places: Vec<f64> = circuit
            .stations_with_ids()
            .map(|(station, _)| place.minutes_to(circuit, station))
            .collect();
        // What is not as found is put back before the first change. That is paid once, like a
        // walk: the table takes it for a place of its own that has to be opened.
        let back = |moved: Act| {
            let position = start.hands.position(moved.part())?;
            Some(Act::Set { control: moved.part(), position })
        };
        let undone: Vec<Act> =
            now.and_then(back).into_iter().chain(fuses.iter().map(|f| Act::Refit(*f))).collect();
        let undoing = undone.first().map(|first| {
            places.push(undone.iter().map(|act| minutes(*act)).sum());
            (station(first.part()), places.len() as u32 - 1)
        });
        let refits: f64 = fuses.iter().map(|fuse| minutes(Act::Refit(*fuse))).sum();
        let configuration = |(at, known): (u32, &Configuration)| match (self.moved(at), now) {
            (Some(act), Some(before)) if before.part() == act.part() => {
                let own = match act == before {
                    true if fuses.is_empty() => known.minutes,
                    true => 0.0,
                    false => minutes(act),
                };
                Configuration { minutes: own + refits, places: known.places }
            }
            (Some(_), _) => {
                Configuration { places: [known.places[0], undoing.map(|u| u.1)], ..*known }
            }
            (None, _) => Configuration {
                minutes: if undoing.is_some() { 0.0 } else { known.minutes },
                places: [undoing.map(|u| u.0), undoing.map(|u| u.1)],
            },
        };
        let clean = found.filter(|found| found.fuses_out.is_empty());
        Position {
            weights: self.candidates.iter().map(|at| posterior[*at]).collect(),
            open: vec![place.station.index() as u32],
            setting: clean.map(|found| found.setting),
            places,
            configurations: (0..).zip(&self.table.configurations).map(configuration).collect(),
        }
    }

    /// The steps that make a test from here, walks, fuses to be put back and the control to
    /// be moved included; after an exchange one goes back to where the crew sit.
    pub fn path(
        &self,
        test: u32,
        circuit: &Circuit,
        start: &Whereabouts,
        (place, found): (&Whereabouts, &Found),
    ) -> Vec<Step> {
        let Trial { trying, station, setting } = &self.trials[test as usize];
        let mut path = Vec::new();
        let mut here = place.station;
        let mut at = |path: &mut Vec<Step>, there: StationId| {
            if here != there {
                path.push(Step::Go(there));
                here = there;
            }
        };
        if self.table.tests[test as usize].needs.is_some() {
            for fuse in &found.fuses_out {
                at(&mut path, circuit.part(*fuse).station);
                path.push(Step::Act(Act::Refit(*fuse)));
            }
            let moved = self.moved(found.setting);
            let stays = |act: &Act| setting.is_some_and(|new| new.part() == act.part());
            if let Some(moved) = moved.filter(|act| !stays(act))
                && let Some(position) = start.hands.position(moved.part())
            {
                at(&mut path, circuit.part(moved.part()).station);
                path.push(Step::Act(Act::Set { control: moved.part(), position }));
            }
            if let Some(act) = setting.filter(|act| moved != Some(*act)) {
                at(&mut path, circuit.part(act.part()).station);
                path.push(Step::Act(act));
            }
        }
        at(&mut path, *station);
        match *trying {
            Trying::Look if path.is_empty() => path.push(Step::LookAround),
            Trying::Look => {}
            Trying::Hold(act) => path.push(Step::Act(act)),
            Trying::Measure(probe) => path.push(Step::Probe(probe)),
            Trying::PullFuse(fuse) => path.push(Step::Act(Act::Pull(fuse))),
            Trying::Reset(breaker) => path.push(Step::Act(Act::PushIn(breaker))),
            Trying::Exchange(part) => path.push(Step::Act(Act::Replace(part))),
        }
        path
    }
}
