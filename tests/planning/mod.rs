//! Planning against exhaustive search, published examples, and damaged certificates.

use std::collections::BTreeMap;

use halfsplit::chance::Chance;
use halfsplit::planning::{
    self, Candidate, Certificate, Configuration, Plan, Problem, Step, Table, Test, advise, plan,
    regret, verify,
};

mod family;
mod small;
use small::{Shape, small};

/// The shapes of problems, and how many seeds of each.
const SHAPES: [(Shape, u64); 5] = [
    (Shape::Plain, 300),
    (Shape::Access, 300),
    (Shape::Configured, 300),
    (Shape::Variants, 300),
    (Shape::Placed, 1000),
];

/// The optimum by trying every test in every standing, written without regard to speed and
/// sharing nothing with the planner but the table in whole numbers.
struct Exhaustive<'a> {
    table: &'a Table,
    known: BTreeMap<(u32, u64, Option<u32>), u64>,
}

impl<'a> Exhaustive<'a> {
    fn new(table: &'a Table) -> Self {
        Self { table, known: BTreeMap::new() }
    }

    fn start(&self) -> (u32, u64, Option<u32>) {
        let open = self.table.open.iter().fold(0, |bits, p| bits | 1 << p);
        ((1 << self.table.candidates.len()) - 1, open, self.table.start)
    }

    fn parts(set: u32, test: &Test) -> Vec<u32> {
        let mut parts: BTreeMap<u16, u32> = BTreeMap::new();
        for (i, shows) in test.outcomes.iter().enumerate() {
            if set >> i & 1 == 1 {
                *parts.entry(*shows).or_default() |= 1 << i;
            }
        }
        parts.into_values().collect()
    }

    /// Ticks times weight when `t` is made first, and the best follows.
    fn with(&mut self, t: usize, (set, open, config): (u32, u64, Option<u32>)) -> u64 {
        let test = &self.table.tests[t];
        let whole = |minutes: f64| (minutes * 1000.0).round() as u64;
        let mut ticks = whole(test.minutes);
        let (mut open, mut config) = (open, config);
        let mut go = |place: Option<u32>| {
            if let Some(place) = place
                && open >> place & 1 == 0
            {
                open |= 1 << place;
                return whole(self.table.places[place as usize]);
            }
            0
        };
        if let Some(needs) = test.needs
            && config != Some(needs)
        {
            let Configuration { minutes, places } = self.table.configurations[needs as usize];
            ticks += go(places[0]) + go(places[1]) + whole(minutes);
            config = Some(needs);
        }
        ticks += go(test.place);
        let weight = |i: usize| self.table.candidates[i].weight as u64;
        let mass: u64 = (0..32).filter(|i| set >> i & 1 == 1).map(weight).sum();
        let parts = Self::parts(set, test);
        ticks * mass + parts.into_iter().map(|part| self.best((part, open, config))).sum::<u64>()
    }

    fn best(&mut self, at: (u32, u64, Option<u32>)) -> u64 {
        if let Some(known) = self.known.get(&at) {
            return *known;
        }
        let groups: Vec<u32> = (0..self.table.candidates.len())
            .filter(|i| at.0 >> i & 1 == 1)
            .map(|i| self.table.candidates[i].group)
            .collect();
        let useful: Vec<usize> = (0..self.table.tests.len())
            .filter(|t| Self::parts(at.0, &self.table.tests[*t]).len() > 1)
            .collect();
        let best = if groups.iter().all(|group| *group == groups[0]) || useful.is_empty() {
            0
        } else {
            useful.into_iter().map(|t| self.with(t, at)).min().expect("some test is useful")
        };
        self.known.insert(at, best);
        best
    }
}

