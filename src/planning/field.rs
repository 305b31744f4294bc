//! A problem laid out for searching: flat arrays, and for each two classes the set of tests
//! that tell them apart as a row of bits.

use super::problem::Problem;

/// No place, or no configuration.
pub(super) const NONE: u16 = u16::MAX;

/// How much of access and change counts when pairs are put in order.
const SETUP_SHARE: f64 = 0.3;

/// Where a strategy stands: what is still possible, what is open, what is set.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Spot {
    /// Classes that remain, ascending.
    pub members: Vec<u16>,
    /// Open places, one bit each.
    pub open: u64,
    /// The current configuration, or [`NONE`].
    pub config: u16,
}

/// The problem as the search reads it. Sums of ticks times weight are whole numbers below
/// 2^53 held in `f64`, so adding, subtracting and comparing them is exact.
pub(super) struct Field {
    /// Classes.
    pub n: usize,
    /// Tests.
    pub m: usize,
    /// Words in a row of tests.
    pub words: usize,
    pub weight: Vec<f64>,
    pub label: Vec<u32>,
    pub cost: Vec<f64>,
    pub place: Vec<u16>,
    pub needs: Vec<u16>,
    pub access: Vec<f64>,
    pub change: Vec<f64>,
    /// The places that each configuration is brought about from, one bit each.
    pub from: Vec<u64>,
    /// Outcomes of a test for every class, numbered from zero: `test * n + class`.
    pub shown: Vec<u16>,
    /// How many different outcomes a test has.
    pub outcomes: Vec<u16>,
    apart: Vec<u64>,
    at_place: Vec<u64>,
    needing: Vec<u64>,
    /// How easy two classes are to tell apart: the sum of 1 / cost over the tests that do.
    ease: Vec<f32>,
    /// The cheapest test that tells two classes apart, in ticks, without access or change.
    cheapest: Vec<f64>,
    /// Where one starts, without what makes no difference.
    pub start: Spot,
    /// What is open and set at the start, all of it.
    pub given: (u64, u16),
}

