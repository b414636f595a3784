//! Mails of an invented site, as readers see them. Property of our own rules.

use super::*;
use analysis::detect::Kind;
use analysis::diagnose::{Evidence, FindingId, Subject};
use analysis::reading::{DeviceId, Span, Time};
use config::checked::SiteFile;
use std::path::Path;

fn site() -> SiteFile {
    let text = include_str!("../../../config/sites/quince-row-dairy.toml");
    config::parse("an example", text, Path::new("")).expect("it is checked")
}

fn told(kind: Kind, input: u8, minute: i64, is_over: bool) -> Told {
    let began = Time::from_unix_ms(1_782_129_600_000) + Span::from_min(minute);
    let subject = Subject::input(&DeviceId::new("shed"), input);
    let finding = Finding {
        id: FindingId::new(&subject, kind, began),
        subject,
        kind,
        severity: kind.severity(),
        began,
        found: began,
        ended: is_over.then_some(began + Span::from_min(1)),
        confidence: 0.999,
        causes: Vec::new(),
        evidence: Evidence::new(),
        lost: Energy::from_wh(100.0),
        summary: "<b>told</b>".to_owned(),
        advice: vec!["first".to_owned()],
        caution: vec!["what can hurt".to_owned()],
    };
    Told {
        finding,
        news: vec![Turn::Found],
        link: None,
    }
}

fn letter(to: usize, told: &[Told]) -> Letter {
    let file = site();
    let site = Site {
        plant: &file.plant,
        timezone: file.timezone,
        readers: &file.alerts.readers,
    };
    news(site, &file.alerts.readers[to], told, None)
}

#[test]
fn repeats_are_one_place_and_no_more_things() {
    let repeats = (0..110).map(|n| told(Kind::ProtectionActed, 1, n, true));
    let letter = letter(1, &repeats.collect::<Vec<_>>());
    assert_eq!(
        letter.subject,
        "Quince Row dairy: Came and went: A protection has acted"
    );
    assert!(
        letter.text.contains("shed, input 1 (110 times): over"),
        "{}",
        letter.text
    );
    assert!(letter.text.contains("Lost: 11.0 kWh"), "{}", letter.text);
    assert_eq!(letter.text.matches("what can hurt").count(), 1);
}

#[test]
fn what_was_told_is_over_and_what_was_not_came_and_went() {
    let mut over = told(Kind::StringOpen, 1, 0, true);
    let first = letter(1, std::slice::from_ref(&over));
    assert!(
        first
            .text
            .contains("Something was found that is over again.")
    );
    over.news = vec![Turn::Ended];
    let later = letter(1, &[over]);
    assert!(later.subject.contains("Over: A string carries nothing"));
    assert!(later.text.contains("What you were told of is over."));
}

#[test]
fn what_stands_is_not_over_because_another_of_its_kind_is_and_what_got_worse_unheard_is_new() {
    let mut stands = told(Kind::ProtectionActed, 1, 0, false);
    stands.news = vec![Turn::Found, Turn::Worse];
    let after = told(Kind::ProtectionActed, 1, 5, true);
    let mail = letter(1, &[stands.clone(), after]);
    assert!(
        mail.text.contains("shed, input 1 (2 times): new"),
        "{}",
        mail.text
    );
    stands.news = vec![Turn::Worse];
    let mail = letter(1, &[stands]);
    assert_eq!(
        mail.subject,
        "Quince Row dairy: More urgent: A protection has acted"
    );
    assert!(mail.text.contains("is more urgent than before."));
    assert!(
        mail.text.contains("shed, input 1: more urgent than before"),
        "{}",
        mail.text
    );
}

