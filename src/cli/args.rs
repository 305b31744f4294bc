//! What can be typed on the command line.

use std::path::PathBuf;

use clap::{Args, Parser, Subcommand};

use crate::circuit::Circuit;
use crate::drill::{Help, Rules};
use crate::faults::{Exposure, Scope};
use crate::library::{self, LoadError};
use crate::screen::{Colours, Theme, Wishes};

/// Find the failed part of an aircraft electrical system by reasoning.
///
/// Without a verb the program opens. For training only: work on an aircraft follows
/// the approved maintenance data, local rules and licensed staff.
#[derive(Debug, Parser)]
#[command(name = "halfsplit", version, max_term_width = 100)]
pub struct Arguments {
    /// Plain lines instead of the full screen (also when stdin or stdout is no terminal)
    #[arg(long, global = true)]
    pub plain: bool,
    /// How things look
    #[command(flatten)]
    pub looks: Looks,
    /// What to do
    #[command(subcommand)]
    pub verb: Option<Verb>,
}

/// How things look; what is not said here is taken from the environment.
#[derive(Clone, Copy, Debug, Args)]
#[command(next_help_heading = "Looks")]
pub struct Looks {
    /// Colours of the full screen (default: `NO_COLOR`, `COLORTERM` and `TERM` tell)
    #[arg(
        long,
        global = true,
        value_name = "HOW",
        default_value = "auto",
        hide_default_value = true
    )]
    pub colours: HowManyColours,
    /// The terminal's background is light (where `COLORFGBG` does not say so)
    #[arg(long, global = true)]
    pub light: bool,
    /// ASCII characters alone (also in a locale that is not UTF-8)
    #[arg(long, global = true)]
    pub ascii: bool,
    /// Pointers do not swing (also with `HALFSPLIT_STILL` set)
    #[arg(long, global = true)]
    pub still: bool,
}

/// How many colours to use.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum HowManyColours {
    /// As the environment says
    Auto,
    /// Bold and reverse alone
    None,
    /// The sixteen of every terminal
    #[value(name = "16")]
    Sixteen,
    /// The 256 of xterm
    #[value(name = "256")]
    Indexed,
    /// Any colour
    Full,
}

impl Looks {
    /// The theme for these wishes in this environment.
    pub fn theme(self) -> Theme {
        let colours = match self.colours {
            HowManyColours::Auto => None,
            HowManyColours::None => Some(Colours::None),
            HowManyColours::Sixteen => Some(Colours::Sixteen),
            HowManyColours::Indexed => Some(Colours::Indexed),
            HowManyColours::Full => Some(Colours::Full),
        };
        let wishes = Wishes { colours, light: self.light, ascii: self.ascii, still: self.still };
        Theme::for_terminal(&wishes, |name| std::env::var(name).ok())
    }
}