impl Field {
    pub(super) fn new(problem: &Problem) -> Self {
        let classes = problem.classes();
        let table = problem.table();
        let (n, m) = (classes.len(), table.tests.len());
        let words = m.div_ceil(64).max(1);
        let mut shown = vec![0_u16; n * m];
        let mut outcomes = vec![0_u16; m];
        for t in 0..m {
            let raw: Vec<u16> = classes.iter().map(|c| problem.outcome(t as u32, c)).collect();
            let mut kinds = raw.clone();
            kinds.sort_unstable();
            kinds.dedup();
            outcomes[t] = kinds.len() as u16;
            for (i, value) in raw.iter().enumerate() {
                let at = kinds.binary_search(value).expect("it was collected from there");
                shown[t * n + i] = at as u16;
            }
        }
        let cost: Vec<f64> = (0..m).map(|t| problem.cost(t as u32) as f64).collect();
        let size = n * n.saturating_sub(1) / 2;
        let mut apart = vec![0_u64; size * words];
        for t in 0..m {
            let row = &shown[t * n..(t + 1) * n];
            let mut at = t / 64;
            let bit = t % 64;
            for j in 1..n {
                for i in 0..j {
                    apart[at] |= u64::from(row[i] != row[j]) << bit;
                    at += words;
                }
            }
        }
        let mut ease = vec![0.0_f32; size];
        let mut cheapest = vec![f64::INFINITY; size];
        for at in 0..size {
            let mut sum = 0.0;
            for_each(&apart[at * words..(at + 1) * words], |t| {
                // A share of access and change makes the order better (tried, not derived). A
                // test that costs nothing is as easy as one of a tenth of a tick.
                let test = &table.tests[t];
                let place = test.place.map_or(0, |p| problem.access()[p as usize]);
                let needs = test.needs.filter(|c| Some(*c) != table.start);
                let change = needs.map_or(0, |c| problem.changes()[c as usize]);
                let from = needs.map_or([None; 2], |c| table.configurations[c as usize].places);
                let closed = |p: &u32| test.place != Some(*p) && !table.open.contains(p);
                let from = from.into_iter().flatten().filter(closed);
                let far: u64 = from.map(|p| problem.access()[p as usize]).sum();
                let ticks = cost[t] + SETUP_SHARE * (place + change + far) as f64;
                sum += 1.0 / ticks.max(0.1);
                cheapest[at] = cheapest[at].min(cost[t]);
            });
            ease[at] = sum as f32;
        }
        let short = |index: Option<u32>| index.map_or(NONE, |i| i as u16);
        let place: Vec<u16> = table.tests.iter().map(|t| short(t.place)).collect();
        let needs: Vec<u16> = table.tests.iter().map(|t| short(t.needs)).collect();
        let bits = |places: [Option<u32>; 2]| {
            places.into_iter().flatten().fold(0_u64, |bits, p| bits | 1 << p)
        };
        let from: Vec<u64> = table.configurations.iter().map(|c| bits(c.places)).collect();
        let rows = |count: usize, draws: &dyn Fn(usize, usize) -> bool| {
            let mut rows = vec![0_u64; count * words];
            for which in 0..count {
                for t in (0..m).filter(|t| draws(*t, which)) {
                    rows[which * words + t / 64] |= 1 << (t % 64);
                }
            }
            rows
        };
        let at_place = rows(table.places.len(), &|t, p| {
            place[t] as usize == p || needs[t] != NONE && from[needs[t] as usize] >> p & 1 == 1
        });
        let needing = rows(table.configurations.len(), &|t, c| needs[t] as usize == c);
        let mut field = Self {
            n,
            m,
            words,
            weight: classes.iter().map(|c| c.weight as f64).collect(),
            label: classes.iter().map(|c| c.label).collect(),
            cost,
            at_place,
            needing,
            place,
            needs,
            from,
            access: problem.access().iter().map(|t| *t as f64).collect(),
            change: problem.changes().iter().map(|t| *t as f64).collect(),
            shown,
            outcomes,
            apart,
            ease,
            cheapest,
            start: Spot { members: Vec::new(), open: 0, config: NONE },
            given: (0, NONE),
        };
        let open = table.open.iter().fold(0, |bits, p| bits | 1 << p);
        field.given = (open, short(table.start));
        field.start = field.settle((0..n as u16).collect(), open, short(table.start));
        field
    }

    /// Where the pair stands in the triangle of pairs; `i < j`.
    fn pair(i: usize, j: usize) -> usize {
        j * (j - 1) / 2 + i
    }

    /// The tests that tell two classes apart; `i < j`.
    pub(super) fn apart(&self, i: u16, j: u16) -> &[u64] {
        let at = Self::pair(i as usize, j as usize) * self.words;
        &self.apart[at..at + self.words]
    }

    /// How easy the pair is to tell apart; `i < j`.
    pub(super) fn ease(&self, i: u16, j: u16) -> f32 {
        self.ease[Self::pair(i as usize, j as usize)]
    }

    /// The least ticks of any test that tells the pair apart.
    pub(super) fn cheapest(&self, i: u16, j: u16) -> f64 {
        let (i, j) = if i < j { (i, j) } else { (j, i) };
        self.cheapest[Self::pair(i as usize, j as usize)]
    }

    /// The tests that a place is open for: those made at it, and those that need a
    /// configuration which is brought about there.
    pub(super) fn tests_at(&self, place: usize) -> &[u64] {
        &self.at_place[place * self.words..(place + 1) * self.words]
    }

    /// The closed places that are opened for the configuration of a test, if that is not
    /// current, other than the test's own place; one bit each.
    pub(super) fn far(&self, test: usize, open: u64, config: u16) -> u64 {
        let (needs, place) = (self.needs[test], self.place[test]);
        if needs == NONE || needs == config {
            return 0;
        }
        let own = if place == NONE { 0 } else { 1 << place };
        self.from[needs as usize] & !open & !own
    }

    /// Ticks to open some places, one bit each.
    pub(super) fn opening(&self, places: u64) -> f64 {
        let mut ticks = 0.0;
        for_each(&[places], |place| ticks += self.access[place]);
        ticks
    }