#[test]
fn plans_agree_with_exhaustive_search_and_bounds_never_pass_it() {
    let mut hard = 0;
    let mut paid = 0;
    let mut walked = 0;
    for (shape, seeds) in SHAPES {
        for seed in 0..seeds {
            let problem = Problem::new(&small(seed, shape)).unwrap();
            let mut exhaustive = Exhaustive::new(problem.table());
            let start = exhaustive.start();
            let best = exhaustive.best(start);
            let optimum = problem.minutes(best);
            let named = format!("seed {seed} {shape:?}");
            for work in [0, 300, 3000] {
                let advice = advise(&problem, work);
                assert!(advice.lower <= optimum, "{named}: {} > {optimum}", advice.lower);
                assert!(advice.upper >= optimum, "{named}: {} < {optimum}", advice.upper);
            }
            let done = plan(&problem, u64::MAX);
            assert!(done.proven, "{named}");
            assert_eq!(done.certificate.lower, best, "{named}");
            let minutes = done.policy.expected_minutes(&problem).unwrap();
            assert!((minutes - optimum).abs() < 1e-9, "{named}: {minutes} {optimum}");
            let verified = verify(&done.certificate).unwrap_or_else(|e| panic!("{named}: {e}"));
            assert!(verified.proven && verified.lower == optimum, "{named}");
            hard += usize::from(problem.classes().len() > planning::FEW);
            let claims = &done.certificate.claims;
            paid += claims.iter().filter(|claim| !claim.payments.is_empty()).count();
            let mut near = problem.table().clone();
            for configuration in &mut near.configurations {
                configuration.places = [None; 2];
            }
            let mut near = Exhaustive::new(&near);
            walked += usize::from(near.best(start) < best);
            if seed < 60 {
                for t in 0..problem.table().tests.len() {
                    let truth = problem.minutes(exhaustive.with(t, start)) - optimum;
                    for work in [0, 1000, 1_000_000] {
                        let judged = regret(&problem, t as u32, work).unwrap();
                        let (low, high) = (judged.least, judged.most);
                        assert!(low <= truth + 1e-9 && truth <= high + 1e-9, "{named} test {t}");
                    }
                }
            }
        }
    }
    assert!(hard > 300, "only {hard} problems were more than a small set");
    assert!(paid > 100, "only {paid} claims have payments of their own");
    assert!(walked > 200, "in only {walked} problems does the way to a configuration cost");
}

fn table(weights: &[f64], tests: &[(f64, Vec<u16>)]) -> Table {
    let candidates = weights.iter().enumerate();
    Table {
        candidates: candidates
            .map(|(group, weight)| Candidate { weight: *weight, group: group as u32 })
            .collect(),
        tests: tests
            .iter()
            .map(|(minutes, outcomes)| Test {
                minutes: *minutes,
                place: None,
                needs: None,
                outcomes: outcomes.clone(),
            })
            .collect(),
        ..Table::default()
    }
}

/// With a test of one minute for every way to halve the candidates in two sets, the best
/// strategy is Huffman's code (Huffman, Proc. IRE 40, 1952; Zimmerman, Amer. Math. Monthly
/// 66, 1959; both from memory).
#[test]
fn with_every_test_there_is_the_optimum_is_the_huffman_length() {
    let all = |count: usize| -> Vec<(f64, Vec<u16>)> {
        (1..1_u16 << (count - 1))
            .map(|bits| (1.0, (0..count).map(|i| bits >> i & 1).collect()))
            .collect()
    };
    for (weights, expected) in [
        // The example of Cormen, Leiserson, Rivest and Stein's textbook (from memory).
        (vec![45.0, 13.0, 12.0, 16.0, 9.0, 5.0], 2.24),
        (vec![1.0; 8], 3.0),
        (vec![1.0; 6], 16.0 / 6.0),
        // Ten of equal weight: six at depth three, four at depth four (computed).
        (vec![1.0; 10], 3.4),
    ] {
        let problem = Problem::new(&table(&weights, &all(weights.len()))).unwrap();
        let done = plan(&problem, 50_000_000);
        assert!((done.upper - expected).abs() < 1e-12, "{} for {weights:?}", done.upper);
        // Where every way to halve is a test, pairs say little, so only few are proved.
        let few = weights.len() <= planning::FEW;
        assert!(done.proven == few && done.lower <= expected + 1e-12, "{weights:?}");
        verify(&done.certificate).unwrap();
    }
}

