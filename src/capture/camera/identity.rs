//! Which camera is which on Linux: by name, socket and serial number as the kernel shows them under
//! /sys, never by the number in /dev, which changes when cameras are plugged in another order.

use std::fmt;
use std::path::{Path, PathBuf};
use std::str::FromStr;

/// Where the kernel lists video devices.
pub(super) const CLASS: &str = "/sys/class/video4linux";

/// What stays the same when a camera is unplugged and plugged in again.
///
/// As text: `name;socket;part;serial`, for instance `Bench camera;0000:00:14.0-usb-4:1.0;0;A17`.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Identity {
    /// The name the camera gives itself.
    pub(super) name: String,
    /// The socket it is plugged into, or the driver's own place for cameras without one.
    pub(super) socket: String,
    /// Which of the several devices one camera may have.
    pub(super) part: String,
    /// Serial number; empty when it has none.
    pub(super) serial: String,
}

/// A video device of this computer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Node {
    /// Its file, such as /dev/video0.
    pub(super) path: PathBuf,
    /// Which camera it belongs to.
    pub(super) identity: Identity,
}

impl fmt::Display for Identity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self {
            name,
            socket,
            part,
            serial,
        } = self;
        write!(f, "{name};{socket};{part};{serial}")
    }
}

impl FromStr for Identity {
    type Err = ();

    fn from_str(text: &str) -> Result<Self, ()> {
        let parts: Vec<&str> = text.split(';').collect();
        let [name, socket, part, serial] = parts.as_slice() else {
            return Err(());
        };
        Ok(Self {
            name: (*name).to_owned(),
            socket: (*socket).to_owned(),
            part: (*part).to_owned(),
            serial: (*serial).to_owned(),
        })
    }
}

impl Identity {
    /// Reads the identity of a device from its folder under /sys/class/video4linux.
    fn read(folder: &Path) -> Self {
        let device = std::fs::canonicalize(folder.join("device")).unwrap_or_default();
        // A USB device's folder holds its serial number; the camera is one of its interfaces.
        let serial = device
            .parent()
            .map(|usb| read_word(&usb.join("serial")))
            .unwrap_or_default();
        Self {
            name: read_word(&folder.join("name")),
            socket: socket(&device),
            part: read_word(&folder.join("index")),
            serial,
        }
    }
}

/// The video devices in the order of their numbers. `class` is the kernel's list, `dev` the folder
/// of device files.
pub(super) fn nodes(class: &Path, dev: &Path) -> Vec<Node> {
    let Ok(entries) = std::fs::read_dir(class) else {
        return Vec::new();
    };
    let mut found: Vec<(u32, Node)> = entries
        .flatten()
        .filter_map(|entry| {
            let file_name = entry.file_name();
            let number = file_name.to_str()?.strip_prefix("video")?.parse().ok()?;
            let path = dev.join(&file_name);
            path.exists().then(|| {
                let identity = Identity::read(&entry.path());
                (number, Node { path, identity })
            })
        })
        .collect();
    found.sort_by_key(|(number, _)| *number);
    found.into_iter().map(|(_, node)| node).collect()
}

/// The devices that may be the camera `wanted`, most likely first: those in the same socket; else,
/// when the camera has a serial number, the only one of that name and number in another socket.
pub(super) fn matches<'a>(nodes: &'a [Node], wanted: &Identity) -> Vec<&'a Node> {
    let same: Vec<_> = nodes.iter().filter(|n| n.identity == *wanted).collect();
    if !same.is_empty() || wanted.serial.is_empty() {
        return same;
    }
    let moved: Vec<_> = nodes
        .iter()
        .filter(|n| is_moved(&n.identity, wanted))
        .collect();
    // Cheap cameras share one number; then the socket alone tells them apart.
    if moved.len() == 1 { moved } else { Vec::new() }
}

/// Whether `there` is the camera `here` in another socket, as far as its serial number tells.
pub(super) fn is_moved(here: &Identity, there: &Identity) -> bool {
    !here.serial.is_empty()
        && (&here.name, &here.part, &here.serial) == (&there.name, &there.part, &there.serial)
}

/// `…/0000:00:14.0/usb1/1-4/1-4.2:1.0` → `0000:00:14.0-usb-4.2:1.0`: without the number of the bus,
/// which depends on the order in which the kernel found its parts.
fn socket(device: &Path) -> String {
    let parts: Vec<String> = device
        .components()
        .map(|c| c.as_os_str().to_string_lossy().into_owned())
        .collect();
    let usb = parts.iter().position(|p| {
        p.strip_prefix("usb")
            .is_some_and(|n| !n.is_empty() && n.bytes().all(|b| b.is_ascii_digit()))
    });
    let text = match (usb, parts.last()) {
        (Some(at), Some(last)) if at > 0 => {
            let port = last.split_once('-').map_or(last.as_str(), |(_, port)| port);
            format!("{}-usb-{port}", parts[at - 1])
        }
        _ => match device.strip_prefix("/sys/devices") {
            Ok(place) => place.to_string_lossy().into_owned(),
            Err(_) => "virtual".to_owned(),
        },
    };
    clean(&text)
}

