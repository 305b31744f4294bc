//! How long a person waits: from start to the first frame, and from a key to its
//! frame, measured on the real binary in a pseudo-terminal.
//!
//! `cargo bench --bench frames` prints medians and 99th percentiles in milliseconds.

#![allow(clippy::print_stdout, reason = "a benchmark prints what it measured")]

use std::io::{Read, Write};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use portable_pty::{CommandBuilder, PtySize, native_pty_system};

const STARTS: usize = 15;
const KEYS: usize = 300;

/// The running program: keys go in, what it draws comes out with its time.
struct Running {
    keys: Box<dyn Write + Send>,
    drawn: Receiver<(Instant, Vec<u8>)>,
    child: Box<dyn portable_pty::Child + Send + Sync>,
    _master: Box<dyn portable_pty::MasterPty + Send>,
}

fn start() -> Running {
    let size = PtySize { rows: 48, cols: 160, pixel_width: 0, pixel_height: 0 };
    let pair = native_pty_system().openpty(size).expect("a pseudo-terminal");
    let mut command = CommandBuilder::new(env!("CARGO_BIN_EXE_halfsplit"));
    command.args(["drill", "t4-ac", "--fault", "F-FLT-C:open", "--seed", "7"]);
    command.env("TERM", "xterm-256color");
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
    // Moving the focus, turning the selector, opening and closing a list.
    let keys: [&[u8]; 6] = [b"\t", b"\x1b[B", b"]", b"[", b"/", b"\x1b\x1b"];
    let frames: Vec<f64> = (0..KEYS).filter_map(|n| running.key(keys[n % keys.len()])).collect();
    report("key to frame", frames);
    running.child.kill().expect("it ends");
}
