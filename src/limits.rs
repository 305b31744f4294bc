//! What a supply may be: the bands of aircraft power, and the word for a value in one.
//!
//! For training only: an aircraft's own maintenance data says what its buses may be.

/// A band of allowed values, both edges allowed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Band {
    /// The lowest allowed value, in the unit of the band's own name.
    pub low: f64,
    /// The highest allowed value.
    pub high: f64,
}

impl Band {
    /// `low`, `normal` or `high`.
    pub fn word(&self, value: f64) -> &'static str {
        if value < self.low {
            "low"
        } else if value > self.high {
            "high"
        } else {
            "normal"
        }
    }
}

/// Steady-state volts of a 115 V, 400 Hz system.
///
/// MIL-STD-704F (12 March 2004), read in a secondary transcription. The standard states
/// them phase to neutral. In a system with one phase on the airframe and no neutral they
/// are applied line to line here, which is phase to airframe for the other two.
pub const AC_115_VOLTS: Band = Band { low: 108.0, high: 118.0 };

/// Steady-state hertz of a 400 Hz system. MIL-STD-704F, read in a secondary transcription.
pub const AC_400_HERTZ: Band = Band { low: 393.0, high: 407.0 };

/// Steady-state volts of a 28 V direct-current system. MIL-STD-704F, from memory.
pub const DC_28_VOLTS: Band = Band { low: 22.0, high: 29.0 };

/// Alternating volts at the external power receptacle. MIL-STD-704F, paragraph 4.3.
pub const RECEPTACLE_AC_VOLTS: Band = Band { low: 113.0, high: 118.0 };

/// Direct volts at the external power receptacle. MIL-STD-704F, paragraph 4.3.
pub const RECEPTACLE_DC_VOLTS: Band = Band { low: 24.0, high: 29.0 };

/// The band for a net of these direct volts to the airframe: 28 V above 10 V, else none,
/// since a net that is off, or behind an open, is not out of a band.
pub fn dc_band(volts: f64) -> Option<Band> {
    (volts > 10.0).then_some(DC_28_VOLTS)
}

/// The band for a net of these alternating volts to the airframe whose strongest source
/// gives these hertz: 115 V above 60 V and from 350 to 450 Hz, else none.
pub fn ac_band(volts: f64, hertz: f64) -> Option<Band> {
    (volts > 60.0 && (350.0..=450.0).contains(&hertz)).then_some(AC_115_VOLTS)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn both_edges_of_a_band_are_normal() {
        for band in
            [AC_115_VOLTS, AC_400_HERTZ, DC_28_VOLTS, RECEPTACLE_AC_VOLTS, RECEPTACLE_DC_VOLTS]
        {
            assert_eq!(band.word(band.low - 0.01), "low");
            assert_eq!(band.word(band.low), "normal");
            assert_eq!(band.word(band.high), "normal");
            assert_eq!(band.word(band.high + 0.01), "high");
        }
    }

    #[test]
    fn a_band_applies_only_where_the_net_is_of_its_system() {
        assert_eq!(dc_band(10.0), None);
        assert_eq!(dc_band(10.1), Some(DC_28_VOLTS));
        assert_eq!(dc_band(-28.0), None);
        assert_eq!(ac_band(60.0, 400.0), None);
        assert_eq!(ac_band(60.1, 349.9), None);
        assert_eq!(ac_band(60.1, 350.0), Some(AC_115_VOLTS));
        assert_eq!(ac_band(60.1, 450.0), Some(AC_115_VOLTS));
        assert_eq!(ac_band(110.0, 60.0), None);
    }
}
