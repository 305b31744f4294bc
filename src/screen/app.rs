//! The whole of what the screen shows, and the one way in which it changes.

use std::time::Duration;

use ratatui::layout::Position;

use crate::drill::{Help, Session, view};
use crate::score::{self, Debrief};

use super::asking::{Asking, Oral};
use super::command::{Command, Keys};
use super::debriefing::Debriefing;
use super::drilling::{Drilling, Turn};
use super::leaf::Leaf;
use super::menu::{Chosen, Menu};
use super::mouse::{self, Target, WHEEL_ROWS};
use super::swing::Swing;
use super::theme::Theme;

/// A row of the menu: something to begin, or a list of that.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Entry {
    /// The system, by its name on the command line.
    pub system: String,
    /// What the row says.
    pub title: String,
    /// What stands at its end.
    pub note: String,
    /// What is said of it while it is in focus.
    pub brief: String,
    /// What is begun.
    pub what: Beginning,
    /// The list that it opens; empty for what is begun at once.
    pub within: Vec<Entry>,
}

/// What a row of the menu begins.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Beginning {
    /// A drill whose fault is drawn from all, on a build with these mods.
    Any {
        /// The mods that are fitted.
        mods: Vec<String>,
    },
    /// The drill that tells at every moment what to do next.
    Guided,
    /// An attempt of the logbook, by its number: it goes on, or is looked back on.
    Attempt(i64),
    /// Nothing: it opens a list.
    #[default]
    Nothing,
    /// Questions about the system; as a board with its time and further questions, or not.
    Oral {
        /// The mods that are fitted.
        mods: Vec<String>,
        /// Whether it is the board.
        board: bool,
    },
    /// A drill that somebody has written, by its id.
    Written(String),
}

/// What was begun.
#[derive(Debug)]
pub enum Begun {
    /// A drill.
    Drill(Box<Session>),
    /// An oral.
    Oral(Box<Oral>),
}

/// Begins what an entry stands for; in words, why not.
pub type Load = Box<dyn FnMut(&Entry) -> Result<Begun, String>>;

/// Makes a drill that takes long to make; in words, why it cannot be.
pub type Make = Box<dyn FnOnce() -> Result<Session, String> + Send>;

/// Keeps a debrief when it opens; in words, where, or why not. No words where there is nothing to
/// be told.
pub type Keep = Box<dyn FnMut(&Session, &Debrief) -> Result<String, String>>;

/// Keeps what has been done, in the drill that is open where there is one; in words, as long as
/// something of it is not kept, why not. It must not take long.
pub type Record = Box<dyn FnMut(Option<&Session>) -> Result<(), String>>;

/// A drill made anew and what came of that in words, or why it goes on as it was.
pub type MadeAnew = Result<(Session, Vec<String>), Vec<String>>;

/// Makes the drill anew when its files have been saved; `None` where nothing was saved.
pub type Anew = Box<dyn FnMut(&Session) -> Option<MadeAnew>>;

/// What becomes of a drill outside the screen.
#[derive(Default)]
pub struct Kept {
    /// Keeps debriefs.
    pub debrief: Option<Keep>,
    /// Keeps everything that is done, as it is done.
    pub deeds: Option<Record>,
    /// Makes the drill anew from files that somebody works on.
    pub anew: Option<Anew>,
    /// What is to be said of it when the screen opens with a menu.
    pub notice: Option<String>,
}

impl std::fmt::Debug for Kept {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Kept").finish_non_exhaustive()
    }
}

/// What the screen opens with.
pub enum Start {
    /// A choice of what to do.
    Menu {
        /// Its rows.
        entries: Vec<Entry>,
        /// Makes a drill of one.
        load: Load,
    },
    /// A drill.
    Drill(Box<Session>),
    /// An oral.
    Oral(Box<Oral>),
    /// A drill whose call has been made, to be gone through step by step.
    LookBack(Box<Session>),
    /// A drill that tells at every moment what to do next.
    Guided(Box<Session>),
    /// A drill that takes long to make.
    Making {
        /// What is being worked out, a paragraph an element.
        told: Vec<String>,
        /// Whether it is to tell at every moment what to do next.
        guided: bool,
        /// Makes it.
        make: Make,
    },
}

