//! `halfsplit par`: the expected minutes of the best known strategy, and what is proved.

use std::io::Write;
use std::path::Path;
use std::sync::Arc;

use anyhow::{Context, Result, bail};
use serde_json::json;

use super::{Ended, args, whole_file};
use crate::circuit::Circuit;
use crate::drill::Session;
use crate::faults;
use crate::isolation::Isolation;
use crate::library;
use crate::planning::{self, Certificate};
use crate::units::significant;

/// Plans and prints, or checks a proof.
pub(super) fn run(arguments: &args::Par) -> Result<Ended> {
    match (&arguments.verify, &arguments.system) {
        (Some(proof), _) => verify(proof, arguments.json),
        (None, Some(system)) => plan(system, arguments),
        (None, None) => bail!("name a system, or a proof to check with --verify"),
    }
}

fn plan(system: &str, arguments: &args::Par) -> Result<Ended> {
    let (circuit, isolation) = if let (system, Some(drill)) = library::split_drill(system) {
        of_drill(system, drill, arguments)?
    } else {
        let circuit = Arc::new(library::load_build(system, &arguments.mods)?);
        let isolation = isolation(&circuit, arguments)?;
        (circuit, isolation)
    };
    let (problem, _) = isolation.problem(&isolation.start())?;
    let plan = planning::plan(&problem, arguments.work);
    if let Some(path) = &arguments.proof {
        let text = serde_json::to_string(&plan.certificate)?;
        whole_file::write(path, &text)?;
    }
    let mut out = std::io::stdout().lock();
    if arguments.json {
        let told = json!({
            "upper": plan.upper, "lower": plan.lower, "proven": plan.proven,
            "candidates": plan.candidates, "groups": plan.groups, "tests": plan.tests,
            "work": plan.work,
        });
        writeln!(out, "{told}")?;
        return Ok(Ended::Well);
    }
    writeln!(out, "{}", crate::diagnostic::plain(&circuit.title_with_mods()))?;
    writeln!(
        out,
        "{:>9} faults possible, in {} repair groups; {} tests",
        plan.candidates, plan.groups, plan.tests
    )?;
    writeln!(out, "{:>9} expected minutes of the best strategy found", text(plan.upper))?;
    if plan.proven {
        writeln!(out, "          and there is no better one: proved")?;
    } else {
        writeln!(
            out,
            "{:>9} minutes at the least for any strategy: proved; par can be bettered by at most {} %",
            text(plan.lower),
            significant(100.0 * (plan.upper - plan.lower) / plan.upper, 2)
        )?;
    }
    Ok(Ended::Well)
}

fn text(minutes: f64) -> String {
    significant(minutes, 4)
}

/// The faults and tests of a written drill, as its write-up leaves them.
fn of_drill(system: &str, drill: &str, arguments: &args::Par) -> Result<(Arc<Circuit>, Isolation)> {
    if arguments.fault.is_some() || !arguments.mods.is_empty() {
        bail!("{system}/{drill} is a drill that says this itself: leave --fault and --mod out");
    }
    let ready = library::scenario(system, drill)?.ready;
    let mut session = ready.begin(arguments.seed)?;
    let (circuit, start) = (Arc::clone(session.circuit()), session.start().clone());
    let isolation = Isolation::new(session.belief()?, &circuit, &start);
    Ok((circuit, isolation))
}

/// The faults and tests to plan for.
fn isolation(circuit: &Arc<Circuit>, arguments: &args::Par) -> Result<Isolation> {
    let Some(typed) = &arguments.fault else {
        return Ok(Isolation::of_system(circuit)?);
    };
    let cause = faults::parse_cause(circuit, typed)?;
    let mut session = Session::planted(Arc::clone(circuit), cause, arguments.seed)?;
    let place = session.place().clone();
    Ok(Isolation::new(session.belief()?, circuit, &place))
}

/// Bytes of a proof at most; the largest that comes of a system here has a few million.
const MOST_PROOF_BYTES: u64 = 1 << 28;

fn verify(path: &Path, as_json: bool) -> Result<Ended> {
    let name = path.display();
    let text = whole_file::read(path, MOST_PROOF_BYTES)?;
    let proof: Certificate =
        serde_json::from_str(&text).with_context(|| format!("{name} is no proof"))?;
    let mut out = std::io::stdout().lock();
    match planning::verify(&proof) {
        Ok(verified) => {
            if as_json {
                let (lower, upper, proven) = (verified.lower, verified.upper, verified.proven);
                let told =
                    json!({ "holds": true, "upper": upper, "lower": lower, "proven": proven });
                writeln!(out, "{told}")?;
            } else {
                writeln!(
                    out,
                    "the proof holds: {} minutes are enough, fewer than {} are not",
                    self::text(verified.upper),
                    self::text(verified.lower)
                )?;
            }
            Ok(Ended::Well)
        }
        Err(refused) => {
            if as_json {
                writeln!(out, "{}", json!({ "holds": false, "why": refused.to_string() }))?;
            } else {
                writeln!(out, "the proof does not hold: {refused}")?;
            }
            Ok(Ended::WithFinding)
        }
    }
}
