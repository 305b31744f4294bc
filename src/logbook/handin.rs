//! Handing attempts in: one file of JSON lines, and whether what is in it is what was done.
//!
//! The first line is a [`Header`], every further one a [`Sheet`]: an attempt, and a signature
//! where the trainee's program has a key. A file is read line by line, so that its size does
//! not matter; a line has a limit.

use std::collections::BTreeMap;
use std::io::{BufRead, Read, Write};
use std::sync::{Mutex, PoisonError};

use base64::Engine;
use base64::engine::general_purpose::STANDARD as BASE64;
use ed25519_dalek::{Signature, Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use thiserror::Error;

use super::{Attempt, Difference, Ground, Recipe, RecipeError, Replayed, digest, hash_of};
use crate::diagnostic::{plain, shortened};
use crate::drill::{Baselines, Session};
use crate::library;
use crate::score::Beginnings;

/// The version of the format.
pub const VERSION: u32 = 1;

/// Bytes in the longest line that is read: far above any attempt.
pub const LINE_LIMIT: u64 = 8 << 20;

/// Letters of a value that are told where it is not what it should be.
const TOLD: usize = 160;

/// Letters that tell why a drill cannot be made.
const WHY_TOLD: usize = 400;

/// Moves of the longest attempt that is done again: far more than any trainee makes, and few
/// enough that what is known after each can be held at once.
pub const MOVES_LIMIT: usize = 1000;

/// Letters of the longest name.
pub const NAME_LIMIT: usize = 80;

/// The first line of a file.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Header {
    /// The version of the format.
    pub halfsplit_handin: u32,
    /// The trainee's name or number.
    pub trainee: String,
    /// When the file was written, as RFC 3339 text in UTC.
    pub made: String,
    /// The key that the attempts are signed with: an Ed25519 public key (RFC 8032) as base64.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub key: Option<String>,
}

/// Any further line of a file.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Sheet {
    /// The attempt.
    pub attempt: Attempt,
    /// Its signature: Ed25519 (RFC 8032) as base64.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub signature: Option<String>,
}

/// Why a file cannot be read on.
#[derive(Debug, Error)]
pub enum HandinError {
    /// It cannot be read at all.
    #[error("{0}")]
    Read(#[from] std::io::Error),
    /// A line is longer than any attempt.
    #[error("line {0}: over {LINE_LIMIT} bytes long; an attempt is far shorter")]
    Long(u64),
    /// A line is not what it should be: its number, the column, and why.
    #[error("line {0}, column {1}: {2}")]
    Line(u64, usize, String),
}

/// What an attempt is signed with: the name, how many moves there are, and what they come to.
fn signed_text(trainee: &str, attempt: &Attempt) -> String {
    format!("halfsplit hand-in 1\n{trainee}\n{}\n{}", attempt.moves.len(), attempt.last_seal())
}

/// A name as it may stand in a file: without control characters, and not too long.
///
/// # Errors
/// In words, when nothing is left of it.
pub fn name_of(typed: &str) -> Result<String, String> {
    let name: String = typed.chars().filter(|c| !c.is_control()).collect();
    let name = name.trim();
    if name.is_empty() {
        return Err("a name has at least one letter or digit".to_owned());
    }
    if name.chars().count() > NAME_LIMIT {
        return Err(format!("a name has {NAME_LIMIT} letters at most"));
    }
    Ok(name.to_owned())
}

/// Writes a file.
///
/// # Errors
/// When it cannot be written.
pub fn write(
    mut out: impl Write,
    (trainee, made): (&str, &str),
    attempts: &[Attempt],
    key: Option<&SigningKey>,
) -> std::io::Result<()> {
    let header = Header {
        halfsplit_handin: VERSION,
        trainee: trainee.to_owned(),
        made: made.to_owned(),
        key: key.map(|key| BASE64.encode(key.verifying_key().as_bytes())),
    };
    writeln!(out, "{}", serde_json::to_string(&header)?)?;
    for attempt in attempts {
        let signature = key.map(|key| {
            BASE64.encode(key.sign(signed_text(trainee, attempt).as_bytes()).to_bytes())
        });
        let sheet = Sheet { attempt: attempt.clone(), signature };
        writeln!(out, "{}", serde_json::to_string(&sheet)?)?;
    }
    Ok(())
}

/// A file that is being read.
#[derive(Debug)]
pub struct Reader<R> {
    input: R,
    line: u64,
    bytes: u64,
    /// Its first line.
    pub header: Header,
}

impl<R: BufRead> Reader<R> {
    /// Reads the first line.
    ///
    /// # Errors
    /// [`HandinError`] when it is none of such a file.
    pub fn new(mut input: R) -> Result<Self, HandinError> {
        let mut bytes = 0;
        let text = next_line(&mut input, 1, &mut bytes)?.unwrap_or_default();
        let mut header: Header = parsed(&text, 1)?;
        if header.halfsplit_handin > VERSION {
            let found = header.halfsplit_handin;
            let words = format!("version {found} of the format; this program knows {VERSION}");
            return Err(HandinError::Line(1, 1, words));
        }
        header.trainee = name_of(&header.trainee).map_err(|why| HandinError::Line(1, 1, why))?;
        Ok(Self { input, line: 1, bytes, header })
    }

