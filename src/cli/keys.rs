//! The keys that somebody has chosen, from a file in the folder for settings.

use std::collections::BTreeMap;
use std::path::PathBuf;

use anyhow::{Result, anyhow};

use super::whole_file;
use crate::screen::Keys;

/// Bytes of the file at most: there are two dozen keys.
const MOST_BYTES: u64 = 65_536;

/// Where chosen keys stand (XDG Base Directory Specification 0.8): `halfsplit/keys.ron` under
/// `$XDG_CONFIG_HOME`, or under `$HOME/.config` where that is not set or not absolute.
fn path(variable: impl Fn(&str) -> Option<String>) -> Option<PathBuf> {
    let absolute = |path: &PathBuf| path.is_absolute();
    let own = variable("XDG_CONFIG_HOME").map(PathBuf::from).filter(absolute);
    let home =
        || variable("HOME").map(PathBuf::from).filter(absolute).map(|home| home.join(".config"));
    Some(own.or_else(home)?.join("halfsplit").join("keys.ron"))
}

/// The keys: the usual ones, with those exchanged that the file names.
///
/// # Errors
/// When there is a file that cannot be read or says what cannot be.
pub(super) fn chosen() -> Result<Keys> {
    let Some(path) = path(|name| std::env::var(name).ok()) else { return Ok(Keys::default()) };
    if !path.try_exists().unwrap_or(true) {
        return Ok(Keys::default());
    }
    let text = whole_file::read(&path, MOST_BYTES)?;
    let choices: BTreeMap<String, String> = ron::from_str(&text).map_err(|error| {
        let (line, column) = (error.span.start.line, error.span.start.col);
        anyhow!(
            "{}:{line}:{column}: {}; write keys like {{\"advice\": \"v\", \"turn-on\": \"+\"}}",
            path.display(),
            error.code
        )
    })?;
    Keys::chosen(&choices).map_err(|why| anyhow!("{}: {why}", path.display()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_file_stands_where_settings_belong() {
        let with = |own: Option<&str>, home: Option<&str>| {
            path(|name| match name {
                "XDG_CONFIG_HOME" => own.map(str::to_owned),
                "HOME" => home.map(str::to_owned),
                _ => None,
            })
        };
        let at = |path: &str| Some(PathBuf::from(path));
        assert_eq!(with(Some("/x"), Some("/h")), at("/x/halfsplit/keys.ron"));
        assert_eq!(with(Some("x"), Some("/h")), at("/h/.config/halfsplit/keys.ron"));
        assert_eq!(with(None, Some("/h")), at("/h/.config/halfsplit/keys.ron"));
        assert_eq!(with(None, None), None);
    }
}
