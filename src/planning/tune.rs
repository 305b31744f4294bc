//! Better charges than any order of filling gives: the linear programme of the bound, solved
//! roughly and then repaired.
//!
//! The method is primal-dual hybrid gradient with diagonal steps (Chambolle and Pock, J. Math.
//! Imaging Vis. 40, 2011; Pock and Chambolle, ICCV 2011; both from memory). It runs in `f32`
//! and need not be exact: what it leaves is scaled down until every purse suffices, in whole
//! numbers, so what comes out is a true set of charges however rough the solution was.

use super::bound::{Book, Purses};
use super::field::{Field, Spot, for_each};

/// How large dual steps are against primal ones.
const BALANCE: f32 = 4.0;

/// The most rounds: beyond these little is gained.
const ROUNDS: u64 = 300;

/// With fewer rounds than this the result is worse than what filling in order gives.
const FEWEST: u64 = 30;

/// Pairs taken from the hard end of the list, as a multiple of those that filling charged.
const SHARE: usize = 4;

/// A pair of classes: where its tests and its set-ups stand.
struct Pair {
    a: u32,
    b: u32,
    tests: (u32, u32),
    setups: (u32, u32),
    /// The charge.
    alpha: f32,
    /// The size of charges to expect, which sets the steps.
    scale: f32,
}

/// A test that tells a pair apart: what each class draws, and how much it is the one.
struct Parting {
    slot: u32,
    draws: [f32; 2],
    z: f32,
    /// `z` looked ahead.
    ahead: f32,
    /// What the set-ups of the test grant.
    granted: f32,
    step: f32,
}

/// A closed place or other configuration that some tests of a pair need.
struct Setup {
    slot: u32,
    draws: [f32; 2],
    /// Its tests, in a list of places among the partings.
    tests: (u32, u32),
    step: f32,
}

fn span(range: (u32, u32)) -> std::ops::Range<usize> {
    range.0 as usize..range.1 as usize
}

struct Programme {
    stride: usize,
    pairs: Vec<Pair>,
    partings: Vec<Parting>,
    setups: Vec<Setup>,
    listed: Vec<u32>,
    /// What purses hold, by class and slot.
    holds: Vec<f32>,
    /// The sum of scales of all that draw on a purse; its inverse is the primal step.
    weight: Vec<f32>,
}

impl Programme {
    fn new(field: &Field, spot: &Spot, charged: &[(u32, f64)]) -> Self {
        let (m, places, configs) = (field.m, field.access.len(), field.change.len());
        let stride = m + places + configs;
        let size = spot.members.len() * stride;
        let mut made = Self {
            stride,
            pairs: Vec::with_capacity(charged.len()),
            partings: Vec::new(),
            setups: Vec::new(),
            listed: Vec::new(),
            holds: Vec::with_capacity(size),
            weight: vec![0.0; size],
        };
        for i in &spot.members {
            let all = field.cost.iter().chain(&field.access).chain(&field.change);
            made.holds.extend(all.map(|ticks| (ticks * field.weight[*i as usize]) as f32));
        }
        let needed: Vec<bool> = (0..places + configs)
            .map(|s| {
                if s < places {
                    spot.open >> s & 1 == 0 && field.access[s] > 0.0
                } else {
                    (s - places) as u16 != spot.config && field.change[s - places] > 0.0
                }
            })
            .collect();
        for (pair, amount) in charged {
            made.add(field, spot, &needed, *pair, *amount);
        }
        made
    }

