//! Net voltages of one solved state, by source.

use num_complex::Complex64;

use crate::circuit::{NetId, PartId, Senses};
use crate::units::magnitude;

/// What one alternating source alone sets up, all others at zero.
#[derive(Clone, Debug, PartialEq)]
pub struct AcGroup {
    /// The machine.
    pub source: PartId,
    /// Its frequency.
    pub hertz: f64,
    /// Volts of electromotive force the regulator asks of each phase, line to line.
    pub emf_volts: f64,
    /// Volts (root mean square) to the airframe, by net.
    pub volts: Vec<Complex64>,
}

/// Voltages of every net, direct and by alternating source.
///
/// Free-running sources are never in step, so what two of them set up at one net
/// adds as the root of the sum of squares and direct voltage stands apart.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Direct volts to the airframe, by net.
    pub dc: Vec<f64>,
    /// One entry per machine that gives a voltage, in part order.
    pub ac: Vec<AcGroup>,
}

impl Solution {
    /// Direct volts of `a` above `b`.
    pub fn dc_between(&self, a: NetId, b: NetId) -> f64 {
        self.dc[a.index()] - self.dc[b.index()]
    }

    /// Alternating volts between two nets, root mean square over all sources.
    pub fn ac_between(&self, a: NetId, b: NetId) -> f64 {
        // Summed from zero: an empty sum of floats is minus zero.
        self.ac
            .iter()
            .map(|group| (group.volts[a.index()] - group.volts[b.index()]).norm_sqr())
            .fold(0.0, |sum, square| sum + square)
            .sqrt()
    }

    /// Heating value of the whole voltage between two nets.
    pub fn rms_between(&self, a: NetId, b: NetId) -> f64 {
        let (dc, ac) = (self.dc_between(a, b), self.ac_between(a, b));
        if ac == 0.0 { dc.abs() } else { (dc * dc + ac * ac).sqrt() }
    }

    /// The magnitude of what a coil or movement of this kind responds to.
    pub fn sensed(&self, senses: Senses, a: NetId, b: NetId) -> f64 {
        match senses {
            Senses::Dc => self.dc_between(a, b).abs(),
            Senses::Ac => self.ac_between(a, b),
            Senses::Hertz => self.hertz_between(a, b),
        }
    }

    /// Squares of the positive- and negative-sequence voltage per phase of a
    /// three-phase terminal, summed over sources:
    /// `V1 = (Va + a Vb + a^2 Vc) / 3`, `V2 = (Va + a^2 Vb + a Vc) / 3`.
    pub fn sequence_squares(&self, nets: [NetId; 3]) -> (f64, f64) {
        let (a, a2) = (crate::units::phasor(1.0, 120.0), crate::units::phasor(1.0, -120.0));
        self.ac.iter().fold((0.0, 0.0), |(first, second), group| {
            let [va, vb, vc] = nets.map(|net| group.volts[net.index()]);
            (
                first + ((va + a * vb + a2 * vc) / 3.0).norm_sqr(),
                second + ((va + a2 * vb + a * vc) / 3.0).norm_sqr(),
            )
        })
    }

    /// The frequency of the strongest alternating voltage between two nets; zero where
    /// there is none.
    pub fn hertz_between(&self, a: NetId, b: NetId) -> f64 {
        let size = |g: &AcGroup| (g.volts[a.index()] - g.volts[b.index()]).norm_sqr();
        self.ac
            .iter()
            .max_by(|x, y| size(x).total_cmp(&size(y)))
            .filter(|group| size(group) > 0.0)
            .map_or(0.0, |group| group.hertz)
    }

    /// The largest alternating voltage one source alone sets up between two nets.
    pub fn strongest_source(&self, a: NetId, b: NetId) -> Option<(PartId, f64)> {
        self.ac
            .iter()
            .map(|g| (g.source, magnitude(g.volts[a.index()] - g.volts[b.index()])))
            .max_by(|x, y| x.1.total_cmp(&y.1))
    }
}
