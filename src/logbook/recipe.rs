//! What a drill is made of.

use std::sync::Arc;

use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::digest;
use crate::circuit::Circuit;
use crate::drill::{Baseline, Baselines, Help, Rules, Session, Terms};
use crate::faults::{self, Cause, Exposure, Scope};
use crate::library::{self, LoadError};
use crate::network::SolveError;
use crate::scenario::Ready;
use crate::units::quantity;

/// Everything that a drill is made of: with it, and nothing else, the same drill is made again.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Recipe {
    /// The version of the program.
    pub program: String,
    /// The system, as it was named: one that comes along, or a file or folder.
    pub system: String,
    /// What the texts of the system come to ([`hash_of`]).
    pub system_hash: String,
    /// The written drill, by its id.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub drill: Option<String>,
    /// The mods that are fitted; a written drill says itself which.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub mods: Vec<String>,
    /// What is hidden, by its codes; empty where it is drawn, or a written drill says it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub hidden: Vec<String>,
    /// What else the trainee has to reckon with besides a single fault.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub reckon_with: Vec<String>,
    /// Whether the trainee says what each needle shows.
    pub read_needles: bool,
    /// The most help that can be had: `none`, `reminder`, `last-step` or `best-step`.
    pub help: String,
    /// The number that everything that chance decides is drawn from.
    pub seed: u64,
}

/// What a drill is worked on.
#[derive(Clone, Debug)]
pub enum Ground {
    /// A system with its mods.
    Build(Arc<Circuit>),
    /// A written drill, held against its system.
    Drill(Box<Ready>),
}

