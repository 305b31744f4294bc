//! A drill on the screen: what is open, what has the focus, and what a key does to it.

mod doing;
mod over;
mod pointing;

use std::cell::OnceCell;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use ratatui::layout::Rect;

use super::aim;
use super::command::{Command, Keys};
use super::diagram::{Diagram, Map};
use super::frame;
use super::hand_meter::{HandMeter, first_point};
use super::lesson::Lesson;
use super::offer::{Deed, Offer, offer, positions};
use super::picker::{Choice, Picker, Picking};
use super::sheet::Sheet;
use super::station::{Attention, Grip, Item, Plan, plan};
use super::swing::Swing;
use super::theme::Theme;
use crate::circuit::{PartId, StationId, TestPointId};
use crate::diagram::branches;
use crate::drill::{Action, Help, Outcome, Session, View, view};
use crate::faults::Cause;
use crate::observation::{Act, Step, Touch};

/// What is said first where a drill goes on.
const GOING_ON: &str = "You stand where you stopped; the notes and the write-up are as they were.";

/// What stands in the message line when the drill begins.
const FIRST_WORDS: &str = "Only steps take minutes; looking, thinking and marking are free.";

/// What lies over the station.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Overlay {
    /// A page of text and the first line shown.
    Sheet(Sheet, usize),
    /// A list.
    Picker(Picker),
    /// The hand meter.
    Meter(HandMeter),
    /// The diagram of the system.
    Diagram(Box<Diagram>),
}

/// A question that is asked before something that cannot be taken back.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Question {
    /// Leave the drill.
    Leave,
    /// Replace a part.
    Replace(PartId),
    /// Call what is wrong; with a word of warning where what was seen proves nothing yet.
    Call(Cause, Option<String>),
    /// Take help that costs points.
    Help(Help),
}

/// Whether a key means something of the station while the diagram is open.
fn leaves(command: Command) -> bool {
    matches!(
        command,
        Command::Go
            | Command::Meter
            | Command::Replace
            | Command::Suspects
            | Command::Wiring
            | Command::Advise
            | Command::Call
            | Command::Notebook
            | Command::WriteUp
            | Command::Values
            | Command::Cautions
            | Command::Remind
            | Command::Judge
    )
}

/// What the program has to do after a command.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Turn {
    /// Nothing.
    Stay,
    /// Leave the drill.
    Leave,
    /// Work out the advice, which takes a moment.
    Advise,
    /// Work out other help, which takes a moment.
    Help(Help),
    /// Work out whether anything is proved before a call is asked for once more.
    Weigh,
    /// Work out the debrief, which takes a moment.
    Debrief,
}

/// A drill on the screen.
#[derive(Debug)]
pub(super) struct Drilling {
    /// The drill.
    pub(super) session: Session,
    /// Whether what is done in it is kept.
    pub(super) is_kept: bool,
    /// Whether something of that has not been kept yet.
    pub(super) waits: bool,
    /// Whether the write-up has been read and the clock runs.
    pub(super) begun: bool,
    /// First line shown of the write-up before the drill begins.
    pub(super) scroll: usize,
    /// What lies over the station.
    pub(super) overlay: Option<Overlay>,
    /// What is being asked.
    pub(super) question: Option<Question>,
    /// A control in the hand.
    pub(super) grip: Option<Grip>,
    /// Pointers on their way to where they will be read.
    pub(super) swing: Option<Swing>,
    /// What the last steps showed.
    news: Vec<String>,
    /// Something said in answer to the last command, until the next one.
    pub(super) remark: Option<String>,
    focus: BTreeMap<StationId, Item>,
    cautioned: BTreeSet<StationId>,
    /// The guide, in a guided drill.
    lesson: Option<Lesson>,
    /// Which key does what.
    pub(super) keys: Keys,
    /// What has been typed of a reading.
    pub(super) typed: String,
    /// Where the red lead was put by a click, while the black one is still to be put.
    red_lead: Option<TestPointId>,
    /// What is about to be called.
    calling: Option<Cause>,
    /// The layout of the diagram, once it has been looked at: it is the same all along.
    map: OnceCell<Arc<Map>>,
}

impl Drilling {
    /// A drill with its write-up open.
    pub(super) fn new(session: Session) -> Self {
        let cautioned = BTreeSet::from([session.place().station]);
        // One that goes on has had its write-up read.
        let goes_on = !session.deeds().is_empty();
        Self {
            session,
            is_kept: false,
            waits: false,
            begun: goes_on,
            scroll: 0,
            overlay: None,
            question: None,
            grip: None,
            swing: None,
            news: vec![if goes_on { GOING_ON } else { FIRST_WORDS }.to_owned()],
            remark: None,
            focus: BTreeMap::new(),
            cautioned,
            lesson: None,
            keys: Keys::default(),
            typed: String::new(),
            red_lead: None,
            calling: None,
            map: OnceCell::new(),
        }
    }

