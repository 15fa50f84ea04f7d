//! The list of cameras, on every system, and choosing one of them by what a person wrote.

use serde::Serialize;

use crate::capture::CaptureError;

use super::mode::Mode;

/// One camera, as a list for people and programs shows it.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct CameraListing {
    /// The name it gives itself.
    pub name: String,
    /// What stays the same when cameras are plugged in another order; for calibrations and for
    /// `camera:IDENTITY`.
    pub identity: String,
    /// The modes that can be used, the most suitable first; may be empty where the system does not
    /// tell before the camera is opened.
    pub modes: Vec<Mode>,
    /// Whether it can be opened as far as is known.
    pub usable: bool,
    /// Why it is not usable, or empty.
    pub note: String,
}

/// Lists the cameras of this computer. None is no error.
///
/// # Errors
/// [`CaptureError::Camera`] when the system refuses to list them.
pub fn list() -> Result<Vec<CameraListing>, CaptureError> {
    let found = query()?;
    #[cfg(target_os = "linux")]
    return Ok(super::linux::listings(&found));
    #[cfg(not(target_os = "linux"))]
    return Ok(super::elsewhere::listings(&found));
}

/// What the camera library of this system lists.
pub(super) fn query() -> Result<Vec<nokhwa::utils::CameraInfo>, CaptureError> {
    let refused = |why: String| {
        CaptureError::Camera(format!(
            "The cameras of this computer cannot be listed: {why}. Allow this program to use the \
             camera in the system's settings."
        ))
    };
    // The library panics on device files with names it does not expect.
    std::panic::catch_unwind(|| nokhwa::query(nokhwa::utils::ApiBackend::Auto))
        .map_err(|_| refused("the camera library failed".to_owned()))?
        .map_err(|e| refused(e.to_string()))
}

/// The camera a person means: by identity, by name, by a part of the name; the first usable one
/// when nothing is written.
pub(super) fn choose<'a>(
    listings: &'a [CameraListing],
    wanted: Option<&str>,
) -> Result<&'a CameraListing, CaptureError> {
    let no_such = |words: String| Err(CaptureError::NoSuchSource(words));
    if listings.is_empty() {
        return no_such(
            "No camera was found. Plug one in, or name the path of a clip, or demo.".to_owned(),
        );
    }
    let Some(wanted) = wanted else {
        // One that is not usable is tried too: opening it says why.
        return Ok(listings.iter().find(|l| l.usable).unwrap_or(&listings[0]));
    };
    let lower = wanted.to_lowercase();
    let tests: [&dyn Fn(&CameraListing) -> bool; 4] = [
        &|l| l.identity == wanted,
        &|l| is_moved(&l.identity, wanted),
        &|l| l.name.to_lowercase() == lower,
        &|l| l.name.to_lowercase().contains(&lower),
    ];
    for test in tests {
        let fitting: Vec<_> = listings.iter().filter(|l| test(l)).collect();
        match fitting.as_slice() {
            [] => {}
            [one] => return Ok(one),
            several => {
                let identities: Vec<_> = several
                    .iter()
                    .map(|l| format!("camera:{}", l.identity))
                    .collect();
                return no_such(format!(
                    "'{wanted}' means more than one camera. Write which: {}",
                    identities.join(" or ")
                ));
            }
        }
    }
    let names: Vec<_> = listings.iter().map(|l| format!("'{}'", l.name)).collect();
    no_such(format!(
        "There is no camera '{wanted}' now. There is {}. Plug it in, in the same socket, or write \
         another name.",
        names.join(" and ")
    ))
}

/// Whether `wanted` is the identity of this camera in another socket.
#[cfg(target_os = "linux")]
fn is_moved(identity: &str, wanted: &str) -> bool {
    match (identity.parse(), wanted.parse()) {
        (Ok(here), Ok(there)) => super::identity::is_moved(&here, &there),
        _ => false,
    }
}

/// Elsewhere an identity does not depend on the socket.
#[cfg(not(target_os = "linux"))]
fn is_moved(_identity: &str, _wanted: &str) -> bool {
    false
}

#[cfg(test)]
mod tests {
    use super::*;

    fn camera(name: &str, identity: &str) -> CameraListing {
        CameraListing {
            name: name.to_owned(),
            identity: identity.to_owned(),
            modes: Vec::new(),
            usable: true,
            note: String::new(),
        }
    }

    #[test]
    fn a_camera_is_chosen_by_identity_name_or_part_of_it() {
        let mut listings = [
            camera("Lid camera", "Lid camera;a;0;"),
            camera("Bench camera", "Bench camera;b;0;"),
            camera("Bench camera", "Bench camera;c;0;"),
            camera("Bench", "Bench;d;0;"),
        ];
        listings[0].usable = false;
        let identity = |wanted| choose(&listings, wanted).map(|l| l.identity.as_str());
        assert_eq!(identity(None).unwrap(), "Bench camera;b;0;");
        assert_eq!(
            identity(Some("Bench camera;c;0;")).unwrap(),
            "Bench camera;c;0;"
        );
        assert_eq!(identity(Some("bench")).unwrap(), "Bench;d;0;");
        assert_eq!(identity(Some("LID")).unwrap(), "Lid camera;a;0;");
        let error = identity(Some("bench camera")).unwrap_err().to_string();
        assert!(
            error.contains("camera:Bench camera;b;0; or camera:Bench camera;c;0;"),
            "{error}"
        );
        let error = identity(Some("roof")).unwrap_err().to_string();
        assert!(
            error.contains("'roof'") && error.contains("'Lid camera'"),
            "{error}"
        );
        // When none is usable the first is tried, to hear why.
        assert_eq!(choose(&listings[..1], None).unwrap().name, "Lid camera");
        assert!(matches!(
            choose(&[], None),
            Err(CaptureError::NoSuchSource(_))
        ));
    }

    #[test]
    fn listing_never_fails_for_want_of_cameras() {
        for camera in list().unwrap() {
            assert!(camera.usable || !camera.note.is_empty());
        }
    }

    #[test]
    fn a_listing_reads_well_as_json() {
        let mut one = camera("Bench camera", "id");
        one.modes.push(Mode {
            format: crate::capture::pixel::PixelFormat::Yuyv,
            width: 640,
            height: 480,
            frames_per_second: Some(30.0),
        });
        assert_eq!(
            serde_json::to_string(&one).unwrap(),
            r#"{"name":"Bench camera","identity":"id","modes":[{"format":"YUYV","width":640,"height":480,"fps":30.0}],"usable":true,"note":""}"#
        );
    }
}
