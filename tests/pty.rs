//! The real program on a real pseudo-terminal: whole drills by keys alone, and the
//! terminal given back whatever ends the program.

use std::io::{Read, Write};
use std::num::NonZero;
use std::sync::{Arc, Mutex};
use std::time::{Duration, Instant};

use halfsplit::logbook::{Filter, Store};
use halfsplit::oral::{Deck, Rating};
use portable_pty::{Child, CommandBuilder, MasterPty, PtySize, native_pty_system};

const SIZE: PtySize = PtySize { rows: 36, cols: 120, pixel_width: 0, pixel_height: 0 };
/// How long to wait for the screen to show something: far beyond what a loaded machine
/// takes to work out a debrief.
const PATIENCE: Duration = Duration::from_secs(180);
const TO_ALTERNATE: &[u8] = b"\x1b[?1049h";
const FROM_ALTERNATE: &[u8] = b"\x1b[?1049l";
const SHOW_CURSOR: &[u8] = b"\x1b[?25h";

/// The program in a terminal of its own.
struct Running {
    master: Box<dyn MasterPty + Send>,
    writer: Box<dyn Write + Send>,
    child: Box<dyn Child + Send + Sync>,
    /// Everything it has written, and the screen that makes.
    output: Arc<Mutex<(Vec<u8>, vt100::Parser)>>,
    /// The line settings before it started.
    settings: String,
}

impl Running {
    fn start(arguments: &[&str]) -> Self {
        Self::start_with(arguments, &[])
    }

    /// The same with more in its environment.
    fn start_with(arguments: &[&str], environment: &[(&str, &str)]) -> Self {
        Self::start_program(env!("CARGO_BIN_EXE_halfsplit").as_ref(), arguments, environment)
    }

    fn start_program(
        program: &std::ffi::OsStr,
        arguments: &[&str],
        environment: &[(&str, &str)],
    ) -> Self {
        let pair = native_pty_system().openpty(SIZE).expect("a pseudo-terminal");
        let settings = settings(&*pair.master);
        let mut command = CommandBuilder::new(program);
        command.args(arguments);
        command.env("TERM", "xterm-256color");
        command.env("XDG_DATA_HOME", crate::program::data_home());
        command.env_remove("NO_COLOR");
        for (name, value) in environment {
            command.env(name, value);
        }
        let child = pair.slave.spawn_command(command).expect("the binary starts");
        // Kept open by the child alone, so that its end is the end of the output; the
        // line settings are read through the master.
        drop(pair.slave);
        let mut reader = pair.master.try_clone_reader().expect("a reader");
        let writer = pair.master.take_writer().expect("a writer");
        let parser = vt100::Parser::new(cells(SIZE.rows), cells(SIZE.cols), 0);
        let output = Arc::new(Mutex::new((Vec::new(), parser)));
        let shared = Arc::clone(&output);
        std::thread::spawn(move || {
            let mut bytes = [0; 4096];
            while let Ok(count) = reader.read(&mut bytes) {
                if count == 0 {
                    break;
                }
                let mut output = shared.lock().expect("nobody panics with it");
                output.0.extend_from_slice(&bytes[..count]);
                output.1.process(&bytes[..count]);
            }
        });
        Self { master: pair.master, writer, child, output, settings }
    }

    fn screen(&self) -> String {
        self.output.lock().expect("nobody panics with it").1.screen().contents()
    }

    fn press(&mut self, keys: &str) {
        self.writer.write_all(keys.as_bytes()).expect("it takes keys");
        self.writer.flush().expect("it takes keys");
    }

    /// Waits until the screen is as wanted, and returns it.
    #[track_caller]
    fn until(&self, wanted: impl Fn(&str) -> bool) -> String {
        let start = Instant::now();
        loop {
            let screen = self.screen();
            if wanted(&screen) {
                return screen;
            }
            assert!(start.elapsed() < PATIENCE, "never came:\n{screen}");
            std::thread::sleep(Duration::from_millis(20));
        }
    }

    /// Waits for its end and returns the exit code and what it wrote.
    fn end(mut self) -> (u32, Vec<u8>) {
        let start = Instant::now();
        let status = loop {
            if let Some(status) = self.child.try_wait().expect("it can be waited for") {
                break status;
            }
            assert!(start.elapsed() < PATIENCE, "it does not end:\n{}", self.screen());
            std::thread::sleep(Duration::from_millis(20));
        };
        // What it wrote last may still be on its way to the reader.
        std::thread::sleep(Duration::from_millis(200));
        assert_eq!(settings(&*self.master), self.settings, "line settings are as before");
        let bytes = self.output.lock().expect("nobody panics with it").0.clone();
        (status.exit_code(), bytes)
    }

    /// Clicks on the first place on the screen, from below and from the right, where this stands.
    #[track_caller]
    fn click(&mut self, text: &str) {
        let screen = self.screen();
        let lines = screen.lines().enumerate();
        let found = lines.filter_map(|(row, line)| Some((row, line.rfind(text)?, line))).last();
        let (row, at, line) = found.unwrap_or_else(|| panic!("no `{text}` on:\n{screen}"));
        let column = line[..at].chars().count();
        // A press and a release of the left button, as xterm reports them (SGR 1006).
        let (x, y) = (column + 1, row + 1);
        self.press(&format!("\u{1b}[<0;{x};{y}M\u{1b}[<0;{x};{y}m"));
    }

