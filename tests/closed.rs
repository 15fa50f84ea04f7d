//! Closed by default: no port is opened, no name of a file becomes an option, an address or a
//! command, what is written follows no link and leaves no half file, words cannot act as formulas
//! or tags, and no record leads out of the folder that was chosen.
#![expect(clippy::unwrap_used, reason = "a test stops at the first surprise")]
#![cfg(target_os = "linux")]

use std::collections::BTreeSet;
use std::ffi::OsStr;
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::symlink;
use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};

use beadtally::base::{Clock, SystemClock};
use beadtally::run::logbook::{Logbook, schema};
use rusqlite::Connection;

fn program(data: &Path) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin!("beadtally"));
    command
        .env("XDG_DATA_HOME", data)
        .env("XDG_CONFIG_HOME", data)
        .current_dir(data)
        .stdin(Stdio::null());
    command
}

fn run<S: AsRef<OsStr>>(data: &Path, words: &[S]) -> Output {
    program(data).args(words).output().unwrap()
}

fn text(bytes: &[u8]) -> String {
    String::from_utf8_lossy(bytes).into_owned()
}

/// The sockets that a process and its children have open, by their numbers.
fn sockets(process: u32) -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    let children = format!("/proc/{process}/task/{process}/children");
    let mut all = vec![process];
    for child in std::fs::read_to_string(children)
        .unwrap_or_default()
        .split_whitespace()
    {
        all.extend(child.parse::<u32>().ok());
    }
    for process in all {
        let Ok(open) = std::fs::read_dir(format!("/proc/{process}/fd")) else {
            continue;
        };
        for file in open.flatten() {
            let Ok(target) = std::fs::read_link(file.path()) else {
                continue;
            };
            let target = target.to_string_lossy().into_owned();
            if let Some(node) = target
                .strip_prefix("socket:[")
                .and_then(|rest| rest.strip_suffix(']'))
            {
                found.insert(node.to_owned());
            }
        }
    }
    found
}

/// The numbers of all sockets of the network that this process sees.
fn network_sockets() -> BTreeSet<String> {
    let mut found = BTreeSet::new();
    for table in [
        "tcp", "tcp6", "udp", "udp6", "udplite", "udplite6", "raw", "raw6", "icmp", "icmp6",
    ] {
        let Ok(text) = std::fs::read_to_string(format!("/proc/self/net/{table}")) else {
            continue;
        };
        // The tenth column is the number of the socket (proc(5)).
        let nodes = text.lines().skip(1);
        found.extend(nodes.filter_map(|line| line.split_whitespace().nth(9).map(str::to_owned)));
    }
    found
}

#[test]
fn the_check_for_ports_sees_a_port() {
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let ours = sockets(std::process::id());
    assert!(ours.intersection(&network_sockets()).next().is_some());
    drop(port);
}