/// The five-test example of Pattipati and Alexandridis, IEEE Trans. SMC 20 (1990), matrix and
/// optimum from memory, the optimum confirmed by exhaustive search here; to take the test
/// with the most information first costs 2.86 (computed).
#[test]
fn the_five_test_example() {
    let t = table(
        &[0.70, 0.01, 0.02, 0.10, 0.05, 0.12],
        &[
            (1.0, vec![0, 0, 0, 1, 1, 1]),
            (1.0, vec![0, 1, 0, 0, 1, 1]),
            (1.0, vec![0, 0, 1, 0, 0, 1]),
            (1.0, vec![0, 0, 1, 1, 0, 1]),
            (1.0, vec![0, 1, 0, 1, 0, 0]),
        ],
    );
    let problem = Problem::new(&t).unwrap();
    let mut exhaustive = Exhaustive::new(problem.table());
    let start = exhaustive.start();
    assert!((problem.minutes(exhaustive.best(start)) - 2.18).abs() < 1e-6);
    let done = plan(&problem, 1_000_000);
    assert!(done.proven && (done.upper - 2.18).abs() < 1e-6);
    assert_eq!(done.policy.first(), Some(1));
    assert_eq!(advise(&problem, 1_000_000).test, Some(1));
    // Most information: t1 first.
    let gains: Vec<f64> = t.tests.iter().map(|test| information(&t, test)).collect();
    for (gain, expected) in gains.iter().zip([0.8415, 0.6801, 0.5842, 0.7950, 0.4999]) {
        assert!((gain - expected).abs() < 5e-5, "{gain}");
    }
    assert!((greedy(&t, &(0..6).collect::<Vec<_>>()) - 2.86).abs() < 1e-9);
    let judged = regret(&problem, 0, 1_000_000).unwrap();
    let (low, high) = (judged.least, judged.most);
    let truth = problem.minutes(exhaustive.with(0, start)) - 2.18;
    assert!(low > 0.0 && (low - truth).abs() < 1e-6 && (high - truth).abs() < 1e-6);
}

/// Bits a binary test tells about all candidates.
fn information(t: &Table, test: &Test) -> f64 {
    let whole: f64 = t.candidates.iter().map(|c| c.weight).sum();
    let shares = [0, 1].map(|shows| {
        let of = t.candidates.iter().zip(&test.outcomes).filter(|(_, o)| **o == shows);
        of.map(|(c, _)| c.weight).sum::<f64>() / whole
    });
    shares.iter().filter(|p| **p > 0.0).map(|p| -p * libm::log2(*p)).sum()
}

/// Expected number of tests when the one with the most information always comes next.
fn greedy(t: &Table, left: &[usize]) -> f64 {
    if left.len() == 1 {
        return 0.0;
    }
    let mut part = t.clone();
    part.candidates = left.iter().map(|i| t.candidates[*i]).collect();
    for test in &mut part.tests {
        test.outcomes = left.iter().map(|i| test.outcomes[*i]).collect();
    }
    let best = (0..t.tests.len())
        .max_by(|x, y| {
            information(&part, &part.tests[*x])
                .total_cmp(&information(&part, &part.tests[*y]))
                .then(y.cmp(x))
        })
        .expect("there are tests");
    let mass: f64 = left.iter().map(|i| t.candidates[*i].weight).sum();
    let follow = [0, 1].map(|shows| {
        let next: Vec<usize> =
            left.iter().copied().filter(|i| t.tests[best].outcomes[*i] == shows).collect();
        greedy(t, &next)
    });
    mass + follow.iter().sum::<f64>()
}

#[test]
fn an_ambiguity_set_ends_the_strategy_and_costs_nothing() {
    let t = table(&[1.0, 1.0, 2.0, 4.0], &[(3.0, vec![0, 0, 0, 1]), (1.0, vec![0, 0, 1, 1])]);
    let problem = Problem::new(&t).unwrap();
    assert_eq!(problem.ambiguous().count(), 1);
    let done = plan(&problem, 1000);
    // By hand: the dear test first, 3, then the cheap one for half the weight, 0.5; the
    // other way round, 1 and then the dear one for three quarters, 2.25.
    assert!(done.proven && (done.upper - 3.25).abs() < 1e-12, "{}", done.upper);
    let walk = done.policy.walk(&problem, |test| t.tests[test as usize].outcomes[1]).unwrap();
    assert_eq!((walk.left, walk.minutes), (vec![0, 1], 1.0));
}

