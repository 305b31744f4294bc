//! The path of a debrief, and what could have been known when, moment by moment against
//! brute force.

use std::collections::BTreeMap;
use std::sync::Arc;

use halfsplit::circuit::Circuit;
use halfsplit::drill::{Action, Mark, Session};
use halfsplit::observation::Step;
use halfsplit::score::{Debrief, ParStep};

use super::brute::Suspects;
use super::debrief::path;

/// What is said of one moment: nought is the write-up, then every step. `told` is how many
/// observations the write-up has.
pub(super) fn held(
    session: &Session,
    found: &Debrief,
    moment: usize,
    (suspects, told): (&Suspects, usize),
) {
    let name = format!("{} after {moment} steps", found.verdict.planted);
    let point = found.path.own[moment];
    let clock = moment.checked_sub(1).map_or(0.0, |step| session.log()[step].clock);
    assert_eq!(point.minutes, clock, "{name}");
    assert_eq!(point.faults, suspects.alive().count(), "{name}");
    assert_eq!(point.groups, suspects.by_group().len(), "{name}");
    assert!((point.bits - suspects.group_bits()).abs() < 1e-9, "{name}: {point:?}");
    let known = &found.known[moment];
    let out: Vec<_> = suspects.all.iter().filter(|s| s.out.is_some()).collect();
    assert_eq!(known.excluded, out.len(), "{name}");
    let here = |at: usize| (at + 1).saturating_sub(told) == moment;
    let fell = out.iter().filter(|s| s.out.as_ref().is_some_and(|out| here(out.at)));
    let fell: Vec<&str> = fell.map(|s| s.code.as_str()).collect();
    assert_eq!(known.fell, fell, "{name}");
    // Parts of which nothing is left: of every part all faults together.
    let mut open: BTreeMap<&str, bool> = BTreeMap::new();
    for suspect in &suspects.all {
        let (part, _) = suspect.code.rsplit_once(':').expect("a part and a mode");
        *open.entry(part).or_default() |= suspect.out.is_none();
    }
    let gone = |moments: &[halfsplit::score::Known]| -> Vec<String> {
        let mut parts: Vec<String> =
            moments.iter().flat_map(|known| known.parts_out.clone()).collect();
        parts.sort();
        parts
    };
    let expected: Vec<String> =
        open.iter().filter(|(_, open)| !**open).map(|(part, _)| (*part).to_owned()).collect();
    assert_eq!(gone(&found.known[..=moment]), expected, "{name}");
    let mut marks: BTreeMap<&str, Option<Mark>> = BTreeMap::new();
    let circuit = session.circuit();
    for noted in session.noted().iter().filter(|noted| noted.after_steps <= moment) {
        marks.insert(&circuit.part(noted.part).id, noted.mark);
    }
    let marked = |mark: Mark, possible: bool| -> Vec<&str> {
        let fits = |(part, noted): &(&&str, &Option<Mark>)| {
            **noted == Some(mark) && open.get(**part).copied().unwrap_or(false) == possible
        };
        let mut parts: Vec<&str> = marks.iter().filter(fits).map(|(part, _)| *part).collect();
        parts.sort_by_key(|part| circuit.find_part(part));
        parts
    };
    assert_eq!(known.cleared, marked(Mark::Cleared, false), "{name}");
    assert_eq!(known.cleared_too_soon, marked(Mark::Cleared, true), "{name}");
    assert_eq!(known.suspected, marked(Mark::Suspect, true), "{name}");
    assert_eq!(known.suspected_too_long, marked(Mark::Suspect, false), "{name}");
}

/// Par's way, done on the aircraft: what it says is left is never less than what is, the
/// hidden fault is always among it, and its minutes are those of par. Returns how many of
/// its tests leave exactly as much.
pub(super) fn par_held(
    circuit: &Arc<Circuit>,
    session: &Session,
    found: &Debrief,
    (start, steps): (&Suspects, &BTreeMap<String, Step>),
) -> usize {
    let name = &found.verdict.planted;
    let par = &found.path.par;
    let Some(last) = par.last() else { return 0 };
    assert!((last.point.minutes - found.par.own_minutes).abs() < 1e-9, "{name}");
    let mut suspects = start.clone();
    let mut again =
        Session::planted(Arc::clone(circuit), session.truth().faults()[0].clone(), session.seed())
            .expect("it settles");
    let mut exact = 0;
    let mut before = found.path.own[0];
    for ParStep { step, point } in par {
        assert!(point.minutes >= before.minutes && point.faults <= before.faults, "{name}: {step}");
        // Where to look after an exchange is not told step by step.
        if step.ends_with("look whether that has helped") {
            break;
        }
        let done = again.log().len();
        for step in path(step, steps) {
            again.apply(Action::Step(step));
        }
        for entry in &again.log()[done..] {
            suspects.observe(&entry.observation);
        }
        let left = suspects.alive().count();
        assert_eq!(point.faults, left, "{name}: {step}");
        assert!(point.groups <= before.groups && point.bits >= 0.0, "{name}: {step}");
        if point.faults == left {
            exact += 1;
            assert!((point.bits - suspects.group_bits()).abs() < 0.2, "{name}: {step}: {point:?}");
        }
        before = *point;
    }
    exact
}
