//! The built book and its links.

use super::{BESIDE, beside, top};
use mdbook_driver::MDBook;
use mdbook_driver::book::BookItem;
use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use tests::book::{chapters, folder, links};

/// Pages of the book as built, by path below its folder, each with the names that a link may lead to.
struct Built {
    _folder: tempfile::TempDir,
    top: PathBuf,
    pages: BTreeMap<PathBuf, String>,
}

impl Built {
    fn new() -> Self {
        let into = tempfile::tempdir().expect("a folder");
        let mut book = MDBook::load(folder()).expect("the book can be read");
        book.config.build.build_dir = into.path().to_owned();
        book.build().expect("the book can be built");
        let top = into.path().to_owned();
        let mut pages = BTreeMap::new();
        let chapters = chapters();
        for path in chapters
            .keys()
            .filter(|path| *path != Path::new("SUMMARY.md"))
        {
            let page = path.with_extension("html");
            let text = fs::read_to_string(top.join(&page));
            pages.insert(
                page,
                text.unwrap_or_else(|error| panic!("{}: {error}", path.display())),
            );
        }
        Self {
            _folder: into,
            top,
            pages,
        }
    }

    /// What is wrong with a link on a page; one that leaves the book leads to a file of the sources.
    fn wrong(&self, page: &Path, link: &str) -> Option<String> {
        let (file, name) = link.split_once('#').unwrap_or((link, ""));
        let beside = page.parent().expect("a page lies in a folder");
        let target = match file {
            "" => page.to_owned(),
            file => plain(&beside.join(file)),
        };
        if let Some(text) = self.pages.get(&target) {
            let there = name.is_empty() || text.contains(&format!("id=\"{name}\""));
            return (!there).then(|| format!("nothing in {} is called {name}", target.display()));
        }
        if self.top.join(&target).is_file() {
            return None;
        }
        let in_sources = folder().join("src").join(beside).join(file);
        (!in_sources.exists()).then(|| format!("{} is not there", in_sources.display()))
    }
}

/// Without `..`, as far as it stays below where it starts.
fn plain(path: &Path) -> PathBuf {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            std::path::Component::ParentDir if plain.pop() => {}
            part => plain.push(part),
        }
    }
    plain
}

fn is_elsewhere(link: &str) -> bool {
    ["http:", "https:", "mailto:"]
        .iter()
        .any(|scheme| link.starts_with(scheme))
}

/// The values of an attribute in HTML.
fn attributes<'t>(html: &'t str, name: &str) -> Vec<&'t str> {
    let mark = format!(" {name}=\"");
    let values = html.split(mark.as_str()).skip(1);
    values.filter_map(|rest| rest.split('"').next()).collect()
}

#[test]
fn the_summary_lists_every_chapter_and_no_other() {
    let book = MDBook::load(folder()).expect("the book can be read");
    let listed = book.iter().filter_map(|item| match item {
        BookItem::Chapter(chapter) => chapter.source_path.clone(),
        _ => None,
    });
    let listed: Vec<PathBuf> = listed.collect();
    let mut all: BTreeSet<PathBuf> = chapters().into_keys().collect();
    all.remove(Path::new("SUMMARY.md"));
    assert_eq!(listed.len(), all.len(), "each chapter once");
    assert_eq!(listed.into_iter().collect::<BTreeSet<_>>(), all);
}

#[test]
fn every_link_of_the_book_leads_somewhere() {
    let built = Built::new();
    let mut followed = 0;
    let mut wrong = Vec::new();
    for (page, html) in &built.pages {
        let found = [attributes(html, "href"), attributes(html, "src")].concat();
        for link in found.into_iter().filter(|link| !is_elsewhere(link)) {
            followed += 1;
            let why = built.wrong(page, link);
            wrong.extend(why.map(|why| format!("{}: {link}: {why}", page.display())));
        }
    }
    for name in BESIDE {
        for link in links(&beside(name))
            .into_iter()
            .filter(|link| !is_elsewhere(link))
        {
            followed += 1;
            // From the top the chapters lie below `book/src`.
            let why = match link.strip_prefix("book/src/") {
                Some(inside) => {
                    built.wrong(Path::new("x.html"), &inside.replacen(".md", ".html", 1))
                }
                None => (!top().join(link).exists()).then(|| "is not there".to_owned()),
            };
            wrong.extend(why.map(|why| format!("{name}: {link}: {why}")));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(followed > 300, "only {followed} links were followed");
}

/// More than this in pictures is a burden for whoever fetches the sources [bytes].
const MOST_PICTURES: u64 = 1_500_000;

#[test]
fn every_picture_is_shown_and_all_are_small() {
    let texts: Vec<String> = chapters().into_values().collect();
    let mut bytes = 0;
    for entry in fs::read_dir(folder().join("src/pictures")).expect("pictures") {
        let entry = entry.expect("it can be listed");
        let name = entry.file_name().into_string().expect("a plain name");
        let shown = format!("pictures/{name})");
        assert!(
            texts.iter().any(|text| text.contains(&shown)),
            "{name} is shown nowhere"
        );
        bytes += entry.metadata().expect("a file").len();
    }
    assert!(bytes < MOST_PICTURES, "{bytes} bytes");
}
