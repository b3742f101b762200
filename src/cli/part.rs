//! A file that appears under its name whole or not at all.
//!
//! Invariants: until it is settled it has a name of its own beside the one it is to have, and it is removed, with what
//! SQLite puts beside it, however the command ends short of being killed; it never takes the place of a file that is
//! there; once settled, it and its name are on the disk. Deliberately absent: what is written into it.

use std::ffi::OsString;
use std::fs::{self, File, OpenOptions};
use std::io::ErrorKind;
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::{Path, PathBuf};

use super::failure::Failure;

/// A file that is being written.
pub(super) struct Part {
    path: String,
    whole: PathBuf,
}

impl Part {
    /// Begins the file that is to be `whole`, an absolute path, with the permissions of `like`: what only its owner may read
    /// stays so in a copy.
    ///
    /// # Errors
    /// [`Failure::Failed`] when it cannot be made.
    pub(super) fn begin(whole: &Path, like: &Path) -> Result<Self, Failure> {
        let mode = fs::metadata(like)
            .map_err(|e| Failure::Failed(format!("{} cannot be read: {e}", like.display())))?
            .permissions()
            .mode();
        Self::with_mode(whole, mode & 0o777)
    }

    /// Begins the file that is to be `whole`, an absolute path, with the permissions that new files have.
    ///
    /// # Errors
    /// As [`Part::begin`].
    pub(super) fn begin_new(whole: &Path) -> Result<Self, Failure> {
        Self::with_mode(whole, 0o666)
    }

    fn with_mode(whole: &Path, mode: u32) -> Result<Self, Failure> {
        let cannot = |e: &dyn std::fmt::Display| {
            Failure::Failed(format!("{} cannot be made: {e}", whole.display()))
        };
        let path = with_ending(whole, &format!(".part-{}", std::process::id()));
        let path = path
            .into_os_string()
            .into_string()
            .map_err(|_| cannot(&"its path is not text in UTF-8"))?;
        let mut new = OpenOptions::new();
        new.write(true).create_new(true).mode(mode);
        new.open(&path).map_err(|e| cannot(&e))?;
        Ok(Self {
            path,
            whole: whole.to_owned(),
        })
    }

    /// Where it is being written.
    pub(super) fn path(&self) -> &str {
        &self.path
    }

    /// How long it is, in bytes.
    ///
    /// # Errors
    /// [`Failure::Failed`] when it has gone.
    pub(super) fn bytes(&self) -> Result<u64, Failure> {
        Ok(fs::metadata(&self.path)?.len())
    }

    /// Gives it its name, unless a file has it by now.
    ///
    /// # Errors
    /// [`Failure::Failed`] when the name is taken or the disk fails.
    pub(super) fn settle(self) -> Result<(), Failure> {
        let whole = self.whole.as_path();
        File::open(&self.path)?.sync_all()?;
        // A link never replaces a file. Where the file system has none, a rename after a look comes close.
        match fs::hard_link(&self.path, whole) {
            Ok(()) => fs::remove_file(&self.path)?,
            Err(e) if e.kind() == ErrorKind::AlreadyExists => return Err(taken(whole)),
            Err(_) if fs::symlink_metadata(whole).is_ok() => return Err(taken(whole)),
            Err(_) => fs::rename(&self.path, whole)?,
        }
        let folder = whole.parent().unwrap_or_else(|| Path::new("/"));
        Ok(File::open(folder)?.sync_all()?)
    }
}

impl Drop for Part {
    fn drop(&mut self) {
        for ending in ["", "-wal", "-shm", "-journal"] {
            // Most are not there, which is what is wanted.
            let _ = fs::remove_file(format!("{}{ending}", self.path));
        }
    }
}

/// That a file's name is taken.
pub(super) fn taken(path: &Path) -> Failure {
    Failure::Failed(format!(
        "{} is there already, and is left as it is: choose another name",
        path.display()
    ))
}

/// A path with something after its last letter.
pub(super) fn with_ending(path: &Path, ending: &str) -> PathBuf {
    let mut name = OsString::from(path);
    name.push(ending);
    PathBuf::from(name)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn begun(whole: &Path) -> Part {
        let part = Part::begin(whole, Path::new("/dev/null")).expect("a part");
        fs::write(part.path(), "new").expect("written");
        part
    }

    fn names(folder: &Path) -> Vec<String> {
        let entries = fs::read_dir(folder).expect("the folder");
        let name = |entry: std::io::Result<fs::DirEntry>| entry.expect("an entry").file_name();
        let mut names: Vec<String> = entries
            .map(|entry| name(entry).to_string_lossy().into_owned())
            .collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_appears_whole_or_not_at_all() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let whole = folder.path().join("a");
        drop(begun(&whole));
        assert_eq!(names(folder.path()), [""; 0]);
        let part = begun(&whole);
        fs::write(with_ending(Path::new(part.path()), "-wal"), "").expect("written");
        assert!(!whole.exists());
        part.settle().expect("settled");
        assert_eq!(names(folder.path()), ["a"]);
        assert_eq!(fs::read(&whole).expect("read"), b"new");
    }

    #[test]
    fn a_name_that_was_taken_meanwhile_is_left_alone() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let whole = folder.path().join("a");
        let part = begun(&whole);
        fs::write(&whole, "theirs").expect("written");
        let said = part.settle().expect_err("taken").to_string();
        assert!(said.contains("is there already"), "{said}");
        assert_eq!(names(folder.path()), ["a"]);
        assert_eq!(fs::read(&whole).expect("read"), b"theirs");
    }

    #[test]
    fn a_copy_is_read_by_no_more_people() {
        let folder = tempfile::TempDir::new().expect("a folder");
        let secret = folder.path().join("secret");
        fs::write(&secret, "").expect("written");
        fs::set_permissions(&secret, fs::Permissions::from_mode(0o600)).expect("set");
        let part = Part::begin(&folder.path().join("copy"), &secret).expect("a part");
        let mode = fs::metadata(part.path())
            .expect("read")
            .permissions()
            .mode();
        assert_eq!(mode & 0o777, 0o600);
    }
}