impl std::fmt::Debug for Start {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Menu { entries, .. } => f.debug_tuple("Menu").field(entries).finish(),
            Self::Drill(_) => f.write_str("Drill"),
            Self::Oral(_) => f.write_str("Oral"),
            Self::LookBack(_) => f.write_str("LookBack"),
            Self::Guided(_) => f.write_str("Guided"),
            Self::Making { told, .. } => f.debug_tuple("Making").field(told).finish(),
        }
    }
}

/// The page that is open.
#[derive(Debug)]
pub(super) enum Page {
    /// What there is to do.
    Menu(Menu),
    /// A drill is being made: what is being worked out, and whether it is a guided one.
    Making(Vec<String>, bool),
    /// A drill.
    Drill(Box<Drilling>),
    /// Its debrief.
    Debrief(Box<Debriefing>),
    /// An oral.
    Oral(Box<Asking>),
}

/// Something that takes a moment and is done after the screen has said so.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Pending {
    /// Make a drill of this entry.
    Load(Entry),
    /// Make the drill that takes long.
    Make,
    /// Work out the best next step.
    Advise,
    /// Work out other help.
    Help(Help),
    /// Work out whether anything is proved.
    Weigh,
    /// Work out the debrief.
    Debrief,
}

/// How often it is tried to keep what could not be kept, while nothing else happens.
const TRIED_EVERY: Duration = Duration::from_secs(1);

/// What becomes of a drill of which something is not kept.
const GOES_ON: &str = "The drill goes on.";

/// What the screen shows, as a value.
pub struct App {
    pub(super) page: Page,
    pub(super) pending: Option<Pending>,
    /// A page that lies over the other.
    pub(super) leaf: Option<Leaf>,
    pub(super) entries: Vec<Entry>,
    /// Where the menu was left.
    chosen: Menu,
    /// What went wrong with the last choice on the menu.
    pub(super) notice: String,
    pub(super) theme: Theme,
    /// The time, as it was last told.
    pub(super) now: Duration,
    /// Which key does what.
    pub(super) keys: Keys,
    load: Option<Load>,
    make: Option<Make>,
    /// Why there is no drill.
    failure: Option<String>,
    kept: Kept,
    /// Why something that was done is not kept, as long as that is so.
    not_kept: Option<String>,
    /// When it was last tried while nothing else happened.
    tried: Duration,
    size: (u16, u16),
    over: bool,
    right_part: Option<bool>,
}

impl std::fmt::Debug for App {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("App").field("page", &self.page).finish_non_exhaustive()
    }
}

impl App {
    /// What is shown at the start, on a terminal of so many columns and rows.
    pub fn new(start: Start, size: (u16, u16), theme: Theme) -> Self {
        let mut making = None;
        let mut looking_back = None;
        let (page, entries, load) = match start {
            Start::Making { told, guided, make } => {
                making = Some(make);
                (Page::Making(told, guided), Vec::new(), None)
            }
            Start::Menu { entries, load } => (Page::Menu(Menu::default()), entries, Some(load)),
            Start::Drill(session) if session.call().is_some() => {
                looking_back = Some(Pending::Debrief);
                (Page::Debrief(Box::new(Debriefing::new(*session))), Vec::new(), None)
            }
            Start::LookBack(session) => {
                looking_back = Some(Pending::Debrief);
                let debriefing = Debriefing::new(*session).at_its_steps();
                (Page::Debrief(Box::new(debriefing)), Vec::new(), None)
            }
            Start::Drill(session) => {
                (Page::Drill(Box::new(Drilling::new(*session))), Vec::new(), None)
            }
            Start::Oral(oral) => (Page::Oral(Box::new(Asking::new(*oral))), Vec::new(), None),
            Start::Guided(session) => {
                let drilling = Drilling::new(*session).guided(true);
                (Page::Drill(Box::new(drilling)), Vec::new(), None)
            }
        };
        Self {
            page,
            pending: making.as_ref().map(|_| Pending::Make).or(looking_back),
            leaf: None,
            entries,
            chosen: Menu::default(),
            notice: String::new(),
            theme,
            now: Duration::ZERO,
            keys: Keys::default(),
            load,
            make: making,
            failure: None,
            kept: Kept::default(),
            not_kept: None,
            tried: Duration::ZERO,
            size,
            over: false,
            right_part: None,
        }
    }

