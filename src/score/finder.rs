//! Looking through the record of a drill for habits, each with the steps that show it and
//! what it cost. Nothing is said that the record does not prove.

use std::collections::BTreeMap;

use super::debrief::told_with_walk;
use super::explain::StillPossible;
use super::habit::{Habit, HabitKind, LEAST_POINTS, steps_told};
use super::mark::{Ending, Record, StepRecord};
use super::path::Known;
use super::rubric::Rubric;
use crate::circuit::{Circuit, Kind};
use crate::diagnosis::{NO_BITS, Prospect};
use crate::drill::{Entry, Session};
use crate::observation::{Act, Step, What};
use crate::units::{bits, counted, minutes};

/// Habits that a debrief names at the most: nobody works on more at once.
pub(super) const MOST: usize = 3;
/// Minutes lost from which a step counts.
const LEAST_MINUTES: f64 = 0.1;
/// Minutes up to which something that can be done where one stands is at hand: a control
/// moved, a breaker pulled.
const AT_HAND_MINUTES: f64 = 0.2;

/// One step as far as habits are concerned.
pub(super) struct Deed {
    pub record: StepRecord,
    /// Its worth.
    pub worth: Prospect,
    /// What should have been done instead.
    pub instead: Option<Prospect>,
    /// Whether a call was provable before it.
    pub proven_before: bool,
}

impl Deed {
    pub(super) fn tells_nothing(&self) -> bool {
        self.worth.bits <= NO_BITS && self.worth.fault_bits <= NO_BITS
    }
}

/// What a drill is looked through for habits with.
pub(super) struct Finder<'a> {
    pub session: &'a Session,
    pub deeds: &'a [Deed],
    /// Whether a step is what would have been advised, by its place.
    pub offered: &'a dyn Fn(usize) -> bool,
    pub record: &'a Record,
    pub known: &'a [Known],
    pub still: &'a [StillPossible],
    /// What spoke against a wrong call.
    pub against: Option<&'a str>,
    /// Whether something did.
    pub spoken_against: bool,
}

/// A habit as it is gathered.
#[derive(Default)]
struct Found {
    steps: Vec<usize>,
    minutes: f64,
    /// The worst of its steps, and the minutes of that.
    worst: Option<(usize, f64)>,
}

impl Found {
    fn add(&mut self, step: usize, minutes: f64) {
        self.steps.push(step);
        self.minutes += minutes;
        if self.worst.is_none_or(|(_, most)| minutes > most) {
            self.worst = Some((step, minutes));
        }
    }
}