    /// Goes on in a drill that was made anew, and tells what came of that. What lay over the
    /// station is put away: what it named may be gone.
    pub(super) fn renew(&mut self, session: Session, told: Vec<String>) {
        let fresh = Self::new(session);
        *self = Self { begun: self.begun, keys: self.keys, lesson: self.lesson.take(), ..fresh };
        self.tell(told);
    }

    /// Tells something that came from outside the drill.
    pub(super) fn tell(&mut self, told: Vec<String>) {
        self.news = told;
        self.remark = None;
    }

    /// The same with a guide that tells what to do next, or without.
    pub(super) fn guided(mut self, guided: bool) -> Self {
        self.lesson = guided.then(Lesson::default);
        if guided {
            self.news.clear();
        }
        self
    }

    /// Whether letters are letters of something being looked for.
    pub(super) fn typing(&self) -> bool {
        let typed = match &self.overlay {
            Some(Overlay::Picker(_) | Overlay::Meter(_)) => true,
            Some(Overlay::Diagram(diagram)) => diagram.is_searching(),
            None => self.reads(),
            Some(Overlay::Sheet(..)) => false,
        };
        self.question.is_none() && typed
    }

    /// The station laid out on a stage, with what has the focus on it.
    pub(super) fn plan(&self, view: &View, stage: Rect) -> Plan {
        let near = self.focus.get(&view.station).copied();
        plan(view, self.session.circuit(), (stage.width, stage.height), near)
    }

    /// The part to which an item belongs, or what was last in focus here: of a test point
    /// the first part on its net.
    pub(super) fn part_looked_at(&self, item: Option<Item>) -> Option<PartId> {
        let last = self.focus.get(&self.session.place().station).copied();
        match item.or(last) {
            Some(Item::Part(part)) => Some(part),
            Some(Item::Point(point)) => {
                let circuit = self.session.circuit();
                let net = circuit.test_point(point).net;
                let mut parts = circuit.parts_with_ids();
                parts.find(|(id, _)| circuit.connections(*id).contains(&net)).map(|(id, _)| id)
            }
            None => None,
        }
    }

    /// What has the focus here.
    pub(super) fn focus(&self, plan: &Plan) -> Option<Item> {
        let items = plan.items();
        let station = self.session.place().station;
        self.focus
            .get(&station)
            .copied()
            .filter(|item| items.contains(item))
            .or_else(|| items.iter().copied().find(|item| plan.acts(*item)))
            .or_else(|| items.first().copied())
    }

    /// Whether a needle waits to be read, and nothing lies before it.
    pub(super) fn reads(&self) -> bool {
        self.begun && self.overlay.is_none() && self.session.to_read().is_some()
    }

    /// Whether a text lies open, which the wheel moves by several rows.
    pub(super) fn scrolls(&self) -> bool {
        !self.begun || matches!(self.overlay, Some(Overlay::Sheet(..)))
    }