    /// Has every debrief kept when it opens.
    pub fn keep_debriefs(&mut self, keep: Keep) {
        self.kept.debrief = Some(keep);
    }

    /// Has debriefs and deeds kept.
    pub fn keep(&mut self, kept: Kept) {
        self.kept = kept;
        self.notice = self.kept.notice.take().unwrap_or_default();
    }

    /// Has what was done kept, before anything more is done.
    fn record(&mut self) {
        let session = match &self.page {
            Page::Drill(drilling) => Some(&drilling.session),
            Page::Debrief(debriefing) => Some(&debriefing.session),
            Page::Menu(_) | Page::Making(..) | Page::Oral(_) => None,
        };
        let Some(record) = &mut self.kept.deeds else { return };
        let trouble = record(session).err().map(|why| format!("Not kept: {why}. {GOES_ON}"));
        if let Page::Drill(drilling) = &mut self.page {
            drilling.is_kept = true;
            drilling.waits = trouble.is_some();
        }
        if trouble == self.not_kept {
            return;
        }
        let before = std::mem::replace(&mut self.not_kept, trouble.clone());
        // What was said and holds no longer is taken back.
        let remark = match &mut self.page {
            Page::Drill(drilling) => &mut drilling.remark,
            Page::Debrief(debriefing) => &mut debriefing.remark,
            Page::Menu(_) | Page::Making(..) | Page::Oral(_) => return,
        };
        if trouble.is_some() || *remark == before {
            *remark = trouble;
        }
    }

    /// Tries once more to keep what is not kept, when nothing else happens; tells whether there
    /// is anything new to be shown.
    pub fn try_again(&mut self, now: Duration) -> bool {
        if self.not_kept.is_none() || now < self.tried + TRIED_EVERY {
            return false;
        }
        self.tried = now;
        let before = self.not_kept.clone();
        self.record();
        self.not_kept != before
    }

    /// Takes the drill anew from files that were saved since; tells whether there is anything
    /// new to be shown.
    pub fn look_at_files(&mut self) -> bool {
        let Page::Drill(drilling) = &mut self.page else { return false };
        let Some(made) = self.kept.anew.as_mut().and_then(|anew| anew(&drilling.session)) else {
            return false;
        };
        match made {
            Ok((session, told)) => drilling.renew(session, told),
            Err(why) => drilling.tell(why),
        }
        true
    }

    /// The same with other keys.
    #[must_use]
    pub fn with_keys(mut self, keys: Keys) -> Self {
        self.keys = keys;
        if let Page::Drill(drilling) = &mut self.page {
            drilling.keys = keys;
        }
        self
    }

    /// Which key does what.
    pub fn keys(&self) -> &Keys {
        &self.keys
    }

    /// Whether the screen is to be left.
    pub fn is_over(&self) -> bool {
        self.over
    }

    /// Whether something waits to be worked out by [`App::work`].
    pub fn is_waiting(&self) -> bool {
        self.pending.is_some()
    }

    /// What has to be made and takes long, to be made while keys are still heard; what comes of
    /// it goes to [`App::receive`]. [`App::work`] makes it on the spot where nobody took it.
    pub fn take_make(&mut self) -> Option<Make> {
        self.make.take()
    }

    /// Takes the drill that was being made.
    pub fn receive(&mut self, made: Result<Session, String>) {
        let Page::Making(_, guided) = self.page else { return };
        self.pending = None;
        match made {
            Ok(session) => {
                let mut drilling = Drilling::new(session).guided(guided);
                drilling.keys = self.keys;
                self.page = Page::Drill(Box::new(drilling));
            }
            Err(why) => {
                self.failure = Some(why);
                self.over = true;
            }
        }
    }

    /// Why there is no drill, where it could not be made.
    pub fn failure(&self) -> Option<&str> {
        self.failure.as_deref()
    }

    /// Whether the right part was called in the last drill; `None` when none was.
    pub fn right_part(&self) -> Option<bool> {
        self.right_part
    }