    /// Whether the process is stopped (proc(5): state T).
    fn is_stopped(&self) -> bool {
        let id = self.child.process_id().expect("it runs");
        let stat = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap_or_default();
        stat.rsplit(')').next().is_some_and(|rest| rest.trim_start().starts_with('T'))
    }

    fn signal(&self, name: &str) {
        let id = self.child.process_id().expect("it runs").to_string();
        let sent = std::process::Command::new("kill").args(["-s", name, &id]).status();
        assert!(sent.expect("kill runs").success());
    }
}

fn cells(count: u16) -> NonZero<u16> {
    NonZero::new(count).expect("a screen has cells")
}

/// The line settings of a terminal: echo, line editing and the rest.
fn settings(master: &dyn MasterPty) -> String {
    format!("{:?}", master.get_termios())
}

fn contains(bytes: &[u8], wanted: &[u8]) -> bool {
    bytes.windows(wanted.len()).any(|window| window == wanted)
}

#[track_caller]
fn assert_given_back(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    assert!(contains(bytes, TO_ALTERNATE), "it never took the screen: {text}");
    let tail = &bytes[bytes.len().saturating_sub(200)..];
    assert!(contains(tail, FROM_ALTERNATE), "the alternate screen is left last: {text}");
    assert!(contains(tail, SHOW_CURSOR), "the cursor is shown again: {text}");
}

/// The line of keys. It is drawn last, so that what it says holds for the whole screen.
fn keys(screen: &str) -> &str {
    screen.lines().last().unwrap_or_default()
}

fn at_station(screen: &str) -> bool {
    keys(screen).contains("g go") && keys(screen).contains("? help")
}

fn at_write_up(screen: &str) -> bool {
    screen.contains("THE CREW WROTE") && keys(screen).contains("begin the drill")
}

fn at_advice(screen: &str) -> bool {
    screen.contains("The debrief will say") && keys(screen).contains("Esc back")
}

fn at_cautions(screen: &str) -> bool {
    screen.contains("CAUTIONS:") && keys(screen).contains("Enter read")
}

/// A full drill in the real screen: the write-up, then nothing but offered advice, to a
/// called and proven verdict.
#[track_caller]
fn won_by_keys(fault: &str) {
    let mut terminal = Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", fault]);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(at_station);
    let mut steps = 0;
    loop {
        // The price is named first; the same key once more takes the advice.
        terminal.press("a");
        let price = terminal.until(|s| keys(s).contains("Enter ask for it"));
        assert!(price.contains("takes 3 points of 100"), "{price}");
        terminal.press("a");
        let advice = terminal.until(at_advice);
        terminal.press("\r");
        if advice.contains("make this call") {
            break;
        }
        let after = terminal.until(|s| at_station(s) || at_cautions(s));
        if at_cautions(&after) {
            terminal.press("\r");
            terminal.until(at_station);
        }
        steps += 1;
        assert!(steps < 25, "no call after {steps} pieces of advice:\n{}", terminal.screen());
    }
    terminal.until(|s| keys(s).contains("make the call"));
    terminal.press("\r");
    let debrief = terminal.until(|s| keys(s).contains("Esc close"));
    assert!(debrief.contains("Isolated and proven"), "{fault}:\n{debrief}");
    assert!(debrief.contains(&format!("The fault was {fault}:")), "{debrief}");
    terminal.press("q");
    let (code, bytes) = terminal.end();
    assert_eq!(code, 0);
    assert_given_back(&bytes);
}

#[test]
fn a_blown_fuse_is_found_by_keys() {
    won_by_keys("F-FLT-C:open");
}

#[test]
fn a_dead_converter_is_found_by_keys() {
    won_by_keys("CV2:motor-open");
}

#[test]
fn a_breaker_that_trips_early_is_found_by_keys() {
    won_by_keys("CB2A:trips-early");
}

#[test]
fn an_open_winding_is_found_by_keys() {
    won_by_keys("T-FLT-A:primary-open");
}

#[test]
fn a_stuck_relay_is_found_by_keys() {
    won_by_keys("K-SG:stuck-released");
}

#[test]
fn a_chafed_wire_is_found_by_keys() {
    won_by_keys("W2-A:chafed");
}

/// The same with the mouse alone.
#[test]
fn a_drill_is_worked_by_mouse() {
    let fault = "CB2A:trips-early";
    let mut terminal = Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", fault]);
    terminal.until(at_write_up);
    terminal.click("Enter begin");
    terminal.until(at_station);
    // A click takes a control into focus and shows its price; a second one throws it.
    terminal.click("BUS SELECT");
    terminal.until(|s| s.contains("▸ BUS SELECT (BUSSEL) at AUTO"));
    terminal.click("BUS SELECT (");
    terminal.until(|s| keys(s).contains("Esc let go"));
    terminal.click("Esc let go");
    terminal.until(at_station);
    let mut steps = 0;
    loop {
        terminal.click("a advice");
        terminal.until(|s| keys(s).contains("Enter ask for it"));
        terminal.click("Enter ask");
        let advice = terminal.until(at_advice);
        terminal.click("Enter ");
        if advice.contains("make this call") {
            break;
        }
        let after = terminal.until(|s| at_station(s) || at_cautions(s));
        if at_cautions(&after) {
            terminal.click("Enter read");
            terminal.until(at_station);
        }
        steps += 1;
        assert!(steps < 25, "no call after {steps} pieces of advice:\n{}", terminal.screen());
    }
    terminal.until(|s| keys(s).contains("make the call"));
    terminal.click("Enter make the call");
    let debrief = terminal.until(|s| keys(s).contains("Esc close"));
    assert!(debrief.contains("Isolated and proven"), "{debrief}");
    terminal.click("q Esc close");
    let (code, bytes) = terminal.end();
    assert_eq!(code, 0);
    assert_given_back(&bytes);
}