/// Of one day in which so much was expected, measured, held back and not recorded [Wh].
#[test]
fn a_summary_says_what_is_not_known_and_what_limits_held_back() {
    use analysis::array::Limit;
    use analysis::ledger::Entry;
    let says = |measured: f64, limited: f64, not_recorded: f64| {
        let mut entry = Entry::new(Time::from_unix_ms(0), 0);
        entry.expected = Energy::from_wh(1000.0);
        entry.measured = Energy::from_wh(measured);
        entry
            .limited
            .insert(Limit::Command, Energy::from_wh(limited));
        entry.not_recorded = Energy::from_wh(not_recorded);
        let mut balance = Balance::zero();
        balance.add(&entry);
        in_a_sentence(&balance, &[])
    };
    assert_eq!(
        says(600.0, 0.0, 400.0),
        "The plant made 100.0 % of what the weather allowed; nothing is wrong that we know of."
    );
    assert!(says(600.0, 400.0, 0.0).contains("and limits held back the rest; nothing is wrong"));
    assert!(says(600.0, 0.0, 0.0).ends_with("nothing stands that says where the rest went."));
    assert!(says(100.0, 0.0, 900.0).contains("most of the light was not recorded"));
}

/// In a light that nothing shows a plant produces all the same.
#[test]
fn a_summary_counts_what_was_produced_in_a_light_that_is_not_known() {
    use analysis::ledger::Entry;
    let file = site();
    let site = Site {
        plant: &file.plant,
        timezone: file.timezone,
        readers: &file.alerts.readers,
    };
    let mail = |not_compared: f64| {
        let mut entry = Entry::new(Time::from_unix_ms(0), 0);
        entry.expected = Energy::from_wh(100e3);
        entry.measured = Energy::from_wh(99e3);
        entry.not_compared = Energy::from_wh(not_compared);
        let mut balance = Balance::zero();
        balance.add(&entry);
        let period = Of {
            name: "June 2026",
            readings_from: None,
        };
        summary(site, &file.alerts.readers[0], period, &balance, &[]).text
    };
    let text = mail(50e3);
    let beside = "of that, while the light was not known: 50.0 kWh";
    assert!(
        text.contains("produced: 149.0 kWh") && text.contains(beside),
        "{text}"
    );
    assert!(text.contains("The plant made 99.0 % of what"), "{text}");
    // Dusk and dawn are not worth a word.
    let text = mail(500.0);
    assert!(
        text.contains("produced: 99.5 kWh") && !text.contains("not known"),
        "{text}"
    );
}

/// The first month of a plant is seldom a whole one.
#[test]
fn a_summary_of_a_part_of_a_month_says_so() {
    let file = site();
    let site = Site {
        plant: &file.plant,
        timezone: file.timezone,
        readers: &file.alerts.readers,
    };
    let mail = |readings_from| {
        let period = Of {
            name: "June 2026",
            readings_from,
        };
        summary(site, &file.alerts.readers[0], period, &Balance::zero(), &[])
    };
    let part = mail(NaiveDate::from_ymd_opt(2026, 6, 22));
    let words = "There are readings from 22 June 2026 on, and this is about these days alone. What";
    assert!(part.text.contains(words), "{}", part.text);
    assert!(part.html.contains(words), "{}", part.html);
    assert!(!mail(None).text.contains("There are readings"));
}

#[test]
fn what_is_over_is_no_more_of_what_stands() {
    let stands = told(Kind::StringOpen, 1, 0, false);
    let over = told(Kind::InputDead, 2, 1, true);
    let subject = letter(1, &[stands, over]).subject;
    assert_eq!(subject, "Quince Row dairy: A string carries nothing");
}

#[test]
fn a_hazard_comes_first_and_asks_to_act() {
    let both = [
        told(Kind::StringOpen, 1, 0, false),
        told(Kind::IsolationLow, 2, 1, false),
    ];
    let letter = letter(0, &both);
    assert_eq!(
        letter.subject,
        "Quince Row dairy: Please act today: Insulation too low, and 1 more"
    );
    let at = |text: &str| {
        letter
            .text
            .find(text)
            .unwrap_or_else(|| panic!("{text}: {}", letter.text))
    };
    assert!(at("INSULATION TOO LOW (today)") < at("A STRING CARRIES NOTHING (within days)"));
    assert!(at("have a licensed electrician look at it today") < at("service@example.org"));
}