    /// Tells the time since some moment that stays the same; pointers move with it.
    pub fn at(&mut self, now: Duration) {
        self.now = now;
        if let Page::Oral(asking) = &mut self.page {
            asking.at(now);
        }
        if let Page::Drill(drilling) = &mut self.page
            && drilling.swing.as_ref().is_some_and(|swing| swing.is_over(now))
        {
            drilling.swing = None;
        }
    }

    /// Whether something on the screen moves by itself, so that it has to be drawn again
    /// soon.
    pub fn is_moving(&self) -> bool {
        matches!(&self.page, Page::Drill(drilling) if drilling.swing.is_some())
    }

    /// Whether a clock stands on the screen that is to be seen running.
    pub fn ticks(&self) -> bool {
        matches!(&self.page, Page::Oral(asking) if asking.ticks())
    }

    /// Whether letters are letters of something being looked for.
    pub fn is_typing(&self) -> bool {
        match &self.page {
            _ if self.leaf.is_some() => false,
            Page::Drill(drilling) => drilling.typing(),
            Page::Debrief(debriefing) => debriefing.typing(),
            Page::Oral(asking) => asking.typing(),
            Page::Menu(_) | Page::Making(..) => false,
        }
    }

    /// Takes one command. Nothing changes in any other way, save by [`App::work`].
    pub fn update(&mut self, command: Command) {
        let unseen = !super::frame::is_drawn(self.size);
        match command {
            // Nobody can see what a key would do.
            _ if unseen && !matches!(command, Command::Abort | Command::Resize(..)) => return,
            Command::Abort => self.over = true,
            Command::Resize(columns, rows) => self.size = (columns, rows),
            Command::Click(column, row) => self.click(Position::new(column, row)),
            Command::WheelUp | Command::WheelDown => self.wheel(command == Command::WheelDown),
            _ => self.on_page(command),
        }
        self.record();
    }

    /// A first click on a thing takes it into focus, another one does what Enter does.
    fn click(&mut self, at: Position) {
        match (mouse::target(self, self.size, at), &mut self.page) {
            (Some(Target::Key(command)), _) => self.on_page(command),
            (Some(Target::Row(row)), Page::Menu(menu)) if menu.at != row => menu.at = row,
            (Some(Target::Row(_)), Page::Menu(_)) => self.on_page(Command::Take),
            (Some(target), Page::Drill(drilling)) => {
                let focused = drilling.aim(target, self.size);
                if focused {
                    self.on_page(Command::Take);
                }
            }
            (Some(target), Page::Debrief(debriefing)) => debriefing.click(target, self.size),
            (Some(target), Page::Oral(asking)) => asking.click(target, self.size),
            _ => {}
        }
    }

    /// The wheel moves a text or a list by some rows, and turns what is in the hand.
    fn wheel(&mut self, down: bool) {
        let notches = match &self.page {
            _ if self.leaf.is_some() => WHEEL_ROWS,
            Page::Drill(drilling) if drilling.scrolls() => WHEEL_ROWS,
            Page::Debrief(_) => WHEEL_ROWS,
            Page::Drill(_) | Page::Menu(_) | Page::Making(..) | Page::Oral(_) => 1,
        };
        for _ in 0..notches {
            self.on_page(if down { Command::Down } else { Command::Up });
        }
    }

