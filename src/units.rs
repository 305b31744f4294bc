//! Quantities: complex phasors, and how a number is written for a person.
//!
//! Everything here is plain arithmetic; transcendental functions come from the
//! `libm` crate so that the same inputs give the same bits on every machine.

use num_complex::Complex64;

/// Magnitude of a phasor, in the phasor's own unit.
///
/// Written out because `hypot` differs in the last bit between platforms.
pub fn magnitude(phasor: Complex64) -> f64 {
    (phasor.re * phasor.re + phasor.im * phasor.im).sqrt()
}

/// Angle of a phasor in degrees, from -180 to 180; zero for a zero phasor.
pub fn angle_degrees(phasor: Complex64) -> f64 {
    libm::atan2(phasor.im, phasor.re).to_degrees()
}

/// The phasor of a magnitude and an angle in degrees.
pub fn phasor(magnitude: f64, degrees: f64) -> Complex64 {
    let radians = degrees.to_radians();
    Complex64::new(magnitude * libm::cos(radians), magnitude * libm::sin(radians))
}

/// Rounds to `digits` significant digits and writes without a needless tail:
/// `27.5`, `115`, `0.035`, `1200`.
///
/// Used for text a person reads; never for what a program reads back.
pub fn significant(value: f64, digits: u32) -> String {
    if value == 0.0 || !value.is_finite() {
        return if value == 0.0 { "0".to_owned() } else { value.to_string() };
    }
    let exponent = libm::floor(libm::log10(value.abs())) as i32;
    let decimals = (digits.cast_signed() - 1 - exponent).max(0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        text
    }
}

/// Minutes as a person reads them on a job card: `0.5 min`, `12 min`.
pub fn minutes(value: f64) -> String {
    format!("{} min", trim(&format!("{value:.1}")))
}

/// A quantity with its unit, to three significant digits: `114 V`, `0.035 A`.
pub fn quantity(value: f64, unit: &str) -> String {
    format!("{} {unit}", significant(value, 3))
}

/// Information as a person reads it: `1.4 bits`, `1 bit`, `next to nothing` where it would
/// round to nought in two decimals.
pub fn bits(value: f64) -> String {
    if value.abs() < LEAST_TOLD_BITS {
        return "next to nothing".to_owned();
    }
    let number = significant(value, 2);
    format!("{number} {}", if number == "1" { "bit" } else { "bits" })
}

/// Bits below which nobody can tell a step from one that tells nothing.
const LEAST_TOLD_BITS: f64 = 0.005;

/// A number of things: `1 fault`, `9 faults`.
pub fn counted(count: usize, thing: &str) -> String {
    format!("{count} {thing}{}", if count == 1 { "" } else { "s" })
}

fn trim(text: &str) -> &str {
    text.strip_suffix(".0").unwrap_or(text)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn significant_digits_lose_their_tail_and_nothing_else() {
        for (value, text) in
            [(27.5, "27.5"), (115.04, "115"), (0.035, "0.035"), (1200.0, "1200"), (-6.0, "-6")]
        {
            assert_eq!(significant(value, 3), text);
        }
    }

    #[test]
    fn bits_that_are_next_to_nothing_are_told_as_such() {
        for (value, text) in [
            (0.000_089, "next to nothing"),
            (0.0, "next to nothing"),
            (-0.004, "next to nothing"),
            (0.005, "0.005 bits"),
            (1.0, "1 bit"),
            (0.999, "1 bit"),
            (1.44, "1.4 bits"),
            (-0.21, "-0.21 bits"),
        ] {
            assert_eq!(bits(value), text, "{value}");
        }
    }

    #[test]
    fn phasor_and_back() {
        let p = phasor(115.0, -120.0);
        assert!((magnitude(p) - 115.0).abs() < 1e-12);
        assert!((angle_degrees(p) + 120.0).abs() < 1e-12);
    }
}