    /// How much of the file has been read.
    pub fn bytes(&self) -> u64 {
        self.bytes
    }

    /// Reads the next attempt with the number of its line; `None` at the end of the file.
    ///
    /// # Errors
    /// [`HandinError`] when the line is no attempt. After a line that was too long there is
    /// nothing more to read; after any other one may go on.
    pub fn next_sheet(&mut self) -> Result<Option<(u64, Sheet)>, HandinError> {
        loop {
            let next = next_line(&mut self.input, self.line + 1, &mut self.bytes)?;
            let Some(text) = next else { return Ok(None) };
            self.line += 1;
            if !text.trim().is_empty() {
                return parsed(&text, self.line).map(|sheet| Some((self.line, sheet)));
            }
        }
    }
}

/// Reads one attempt by itself, from where its line begins.
///
/// # Errors
/// [`HandinError`] when no attempt begins there; it is said of this line.
pub fn sheet_at(mut input: impl BufRead, line: u64) -> Result<Sheet, HandinError> {
    let text = next_line(&mut input, line, &mut 0)?.unwrap_or_default();
    parsed(&text, line)
}

/// Reads a line, and adds its length to `so_far`.
fn next_line(
    input: &mut impl BufRead,
    number: u64,
    so_far: &mut u64,
) -> Result<Option<String>, HandinError> {
    let mut bytes = Vec::new();
    let read = input.by_ref().take(LINE_LIMIT).read_until(b'\n', &mut bytes)?;
    *so_far += read as u64;
    if read as u64 == LINE_LIMIT && bytes.last() != Some(&b'\n') {
        return Err(HandinError::Long(number));
    }
    match String::from_utf8(bytes) {
        Ok(_) if read == 0 => Ok(None),
        Ok(text) => Ok(Some(text)),
        Err(error) => {
            let at = error.utf8_error().valid_up_to() + 1;
            Err(HandinError::Line(number, at, "it is not text in UTF-8".to_owned()))
        }
    }
}

fn parsed<'a, T: Deserialize<'a>>(text: &'a str, line: u64) -> Result<T, HandinError> {
    serde_json::from_str(text).map_err(|error| {
        let words = error.to_string();
        let words = words.rsplit_once(" at line ").map_or(words.as_str(), |(before, _)| before);
        let what = if line == 1 { "no beginning of a hand-in" } else { "no attempt" };
        HandinError::Line(
            line,
            error.column(),
            format!("{what}: {}", shortened(&plain(words), TOLD)),
        )
    })
}

/// What is found of an attempt that was handed in.
#[derive(Debug)]
pub enum Verdict {
    /// Done again, everything shows what was handed in. Notes say what is otherwise and makes
    /// no difference.
    Reproduced(Box<Replayed>, Vec<String>),
    /// It differs; where first.
    Differs(Difference),
    /// The signature does not fit the name, the key and the attempt.
    BadSignature(String),
    /// It cannot be done again.
    CannotBeDone(String),
}

impl Verdict {
    /// In words, a line.
    pub fn told(&self) -> String {
        match self {
            Self::Reproduced(_, notes) if notes.is_empty() => "reproduced".to_owned(),
            Self::Reproduced(_, notes) => format!("reproduced ({})", notes.join("; ")),
            Self::Differs(difference) => format!("differs: {}", difference.told()),
            Self::BadSignature(why) => format!("signature: {why}"),
            Self::CannotBeDone(why) => format!("cannot be done again: {why}"),
        }
    }
}

/// Where systems are looked for that do not come along: files and folders that the instructor
/// names. Those that a hand-in names are never opened.
#[derive(Debug, Default)]
pub struct Systems {
    known: Vec<(String, String)>,
    /// What has been read already, by the name of its build: as many as the known systems have.
    read: Mutex<BTreeMap<String, Ground>>,
    /// What drills on the same aircraft share.
    baselines: Baselines,
    /// How drills begin that have been worked out already.
    pub(super) beginnings: Beginnings,
}

impl Systems {
    /// Those that come along.
    pub fn default_systems() -> Self {
        Self::with(&[]).unwrap_or_default()
    }

    /// Those that come along, and these.
    ///
    /// # Errors
    /// [`library::LoadError`] when one of these cannot be read.
    pub fn with(more: &[String]) -> Result<Self, library::LoadError> {
        let names =
            library::NAMES.iter().map(|name| (*name).to_owned()).chain(more.iter().cloned());
        let known = names
            .map(|name| hash_of(&name).map(|hash| (name, hash)))
            .collect::<Result<Vec<_>, _>>()?;
        Ok(Self { known, ..Self::default() })
    }

    /// What the systems come to that attempts may be of.
    pub fn ground(&self) -> String {
        let known: Vec<&str> =
            self.known.iter().flat_map(|(name, hash)| [name.as_str(), hash.as_str()]).collect();
        digest(&known)
    }