    /// Focus, grip and red lead, for drawing.
    pub(super) fn attention(&self, plan: &Plan) -> Attention<'_> {
        Attention {
            focus: self.focus(plan),
            grip: self.grip,
            red_lead: self.red_lead.map(Item::Point),
            marks: self.session.marks(),
        }
    }

    /// The offer of the thing in focus.
    pub(super) fn offer(&self, view: &View, plan: &Plan) -> Option<Offer> {
        self.focus(plan).and_then(|item| offer(&self.session, view, item))
    }

    /// Whether the station itself is what one looks at.
    pub(super) fn at_the_stage(&self) -> bool {
        self.begun && self.overlay.is_none() && self.question.is_none()
    }

    /// What stands in the message line; nothing while a pointer has yet to settle.
    pub(super) fn message(&self) -> Vec<String> {
        if self.swing.is_some() {
            return Vec::new();
        }
        if let Some((_, part)) = self.session.to_read().filter(|_| self.reads())
            && self.remark.is_none()
        {
            let part = self.session.circuit().part(part);
            let unit = part.kind.meter().map_or("", |meter| meter.unit.as_str());
            return vec![format!(
                "What does {} show? {}▏ {unit} (type it, then Enter)",
                part.label, self.typed
            )];
        }
        let mut lines =
            self.remark.clone().map_or_else(|| self.news.clone(), |remark| vec![remark]);
        if let Some(lesson) = &self.lesson {
            // The guide always has a line of its own.
            lines.truncate(1);
            lines.push(lesson.told(&self.session, self.overlay.as_ref(), &self.keys));
        }
        lines
    }

    /// Takes a command.
    pub(super) fn update(&mut self, command: Command, size: (u16, u16)) -> Turn {
        self.remark = None;
        self.red_lead = None;
        if self.question.is_some() {
            return self.answer(command);
        }
        if command == Command::Quit {
            self.question = Some(Question::Leave);
            return Turn::Stay;
        }
        if !self.begun {
            return self.read_write_up(command, size);
        }
        if self.reads() {
            return self.on_needle(command);
        }
        match self.overlay.take() {
            Some(Overlay::Sheet(sheet, at)) => self.on_sheet(sheet, at, command, size),
            Some(Overlay::Picker(picker)) => self.on_picker(picker, command, size),
            Some(Overlay::Meter(meter)) => {
                self.on_meter(meter, command);
                Turn::Stay
            }
            // What is done at the station is done there, the diagram being put away for it.
            Some(Overlay::Diagram(diagram)) if !diagram.is_searching() && leaves(command) => {
                self.at_station(command, size)
            }
            Some(Overlay::Diagram(mut diagram)) => {
                if diagram.update(command, self.session.circuit(), size) {
                    self.overlay = Some(Overlay::Diagram(diagram));
                }
                Turn::Stay
            }
            None if self.grip.is_some() => {
                self.on_grip(command);
                Turn::Stay
            }
            None => self.at_station(command, size),
        }
    }

    fn answer(&mut self, command: Command) -> Turn {
        let Some(question) = self.question.take() else { return Turn::Stay };
        // Help is taken by its own key pressed once more as well.
        let again = matches!(
            (&question, command),
            (Question::Help(Help::BestStep), Command::Advise)
                | (Question::Help(Help::Reminder), Command::Remind)
                | (Question::Help(Help::LastStep), Command::Judge)
        );
        if command != Command::Take && !again {
            // Any other key that is not "no" leaves the question standing.
            if !matches!(command, Command::Back | Command::Quit) {
                self.question = Some(question);
            }
            return Turn::Stay;
        }
        match question {
            Question::Leave => Turn::Leave,
            Question::Replace(part) => {
                self.overlay = None;
                self.step(Step::Act(Act::Replace(part)));
                Turn::Stay
            }
            Question::Help(Help::BestStep) => {
                self.say("Working out the best next step…");
                Turn::Advise
            }
            Question::Help(help) => {
                self.say(match help {
                    Help::LastStep => "Working out what the last step was worth…",
                    _ => "Looking back over what has been shown…",
                });
                Turn::Help(help)
            }
            Question::Call(cause, _) => {
                self.overlay = None;
                match self.session.apply(Action::Call(cause)) {
                    Outcome::Called => Turn::Debrief,
                    Outcome::Refused(why) => self.say(&format!("Not done: {why}.")),
                    Outcome::Done(_)
                    | Outcome::Noted
                    | Outcome::Helped(_)
                    | Outcome::Advised(_) => Turn::Stay,
                }
            }
        }
    }

    fn read_write_up(&mut self, command: Command, size: (u16, u16)) -> Turn {
        if command == Command::Take {
            self.begun = true;
            return Turn::Stay;
        }
        let area = frame::areas(size, false).stage;
        let lines = Sheet::WriteUp
            .lines(&self.session, frame::sheet_columns(area), Theme::new(false))
            .len();
        self.scroll = scrolled(self.scroll, command, lines, usize::from(area.height));
        Turn::Stay
    }

    fn at_station(&mut self, command: Command, size: (u16, u16)) -> Turn {
        let stage = frame::areas(size, true).stage;
        let view = view(&self.session);
        let plan = self.plan(&view, stage);
        let Some(focus) = self.focus(&plan) else {
            return self.everywhere(command, size, None);
        };
        let to = match command {
            Command::Up | Command::Down | Command::Left | Command::Right => {
                aim::beside(&plan, focus, command).or_else(|| plan.over_the_edge(command))
            }
            Command::Next | Command::Previous => aim::next(&plan, focus, command == Command::Next),
            Command::First => plan.items().first().copied(),
            Command::Last => plan.items().last().copied(),
            _ => return self.everywhere(command, size, Some((&view, focus))),
        };
        if let Some(to) = to {
            if let Some(lesson) = &mut self.lesson {
                lesson.moved = true;
            }
            self.focus.insert(self.session.place().station, to);
        }
        Turn::Stay
    }

    fn everywhere(
        &mut self,
        command: Command,
        size: (u16, u16),
        focus: Option<(&View, Item)>,
    ) -> Turn {
        let pick = |picking| Some(Overlay::Picker(Picker::of(picking)));
        let station = self.session.place().station;
        match command {
            Command::Take => {
                if let Some((view, item)) = focus
                    && let Some(offer) = offer(&self.session, view, item)
                {
                    self.do_deed(offer.deed);
                }
            }
            Command::TurnBack | Command::TurnOn => {
                if let Some((view, Item::Part(part))) = focus {
                    self.turn(view, part, command == Command::TurnOn);
                }
            }
            Command::Mark => {
                if let Some((_, Item::Part(part))) = focus {
                    self.mark(part);
                }
            }
            Command::Go => self.overlay = pick(Picking::Station),
            Command::Replace => self.overlay = pick(Picking::Replacement),
            Command::Suspects => {
                let branches = Arc::new(branches(self.session.circuit()));
                let mut picker = Picker::of(Picking::Marks(branches));
                // It opens at what has the focus, or at the first part under its heading.
                let part = match focus {
                    Some((_, Item::Part(part))) => Some(part),
                    _ => None,
                };
                let rows = picker.rows(&self.session);
                let there =
                    rows.iter().position(|r| part.map(Choice::Part) == Some(r.choice.clone()));
                picker.at = there.unwrap_or(1);
                self.overlay = Some(Overlay::Picker(picker));
            }
            Command::Wiring => self.overlay = pick(Picking::Wiring),
            Command::Diagram => {
                let mut diagram = self.diagram(size);
                if let Some((_, Item::Part(part))) = focus {
                    diagram.centre_on(part, size);
                }
                self.overlay = Some(Overlay::Diagram(Box::new(diagram)));
            }
            Command::Call => self.overlay = pick(Picking::CalledPart(None)),
            Command::Acts => self.overlay = pick(Picking::Acts),
            Command::Meter => {
                let on_point = match focus {
                    Some((_, Item::Point(point))) => Some(Touch::Point(point)),
                    _ => first_point(&self.session),
                };
                match on_point {
                    Some(red) => self.take_meter((red, Touch::Airframe)),
                    None => return self.say("There is no test point within reach here."),
                }
            }
            Command::Advise => return self.offer_help(Help::BestStep),
            Command::Remind => return self.offer_help(Help::Reminder),
            Command::Judge => return self.offer_help(Help::LastStep),
            Command::Notebook => {
                let lines = self.sheet_lines(&Sheet::Notebook, size);
                let rows = usize::from(frame::sheet_rows(frame::areas(size, true).stage));
                let last = lines.saturating_sub(rows);
                self.overlay = Some(Overlay::Sheet(Sheet::Notebook, last));
            }
            Command::WriteUp => self.overlay = Some(Overlay::Sheet(Sheet::WriteUp, 0)),
            Command::Values => {
                self.overlay = Some(Overlay::Sheet(Sheet::Values(station), 0));
            }
            Command::Cautions => {
                self.overlay = Some(Overlay::Sheet(Sheet::Cautions(station, Vec::new()), 0));
            }
            _ => {}
        }
        Turn::Stay
    }

    /// The diagram as it stands.
    pub(super) fn diagram(&self, size: (u16, u16)) -> Diagram {
        let map = self.map.get_or_init(|| Map::of(self.session.circuit()));
        Diagram::of_drill(&self.session, Arc::clone(map), size)
    }

    fn do_deed(&mut self, deed: Deed) {
        match deed {
            Deed::Step(step) => self.step(step),
            Deed::Grip(control) => {
                let at = self.session.place().hands.position(control).unwrap_or(0);
                self.grip = Some(Grip { control, to: usize::from(at) });
            }
            Deed::Fuse(part) => {
                self.overlay = Some(Overlay::Picker(Picker::of(Picking::Fuse(part))));
            }
            Deed::Meter(touch) => self.take_meter((touch, Touch::Airframe)),
            Deed::Look => {}
        }
    }

    fn on_grip(&mut self, command: Command) {
        let Some(grip) = self.grip.take() else { return };
        let last = positions(self.session.circuit(), grip.control).len().saturating_sub(1);
        let to = match command {
            Command::Left | Command::Down | Command::TurnBack => grip.to.saturating_sub(1),
            Command::Right | Command::Up | Command::TurnOn => (grip.to + 1).min(last),
            Command::First => 0,
            Command::Last => last,
            Command::Back => return,
            Command::Take => {
                let now = self.session.place().hands.position(grip.control);
                if now != Some(grip.to as u8) {
                    let act = Act::Set { control: grip.control, position: grip.to as u8 };
                    self.step(Step::Act(act));
                }
                return;
            }
            _ => grip.to,
        };
        self.grip = Some(Grip { to, ..grip });
    }

    fn say(&mut self, text: &str) -> Turn {
        self.remark = Some(text.to_owned());
        Turn::Stay
    }
}

/// A first line after a command, so that the last page stays full.
pub(super) fn scrolled(at: usize, command: Command, lines: usize, rows: usize) -> usize {
    let last = lines.saturating_sub(rows);
    match command {
        Command::Up => at.saturating_sub(1),
        Command::Down => at + 1,
        Command::PageUp => at.saturating_sub(rows.max(1)),
        Command::PageDown => at + rows.max(1),
        Command::First => 0,
        Command::Last => last,
        _ => at,
    }
    .min(last)
}
