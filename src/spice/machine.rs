//! What the machines that make alternating voltage deliver, from their terminals.

use num_complex::Complex64;

use crate::circuit::{Circuit, Converter, Kind, Vibrator};
use crate::network::AcGroup;
use crate::units::phasor;

/// Watts that the electromotive forces of a group's machine deliver, losses in its own
/// windings included.
pub(super) fn delivered_watts(circuit: &Circuit, given: &AcGroup) -> f64 {
    let kind = &circuit.part(given.source).kind;
    if let Kind::Converter(c) = kind {
        converter_watts(c, given, circuit.insulation_ohms)
    } else if let Kind::Vibrator(v) = kind {
        vibrator_watts(v, given)
    } else {
        // Nothing else has electromotive forces that a motor has to drive.
        0.0
    }
}

/// Volts of each electromotive force of a converter's star: a third of a turn apart.
pub(super) fn star_volts(line_volts: f64) -> [(f64, f64); 3] {
    let volts = line_volts / 3.0_f64.sqrt();
    [(volts, 0.0), (volts, -120.0), (volts, -240.0)]
}

fn converter_watts(c: &Converter, given: &AcGroup, insulation_ohms: f64) -> f64 {
    let impedance = Complex64::new(c.phase_ohms, c.phase_reactance_ohms * given.hertz / c.hertz);
    let force = star_volts(given.emf_volts).map(|(volts, degrees)| phasor(volts, degrees));
    let sound: Vec<usize> = (0..3).filter(|phase| c.phase_sound[*phase]).collect();
    let terminal = |phase: usize| given.volts[c.phases[phase].index()];
    // The star point is where its currents, with that through its insulation, sum to
    // nothing.
    let driven: Complex64 =
        sound.iter().map(|phase| (terminal(*phase) - force[*phase]) / impedance).sum();
    let star = driven / (sound.len() as f64 / impedance + 1.0 / insulation_ohms);
    sound
        .iter()
        .map(|phase| {
            let amps = (force[*phase] + star - terminal(*phase)) / impedance;
            (force[*phase] * amps.conj()).re
        })
        .sum()
}

fn vibrator_watts(v: &Vibrator, given: &AcGroup) -> f64 {
    let across = given.volts[v.out.index()] - given.volts[v.neutral.index()];
    let force = Complex64::from(given.emf_volts);
    (force * ((force - across) / v.ohms).conj()).re
}
