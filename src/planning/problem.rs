//! What is planned: candidates, tests, what it takes to reach them, and where one starts.
//!
//! A [`Table`] is what a caller writes, in minutes and relative weights. A [`Problem`] is the
//! same in whole numbers: minutes become thousandths, weights become shares of about 2^28.
//! All planning is arithmetic on whole numbers below 2^53, which an `f64` holds exactly, so
//! no bound ever needs an allowance for rounding and a proof is checked by equality.
//!
//! **Candidates** that no test tells apart are one [`Class`]. When they belong to one repair
//! group the class carries that group; when they do not, the class is an *ambiguity set*: no
//! strategy can do better than to end with the whole set, so it ends there and nothing is
//! charged for what no test can do. A strategy goes on until every two candidates of
//! different groups that some test tells apart have been told apart.
//!
//! **A marginal reading** (a fault may show either of two outcomes, always the same one in
//! one aircraft) is written as two candidates of the same group with the weight split between
//! them, each with a fixed outcome. That is exact as long as a second look shows the same.
//!
//! **Access** to a place is paid once, by the first thing done there. **Configuration**: one
//! is current at a time. A test that needs one which is not current pays that configuration's
//! own minutes, whatever was current before, and opens those of the configuration's places
//! that are closed, say where its control stands; a test that needs none leaves it as it is.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Ticks in a minute: costs are whole thousandths.
pub const TICKS_PER_MINUTE: f64 = 1000.0;

/// What weights are scaled to in sum, unless they are whole numbers already.
const WEIGHT_SUM: f64 = (1_u64 << 28) as f64;

/// The largest sum of weights that is kept as written.
const WEIGHT_LIMIT: f64 = (1_u64 << 29) as f64;

/// The most ticks that any strategy could take; times [`WEIGHT_LIMIT`] this stays below 2^53.
const TICKS_LIMIT: u64 = 1 << 24;

/// One thing that may be wrong.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Candidate {
    /// How likely it is, relative to the others; above zero.
    pub weight: f64,
    /// What would be repaired: candidates of one group need not be told apart.
    pub group: u32,
}

/// One thing that can be looked at.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Test {
    /// Minutes it takes each time, without access and configuration.
    pub minutes: f64,
    /// The place that has to be open, an index into [`Table::places`].
    pub place: Option<u32>,
    /// The configuration that has to be current, an index into [`Table::configurations`].
    pub needs: Option<u32>,
    /// What it shows for each candidate.
    pub outcomes: Vec<u16>,
}

/// How everything can be set up.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Configuration {
    /// Minutes to bring it about, from any other.
    pub minutes: f64,
    /// The places that have to be open for that, indices into [`Table::places`].
    pub places: [Option<u32>; 2],
}

/// What has to be done before a test where one stands, and what that takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Setup {
    /// Minutes of all of it.
    pub minutes: f64,
    /// Closed places that it opens: those of the configuration, that of the test.
    pub opens: [Option<u32>; 3],
    /// The configuration that is current afterwards.
    pub configuration: Option<u32>,
}

/// A planning problem as its author writes it.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Table {
    /// What may be wrong.
    pub candidates: Vec<Candidate>,
    /// What can be looked at.
    pub tests: Vec<Test>,
    /// Minutes to open each place, paid once. At most 64 places.
    pub places: Vec<f64>,
    /// How everything can be set up.
    pub configurations: Vec<Configuration>,
    /// The configuration that is current at the start; `None` when it is none of them.
    pub start: Option<u32>,
    /// Places that are open already.
    pub open: Vec<u32>,
}

impl Table {
    /// What has to be done before a test, with these places open and this configuration
    /// current.
    pub fn setup(&self, test: u32, is_open: impl Fn(u32) -> bool, current: Option<u32>) -> Setup {
        let test = &self.tests[test as usize];
        let mut setup = Setup { minutes: 0.0, opens: [None; 3], configuration: current };
        let mut places = [None, None, test.place];
        if let Some(needs) = test.needs.filter(|needs| current != Some(*needs)) {
            let configuration = self.configurations[needs as usize];
            setup.minutes += configuration.minutes;
            places[..2].copy_from_slice(&configuration.places);
            setup.configuration = Some(needs);
        }
        for (at, place) in places.into_iter().enumerate() {
            if let Some(place) = place.filter(|place| !is_open(*place))
                && !setup.opens.contains(&Some(place))
            {
                setup.minutes += self.places[place as usize];
                setup.opens[at] = Some(place);
            }
        }
        setup
    }
}