/// The first drill from the menu, doing what the guide says and nothing else.
#[test]
fn the_first_drill_is_finished_by_what_the_guide_says() {
    let mut terminal = Running::start(&[]);
    terminal.until(|s| s.contains("▸ First drill, guided"));
    terminal.press("\r");
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(|s| s.contains("Guide: arrows move"));
    terminal.press("\u{1b}[B\u{1b}[A\t");
    let mut guide = terminal.until(|s| s.contains("Guide: put ▸ on a control"));
    // Tab goes from one thing that can be acted on to the next.
    for _ in 0..10 {
        if guide.contains("Enter throw it") {
            break;
        }
        terminal.press("\t");
        let before = guide;
        guide = terminal.until(|s| s != before);
    }
    terminal.press("\r");
    terminal.until(|s| s.contains("Guide: now measure. p takes"));
    terminal.press("p");
    terminal.until(|s| s.contains("Guide: ↑↓ put the red lead on a point"));
    // The meter stands on direct volts, as there is nothing else: after the wire, then after
    // the switch.
    terminal.press("\u{1b}[B\r");
    terminal.until(|s| s.contains("DC volts TB1-2 to GND") && s.contains(" V DC "));
    terminal.until(|s| s.contains("Guide: read it off."));
    terminal.press("\u{1b}[B\r");
    terminal.until(|s| s.contains("DC volts TB1-3 to GND"));
    terminal.until(|s| s.contains("proves one part. Esc, then c"));
    terminal.press("\u{1b}");
    terminal.until(|s| s.contains("that proves one part: w shows what lies between, c calls it."));
    terminal.press("c");
    terminal.until(|s| s.contains("WHICH PART HAS FAILED"));
    terminal.press("s1\r");
    terminal.until(|s| s.contains("HOW HAS S1 FAILED"));
    terminal.press("\r");
    terminal.until(|s| keys(s).contains("make the call"));
    terminal.press("\r");
    terminal.until(|s| s.contains("Isolated and proven") && keys(s).contains("Esc close"));
    terminal.press("\u{3}");
    assert_eq!(terminal.end().0, 0);
}

/// Chosen keys work and are shown; a choice that cannot be is told before the screen opens.
#[test]
fn keys_are_chosen_in_a_file() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("halfsplit/keys.ron");
    std::fs::create_dir_all(file.parent().expect("a parent")).expect("a folder");
    let arguments = ["drill", "bench", "--seed", "7", "--fault", "W1:open"];
    std::fs::write(&file, "{\"go\": \"z\", \"notes\": \"x\"}").expect("it is written");
    let settings = [("XDG_CONFIG_HOME", folder.path().to_str().expect("text"))];
    let mut terminal = Running::start_with(&arguments, &settings);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(|s| keys(s).contains("z go") && keys(s).contains("x notes"));
    terminal.press("x");
    terminal.until(|s| keys(s).contains("Esc back"));
    terminal.press("\u{3}");
    assert_eq!(terminal.end().0, 0);
    for (text, said) in
        [("{\"go\": \"p\"}", "the key of both `go` and `probe`"), ("{\"go\": 1}", "keys.ron:1:")]
    {
        std::fs::write(&file, text).expect("it is written");
        let terminal = Running::start_with(&arguments, &settings);
        let (code, bytes) = terminal.end();
        assert_eq!(code, 2);
        let told = String::from_utf8_lossy(&bytes);
        assert!(told.contains(said), "{told}");
        assert!(!contains(&bytes, TO_ALTERNATE));
    }
}

#[test]
fn a_row_of_a_list_and_a_lead_of_the_meter_are_clicked() {
    let mut terminal =
        Running::start(&["drill", "bench", "--seed", "7", "--fault", "DS1:bulbs-out"]);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(at_station);
    terminal.click("p probe");
    terminal.until(|s| keys(s).contains("Enter measure"));
    terminal.click("DC volts");
    terminal.until(|s| s.contains("Next: DC volts"));
    terminal.click("TB1-4 RET ");
    terminal.until(|s| s.contains("to TB1-4 (black)"));
    terminal.click("Enter measure");
    terminal.until(|s| s.contains("DC volts TB1-1 to TB1-4"));
    terminal.press("\u{1b}");
    terminal.until(at_station);
    terminal.click("c call");
    terminal.until(|s| s.contains("WHICH PART HAS FAILED"));
    terminal.click("DS1 ");
    terminal.click("DS1 ");
    terminal.until(|s| s.contains("HOW HAS DS1 FAILED"));
    terminal.press("\u{3}");
    terminal.end();
}

