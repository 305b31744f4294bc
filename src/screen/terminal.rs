//! The terminal: taken over, read, and always given back.

use std::io;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

use crossterm::event::{Event, poll, read};
use rustix::event::{PollFd, PollFlags, Timespec};
use rustix::io::Errno;
use signal_hook::consts::{SIGHUP, SIGINT, SIGTERM};

use super::app::{App, Start};
use super::command::{Command, command_for};
use super::frame::draw;
use super::theme::Theme;

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

/// Runs the screen until it is left, and gives the terminal back: after a key, a panic,
/// or one of SIGTERM, SIGHUP and SIGINT.
///
/// # Errors
/// When the terminal cannot be set up, read or written.
pub fn run(start: Start) -> io::Result<ExitSummary> {
    let signal = Arc::new(AtomicUsize::new(0));
    let mut registered = Vec::new();
    for number in [SIGTERM, SIGHUP, SIGINT] {
        let value = usize::try_from(number).unwrap_or(0);
        registered.push(signal_hook::flag::register_usize(number, Arc::clone(&signal), value)?);
    }
    // NO_COLOR with any text in it turns colours off (no-color.org).
    let colour = std::env::var_os("NO_COLOR").is_none_or(|value| value.is_empty());
    // This puts a panic hook in place which restores the terminal before the message.
    let mut terminal = ratatui::try_init()?;
    let result = (|| {
        let size = terminal.size()?;
        let mut app = App::new(start, (size.width, size.height), Theme::new(colour));
        work(&mut terminal, &mut app, &signal)?;
        Ok(app.right_part())
    })();
    let shown = terminal.show_cursor();
    drop(terminal);
    let restored = ratatui::try_restore();
    for id in registered {
        signal_hook::low_level::unregister(id);
    }
    let number = signal.load(Ordering::Relaxed);
    let signal = (number != 0).then(|| i32::try_from(number).unwrap_or(0));
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
fn work(
    terminal: &mut ratatui::DefaultTerminal,
    app: &mut App,
    signal: &AtomicUsize,
) -> io::Result<()> {
    while !app.is_over() {
        terminal.draw(|frame| draw(app, frame))?;
        if app.is_waiting() {
            app.work();
            discard(app)?;
            continue;
        }
        loop {
            if signal.load(Ordering::Relaxed) != 0 {
                return Ok(());
            }
            // Several keys that came at once have been read already and are asked for
            // first: the descriptor no longer knows of them.
            if poll(Duration::ZERO)? {
                break;
            }
            if !wait_for_input()? {
                return Ok(());
            }
        }
        let command = match read()? {
            Event::Key(key) => command_for(key, app.is_typing()),
            Event::Resize(columns, rows) => Some(Command::Resize(columns, rows)),
            _ => None,
        };
        if let Some(command) = command {
            app.update(command);
        }
    }
    Ok(())
}

/// Waits until there may be something to read, a signal has come or [`WAIT`] is over;
/// false when the terminal is gone.
///
/// The library that reads keys does not notice a terminal that has been closed: it
/// would go on reading nothing for ever. So the descriptor is looked at first.
fn wait_for_input() -> io::Result<bool> {
    let stdin = io::stdin();
    let mut watched = [PollFd::new(&stdin, PollFlags::IN)];
    let wait = Timespec { tv_sec: 0, tv_nsec: WAIT.subsec_nanos().into() };
    match rustix::event::poll(&mut watched, Some(&wait)) {
        // A signal: a new size, or one that ends the program.
        Err(Errno::INTR) => Ok(true),
        Err(error) => Err(error.into()),
        Ok(_) => {
            Ok(!watched[0].revents().intersects(PollFlags::HUP | PollFlags::ERR | PollFlags::NVAL))
        }
    }
}

/// Throws away what was typed while the program was at work: it was not meant for the
/// page that has come up since.
fn discard(app: &mut App) -> io::Result<()> {
    while poll(Duration::ZERO)? {
        match read()? {
            Event::Key(key) if command_for(key, false) == Some(Command::Abort) => {
                app.update(Command::Abort);
            }
            Event::Resize(columns, rows) => app.update(Command::Resize(columns, rows)),
            _ => {}
        }
    }
    Ok(())
}
