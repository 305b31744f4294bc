//! `halfsplit spice`: a settled system as netlists for a circuit simulator.

use std::io::Write;

use anyhow::{Context, Result, bail};

use super::{Ended, args, setup, whole_file};
use crate::circuit::Circuit;
use crate::diagnostic::plain;
use crate::network::Settled;
use crate::spice::{Group, groups, netlist};

/// Writes one netlist to standard output, or one file for each group.
pub(super) fn run(arguments: &args::Spice) -> Result<Ended> {
    let circuit = arguments.build.load()?;
    let setup::Stands { network, settled, .. } = setup::settle(circuit, &arguments.setup)?;
    let circuit = network.circuit();
    let asked =
        arguments.group.as_deref().map(|name| named(circuit, &settled, name)).transpose()?;
    let mut out = std::io::stdout().lock();
    let Some(folder) = &arguments.out else {
        let group = asked.unwrap_or(Group::Direct);
        write!(out, "{}", netlist(&network, &settled, group))?;
        return Ok(Ended::Well);
    };
    let shown = plain(&folder.to_string_lossy());
    std::fs::create_dir_all(folder).with_context(|| format!("{shown} cannot be made"))?;
    let chosen = asked.map_or_else(|| groups(&settled), |group| vec![group]);
    for group in chosen {
        let path = folder.join(format!("{}.{}.cir", safe(&circuit.id), safe(name(circuit, group))));
        let shown = plain(&path.to_string_lossy());
        whole_file::write(&path, &netlist(&network, &settled, group))?;
        writeln!(out, "{shown}")?;
    }
    Ok(Ended::Well)
}

/// What the group of direct-current sources is called.
const DIRECT: &str = "dc";

fn name(circuit: &Circuit, group: Group) -> &str {
    match group {
        Group::Direct => DIRECT,
        Group::Machine(part) => &circuit.part(part).id,
    }
}

fn named(circuit: &Circuit, settled: &Settled, typed: &str) -> Result<Group> {
    let there = groups(settled);
    if let Some(group) = there.iter().find(|g| name(circuit, **g).eq_ignore_ascii_case(typed)) {
        return Ok(*group);
    }
    let names: Vec<&str> = there.iter().map(|group| name(circuit, *group)).collect();
    bail!("`{typed}` gives nothing here; the groups are {}", names.join(", "))
}

/// A name that is safe as part of a file's.
fn safe(name: &str) -> String {
    name.chars().map(|c| if c.is_alphanumeric() || c == '-' { c } else { '_' }).collect()
}
