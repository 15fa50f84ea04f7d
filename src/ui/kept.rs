//! What the window remembers from one start to the next: look, size of the letters, language,
//! sounds, what was watched and with which outlines. One small TOML file and a calibration beside
//! it; when they cannot be read or written, the window starts as if for the first time.

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::glass::Calibration;
use crate::ui::style::Look;
use crate::ui::words::Language;

/// Name of the file.
const FILE: &str = "window.toml";
/// Name of the calibration beside it.
const CALIBRATION: &str = "last-calibration.toml";
/// Its first line.
const HEAD: &str = "# What the window of beadtally remembers. It may be deleted.\n";

/// What is remembered.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Kept {
    /// The look; none follows the system.
    pub look: Option<Look>,
    /// Size of everything, per cent.
    pub size_percent: u16,
    /// The language; none follows the system.
    pub language: Option<Language>,
    /// Whether alarms sound.
    pub alarm_sound: Hears,
    /// Whether drops sound.
    pub drop_sound: Hears,
    /// What was watched last, in the words that open it; none before the first set-up is done.
    pub source: Option<String>,
}

/// Whether something is to be heard.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Hears {
    /// It is.
    On,
    /// It is not.
    Off,
}

impl From<bool> for Hears {
    fn from(on: bool) -> Self {
        if on { Self::On } else { Self::Off }
    }
}

impl Default for Kept {
    fn default() -> Self {
        Self {
            look: None,
            size_percent: 100,
            language: None,
            alarm_sound: Hears::On,
            drop_sound: Hears::Off,
            source: None,
        }
    }
}

/// Sizes of everything that a person may choose, per cent.
pub const SIZES_PERCENT: [u16; 5] = [100, 125, 150, 175, 200];

/// Where it is kept; a memory without a folder forgets.
#[derive(Clone, Debug, Default)]
pub struct Memory {
    folder: Option<PathBuf>,
}

impl Memory {
    /// A memory in a folder, which is made when something is first kept.
    #[must_use]
    pub fn in_folder(folder: PathBuf) -> Self {
        Self {
            folder: Some(folder),
        }
    }

    /// The usual place: the settings folder of this user.
    #[must_use]
    pub fn usual() -> Self {
        let folder = directories::ProjectDirs::from("", "", "beadtally");
        Self {
            folder: folder.map(|folders| folders.config_dir().to_path_buf()),
        }
    }

    /// What was kept, or the defaults.
    #[must_use]
    pub fn recall(&self) -> Kept {
        let Some(folder) = &self.folder else {
            return Kept::default();
        };
        let Ok(text) = std::fs::read_to_string(folder.join(FILE)) else {
            return Kept::default();
        };
        toml::from_str(&text).unwrap_or_else(|error| {
            tracing::warn!(%error, "what the window remembers cannot be read");
            Kept::default()
        })
    }

    /// The outlines that were last in force, if they were kept.
    #[must_use]
    pub fn recall_calibration(&self) -> Option<Calibration> {
        let path = self.folder.as_ref()?.join(CALIBRATION);
        Calibration::read(&path).ok()
    }

    /// Keeps it. What goes wrong is a warning in the diagnostics: nothing that matters is lost.
    pub fn keep(&self, kept: &Kept) {
        let Some(folder) = &self.folder else { return };
        let text = match toml::to_string(kept) {
            Ok(text) => format!("{HEAD}{text}"),
            Err(error) => {
                tracing::warn!(%error, "what the window remembers cannot be told");
                return;
            }
        };
        let written = std::fs::create_dir_all(folder).and_then(|()| write(folder, FILE, &text));
        if let Err(error) = written {
            tracing::warn!(%error, "what the window remembers was not kept");
        }
    }

    /// Forgets the outlines: they belong to another picture.
    pub fn forget_calibration(&self) {
        if let Some(folder) = &self.folder {
            // There may be none.
            let _gone = std::fs::remove_file(folder.join(CALIBRATION));
        }
    }

    /// Keeps the outlines in force.
    pub fn keep_calibration(&self, calibration: &Calibration) {
        let Some(folder) = &self.folder else { return };
        if std::fs::create_dir_all(folder).is_ok()
            && let Err(error) = calibration.write(&folder.join(CALIBRATION))
        {
            tracing::warn!(%error, "the outlines were not kept");
        }
    }
}

/// Writes a file whole or not at all.
fn write(folder: &Path, name: &str, text: &str) -> std::io::Result<()> {
    let file = tempfile::NamedTempFile::new_in(folder)?;
    std::fs::write(file.path(), text)?;
    file.persist(folder.join(name))
        .map_err(|error| error.error)?;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_kept_comes_back_and_garbage_is_a_first_start() {
        let folder = tempfile::tempdir().unwrap();
        let memory = Memory::in_folder(folder.path().join("new"));
        assert_eq!(memory.recall(), Kept::default());
        let kept = Kept {
            look: Some(Look::HighContrast),
            size_percent: 150,
            language: Some(Language::German),
            drop_sound: Hears::On,
            source: Some("camera:a".to_owned()),
            ..Kept::default()
        };
        memory.keep(&kept);
        assert_eq!(memory.recall(), kept);
        std::fs::write(folder.path().join("new").join(FILE), "look = 7\n").unwrap();
        assert_eq!(memory.recall(), Kept::default());
        assert!(memory.recall_calibration().is_none());
        // A memory without a place neither keeps nor fails.
        Memory::default().keep(&kept);
        assert_eq!(Memory::default().recall(), Kept::default());
    }
}