/// Set where this test runs itself in a terminal of its own, to panic there.
const PANICS: &str = "HALFSPLIT_TEST_PANICS";
const THE_PANIC: &str = "the aircraft fell off its jacks";

/// A panic anywhere below the screen: the terminal is given back before the message is
/// written. The test runs itself once more in a terminal, takes the real screen there, and
/// panics in what makes the drill.
#[test]
fn a_panic_gives_the_terminal_back_before_its_message() {
    use halfsplit::screen::{Beginning, Entry, Keys, Start, Theme, run};
    if std::env::var_os(PANICS).is_some() {
        let entry = Entry {
            system: "bench".to_owned(),
            title: "BENCH".to_owned(),
            what: Beginning::Guided,
            ..Entry::default()
        };
        let load = Box::new(|_: &Entry| panic!("{THE_PANIC}"));
        let start = Start::Menu { entries: vec![entry], load };
        let _ = run(start, Theme::new(true), Keys::default(), halfsplit::screen::Kept::default());
        return;
    }
    let program = std::env::current_exe().expect("this test is a program");
    let name = "pty::a_panic_gives_the_terminal_back_before_its_message";
    let arguments = [name, "--exact", "--nocapture", "--test-threads=1"];
    let mut terminal = Running::start_program(program.as_os_str(), &arguments, &[(PANICS, "1")]);
    terminal.until(|s| s.contains("▸ BENCH") && keys(s).contains("q quit"));
    terminal.press("\r");
    let (code, bytes) = terminal.end();
    assert_eq!(code, 101);
    let at = |wanted: &[u8]| {
        let all = bytes.windows(wanted.len()).enumerate();
        all.filter(|(_, window)| *window == wanted).map(|(at, _)| at).next_back()
    };
    let told = at(THE_PANIC.as_bytes()).expect("the message is written");
    for (what, sequence) in
        [("the alternate screen", FROM_ALTERNATE), ("the mouse", b"\x1b[?1000l".as_slice())]
    {
        let given = at(sequence).unwrap_or_else(|| panic!("{what} is never given back"));
        assert!(given < told, "{what} is given back after the message");
    }
}

/// A drill with pairs takes long to make: the screen tells what is worked out, and hears keys.
#[test]
fn while_a_drill_is_being_made_keys_are_heard() {
    for (key, code) in [("q", 0), ("\u{3}", 0)] {
        let arguments = ["drill", "t4-ac", "--seed", "7", "--reckon-with", "pairs"];
        let mut terminal = Running::start(&arguments);
        terminal.until(|s| s.contains("WORKING OUT THE DRILL") && s.contains("single faults"));
        terminal.press(key);
        let (exit, bytes) = terminal.end();
        assert_eq!(exit, code);
        assert_given_back(&bytes);
    }
}

/// The same on a small system goes on to the drill by itself.
#[test]
fn a_drill_that_was_being_made_begins_by_itself() {
    let arguments = ["drill", "bench", "--seed", "7", "--reckon-with", "pairs"];
    let mut terminal = Running::start(&arguments);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(at_station);
    terminal.press("\u{3}");
    terminal.end();
}

/// Ctrl-Z gives the terminal to the shell; `fg` brings the drill back as it was.
#[test]
fn a_drill_is_suspended_and_goes_on() {
    for by_key in [true, false] {
        let mut terminal =
            Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
        terminal.until(at_write_up);
        terminal.press("\r");
        terminal.until(at_station);
        terminal.press("n");
        let before = terminal.until(|s| keys(s).contains("Esc back"));
        if by_key {
            terminal.press("\u{1a}");
        } else {
            terminal.signal("TSTP");
        }
        let start = Instant::now();
        let left = |terminal: &Running| {
            contains(&terminal.output.lock().expect("nobody panics with it").0, FROM_ALTERNATE)
        };
        // What it wrote last may still be on its way to the reader.
        while !terminal.is_stopped() || !left(&terminal) {
            assert!(start.elapsed() < PATIENCE, "it does not stop");
            std::thread::sleep(Duration::from_millis(20));
        }
        let bytes = terminal.output.lock().expect("nobody panics with it").0.clone();
        assert_given_back(&bytes);
        assert_eq!(settings(&*terminal.master), terminal.settings, "the shell's settings");
        terminal.signal("CONT");
        let after = terminal.until(|s| keys(s).contains("Esc back"));
        // A blank that was drawn and a cell never touched look the same.
        let seen = |s: &str| s.lines().map(|l| l.trim_end().to_owned()).collect::<Vec<_>>();
        assert_eq!(seen(&after), seen(&before));
        terminal.press("\u{1b}");
        terminal.until(at_station);
        terminal.press("\u{3}");
        let (code, bytes) = terminal.end();
        assert_eq!(code, 0);
        assert_given_back(&bytes);
    }
}

#[test]
fn a_wrong_call_is_told_to_the_shell() {
    let mut terminal =
        Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(at_station);
    terminal.press("c");
    terminal.until(|s| keys(s).contains("choose how it failed"));
    terminal.press("k-main\r");
    terminal.until(|s| s.contains("HOW HAS K-MAIN FAILED") && keys(s).contains("Enter call"));
    terminal.press("\r");
    terminal.until(|s| keys(s).contains("make the call"));
    terminal.press("\r");
    terminal.until(|s| s.contains("Wrong call") && keys(s).contains("Esc close"));
    terminal.press("q");
    assert_eq!(terminal.end().0, 1);
}

