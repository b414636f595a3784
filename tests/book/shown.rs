//! What stands beside a picture: what was told, what comes before the first checks of its kind, and how to
//! read it where the book has not said so once.
//! Never in here: what goes with the kind (the program knows that without a plant).

use super::scene::Show;
use analysis::chart::Picture;
use analysis::diagnose::{Finding, advice, caution};
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
        Show::InputDay | Show::DayFound | Show::BrightDay | Show::Plant | Show::PlantNextDay => {
            String::new()
        }
        _ => format!("{}\n\n", picture.reading),
    };
    let (steps, hurts) = (
        advice(finding.kind, &finding.subject),
        caution(finding.kind),
    );
    let steps = finding.advice.iter().filter(|line| !steps.contains(line));
    let hurts = finding.caution.iter().filter(|line| !hurts.contains(line));
    let first: Vec<&str> = steps.chain(hurts).map(String::as_str).collect();
    let first = match &first[..] {
        [] => String::new(),
        lines => format!(">\n> First of all: {}\n", lines.join(" ")),
    };
    format!(
        "![{title}](../pictures/{kind}.svg)\n\n{reading}\
         > Told of this invented plant, {} sure: {}\n>\n> Most likely causes: {}.\n{first}",
        text::sure(finding.confidence),
        finding.summary,
        causes.join("; ")
    )
}
