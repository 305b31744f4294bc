//! The way to the call as figures: what was left after every step, the same for the best
//! strategy known, and what could have been known when.

use std::fmt::Write;

use super::explain::is_provable;
use crate::circuit::{Circuit, PartId};
use crate::diagnosis::{Belief, entropy_bits, path_with_look};
use crate::drill::{Advisor, Mark, PROVEN, Session};
use crate::isolation::{Trial, Trying};
use crate::network::SolveError;
use crate::observation::{Act, Step, Whereabouts};
use crate::planning::Walk;
use crate::units::{counted, minutes};

/// What was left at one moment.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Point {
    /// Minutes since the start.
    pub minutes: f64,
    /// Faults still possible.
    pub faults: usize,
    /// Repair groups still possible.
    pub groups: usize,
    /// Uncertainty about the repair group, in bits.
    pub bits: f64,
}

impl Point {
    /// What a belief leaves, so many minutes into the drill.
    pub(super) fn of(belief: &Belief, minutes: f64) -> Self {
        Self {
            minutes,
            faults: belief.alive().count(),
            groups: belief.group_posterior().iter().filter(|p| **p > 0.0).count(),
            bits: belief.group_entropy_bits(),
        }
    }

    /// In words: `12 faults in 5 repair groups, 1.9 bits`.
    pub fn told(&self) -> String {
        let bits = if self.bits < 0.005 { 0.0 } else { self.bits };
        format!(
            "{} in {}, {bits:.2} bits",
            counted(self.faults, "fault"),
            counted(self.groups, "repair group"),
        )
    }
}

/// One test of the best strategy known, made on the aircraft of this drill.
#[derive(Clone, Debug, PartialEq)]
pub struct ParStep {
    /// In words.
    pub step: String,
    /// What was left after it.
    pub point: Point,
}

/// The way to the call, beside that of the best strategy known.
#[derive(Clone, Debug, PartialEq)]
pub struct Path {
    /// After the write-up, and after every step.
    pub own: Vec<Point>,
    /// What the best strategy known would have done about this fault. Empty where the
    /// write-up settles it, or where the fault is not in the table.
    pub par: Vec<ParStep>,
    /// After how many steps a call was provable; none for the write-up alone.
    pub provable: Option<usize>,
    /// The same for the best strategy known.
    pub par_provable: Option<usize>,
}

impl Path {
    /// What is left along the best strategy known, the write-up first.
    pub fn par_points(&self) -> Vec<Point> {
        self.own.first().copied().into_iter().chain(self.par.iter().map(|s| s.point)).collect()
    }

    /// From when on a call was provable, beside the same for the best strategy known; in
    /// one sentence without its full stop.
    pub fn proof_told(&self) -> String {
        let at = |after: usize, thing: &str, points: &[Point]| match (after, points.get(after)) {
            (1.., Some(point)) => format!("{} ({thing} {after})", minutes(point.minutes)),
            _ => "the start".to_owned(),
        };
        let own = match self.provable {
            Some(after) => format!("a call was provable from {} on", at(after, "step", &self.own)),
            None => "no call was provable".to_owned(),
        };
        match self.par_provable {
            Some(after) => {
                format!("{own}; on par's way from {} on", at(after, "test", &self.par_points()))
            }
            None => format!(
                "{own}; on par's way it never is: none of the tests it reckons with tells the last \
                 faults apart"
            ),
        }
    }
}

