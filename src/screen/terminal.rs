//! The terminal: taken over, read, and always given back.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicUsize, Ordering};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use crossterm::event::{
    DisableMouseCapture, EnableMouseCapture, Event, KeyCode, KeyEvent, KeyEventKind, KeyModifiers,
    poll, read,
};
use crossterm::execute;
use crossterm::terminal::{EnterAlternateScreen, disable_raw_mode, enable_raw_mode};
use ratatui::backend::{Backend, CrosstermBackend};
use ratatui::layout::{Rect, Size};
use ratatui::{Terminal, TerminalOptions, Viewport};
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::io::Errno;
use signal_hook::consts::{SIGCONT, SIGHUP, SIGINT, SIGQUIT, SIGTERM, SIGTSTP};
use signal_hook::iterator::Signals;

use super::app::{App, Kept, Make, Start};
use super::command::{Command, Keys, command_for, command_for_mouse};
use super::frame::draw;
use super::theme::Theme;
use crate::drill::Session;

/// How the screen was left.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ExitSummary {
    /// Whether the right part was called in the last drill; `None` when none was.
    pub right_part: Option<bool>,
    /// The signal that ended it, if one did.
    pub signal: Option<i32>,
}

/// How long one waits for a key before looking whether a signal has come.
const WAIT: Duration = Duration::from_millis(250);

/// How long one picture stands while something moves.
const FRAME: Duration = Duration::from_millis(33);

/// How long a program that a signal has reached may take to end by itself.
const PATIENCE: Duration = Duration::from_secs(2);

/// The columns and rows that are drawn at most. A terminal may say that it has 65 535 of each;
/// two sheets of that size would take hundreds of gigabytes, and no screen shows as many.
const MOST: (u16, u16) = (1000, 400);

/// The terminal and the part of it that is drawn.
type Drawn = (ratatui::DefaultTerminal, Rect);

/// Columns of the terminal; `None` where it does not say.
pub fn columns() -> Option<u16> {
    crossterm::terminal::size().ok().map(|(columns, _)| columns).filter(|columns| *columns > 0)
}

/// Runs the screen until it is left, and gives the terminal back: after a key, a panic,
/// or one of SIGTERM, SIGHUP, SIGINT and SIGQUIT. `kept` gets every debrief when it opens and every deed when it is done.
///
/// # Errors
/// When the terminal cannot be set up, read or written.
pub fn run(start: Start, theme: Theme, keys: Keys, kept: Kept) -> io::Result<ExitSummary> {
    let signal = Arc::new(AtomicUsize::new(0));
    let signals = Signals::new([SIGTERM, SIGHUP, SIGINT, SIGQUIT])?;
    let watched = signals.handle();
    watch(signals, Arc::clone(&signal));
    // This puts a panic hook in place which restores the terminal before the message.
    release_mouse_on_panic();
    let stops = Stops::default();
    let stopping = signal_hook::flag::register(SIGTSTP, Arc::clone(&stops.asked))?;
    let going_on = signal_hook::flag::register(SIGCONT, Arc::clone(&stops.over))?;
    let area = drawn_of(crossterm::terminal::size().map(Size::from)?);
    let terminal = ratatui::try_init_with_options(options(area))?;
    let mut drawn = (terminal, area);
    let result = (|| {
        execute!(io::stdout(), EnterAlternateScreen, EnableMouseCapture)?;
        let mut app = App::new(start, (area.width, area.height), theme).with_keys(keys);
        app.keep(kept);
        work(&mut drawn, &mut app, &signal, &stops)?;
        match app.failure() {
            Some(why) => Err(io::Error::other(why.to_owned())),
            None => Ok(app.right_part()),
        }
    })();
    signal_hook::low_level::unregister(stopping);
    signal_hook::low_level::unregister(going_on);
    let (mut terminal, _) = drawn;
    let freed = execute!(io::stdout(), DisableMouseCapture);
    let shown = freed.and_then(|()| terminal.show_cursor());
    if shown.is_err() {
        // Dropping it would try again and complain on a standard error that is gone too,
        // which is a panic.
        std::mem::forget(terminal);
    } else {
        drop(terminal);
    }
    let restored = ratatui::try_restore();
    if signal.load(Ordering::Relaxed) == 0 {
        watched.close();
    }
    // A closed terminal may be seen before its signal has been delivered.
    let gone = !wait_for_input(Duration::ZERO).unwrap_or(false);
    let signal = match signal.load(Ordering::Relaxed) {
        0 => gone.then_some(SIGHUP),
        number => Some(i32::try_from(number).unwrap_or(SIGHUP)),
    };
    match result {
        // After a hangup there is no terminal left to answer.
        Err(_) if signal.is_some() => Ok(ExitSummary { right_part: None, signal }),
        Err(error) => Err(error),
        Ok(right_part) => {
            if signal.is_none() {
                shown?;
                restored?;
            }
            Ok(ExitSummary { right_part, signal })
        }
    }
}