    fn add(&mut self, field: &Field, spot: &Spot, needed: &[bool], pair: u32, amount: f64) {
        let (m, places) = (field.m, field.access.len());
        let (a, b) = ((pair >> 16) as usize, (pair & 0xffff) as usize);
        let (i, j) = (spot.members[a], spot.members[b]);
        let from = self.partings.len();
        for_each(field.apart(i, j), |t| {
            self.partings.push(Parting {
                slot: t as u32,
                draws: [0.0; 2],
                z: 0.0,
                ahead: 0.0,
                granted: 0.0,
                step: 0.0,
            });
        });
        let count = (self.partings.len() - from) as f32;
        let lesser = field.weight[i as usize].min(field.weight[j as usize]);
        // Hard pairs bear much: the lesser weight times the mean cost over the number of tests.
        let scale = BALANCE * (amount + lesser / f64::from(field.ease(i, j))) as f32;
        let first_setup = self.setups.len();
        for (s, _) in needed.iter().enumerate().filter(|(_, needed)| **needed) {
            let start = self.listed.len();
            for e in from..self.partings.len() {
                let t = self.partings[e].slot as usize;
                let draws = if s < places {
                    field.place[t] as usize == s
                        || field.far(t, spot.open, spot.config) >> s & 1 == 1
                } else {
                    field.needs[t] as usize == s - places
                };
                if draws {
                    self.listed.push(e as u32);
                    self.partings[e].step += 2.0 * scale;
                }
            }
            let tests = self.listed.len() - start;
            if tests > 0 {
                self.setups.push(Setup {
                    slot: (m + s) as u32,
                    draws: [0.0; 2],
                    tests: (start as u32, self.listed.len() as u32),
                    step: scale / (1 + tests) as f32,
                });
                self.weight[a * self.stride + m + s] += scale;
                self.weight[b * self.stride + m + s] += scale;
            }
        }
        for parting in &mut self.partings[from..] {
            parting.step = 1.0 / (parting.step + 3.0 * scale);
            parting.z = 1.0 / count;
            self.weight[a * self.stride + parting.slot as usize] += scale;
            self.weight[b * self.stride + parting.slot as usize] += scale;
        }
        self.pairs.push(Pair {
            a: a as u32,
            b: b as u32,
            tests: (from as u32, self.partings.len() as u32),
            setups: (first_setup as u32, self.setups.len() as u32),
            alpha: amount as f32,
            scale,
        });
    }

    /// So many steps of the method.
    fn solve(&mut self, rounds: u64) {
        let mut y = vec![0.5_f32; self.weight.len()];
        let mut ahead = y.clone();
        let mut drawn = vec![0.0_f32; self.weight.len()];
        for _ in 0..rounds {
            for at in 0..y.len() {
                if self.weight[at] > 0.0 {
                    let next = (y[at] - (self.holds[at] - drawn[at]) / self.weight[at]).max(0.0);
                    ahead[at] = 2.0 * next - y[at];
                    y[at] = next;
                    drawn[at] = 0.0;
                }
            }
            for pair in &mut self.pairs {
                let (ra, rb) = (pair.a as usize * self.stride, pair.b as usize * self.stride);
                let setups = &mut self.setups[span(pair.setups)];
                for setup in &*setups {
                    for e in &self.listed[span(setup.tests)] {
                        self.partings[*e as usize].granted += setup.draws[0] + setup.draws[1];
                    }
                }
                let mut sum = 0.0;
                let half = 0.5 * pair.scale;
                let partings = &mut self.partings[span(pair.tests)];
                let count = partings.len() as f32;
                for parting in partings {
                    let paid = parting.draws[0] + parting.draws[1] + parting.granted;
                    parting.granted = 0.0;
                    let next = (parting.z - parting.step * (paid - pair.alpha)).max(0.0);
                    let look = 2.0 * next - parting.z;
                    parting.z = next;
                    parting.ahead = look;
                    sum += look;
                    let (one, other) = (ra + parting.slot as usize, rb + parting.slot as usize);
                    parting.draws[0] = (parting.draws[0] + half * (look - ahead[one])).max(0.0);
                    parting.draws[1] = (parting.draws[1] + half * (look - ahead[other])).max(0.0);
                    drawn[one] += parting.draws[0];
                    drawn[other] += parting.draws[1];
                }
                pair.alpha = (pair.alpha + pair.scale / count * (1.0 - sum)).max(0.0);
                for setup in setups {
                    let mut z = 0.0;
                    for e in &self.listed[span(setup.tests)] {
                        z += self.partings[*e as usize].ahead;
                    }
                    let (one, other) = (ra + setup.slot as usize, rb + setup.slot as usize);
                    setup.draws[0] = (setup.draws[0] + setup.step * (z - ahead[one])).max(0.0);
                    setup.draws[1] = (setup.draws[1] + setup.step * (z - ahead[other])).max(0.0);
                    drawn[one] += setup.draws[0];
                    drawn[other] += setup.draws[1];
                }
            }
        }
    }