#[test]
fn what_is_left_is_planned_as_it_stands() {
    let problem = Problem::new(&family::network(3, 40, 25, true)).unwrap();
    let done = plan(&problem, 20_000_000);
    let Some(Step::Make { test, then }) = done.policy.steps.first() else { panic!("no test") };
    let table = problem.table();
    let made = &table.tests[*test as usize];
    let mut first = made.minutes;
    first += made.place.map_or(0.0, |place| table.places[place as usize]);
    if made.needs.is_some_and(|needs| table.start != Some(needs)) {
        first += table.configurations[made.needs.unwrap() as usize].minutes;
    }
    let mut sum = first;
    for (outcome, _) in then {
        let (left, _) = problem.after(*test, *outcome).unwrap();
        let share = left.weight() as f64 / problem.weight() as f64;
        sum += share * plan(&left, 20_000_000).upper;
    }
    assert!(done.proven, "{} {}", done.lower, done.upper);
    assert!((sum - done.upper).abs() < 1e-9, "{sum} {}", done.upper);
}

#[test]
fn a_network_is_planned_the_same_every_time_and_within_its_work() {
    let problem = Problem::new(&family::network(1, 60, 30, true)).unwrap();
    let one = plan(&problem, 300_000);
    assert_eq!(one, plan(&problem, 300_000));
    assert_eq!((one.candidates, one.tests), (60, 30));
    let verified = verify(&one.certificate).unwrap();
    assert_eq!((verified.lower, verified.upper), (one.lower, one.upper));
    let text = serde_json::to_string(&one.certificate).unwrap();
    let back: Certificate = serde_json::from_str(&text).unwrap();
    assert_eq!(back, one.certificate);
    verify(&back).unwrap();
}