#[test]
fn what_others_wrote_is_no_part_of_the_page() {
    let letter = letter(1, &[told(Kind::StringOpen, 1, 0, false)]);
    assert!(!letter.html.contains("<b>told</b>") && letter.text.contains("<b>told</b>"));
    assert!(
        letter.text.contains("Sure to more than 99 %"),
        "{}",
        letter.text
    );
}

fn of_device(device: &str, kind: Kind, minute: i64, is_over: bool) -> Told {
    let mut told = told(kind, 1, minute, is_over);
    let subject = Subject::device(&DeviceId::new(device));
    told.finding.id = FindingId::new(&subject, kind, told.finding.began);
    told.finding.subject = subject;
    told.link = Some(format!("https://dairy.example.org/link/{device}"));
    told
}

/// Whoever goes there must not read of one place alone.
#[test]
fn the_first_checks_name_every_place_where_it_stands() {
    let at = |device: &str, is_over| {
        let mut told = of_device(device, Kind::IsolationLow, 0, is_over);
        told.finding.advice = vec![
            format!("Keep away from the array of {device}."),
            "Find the string.".to_owned(),
        ];
        told
    };
    let text = letter(1, &[at("shed", false), at("hall", false), at("barn", true)]).text;
    let checks = text
        .split("First checks:\n")
        .nth(1)
        .expect("they are there");
    let wanted = "  1. Keep away from the array of shed.\n  2. Keep away from the array of hall.\n  \
                  3. Find the string.\n";
    assert!(checks.starts_with(wanted), "{checks}");
    let many: Vec<_> = (0..6).map(|n| at(&format!("i{n}"), false)).collect();
    let text = letter(1, &many).text;
    assert_eq!(text.matches("Keep away").count(), 4);
    assert!(text.contains("5. The same at every other place named above.\n  6. Find"));
}

#[test]
fn what_is_at_every_inverter_in_the_same_time_is_one_line_about_the_whole_site() {
    let trips = [
        of_device("shed", Kind::GridTrip, 0, true),
        of_device("hall", Kind::GridTrip, 4, true),
        of_device("hall", Kind::GridTrip, 120, true),
        of_device("shed", Kind::GridTrip, 121, true),
    ];
    let mail = letter(1, &trips);
    assert!(
        mail.subject.ends_with(Kind::GridTrip.title()),
        "one thing: {}",
        mail.subject
    );
    let line = "the whole site (hall, shed) (2 times): over";
    assert!(mail.text.contains(line), "{}", mail.text);
    assert!(
        mail.text.contains("look for one cause of all"),
        "{}",
        mail.text
    );
    assert!(mail.html.contains("the whole site (hall, shed) (2 times)"));
    assert_eq!(mail.text.matches("Since ").count(), 1);

    // Each is acknowledged alone.
    let lost = [
        of_device("shed", Kind::LinkLost, 0, false),
        of_device("hall", Kind::LinkLost, 1, false),
        of_device("mast", Kind::LinkLost, 1, false),
    ];
    let mail = letter(1, &lost);
    assert!(
        mail.text.contains("the whole site (hall, mast, shed): new"),
        "{}",
        mail.text
    );
    assert_eq!(mail.text.matches("/link/").count(), 3);
}

#[test]
fn what_is_at_one_inverter_or_at_another_time_is_told_by_place() {
    for apart in [
        vec![of_device("shed", Kind::GridTrip, 0, true)],
        vec![
            of_device("shed", Kind::GridTrip, 0, true),
            of_device("hall", Kind::GridTrip, 30, true),
        ],
        vec![
            of_device("shed", Kind::LinkLost, 0, false),
            of_device("hall", Kind::LinkLost, 0, true),
        ],
        vec![
            told(Kind::StringOpen, 1, 0, false),
            told(Kind::StringOpen, 2, 0, false),
        ],
    ] {
        let mail = letter(1, &apart);
        assert!(!mail.text.contains("whole site"), "{}", mail.text);
        assert_eq!(mail.text.matches("Since ").count(), apart.len());
    }
}
