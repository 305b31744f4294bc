//! Marking a record of what was done against a rubric.

use super::rubric::Rubric;

/// One step as far as marking is concerned.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct StepRecord {
    /// Expected minutes that it cost more than the best step: at least, at most.
    pub lost_minutes: (f64, f64),
    /// Whether its outcome was already known.
    pub implied: bool,
    /// Whether a part was exchanged, and whether that part was good.
    pub exchanged: Option<Exchanged>,
    /// Whether a look or a measurement could still have told something then.
    pub untested: bool,
    /// Cautions that it went against.
    pub cautions: u32,
    /// Whether the best next step had been asked for just before.
    pub advised: bool,
    /// Minutes of a measurement of the called part once that was proven; nought for any
    /// other step. As many as [`Rubric::confirmations`] cost nothing.
    pub confirming_minutes: f64,
}

/// A part that was exchanged.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Exchanged {
    /// It was good.
    Good,
    /// It was the failed one.
    Failed,
}

/// How it ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Ending {
    /// No call.
    NoCall,
    /// A call of a part that is good.
    Wrong,
    /// The right part, without a proof.
    Unproven,
    /// The right part, proved.
    Proven,
}

/// Everything that is marked.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    /// The steps in order.
    pub steps: Vec<StepRecord>,
    /// How it ended.
    pub ending: Ending,
    /// Minutes in all, without those for mending what had been isolated.
    pub minutes: f64,
    /// Expected minutes of the best known strategy from the start, or what that takes for
    /// this very fault, whichever is more.
    pub par_minutes: f64,
    /// Share of the doubt about the repair group, in bits, that the steps have cleared; all
    /// of it where nothing could have told any more.
    pub cleared: f64,
    /// Marks on the suspects board that what was seen contradicts.
    pub wrong_marks: u32,
    /// Times a reminder of what had been shown was asked for.
    pub reminded: u32,
    /// Times the judgement on the last step was asked for.
    pub judged: u32,
    /// Whether the called part was exchanged and nobody looked whether that had helped.
    pub unchecked: bool,
}

/// Points, part by part.
#[derive(Clone, Debug, PartialEq)]
pub struct Score {
    /// Out of [`Rubric::reasoning`].
    pub reasoning: f64,
    /// Out of [`Rubric::proof`].
    pub proof: f64,
    /// Out of [`Rubric::economy`].
    pub economy: f64,
    /// Out of [`Rubric::practice`].
    pub practice: f64,
    /// Out of [`Rubric::belief`].
    pub belief: f64,
    /// The most that could be had, and why, where that is less than 100.
    pub cap: Option<(f64, &'static str)>,
    /// Points in all.
    pub total: f64,
}

impl Record {
    /// Expected minutes lost over all steps: at least, at most.
    pub fn lost_minutes(&self) -> (f64, f64) {
        self.steps.iter().fold((0.0, 0.0), |(least, most), step| {
            (least + step.lost_minutes.0, most + step.lost_minutes.1)
        })
    }

    /// The steps that confirm what had been proven beyond what the trade allows, by their
    /// place: the last ones before the call are allowed.
    pub fn confirmed_too_often(&self, rubric: &Rubric) -> Vec<usize> {
        let confirms = |at: &usize| self.steps[*at].confirming_minutes > 0.0;
        let mut all: Vec<usize> = (0..self.steps.len()).filter(confirms).collect();
        all.truncate(all.len().saturating_sub(rubric.confirmations as usize));
        all
    }

