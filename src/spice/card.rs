//! One line of a netlist.

use std::fmt;

/// What stands behind the nodes of a card.
#[derive(Clone, Debug, PartialEq)]
pub enum Value {
    /// `R`: ohms.
    Ohms(f64),
    /// `L`: henries.
    Henries(f64),
    /// `C`: farads.
    Farads(f64),
    /// `V`: a voltage source.
    Source {
        /// Direct volts.
        volts: f64,
        /// Alternating volts, root mean square.
        ac_volts: f64,
        /// Their angle in degrees.
        degrees: f64,
    },
    /// `E`: volts between the first two nodes per volt between the last two.
    VoltsPerVolt(f64),
    /// `G`: amperes from the first node to the second per volt between the last two.
    AmpsPerVolt(f64),
    /// `F`: amperes from the first node to the second per ampere through the named
    /// voltage source.
    AmpsPerAmp {
        /// Name of the source whose current counts.
        through: String,
        /// Amperes per ampere.
        gain: f64,
    },
    /// `H`: volts of the first node above the second per ampere through the named
    /// voltage source.
    VoltsPerAmp {
        /// Name of the source whose current counts.
        through: String,
        /// Ohms.
        ohms: f64,
    },
    /// `K`: the coupling of two inductors.
    Coupling {
        /// Names of the two inductors.
        inductors: [String; 2],
        /// Mutual inductance over the root of the product of the two.
        factor: f64,
    },
}

impl Value {
    /// The letter that a card of this kind begins with.
    pub fn letter(&self) -> char {
        match self {
            Self::Ohms(_) => 'R',
            Self::Henries(_) => 'L',
            Self::Farads(_) => 'C',
            Self::Source { .. } => 'V',
            Self::VoltsPerVolt(_) => 'E',
            Self::AmpsPerVolt(_) => 'G',
            Self::AmpsPerAmp { .. } => 'F',
            Self::VoltsPerAmp { .. } => 'H',
            Self::Coupling { .. } => 'K',
        }
    }
}

/// One element: its name, the nodes it stands between and its value.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Name, its letter first; unique in the netlist.
    pub name: String,
    /// Nodes, in the order the letter asks for.
    pub nodes: Vec<String>,
    /// What it is.
    pub value: Value,
}

/// A number as a simulator reads it, every digit kept: plain where that is short.
pub(super) fn number(value: f64) -> String {
    let (plain, power) = (format!("{value}"), format!("{value:e}"));
    if plain.len() <= power.len() { plain } else { power }
}

impl fmt::Display for Card {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.name)?;
        for node in &self.nodes {
            write!(f, " {node}")?;
        }
        match &self.value {
            Value::Ohms(n)
            | Value::Henries(n)
            | Value::Farads(n)
            | Value::VoltsPerVolt(n)
            | Value::AmpsPerVolt(n) => write!(f, " {}", number(*n)),
            Value::Source { volts, ac_volts, degrees } => {
                let (dc, ac) = (number(*volts), number(*ac_volts));
                write!(f, " DC {dc} AC {ac} {}", number(*degrees))
            }
            Value::AmpsPerAmp { through, gain: n } | Value::VoltsPerAmp { through, ohms: n } => {
                write!(f, " {through} {}", number(*n))
            }
            Value::Coupling { inductors: [a, b], factor } => {
                write!(f, " {a} {b} {}", number(*factor))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_keep_every_digit_and_stay_short() {
        for (value, text) in [
            (27.5, "27.5"),
            (1e7, "1e7"),
            (0.004, "4e-3"),
            (0.1 + 0.2, "0.30000000000000004"),
            (-120.0, "-120"),
            (0.0, "0"),
        ] {
            assert_eq!(number(value), text);
            assert_eq!(text.parse(), Ok(value));
        }
    }
}
