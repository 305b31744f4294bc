//! `halfsplit check`: every finding of every file in one run.

use std::io::Write;

use anyhow::Result;

use super::{Ended, args};
use crate::diagnostic::plain;
use crate::library;
use crate::units::counted;

/// Checks the files; errors in any of them make the run fail with exit code 2.
pub(super) fn run(arguments: &args::Check) -> Result<Ended> {
    let mut out = std::io::stdout().lock();
    let mut wrong = 0;
    let mut warned = 0;
    for path in &arguments.files {
        let name = path.to_string_lossy();
        let (circuit, findings) = match library::check(&name) {
            Ok(checked) => checked,
            Err(error) => {
                wrong += 1;
                out.flush()?;
                writeln!(std::io::stderr(), "{}", plain(&error.to_string()))?;
                continue;
            }
        };
        for finding in &findings {
            writeln!(out, "{finding}")?;
        }
        let Some(circuit) = circuit else {
            wrong += 1;
            continue;
        };
        warned += findings.len();
        let (drills, found) = match library::check_drills(&name) {
            Ok(checked) => checked,
            Err(error) => {
                wrong += 1;
                out.flush()?;
                writeln!(std::io::stderr(), "{}", plain(&error.to_string()))?;
                continue;
            }
        };
        for finding in &found {
            writeln!(out, "{finding}")?;
        }
        wrong += usize::from(library::has_errors(&found));
        warned += found.len();
        let mods = match circuit.mods.len() {
            0 => String::new(),
            1 => ", 1 mod".to_owned(),
            count => format!(", {count} mods"),
        };
        let drills = match drills.len() {
            0 => String::new(),
            count => format!(", {}", counted(count, "drill")),
        };
        writeln!(
            out,
            "{}: {}, {}, {}, {}, {}{mods}{drills}",
            plain(&name),
            counted(circuit.parts.len(), "part"),
            counted(circuit.nets.len(), "net"),
            counted(crate::faults::all(&circuit).len(), "fault mode"),
            counted(circuit.test_points.len(), "test point"),
            counted(circuit.stations.len(), "station")
        )?;
    }
    if wrong > 0 {
        anyhow::bail!("{wrong} of {} not usable as they stand", arguments.files.len());
    }
    Ok(if warned > 0 { Ended::WithFinding } else { Ended::Well })
}