#[test]
fn the_menu_opens_and_q_gives_the_terminal_back() {
    let mut terminal = Running::start(&[]);
    terminal.until(|s| s.contains("SYSTEMS") && keys(s).contains("q quit"));
    terminal.press("q");
    let (code, bytes) = terminal.end();
    assert_eq!(code, 0);
    assert_given_back(&bytes);
}

#[test]
fn q_asks_in_a_drill_and_control_c_does_not() {
    let arguments = ["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"];
    for (pressed, asked) in [("q", true), ("\u{3}", false)] {
        let mut terminal = Running::start(&arguments);
        terminal.until(at_write_up);
        terminal.press("\r");
        terminal.until(at_station);
        terminal.press(pressed);
        if asked {
            terminal.until(|s| keys(s).contains("Enter leave"));
            terminal.press("\r");
        }
        let (code, bytes) = terminal.end();
        assert_eq!(code, 0);
        assert_given_back(&bytes);
    }
}

#[test]
fn the_screen_follows_the_size_of_the_terminal() {
    let mut terminal =
        Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(|s| s.contains("NOTEBOOK") && at_station(s));
    let small = PtySize { rows: 24, cols: 80, ..SIZE };
    terminal
        .output
        .lock()
        .expect("nobody panics with it")
        .1
        .screen_mut()
        .set_size(cells(24), cells(80));
    terminal.master.resize(small).expect("it can be resized");
    terminal.until(|screen| at_station(screen) && !screen.contains("NOTEBOOK"));
    terminal.press("\u{3}");
    terminal.end();
}

#[track_caller]
fn given_back_after(signal: &str, code: u32) {
    let mut terminal =
        Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(at_station);
    terminal.signal(signal);
    let (exit, bytes) = terminal.end();
    assert_eq!(exit, code);
    assert_given_back(&bytes);
}

#[test]
fn a_termination_signal_gives_the_terminal_back() {
    given_back_after("TERM", 128 + 15);
}

#[test]
fn a_hangup_gives_the_terminal_back() {
    given_back_after("HUP", 128 + 1);
}