/// Why a drill cannot be made.
#[derive(Debug, Error)]
pub enum RecipeError {
    /// The system or the drill cannot be had.
    #[error(transparent)]
    Load(#[from] LoadError),
    /// What is to be hidden is no fault of the system.
    #[error("{0}")]
    Fault(String),
    /// The circuit has no solution.
    #[error(transparent)]
    Solve(#[from] SolveError),
}

const HELP: [(&str, Help); 4] = [
    ("none", Help::None),
    ("reminder", Help::Reminder),
    ("last-step", Help::LastStep),
    ("best-step", Help::BestStep),
];

const POSSIBILITIES: [&str; 4] = ["pairs", "controls", "nothing", "intermittents"];

/// The words for a scope, as recipes and drills have them.
pub fn words_of(scope: Scope) -> Vec<String> {
    let held = [scope.pairs, scope.controls, scope.nothing, scope.intermittent];
    let held = POSSIBILITIES.iter().zip(held).filter(|(_, held)| *held);
    held.map(|(word, _)| (*word).to_owned()).collect()
}

impl Recipe {
    /// A drill of a system with these rules, everything else as usual.
    ///
    /// # Errors
    /// [`RecipeError`] when there is no such system or it cannot be read.
    pub fn new(system: &str, rules: Rules, seed: u64) -> Result<Self, RecipeError> {
        let help =
            HELP.iter().find(|(_, help)| *help == rules.help).map_or("none", |(word, _)| word);
        Ok(Self {
            program: env!("CARGO_PKG_VERSION").to_owned(),
            system: system.to_owned(),
            system_hash: hash_of(system)?,
            drill: None,
            mods: Vec::new(),
            hidden: Vec::new(),
            reckon_with: Vec::new(),
            read_needles: rules.read_needles,
            help: help.to_owned(),
            seed,
        })
    }

    /// The drill as it is named on the command line: `SYSTEM/DRILL` or `SYSTEM`.
    pub fn name(&self) -> String {
        match &self.drill {
            Some(drill) => format!("{}/{drill}", self.system),
            None => self.system.clone(),
        }
    }

    /// What is asked of the trainee, and how far the drill helps.
    pub fn rules(&self) -> Rules {
        let help = HELP.iter().find(|(word, _)| *word == self.help);
        Rules { read_needles: self.read_needles, help: help.map_or(Help::None, |(_, help)| *help) }
    }

    /// What the drill may hide.
    pub fn scope(&self) -> Scope {
        let may = |word: &str| self.reckon_with.iter().any(|held| held == word);
        Scope {
            pairs: may("pairs"),
            controls: may("controls"),
            nothing: may("nothing"),
            intermittent: may("intermittents"),
        }
    }

    /// What the sound aircraft of the drill depends on, as a name: drills with the same one
    /// are flown on the same.
    pub fn build(&self) -> String {
        format!("{} {:?} {:?}", self.system, self.mods, self.drill)
    }

    /// Reads what the drill is worked on.
    ///
    /// # Errors
    /// [`RecipeError`] when the system or the drill cannot be had any more.
    pub fn ground(&self) -> Result<Ground, RecipeError> {
        Ok(match &self.drill {
            Some(drill) => Ground::Drill(Box::new(library::scenario(&self.system, drill)?.ready)),
            None => Ground::Build(Arc::new(library::load_build(&self.system, &self.mods)?)),
        })
    }

    /// Makes the drill.
    ///
    /// # Errors
    /// [`RecipeError`] when the system or the drill cannot be had any more, or the circuit has
    /// no solution.
    pub fn begin(&self) -> Result<Session, RecipeError> {
        self.begin_in(&self.ground()?)
    }

    /// Makes the drill on what has been read of its [build](Recipe::build) already.
    ///
    /// # Errors
    /// [`RecipeError`] when what is to be hidden is no fault of it, or it has no solution.
    pub fn begin_in(&self, ground: &Ground) -> Result<Session, RecipeError> {
        self.begin_from(ground, &Baselines::default())
    }

    /// The same from what drills on the same aircraft share.
    ///
    /// # Errors
    /// [`RecipeError`] when what is to be hidden is no fault of it, or it has no solution.
    pub fn begin_from(
        &self,
        ground: &Ground,
        baselines: &Baselines,
    ) -> Result<Session, RecipeError> {
        let rules = self.rules();
        match ground {
            Ground::Build(circuit) => Ok(self.begin_on(circuit, baselines)?.under(rules)),
            Ground::Drill(ready) => {
                let mut ready = Ready::clone(ready);
                ready.rules.read_needles |= rules.read_needles;
                ready.rules.help = ready.rules.help.min(rules.help);
                Ok(ready.begin_from(&baselines.of(&ready.circuit)?, self.seed)?)
            }
        }
    }

    /// Makes the drill on a build that has been read already, help as usual.
    ///
    /// # Errors
    /// [`RecipeError`] when what is to be hidden is no fault of it, or it has no solution.
    pub fn begin_on(
        &self,
        circuit: &Arc<Circuit>,
        baselines: &Baselines,
    ) -> Result<Session, RecipeError> {
        let scope = self.scope();
        let exposed = with_conditions(Arc::clone(circuit), scope, &self.hidden);
        let baseline = if Arc::ptr_eq(&exposed, circuit) {
            baselines.of(circuit)?
        } else {
            Arc::new(Baseline::new(exposed)?)
        };
        Ok(match self.cause(baseline.normal().circuit())? {
            None => Session::drawn_from(&baseline, scope, self.seed)?,
            Some(cause) => {
                Session::planted_from(&baseline, &cause, scope, Terms::default(), self.seed)?
            }
        })
    }

    /// What is to be hidden; `None` where it is drawn.
    ///
    /// # Errors
    /// [`RecipeError::Fault`] when it is no fault of the circuit, or none that can be hidden.
    pub fn cause(&self, circuit: &Circuit) -> Result<Option<Cause>, RecipeError> {
        if self.hidden.is_empty() {
            return Ok(None);
        }
        let typed: Vec<String> = self
            .hidden
            .iter()
            .map(|typed| always_there(circuit, typed))
            .collect::<Result<_, _>>()?;
        let cause = faults::parse_cause(circuit, &typed.join(" + "));
        cause.map(Some).map_err(|error| RecipeError::Fault(error.to_string()))
    }
}

/// What the texts of a system and of its drills come to: two systems with the same hash are
/// the same system.
///
/// # Errors
/// [`LoadError`] when there is no such system or a file cannot be read.
pub fn hash_of(system: &str) -> Result<String, LoadError> {
    let texts = library::texts(system)?;
    let texts: Vec<&str> = texts.iter().map(|(_, text)| text.as_str()).collect();
    Ok(digest(&texts))
}

/// The aircraft, with a control for its conditions where a fault may come and go.
pub fn with_conditions(circuit: Arc<Circuit>, scope: Scope, hidden: &[String]) -> Arc<Circuit> {
    let comes_and_goes = |typed: &String| {
        typed.split(" + ").any(|one| Exposure::ALL.iter().any(|e| one.trim().ends_with(e.name())))
    };
    if scope.intermittent || hidden.iter().any(comes_and_goes) {
        Arc::new(circuit.with_conditions())
    } else {
        circuit
    }
}

/// Refuses what a drill cannot hide. Its reasoning weighs faults that are always there,
/// with their usual ohms; hiding another kind would make it prove what is not so.
///
/// # Errors
/// [`RecipeError::Fault`] with what can be hidden instead.
pub fn always_there(circuit: &Circuit, typed: &str) -> Result<String, RecipeError> {
    let fault = |words: String| Err(RecipeError::Fault(words));
    let planted = match (faults::parse_cause(circuit, typed), typed.find(['@', '~'])) {
        (Ok(_), _) => return Ok(typed.to_owned()),
        (Err(error), None) => return fault(error.to_string()),
        (Err(_), Some(_)) => match faults::parse_planted(circuit, typed) {
            Ok(planted) => planted,
            Err(error) => return fault(error.to_string()),
        },
    };
    let plain = planted.fault.code(circuit);
    if planted.is_intermittent() {
        return fault(format!(
            "a drill cannot hide a fault that depends on a control: its reasoning would be misled. \
             Hide `{plain}`, or look at this one with `halfsplit solve --fault`"
        ));
    }
    if let (Some(ohms), Some(range)) = (planted.ohms, planted.mode.range)
        && ohms != range.usual
    {
        return fault(format!(
            "a drill hides `{plain}` with its usual {} only: its reasoning would be misled by {}. \
             Look at that with `halfsplit solve --fault`",
            quantity(range.usual, "ohm"),
            quantity(ohms, "ohm")
        ));
    }
    Ok(plain)
}