/// Breaks one claim of a certificate; each way makes something it says untrue.
fn damage(c: &mut Certificate, chance: &mut Chance) -> String {
    let pick = |chance: &mut Chance, count: usize| (chance.unit() * count as f64) as usize;
    loop {
        let way = pick(chance, 16);
        let claims = c.claims.len();
        let claim = if claims == 0 { 0 } else { pick(chance, claims) };
        let step = pick(chance, c.policy.steps.len());
        let done = match way {
            0 => {
                c.upper -= 1;
                true
            }
            1 => {
                c.lower += 1;
                true
            }
            2 if claims > 0 => {
                let one = &mut c.claims[claim];
                let at = pick(chance, one.charges.len().max(1));
                one.charges.get_mut(at).map(|charge| charge.2 += 1).is_some()
            }
            3 if claims > 0 => {
                c.claims[claim].lower += 1 + pick(chance, 1000) as u64;
                true
            }
            4 if claims > 0 => {
                c.claims[claim].base += 1;
                c.claims[claim].lower += 1;
                true
            }
            5 if claims > 0 => {
                // A class is left out of what a claim is about.
                c.claims[claim].classes.pop();
                true
            }
            6 if claims > 0 => match &mut c.claims[claim].tried {
                // A claim rests on itself.
                Some(tried) => {
                    let branch = tried.iter_mut().find_map(|one| one.then.first_mut());
                    branch.map(|branch| branch.1 = claim as u32).is_some()
                }
                None => false,
            },
            7 => match &mut c.policy.steps[step] {
                Step::Make { then, .. } => then.pop().is_some(),
                Step::Call { candidates } => candidates.pop().is_some(),
            },
            8 => match &mut c.policy.steps[step] {
                Step::Make { then, .. } if then.len() > 1 => {
                    let last = then.len() - 1;
                    let (a, b) = (then[0].1, then[last].1);
                    (then[0].1, then[last].1) = (b, a);
                    true
                }
                Step::Make { .. } | Step::Call { .. } => false,
            },
            9 => match &mut c.policy.steps[step] {
                Step::Make { then, .. } => {
                    then[0].1 = step as u32;
                    true
                }
                Step::Call { .. } => false,
            },
            10 => {
                // A test of the strategy takes longer than the strategy says.
                let Step::Make { test, .. } = c.policy.steps[0] else { continue };
                c.problem.tests[test as usize].minutes += 0.001;
                true
            }
            11 => {
                let Step::Make { test, ref then } = c.policy.steps[step] else { continue };
                // One candidate shows what no other does there.
                let strange = 1 + then.iter().map(|(shows, _)| *shows).max().unwrap_or(0);
                let outcomes = &mut c.problem.tests[test as usize].outcomes;
                if step != 0 {
                    continue;
                }
                let at = pick(chance, outcomes.len());
                outcomes[at] = strange;
                true
            }
            12 => {
                let at = pick(chance, c.problem.candidates.len());
                c.problem.candidates[at].weight += 1.0;
                matches!(c.policy.steps[0], Step::Make { .. }) && c.upper > 0
            }
            13 if claims > 0 => {
                // A pair pays more than it draws.
                let one = &mut c.claims[claim];
                let at = pick(chance, one.payments.len().max(1));
                one.payments.get_mut(at).map(|payment| payment.amount += 1).is_some()
            }
            14 if claims > 0 => {
                // A test of a pair is not paid in full any more.
                let one = &mut c.claims[claim];
                let at = pick(chance, one.payments.len().max(1));
                let payment = one.payments.get_mut(at);
                payment.is_some_and(|payment| {
                    let draw = payment.draws.iter_mut().find(|draw| draw.1 > 0);
                    draw.map(|draw| draw.1 = u64::MAX / 4).is_some()
                })
            }
            15 => {
                // A configuration is brought about on the spot though the strategy walks to it.
                let Step::Make { test, .. } = c.policy.steps[0] else { continue };
                let needs = c.problem.tests[test as usize].needs;
                let problem = &mut c.problem;
                let own = problem.tests[test as usize].place;
                let Some(needs) = needs.filter(|needs| problem.start != Some(*needs)) else {
                    continue;
                };
                let places = &mut problem.configurations[needs as usize].places;
                let Some(at) = places.iter().position(|p| p.is_some() && *p != own) else {
                    continue;
                };
                let place = places[at].take();
                !places.contains(&place) && place.is_some_and(|p| !problem.open.contains(&p))
            }
            _ => false,
        };
        if done {
            return format!("way {way}, claim {claim} of {claims}, step {step}");
        }
    }
}

#[test]
fn damaged_certificates_are_refused() {
    let mut chance = Chance::stream(7, "damage");
    let plans: Vec<Plan> = (0..12)
        .map(|seed| {
            let table = family::network(seed, 30, 18, seed % 3 != 0);
            let table = if seed % 3 == 2 { family::with_far_controls(seed, table) } else { table };
            plan(&Problem::new(&table).unwrap(), 2_000_000)
        })
        .collect();
    for one in &plans {
        verify(&one.certificate).unwrap();
        assert!(!one.certificate.claims.is_empty());
    }
    for round in 0..900 {
        let mut certificate = plans[round % plans.len()].certificate.clone();
        let how = damage(&mut certificate, &mut chance);
        assert!(verify(&certificate).is_err(), "round {round}: {how} was let through");
    }
}

#[test]
fn a_long_chain_of_candidates_is_no_trouble() {
    // Only tests that single out one candidate: a strategy as deep as there are candidates.
    let count = 150;
    let tests: Vec<(f64, Vec<u16>)> =
        (1..count).map(|t| (1.0, (0..count).map(|i| u16::from(i == t)).collect())).collect();
    let weights: Vec<f64> = (0..count).map(|i| 1.0 + f64::from(count - i)).collect();
    let problem = Problem::new(&table(&weights, &tests)).unwrap();
    let done = plan(&problem, 1_000_000);
    // The heaviest first, candidate 0 is left over with the lightest.
    let text = serde_json::to_string(&done.certificate.policy).unwrap();
    serde_json::from_str::<planning::Policy>(&text).unwrap();
    verify(&done.certificate).unwrap();
}
