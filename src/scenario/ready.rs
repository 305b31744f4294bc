//! Holds a scenario against its system.

use std::sync::Arc;

use super::Ready;
use super::file::{Scenario, Tells};
use crate::circuit::{Circuit, PartId, StationId};
use crate::diagnostic::{Diagnostic, Severity, did_you_mean};
use crate::drill::{Help, Rules, Telling, Terms};
use crate::faults::{Cause, Exposure, Scope, parse_cause};
use crate::observation::{Barred, Function, Handwork, has_face};

/// Most minutes of a drill, and most spare fuses of one rating.
const MINUTES_LIMIT: f64 = 10_000.0;
const SPARES_LIMIT: u32 = 1_000;

/// Everything found wrong with one scenario.
struct Findings<'a> {
    scenario: &'a Scenario,
    list: Vec<Diagnostic>,
}

impl Findings<'_> {
    fn error(&mut self, field: &str, code: &'static str, message: String, hint: Option<String>) {
        self.list.push(self.scenario.finding(Severity::Error, field, code, message, hint));
    }
}

impl Scenario {
    /// A finding about one of its fields.
    pub(super) fn finding(
        &self,
        severity: Severity,
        field: &str,
        code: &'static str,
        message: String,
        hint: Option<String>,
    ) -> Diagnostic {
        Diagnostic {
            severity,
            code,
            file: self.file.clone(),
            place: self.places.get(field).copied().unwrap_or(self.place),
            message,
            hint,
        }
    }

    /// What is wrong where the system cannot be built with these mods.
    pub fn unfit(&self) -> Diagnostic {
        let mods = self.mods.join(", ");
        let message = format!("the system cannot be built with the mods of this drill: {mods}");
        self.finding(Severity::Error, "mods", "unknown-mod", message, None)
    }

    /// The scenario on a build of its system, which has its mods already.
    ///
    /// # Errors
    /// Everything in it that does not fit the system.
    pub fn ready(&self, circuit: &Circuit) -> Result<Ready, Vec<Diagnostic>> {
        let mut findings = Findings { scenario: self, list: Vec::new() };
        let standing = self.standing(circuit, &mut findings);
        let circuit = circuit.standing(&standing);
        let circuit = if self.comes_and_goes() { circuit.with_conditions() } else { circuit };
        let hidden = self.causes(&circuit, &mut findings);
        let mut scope = self.scope(&mut findings);
        for (cause, _) in &hidden {
            scope = scope.and(Scope::of(&circuit, cause));
        }
        let terms = self.terms(&circuit, &mut findings);
        let rules = self.rules(&mut findings);
        let Findings { mut list, .. } = findings;
        if list.is_empty() {
            let circuit = Arc::new(circuit);
            return Ok(Ready { circuit, hidden, scope, terms, rules, seed: self.seed });
        }
        list.sort_by_key(|finding| finding.place);
        Err(list)
    }

    /// Whether the trainee has to reckon with faults that come and go.
    fn comes_and_goes(&self) -> bool {
        let hidden = self.hidden.iter();
        let mut typed = hidden.flat_map(|h| h.cause.iter().chain(h.pool.keys()));
        let exposed = |typed: &String| {
            Exposure::ALL.iter().any(|exposure| typed.ends_with(&format!("~{}", exposure.name())))
        };
        self.reckon_with.iter().any(|word| word == "intermittents") || typed.any(exposed)
    }

    fn standing(&self, circuit: &Circuit, findings: &mut Findings) -> Vec<(PartId, u8)> {
        let mut standing = Vec::new();
        for (name, position) in &self.controls {
            let Some(id) = part(circuit, name, "controls", findings) else { continue };
            let Some(control) = circuit.part(id).kind.control() else {
                let message = format!("`{name}` is not a control");
                findings.error("controls", "not-a-control", message, None);
                continue;
            };
            if control.springs_back {
                let message = format!("`{name}` springs back: it cannot be left anywhere");
                findings.error("controls", "springs-back", message, None);
                continue;
            }
            let at = control.positions.iter().position(|p| p.eq_ignore_ascii_case(position));
            if let Some(at) = at {
                standing.push((id, at as u8));
            } else {
                let has = control.positions.join(", ");
                let message = format!("`{name}` has no position `{position}`; it has {has}");
                let hint = did_you_mean(position, control.positions.iter().copied());
                findings.error("controls", "unknown-position", message, hint);
            }
        }
        standing
    }

    fn causes(&self, circuit: &Circuit, findings: &mut Findings) -> Vec<(Cause, f64)> {
        let field = if self.sealed.is_some() { "sealed" } else { "hidden" };
        let Some(hidden) = &self.hidden else { return Vec::new() };
        if hidden.cause.is_some() != hidden.pool.is_empty() {
            let message = "give either `cause`, or `pool` with what is drawn from".to_owned();
            findings.error(field, "hidden-twice", message, None);
        }
        let fixed = hidden.cause.iter().map(|cause| (cause, 1.0));
        let drawn = hidden.pool.iter().map(|(cause, weight)| (cause, *weight));
        let mut causes = Vec::new();
        for (typed, weight) in fixed.chain(drawn) {
            if !weight.is_finite() || weight <= 0.0 {
                let message = format!("the weight of `{typed}` must be above 0");
                findings.error(field, "out-of-range", message, None);
            }
            match parse_cause(circuit, typed) {
                Ok(cause) => causes.push((cause, weight)),
                Err(error) => findings.error(field, "unknown-fault", error.to_string(), None),
            }
        }
        causes
    }