/// A word from a file of the kernel; empty when there is none.
fn read_word(file: &Path) -> String {
    // Names may be cut in the middle of a letter.
    let bytes = std::fs::read(file).unwrap_or_default();
    clean(&String::from_utf8_lossy(&bytes))
}

/// Without blanks around it and without what has a meaning in the text of an identity.
fn clean(text: &str) -> String {
    text.trim()
        .replace(|c: char| c == ';' || c.is_control(), ",")
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::symlink;

    /// Makes a device as the kernel shows it.
    fn put(root: &Path, number: u32, name: &[u8], part: &str, device: Option<&str>, serial: &str) {
        let folder = root.join(format!("class/video{number}"));
        std::fs::create_dir_all(&folder).unwrap();
        std::fs::write(folder.join("name"), name).unwrap();
        std::fs::write(folder.join("index"), format!("{part}\n")).unwrap();
        if let Some(device) = device {
            let place = root.join("devices").join(device);
            std::fs::create_dir_all(&place).unwrap();
            if !serial.is_empty() {
                std::fs::write(
                    place.parent().unwrap().join("serial"),
                    format!("{serial}\n"),
                )
                .unwrap();
            }
            symlink(&place, folder.join("device")).unwrap();
        }
        std::fs::create_dir_all(root.join("dev")).unwrap();
        std::fs::write(root.join(format!("dev/video{number}")), "").unwrap();
    }

    fn read(root: &Path) -> Vec<Node> {
        nodes(&root.join("class"), &root.join("dev"))
    }

    const PORT_4: &str = "pci0000:00/0000:00:14.0/usb1/1-4/1-4:1.0";
    const PORT_2: &str = "pci0000:00/0000:00:14.0/usb1/1-2/1-2:1.0";

    #[test]
    fn a_camera_is_known_by_name_socket_part_and_serial() {
        let root = tempfile::tempdir().unwrap();
        put(root.path(), 10, b"Bench camera\n", "0", Some(PORT_4), "A17");
        put(root.path(), 2, b"Caf\xC3", "1", None, "");
        // A device whose file is missing, and one that is no video device.
        std::fs::create_dir_all(root.path().join("class/video77")).unwrap();
        std::fs::create_dir_all(root.path().join("class/v4l-subdev0")).unwrap();
        let found = read(root.path());
        let texts: Vec<String> = found.iter().map(|n| n.identity.to_string()).collect();
        assert_eq!(
            texts,
            [
                "Caf\u{FFFD};virtual;1;",
                "Bench camera;0000:00:14.0-usb-4:1.0;0;A17"
            ]
        );
        for node in &found {
            assert_eq!(node.identity.to_string().parse(), Ok(node.identity.clone()));
        }
        assert!("a;b".parse::<Identity>().is_err());
    }

    #[test]
    fn the_same_camera_is_found_under_another_number() {
        let root = tempfile::tempdir().unwrap();
        put(root.path(), 0, b"Bench camera", "0", Some(PORT_4), "");
        let wanted = read(root.path())[0].identity.clone();
        let later = tempfile::tempdir().unwrap();
        // Another camera of the same make took its number.
        put(later.path(), 0, b"Bench camera", "0", Some(PORT_2), "");
        let found = read(later.path());
        assert!(matches(&found, &wanted).is_empty());
        put(later.path(), 1, b"Bench camera", "0", Some(PORT_4), "");
        let found = read(later.path());
        let paths: Vec<_> = matches(&found, &wanted)
            .iter()
            .map(|n| n.path.clone())
            .collect();
        assert_eq!(paths, [later.path().join("dev/video1")]);
    }

    #[test]
    fn a_serial_number_finds_it_in_another_socket_unless_two_share_it() {
        let root = tempfile::tempdir().unwrap();
        put(root.path(), 0, b"Bench camera", "0", Some(PORT_2), "A17");
        let mut wanted = read(root.path())[0].identity.clone();
        wanted.socket = "0000:00:14.0-usb-4:1.0".to_owned();
        assert_eq!(matches(&read(root.path()), &wanted).len(), 1);
        put(
            root.path(),
            1,
            b"Bench camera",
            "0",
            Some("pci0000:00/0000:00:14.0/usb1/1-3/1-3:1.0"),
            "A17",
        );
        assert!(matches(&read(root.path()), &wanted).is_empty());
    }
}
