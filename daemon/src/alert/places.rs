//! Where something is: at one place, or at all inverters of the site at the same time, which has one cause
//! and is one thing to whoever reads of it.
//! Never in here: words.

use super::letter::Told;
use analysis::diagnose::Subject;
use analysis::plant::Plant;
use analysis::reading::Span;
use std::collections::{BTreeMap, BTreeSet};

/// One cause is seen at all inverters within so long: polls are minutes apart at most, and an inverter
/// may take minutes to say why it has left the supply (common practice).
const SAME_TIME: Span = Span::from_min(10);

/// What is told of one place.
pub struct At<'a> {
    /// The place; `None` where it is the whole site.
    pub subject: Option<&'a Subject>,
    /// In the order in which it began.
    pub told: Vec<&'a Told>,
    /// How often it happened there.
    pub times: usize,
}

/// The places of findings of one kind, the whole site first.
pub fn places<'a>(plant: &Plant, told: &[&'a Told]) -> Vec<At<'a>> {
    let mut told = told.to_vec();
    told.sort_by_key(|t| t.finding.began);
    let inverters: BTreeSet<&str> = plant.inverters.iter().map(|i| i.id.as_str()).collect();
    let (of_devices, mut rest): (Vec<&Told>, Vec<&Told>) = told
        .into_iter()
        .partition(|t| t.finding.subject.input.is_none());
    let (mut whole, mut times) = (Vec::new(), 0);
    for episode in of_devices.chunk_by(|a, b| b.finding.began - a.finding.began <= SAME_TIME) {
        if is_everywhere(episode, &inverters) {
            whole.extend(episode);
            times += 1;
        } else {
            rest.extend(episode);
        }
    }
    let mut all = Vec::new();
    if times > 0 {
        all.push(At {
            subject: None,
            told: whole,
            times,
        });
    }
    let mut single: BTreeMap<&Subject, Vec<&Told>> = BTreeMap::new();
    rest.sort_by_key(|t| t.finding.began);
    for told in rest {
        single.entry(&told.finding.subject).or_default().push(told);
    }
    all.extend(single.into_iter().map(|(subject, told)| At {
        subject: Some(subject),
        times: told.len(),
        told,
    }));
    all
}

/// Whether it is at every inverter, and over at all of them or at none.
fn is_everywhere(episode: &[&Told], inverters: &BTreeSet<&str>) -> bool {
    let devices = episode.iter().map(|t| t.finding.subject.device.as_str());
    let devices: BTreeSet<&str> = devices.collect();
    let over = episode.iter().filter(|t| t.finding.ended.is_some()).count();
    inverters.len() > 1 && devices.is_superset(inverters) && (over == 0 || over == episode.len())
}
