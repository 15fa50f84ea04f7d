//! The table `[oil]` of a calibration: read, written, refused with the line and the cure.

use beadtally::glass::{Calibration, OilData};
use beadtally::run::oil::filled_wall_secs;

const HEAD: &str = "format = 1\n[picture]\nwidth_px = 640\nheight_px = 480\n";
const FEED: &str =
    "[[feed]]\nname = \"\"\nkind = \"tube\"\ncentre_px = [100, 200]\nsize_px = [60, 200]\n";

fn with(oil: &str) -> Result<Calibration, String> {
    let text = format!("{HEAD}{oil}{FEED}");
    Calibration::parse(&text, "oil.toml").map_err(|error| error.to_string())
}

#[test]
fn nothing_is_known_at_first_and_the_file_says_what_may_be() {
    let plain = with("").unwrap();
    assert!(plain.oil.is_empty());
    let text = plain.to_toml();
    for key in [
        "# [oil]",
        "# nozzle_bore_mm",
        "# interfacial_tension_mn_m",
        "# oil_density_kg_m3",
        "# condensate_density_kg_m3",
        "# reservoir_capacity_ml",
        "# reservoir_filled",
    ] {
        assert!(text.contains(key), "{key}\n{text}");
    }
    assert_eq!(Calibration::parse(&text, "again.toml").unwrap(), plain);
    assert_eq!(with("[oil]\n").unwrap(), plain);
}

#[test]
fn what_is_known_is_read_and_written_and_read_again() {
    let oil = "[oil]\nnozzle_bore_mm = 2\ninterfacial_tension_mn_m = 20.5\n\
        oil_density_kg_m3 = 880\ncondensate_density_kg_m3 = 960.0\nreservoir_capacity_ml = 500\n\
        reservoir_filled = 1970-01-02T01:00:00+01:00\n";
    let read = with(oil).unwrap();
    let known = OilData {
        nozzle_bore_mm: Some(2.0),
        interfacial_tension_mn_m: Some(20.5),
        oil_density_kg_m3: Some(880.0),
        condensate_density_kg_m3: Some(960.0),
        reservoir_capacity_ml: Some(500.0),
        reservoir_filled: "1970-01-02T01:00:00+01:00".parse().ok(),
    };
    assert_eq!(read.oil, known);
    let again = Calibration::parse(&read.to_toml(), "again.toml").unwrap();
    assert_eq!(again, read);
    assert_eq!(read.scaled_to(1280, 960).unwrap().oil, known);
    let text = "[oil]\nreservoir_filled = \"1970-01-02T00:00:00Z\"\n";
    assert_eq!(filled_wall_secs(&with(text).unwrap().oil), Some(86_400.0));
    assert_eq!(filled_wall_secs(&known), Some(86_400.0));
}

#[test]
fn what_cannot_be_is_refused_with_its_line_and_a_cure() {
    for (oil, line, told) in [
        ("[oil]\nnozzle_bore_mm = 0\n", 6, "0.1 to 10"),
        ("[oil]\nnozzle_bore_mm = nan\n", 6, "plain number"),
        ("[oil]\nnozzle_bore_mm = \"2\"\n", 6, "must be a number"),
        (
            "[oil]\n\ninterfacial_tension_mn_m = 0.02\n",
            7,
            "mind its unit",
        ),
        ("[oil]\noil_density_kg_m3 = 0.88\n", 6, "mind its unit"),
        ("[oil]\nreservoir_capacity_ml = -1\n", 6, "mind its unit"),
        (
            "[oil]\nreservoir_filled = 1970-01-02\n",
            6,
            "with its offset",
        ),
        ("[oil]\nreservoir_filled = 12\n", 6, "with its offset"),
        (
            "[oil]\nnozzle_mm = 2\n",
            6,
            "the keys there are nozzle_bore_mm",
        ),
        ("[oil]\noil_density_kg_m = 880\n", 6, "oil_density_kg_m3"),
        (
            "[oil]\noil_density_kg_m3 = 980\ncondensate_density_kg_m3 = 960\n",
            5,
            "must be the lighter",
        ),
    ] {
        let error = with(oil).unwrap_err();
        assert!(error.contains(told), "{oil}: {error}");
        assert!(error.contains(&format!("line {line}")), "{oil}: {error}");
    }
}
