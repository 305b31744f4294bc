//! How long a person waits: from start to the first frame, from a key to its frame before
//! and after advice has been used, and until advice stands there; and what the program takes
//! of a processor while nothing is pressed. Measured on the real binary in a
//! pseudo-terminal, on the largest system that comes along.
//!
//! `cargo bench --bench frames` prints medians and 99th percentiles in milliseconds.

#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]

use std::io::{Read, Write};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use portable_pty::{CommandBuilder, PtySize, native_pty_system};

const STARTS: usize = 15;
const KEYS: usize = 300;
/// Pieces of advice that are asked for and followed.
const ADVICE: usize = 6;
/// How long the program is watched while nothing is pressed.
const IDLE: Duration = Duration::from_secs(10);
/// Columns and rows: those on which the most is drawn.
const SIZE: PtySize = PtySize { rows: 60, cols: 200, pixel_width: 0, pixel_height: 0 };

/// The running program: keys go in, what it draws comes out with its time.
struct Running {
    keys: Box<dyn Write + Send>,
    drawn: Receiver<(Instant, Vec<u8>)>,
    child: Box<dyn portable_pty::Child + Send + Sync>,
    _master: Box<dyn portable_pty::MasterPty + Send>,
}

fn start() -> Running {
    let pair = native_pty_system().openpty(SIZE).expect("a pseudo-terminal");
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_halfsplit"));
    command.args(["drill", "t4-ac", "--fault", "F-FLT-C:open", "--seed", "7"]);
    command.env("TERM", "xterm-256color");
    // Nothing of it goes into the logbook of whoever measures.
    command.env("XDG_DATA_HOME", concat!(env!("CARGO_TARGET_TMPDIR"), "/frames"));
    let child = pair.slave.spawn_command(command).expect("the binary starts");
    let mut reader = pair.master.try_clone_reader().expect("it can be read");
    let keys = pair.master.take_writer().expect("it can be written");
    let (sender, drawn) = channel();
    std::thread::spawn(move || {
        let mut buffer = vec![0; 65536];
        while let Ok(n @ 1..) = reader.read(&mut buffer) {
            if sender.send((Instant::now(), buffer[..n].to_vec())).is_err() {
                break;
            }
        }
    });
    Running { keys, drawn, child, _master: pair.master }
}

impl Running {
    /// Waits until nothing more is drawn for a while.
    fn settle(&self) {
        while self.drawn.recv_timeout(Duration::from_millis(120)).is_ok() {}
    }

    /// Milliseconds until the bytes drawn since contain `text`.
    fn until(&self, since: Instant, text: &str) -> f64 {
        let mut seen = String::new();
        loop {
            let (at, bytes) = self.drawn.recv_timeout(Duration::from_secs(10)).expect("it draws");
            seen.push_str(&String::from_utf8_lossy(&bytes));
            if seen.contains(text) {
                return at.duration_since(since).as_secs_f64() * 1e3;
            }
        }
    }

    /// Milliseconds from a key to the last byte of the frame it causes.
    fn key(&mut self, key: &[u8]) -> Option<f64> {
        let since = Instant::now();
        self.keys.write_all(key).expect("it takes keys");
        self.keys.flush().expect("it takes keys");
        let mut last = None;
        while let Ok((at, _)) = self.drawn.recv_timeout(Duration::from_millis(40)) {
            last = Some(at.duration_since(since).as_secs_f64() * 1e3);
        }
        last
    }
}

/// Nanoseconds that all threads of a process have had a processor: the first figure of
/// /proc/PID/task/*/schedstat (Linux, Documentation/scheduler/sched-stats.rst).
fn on_processor(process: u32) -> u64 {
    let threads = std::fs::read_dir(format!("/proc/{process}/task")).expect("it runs on Linux");
    let of = |thread: std::fs::DirEntry| {
        let text = std::fs::read_to_string(thread.path().join("schedstat")).ok()?;
        text.split_whitespace().next()?.parse::<u64>().ok()
    };
    threads.filter_map(Result::ok).filter_map(of).sum()
}

impl Running {
    /// Percent of one processor while nothing is pressed.
    fn idle(&self) -> f64 {
        self.settle();
        let process = self.child.process_id().expect("it runs");
        let (before, since) = (on_processor(process), Instant::now());
        std::thread::sleep(IDLE);
        let took = on_processor(process) - before;
        100.0 * took as f64 / since.elapsed().as_nanos() as f64
    }

    /// Milliseconds to every frame of a round of keys: moving the focus, turning the
    /// selector, opening and closing a list.
    fn round(&mut self) -> Vec<f64> {
        let keys: [&[u8]; 6] = [b"\t", b"\x1b[B", b"]", b"[", b"/", b"\x1b\x1b"];
        (0..KEYS).filter_map(|n| self.key(keys[n % keys.len()])).collect()
    }
}

fn report(what: &str, mut milliseconds: Vec<f64>) {
    milliseconds.sort_by(f64::total_cmp);
    let at = |fraction: f64| milliseconds[((milliseconds.len() - 1) as f64 * fraction) as usize];
    println!(
        "{what}: median {:.2} ms, 99th percentile {:.2} ms, largest {:.2} ms, of {}",
        at(0.5),
        at(0.99),
        at(1.0),
        milliseconds.len()
    );
}

fn main() {
    let first: Vec<f64> = (0..STARTS)
        .map(|_| {
            let since = Instant::now();
            let mut running = start();
            let took = running.until(since, "CREW");
            running.child.kill().expect("it ends");
            took
        })
        .collect();
    report("start to first frame", first);

    let mut running = start();
    running.settle();
    running.keys.write_all(b"\r").expect("it takes keys");
    running.settle();
    println!("idle at the station: {:.2} % of a processor", running.idle());
    let frames = running.round();
    report("key to frame", frames);
    // The first `a` names the price, the second takes the advice, Enter follows it; a page of
    // cautions may come up on the way.
    let mut advised = Vec::new();
    for _ in 0..ADVICE {
        running.keys.write_all(b"a").expect("it takes keys");
        running.settle();
        let since = Instant::now();
        running.keys.write_all(b"a").expect("it takes keys");
        advised.push(running.until(since, "asked for here"));
        running.settle();
        running.keys.write_all(b"\x1b").expect("it takes keys");
        running.settle();
        // A step in between, so that the next advice is another one.
        running.keys.write_all(b"]").expect("it takes keys");
        running.settle();
    }
    println!("first advice, the table made: {:.0} ms", advised[0]);
    report("advice after that", advised.split_off(1));
    let frames = running.round();
    report("key to frame, advice used", frames);
    println!("idle, advice used: {:.2} % of a processor", running.idle());
    running.child.kill().expect("it ends");
}