/// Draws, waits, updates. Nothing is drawn while nothing happens.
fn work(drawn: &mut Drawn, app: &mut App, signal: &AtomicUsize, stops: &Stops) -> io::Result<()> {
    let started = Instant::now();
    // What comes of a drill that is being made while keys are heard.
    let mut made: Option<Receiver<Result<Session, String>>> = None;
    'picture: while !app.is_over() {
        app.at(started.elapsed());
        picture(drawn, app)?;
        if let Some(make) = app.take_make() {
            made = Some(elsewhere(make));
        }
        let far = made.as_ref();
        if let Some(done) = far.and_then(|made| made.try_recv().ok()) {
            made = None;
            app.receive(done);
            continue;
        }
        if made.is_none() && app.is_waiting() {
            app.work();
            discard(app)?;
            continue;
        }
        loop {
            if stops.asked.swap(false, Ordering::Relaxed) {
                give_back(&mut drawn.0)?;
                signal_hook::low_level::emulate_default_handler(SIGTSTP)?;
                stops.over.store(true, Ordering::Relaxed);
            }
            // Stopped by Ctrl-Z, or by a signal that nobody hears before it is over.
            if stops.over.swap(false, Ordering::Relaxed) {
                take_again(drawn)?;
                picture(drawn, app)?;
            }
            if !wait_for_input(Duration::ZERO)? || signal.load(Ordering::Relaxed) != 0 {
                return Ok(());
            }
            // Several keys that came at once have been read already and are asked for
            // first: the descriptor no longer knows of them.
            if poll(Duration::ZERO)? {
                break;
            }
            if !wait_for_input(if app.is_moving() { FRAME } else { WAIT })? {
                return Ok(());
            }
            if (app.is_moving() || made.is_some()) && !poll(Duration::ZERO)? {
                continue 'picture;
            }
            if app.ticks() && !poll(Duration::ZERO)? {
                continue 'picture;
            }
            if app.look_at_files() || app.try_again(started.elapsed()) {
                continue 'picture;
            }
        }
        let command = match read()? {
            // In raw mode the terminal no longer turns this key into its signal.
            Event::Key(key) if is_suspend(key) => {
                stops.asked.store(true, Ordering::Relaxed);
                None
            }
            Event::Key(key) => command_for(key, app.is_typing(), &app.keys),
            Event::Mouse(mouse) => command_for_mouse(mouse),
            // The size is looked at before every picture.
            _ => None,
        };
        if let Some(command) = command {
            app.at(started.elapsed());
            app.update(command);
        }
    }
    Ok(())
}

/// Makes a drill on a thread of its own, which ends with the program at the latest.
fn elsewhere(make: Make) -> Receiver<Result<Session, String>> {
    let (sender, made) = channel();
    std::thread::spawn(move || {
        // Nobody waits for it any more once the screen has been left.
        let _ = sender.send(make());
    });
    made
}

/// Whether a key asks for the shell: Ctrl-Z.
fn is_suspend(key: KeyEvent) -> bool {
    key.kind != KeyEventKind::Release
        && key.modifiers.contains(KeyModifiers::CONTROL)
        && key.code == KeyCode::Char('z')
}

/// What has been heard of stopping.
#[derive(Default)]
struct Stops {
    /// It is asked for.
    asked: Arc<AtomicBool>,
    /// The program has been stopped and goes on.
    over: Arc<AtomicBool>,
}

