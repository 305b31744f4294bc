//! Waits until a file is saved.
//!
//! Looks at the files a few times a second. That is enough for a person who has just saved
//! one, it is the same on every file system, and it needs no crate.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::{Duration, SystemTime};

/// How often the files are looked at.
const EVERY: Duration = Duration::from_millis(200);

/// When a file was written, and its size; `None` while it is not there.
type Stamp = Option<(SystemTime, u64)>;

/// Files that somebody may be working on.
#[derive(Debug)]
pub(super) struct Watch {
    files: BTreeMap<PathBuf, Stamp>,
}

impl Watch {
    pub(super) fn new(files: impl IntoIterator<Item = PathBuf>) -> Self {
        let files = files.into_iter().map(|path| (path.clone(), stamp(&path)));
        Self { files: files.collect() }
    }

    /// Looks at these files too from now on.
    pub(super) fn also(&mut self, files: impl IntoIterator<Item = PathBuf>) {
        for path in files {
            let now = stamp(&path);
            self.files.entry(path).or_insert(now);
        }
    }

    /// The first file that has changed since it was last asked for, if one has.
    pub(super) fn changed(&mut self) -> Option<PathBuf> {
        let mut first = None;
        for (path, known) in &mut self.files {
            let now = stamp(path);
            // An editor that saves by renaming has the file gone for a moment.
            if now.is_some() && now != *known {
                *known = now;
                first.get_or_insert_with(|| path.clone());
            }
        }
        first
    }

    /// Waits for the next change.
    pub(super) fn wait(&mut self) -> PathBuf {
        loop {
            if let Some(path) = self.changed() {
                return path;
            }
            std::thread::sleep(EVERY);
        }
    }
}

fn stamp(path: &PathBuf) -> Stamp {
    let metadata = std::fs::metadata(path).ok()?;
    Some((metadata.modified().ok()?, metadata.len()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_saved_file_is_told_once() {
        let folder = tempfile::tempdir().unwrap();
        let (path, late) = (folder.path().join("a.ron"), folder.path().join("b.ron"));
        std::fs::write(&path, "one").unwrap();
        let mut watch = Watch::new([path.clone(), late.clone()]);
        assert_eq!(watch.changed(), None);
        std::fs::write(&path, "another").unwrap();
        assert_eq!(watch.changed(), Some(path.clone()));
        assert_eq!(watch.changed(), None);
        std::fs::remove_file(&path).unwrap();
        assert_eq!(watch.changed(), None);
        std::fs::write(&late, "new").unwrap();
        assert_eq!(watch.changed(), Some(late));
    }
}