/// The verbs.
#[derive(Debug, Subcommand)]
pub enum Verb {
    /// Work a drill: find the hidden fault
    Drill(Drill),
    /// Solve a system and print every net, lamp and meter
    Solve(Solve),
    /// Write a system as a netlist that ngspice runs
    ///
    /// What is written is the linear network at rest. Direct current is one netlist, and
    /// each machine that gives alternating voltage is another at its own frequency, since
    /// machines that run free are never in step. Without --out one netlist goes to
    /// standard output, that of direct current unless --group names a machine; with --out
    /// each group becomes a file of its own. Run one with `ngspice -b FILE`.
    Spice(Spice),
    /// Write the isolation chart of a system or a drill, or draw the system
    ///
    /// The chart is the best strategy known, from the flight deck on or from the write-up of
    /// a drill: what to do, what it may show, where to go on. Every branch is what the
    /// aircraft of that branch show when they are taken through the steps. --diagram draws
    /// the system instead: every part and line, sources on the left and loads on the right,
    /// the controls in their normal positions. For training only.
    Chart(Chart),
    /// Check system files and print every finding
    Check(Check),
    /// Hide what the drills of a file hide from a casual look
    ///
    /// Every `hidden` in the file becomes a seal of letters that the program can read. This
    /// keeps a trainee from seeing the answer by accident. It keeps nobody out who wants to
    /// know: --open turns the seals back.
    Seal(Seal),
    /// Work out what every fault shows in every setup
    Dictionary(Dictionary),
    /// Work out in how many expected minutes the best strategy finds the fault, with a
    /// proof
    ///
    /// Without --fault the fault may be any that the crew would notice, and one starts
    /// with a look at the flight deck. With it, one starts from what the crew of that
    /// aircraft would write up. The lower figure is proved: no strategy takes fewer
    /// expected minutes; the upper one is that of the strategy found.
    Par(Par),
    /// Let simulated trainees work a system's drills and print how they are marked
    ///
    /// Each has one habit, from always making the best step to guessing. The figures show
    /// whether the marks rank people by skill, and how hard the drills are.
    Rehearse(Rehearse),
    /// Print how drills are marked
    Rubric,
    /// List the kinds of part, or tell everything about one
    Kinds(Kinds),
    /// Lay down a folder with a small system that works, to begin from
    New(New),
    /// List the attempts in the logbook, or what to practise next
    Log(Log),
    /// Go on with an attempt whose call has not been made
    Resume(Resume),
    /// Do an attempt of the logbook again and look back on it, step by step
    Replay(Replay),
    /// Write attempts of the logbook into a file to be handed in
    Handin(Handin),
    /// Do the attempts of hand-ins again and say whether they are what was done
    ///
    /// Each is reproduced, or what differs first is named. Systems that do not come along
    /// are looked for only where --with says.
    Verify(Verify),
    /// Sum up the hand-ins in a folder: trainees, faults, tests, habits
    Class(Class),
    /// Be asked about a system as before an oral, or print a question paper with its key
    ///
    /// Questions and answers are worked out from the model. What was forgotten is asked again
    /// sooner than what was known (FSRS-6); grades stand in the logbook. For training only.
    Oral(Oral),
}

/// Arguments of `oral`.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools, reason = "each is a flag of its own")]
pub struct Oral {
    /// A system that comes with the program, a system file, or its folder
    pub system: Option<String>,
    /// Fit this mod of the system; repeat for more
    #[arg(long = "mod", value_name = "MOD")]
    pub mods: Vec<String>,
    /// Questions of a session
    #[arg(long, value_name = "N", default_value_t = 10)]
    pub questions: usize,
    /// Draw the questions from this number
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// End when the time of a paper of so many questions is over
    #[arg(long)]
    pub timed: bool,
    /// A board: as --timed, and what was not known is followed up at once
    #[arg(long, conflicts_with = "timed")]
    pub board: bool,
    /// Keep no grades
    #[arg(long)]
    pub no_log: bool,
    /// Print what is due today and on the days to come
    #[arg(long, conflicts_with_all = ["paper", "timed", "board"])]
    pub plan: bool,
    /// Write a paper of so many questions with its key
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u32).range(1..=1000))]
    pub paper: Option<u32>,
    /// What the paper is written as
    #[arg(long, value_name = "FORM", value_enum, default_value_t = PaperForm::Markdown, requires = "paper")]
    pub form: PaperForm,
    /// Seconds a question
    #[arg(long, value_name = "N", default_value_t = 75, requires = "paper",
        value_parser = clap::value_parser!(u32).range(1..=3600))]
    pub seconds: u32,
    /// Percent that must be right
    #[arg(long, value_name = "N", default_value_t = 75, requires = "paper",
        value_parser = clap::value_parser!(u32).range(1..=100))]
    pub pass: u32,
    /// Write into this file, or for QTI into this folder, instead of standard output
    #[arg(long, value_name = "FILE", requires = "paper")]
    pub out: Option<PathBuf>,
}

/// What a paper is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum PaperForm {
    /// Markdown
    Markdown,
    /// A page of HTML
    Html,
    /// Files of 1EdTech QTI 3.0
    Qti,
}

/// Arguments of `log`.
#[derive(Debug, Args)]
pub struct Log {
    /// Only attempts at drills of this system
    #[arg(long, value_name = "SYSTEM")]
    pub system: Option<String>,
    /// Only attempts begun on or after this day
    #[arg(long, value_name = "YYYY-MM-DD", value_parser = day)]
    pub since: Option<String>,
    /// Only attempts whose call has not been made
    #[arg(long)]
    pub open: bool,
    /// Print one JSON object a line
    #[arg(long)]
    pub json: bool,
    /// Print which drills are most worth doing next, and why
    #[arg(long, conflicts_with_all = ["system", "since", "open", "json"])]
    pub next: bool,
}

