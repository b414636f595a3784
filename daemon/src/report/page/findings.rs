//! Findings as the page shows them.
//! Never in here: wording of what was found.

use super::Whole;
use crate::text;
use crate::text::evidence::Row;
use analysis::diagnose::Finding;

/// One finding.
pub struct View {
    pub id: String,
    pub title: String,
    pub severity: &'static str,
    pub asks: &'static str,
    pub stands: bool,
    pub began: String,
    pub ended: String,
    pub found: String,
    pub confidence: String,
    pub summary: String,
    /// Nothing where no loss would be seen in the number.
    pub lost: Option<String>,
    pub causes: Vec<(String, String)>,
    pub evidence: Vec<Row>,
    pub advice: Vec<String>,
    pub caution: Vec<String>,
}

/// The findings of the period: those that stand before those that have ended, the more urgent first.
pub fn views(whole: &Whole) -> Vec<View> {
    let mut findings: Vec<&Finding> = whole.findings.iter().collect();
    findings.sort_by_key(|f| {
        let urgent = std::cmp::Reverse((whole.stands(f), f.severity));
        (urgent, f.began, &f.id)
    });
    findings.into_iter().map(|f| view(whole, f)).collect()
}

fn view(whole: &Whole, finding: &Finding) -> View {
    let site = &whole.about.plant.site;
    let (severity, asks) = (finding.severity.name(), finding.severity.meaning());
    let is_seen = finding.lost.wh() >= text::LEAST_SHOWN_WH;
    let kwh = text::kwh(finding.lost);
    let money = text::money(finding.lost, site).map(|money| format!(", {money}"));
    let causes = finding.causes.iter();
    View {
        id: finding.id.to_string(),
        title: finding.title(),
        severity,
        asks,
        stands: whole.stands(finding),
        began: whole.local(finding.began),
        ended: finding
            .ended
            .map_or_else(String::new, |end| whole.local(end)),
        found: whole.local(finding.found),
        confidence: text::sure(finding.confidence),
        summary: finding.summary.clone(),
        lost: is_seen.then(|| format!("{kwh}{}", money.unwrap_or_default())),
        causes: causes
            .map(|c| (c.cause.clone(), text::sure(c.probability)))
            .collect(),
        evidence: text::evidence::rows(&finding.evidence, whole.about.timezone),
        advice: finding.advice.clone(),
        caution: finding.caution.clone(),
    }
}