    /// Pays what was found from real purses, each draw scaled so that its purse suffices.
    fn repair(&self, members: &[u16], purses: &mut Purses) -> Book {
        let mut book = Book::default();
        let mut drawn = vec![0.0_f64; self.weight.len()];
        let mut each = |pair: &Pair, slot: u32, draws: [f32; 2]| {
            drawn[pair.a as usize * self.stride + slot as usize] += f64::from(draws[0]);
            drawn[pair.b as usize * self.stride + slot as usize] += f64::from(draws[1]);
        };
        for pair in &self.pairs {
            for one in &self.partings[span(pair.tests)] {
                each(pair, one.slot, one.draws);
            }
            for one in &self.setups[span(pair.setups)] {
                each(pair, one.slot, one.draws);
            }
        }
        let mut granted = vec![0.0_f64; self.partings.len()];
        for pair in &self.pairs {
            let (a, b) = (pair.a as usize, pair.b as usize);
            // What a class can really draw.
            let real = |class: usize, slot: u32, draw: f32, purses: &Purses| -> f64 {
                let at = class * self.stride + slot as usize;
                let left = purses.left(class, slot as usize);
                let full = f64::from(self.holds[at]);
                let scale = if drawn[at] > full { full / drawn[at] } else { 1.0 };
                (f64::from(draw) * scale).floor().min(left)
            };
            let mut draws: Vec<(u32, f64, f64)> = Vec::new();
            for one in &self.setups[span(pair.setups)] {
                let x = real(a, one.slot, one.draws[0], purses);
                let y = real(b, one.slot, one.draws[1], purses);
                for e in &self.listed[span(one.tests)] {
                    granted[*e as usize] += x + y;
                }
                if x + y > 0.0 {
                    draws.push((one.slot, x, y));
                }
            }
            let mut amount = f64::INFINITY;
            for e in span(pair.tests) {
                let one = &self.partings[e];
                let x = real(a, one.slot, one.draws[0], purses);
                let y = real(b, one.slot, one.draws[1], purses);
                amount = amount.min(granted[e] + x + y);
            }
            if amount < 1.0 || amount == f64::INFINITY {
                continue;
            }
            for e in span(pair.tests) {
                let one = &self.partings[e];
                let own = (amount - granted[e]).max(0.0);
                let x = real(a, one.slot, one.draws[0], purses).min(own);
                if own > 0.0 {
                    draws.push((one.slot, x, own - x));
                }
            }
            for (slot, x, y) in &draws {
                purses.draw(a, *slot as usize, *x);
                purses.draw(b, *slot as usize, *y);
            }
            book.add(members[a], members[b], amount, &draws);
        }
        book
    }
}

/// A book of payments whose sum is near the best, for so much work at most. Empty when the
/// work does not reach for more than filling in order would give.
pub(super) fn tune(
    field: &Field,
    spot: &Spot,
    pairs: &[u32],
    work: u64,
    purses: &mut Purses,
) -> Book {
    purses.begin(field, spot);
    let mut charged: Vec<(u32, f64)> = Vec::new();
    let mut count = 0;
    for (at, pair) in pairs.iter().enumerate() {
        let amount = purses.offer(field, &spot.members, *pair);
        count += usize::from(amount > 0.0);
        // The harder pairs all take part, and of the others those that were charged.
        if amount > 0.0 || at < SHARE * count {
            charged.push((*pair, amount));
        }
    }
    let mut programme = Programme::new(field, spot, &charged);
    let effort = (2 * programme.partings.len()) as u64;
    let rounds = (work / effort.max(1)).min(ROUNDS);
    if rounds < FEWEST {
        return Book::default();
    }
    programme.solve(rounds);
    purses.work += rounds * effort;
    purses.begin(field, spot);
    programme.repair(&spot.members, purses)
}