/// What par's way leaves, test by test, and after how many of them a call is provable: the
/// steps are taken on the very aircraft, and what they show is weighed. `which` leads from the
/// tests of the walk to the isolation's.
///
/// # Errors
/// [`SolveError`] when some state on the way has no solution.
pub(super) fn par_steps(
    session: &Session,
    advisor: &Advisor,
    which: &[u32],
    walk: &Walk,
) -> Result<(Vec<ParStep>, Option<usize>), SolveError> {
    let circuit = session.circuit();
    let mut place = advisor.start().clone();
    let mut belief = advisor.belief().clone();
    let proves = |belief: &Belief| belief.group_posterior().iter().any(|p| *p >= PROVEN);
    let mut provable = proves(&belief).then_some(0);
    let mut taken = Vec::new();
    let mut steps = Vec::new();
    for ((test, _), minutes) in walk.made.iter().zip(&walk.clock) {
        let (step, path) = steps_of(circuit, advisor, which[*test as usize], (&belief, &place));
        let before = taken.len();
        taken.extend(path);
        for observation in &session.shown_along(&taken)?[before..] {
            belief.observe(observation);
            place.after(circuit, observation.step);
        }
        let groups = belief.group_posterior();
        let point = Point {
            minutes: *minutes,
            faults: belief.alive().count(),
            groups: groups.iter().filter(|p| **p > 0.0).count(),
            bits: entropy_bits(&groups),
        };
        steps.push(ParStep { step, point });
        if provable.is_none() && proves(&belief) {
            provable = Some(steps.len());
        }
    }
    Ok((steps, provable))
}

/// What an exchange or a reset is followed by; its minutes are counted with it.
const AND_LOOK: &str = ", and look whether that has helped";

/// A test of the table in words, with what it takes to get to it from where one stands, and
/// as steps.
fn steps_of(
    circuit: &Circuit,
    advisor: &Advisor,
    test: u32,
    (belief, place): (&Belief, &Whereabouts),
) -> (String, Vec<Step>) {
    let (isolation, start) = (advisor.isolation(), advisor.start());
    let trial = &isolation.trials()[test as usize];
    let Some(found) = isolation.find(circuit, start, place) else {
        return (bare(circuit, trial), Vec::new());
    };
    let path = isolation.path(test, circuit, start, (place, &found));
    let mut text = String::new();
    for (at, step) in path.iter().enumerate() {
        let after_a_walk = at > 0 && matches!(path[at - 1], Step::Go(_));
        text.push_str(match (at, after_a_walk) {
            (0, _) => "",
            (_, true) => " and ",
            (_, false) => ", then ",
        });
        text.push_str(&step.told(circuit));
    }
    let act = match trial.trying {
        Trying::Exchange(part) => Act::Replace(part),
        Trying::Reset(breaker) => Act::PushIn(breaker),
        Trying::Look | Trying::Hold(_) | Trying::Measure(_) | Trying::PullFuse(_) => {
            return (text, path);
        }
    };
    text.push_str(AND_LOOK);
    (text, path_with_look(belief, circuit, place, act))
}

/// A test by itself, where nothing is known of the way to it.
fn bare(circuit: &Circuit, trial: &Trial) -> String {
    let step = match trial.trying {
        Trying::Look => Step::Go(trial.station),
        Trying::Hold(act) => Step::Act(act),
        Trying::Measure(probe) => Step::Probe(probe),
        Trying::PullFuse(fuse) => Step::Act(Act::Pull(fuse)),
        Trying::Reset(breaker) => Step::Act(Act::PushIn(breaker)),
        Trying::Exchange(part) => Step::Act(Act::Replace(part)),
    };
    step.told(circuit)
}

/// What could have been known at one moment, beside what was marked.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Known {
    /// Faults that had been excluded by then, those of the write-up included.
    pub excluded: usize,
    /// Faults that fell at this very step, as `PART:MODE`.
    pub fell: Vec<String>,
    /// Parts of which the last possible fault fell here.
    pub parts_out: Vec<String>,
    /// Parts marked cleared by then, and rightly.
    pub cleared: Vec<String>,
    /// Parts marked cleared that could still be it.
    pub cleared_too_soon: Vec<String>,
    /// Parts marked suspect by then that could still be it.
    pub suspected: Vec<String>,
    /// Parts marked suspect of which nothing was possible any more.
    pub suspected_too_long: Vec<String>,
}