/// Why a table is no planning problem.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum ProblemError {
    /// There is nothing to find.
    #[error("there are no candidates")]
    Empty,
    /// More than can be numbered.
    #[error("{count} {what} are more than {limit}")]
    TooMany {
        /// Of what.
        what: &'static str,
        /// How many there are.
        count: usize,
        /// How many there may be.
        limit: usize,
    },
    /// A weight that is not a number above zero.
    #[error("candidate {candidate} weighs {weight}: a weight is a finite number above zero")]
    Weight {
        /// Which candidate.
        candidate: usize,
        /// Its weight.
        weight: f64,
    },
    /// Minutes that are not a number of zero or more.
    #[error("{what} {index} takes {minutes} minutes: minutes are finite and not below zero")]
    Minutes {
        /// A test, a place or a configuration.
        what: &'static str,
        /// Which one.
        index: usize,
        /// Its minutes.
        minutes: f64,
    },
    /// All tests together take longer than can be added up exactly.
    #[error("everything together takes {minutes} minutes, more than {limit}")]
    TooLong {
        /// The sum of all tests, places and changes.
        minutes: f64,
        /// What it may be.
        limit: f64,
    },
    /// An outcome is missing or one too many.
    #[error("test {test} has {found} outcomes for {expected} candidates")]
    Outcomes {
        /// Which test.
        test: usize,
        /// How many it has.
        found: usize,
        /// How many it should have.
        expected: usize,
    },
    /// A place or configuration that is not in the table.
    #[error("{what} {index} is named, but there are only {count}")]
    Missing {
        /// A place or a configuration.
        what: &'static str,
        /// What was named.
        index: u32,
        /// How many there are.
        count: usize,
    },
    /// A test or outcome that does not fit where one stands.
    #[error("test {test} cannot show {outcome} here")]
    NoSuchOutcome {
        /// Which test.
        test: u32,
        /// What it was said to show.
        outcome: u16,
    },
}

/// Candidates that no test tells apart.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Class {
    /// Their indices, ascending.
    pub candidates: Vec<u32>,
    /// Their groups, ascending; more than one makes the class an ambiguity set.
    pub groups: Vec<u32>,
    /// Their weights together.
    pub weight: u64,
    /// Classes with the same label need not be told apart. An ambiguity set has its own.
    pub label: u32,
}

/// A planning problem in whole numbers, with its classes; made by [`Problem::new`].
#[derive(Debug, Clone, PartialEq)]
pub struct Problem {
    table: Table,
    classes: Vec<Class>,
    costs: Vec<u64>,
    access: Vec<u64>,
    changes: Vec<u64>,
}

fn ticks(what: &'static str, index: usize, minutes: f64) -> Result<u64, ProblemError> {
    if !minutes.is_finite() || minutes < 0.0 {
        return Err(ProblemError::Minutes { what, index, minutes });
    }
    Ok((minutes * TICKS_PER_MINUTE).round() as u64)
}

fn few(what: &'static str, count: usize, limit: usize) -> Result<(), ProblemError> {
    if count > limit {
        return Err(ProblemError::TooMany { what, count, limit });
    }
    Ok(())
}

fn inside(what: &'static str, index: Option<u32>, count: usize) -> Result<(), ProblemError> {
    match index {
        Some(index) if index as usize >= count => Err(ProblemError::Missing { what, index, count }),
        _ => Ok(()),
    }
}

/// Weights in whole numbers: as they are when they are whole, else scaled, none below one.
fn whole_weights(candidates: &[Candidate]) -> Result<Vec<u64>, ProblemError> {
    for (candidate, one) in candidates.iter().enumerate() {
        if !one.weight.is_finite() || one.weight <= 0.0 {
            return Err(ProblemError::Weight { candidate, weight: one.weight });
        }
    }
    let sum: f64 = candidates.iter().map(|one| one.weight).sum();
    if sum <= WEIGHT_LIMIT && candidates.iter().all(|one| one.weight.fract() == 0.0) {
        return Ok(candidates.iter().map(|one| one.weight as u64).collect());
    }
    // Dividing by the largest first keeps the sum of huge weights from overflowing.
    let largest = candidates.iter().fold(0.0_f64, |most, one| most.max(one.weight));
    let sum: f64 = candidates.iter().map(|one| one.weight / largest).sum();
    let scale = WEIGHT_SUM / sum;
    Ok(candidates
        .iter()
        .map(|one| ((one.weight / largest * scale).round() as u64).max(1))
        .collect())
}