    fn scope(&self, findings: &mut Findings) -> Scope {
        let mut scope = Scope::SINGLE;
        for word in &self.reckon_with {
            match word.as_str() {
                "pairs" => scope.pairs = true,
                "controls" => scope.controls = true,
                "nothing" => scope.nothing = true,
                "intermittents" => scope.intermittent = true,
                other => {
                    let known = ["pairs", "controls", "nothing", "intermittents"];
                    let message =
                        format!("`reckon_with` may hold {}, not `{other}`", known.join(", "));
                    findings.error(
                        "reckon_with",
                        "unknown-word",
                        message,
                        did_you_mean(other, known),
                    );
                }
            }
        }
        scope
    }

    fn terms(&self, circuit: &Circuit, findings: &mut Findings) -> Terms {
        let telling = match &self.write_up.tells {
            Tells::All => Telling::Complete,
            Tells::Misleading => Telling::Misleading,
            Tells::Only(names) => {
                let mut parts = Vec::new();
                for name in names {
                    let Some(id) = part(circuit, name, "write_up", findings) else { continue };
                    let seen =
                        has_face(circuit, id) && circuit.station(circuit.part(id).seen_at).crew;
                    if seen {
                        parts.push(id);
                    } else {
                        let message = format!("the crew cannot see what `{name}` shows");
                        findings.error("write_up", "not-seen", message, None);
                    }
                }
                Telling::Partial(parts)
            }
        };
        let begins_at =
            self.begins_at.as_ref().and_then(|name| station(circuit, name, "begins_at", findings));
        let barred = self.barred(circuit, findings);
        let begins = begins_at.unwrap_or(StationId(0));
        if barred.stations.contains(&begins) {
            let message = "the station at which the drill begins is ruled out".to_owned();
            findings.error("without", "begins-barred", message, None);
        }
        if let Some(minutes) = self.minutes
            && !(minutes > 0.0 && minutes <= MINUTES_LIMIT)
        {
            let message = format!("`minutes` must be above 0 and at most {MINUTES_LIMIT}");
            findings.error("minutes", "out-of-range", message, None);
        }
        let spares = self.spare_fuses.as_ref().map(|list| {
            for spare in list {
                if !(spare.amps.is_finite() && spare.amps > 0.0 && spare.count <= SPARES_LIMIT) {
                    let message = format!("a spare fuse has amperes above 0, and there are at most {SPARES_LIMIT} of it");
                    findings.error("spare_fuses", "out-of-range", message, None);
                }
            }
            list.iter().map(|spare| (spare.amps, spare.count)).collect()
        });
        Terms {
            title: self.title.clone(),
            brief: self.brief.split_whitespace().collect::<Vec<_>>().join(" "),
            telling,
            words: self.write_up.words.split_whitespace().collect::<Vec<_>>().join(" "),
            begins_at,
            barred,
            spares,
            most_minutes: self.minutes,
            learn: self.hidden.iter().flat_map(|hidden| hidden.learn.clone()).collect(),
        }
    }

    fn barred(&self, circuit: &Circuit, findings: &mut Findings) -> Barred {
        let mut barred = Barred::default();
        for word in &self.without {
            let function = Function::ALL.into_iter().find(|f| f.name().eq_ignore_ascii_case(word));
            let work = Handwork::ALL.into_iter().find(|w| w.name() == word);
            if let Some(function) = function {
                barred.functions.push(function);
            } else if word == "hand meter" {
                barred.functions = Function::ALL.to_vec();
            } else if let Some(work) = work {
                barred.handwork.push(work);
            } else if let Some(at) = circuit.find_station(word) {
                barred.stations.push(at);
            } else {
                let known: Vec<&str> = Function::ALL
                    .iter()
                    .map(|function| function.name())
                    .chain(["hand meter"])
                    .chain(Handwork::ALL.iter().map(|work| work.name()))
                    .chain(circuit.stations.iter().map(|station| station.id.as_str()))
                    .collect();
                let hint = did_you_mean(word, known.iter().copied())
                    .unwrap_or_else(|| format!("it may hold {}", known.join(", ")));
                let message = format!("`without` names `{word}`, which is nothing to rule out");
                findings.error("without", "unknown-word", message, Some(hint));
            }
        }
        barred
    }

    fn rules(&self, findings: &mut Findings) -> Rules {
        let known = ["none", "reminder", "last-step", "best-step"];
        let help = match self.help.as_deref() {
            None | Some("best-step") => Help::BestStep,
            Some("none") => Help::None,
            Some("reminder") => Help::Reminder,
            Some("last-step") => Help::LastStep,
            Some(other) => {
                let message = format!("`help` is one of {}, not `{other}`", known.join(", "));
                findings.error("help", "unknown-word", message, did_you_mean(other, known));
                Help::BestStep
            }
        };
        let read_needles = self.read_needles.unwrap_or(help == Help::None);
        Rules { read_needles, help }
    }
}

fn part(circuit: &Circuit, name: &str, field: &str, findings: &mut Findings) -> Option<PartId> {
    let found = circuit.find_part(name);
    if found.is_none() {
        let hint = did_you_mean(name, circuit.parts.iter().map(|part| part.id.as_str()));
        findings.error(field, "unknown-part", format!("no part `{name}` in this system"), hint);
    }
    found
}

fn station(
    circuit: &Circuit,
    name: &str,
    field: &str,
    findings: &mut Findings,
) -> Option<StationId> {
    let found = circuit.find_station(name);
    if found.is_none() {
        let hint = did_you_mean(name, circuit.stations.iter().map(|station| station.id.as_str()));
        findings.error(
            field,
            "unknown-station",
            format!("no station `{name}` in this system"),
            hint,
        );
    }
    found
}