    /// The tests that need a configuration.
    pub(super) fn tests_in(&self, config: usize) -> &[u64] {
        &self.needing[config * self.words..(config + 1) * self.words]
    }

    /// Whether nothing is left to tell apart.
    pub(super) fn settled(&self, members: &[u16]) -> bool {
        members.windows(2).all(|w| self.label[w[0] as usize] == self.label[w[1] as usize])
    }

    /// The tests that split what is left. Anything that tells some class from the first one
    /// splits it, and nothing else does.
    pub(super) fn useful(&self, members: &[u16]) -> Vec<u64> {
        let mut row = vec![0_u64; self.words];
        for j in &members[1..] {
            for (word, more) in row.iter_mut().zip(self.apart(members[0], *j)) {
                *word |= more;
            }
        }
        row
    }

    /// The standing with all that makes no difference taken out: a place that no test which
    /// splits what is left is open for counts as open, and a configuration that no such test
    /// needs is the same as none. Neither changes what any useful strategy costs.
    pub(super) fn settle(&self, members: Vec<u16>, open: u64, config: u16) -> Spot {
        if self.access.is_empty() && self.change.is_empty() {
            return Spot { members, open, config };
        }
        let row = self.useful(&members);
        let met = |tests: &[u64]| tests.iter().zip(&row).any(|(a, b)| a & b != 0);
        let mut open = open;
        for p in 0..self.access.len() {
            if open >> p & 1 == 0 && !met(self.tests_at(p)) {
                open |= 1 << p;
            }
        }
        let kept = config != NONE && met(self.tests_in(config as usize));
        Spot { members, open, config: if kept { config } else { NONE } }
    }

    /// Ticks that a test takes where one stands, with access and change.
    pub(super) fn price(&self, test: usize, open: u64, config: u16) -> f64 {
        let (place, needs) = (self.place[test], self.needs[test]);
        let mut ticks = self.cost[test];
        if place != NONE && open >> place & 1 == 0 {
            ticks += self.access[place as usize];
        }
        if needs != NONE && needs != config {
            ticks += self.change[needs as usize];
            ticks += self.opening(self.far(test, open, config));
        }
        ticks
    }

    /// What is open and set once a test has been made.
    pub(super) fn setup_after(&self, test: usize, open: u64, config: u16) -> (u64, u16) {
        let (place, needs) = (self.place[test], self.needs[test]);
        let own = if place == NONE { 0 } else { 1 << place };
        let open = open | own | self.far(test, open, config);
        (open, if needs == NONE { config } else { needs })
    }

    /// The parts into which a test splits what is left, each with its outcome, in order.
    pub(super) fn parts(&self, members: &[u16], test: usize) -> Vec<(u16, Vec<u16>)> {
        let row = &self.shown[test * self.n..(test + 1) * self.n];
        let mut parts: Vec<Vec<u16>> = vec![Vec::new(); self.outcomes[test] as usize];
        for i in members {
            parts[row[*i as usize] as usize].push(*i);
        }
        parts
            .into_iter()
            .enumerate()
            .filter(|(_, part)| !part.is_empty())
            .map(|(outcome, part)| (outcome as u16, part))
            .collect()
    }

    /// Where one stands after each outcome of a test.
    pub(super) fn steps(&self, spot: &Spot, test: usize) -> Vec<Spot> {
        let (open, config) = self.setup_after(test, spot.open, spot.config);
        self.parts(&spot.members, test)
            .into_iter()
            .map(|(_, part)| self.settle(part, open, config))
            .collect()
    }

    /// The weight of what is left.
    pub(super) fn mass(&self, members: &[u16]) -> f64 {
        members.iter().map(|i| self.weight[*i as usize]).sum()
    }
}

/// Calls with the index of every bit that is set, ascending.
#[inline]
pub(super) fn for_each(row: &[u64], mut call: impl FnMut(usize)) {
    for (at, word) in row.iter().enumerate() {
        let mut left = *word;
        while left != 0 {
            call(at * 64 + left.trailing_zeros() as usize);
            left &= left - 1;
        }
    }
}