impl Problem {
    /// Checks a table and brings it into whole numbers.
    ///
    /// # Errors
    /// When a number is not finite or has the wrong sign, an index names nothing, or there is
    /// more than can be added up exactly.
    pub fn new(table: &Table) -> Result<Self, ProblemError> {
        let mut table = table.clone();
        let count = table.candidates.len();
        if count == 0 {
            return Err(ProblemError::Empty);
        }
        few("candidates", count, 60_000)?;
        few("tests", table.tests.len(), 60_000)?;
        few("places", table.places.len(), 64)?;
        few("configurations", table.configurations.len(), 1000)?;
        let weights = whole_weights(&table.candidates)?;
        for (one, weight) in table.candidates.iter_mut().zip(&weights) {
            one.weight = *weight as f64;
        }
        let mut costs = Vec::new();
        for (index, test) in table.tests.iter_mut().enumerate() {
            inside("place", test.place, table.places.len())?;
            inside("configuration", test.needs, table.configurations.len())?;
            if test.outcomes.len() != count {
                let found = test.outcomes.len();
                return Err(ProblemError::Outcomes { test: index, found, expected: count });
            }
            costs.push(ticks("test", index, test.minutes)?);
        }
        inside("configuration", table.start, table.configurations.len())?;
        for configuration in &table.configurations {
            for place in configuration.places {
                inside("place", place, table.places.len())?;
            }
        }
        for place in &table.open {
            inside("place", Some(*place), table.places.len())?;
        }
        let mut access = Vec::new();
        for (index, minutes) in table.places.iter().enumerate() {
            access.push(ticks("place", index, *minutes)?);
        }
        let mut changes = Vec::new();
        for (index, configuration) in table.configurations.iter().enumerate() {
            changes.push(ticks("configuration", index, configuration.minutes)?);
        }
        // A strategy makes each test at most once, each with at most one change before it.
        let mut most = access.iter().fold(0_u64, |sum, t| sum.saturating_add(*t));
        for (test, cost) in table.tests.iter().zip(&costs) {
            let change = test.needs.map_or(0, |c| changes[c as usize]);
            most = most.saturating_add(*cost).saturating_add(change);
        }
        if most > TICKS_LIMIT {
            let minutes = most as f64 / TICKS_PER_MINUTE;
            let limit = TICKS_LIMIT as f64 / TICKS_PER_MINUTE;
            return Err(ProblemError::TooLong { minutes, limit });
        }
        // The table says from here on what is planned, to the last digit.
        let back = |ticks: &u64| *ticks as f64 / TICKS_PER_MINUTE;
        table.places = access.iter().map(back).collect();
        for (configuration, change) in table.configurations.iter_mut().zip(&changes) {
            configuration.minutes = back(change);
        }
        for (test, cost) in table.tests.iter_mut().zip(&costs) {
            test.minutes = back(cost);
        }
        table.open.sort_unstable();
        table.open.dedup();
        let classes = classes(&table, &weights);
        Ok(Self { table, classes, costs, access, changes })
    }

    /// The table with every number as it is planned: minutes in whole thousandths, weights
    /// whole. Making a problem of it again gives the same problem.
    pub fn table(&self) -> &Table {
        &self.table
    }

    /// The candidates that are told apart from one another, in an order of their labels.
    pub fn classes(&self) -> &[Class] {
        &self.classes
    }

    /// Ticks of one test alone.
    pub fn cost(&self, test: u32) -> u64 {
        self.costs[test as usize]
    }

    /// Ticks to open each place.
    pub fn access(&self) -> &[u64] {
        &self.access
    }

    /// Ticks to bring about each configuration, without access.
    pub fn changes(&self) -> &[u64] {
        &self.changes
    }

    /// What a test shows for a class.
    pub fn outcome(&self, test: u32, class: &Class) -> u16 {
        self.table.tests[test as usize].outcomes[class.candidates[0] as usize]
    }

    /// The sum of all weights: ticks times weight, divided by this, are expected ticks.
    pub fn weight(&self) -> u64 {
        self.classes.iter().map(|class| class.weight).sum()
    }

