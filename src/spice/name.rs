//! Names that a simulator takes: lower case, letters, digits and underscores.

use std::collections::BTreeSet;

use crate::circuit::Circuit;

/// Names of nets and parts in a netlist.
#[derive(Clone, Debug)]
pub(super) struct Names {
    /// By net: its node. Node `0` is the airframe; every other begins with `n_`, so
    /// that none can be taken for a number, a constant or a function.
    pub nodes: Vec<String>,
    /// By part: what its cards and inner nodes are named after.
    pub parts: Vec<String>,
}

impl Names {
    pub(super) fn of(circuit: &Circuit) -> Self {
        let nets = circuit.nets[1..].iter().map(String::as_str);
        let nodes = unlike(nets).into_iter().map(|net| format!("n_{net}"));
        Self {
            nodes: std::iter::once("0".to_owned()).chain(nodes).collect(),
            parts: unlike(circuit.parts.iter().map(|part| part.id.as_str())),
        }
    }
}

/// The names with everything else than letters and digits made an underscore; names
/// that then are alike get a number.
fn unlike<'a>(names: impl Iterator<Item = &'a str>) -> Vec<String> {
    let mut taken: BTreeSet<String> = BTreeSet::new();
    names
        .map(|name| {
            let simple: String = name
                .chars()
                .map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '_' })
                .collect();
            let mut given = simple.clone();
            let mut count = 1;
            while !taken.insert(given.clone()) {
                count += 1;
                given = format!("{simple}_{count}");
            }
            given
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_that_become_alike_are_told_apart() {
        let names = ["CV1.A", "CV1-A", "cv1 a", "CV1_A_2", "É", "GND"];
        let given = unlike(names.into_iter());
        assert_eq!(given, ["cv1_a", "cv1_a_2", "cv1_a_3", "cv1_a_2_2", "_", "gnd"]);
    }
}