/// The window is closed: the other end of the terminal is gone, standard error with it.
#[test]
fn a_closed_terminal_ends_the_program_quietly() {
    let pair = native_pty_system().openpty(SIZE).expect("a pseudo-terminal");
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_halfsplit"));
    command.args(["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
    command.env("TERM", "xterm-256color");
    command.env("XDG_DATA_HOME", crate::program::data_home());
    let mut child = pair.slave.spawn_command(command).expect("the binary starts");
    drop(pair.slave);
    let mut reader = pair.master.try_clone_reader().expect("a reader");
    let mut bytes = Vec::new();
    while !contains(&bytes, b"begin") {
        let mut more = [0; 4096];
        let count = reader.read(&mut more).expect("it draws");
        bytes.extend_from_slice(&more[..count]);
    }
    drop(reader);
    drop(pair.master);
    let start = Instant::now();
    let status = loop {
        if let Some(status) = child.try_wait().expect("it can be waited for") {
            break status;
        }
        assert!(start.elapsed() < PATIENCE, "it goes on without a terminal");
        std::thread::sleep(Duration::from_millis(20));
    };
    assert_eq!((status.exit_code(), status.signal()), (128 + 1, None));
}

/// Gives the answer that stands on the page, whatever it is, by keys or by mouse.
fn answer_anything(terminal: &mut Running, by_mouse: bool) {
    let asked = terminal.until(|s| keys(s).contains("Esc finish") && !keys(s).contains("go on"));
    let hints = keys(&asked);
    if hints.contains("mark all that are right") {
        terminal.press("a\r");
    } else if hints.contains("figures") {
        terminal.press("1\r");
    } else if hints.contains("show the model answer") {
        terminal.press("\r");
        terminal.until(|s| keys(s).contains("grade it so"));
        terminal.press("\r");
    } else if by_mouse {
        terminal.click("▸     a ");
    } else {
        terminal.press("c\r");
    }
    terminal.until(|s| keys(s).contains("Enter go on"));
}

/// Thirty questions by key and by mouse: every grade is in the logbook, and what is due after
/// them is what the published scheduling makes of them.
#[test]
fn an_oral_of_thirty_questions_is_kept_and_moves_what_is_due() {
    let home = crate::program::data_home();
    let home_text = home.to_str().expect("text").to_owned();
    let arguments = ["oral", "t4-dc", "--questions", "30", "--seed", "9"];
    let mut terminal = Running::start_with(&arguments, &[("XDG_DATA_HOME", &home_text)]);
    terminal.until(|s| s.contains("WHAT IS DUE") && keys(s).contains("Enter begin"));
    terminal.click("Enter begin");
    for number in 0..30 {
        let by_mouse = number % 2 > 0;
        let heading = format!("{} of 30", number + 1);
        terminal.until(|s| s.contains(&heading));
        answer_anything(&mut terminal, by_mouse);
        if by_mouse {
            terminal.click("Enter go on");
        } else {
            terminal.press("\r");
        }
    }
    let over = terminal.until(|s| s.contains(" of 30 right: ") && keys(s).contains("Enter close"));
    terminal.press("\r");
    let (code, bytes) = terminal.end();
    assert_eq!(code, 0);
    assert_given_back(&bytes);
    let store = Store::open(&home.join("halfsplit/logbook.sqlite3")).expect("it opens");
    let grades = store.grades().expect("they can be read");
    assert_eq!(grades.len(), 30);
    let right = grades.iter().filter(|grade| grade.rating > 1).count();
    assert!(over.contains(&format!("{right} of 30 right")), "{over}");
    let deck = Deck::of(grades.iter().map(|grade| {
        (grade.card.as_str(), grade.day, Rating::of(grade.rating).expect("a rating"))
    }));
    let today = grades[0].day;
    for grade in &grades {
        let memory = &deck.cards[&grade.card];
        // A new card stays in its first day, save one that was known at once: it comes after
        // the 8.2956 days of stability that FSRS-6 gives it (py-fsrs 6.3.1, default parameters).
        let days = if grade.rating == 4 { 8 } else { 0 };
        assert_eq!(memory.due_day - today, days, "{grade:?}");
    }
    let due = deck.due(today).len();
    assert!(over.contains(&format!("{due} cards due today")), "{over}");
}

/// Killed in the middle of an oral: every grade that had been acknowledged is there.
#[test]
fn an_oral_that_is_killed_loses_no_grade() {
    let home = crate::program::data_home();
    let home_text = home.to_str().expect("text").to_owned();
    let arguments = ["oral", "t4-ac", "--questions", "12", "--seed", "4"];
    let mut terminal = Running::start_with(&arguments, &[("XDG_DATA_HOME", &home_text)]);
    terminal.until(|s| keys(s).contains("Enter begin"));
    terminal.press("\r");
    for number in 0..7 {
        let heading = format!("{} of 12", number + 1);
        terminal.until(|s| s.contains(&heading));
        answer_anything(&mut terminal, false);
        if number < 6 {
            terminal.press("\r");
        }
    }
    terminal.signal("KILL");
    let path = home.join("halfsplit/logbook.sqlite3");
    let store = Store::open(&path).expect("it opens");
    assert_eq!(store.grades().expect("they can be read").len(), 7);
    assert_eq!(store.damage().expect("it can be looked at"), None);
}

/// A drill that is left half way stands where it stood: from the menu, from the logbook's list
/// in it, and by its verb.
#[test]
fn a_drill_left_half_way_goes_on_where_it_stood() {
    let home = crate::program::data_home();
    let home = home.to_str().expect("text").to_owned();
    let environment = [("XDG_DATA_HOME", home.as_str())];
    let mut terminal = Running::start_with(&["drill", "t4-ac/rack-lights"], &environment);
    terminal.until(at_write_up);
    terminal.press("\r");
    terminal.until(at_station);
    terminal.press("g");
    terminal.until(|s| s.contains("GO TO"));
    terminal.press("relay\r");
    let there = terminal.until(|s| at_cautions(s) || s.contains("CAUTIONS:"));
    assert!(there.contains("RELAY"), "{there}");
    terminal.press("\r");
    let left = terminal.until(at_station);
    let minutes = |screen: &str| {
        let head = screen.lines().next().unwrap_or_default();
        head.rsplit('·').next().unwrap_or_default().trim_matches([' ', '─']).to_owned()
    };
    let spent = minutes(&left);
    assert!(spent.ends_with("min") && spent != "0 min", "{spent}");
    terminal.press("q");
    terminal.until(|s| s.contains("it can go on from there") && keys(s).contains("Enter leave"));
    terminal.press("\r");
    terminal.end();

    let stands = |terminal: &Running| {
        let screen = terminal.until(at_station);
        assert!(screen.starts_with(" RELAY") && minutes(&screen) == spent, "{spent}:\n{screen}");
    };
    let mut terminal = Running::start_with(&[], &environment);
    terminal.until(|s| s.contains("Go on where you stopped"));
    terminal.press("\u{1b}[B\r");
    stands(&terminal);
    terminal.press("q");
    terminal.until(|s| keys(s).contains("Enter leave"));
    terminal.press("\r");
    terminal.until(|s| s.contains("SYSTEMS"));
    terminal.press("\u{1b}[F");
    terminal.until(|s| s.contains("▸ Logbook"));
    terminal.press("\r");
    terminal.until(|s| s.contains("no call yet") && keys(s).contains("Enter open it"));
    terminal.press("\r");
    stands(&terminal);
    terminal.press("\u{3}");
    assert_eq!(terminal.end().0, 0);

    let mut terminal = Running::start_with(&["resume"], &environment);
    stands(&terminal);
    terminal.press("\u{3}");
    assert_eq!(terminal.end().0, 0);
}

/// A drill that is over is gone through step by step, forwards and backwards, with what was
/// still possible by name.
#[test]
fn a_drill_that_is_over_is_gone_through_step_by_step() {
    let home = crate::program::data_home();
    let home = home.to_str().expect("text").to_owned();
    let environment = [("XDG_DATA_HOME", home.as_str())];
    let worked = "set VSEL FLT C\ngo fuses\npull F-FLT-C\ncall F-FLT-C:open\n";
    let mut child = std::process::Command::new(env!("CARGO_BIN_EXE_halfsplit"))
        .args(["drill", "t4-ac", "--fault", "F-FLT-C:open", "--seed", "4", "--plain"])
        .env("XDG_DATA_HOME", &home)
        .stdin(std::process::Stdio::piped())
        .stdout(std::process::Stdio::null())
        .spawn()
        .expect("it starts");
    child.stdin.take().expect("a pipe").write_all(worked.as_bytes()).expect("it reads");
    assert!(child.wait().expect("it ends").success());

    let mut terminal = Running::start_with(&["replay", "1"], &environment);
    let at = |number: usize| {
        move |screen: &str| screen.contains(&format!("Step {number}:")) && screen.contains("Left: ")
    };
    terminal.until(at(1));
    terminal.press("\u{1b}[B");
    terminal.until(at(2));
    terminal.press("\u{1b}[B");
    let last = terminal.until(at(3));
    assert!(last.contains("Left: 1 fault in 1 repair group: F-FLT-C:open"), "{last}");
    terminal.press("\u{1b}[A\u{1b}[A");
    let first = terminal.until(at(1));
    assert!(!first.contains("Left: 1 fault in"), "{first}");
    terminal.press("q");
    let (code, bytes) = terminal.end();
    assert_eq!(code, 0);
    assert_given_back(&bytes);
}

/// A terminal on the bench circuit with the switch in focus, its logbook in this folder.
fn at_the_switch(home: &str) -> Running {
    let arguments = ["drill", "bench", "--seed", "1", "--fault", "S1:open-ON"];
    let mut terminal = Running::start_with(&arguments, &[("XDG_DATA_HOME", home)]);
    terminal.until(at_write_up);
    terminal.press("\r");
    let mut screen = terminal.until(at_station);
    for _ in 0..10 {
        if screen.contains("Enter throw it") {
            break;
        }
        terminal.press("\t");
        let before = screen;
        screen = terminal.until(|s| s != before);
    }
    assert!(screen.contains("Enter throw it"), "{screen}");
    terminal
}

fn heading(screen: &str) -> &str {
    screen.lines().next().unwrap_or_default()
}

fn moves_kept(path: &std::path::Path) -> usize {
    let store = Store::open(path).expect("it opens");
    let all = store.attempts(&Filter::default()).expect("they can be read");
    all.first().map_or(0, |kept| kept.attempt.moves.len())
}

/// Another program writes in the logbook: the screen does not stand still for it, says that
/// nothing is kept, and takes that back by itself when everything is. What is done last is kept
/// even when the screen is left before.
#[test]
fn a_logbook_that_is_locked_holds_nobody_up() {
    let home = crate::program::data_home();
    let path = home.join("halfsplit/logbook.sqlite3");
    drop(Store::open(&path).expect("it opens"));
    let other = rusqlite::Connection::open(&path).expect("a file");
    let lock = || other.execute_batch("BEGIN IMMEDIATE").expect("nobody else writes");
    let free = || other.execute_batch("ROLLBACK").expect("it was locked");
    let mut terminal = at_the_switch(home.to_str().expect("text"));
    let not_kept = |s: &str| s.contains("Not kept: ") && s.contains("is being used by another");
    lock();
    let begun = Instant::now();
    for _ in 0..3 {
        terminal.press("\r");
    }
    terminal.until(not_kept);
    // Three moves with the patience of the plain lines would take half a minute.
    assert!(begun.elapsed() < Duration::from_secs(8), "{:?}", begun.elapsed());
    terminal.press("q");
    terminal.until(|s| s.contains("Not all of it is in the logbook"));
    terminal.press("\u{1b}");
    // What has been said of it is gone with the next key, and the heading still tells.
    terminal.until(|s| at_station(s) && heading(s).contains("NOT KEPT"));
    assert_eq!(moves_kept(&path), 0);
    free();
    let start = Instant::now();
    while moves_kept(&path) < 3 {
        assert!(start.elapsed() < PATIENCE, "it is never kept");
        std::thread::sleep(Duration::from_millis(50));
    }
    terminal.until(|s| at_station(s) && !heading(s).contains("NOT KEPT"));
    lock();
    terminal.press("\r");
    terminal.until(|s| not_kept(s) && heading(s).contains("NOT KEPT"));
    free();
    // Nobody presses a key: both are taken back by themselves.
    terminal.until(|s| at_station(s) && !s.contains("Not kept: "));
    assert!(!heading(&terminal.screen()).contains("NOT KEPT"));
    assert_eq!(moves_kept(&path), 4);
    lock();
    terminal.press("\r");
    terminal.until(not_kept);
    terminal.press("\u{3}");
    std::thread::sleep(Duration::from_millis(500));
    free();
    assert_eq!(terminal.end().0, 0);
    assert_eq!(moves_kept(&path), 5);
}

/// A file of keys that is broken, too long or says what cannot be is told of before the screen is
/// taken.
#[test]
fn keys_that_cannot_be_are_told_before_the_screen_opens() {
    let long = format!("{{\"advice\": \"v\"}}{}", " ".repeat(70_000));
    let files = [
        ("{\"advice\": ", "keys.ron:1:"),
        ("{\"advice\": \"v\", \"\u{1b}[31m\": \"x\"}", "keys.ron: "),
        (long.as_str(), "it is longer than 65536 bytes"),
    ];
    for (text, told) in files {
        let home = crate::program::data_home();
        std::fs::create_dir_all(home.join("halfsplit")).expect("a folder");
        std::fs::write(home.join("halfsplit/keys.ron"), text).expect("a file");
        let home = home.to_str().expect("text");
        let terminal =
            Running::start_with(&["drill", "bench", "--no-log"], &[("XDG_CONFIG_HOME", home)]);
        let (code, bytes) = terminal.end();
        let said = String::from_utf8_lossy(&bytes).replace("\r\n", "\n");
        assert_eq!(code, 2, "{said}");
        assert!(said.replace('\n', "").contains(told), "{said}");
        assert!(!contains(&bytes, b"\x1b"), "the terminal is left alone: {said:?}");
    }
}

/// Stopped by a signal that nobody hears, while the shell takes the terminal: when it goes on the
/// screen is drawn whole, and the terminal is as a full screen wants it.
#[test]
fn a_drill_that_was_stopped_unheard_is_drawn_whole() {
    let mut terminal =
        Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
    terminal.until(at_write_up);
    terminal.press("\r");
    let before = terminal.until(at_station);
    let ours = settings(&*terminal.master);
    assert_ne!(ours, terminal.settings);
    terminal.signal("STOP");
    let start = Instant::now();
    while !terminal.is_stopped() {
        assert!(start.elapsed() < PATIENCE, "it does not stop");
        std::thread::sleep(Duration::from_millis(20));
    }
    // The shell has a terminal with its own settings, and writes on it.
    let name = terminal.master.tty_name().expect("it has a name");
    let name = name.to_str().expect("text");
    let sane = std::process::Command::new("stty").args(["-F", name, "sane"]).status();
    assert!(sane.expect("stty runs").success());
    assert_ne!(settings(&*terminal.master), ours);
    let written = {
        let mut output = terminal.output.lock().expect("nobody panics with it");
        output.1.process(b"\x1b[?1049l\x1b[?1000l\x1b[?25h\x1b[2J\x1b[H$ something else");
        output.0.len()
    };
    terminal.signal("CONT");
    let after = terminal.until(at_station);
    let seen = |s: &str| s.lines().map(|l| l.trim_end().to_owned()).collect::<Vec<_>>();
    assert_eq!(seen(&after), seen(&before));
    assert_eq!(settings(&*terminal.master), ours);
    {
        let output = terminal.output.lock().expect("nobody panics with it");
        assert!(output.1.screen().alternate_screen() && output.1.screen().hide_cursor());
        assert!(contains(&output.0[written..], b"\x1b[?1000h"), "the mouse is ours again");
    }
    terminal.press("n");
    terminal.until(|s| keys(s).contains("Esc back"));
    terminal.press("\u{3}");
    let id = terminal.child.process_id();
    let status = terminal.child.wait().expect("it ends");
    assert_eq!(status.exit_code(), 0, "{id:?}");
    let bytes = terminal.output.lock().expect("nobody panics with it").0.clone();
    assert!(contains(&bytes[bytes.len().saturating_sub(200)..], FROM_ALTERNATE));
}

/// A window of five thousand columns and three thousand rows is drawn as far as anybody sees, and
/// takes no gigabytes.
#[test]
fn a_huge_window_takes_little() {
    let mut terminal =
        Running::start(&["drill", "t4-ac", "--seed", "7", "--fault", "F-FLT-C:open"]);
    terminal.until(at_write_up);
    let huge = PtySize { rows: 3000, cols: 5000, ..SIZE };
    terminal.master.resize(huge).expect("it can be resized");
    let start = Instant::now();
    let drawn = |terminal: &Running, at: &[u8]| {
        contains(&terminal.output.lock().expect("nobody panics with it").0, at)
    };
    // The keys stand in the last row that is drawn.
    while !drawn(&terminal, b"\x1b[400;") {
        assert!(start.elapsed() < PATIENCE, "it is never drawn");
        std::thread::sleep(Duration::from_millis(50));
    }
    assert!(!drawn(&terminal, b"\x1b[3000;"));
    let id = terminal.child.process_id().expect("it runs");
    let status = std::fs::read_to_string(format!("/proc/{id}/status")).expect("it runs");
    let most = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).expect("a figure");
    let kilobytes: u64 = most.trim().trim_end_matches(" kB").parse().expect("a figure");
    assert!(kilobytes < 400_000, "{kilobytes} kB");
    terminal.press("\u{3}");
    assert_eq!(terminal.end().0, 0);
}

/// A drill that takes long to make says so on the screen.
#[test]
fn a_long_start_is_told_on_the_screen() {
    let path = crate::edges::many_lamps(250);
    let terminal = Running::start(&["drill", path.to_str().expect("text"), "--seed", "1"]);
    let mut terminal = terminal;
    terminal.until(at_write_up);
    let bytes = terminal.output.lock().expect("nobody panics with it").0.clone();
    assert!(contains(&bytes, b"WORKING"), "the page that tells what is being worked out");
    terminal.press("\u{3}");
    assert_eq!(terminal.end().0, 0);
}