    /// Expected minutes from a sum of ticks times weight.
    pub fn minutes(&self, sum: u64) -> f64 {
        sum as f64 / self.weight() as f64 / TICKS_PER_MINUTE
    }

    /// How many repair groups there are.
    pub fn groups(&self) -> usize {
        let mut groups: Vec<u32> = self.table.candidates.iter().map(|one| one.group).collect();
        groups.sort_unstable();
        groups.dedup();
        groups.len()
    }

    /// The ambiguity sets: candidates of different groups that no test tells apart.
    pub fn ambiguous(&self) -> impl Iterator<Item = &Class> {
        self.classes.iter().filter(|class| class.groups.len() > 1)
    }

    /// The problem that is left when a test has shown an outcome: its places are open, its
    /// configuration current, and only candidates that show this outcome remain. Their
    /// numbers in the original problem come with it.
    ///
    /// # Errors
    /// When there is no such test or no candidate shows that outcome.
    pub fn after(&self, test: u32, outcome: u16) -> Result<(Self, Vec<u32>), ProblemError> {
        let missing = ProblemError::NoSuchOutcome { test, outcome };
        let made = self.table.tests.get(test as usize).ok_or(missing.clone())?;
        let kept: Vec<u32> = (0..self.table.candidates.len())
            .filter(|c| made.outcomes[*c] == outcome)
            .map(|c| c as u32)
            .collect();
        if kept.is_empty() {
            return Err(missing);
        }
        let mut table = self.table.clone();
        table.candidates = kept.iter().map(|c| self.table.candidates[*c as usize]).collect();
        for one in &mut table.tests {
            one.outcomes = kept.iter().map(|c| one.outcomes[*c as usize]).collect();
        }
        let setup = table.setup(test, |place| table.open.contains(&place), table.start);
        table.open.extend(setup.opens.into_iter().flatten());
        table.start = setup.configuration;
        Ok((Self::new(&table)?, kept))
    }
}

/// Candidates by what every test shows, numbered by label and then by first candidate.
fn classes(table: &Table, weights: &[u64]) -> Vec<Class> {
    let mut alike: BTreeMap<Vec<u16>, Vec<u32>> = BTreeMap::new();
    for candidate in 0..table.candidates.len() {
        let shown = table.tests.iter().map(|test| test.outcomes[candidate]).collect();
        alike.entry(shown).or_default().push(candidate as u32);
    }
    let mut classes: Vec<Class> = alike
        .into_values()
        .map(|candidates| {
            let mut groups: Vec<u32> =
                candidates.iter().map(|c| table.candidates[*c as usize].group).collect();
            groups.sort_unstable();
            groups.dedup();
            let weight = candidates.iter().map(|c| weights[*c as usize]).sum();
            Class { candidates, groups, weight, label: 0 }
        })
        .collect();
    // One group: by that group. Several: each class for itself, after all the others.
    classes.sort_by_key(|class| {
        let one = class.groups.len() == 1;
        (!one, if one { class.groups[0] } else { 0 }, class.candidates[0])
    });
    let mut label = 0;
    for at in 0..classes.len() {
        if at > 0 {
            let (last, this) = (&classes[at - 1], &classes[at]);
            if this.groups.len() > 1 || last.groups != this.groups {
                label += 1;
            }
        }
        classes[at].label = label;
    }
    classes
}

#[cfg(test)]
mod tests {
    use super::{Candidate, Configuration, Problem, ProblemError, Table, Test};

    fn table(weights: &[(f64, u32)], tests: &[(f64, &[u16])]) -> Table {
        Table {
            candidates: weights
                .iter()
                .map(|(weight, group)| Candidate { weight: *weight, group: *group })
                .collect(),
            tests: tests
                .iter()
                .map(|(minutes, outcomes)| Test {
                    minutes: *minutes,
                    place: None,
                    needs: None,
                    outcomes: outcomes.to_vec(),
                })
                .collect(),
            ..Table::default()
        }
    }

    #[test]
    fn candidates_alike_are_one_class_and_different_groups_alike_are_an_ambiguity_set() {
        let problem = Problem::new(&table(
            &[(1.0, 0), (2.0, 0), (3.0, 1), (4.0, 2), (5.0, 0)],
            &[(1.0, &[0, 0, 1, 1, 2])],
        ))
        .unwrap();
        let got: Vec<_> =
            problem.classes().iter().map(|c| (c.candidates.clone(), c.weight, c.label)).collect();
        assert_eq!(got, [(vec![0, 1], 3, 0), (vec![4], 5, 0), (vec![2, 3], 7, 1)]);
        assert_eq!(problem.ambiguous().count(), 1);
        assert_eq!(problem.groups(), 3);
    }