impl Known {
    /// In words, as sentences without the last full stop: how many faults were out, and how
    /// that agrees with what was marked.
    pub fn told(&self) -> String {
        let mut text = format!("{} excluded", counted(self.excluded, "fault"));
        match self.fell.len() {
            0 => text.push_str(", none of them here"),
            fell if fell == self.excluded => {}
            fell => {
                let _ = write!(text, ", {fell} of them here");
            }
        }
        for (parts, words) in [
            (&self.cleared, "rightly cleared"),
            (&self.suspected, "suspected, and still possible"),
            (&self.cleared_too_soon, "cleared though still possible"),
            (&self.suspected_too_long, "suspected though excluded"),
        ] {
            if !parts.is_empty() {
                text.push_str("; ");
                text.push_str(words);
                text.push_str(": ");
                text.push_str(&parts.join(", "));
            }
        }
        text
    }

    /// Whether anything was marked by then.
    pub fn is_marked(&self) -> bool {
        [&self.cleared, &self.suspected, &self.cleared_too_soon, &self.suspected_too_long]
            .iter()
            .any(|parts| !parts.is_empty())
    }
}

/// What could have been known after the write-up and after every step; `belief` is what was
/// known at the call.
pub(super) fn known(session: &Session, belief: &Belief) -> Vec<Known> {
    let circuit = session.circuit();
    let told = session.write_up().observations.len();
    // At which moment each fault fell: the write-up is moment nought.
    let fell_at = |at: usize| (at + 1).saturating_sub(told);
    let moments = session.log().len() + 1;
    let mut known = vec![Known::default(); moments];
    // The moment at which the last fault of each part fell; `None` while one is possible.
    let mut parts: Vec<(bool, Option<usize>)> = vec![(false, Some(0)); circuit.parts.len()];
    for candidate in belief.candidates() {
        let moment = candidate.excluded.as_ref().map(|out| fell_at(out.at));
        for fault in candidate.cause.faults() {
            let part = &mut parts[fault.part.index()];
            part.0 = true;
            part.1 = part.1.zip(moment).map(|(before, now)| before.max(now));
        }
        if let Some(known) = moment.and_then(|moment| known.get_mut(moment)) {
            known.fell.push(candidate.cause.code(circuit));
        }
    }
    let out_by = |part: PartId, moment: usize| {
        let (can_fail, out) = parts[part.index()];
        !can_fail || out.is_some_and(|out| out <= moment)
    };
    let mut marks = std::collections::BTreeMap::new();
    let mut notes = session.noted().iter().peekable();
    let mut excluded = 0;
    for (moment, known) in known.iter_mut().enumerate() {
        excluded += known.fell.len();
        known.excluded = excluded;
        for (id, part) in circuit.parts_with_ids() {
            if parts[id.index()] == (true, Some(moment)) {
                known.parts_out.push(part.id.clone());
            }
        }
        while let Some(note) = notes.next_if(|note| note.after_steps <= moment) {
            match note.mark {
                Some(mark) => marks.insert(note.part, mark),
                None => marks.remove(&note.part),
            };
        }
        for (part, mark) in &marks {
            let list = match (mark, out_by(*part, moment)) {
                (Mark::Cleared, true) => &mut known.cleared,
                (Mark::Cleared, false) => &mut known.cleared_too_soon,
                (Mark::Suspect, false) => &mut known.suspected,
                (Mark::Suspect, true) => &mut known.suspected_too_long,
            };
            list.push(circuit.part(*part).id.clone());
        }
    }
    known
}

/// Gathers the points of a drill as it is gone through.
#[derive(Debug)]
pub(super) struct Points {
    pub(super) own: Vec<Point>,
    pub(super) provable: Option<usize>,
}

impl Points {
    /// From what the write-up left.
    pub(super) fn new(start: &Belief) -> Self {
        Self { own: vec![Point::of(start, 0.0)], provable: is_provable(start).then_some(0) }
    }

    /// Takes in what was known after the next step; tells whether a call has become
    /// provable by it.
    pub(super) fn push(&mut self, belief: &Belief, minutes: f64) -> bool {
        let first = self.provable.is_none() && is_provable(belief);
        if first {
            self.provable = Some(self.own.len());
        }
        self.own.push(Point::of(belief, minutes));
        first
    }
}
