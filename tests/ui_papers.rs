//! What is installed beside the program: manual page, completions, desktop entry, icon.

#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]

use std::fs;
use std::process::Command;

use assert_cmd::cargo::CommandCargoExt;

fn beadtally(words: &[&str]) -> (String, Option<i32>) {
    let output = Command::cargo_bin("beadtally")
        .unwrap()
        .args(words)
        .output()
        .unwrap();
    let text = String::from_utf8(output.stdout).unwrap();
    (text, output.status.code())
}

#[test]
fn the_manual_page_tells_every_command() {
    let (page, code) = beadtally(&["man"]);
    assert_eq!(code, Some(0));
    assert!(page.contains(".TH beadtally 1"), "{page}");
    for command in [
        "cameras", "find", "tally", "watch", "runs", "export", "draw",
    ] {
        assert!(page.contains(command), "{command}");
    }
    let folder = tempfile::tempdir().unwrap();
    let pages = folder.path().join("pages");
    let (_, code) = beadtally(&["man", pages.to_str().unwrap()]);
    assert_eq!(code, Some(0));
    assert!(pages.join("beadtally-tally.1").exists());
}

#[test]
fn each_shell_has_its_completions() {
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let (script, code) = beadtally(&["completions", shell]);
        assert_eq!(code, Some(0), "{shell}");
        assert!(script.contains("calibration"), "{shell}");
    }
    assert_eq!(beadtally(&["completions", "no-such-shell"]).1, Some(2));
}

#[test]
fn the_desktop_entry_and_the_icon_stand_where_they_belong() {
    let folder = tempfile::tempdir().unwrap();
    let (told, code) = beadtally(&["desktop", folder.path().to_str().unwrap()]);
    assert_eq!(code, Some(0));
    assert_eq!(told.lines().count(), 2);
    let entry = fs::read_to_string(folder.path().join("applications/beadtally.desktop")).unwrap();
    let value = |key: &str| {
        let found = entry
            .lines()
            .find_map(|line| line.strip_prefix(key)?.strip_prefix('='));
        found.map(str::to_owned)
    };
    // Keys that the Desktop Entry Specification requires of an application.
    assert!(entry.starts_with("[Desktop Entry]\n"));
    assert_eq!(value("Type").as_deref(), Some("Application"));
    assert_eq!(value("Name").as_deref(), Some("beadtally"));
    assert_eq!(value("Exec").as_deref(), Some("beadtally"));
    assert_eq!(value("Icon").as_deref(), Some("beadtally"));
    let icon = folder
        .path()
        .join("icons/hicolor/scalable/apps/beadtally.svg");
    let icon = fs::read_to_string(icon).unwrap();
    assert!(icon.starts_with("<svg ") && icon.trim_end().ends_with("</svg>"));
    assert!(!icon.contains("href"), "nothing is loaded from elsewhere");
    // A file where the folder should be.
    let taken = folder.path().join("taken");
    fs::write(&taken, "x").unwrap();
    assert_eq!(beadtally(&["desktop", taken.to_str().unwrap()]).1, Some(1));
}
