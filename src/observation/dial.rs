//! Reading an instrument that is not quite right.
//!
//! A pointer or a display shows the true value through an error that belongs to the
//! instrument and stays: reading it again tells nothing new. The error is one number
//! between -1 and 1, drawn once; a dial turns it into the mark a person reads.

/// What a person reads: which mark of which range.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Reading {
    /// Which range of the instrument, counted from zero; a pointer has one.
    pub range: u8,
    /// The mark, counted from the zero of the scale.
    pub mark: i64,
}

/// How a value shows on an instrument.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dial {
    /// The true value, in units of the scale (fraction of arc, volts, ohms).
    pub exact: f64,
    /// Largest error in the same unit.
    pub error: f64,
    /// Distance between two values that a person can tell apart, same unit.
    pub step: f64,
    /// The last mark; nothing reads beyond it.
    pub last: i64,
    /// The range in use.
    pub range: u8,
}

/// An interval of the instrument's error, within `[-1, 1]`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ErrorSpan {
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

impl ErrorSpan {
    /// All that the accuracy class allows.
    pub const WHOLE: Self = Self { low: -1.0, high: 1.0 };

    fn width(self) -> f64 {
        self.high - self.low
    }

    fn with(self, other: Self) -> Self {
        Self { low: self.low.max(other.low), high: self.high.min(other.high) }
    }
}

impl Dial {
    /// What is read when the instrument's error is `error` (from -1 to 1).
    pub fn reading(&self, error: f64) -> Reading {
        let mark = libm::round((self.exact + error * self.error) / self.step);
        Reading { range: self.range, mark: (mark.max(0.0) as i64).min(self.last) }
    }

    /// The errors, within `known`, for which this reading comes out, and how
    /// probable that is; `None` when it cannot come out.
    ///
    /// The error is taken as equally probable everywhere within `known`.
    pub fn probability(&self, reading: Reading, known: ErrorSpan) -> Option<(ErrorSpan, f64)> {
        if reading.range != self.range || reading.mark > self.last {
            return None;
        }
        if self.error <= 0.0 || known.width() <= 0.0 {
            let certain = self.reading(known.low) == reading;
            return certain.then_some((known, 1.0));
        }
        let at = |mark: f64| (mark * self.step - self.exact) / self.error;
        let span = ErrorSpan {
            low: if reading.mark == 0 { -1.0 } else { at(reading.mark as f64 - 0.5) },
            high: if reading.mark == self.last { 1.0 } else { at(reading.mark as f64 + 0.5) },
        }
        .with(known);
        (span.width() > 0.0).then(|| (span, span.width() / known.width()))
    }

    /// Every reading that can come out with an error within `known`, with its
    /// probability.
    pub fn outcomes(&self, known: ErrorSpan) -> Vec<(Reading, f64)> {
        let (low, high) = (self.reading(known.low), self.reading(known.high));
        (low.mark..=high.mark)
            .map(|mark| Reading { range: self.range, mark })
            .filter_map(|r| self.probability(r, known).map(|(_, p)| (r, p)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chance::Chance;

    fn dial(exact: f64) -> Dial {
        Dial { exact, error: 0.02, step: 0.0125, last: 80, range: 0 }
    }

    #[test]
    fn probabilities_of_all_outcomes_sum_to_one() {
        let mut chance = Chance::stream(5, "dial");
        for _ in 0..500 {
            let d = dial(chance.unit());
            let low = chance.signed();
            let known = ErrorSpan { low, high: low + (1.0 - low) * chance.unit() };
            let sum: f64 = d.outcomes(known).iter().map(|(_, p)| p).sum();
            assert!((sum - 1.0).abs() < 1e-9, "{d:?} {known:?}: {sum}");
        }
    }

    #[test]
    fn what_is_read_is_possible_and_narrows_the_error_around_the_true_one() {
        let mut chance = Chance::stream(6, "dial");
        for _ in 0..500 {
            let (d, error) = (dial(chance.unit()), chance.signed());
            let (span, p) =
                d.probability(d.reading(error), ErrorSpan::WHOLE).expect("what was read can be");
            assert!(p > 0.0 && span.low <= error + 1e-12 && error <= span.high + 1e-12);
            // Reading it again tells nothing new.
            let again = d.probability(d.reading(error), span).expect("still possible");
            assert!((again.1 - 1.0).abs() < 1e-12);
        }
    }
}