    /// Makes the drill of a recipe whose system is a known one.
    fn begin(&self, recipe: &Recipe) -> Result<Session, RecipeError> {
        let read = || self.read.lock().unwrap_or_else(PoisonError::into_inner);
        let known = read().get(&recipe.build()).cloned();
        let ground = match known {
            Some(ground) => ground,
            None => read().entry(recipe.build()).or_insert(recipe.ground()?).clone(),
        };
        recipe.begin_from(&ground, &self.baselines)
    }

    /// The recipe with its system as it is found here, and what is to be noted of that.
    fn find(&self, recipe: &Recipe) -> Result<(Recipe, Vec<String>), String> {
        let same_hash = self.known.iter().find(|(_, hash)| *hash == recipe.system_hash);
        let same_name = self.known.iter().find(|(name, _)| *name == recipe.system);
        let mut notes = Vec::new();
        let mut found = recipe.clone();
        match (same_hash, same_name) {
            (Some((name, _)), _) => found.system.clone_from(name),
            (None, Some(_)) => {
                let system = shortened(&plain(&recipe.system), TOLD);
                notes.push(format!("worked on another version of `{system}`"));
            }
            (None, None) => {
                return Err(format!(
                    "`{}` does not come with this program; name its file with --with FILE",
                    shortened(&plain(&recipe.system), TOLD)
                ));
            }
        }
        if recipe.program != env!("CARGO_PKG_VERSION") {
            let program = shortened(&plain(&recipe.program), TOLD);
            notes.push(format!("worked with version {program}"));
        }
        Ok((found, notes))
    }
}

/// Whether a signature fits; in words why not.
fn signature_fits(header: &Header, sheet: &Sheet) -> Result<(), String> {
    let (Some(key), Some(signature)) = (&header.key, &sheet.signature) else {
        return match (&header.key, &sheet.signature) {
            (None, None) => Ok(()),
            (Some(_), None) => Err("the file is signed and this attempt is not".to_owned()),
            _ => Err("there is one, and no key to check it with".to_owned()),
        };
    };
    let key = BASE64.decode(key).ok().and_then(|bytes| <[u8; 32]>::try_from(bytes).ok());
    let key = key.and_then(|bytes| VerifyingKey::from_bytes(&bytes).ok());
    let key = key.ok_or("the key is damaged")?;
    let bytes = BASE64.decode(signature).ok().and_then(|bytes| <[u8; 64]>::try_from(bytes).ok());
    let signature = Signature::from_bytes(&bytes.ok_or("it is damaged")?);
    let text = signed_text(&header.trainee, &sheet.attempt);
    key.verify_strict(text.as_bytes(), &signature)
        .map_err(|_| "it does not fit: another name, key or attempt was signed".to_owned())
}

/// A time that cannot be: no time at all, before the one ahead of it, or after the hand-in was
/// made. Times of this form (RFC 3339, UTC, whole seconds) sort as texts do.
fn impossible_time(header: &Header, attempt: &Attempt) -> Option<String> {
    let is_time = |text: &str| {
        let form = "dddd-dd-ddTdd:dd:ddZ";
        text.len() == form.len()
            && text.chars().zip(form.chars()).all(|(letter, wanted)| match wanted {
                'd' => letter.is_ascii_digit(),
                _ => letter == wanted,
            })
    };
    let mut before = attempt.begun.as_str();
    let moves = attempt.moves.iter().map(|done| done.at.as_str());
    for at in std::iter::once(before).chain(moves).chain([header.made.as_str()]) {
        if !is_time(at) {
            return Some(format!("`{}` is no time", shortened(&plain(at), TOLD)));
        }
        if at < before {
            return Some(format!("{at} comes after {before}"));
        }
        before = at;
    }
    None
}

/// Does an attempt again and says what is found. An edit is named before a signature, since it
/// says more.
pub fn judge(header: &Header, sheet: &Sheet, systems: &Systems) -> Verdict {
    let attempt = &sheet.attempt;
    let (recipe, notes) = match systems.find(&attempt.recipe) {
        Ok(found) => found,
        Err(why) => return Verdict::CannotBeDone(why),
    };
    if attempt.moves.len() > MOVES_LIMIT {
        let moves = attempt.moves.len();
        return Verdict::CannotBeDone(format!(
            "{moves} moves: a drill takes {MOVES_LIMIT} at most"
        ));
    }
    if let Some(edit) = attempt.first_edit() {
        return Verdict::Differs(edit);
    }
    if let Some(why) = impossible_time(header, attempt) {
        return Verdict::CannotBeDone(why);
    }
    if let Err(why) = signature_fits(header, sheet) {
        return Verdict::BadSignature(why);
    }
    let session = match systems.begin(&recipe) {
        Ok(session) => session,
        Err(error) => {
            return Verdict::CannotBeDone(shortened(&error.to_string(), WHY_TOLD));
        }
    };
    let replayed = attempt.replay_in(session, recipe.build());
    match replayed.difference.clone() {
        None => Verdict::Reproduced(Box::new(replayed), notes),
        Some(difference) => Verdict::Differs(difference),
    }
}