    #[test]
    fn a_problem_of_its_own_table_is_the_same_problem() {
        let problem =
            Problem::new(&table(&[(0.1, 0), (0.7, 1), (1e-12, 2)], &[(0.123_456, &[0, 1, 2])]))
                .unwrap();
        assert_eq!(Problem::new(problem.table()).unwrap(), problem);
        assert_eq!(problem.cost(0), 123);
        assert_eq!(problem.classes()[2].weight, 1);
    }

    #[test]
    fn a_bad_number_is_named() {
        let fails = |t: &Table| Problem::new(t).unwrap_err().to_string();
        let good = table(&[(1.0, 0), (2.0, 1)], &[(1.0, &[0, 1])]);
        assert_eq!(fails(&Table::default()), "there are no candidates");
        let mut t = good.clone();
        t.candidates[1].weight = f64::NAN;
        assert!(fails(&t).starts_with("candidate 1 weighs NaN"));
        let mut t = good.clone();
        t.candidates[0].weight = 0.0;
        assert!(fails(&t).starts_with("candidate 0 weighs 0"));
        let mut t = good.clone();
        t.tests[0].minutes = -1.0;
        assert!(fails(&t).starts_with("test 0 takes -1 minutes"));
        let mut t = good.clone();
        t.tests[0].minutes = f64::INFINITY;
        assert!(fails(&t).starts_with("test 0 takes inf minutes"));
        let mut t = good.clone();
        t.tests[0].minutes = 20_000.0;
        assert!(fails(&t).starts_with("everything together takes 20000 minutes"));
        let mut t = good.clone();
        t.tests[0].outcomes.pop();
        assert_eq!(fails(&t), "test 0 has 1 outcomes for 2 candidates");
        let mut t = good.clone();
        t.tests[0].place = Some(0);
        assert_eq!(fails(&t), "place 0 is named, but there are only 0");
        let mut t = good.clone();
        t.start = Some(3);
        assert_eq!(fails(&t), "configuration 3 is named, but there are only 0");
        let mut t = good.clone();
        t.configurations = vec![Configuration { minutes: 1.0, places: [None, Some(2)] }];
        assert_eq!(fails(&t), "place 2 is named, but there are only 0");
        t.configurations = vec![Configuration { minutes: -1.0, places: [None; 2] }];
        assert!(fails(&t).starts_with("configuration 0 takes -1 minutes"));
        let mut t = good.clone();
        t.places = vec![f64::NAN];
        assert!(fails(&t).starts_with("place 0 takes NaN minutes"));
        let mut t = good;
        t.places = vec![1.0; 65];
        assert_eq!(fails(&t), "65 places are more than 64");
    }

    #[test]
    fn what_is_left_after_an_outcome() {
        let mut t = table(&[(1.0, 0), (2.0, 1), (3.0, 2)], &[(1.0, &[0, 1, 1]), (1.0, &[0, 0, 1])]);
        t.places = vec![4.0, 5.0];
        t.configurations = vec![Configuration { minutes: 2.0, places: [Some(1), None] }];
        t.tests[0].place = Some(0);
        t.tests[0].needs = Some(0);
        let setup = t.setup(0, |_| false, None);
        assert_eq!((setup.minutes, setup.opens), (11.0, [Some(1), None, Some(0)]));
        // Where the configuration is current its place does not matter, and a place that is
        // both the test's and the configuration's is opened once.
        assert_eq!(t.setup(0, |_| false, Some(0)).minutes, 4.0);
        let mut same = t.clone();
        same.configurations[0].places = [Some(0); 2];
        assert_eq!(same.setup(0, |_| false, None).minutes, 6.0);
        let problem = Problem::new(&t).unwrap();
        let (left, kept) = problem.after(0, 1).unwrap();
        assert_eq!(kept, [1, 2]);
        assert_eq!(left.table().open, [0, 1]);
        assert_eq!(left.table().start, Some(0));
        assert_eq!(left.weight(), 5);
        assert_eq!(
            problem.after(0, 7).unwrap_err(),
            ProblemError::NoSuchOutcome { test: 0, outcome: 7 }
        );
    }
}