/// Arguments of `resume`.
#[derive(Debug, Args)]
pub struct Resume {
    /// The number of the attempt; the latest that is open when left out
    pub number: Option<i64>,
    /// Write the debrief to this file, as a page of HTML that stands by itself
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// Arguments of `replay`.
#[derive(Debug, Args)]
pub struct Replay {
    /// The number of the attempt
    pub number: i64,
    /// Write the debrief to this file, as a page of HTML that stands by itself
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
}

/// Arguments of `handin`.
#[derive(Debug, Args)]
pub struct Handin {
    /// Numbers of attempts; all whose call has been made when left out
    #[arg(value_name = "NUMBER")]
    pub numbers: Vec<i64>,
    /// Those too that were left without a call
    #[arg(long, conflicts_with = "numbers")]
    pub open: bool,
    /// The file
    #[arg(short, long, value_name = "FILE")]
    pub out: PathBuf,
    /// The trainee's name or number; asked once and kept when left out
    #[arg(long, value_name = "NAME")]
    pub name: Option<String>,
    /// Sign with the trainee's own key, which is made with the first signature
    #[arg(long)]
    pub sign: bool,
}

/// Arguments of `verify`.
#[derive(Debug, Args)]
pub struct Verify {
    /// Hand-ins
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// A system file or folder that attempts may be of; repeat for more
    #[arg(long = "with", value_name = "SYSTEM")]
    pub with: Vec<String>,
}

/// Arguments of `class`.
#[derive(Debug, Args)]
pub struct Class {
    /// A folder with hand-ins (`*.jsonl`)
    pub folder: PathBuf,
    /// A system file or folder that attempts may be of; repeat for more
    #[arg(long = "with", value_name = "SYSTEM")]
    pub with: Vec<String>,
    /// Do every attempt again, those too that have been worked out before
    #[arg(long)]
    pub anew: bool,
    /// Print comma-separated values, a trainee a line
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
    /// Write a page of HTML that stands by itself into this file
    #[arg(long, value_name = "FILE")]
    pub html: Option<PathBuf>,
    /// Write a list of xAPI statements (IEEE 9274.1.1) into this file
    #[arg(long, value_name = "FILE")]
    pub xapi: Option<PathBuf>,
}

/// Reads a day for clap.
fn day(typed: &str) -> Result<String, String> {
    let day: jiff::civil::Date =
        typed.parse().map_err(|_| "write a day like 2026-11-30".to_owned())?;
    Ok(day.to_string())
}

/// The build of a system: which system, and which of its mods are fitted.
#[derive(Clone, Debug, Args)]
pub struct Build {
    /// A system that comes with the program, a system file, or its folder
    pub system: String,
    /// Fit this mod of the system; repeat for more
    #[arg(long = "mod", value_name = "MOD")]
    pub mods: Vec<String>,
}

impl Build {
    /// Reads the system in this build.
    ///
    /// # Errors
    /// [`LoadError`] when there is no such system, when the file cannot be read, or
    /// when it has errors in it.
    pub fn load(&self) -> Result<Circuit, LoadError> {
        library::load_build(&self.system, &self.mods)
    }
}

/// Arguments of `drill`.
#[derive(Clone, Debug, Args)]
#[allow(clippy::struct_excessive_bools, reason = "each is a flag of its own")]
pub struct Drill {
    /// Which build
    #[command(flatten)]
    pub build: Build,
    /// Hide this fault; give it twice for two faults at once, or hide `nothing`.
    ///
    /// A control left in the wrong place is CONTROL:left-at-POSITION, a breaker left out
    /// BREAKER:left-out.
    #[arg(long = "fault", value_name = "PART:MODE")]
    pub faults: Vec<String>,
    /// What else the trainee has to reckon with besides a single fault; repeat for more
    #[arg(long = "reckon-with", value_name = "WHAT")]
    pub reckon_with: Vec<Possibility>,
    /// Say yourself what each needle shows, before the drill goes on
    #[arg(long)]
    pub read_needles: bool,
    /// The most help that can be had in the drill
    #[arg(long, value_name = "HELP", value_enum, default_value_t = Helping::BestStep)]
    pub help_up_to: Helping,
    /// Tell at every moment what to do next (on the full screen)
    #[arg(long)]
    pub guided: bool,
    /// Draw the fault and the instruments' errors from this number
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Write the debrief to this file, as a page of HTML that stands by itself
    #[arg(long, value_name = "FILE")]
    pub report: Option<PathBuf>,
    /// Make the drill anew when its files are saved, and do again what still can be done
    ///
    /// On the screen at once; on plain lines the files are looked at before each line that is
    /// typed, an empty one too.
    /// The seed stays, and so does what is hidden while it is possible.
    #[arg(long)]
    pub watch: bool,
    /// Keep nothing of it in the logbook
    #[arg(long)]
    pub no_log: bool,
}

/// How far a drill helps.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Helping {
    /// Not at all
    None,
    /// A reminder of what has been shown
    Reminder,
    /// What the last step was worth
    LastStep,
    /// The best next step
    BestStep,
}

