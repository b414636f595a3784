//! Pictures of the demo: its summary, and the ledger of its report.
//! Never in here: a plant of its own.

use std::error::Error;
use std::fs;
use std::path::Path;

/// Runs the demo and keeps two of its pictures.
pub fn draw(folder: &Path) -> Result<(), Box<dyn Error>> {
    let made = tempfile::tempdir()?;
    let runtime = tokio::runtime::Runtime::new()?;
    runtime.block_on(daemon::demo::demo(made.path(), &mut std::io::sink()))?;
    fs::copy(made.path().join("summary.png"), folder.join("demo.png"))?;
    let page = fs::read_to_string(made.path().join("report.html"))?;
    let ledger = first_picture_after(&page, "id=\"ledger\"");
    let ledger = ledger.ok_or("find the ledger in the demo's report")?;
    fs::write(folder.join("ledger.svg"), super::small(ledger))?;
    Ok(())
}

fn first_picture_after<'p>(page: &'p str, mark: &str) -> Option<&'p str> {
    const END: &str = "</svg>";
    let (_, after) = page.split_once(mark)?;
    let after = &after[after.find("<svg")?..];
    Some(&after[..after.find(END)? + END.len()])
}
