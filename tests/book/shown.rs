//! What stands beside a picture: what was told, and how to read it where the book has not said so once.
//! Never in here: what to do (the program knows that without a plant).

use super::scene::Show;
use analysis::chart::Picture;
use analysis::diagnose::Finding;
use daemon::text;

/// In Markdown, for a chapter one folder below the pictures' parent.
pub fn text(finding: &Finding, show: Show, picture: &Picture) -> String {
    let kind = finding.kind.name();
    let title = picture.title.replace(['[', ']'], "");
    let causes = finding.causes.iter().map(|cause| {
        let share = text::sure(cause.probability);
        format!("{} ({share})", cause.cause)
    });
    let causes: Vec<String> = causes.collect();
    let reading = match show {
        Show::InputDay | Show::DayFound | Show::BrightDay | Show::Plant => String::new(),
        _ => format!("{}\n\n", picture.reading),
    };
    format!(
        "![{title}](../pictures/{kind}.svg)\n\n{reading}\
         > Told of this invented plant, {} sure: {}\n>\n> Most likely causes: {}.\n",
        text::sure(finding.confidence),
        finding.summary,
        causes.join("; ")
    )
}
