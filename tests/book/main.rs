//! Everything in the book that the program makes, by one command; see DEVELOPERS.md.
//! `cargo run --release -p noonmark-tests --example book [-- PICTURE..]` writes the pictures into
//! `book/src/pictures` and the parts that the program knows into the chapters. Without names all pictures
//! are drawn; with some, these: the name of a kind of finding, or `demo`.
//! Never in here: what a person wrote.

mod demo;
mod pictures;
mod scene;
mod shown;

use analysis::detect::Kind;
use scene::SCENES;
use std::error::Error;
use std::fs;
use std::process::ExitCode;
use tests::book::{self, Parts};

fn main() -> ExitCode {
    let wanted: Vec<String> = std::env::args().skip(1).collect();
    match make(&wanted) {
        Ok(()) => ExitCode::SUCCESS,
        Err(wrong) => {
            eprintln!("failed to {wrong}");
            ExitCode::FAILURE
        }
    }
}

fn make(wanted: &[String]) -> Result<(), Box<dyn Error>> {
    let is_known = |name: &String| name == "demo" || Kind::ALL.iter().any(|k| k.name() == name);
    if let Some(other) = wanted.iter().find(|name| !is_known(name)) {
        return Err(format!("draw {other}: wanted demo, or the name of a kind of finding").into());
    }
    let is_wanted = |name: &str| wanted.is_empty() || wanted.iter().any(|w| w == name);
    let folder = book::folder().join("src/pictures");
    fs::create_dir_all(&folder)?;
    let mut parts = book::known_parts();
    if is_wanted("demo") {
        demo::draw(&folder)?;
    }
    for scene in SCENES.iter().filter(|scene| is_wanted(scene.kind.name())) {
        let name = scene.kind.name();
        let played = scene.played()?;
        let picture = pictures::picture(scene, &played)?;
        let file = folder.join(format!("{name}.svg"));
        fs::write(&file, small(&picture.svg))?;
        eprintln!("{name}: plant {}", played.number);
        parts.insert(
            format!("shown {name}"),
            shown::text(&played.finding, scene.show, &picture),
        );
    }
    fill(&parts)
}

/// Without what every shape says of itself and holds anyway: a tenth of a picture.
fn small(svg: &str) -> String {
    svg.replace(" opacity=\"1\"", "")
}

fn fill(parts: &Parts) -> Result<(), Box<dyn Error>> {
    for (path, old) in book::chapters() {
        let told = |why| format!("fill {}: {why}", path.display());
        let new = book::filled(&old, parts).map_err(told)?;
        if new != old {
            fs::write(book::folder().join("src").join(&path), new)?;
            eprintln!("{} is brought up to date", path.display());
        }
    }
    Ok(())
}