#[test]
fn watching_opens_no_port() {
    let data = tempfile::tempdir().unwrap();
    let clip = data.path().join("clip.mp4");
    let drawn = run(data.path(), &["draw", clip.to_str().unwrap(), "--for", "8"]);
    assert!(drawn.status.success(), "{}", text(&drawn.stderr));
    for source in ["demo:rates=20", clip.to_str().unwrap()] {
        let mut child = program(data.path())
            .args(["watch", source, "--for", "6", "--json-lines"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let clock = SystemClock::new();
        let mut looked = 0;
        while child.try_wait().unwrap().is_none() {
            let open = sockets(child.id());
            let known = network_sockets();
            let ports: Vec<_> = open.intersection(&known).collect();
            assert!(ports.is_empty(), "{source}: {ports:?}");
            // Without a window there is no reason for any other socket either.
            assert!(open.is_empty(), "{source}: {open:?}");
            looked += 1;
            clock.wait_secs(0.05);
        }
        assert!(looked > 20, "{source}: looked {looked} times");
    }
}

/// Names that mean something to programs that take them for more than names.
const NAMES: [&str; 14] = [
    "-i.mp4",
    "--help.mp4",
    "-y",
    "file:clip.mp4",
    "concat:a.mp4|b.mp4",
    "http:example.mp4",
    "pipe:0.mp4",
    "subfile,,start,0,end,9,,:clip.mp4",
    "%03d.mp4",
    "$(touch made).mp4",
    "a;touch made.mp4",
    "`touch made`.mp4",
    "two\nlines 'and' \"quotes\".mp4",
    "-",
];

#[test]
fn a_name_of_a_clip_is_never_an_option_an_address_or_a_command() {
    let data = tempfile::tempdir().unwrap();
    let clips = data.path().join("clips");
    std::fs::create_dir(&clips).unwrap();
    let first = data.path().join("plain.mp4");
    let drawn = run(
        data.path(),
        &[
            "draw",
            first.to_str().unwrap(),
            "--demo",
            "demo:rates=20",
            "--for",
            "0.5",
        ],
    );
    assert!(drawn.status.success(), "{}", text(&drawn.stderr));
    let find = ["find", "demo:rates=20", "--write", "bench.toml"];
    let found = run(data.path(), &find);
    assert!(found.status.success(), "{}", text(&found.stderr));
    let mut names: Vec<&OsStr> = NAMES.iter().map(OsStr::new).collect();
    names.push(OsStr::from_bytes(b"no \xff\xfe text.mp4"));
    let long = format!("{}.mp4", "x".repeat(251));
    names.push(OsStr::new(&long));
    for name in names {
        std::fs::copy(&first, clips.join(name)).unwrap();
        // By its bare name from within its folder, where it means most to others.
        let output = program(data.path())
            .current_dir(&clips)
            .args(["tally", "--json", "--calibration", "../bench.toml", "--"])
            .arg(name)
            .output()
            .unwrap();
        let stderr = text(&output.stderr);
        if name.to_str().is_some() {
            assert!(output.status.success(), "{}: {stderr}", name.display());
            assert!(text(&output.stdout).contains("\"glasses\""), "{stderr}");
        } else {
            // What is no text cannot be named on the command line, and that is said.
            assert_eq!(output.status.code(), Some(2), "{stderr}");
            assert!(stderr.contains("UTF-8"), "{stderr}");
        }
        std::fs::remove_file(clips.join(name)).unwrap();
        let left: Vec<_> = std::fs::read_dir(&clips).unwrap().flatten().collect();
        assert!(left.is_empty(), "{}: {left:?}", name.display());
    }
    assert!(!data.path().join("made").exists());
}

#[test]
fn an_address_is_not_fetched() {
    let data = tempfile::tempdir().unwrap();
    for name in [
        "http://127.0.0.1:9/clip.mp4",
        "https://127.0.0.1:9/clip.mp4",
        "rtsp://127.0.0.1:9/clip",
        "tcp://127.0.0.1:9",
        "data:video/mp4;base64,AAAA",
        "lavfi:testsrc",
    ] {
        let output = run(data.path(), &["tally", name]);
        let stderr = text(&output.stderr);
        assert_eq!(output.status.code(), Some(1), "{name}: {stderr}");
        assert!(stderr.contains("There is no file"), "{name}: {stderr}");
    }
}

#[test]
fn a_list_inside_a_clip_leads_nowhere_else() {
    // ffmpeg knows files that only name others (ffconcat, HLS). They must not reach out.
    let data = tempfile::tempdir().unwrap();
    let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    port.set_nonblocking(true).unwrap();
    let there = port.local_addr().unwrap();
    for (name, words) in [
        (
            "list.m3u8",
            format!(
                "#EXTM3U\n#EXT-X-TARGETDURATION:1\n#EXTINF:1,\nhttp://{there}/a.ts\n#EXT-X-ENDLIST\n"
            ),
        ),
        (
            "list.ffconcat",
            format!("ffconcat version 1.0\nfile http://{there}/a.mp4\n"),
        ),
        (
            "list.mpd",
            format!("<MPD><Period><BaseURL>http://{there}/</BaseURL></Period></MPD>"),
        ),
        (
            "list.sdp",
            format!(
                "v=0\nc=IN IP4 127.0.0.1\nm=video {} RTP/AVP 26\n",
                there.port()
            ),
        ),
    ] {
        let path = data.path().join(name);
        std::fs::write(&path, words).unwrap();
        let output = run(data.path(), &["tally", path.to_str().unwrap()]);
        assert_eq!(output.status.code(), Some(1), "{name}");
        assert!(text(&output.stderr).contains(name), "{name}");
        assert!(port.accept().is_err(), "{name} was followed");
    }
}

#[test]
fn a_name_to_draw_to_is_never_an_option() {
    let data = tempfile::tempdir().unwrap();
    for name in ["-y.mp4", "http:x.mp4", "-.y4m", "pipe:1.mp4"] {
        let output = run(
            data.path(),
            &["draw", "--demo", "demo:rates=20", "--for", "1", "--", name],
        );
        assert!(output.status.success(), "{name}: {}", text(&output.stderr));
        let bytes = std::fs::metadata(data.path().join(name)).unwrap().len();
        assert!(bytes > 1000, "{name}");
    }
}

/// A logbook with one run whose words are as bad as words can be.
fn bad_logbook(path: &Path) {
    drop(Logbook::open(path).unwrap());
    let book = Connection::open(path).unwrap();
    let evil = "=cmd|' /C calc'!A0<script>alert(1)</script>\"'&../../../escaped\u{0}";
    for table in schema::TABLES {
        let columns: Vec<(String, String)> = book
            .prepare("SELECT name, type FROM pragma_table_info(?1) ORDER BY cid")
            .unwrap()
            .query_map([table], |row| Ok((row.get(0)?, row.get(1)?)))
            .unwrap()
            .map(Result::unwrap)
            .collect();
        let values: Vec<String> = columns
            .iter()
            .map(|(name, kind)| match (name.as_str(), kind.as_str()) {
                ("ending", _) => "'ended'".to_owned(),
                ("kind", _) => "'oil'".to_owned(),
                ("began", _) => "'mark'".to_owned(),
                ("at_secs" | "until_secs", _) => "5.0".to_owned(),
                ("to_secs" | "last_secs", _) => "10.0".to_owned(),
                ("from_secs", _) => "0.0".to_owned(),
                (_, "TEXT") => "?1".to_owned(),
                (_, "BLOB") => "CAST(?1 AS BLOB)".to_owned(),
                _ => "1".to_owned(),
            })
            .collect();
        let values = values.join(", ");
        let insert = format!("INSERT INTO {table} VALUES ({values})");
        let mut insert = book.prepare(&insert).unwrap();
        if insert.parameter_count() == 0 {
            insert.execute([]).unwrap();
        } else {
            insert.execute([evil]).unwrap();
        }
    }
}

fn all_files(folder: &Path) -> BTreeSet<PathBuf> {
    let mut found = BTreeSet::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(folder) = folders.pop() {
        for entry in std::fs::read_dir(folder).unwrap().flatten() {
            if entry.path().is_dir() {
                folders.push(entry.path());
            }
            found.insert(entry.path());
        }
    }
    found
}

#[test]
fn a_record_cannot_write_elsewhere_nor_act_as_a_formula_or_a_tag() {
    let data = tempfile::tempdir().unwrap();
    let inner = data.path().join("one/two/three/four");
    std::fs::create_dir_all(&inner).unwrap();
    let book = inner.join("bad.sqlite3");
    bad_logbook(&book);
    let book = book.to_str().unwrap();
    let before = all_files(data.path());
    let ask = |words: &[&str]| {
        let output = program(data.path())
            .current_dir(&inner)
            .args(words)
            .args(["--logbook", book])
            .output()
            .unwrap();
        assert!(
            output.status.success(),
            "{words:?}: {}",
            text(&output.stderr)
        );
        output
    };
    ask(&["export", "1", "--csv", "out"]);
    ask(&["report", "1", "--csv", "tables"]);
    ask(&["report", "1", "--csv", "all.csv"]);
    ask(&["report", "1", "--html", "page.html"]);
    ask(&["report", "1", "--sheet", "sheet.html"]);
    let listed = text(&ask(&["runs"]).stdout);
    assert_eq!(
        listed.lines().count(),
        1,
        "a word broke the line: {listed:?}"
    );
    let made: Vec<PathBuf> = all_files(data.path())
        .difference(&before)
        .cloned()
        .collect();
    assert!(made.len() > 15, "{made:?}");
    for file in made {
        assert!(file.starts_with(&inner), "{} is elsewhere", file.display());
        if file.is_dir() {
            continue;
        }
        let words = text(&std::fs::read(&file).unwrap());
        let ending = file.extension().unwrap();
        if ending == "csv" {
            let mut rows = csv::ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .from_reader(words.as_bytes());
            for row in rows.records() {
                for cell in &row.unwrap() {
                    let acts = cell.starts_with(['=', '+', '-', '@', '\t', '\r']);
                    assert!(
                        !acts || cell.parse::<f64>().is_ok(),
                        "{cell:?} in {}",
                        file.display()
                    );
                }
            }
        } else if ending == "html" {
            assert!(!words.contains("<script"), "{}", file.display());
            assert!(words.contains("&lt;script&gt;"), "{}", file.display());
        }
    }
}

#[test]
fn what_is_written_replaces_a_link_and_leaves_what_it_leads_to() {
    let data = tempfile::tempdir().unwrap();
    let precious = data.path().join("precious");
    let recorded = run(
        data.path(),
        &[
            "tally",
            "demo:rates=30",
            "--for",
            "20",
            "--record",
            "--logbook",
            "book.sqlite3",
        ],
    );
    assert!(recorded.status.success(), "{}", text(&recorded.stderr));
    let cases: [(&str, &[&str]); 8] = [
        ("out/drops.csv", &["export", "last", "--csv", "out"]),
        ("page.html", &["report", "last", "--html", "page.html"]),
        ("sheet.html", &["report", "last", "--sheet", "sheet.html"]),
        ("all.csv", &["report", "last", "--csv", "all.csv"]),
        ("found.png", &["find", "demo", "--picture", "found.png"]),
        ("clip.y4m", &["draw", "clip.y4m", "--for", "1"]),
        ("clip.truth.json", &["draw", "clip.y4m", "--for", "1"]),
        ("frames/frames.csv", &["draw", "frames", "--for", "1"]),
    ];
    for (place, words) in cases {
        std::fs::write(&precious, "precious").unwrap();
        let place = data.path().join(place);
        std::fs::create_dir_all(place.parent().unwrap()).unwrap();
        let _gone = std::fs::remove_file(&place);
        symlink(&precious, &place).unwrap();
        let output = program(data.path())
            .args(words)
            .args(["--logbook", "book.sqlite3"])
            .output()
            .unwrap();
        assert!(
            output.status.success(),
            "{words:?}: {}",
            text(&output.stderr)
        );
        assert_eq!(
            std::fs::read_to_string(&precious).unwrap(),
            "precious",
            "{words:?}"
        );
        let now = std::fs::symlink_metadata(&place).unwrap();
        assert!(now.is_file(), "{} is still a link", place.display());
    }
    // A calibration is a person's own work: it refuses a link and says so.
    symlink(&precious, data.path().join("bench.toml")).unwrap();
    let output = run(data.path(), &["find", "demo", "--write", "bench.toml"]);
    assert_eq!(output.status.code(), Some(1));
    assert!(
        text(&output.stderr).contains("link"),
        "{}",
        text(&output.stderr)
    );
    assert_eq!(std::fs::read_to_string(&precious).unwrap(), "precious");
}

#[test]
fn no_half_file_is_left_where_writing_fails() {
    let data = tempfile::tempdir().unwrap();
    // ffmpeg ends at once: there is no place for the frames.
    let output = run(
        data.path(),
        &["draw", "missing-folder/clip.mp4", "--for", "1"],
    );
    assert_eq!(output.status.code(), Some(1));
    let left: Vec<_> = std::fs::read_dir(data.path()).unwrap().flatten().collect();
    assert!(left.is_empty(), "{left:?}");
    let stderr = text(&output.stderr);
    assert!(stderr.contains("missing-folder"), "{stderr}");
}

#[test]
fn no_source_allows_unsafe_code_and_nothing_talks_to_a_network() {
    let top = Path::new(env!("CARGO_MANIFEST_DIR"));
    let manifest = std::fs::read_to_string(top.join("Cargo.toml")).unwrap();
    assert!(manifest.contains("unsafe_code = \"deny\""));
    for file in ["src/lib.rs", "src/main.rs"] {
        let source = std::fs::read_to_string(top.join(file)).unwrap();
        assert!(source.contains("#![forbid(unsafe_code)]"), "{file}");
    }
    for file in all_files(&top.join("src")) {
        if file.extension() != Some(OsStr::new("rs")) {
            continue;
        }
        let source = std::fs::read_to_string(&file).unwrap();
        for word in [
            "TcpListener",
            "TcpStream",
            "UdpSocket",
            "UnixListener",
            "UnixDatagram",
            "\"sh\"",
            "\"bash\"",
            "\"cmd\"",
            "\"-c\"",
        ] {
            assert!(!source.contains(word), "{word} in {}", file.display());
        }
    }
}