    /// Marks the record.
    pub fn marked(&self, rubric: &Rubric) -> Score {
        let count = |counts: &dyn Fn(&StepRecord) -> bool| {
            self.steps.iter().filter(|step| counts(step)).count() as f64
        };
        let sum = |of: &dyn Fn(&StepRecord) -> f64| self.steps.iter().map(of).sum::<f64>();
        let too_often = self.confirmed_too_often(rubric);
        let confirmed: f64 = too_often.iter().map(|at| self.steps[*at].confirming_minutes).sum();
        let allowed = sum(&|step| step.confirming_minutes) - confirmed;
        let known = count(&|step| step.implied) + too_often.len() as f64;
        let lost = self.lost_minutes().0 + confirmed + rubric.implied_minutes * known;
        // What has been left in doubt has not been isolated, however few steps that took.
        let isolated = match self.ending {
            Ending::Proven => 1.0,
            Ending::NoCall | Ending::Wrong | Ending::Unproven => self.cleared.clamp(0.0, 1.0),
        };
        let half = (rubric.half_lost_at * self.par_minutes).max(rubric.half_lost_at_least_minutes);
        let advised = rubric.advice * count(&|step| step.advised)
            + rubric.reminder * f64::from(self.reminded)
            + rubric.judgement * f64::from(self.judged);
        let reasoning = (rubric.reasoning * libm::exp2(-lost / half) - advised).max(0.0) * isolated;
        let proof = if self.ending == Ending::Proven { rubric.proof } else { 0.0 };
        let swap = |step: &StepRecord| {
            let uncalled = step.untested && step.lost_minutes.0 >= rubric.swap_minutes;
            step.exchanged.filter(|_| uncalled)
        };
        let swapped_good = count(&|step| swap(step) == Some(Exchanged::Good));
        let swapped = swapped_good + count(&|step| swap(step) == Some(Exchanged::Failed));
        let minutes = self.minutes - allowed;
        let pace = if minutes > self.par_minutes { self.par_minutes / minutes } else { 1.0 };
        let economy = (rubric.economy * pace - rubric.good_part * swapped_good).max(0.0) * isolated;
        let cautions = f64::from(self.steps.iter().map(|step| step.cautions).sum::<u32>());
        let practice = (rubric.practice
            - rubric.caution * cautions
            - if self.unchecked { rubric.unchecked } else { 0.0 })
        .max(0.0);
        let wrong_marks = f64::from(self.wrong_marks);
        let belief = (rubric.belief - rubric.wrong_mark * wrong_marks).max(0.0);
        let caps = [
            (self.ending == Ending::NoCall, rubric.no_call, "no call was made"),
            (self.ending == Ending::Wrong, rubric.wrong_call, "the call was wrong"),
            (self.ending == Ending::Unproven, rubric.unproven, "the call was not proven"),
            (swapped_good > 0.0, rubric.swapped_good, "a good part was changed without need"),
            (swapped > 0.0, rubric.swapped, "a part was changed before it was called for"),
        ];
        let cap = caps
            .into_iter()
            .filter(|(holds, ..)| *holds)
            .map(|(_, points, why)| (points, why))
            .reduce(|least, next| if next.0 < least.0 { next } else { least });
        let sum = reasoning + proof + economy + practice + belief;
        let total = cap.map_or(sum, |(points, _)| sum.min(points));
        Score { reasoning, proof, economy, practice, belief, cap, total }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    fn random(chance: &mut Chance) -> Record {
        let steps = (0..(chance.unit() * 8.0) as usize)
            .map(|_| {
                let least = (chance.signed() * 6.0).max(0.0);
                StepRecord {
                    lost_minutes: (least, least + chance.unit()),
                    implied: chance.unit() < 0.2,
                    exchanged: match (chance.unit() * 8.0) as u32 {
                        0 => Some(Exchanged::Good),
                        1 => Some(Exchanged::Failed),
                        _ => None,
                    },
                    untested: chance.unit() < 0.5,
                    cautions: u32::from(chance.unit() < 0.1),
                    advised: chance.unit() < 0.1,
                    confirming_minutes: (chance.signed() * 2.0).max(0.0),
                }
            })
            .collect();
        let endings = [Ending::NoCall, Ending::Wrong, Ending::Unproven, Ending::Proven];
        Record {
            steps,
            ending: endings[(chance.unit() * 4.0) as usize],
            minutes: 30.0 * chance.unit(),
            par_minutes: 1.0 + 20.0 * chance.unit(),
            cleared: chance.unit(),
            wrong_marks: (chance.unit() * 4.0) as u32,
            reminded: (chance.unit() * 3.0) as u32,
            judged: (chance.unit() * 3.0) as u32,
            unchecked: chance.unit() < 0.2,
        }
    }

    #[test]
    fn the_parts_add_up_to_a_hundred_and_nothing_lost_is_all_of_it() {
        let rubric = Rubric::shipped();
        let best = Record {
            steps: vec![StepRecord::default(); 5],
            ending: Ending::Proven,
            minutes: 12.0,
            par_minutes: 12.0,
            cleared: 1.0,
            wrong_marks: 0,
            reminded: 0,
            judged: 0,
            unchecked: false,
        };
        assert_eq!(best.marked(rubric).total, 100.0);
        assert_eq!(rubric.explained().len(), 6);
    }

    #[test]
    fn a_useless_step_never_helps_and_a_wrong_call_never_passes() {
        let rubric = Rubric::shipped();
        let mut chance = Chance::stream(11, "marks");
        for _ in 0..2000 {
            let record = random(&mut chance);
            let before = record.marked(rubric);
            assert!((0.0..=100.0).contains(&before.total), "{before:?}");
            if record.ending == Ending::Wrong {
                assert!(before.total <= 30.0, "{before:?}");
            }
            // A step that tells nothing costs its own minutes, and no more; so does one that
            // confirms what is proven.
            let minutes = 0.01 + chance.unit();
            let known = StepRecord {
                lost_minutes: (minutes * chance.unit(), minutes),
                implied: true,
                ..StepRecord::default()
            };
            let confirming = StepRecord { confirming_minutes: minutes, ..StepRecord::default() };
            for useless in [known, confirming] {
                let mut longer = record.clone();
                longer.minutes += longer.steps.iter().map(|s| s.confirming_minutes).sum::<f64>();
                let before = longer.marked(rubric).total;
                let at = (chance.unit() * (record.steps.len() as f64 + 1.0)) as usize;
                longer.steps.insert(at, useless);
                longer.minutes += minutes;
                assert!(longer.marked(rubric).total <= before + 1e-9, "{longer:?}");
            }
        }
    }

    #[test]
    fn one_confirming_measurement_is_free_and_a_second_is_not() {
        let rubric = Rubric::shipped();
        assert_eq!(rubric.confirmations, 1);
        let confirmed = |times: usize| Record {
            steps: vec![StepRecord { confirming_minutes: 0.8, ..StepRecord::default() }; times],
            ending: Ending::Proven,
            minutes: 12.0 + 0.8 * times as f64,
            par_minutes: 12.0,
            cleared: 1.0,
            wrong_marks: 0,
            reminded: 0,
            judged: 0,
            unchecked: false,
        };
        let total = |times| confirmed(times).marked(rubric).total;
        assert_eq!((total(0), total(1)), (100.0, 100.0));
        assert!(total(2) < 96.0 && total(3) < total(2), "{} {}", total(2), total(3));
    }

    #[test]
    fn a_call_is_worth_what_has_been_cleared_before_it() {
        let rubric = Rubric::shipped();
        let called = |ending, cleared| Record {
            steps: Vec::new(),
            ending,
            minutes: 0.0,
            par_minutes: 5.0,
            cleared,
            wrong_marks: 0,
            reminded: 0,
            judged: 0,
            unchecked: false,
        };
        for ending in [Ending::NoCall, Ending::Wrong, Ending::Unproven] {
            let blind = called(ending, 0.0).marked(rubric);
            assert_eq!((blind.reasoning, blind.proof, blind.economy), (0.0, 0.0, 0.0));
            assert_eq!(blind.total, rubric.practice + rubric.belief);
            let mut last = blind.total;
            for share in 1..=10 {
                let total = called(ending, f64::from(share) / 10.0).marked(rubric).total;
                assert!(total >= last, "{ending:?} {share}");
                last = total;
            }
        }
        assert_eq!(called(Ending::Proven, 0.0).marked(rubric).total, 100.0);
        assert_eq!(called(Ending::Unproven, 1.0).marked(rubric).total, rubric.unproven);
    }
}
