//! `halfsplit new`: a folder with a small system that works.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use anyhow::{Context, Result, bail};

use super::{Ended, args, whole_file};
use crate::library;

/// The files of a new system; `@NAME@` and `@TITLE@` stand for its own.
const FILES: [(&str, &str); 3] = [
    ("system.ron", include_str!("../../assets/new/system.ron")),
    ("drills.ron", include_str!("../../assets/new/drills.ron")),
    ("README.md", include_str!("../../assets/new/README.md")),
];

/// Longest name of a new system, in characters.
const NAME_CHARS: usize = 40;

/// Lays down the folder. What is there already is left alone.
pub(super) fn run(arguments: &args::New) -> Result<Ended> {
    let name = arguments.name.as_str();
    let good = |c: char| c.is_ascii_alphanumeric() || c == '-';
    if name.is_empty() || name.starts_with('-') || !name.chars().all(good) {
        bail!(
            "a system's name is of letters, digits and hyphens, so that it can be typed: `{name}` \
             is not"
        );
    }
    if name.len() > NAME_CHARS {
        bail!("a system's name has {NAME_CHARS} characters at most");
    }
    if library::embedded(name).is_some() {
        bail!("`{name}` is a system that comes with the program; take another name");
    }
    let folder = Path::new(name);
    let title = name.replace('-', " ").to_uppercase();
    // The folder is made or refused in one step, whoever else is making one.
    match fs::create_dir(folder) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {
            bail!("`{name}` is there already; nothing was written");
        }
        made => made.with_context(|| format!("the folder `{name}` cannot be made"))?,
    }
    let written = FILES.iter().try_for_each(|(file, text)| {
        let text = text.replace("@NAME@", name).replace("@TITLE@", &title);
        whole_file::write(&folder.join(file), &text)
    });
    if written.is_err() {
        // Nothing half-written stays behind; that clearing away failed too is not worth telling.
        let _ = fs::remove_dir_all(folder);
    }
    written?;
    let mut out = std::io::stdout().lock();
    writeln!(out, "{name}: {}", FILES.map(|(file, _)| file).join(", "))?;
    writeln!(out, "Next: halfsplit check {name} --watch, and an editor beside it.")?;
    Ok(Ended::Well)
}