/// What may be wrong besides a single fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Possibility {
    /// Two faults at once
    Pairs,
    /// A control or breaker left in the wrong place
    Controls,
    /// Nothing at all
    Nothing,
    /// A fault that is there only with vibration or heat
    Intermittents,
}

impl Drill {
    /// What is asked of the trainee, and how far the drill helps.
    pub fn rules(&self) -> Rules {
        Rules {
            read_needles: self.read_needles,
            help: match self.help_up_to {
                Helping::None => Help::None,
                Helping::Reminder => Help::Reminder,
                Helping::LastStep => Help::LastStep,
                Helping::BestStep => Help::BestStep,
            },
        }
    }

    /// What the drill may hide.
    pub fn scope(&self) -> Scope {
        let may = |possibility| self.reckon_with.contains(&possibility);
        Scope {
            pairs: may(Possibility::Pairs),
            controls: may(Possibility::Controls),
            nothing: may(Possibility::Nothing),
            intermittent: may(Possibility::Intermittents),
        }
    }
}

/// The setup in which a system is looked at, shared by several verbs.
#[derive(Debug, Args)]
pub struct Setup {
    /// Put a control in a position before switching on
    #[arg(long = "set", value_name = "CONTROL=POSITION")]
    pub sets: Vec<String>,
    /// Let this fault strike once everything runs; repeat for more.
    ///
    /// W3:high-resistance@40 has 40 ohm instead of its usual ones. A fault with
    /// conditions is there only while all of them hold: W3:open~vibration,
    /// W3:open~heat, W3:open~SOURCE1=ON. Quote what holds a space.
    #[arg(long = "fault", value_name = "PART:MODE[@OHMS][~CONDITION]")]
    pub faults: Vec<String>,
    /// Expose the aircraft to vibration or heat, for faults that depend on it
    #[arg(long, value_name = "EXPOSURE", value_parser = exposure)]
    pub under: Vec<Exposure>,
}

/// Reads an exposure for clap.
fn exposure(typed: &str) -> Result<Exposure, String> {
    Exposure::named(typed).ok_or_else(|| {
        let known = Exposure::ALL.map(Exposure::name).join(" or ");
        format!("write {known}")
    })
}

/// Arguments of `solve`.
#[derive(Debug, Args)]
pub struct Solve {
    /// Which build
    #[command(flatten)]
    pub build: Build,
    /// How it stands
    #[command(flatten)]
    pub setup: Setup,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `dictionary`.
#[derive(Debug, Args)]
#[allow(clippy::struct_excessive_bools, reason = "each is a flag of its own")]
pub struct Dictionary {
    /// Which build
    #[command(flatten)]
    pub build: Build,
    /// `normal`; `single`: also each control moved and each breaker or fuse pulled; or
    /// a file with a list of setups. Left out it is `normal`, and `single` for --groups and
    /// --matrix
    #[arg(long, value_name = "normal|single|FILE")]
    pub setups: Option<String>,
    /// Also every pair of faults of two parts
    #[arg(long)]
    pub pairs: bool,
    /// Work with so many threads (all processors when left out)
    #[arg(long, value_name = "N", value_parser = clap::value_parser!(u16).range(1..=1024))]
    pub jobs: Option<u16>,
    /// Print one line for each setup, fault and observation
    #[arg(long, conflicts_with = "json")]
    pub csv: bool,
    /// Print one JSON object for each setup and fault
    #[arg(long)]
    pub json: bool,
    /// Print ambiguity groups, how much is detected and isolated, tests that never help, and
    /// the one test point that would help most if it existed
    #[arg(long, conflicts_with_all = ["csv", "json", "pairs"])]
    pub groups: bool,
    /// Print which test shows which fault, as comma-separated values
    #[arg(long, conflicts_with_all = ["csv", "json", "pairs", "groups"])]
    pub matrix: bool,
}

/// Arguments of `par`.
#[derive(Debug, Args)]
pub struct Par {
    /// A system that comes with the program, a system file, or its folder
    #[arg(required_unless_present = "verify")]
    pub system: Option<String>,
    /// Fit this mod of the system; repeat for more
    #[arg(long = "mod", value_name = "MOD")]
    pub mods: Vec<String>,
    /// Start from the write-up of this fault
    #[arg(long, value_name = "PART:MODE")]
    pub fault: Option<String>,
    /// Draw the instruments' errors from this number
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Work to spend, in table entries touched; some fifty million take a second
    #[arg(long, value_name = "N", default_value_t = 50_000_000)]
    pub work: u64,
    /// Write strategy and proof into this file
    #[arg(long, value_name = "FILE")]
    pub proof: Option<PathBuf>,
    /// Check a proof that was written with --proof, without the planner
    #[arg(long, value_name = "FILE", conflicts_with_all = ["system", "mods", "fault", "proof"])]
    pub verify: Option<PathBuf>,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `rehearse`.
#[derive(Debug, Args)]
pub struct Rehearse {
    /// Which build
    #[command(flatten)]
    pub build: Build,
    /// Drills for each habit
    #[arg(long, value_name = "N", default_value_t = 500,
        value_parser = clap::value_parser!(u32).range(1..=100_000))]
    pub runs: u32,
    /// Draw faults and chances from this number
    #[arg(long, value_name = "N", default_value_t = 1)]
    pub seed: u64,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}

