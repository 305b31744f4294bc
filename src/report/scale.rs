//! Scales of the axes of a plot.

/// A scale of one axis: its greatest value and its ticks.
#[derive(Clone, Debug, PartialEq)]
pub struct Scale {
    /// The greatest value.
    pub most: f64,
    /// Where there are figures, ascending from nought.
    pub ticks: Vec<f64>,
}

impl Scale {
    /// Ticks at one, two or five times a power of ten, about so many at the most.
    pub fn even(most: f64, count: f64) -> Self {
        let rough = (most / count).max(1e-9);
        let power = libm::pow(10.0, libm::floor(libm::log10(rough)));
        let step = [1.0, 2.0, 5.0, 10.0]
            .into_iter()
            .map(|times| times * power)
            .find(|step| *step >= rough)
            .unwrap_or(10.0 * power);
        let last = libm::ceil(most / step - 1e-9).max(1.0);
        let ticks = (0..=last as u32).map(|n| f64::from(n) * step).collect();
        Self { most: last * step, ticks }
    }

    /// One tick for every halving, at most so many.
    pub fn halving(most: f64, count: u32) -> Self {
        let top = libm::ceil(libm::log2(most.max(2.0)) - 1e-9);
        let every = libm::ceil(top / f64::from(count)).max(1.0);
        let ticks = (0..=(top / every) as u32).map(|n| f64::from(n) * every).collect();
        Self { most: top, ticks }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_hold_what_they_show() {
        for most in [0.1, 0.5, 1.0, 4.4, 17.0, 99.9, 250.0] {
            let scale = Scale::even(most, 6.0);
            assert!(scale.most >= most && scale.ticks.len() <= 8, "{most}: {:?}", scale.ticks);
            assert_eq!(scale.ticks.last(), Some(&scale.most));
        }
        for most in [1.0, 2.0, 10.0, 500.0, 90_000.0] {
            let scale = Scale::halving(most, 8);
            assert!(libm::exp2(scale.most) >= most && scale.ticks.len() <= 9, "{most}");
        }
    }
}
