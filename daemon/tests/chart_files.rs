//! The summary picture as files. The example is drawn into `target/chart-preview`, for people.

// The example of the chart's own tests; not every test that includes it uses all of it.
#[expect(dead_code, reason = "this test needs the example plant alone")]
#[path = "../../analysis/tests/chart/plant.rs"]
mod plant;

use analysis::chart::{Size, SummaryInput};
use analysis::detect::Slot;
use analysis::plant::Plant;
use daemon::report::WriteError;
use daemon::report::chart_files::{self, ChartFilesError, PNG_NAME, SVG_NAME};
use std::fs;
use std::path::Path;

fn write(plant: &Plant, slots: &[Slot], folder: &Path) -> Result<(), ChartFilesError> {
    let findings = plant::findings();
    let input = SummaryInput {
        site_name: &plant.site.name,
        plant,
        slots,
        findings: &findings,
        utc_offset: &plant::utc_offset,
    };
    chart_files::write(&input, Size::default(), folder).map(|_| ())
}

#[test]
fn both_files_are_written_and_nothing_else_stays_behind() {
    let preview = Path::new(env!("CARGO_MANIFEST_DIR")).join("../target/chart-preview");
    let plant = plant::plant();
    for (name, days) in [("four-days", 4), ("month", 31), ("year", 365)] {
        let folder = preview.join(name);
        fs::create_dir_all(&folder).expect("target can be written");
        write(&plant, &plant::slots(&plant, days), &folder).expect("the example can be drawn");
        let names: Vec<_> = fs::read_dir(&folder)
            .expect("it was just made")
            .map(|entry| entry.expect("its entries can be read").file_name())
            .collect();
        assert_eq!(names.len(), 2, "{names:?}");
        let svg = fs::read_to_string(folder.join(SVG_NAME)).expect("it was just written");
        assert!(svg.starts_with("<svg ") && svg.trim_end().ends_with("</svg>"));
        let png = fs::File::open(folder.join(PNG_NAME)).expect("it was just written");
        let png = png::Decoder::new(std::io::BufReader::new(png));
        let reader = png.read_info().expect("it is a PNG");
        assert_eq!(reader.info().width, Size::default().width_px);
    }
}

#[test]
fn a_picture_that_cannot_be_drawn_leaves_the_old_one() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let old = folder.path().join(SVG_NAME);
    fs::write(&old, "old").expect("it can be written");
    let refused = write(&plant::plant(), &[], folder.path());
    assert!(
        matches!(refused, Err(ChartFilesError::Draw(_))),
        "{refused:?}"
    );
    assert_eq!(fs::read_to_string(&old).expect("it is still there"), "old");
}

#[test]
fn a_folder_that_cannot_be_made_is_named() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let file = folder.path().join("file");
    fs::write(&file, "in the way").expect("it can be written");
    let plant = plant::plant();
    let refused = write(&plant, &plant::slots(&plant, 1), &file.join("inside"));
    let Err(ChartFilesError::Write(WriteError { path, .. })) = refused else {
        panic!("{refused:?}");
    };
    assert_eq!(path, file.join("inside").join(SVG_NAME));
}
