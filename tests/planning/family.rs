//! Seeded planning problems shaped like faults in a distribution network. All invented; only
//! the shape matters: cheap looks and dear swaps, readings that follow the tree from the source to the loads, protectors that open on a short.

use halfsplit::chance::Chance;
use halfsplit::planning::{Candidate, Configuration, Table, Test};

/// What a part of the network is.
#[derive(Clone, Copy, PartialEq)]
enum Part {
    Source,
    Breaker,
    Fuse,
    Cable,
    Transformer,
    Load,
}

/// How a part fails.
#[derive(Clone, Copy, PartialEq)]
enum Mode {
    Open,
    Resistive,
    Short,
    Weak,
}

struct Network {
    part: Vec<Part>,
    above: Vec<Option<usize>>,
    place: Vec<u32>,
}

impl Network {
    /// Whether `v` is `u` or hangs below it.
    fn below(&self, u: usize, v: usize) -> bool {
        let mut at = Some(v);
        while let Some(x) = at {
            if x == u {
                return true;
            }
            at = self.above[x];
        }
        false
    }

    /// The nearest protector at or above a part.
    fn protector(&self, v: usize) -> usize {
        let mut at = v;
        loop {
            if matches!(self.part[at], Part::Breaker | Part::Fuse) && at != v {
                return at;
            }
            match self.above[at] {
                Some(x) => at = x,
                None => return at,
            }
        }
    }
}

pub(crate) fn pick(chance: &mut Chance, count: usize) -> usize {
    ((chance.unit() * count as f64) as usize).min(count - 1)
}

pub(crate) fn between(chance: &mut Chance, low: f64, high: f64) -> f64 {
    low + (high - low) * chance.unit()
}

/// A network with about so many faults and exactly so many tests; `setup` adds access once
/// per place and a minute per change of configuration.
pub(crate) fn network(seed: u64, faults: usize, tests: usize, setup: bool) -> Table {
    let mut chance = Chance::stream(seed, "network");
    let c = &mut chance;
    let mut net = Network { part: vec![Part::Source], above: vec![None], place: vec![0] };
    let mut candidates: Vec<(usize, Mode, f64)> = Vec::new();
    let mut weights: Vec<f64> = Vec::new();
    let places = 4 + faults / 30;
    let mut ends = vec![0_usize];
    while candidates.len() < faults {
        let at = if net.part.len() == 1 {
            0
        } else if c.unit() < 0.75 {
            ends[pick(c, ends.len())]
        } else {
            pick(c, net.part.len())
        };
        if net.part[at] == Part::Load {
            continue;
        }
        let depth = {
            let (mut d, mut x) = (0, at);
            while let Some(up) = net.above[x] {
                d += 1;
                x = up;
            }
            d
        };
        let part = match net.part[at] {
            Part::Source => Part::Breaker,
            Part::Breaker | Part::Fuse => Part::Cable,
            Part::Cable if depth > 5 || c.unit() < 0.45 => Part::Load,
            Part::Cable if c.unit() < 0.5 => Part::Transformer,
            Part::Transformer | Part::Cable | Part::Load => Part::Fuse,
        };
        let new = net.part.len();
        net.part.push(part);
        net.above.push(Some(at));
        let stay = c.unit() < 0.7;
        net.place.push(if stay { net.place[at] } else { pick(c, places) as u32 });
        ends.retain(|e| *e != at || c.unit() < 0.4);
        if part != Part::Load {
            ends.push(new);
        }
        if ends.is_empty() {
            ends.push(0);
        }
        let modes: &[(Mode, f64)] = match part {
            Part::Source => &[(Mode::Weak, 1.0)],
            Part::Breaker => &[(Mode::Open, 0.6), (Mode::Resistive, 0.4)],
            Part::Fuse => &[(Mode::Open, 1.0), (Mode::Resistive, 0.3)],
            Part::Cable => &[(Mode::Open, 0.8), (Mode::Resistive, 0.6), (Mode::Short, 0.5)],
            Part::Transformer => &[(Mode::Open, 0.6), (Mode::Short, 0.5), (Mode::Weak, 0.5)],
            Part::Load => &[(Mode::Open, 1.0), (Mode::Short, 0.4), (Mode::Weak, 0.4)],
        };
        let rate = libm::exp(between(c, -1.5, 1.5));
        for (mode, share) in modes {
            if candidates.len() < faults {
                candidates.push((new, *mode, c.unit()));
                weights.push(rate * share);
            }
        }
    }
    let pool = pool(&net, &candidates, c);
    let chosen = choose(pool, &weights, &candidates, tests, c);
    let mut table = Table {
        candidates: candidates
            .iter()
            .zip(&weights)
            .map(|((part, _, _), weight)| Candidate { weight: *weight, group: *part as u32 })
            .collect(),
        tests: chosen,
        ..Table::default()
    };
    if setup {
        table.places = (0..places).map(|_| between(c, 0.5, 6.0)).collect();
        table.configurations = vec![Configuration { minutes: 1.0, places: [None; 2] }; 5];
        table.start = Some(0);
    } else {
        for test in &mut table.tests {
            test.place = None;
            test.needs = None;
        }
    }
    table
}

