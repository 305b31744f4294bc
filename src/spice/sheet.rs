//! A whole netlist, and how it is written.

use std::fmt;

use super::Group;
use super::card::{Card, number};
use crate::circuit::{AIRFRAME_NAME, Circuit};
use crate::diagnostic::plain;

/// A netlist of one group.
#[derive(Clone, Debug, PartialEq)]
pub struct Netlist {
    /// By net: its node.
    pub nodes: Vec<String>,
    /// What ties every net to the airframe.
    pub insulation: Vec<Card>,
    /// By part: its cards; none where it is open.
    pub parts: Vec<Vec<Card>>,
    /// The frequency; `None` for direct current.
    pub hertz: Option<f64>,
    title: String,
    source: String,
    nets: Vec<String>,
    part_titles: Vec<String>,
}

/// A comment must stay on its line.
fn one_line(text: &str) -> String {
    plain(text).replace(['\n', '\r'], " ")
}

impl Netlist {
    pub(super) fn new(
        circuit: &Circuit,
        group: Group,
        hertz: Option<f64>,
        nodes: Vec<String>,
        insulation: Vec<Card>,
        parts: Vec<Vec<Card>>,
    ) -> Self {
        let source = match group {
            Group::Direct => "direct current".to_owned(),
            Group::Machine(part) => format!("what {} alone gives", circuit.part(part).id),
        };
        let part_titles = circuit
            .parts
            .iter()
            .map(|part| {
                let label = if part.label == part.id { "" } else { &part.label };
                let space = if label.is_empty() { "" } else { " " };
                one_line(&format!("{}{space}{label}, {:?}", part.id, part.kind.id()))
            })
            .collect();
        Self {
            nodes,
            insulation,
            parts,
            hertz,
            title: one_line(&circuit.title_with_mods()),
            source: one_line(&source),
            nets: circuit.nets.iter().map(|net| one_line(net)).collect(),
            part_titles,
        }
    }

    /// Every card, insulation first and then by part.
    pub fn cards(&self) -> impl Iterator<Item = &Card> {
        self.insulation.iter().chain(self.parts.iter().flatten())
    }

    /// The command that solves it.
    pub fn analysis(&self) -> String {
        self.hertz.map_or_else(
            || "op".to_owned(),
            |hertz| format!("ac lin 1 {hertz} {hertz}", hertz = number(hertz)),
        )
    }

    /// Settings with which a simulator solves it to all the digits it has: nothing added
    /// to any node, no pivot too small.
    pub fn options() -> &'static str {
        ".options reltol=1e-9 abstol=1e-15 vntol=1e-12 gmin=1e-20 pivtol=1e-30"
    }
}

impl fmt::Display for Netlist {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        writeln!(f, "* {}: {}", self.title, self.source)?;
        writeln!(f, "* Training model only: nothing here is data of a real aircraft.")?;
        writeln!(f, "* The linear network at rest: contacts as they stand, filaments as hot as")?;
        writeln!(f, "* they are, machines as they turn. Run it with `ngspice -b FILE`.")?;
        if let Some(hertz) = self.hertz {
            writeln!(
                f,
                "* Alternating current at {} Hz, volts root mean square; every other source at zero.",
                number(hertz)
            )?;
        }
        writeln!(f, "*\n* Nets, node 0 is {AIRFRAME_NAME}:")?;
        for (node, net) in self.nodes.iter().zip(&self.nets).skip(1) {
            writeln!(f, "*   {node:<20} {net}")?;
        }
        if !self.insulation.is_empty() {
            writeln!(f, "*\n* Insulation of every net to the airframe.")?;
            for card in &self.insulation {
                writeln!(f, "{card}")?;
            }
        }
        for (title, cards) in self.part_titles.iter().zip(&self.parts) {
            let open = if cards.is_empty() { ": open, nothing here" } else { "" };
            writeln!(f, "*\n* {title}{open}")?;
            for card in cards {
                writeln!(f, "{card}")?;
            }
        }
        writeln!(f, "*\n{}\n.control", Self::options())?;
        writeln!(f, "set numdgt=9\nset width=200\nset units=degrees\n{}", self.analysis())?;
        let alternating = self.hertz.is_some();
        let heading = if alternating { "volts and degrees" } else { "volts" };
        writeln!(f, "echo {heading} of every net")?;
        for node in self.nodes.iter().skip(1) {
            if alternating {
                writeln!(f, "print mag(v({node})) ph(v({node}))")?;
            } else {
                writeln!(f, "print v({node})")?;
            }
        }
        writeln!(f, "quit\n.endc\n.end")
    }
}
