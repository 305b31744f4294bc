//! The catalogue in words: what a field holds and what it is when left out, what the
//! short names of sources stand for. The authors' guide and the reference of the
//! command line say it with these.

use super::catalogue::{FieldDefault, FieldKind, KindSpec};
use crate::units::significant;

/// Beyond this a limit is no limit that an author could meet.
const NO_LIMIT: f64 = 1e9;

impl FieldKind {
    /// What a field holds: `above 0, at most 1`, `number, V`, `net`.
    pub fn holds(&self) -> String {
        match self {
            Self::Net => "net".to_owned(),
            Self::Number { unit, above, most } => {
                let limit = if *most < NO_LIMIT {
                    format!("above {}, at most {}", significant(*above, 6), significant(*most, 6))
                } else {
                    "number".to_owned()
                };
                if unit.is_empty() { limit } else { format!("{limit}, {unit}") }
            }
            Self::Count { least, most } => format!("whole number, {least} to {most}"),
            Self::Text => "text".to_owned(),
            Self::Flag => "`true` or `false`".to_owned(),
            Self::Choice(words) => {
                let words: Vec<_> = words.iter().map(|word| format!("`\"{word}\"`")).collect();
                words.join(", ")
            }
            Self::Positions => "list of texts".to_owned(),
            Self::Closures => "map of positions to pairs of nets".to_owned(),
            Self::Contacts => "list of contact sets".to_owned(),
            Self::Scale => "list of pairs of numbers".to_owned(),
            Self::Numbers => "list of numbers".to_owned(),
            Self::Needs => "list of (net, net, volts)".to_owned(),
            Self::Part(kinds) => {
                let kinds: Vec<_> = kinds.iter().map(|kind| kind.spec().name).collect();
                format!("name of a {}", kinds.join(", "))
            }
            Self::Nets => "list of nets".to_owned(),
            Self::Pairs => "list of pairs of nets".to_owned(),
            Self::Poles => "list of lists of nets".to_owned(),
            Self::Pins => "list of (pin, net, net)".to_owned(),
        }
    }

    /// Whether it says which nets the part joins: a pin, or a list with pins in it.
    pub fn is_pins(&self) -> bool {
        match self {
            Self::Net
            | Self::Closures
            | Self::Contacts
            | Self::Needs
            | Self::Nets
            | Self::Pairs
            | Self::Poles
            | Self::Pins => true,
            Self::Number { .. }
            | Self::Count { .. }
            | Self::Text
            | Self::Flag
            | Self::Choice(_)
            | Self::Positions
            | Self::Scale
            | Self::Numbers
            | Self::Part(_) => false,
        }
    }
}

impl FieldDefault {
    /// What leaving the field out means: `must be given`, `27.5`, `"GND"`.
    pub fn words(&self) -> String {
        match self {
            Self::Required => "must be given".to_owned(),
            Self::Absent => "see meaning".to_owned(),
            Self::Number(number) => significant(*number, 6),
            Self::Text("") => "empty".to_owned(),
            Self::Text(text) => format!("`\"{text}\"`"),
            Self::Flag(flag) => format!("`{flag}`"),
        }
    }
}

/// A short name in the sources of rates, and what it stands for.
pub const RATE_SOURCES: [(&str, &str); 3] = [
    (
        "217F",
        "MIL-HDBK-217F Notice 2, Appendix A part-count rates, airborne inhabited cargo, read in \
         a secondary transcription of the handbook",
    ),
    (
        "338B",
        "the mode split printed in MIL-HDBK-338B (from FMD-91), read in a secondary transcription",
    ),
    ("assumption", "no published source"),
];

impl KindSpec {
    /// The short names in this kind's rates, each with what it stands for.
    pub fn rate_sources(&self) -> impl Iterator<Item = (&'static str, &'static str)> + '_ {
        let named = |short: &str| self.modes.iter().any(|mode| mode.source.contains(short));
        RATE_SOURCES.into_iter().filter(move |(short, _)| named(short))
    }
}