/// The part of a terminal of this size that is drawn.
fn drawn_of(size: Size) -> Rect {
    Rect::new(0, 0, size.width.min(MOST.0), size.height.min(MOST.1))
}

fn options(area: Rect) -> TerminalOptions {
    TerminalOptions { viewport: Viewport::Fixed(area) }
}

/// Draws the app; what it knows of the size of the terminal is brought up to date first.
fn picture(drawn: &mut Drawn, app: &mut App) -> io::Result<()> {
    let area = drawn_of(drawn.0.size()?);
    if area != drawn.1 {
        blank(drawn, area)?;
        app.update(Command::Resize(area.width, area.height));
    }
    drawn.0.draw(|frame| draw(app, frame))?;
    Ok(())
}

/// Begins with a blank terminal, on which the next picture is drawn whole.
///
/// Clearing it by its own means would ask the terminal where its cursor is, and go through it
/// cell by cell where not all of it is drawn.
fn blank((terminal, known): &mut Drawn, area: Rect) -> io::Result<()> {
    let fresh = Terminal::with_options(CrosstermBackend::new(io::stdout()), options(area))?;
    let mut before = std::mem::replace(terminal, fresh);
    *known = area;
    // Dropped with its cursor hidden, it would complain where the terminal has gone away.
    if let Err(gone) = before.show_cursor() {
        std::mem::forget(before);
        return Err(gone);
    }
    terminal.backend_mut().clear()
}

/// Gives the terminal back.
fn give_back(terminal: &mut ratatui::DefaultTerminal) -> io::Result<()> {
    execute!(io::stdout(), DisableMouseCapture)?;
    terminal.show_cursor()?;
    ratatui::try_restore()
}

/// Takes the terminal once more, whatever has become of it in the meantime.
fn take_again(drawn: &mut Drawn) -> io::Result<()> {
    // Its settings are not asked for as long as they are taken to be ours.
    disable_raw_mode()?;
    enable_raw_mode()?;
    execute!(io::stdout(), EnterAlternateScreen, EnableMouseCapture)?;
    let area = drawn.1;
    blank(drawn, area)
}

/// The hook that gives the terminal back after a panic knows nothing of the mouse.
fn release_mouse_on_panic() {
    let before = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |info| {
        let _ = execute!(io::stdout(), DisableMouseCapture);
        before(info);
    }));
}

/// Waits until there may be something to read, a signal has come or the time is over;
/// false when the terminal is gone.
///
/// The library that reads keys does not notice a terminal that has been closed: it
/// would go on reading nothing for ever. So the descriptor is looked at first.
fn wait_for_input(longest: Duration) -> io::Result<bool> {
    let stdin = io::stdin();
    let mut watched = [PollFd::new(&stdin, PollFlags::IN)];
    let wait = Timespec { tv_sec: 0, tv_nsec: longest.subsec_nanos().into() };
    match rustix::event::poll(&mut watched, Some(&wait)) {
        // A signal: a new size, a closed terminal, or one that ends the program.
        Err(Errno::INTR) => wait_for_input(Duration::ZERO),
        Err(error) => Err(error.into()),
        Ok(_) => {
            Ok(!watched[0].revents().intersects(PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL))
        }
    }
}

/// Gives the terminal back and ends the program when it has not ended by itself soon
/// after a signal: it may be at work, or caught in a read from a terminal that has gone
/// away in the very moment of reading.
fn watch(mut signals: Signals, seen: Arc<AtomicUsize>) {
    std::thread::spawn(move || {
        if let Some(number) = signals.forever().next() {
            seen.store(usize::try_from(number).unwrap_or(0), Ordering::Relaxed);
            std::thread::sleep(PATIENCE);
            let _ = execute!(io::stdout(), DisableMouseCapture);
            let _ = ratatui::try_restore();
            std::process::exit(128 + number);
        }
    });
}

/// Throws away what was typed while the program was at work: it was not meant for the
/// page that has come up since.
fn discard(app: &mut App) -> io::Result<()> {
    while wait_for_input(Duration::ZERO)? && poll(Duration::ZERO)? {
        match read()? {
            Event::Key(key) if command_for(key, false, &app.keys) == Some(Command::Abort) => {
                app.update(Command::Abort);
            }
            _ => {}
        }
    }
    Ok(())
}
