//! Chance edits of the files that come along: none makes the reader panic or hang, and each
//! leaves a file that is clean or is answered with a place.
//!
//! `EDIT_SECONDS=600 cargo test --test integration edits -- --ignored --nocapture` goes on for
//! ten minutes, from `EDIT_SEED` on, and prints how many files it read.

use std::time::{Duration, Instant};

use halfsplit::library;
use halfsplit::scenario::read_drills;

use crate::bad_files::{Dice, ODD_TOKENS, read, tokens};

/// Longer than any file may take to be answered; a reader that hangs does not come back.
const LONGEST: Duration = Duration::from_secs(20);

/// One token removed, doubled, exchanged, or made something odd.
fn token_edit(text: &str, dice: &mut Dice) -> String {
    let tokens = tokens(text);
    let at = loop {
        let at = dice.roll(tokens.len());
        if !tokens[at].trim().is_empty() {
            break at;
        }
    };
    let mut edited = tokens.clone();
    match dice.roll(4) {
        0 => {
            edited.remove(at);
        }
        1 => edited.insert(at, tokens[at]),
        2 => edited[at] = tokens[dice.roll(tokens.len())],
        _ => edited[at] = ODD_TOKENS[dice.roll(ODD_TOKENS.len())],
    }
    edited.concat()
}

/// A few bytes changed, removed or put in; what is no text then is mended as a reader of text
/// would have it.
fn byte_edit(text: &str, dice: &mut Dice) -> String {
    let mut bytes = text.as_bytes().to_vec();
    for _ in 0..=dice.roll(4) {
        let at = dice.roll(bytes.len().max(1)).min(bytes.len().saturating_sub(1));
        match dice.roll(4) {
            0 => bytes[at] = dice.roll(256) as u8,
            1 => bytes[at] ^= 1 << dice.roll(8),
            2 => {
                let end = (at + 1 + dice.roll(20)).min(bytes.len());
                bytes.drain(at..end);
            }
            _ => {
                let end = (at + 1 + dice.roll(20)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                let to = dice.roll(bytes.len());
                bytes.splice(to..to, piece);
            }
        }
        if bytes.is_empty() {
            break;
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

/// Reads a system after an edit; whether anything was found.
fn system_after(name: &str, edit: fn(&str, &mut Dice) -> String, dice: &mut Dice) -> bool {
    let text = edit(library::embedded(name).expect("it comes along").text, dice);
    let start = Instant::now();
    let found = !read("edited", &text).is_empty();
    assert!(start.elapsed() < LONGEST, "{:?}: {text}", start.elapsed());
    found
}

/// The same for its drills.
fn drills_after(name: &str, edit: fn(&str, &mut Dice) -> String, dice: &mut Dice) -> bool {
    let text = edit(library::embedded(name).expect("it comes along").drills, dice);
    let start = Instant::now();
    let (_, findings) = read_drills("edited", &text);
    assert!(start.elapsed() < LONGEST, "{:?}: {text}", start.elapsed());
    for finding in &findings {
        assert!(finding.place.line > 0 && finding.place.column > 0, "{finding}\n{text}");
    }
    !findings.is_empty()
}

#[test]
fn a_token_edit_of_any_file_is_clean_or_answered() {
    let mut dice = Dice(6_022_140);
    let mut found = 0;
    for name in library::NAMES {
        for _ in 0..20 {
            found += usize::from(system_after(name, token_edit, &mut dice));
            found += usize::from(drills_after(name, token_edit, &mut dice));
            found += usize::from(drills_after(name, byte_edit, &mut dice));
        }
        found += usize::from(system_after(name, byte_edit, &mut dice));
    }
    assert!(found > 20 * library::NAMES.len(), "edits that change nothing: {found} found");
}

#[test]
#[ignore = "goes on for as long as EDIT_SECONDS says"]
fn edits_for_as_long_as_one_likes() {
    let number = |name: &str, usual: u64| {
        std::env::var(name).ok().and_then(|text| text.parse().ok()).unwrap_or(usual)
    };
    let until = Instant::now() + Duration::from_secs(number("EDIT_SECONDS", 60));
    let mut dice = Dice(number("EDIT_SEED", 1));
    let (mut systems, mut drills, mut found) = (0_u64, 0_u64, 0_u64);
    while Instant::now() < until {
        let name = library::NAMES[dice.roll(library::NAMES.len())];
        let edit = if dice.roll(2) == 0 { token_edit } else { byte_edit };
        if dice.roll(4) == 0 {
            drills += 1;
            found += u64::from(drills_after(name, edit, &mut dice));
        } else {
            systems += 1;
            found += u64::from(system_after(name, edit, &mut dice));
        }
    }
    println!("{systems} systems and {drills} files of drills read, {found} of them with findings");
}