    fn on_page(&mut self, command: Command) {
        if let Some(leaf) = self.leaf.take() {
            let closes = matches!(command, Command::Take | Command::Back | Command::Quit);
            if closes || Leaf::opened_by(command).is_some_and(|other| other.about == leaf.about) {
                return;
            }
            // A key that means something does it, the page being closed for it.
            if !command.is_deed() {
                let stage = super::frame::areas(self.size, false).stage;
                self.leaf = Some(leaf.moved(command, stage, &self.keys));
                return;
            }
        }
        self.leaf = Leaf::opened_by(command);
        if self.leaf.is_some() {
            return;
        }
        let clock = (!self.theme.still()).then_some(self.now);
        match &mut self.page {
            Page::Menu(menu) => match menu.update(command, &self.entries) {
                Chosen::Stay => {}
                Chosen::Leave => self.over = true,
                Chosen::Begin(entry) => {
                    self.notice.clear();
                    self.chosen = *menu;
                    self.pending = Some(Pending::Load(entry));
                }
            },
            Page::Making(..) => {
                self.over = matches!(command, Command::Quit | Command::Back);
            }
            Page::Drill(drilling) => match take(drilling, command, self.size, clock) {
                Turn::Stay => {}
                Turn::Leave => self.leave(),
                Turn::Advise => self.pending = Some(Pending::Advise),
                Turn::Help(help) => self.pending = Some(Pending::Help(help)),
                Turn::Weigh => self.pending = Some(Pending::Weigh),
                Turn::Debrief => {
                    let session = drilling.session.clone();
                    self.page = Page::Debrief(Box::new(Debriefing::new(session)));
                    self.pending = Some(Pending::Debrief);
                }
            },
            Page::Debrief(debriefing) => {
                if debriefing.update(command, self.size, self.theme) {
                    self.leave();
                }
            }
            Page::Oral(asking) => {
                if asking.update(command, self.size) {
                    self.leave();
                }
            }
        }
    }

    /// Back to the menu, where there is one.
    fn leave(&mut self) {
        if self.load.is_some() {
            // What came of a drill started here is no business of the shell.
            self.right_part = None;
            self.page = Page::Menu(self.chosen);
        } else {
            self.over = true;
        }
    }

    /// Works out what waits; this takes up to a second or two.
    pub fn work(&mut self) {
        match (self.pending.take(), &mut self.page) {
            (Some(Pending::Load(entry)), _) => {
                let Some(load) = &mut self.load else { return };
                match load(&entry) {
                    Ok(Begun::Oral(oral)) => {
                        self.page = Page::Oral(Box::new(Asking::new(*oral)));
                    }
                    Ok(Begun::Drill(session)) if session.call().is_some() => {
                        self.page = Page::Debrief(Box::new(Debriefing::new(*session)));
                        self.pending = Some(Pending::Debrief);
                    }
                    Ok(Begun::Drill(session)) => {
                        let mut drilling =
                            Drilling::new(*session).guided(entry.what == Beginning::Guided);
                        drilling.keys = self.keys;
                        self.page = Page::Drill(Box::new(drilling));
                    }
                    Err(why) => self.notice = why,
                }
            }
            (Some(Pending::Make), Page::Making(..)) => {
                if let Some(make) = self.make.take() {
                    let made = make();
                    self.receive(made);
                }
            }
            (Some(Pending::Advise), Page::Drill(drilling)) => drilling.advise(),
            (Some(Pending::Help(help)), Page::Drill(drilling)) => drilling.help(help),
            (Some(Pending::Weigh), Page::Drill(drilling)) => drilling.weigh(),
            (Some(Pending::Debrief), Page::Debrief(debriefing)) => {
                let debrief = score::debrief(&debriefing.session);
                self.right_part = debrief.as_ref().ok().map(|d| d.verdict.right_part);
                let kept =
                    self.kept.debrief.as_mut().zip(debrief.as_ref().ok()).map(|(keep, debrief)| {
                        let kept = keep(&debriefing.session, debrief);
                        kept.unwrap_or_else(|why| format!("No report: {why}."))
                    });
                let kept = kept.filter(|told| !told.is_empty()).or(self.not_kept.clone());
                debriefing.receive(debrief.map_err(|error| error.to_string()), kept);
            }
            _ => {}
        }
        self.record();
    }
}

/// Takes a command in a drill. Where there is a clock, a pointer that the command moves
/// swings to its place; one that was still moving is there at once, so that what is asked
/// for next is answered from what can be seen.
fn take(
    drilling: &mut Drilling,
    command: Command,
    size: (u16, u16),
    clock: Option<Duration>,
) -> Turn {
    drilling.swing = None;
    let before = clock.map(|_| view(&drilling.session));
    let turn = drilling.update(command, size);
    if let (Some(now), Some(before), true) = (clock, before, drilling.at_the_stage()) {
        drilling.swing = Swing::between(&before, &view(&drilling.session), now);
    }
    turn
}
