//! Wire: ohms from gauge, and the aircraft wire table.

/// Diameter of a solid round conductor in inches.
///
/// ASTM B258: `0.005 in x 92^((36 - n) / 39)`.
pub fn solid_copper_diameter_inches(gauge_awg: u8) -> f64 {
    0.005 * libm::pow(92.0, (36.0 - f64::from(gauge_awg)) / 39.0)
}

/// Ohms of 1000 ft of solid annealed copper at 20 degrees Celsius.
///
/// Resistivity 10.371 ohm-circular-mils per foot (annealed copper, IEC 60028;
/// value from memory); area from [`solid_copper_diameter_inches`].
pub fn solid_copper_ohms_per_1000_feet(gauge_awg: u8) -> f64 {
    let mils = solid_copper_diameter_inches(gauge_awg) * 1000.0;
    10.371 * 1000.0 / (mils * mils)
}

/// One row of the aircraft wire table.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AircraftWire {
    /// American wire gauge.
    pub gauge_awg: u8,
    /// Largest ohms of 1000 ft, tin-plated copper, 20 degrees Celsius.
    pub ohms_per_1000_feet: f64,
}

/// FAA AC 43.13-1B Change 1 (27 September 2001), Table 11-9, tin-plated
/// conductor column.
pub const AIRCRAFT_WIRE: [AircraftWire; 11] = [
    AircraftWire { gauge_awg: 24, ohms_per_1000_feet: 28.40 },
    AircraftWire { gauge_awg: 22, ohms_per_1000_feet: 16.20 },
    AircraftWire { gauge_awg: 20, ohms_per_1000_feet: 9.88 },
    AircraftWire { gauge_awg: 18, ohms_per_1000_feet: 6.23 },
    AircraftWire { gauge_awg: 16, ohms_per_1000_feet: 4.81 },
    AircraftWire { gauge_awg: 14, ohms_per_1000_feet: 3.06 },
    AircraftWire { gauge_awg: 12, ohms_per_1000_feet: 2.02 },
    AircraftWire { gauge_awg: 10, ohms_per_1000_feet: 1.26 },
    AircraftWire { gauge_awg: 8, ohms_per_1000_feet: 0.70 },
    AircraftWire { gauge_awg: 6, ohms_per_1000_feet: 0.44 },
    AircraftWire { gauge_awg: 4, ohms_per_1000_feet: 0.28 },
];

/// The table row of a gauge; `None` for a gauge the table does not list.
pub fn aircraft_wire(gauge_awg: u8) -> Option<&'static AircraftWire> {
    AIRCRAFT_WIRE.iter().find(|row| row.gauge_awg == gauge_awg)
}