/// Arguments of `spice`.
#[derive(Debug, Args)]
pub struct Spice {
    /// Which build
    #[command(flatten)]
    pub build: Build,
    /// How it stands
    #[command(flatten)]
    pub setup: Setup,
    /// Only this group: `dc`, or a machine that gives
    #[arg(long, value_name = "dc|MACHINE")]
    pub group: Option<String>,
    /// Write SYSTEM.GROUP.cir for each group into this folder
    #[arg(long, value_name = "FOLDER")]
    pub out: Option<PathBuf>,
}

/// Arguments of `chart`.
#[derive(Debug, Args)]
pub struct Chart {
    /// Which build
    #[command(flatten)]
    pub build: Build,
    /// Draw the system as an SVG picture instead
    #[arg(long, conflicts_with = "form")]
    pub diagram: bool,
    /// What the isolation chart is written as
    #[arg(long, value_name = "FORM", value_enum, default_value_t = Form::Text, hide_default_value = true)]
    pub form: Form,
    /// Work to spend on the strategy, in table entries touched
    #[arg(long, value_name = "N", default_value_t = 50_000_000)]
    pub work: u64,
    /// As characters instead of SVG
    #[arg(long, requires = "diagram")]
    pub text: bool,
    /// Write into this file instead of standard output
    #[arg(long, value_name = "FILE")]
    pub out: Option<PathBuf>,
}

/// What a chart is written as.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// Numbered steps as plain text
    Text,
    /// A table for each step
    Markdown,
    /// A graph in the DOT language
    Dot,
    /// A picture
    Svg,
}

/// Arguments of `check`.
#[derive(Debug, Args)]
pub struct Check {
    /// System files or folders
    #[arg(required = true, value_name = "FILE")]
    pub files: Vec<PathBuf>,
    /// Print one JSON object, for an editor
    #[arg(long)]
    pub json: bool,
    /// Look at every position and every fault, however long it takes
    #[arg(long)]
    pub thorough: bool,
    /// Check again whenever a file is saved, until stopped with Ctrl-C
    #[arg(long)]
    pub watch: bool,
}

/// Arguments of `new`.
#[derive(Debug, Args)]
pub struct New {
    /// Name of the system and of its folder: letters, digits and hyphens
    pub name: String,
}

/// Arguments of `seal`.
#[derive(Debug, Args)]
pub struct Seal {
    /// A file of drills
    #[arg(value_name = "FILE")]
    pub file: PathBuf,
    /// Turn the seals back into what they hide
    #[arg(long)]
    pub open: bool,
}

/// Arguments of `kinds`.
#[derive(Debug, Args)]
pub struct Kinds {
    /// A kind, such as Relay; left out: the list of all
    pub kind: Option<String>,
    /// Print one JSON object
    #[arg(long)]
    pub json: bool,
}