impl Finder<'_> {
    /// All habits, worst first.
    pub(super) fn habits(&self) -> Vec<Habit> {
        let mut found: BTreeMap<HabitKind, Found> = BTreeMap::new();
        let walks = self.visits_for_nothing();
        let too_often = self.record.confirmed_too_often(Rubric::shipped());
        for (at, deed) in self.deeds.iter().enumerate() {
            let walked = walks.iter().find(|(step, _)| *step == at).map(|(_, cost)| *cost);
            if let Some((kind, cost)) = self.kind_of(at, deed, walked) {
                found.entry(kind).or_default().add(at, cost);
            }
            if too_often.contains(&at) {
                let minutes = deed.record.confirming_minutes;
                found.entry(HabitKind::WentOnAfterProof).or_default().add(at, minutes);
            }
            if deed.record.cautions > 0 {
                found.entry(HabitKind::AgainstCautions).or_default().add(at, 0.0);
            }
            if deed.record.advised {
                found.entry(HabitKind::AskedForAdvice).or_default().add(at, 0.0);
            }
        }
        if self.record.reminded + self.record.judged > 0 {
            found.entry(HabitKind::AskedForAdvice).or_default();
        }
        let circuit = self.circuit();
        for said in self.session.said().iter().filter(|said| !said.is_right(circuit)) {
            found.entry(HabitKind::MisreadTheNeedle).or_default().add(said.entry, 0.0);
        }
        if self.record.unchecked {
            found.entry(HabitKind::NoFunctionCheck).or_default();
        }
        if self.record.wrong_marks > 0 || self.spoken_against {
            let steps = self.contradicted_since();
            let entry = found.entry(HabitKind::MisreadTheEvidence).or_default();
            for step in steps {
                entry.add(step, 0.0);
            }
        }
        if let Some(kind) = self.called_early() {
            found.entry(kind).or_default();
        }
        // By itself a habit may seem to cost more than the drill lost in all: no part of the
        // marks goes below nought.
        let lost = 100.0 - self.record.marked(Rubric::shipped()).total;
        let mut habits: Vec<Habit> = found
            .into_iter()
            .map(|(kind, found)| Habit {
                kind,
                points: self.points(kind, &found).min(lost),
                evidence: self.evidence(kind, &found),
                instead: self.instead(kind, &found),
                steps: found.steps,
                minutes: found.minutes,
            })
            // How needles are read is told apart from the points.
            .filter(|habit| {
                habit.points >= LEAST_POINTS || habit.kind == HabitKind::MisreadTheNeedle
            })
            .collect();
        habits.sort_by(|a, b| {
            b.points
                .total_cmp(&a.points)
                .then(b.minutes.total_cmp(&a.minutes))
                .then(a.kind.cmp(&b.kind))
        });
        habits
    }

    fn circuit(&self) -> &Circuit {
        self.session.circuit()
    }

    fn entry(&self, at: usize) -> &Entry {
        &self.session.log()[at]
    }

    /// The habit that one step shows, and the minutes that it cost; each step shows one at
    /// the most.
    fn kind_of(&self, at: usize, deed: &Deed, walked: Option<f64>) -> Option<(HabitKind, f64)> {
        let record = &deed.record;
        let lost = record.lost_minutes.0;
        if record.exchanged.is_some() {
            let uncalled = record.untested && lost >= Rubric::shipped().swap_minutes;
            let shows = record.implied || uncalled;
            return shows.then_some((HabitKind::ChangedBeforeTesting, lost));
        }
        if record.implied {
            let kind = if deed.proven_before {
                HabitKind::WentOnAfterProof
            } else {
                HabitKind::RetestedTheKnown
            };
            return Some((kind, lost));
        }
        if let Some(cost) = walked {
            return Some((HabitKind::WalkedForNothing, cost));
        }
        if lost < LEAST_MINUTES || (self.offered)(at) {
            return None;
        }
        let step = self.entry(at).observation.step;
        let kind = match deed.instead.as_ref().filter(|it| is_at_hand(it)) {
            Some(instead) if self.is_press_to_test(instead.step) => HabitKind::TrustedTheLamp,
            Some(_) if self.entry(at).minutes > AT_HAND_MINUTES => HabitKind::LeftWhatWasAtHand,
            _ => match step {
                Step::Go(there) if self.entry(at).before.opened[there.index()] => {
                    HabitKind::WalkedForNothing
                }
                Step::Go(_) | Step::LookAround | Step::Act(_) | Step::Probe(_) => {
                    HabitKind::WeakSplits
                }
            },
        };
        Some((kind, lost))
    }

    /// Walks to places where then nothing was done and nothing could be told, each with the
    /// minutes that going on directly would have saved.
    fn visits_for_nothing(&self) -> Vec<(usize, f64)> {
        let log = self.session.log();
        let goes = |at: usize| matches!(log[at].observation.step, Step::Go(_));
        let mut visits = Vec::new();
        for at in (0..log.len()).filter(|at| goes(*at)) {
            let Step::Go(there) = log[at].observation.step else { continue };
            let next = (at + 1..log.len()).find(|next| goes(*next));
            let visit = at..next.unwrap_or(log.len());
            let could_be_idle = visit.clone().all(|at| {
                let deed = &self.deeds[at];
                let left_alone = match log[at].observation.step {
                    Step::Go(_) | Step::LookAround | Step::Probe(_) => true,
                    Step::Act(act) => matches!(act, Act::Hold { .. }),
                };
                left_alone && deed.tells_nothing() && !deed.proven_before
            });
            if !could_be_idle {
                continue;
            }
            let before = &log[at].before;
            let onward = next.map_or(0.0, |next| {
                let Step::Go(then) = log[next].observation.step else { return 0.0 };
                log[next].minutes - before.minutes_to(self.circuit(), then)
            });
            // What was opened on the way need not be opened when one comes again.
            let again = log[visit.end..].iter().any(|e| e.observation.step == Step::Go(there));
            let opened = if again && !before.opened[there.index()] {
                self.circuit().station(there).open_minutes
            } else {
                0.0
            };
            let cost = log[at].minutes + onward - opened;
            // Whether it would have been advised takes longest to find out.
            if cost >= LEAST_MINUTES && !visit.clone().any(|at| (self.offered)(at)) {
                visits.push((at, cost));
            }
        }
        visits
    }

    /// Whether a step is a press that lights a lamp on a sound aircraft.
    fn is_press_to_test(&self, step: Step) -> bool {
        let Step::Act(act @ Act::Hold { .. }) = step else { return false };
        let mut rig = self.session.normal().clone();
        let station = self.circuit().part(act.part()).station;
        let faces: Vec<_> = rig.faces(station).collect();
        let Ok(sights) = rig.perform(step, station, &mut Vec::new()) else { return false };
        sights.iter().any(|sight| match sight.what {
            What::WhileHeld(part) => {
                matches!(self.circuit().part(part).kind, Kind::Lamp(_))
                    && faces
                        .iter()
                        .any(|(face, showing)| *face == part && *showing != sight.showing)
            }
            What::Face(_) | What::InHand(_) | What::Display(_) | What::Standing(_) => false,
        })
    }

    /// The steps from which on a mark that stood at the call was contradicted.
    fn contradicted_since(&self) -> Vec<usize> {
        let Some(last) = self.known.last() else { return Vec::new() };
        let wrong = |known: &Known, part: &String| {
            known.cleared_too_soon.contains(part) || known.suspected_too_long.contains(part)
        };
        let mut steps: Vec<usize> = last
            .cleared_too_soon
            .iter()
            .chain(&last.suspected_too_long)
            .filter_map(|part| {
                let right = self.known.iter().rposition(|known| !wrong(known, part));
                // The moment after the last one at which it was right; a step's number is one
                // less than its moment.
                right.filter(|right| *right + 1 < self.known.len())
            })
            .collect();
        steps.sort_unstable();
        steps.dedup();
        steps
    }

    /// Whether the call came before its proof though a step would have told, and by which
    /// habit.
    fn called_early(&self) -> Option<HabitKind> {
        match self.record.ending {
            Ending::NoCall | Ending::Proven => return None,
            Ending::Wrong if self.spoken_against => return None,
            Ending::Wrong | Ending::Unproven => {}
        }
        let (steps, _) = self.telling()?.step.as_ref()?;
        let pressed = steps.iter().any(|step| self.is_press_to_test(*step));
        Some(if pressed { HabitKind::TrustedTheLamp } else { HabitKind::CalledUnproven })
    }

    /// The likeliest other repair that a step would have told from the called one.
    fn telling(&self) -> Option<&StillPossible> {
        self.still.iter().find(|still| still.step.is_some() && !still.same_repair)
    }

    /// Points that a habit costs in a drill that is without a flaw otherwise.
    fn points(&self, kind: HabitKind, found: &Found) -> f64 {
        let mut steps = vec![StepRecord::default(); self.deeds.len()];
        for at in &found.steps {
            let record = self.deeds[*at].record;
            steps[*at] = match kind {
                HabitKind::AgainstCautions => {
                    StepRecord { cautions: record.cautions, ..StepRecord::default() }
                }
                HabitKind::AskedForAdvice => StepRecord { advised: true, ..StepRecord::default() },
                HabitKind::MisreadTheEvidence
                | HabitKind::MisreadTheNeedle
                | HabitKind::NoFunctionCheck => StepRecord::default(),
                HabitKind::ChangedBeforeTesting
                | HabitKind::CalledUnproven
                | HabitKind::TrustedTheLamp
                | HabitKind::RetestedTheKnown
                | HabitKind::WentOnAfterProof
                | HabitKind::WalkedForNothing
                | HabitKind::LeftWhatWasAtHand
                | HabitKind::WeakSplits => StepRecord {
                    cautions: 0,
                    advised: false,
                    // What confirms beyond measure counts like a test whose outcome is known.
                    implied: record.implied || record.confirming_minutes > 0.0,
                    lost_minutes: (
                        record.lost_minutes.0 + record.confirming_minutes,
                        record.lost_minutes.1 + record.confirming_minutes,
                    ),
                    confirming_minutes: 0.0,
                    ..record
                },
            };
        }
        let of_the_call = match kind {
            HabitKind::CalledUnproven => true,
            HabitKind::TrustedTheLamp => self.called_early() == Some(kind),
            HabitKind::MisreadTheEvidence => self.spoken_against,
            _ => false,
        };
        let asked = kind == HabitKind::AskedForAdvice;
        let misread = kind == HabitKind::MisreadTheEvidence;
        let alone = Record {
            steps,
            ending: if of_the_call { self.record.ending } else { Ending::Proven },
            minutes: self.record.par_minutes + found.minutes,
            par_minutes: self.record.par_minutes,
            cleared: if of_the_call { self.record.cleared } else { 1.0 },
            wrong_marks: if misread { self.record.wrong_marks } else { 0 },
            reminded: if asked { self.record.reminded } else { 0 },
            judged: if asked { self.record.judged } else { 0 },
            unchecked: kind == HabitKind::NoFunctionCheck,
        };
        let rubric = Rubric::shipped();
        let whole = Record {
            steps: vec![StepRecord::default(); self.deeds.len()],
            ending: Ending::Proven,
            minutes: alone.par_minutes,
            wrong_marks: 0,
            reminded: 0,
            judged: 0,
            unchecked: false,
            ..alone.clone()
        };
        whole.marked(rubric).total - alone.marked(rubric).total
    }

    /// What the record shows of it.
    fn evidence(&self, kind: HabitKind, found: &Found) -> String {
        let dearest = || {
            found.worst.map_or_else(String::new, |(at, _)| {
                let told = self.entry(at).observation.step.told(self.circuit());
                match found.steps.len() {
                    1 => told,
                    _ => format!("the dearest was step {}, {told}", at + 1),
                }
            })
        };
        match kind {
            HabitKind::AgainstCautions => {
                let mut breaches: Vec<&str> = Vec::new();
                for breach in found.steps.iter().flat_map(|at| &self.entry(*at).breaches) {
                    if !breaches.contains(&breach.as_str()) {
                        breaches.push(breach);
                    }
                }
                breaches.join("; ")
            }
            HabitKind::ChangedBeforeTesting => format!(
                "{} changed while other steps could still tell, or though known to be good: {}",
                counted(found.steps.len(), "part"),
                dearest()
            ),
            HabitKind::MisreadTheEvidence => {
                let mut told = Vec::new();
                if let Some(last) = self.known.last() {
                    if !last.cleared_too_soon.is_empty() {
                        let parts = last.cleared_too_soon.join(", ");
                        told.push(format!("{parts} cleared though still possible"));
                    }
                    if !last.suspected_too_long.is_empty() {
                        let parts = last.suspected_too_long.join(", ");
                        told.push(format!("{parts} still suspected though excluded"));
                    }
                }
                told.extend(self.against.filter(|_| self.spoken_against).map(str::to_owned));
                told.join("; ")
            }
            HabitKind::CalledUnproven => {
                let other = self.telling().map_or("another", |still| still.fault.as_str());
                format!("the call left {other} possible, which a step would have told apart")
            }
            HabitKind::TrustedTheLamp => {
                if found.steps.is_empty() {
                    let other = self.telling().map_or("a lamp", |still| still.fault.as_str());
                    format!("the call left {other} possible, which a press would have shown")
                } else {
                    format!("went on without the press: {}", dearest())
                }
            }
            HabitKind::RetestedTheKnown => format!(
                "{} whose outcome was known: {}",
                counted(found.steps.len(), "test"),
                dearest()
            ),
            HabitKind::WentOnAfterProof => {
                format!("tests after only one repair was left: {}", dearest())
            }
            HabitKind::WalkedForNothing => {
                format!("walks that another order would have saved: {}", dearest())
            }
            HabitKind::LeftWhatWasAtHand => {
                format!("something in reach told more for less: {}", dearest())
            }
            HabitKind::WeakSplits => format!(
                "provably more minutes than by the planned steps: {}, worth {}",
                dearest(),
                found.worst.map_or_else(String::new, |(at, _)| { bits(self.deeds[at].worth.bits) })
            ),
            HabitKind::NoFunctionCheck => {
                "the called part was exchanged, and nobody looked afterwards where the crew had \
                 seen the fault"
                    .to_owned()
            }
            HabitKind::MisreadTheNeedle => {
                let judged = |said: &&crate::drill::Said| !said.is_right(self.circuit());
                let wrong: Vec<String> = self
                    .session
                    .said()
                    .iter()
                    .filter(judged)
                    .map(|said| format!("step {}: {}", said.entry + 1, said.judged(self.circuit())))
                    .collect();
                wrong.join("; ")
            }
            HabitKind::AskedForAdvice => {
                let mut told = Vec::new();
                if !found.steps.is_empty() {
                    let steps = steps_told(&found.steps);
                    told.push(format!("the best next step was asked for before {steps}"));
                }
                let times = |count: u32| counted(count as usize, "time");
                if self.record.judged > 0 {
                    told.push(format!("what a step was worth {}", times(self.record.judged)));
                }
                if self.record.reminded > 0 {
                    told.push(format!("what had been shown {}", times(self.record.reminded)));
                }
                told.join("; ")
            }
        }
    }

    /// What to do instead, with the better step by name where there is one.
    fn instead(&self, kind: HabitKind, found: &Found) -> String {
        let remedy = kind.remedy();
        let better = found.worst.and_then(|(at, _)| {
            let better = self.deeds[at].instead.as_ref()?;
            Some(format!(
                "{remedy}. At step {}: {}, {} for {}",
                at + 1,
                told_with_walk(self.circuit(), better),
                bits(better.bits),
                minutes(better.minutes)
            ))
        });
        let told = match kind {
            HabitKind::CalledUnproven | HabitKind::TrustedTheLamp if better.is_none() => {
                self.telling().map(|still| format!("{remedy}. Here: {}", still.told))
            }
            HabitKind::ChangedBeforeTesting
            | HabitKind::TrustedTheLamp
            | HabitKind::LeftWhatWasAtHand
            | HabitKind::WeakSplits => better,
            _ => None,
        };
        told.unwrap_or_else(|| remedy.to_owned())
    }
}

fn is_at_hand(prospect: &Prospect) -> bool {
    !prospect.walk && prospect.minutes <= AT_HAND_MINUTES + 1e-9
}