/// The same with controls that stand at places: one goes there to move them.
pub(crate) fn with_far_controls(seed: u64, mut table: Table) -> Table {
    let mut chance = Chance::stream(seed, "controls");
    let places = table.places.len();
    for configuration in table.configurations.iter_mut().skip(1) {
        let mut some = |share| (chance.unit() < share).then(|| pick(&mut chance, places) as u32);
        configuration.places = [some(0.8), some(0.2)];
    }
    table
}

/// Every test there could be.
fn pool(net: &Network, candidates: &[(usize, Mode, f64)], c: &mut Chance) -> Vec<Test> {
    let mut pool = Vec::new();
    let mut add =
        |minutes: f64, v: usize, needs: Option<u32>, shows: &dyn Fn(usize, Mode, f64) -> u16| {
            let outcomes = candidates.iter().map(|(u, mode, s)| shows(*u, *mode, *s)).collect();
            pool.push(Test { minutes, place: Some(net.place[v]), needs, outcomes });
        };
    // 0 normal, 1 low, 2 dead, as seen below `v` with a meter that tells severities above `t`.
    let volts = |v: usize, t: f64, u: usize, mode: Mode, s: f64| -> u16 {
        let dead = match mode {
            Mode::Open => net.below(u, v),
            Mode::Short => net.below(net.protector(u), v),
            Mode::Resistive | Mode::Weak => false,
        };
        let low = matches!(mode, Mode::Resistive | Mode::Weak) && net.below(u, v) && s > t;
        if dead { 2 } else { u16::from(low) }
    };
    for v in 0..net.part.len() {
        let t = between(c, 0.1, 0.7);
        let config = c.unit();
        let needs = if config < 0.5 { None } else { Some((config * 10.0) as u32 - 5) };
        add(between(c, 1.0, 4.0), v, needs, &|u, mode, s| volts(v, t, u, mode, s));
        let t = between(c, 0.5, 0.9);
        match net.part[v] {
            Part::Load => {
                // Its lamp or its function: a look, no tools.
                add(between(c, 0.2, 0.8), v, None, &|u, mode, s| volts(v, t, u, mode, s));
            }
            Part::Breaker => {
                add(between(c, 0.2, 0.5), v, None, &|u, mode, _| {
                    u16::from(mode == Mode::Short && net.protector(u) == v)
                });
            }
            Part::Fuse => {
                add(between(c, 1.0, 3.0), v, Some(1), &|u, mode, _| {
                    u16::from(
                        mode == Mode::Short && net.protector(u) == v
                            || mode == Mode::Open && u == v,
                    )
                });
            }
            Part::Source | Part::Cable | Part::Transformer => {}
        }
        let mut top = v;
        for _ in 0..pick(c, 4) {
            top = net.above[top].unwrap_or(top);
        }
        let within = |u: usize| net.below(top, u) && net.below(u, v);
        add(between(c, 2.0, 6.0), v, Some(1), &|u, mode, s| match mode {
            Mode::Open => u16::from(within(u)),
            Mode::Resistive if within(u) && s > t => 2,
            Mode::Resistive | Mode::Short | Mode::Weak => 0,
        });
        add(between(c, 3.0, 9.0), v, Some(1), &|u, mode, _| {
            u16::from(mode == Mode::Short && net.below(v, u))
        });
        if c.unit() < 0.4 {
            add(between(c, 1.0, 3.0), v, Some(2), &|u, mode, s| {
                let here = volts(v, t, u, mode, s);
                let lost = net.below(v, u) && u != v && matches!(mode, Mode::Open | Mode::Weak);
                if here == 0 && lost { 3 } else { here }
            });
        }
        add(between(c, 5.0, 15.0), v, None, &|u, _, _| u16::from(u == v));
    }
    pool
}

/// Two thirds by how much weight of pairs they tell apart per minute, the rest by chance.
fn choose(
    mut pool: Vec<Test>,
    weights: &[f64],
    candidates: &[(usize, Mode, f64)],
    count: usize,
    c: &mut Chance,
) -> Vec<Test> {
    let mut together: Vec<(usize, usize, f64)> = Vec::new();
    for j in 0..candidates.len() {
        for i in 0..j {
            if candidates[i].0 != candidates[j].0 {
                together.push((i, j, weights[i].min(weights[j])));
            }
        }
    }
    let mut chosen = Vec::new();
    while chosen.len() < count && !pool.is_empty() {
        let at = if c.unit() < 0.65 && !together.is_empty() {
            // A few drawn at random compete, so that the choice is not the same everywhere.
            let some: Vec<usize> = (0..12).map(|_| pick(c, pool.len())).collect();
            let score = |t: &Test| -> f64 {
                let step = 1 + together.len() / 2000;
                let apart: f64 = together
                    .iter()
                    .step_by(step)
                    .filter(|(i, j, _)| t.outcomes[*i] != t.outcomes[*j])
                    .map(|(_, _, w)| w)
                    .sum();
                apart / t.minutes.max(0.5)
            };
            let scores: Vec<f64> = some.iter().map(|at| score(&pool[*at])).collect();
            let best = (0..some.len()).max_by(|x, y| scores[*x].total_cmp(&scores[*y]));
            some[best.expect("twelve were drawn")]
        } else {
            pick(c, pool.len())
        };
        let test = pool.swap_remove(at);
        if together.len() > 200 {
            together.retain(|(i, j, _)| test.outcomes[*i] == test.outcomes[*j]);
        }
        chosen.push(test);
    }
    chosen
}
