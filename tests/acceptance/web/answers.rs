//! What people say comes back on the page and stands in the store.

use super::Plant;
use analysis::reading::{Span, Time};
use daemon::store::{Layout, Store, What};
use daemon::web::link::{Key, Purpose, path, sign};

fn store(plant: &Plant) -> Store {
    let layout = Layout::of(&plant.site.checked().plant);
    Store::open_to_read(&plant.site.store(), &layout).expect("it is there")
}

#[test]
fn a_finding_is_shown_answered_and_the_answer_stays() {
    let plant = Plant::start("");
    let id = plant.found();
    let mut browser = plant.browser();
    let overview = browser.get("/");
    assert!(
        overview
            .body
            .contains("A string carries nothing: hut input 2"),
        "{}",
        overview.body
    );
    assert!(
        overview.body.contains("thing wants a person")
            || overview.body.contains("things want a person")
    );
    let shown = browser.get(&format!("/findings/{id}"));
    assert!(shown.body.contains("What can hurt") && shown.body.contains("What to do"));
    let token = shown.token();
    let answers = format!("/findings/{id}/answers");
    let say = |browser: &mut tests::Browser, form: &str| {
        let form = format!("token={token}&{form}");
        browser.post(&answers, &[], &form)
    };
    let seen = say(
        &mut browser,
        "what=acknowledged&who=Night+shift&text=fuse+is+on+its+way",
    );
    assert_eq!(seen.status, 303, "{}", seen.body);
    let waits = say(&mut browser, "what=snoozed&until=2026-03-27&who=&text=");
    assert_eq!(waits.status, 303, "{}", waits.body);
    let past = say(&mut browser, "what=snoozed&until=2026-03-01");
    assert_eq!(past.status, 400);
    assert!(past.body.contains("which is past"), "{}", past.body);
    assert_eq!(say(&mut browser, "what=note&text=").status, 400);
    assert_eq!(say(&mut browser, "what=delete").status, 400);
    assert_eq!(
        browser
            .post(
                "/findings/none.such.1/answers",
                &[],
                &format!("token={token}&what=acknowledged")
            )
            .status,
        404
    );

    let shown = browser.get(&format!("/findings/{id}")).body;
    assert!(shown.contains("Night shift (technician)") && shown.contains("fuse is on its way"));
    let found = browser.get(&format!("/api/v1/findings/{id}")).json();
    assert_eq!(found["responses"][0]["what"], "acknowledged");
    assert_eq!(found["responses"][1]["until_utc"], "2026-03-27T00:00:00Z");
    let overview = browser.get("/api/v1/overview").json();
    let open = overview["findings"].as_array().expect("a list");
    assert!(open.iter().all(|f| f["id"] != id.as_str()), "it may wait");
    assert!(
        overview["snoozed"]
            .as_array()
            .expect("a list")
            .iter()
            .any(|f| f["id"] == id.as_str())
    );

    let store = store(&plant);
    let stored = store.responses_to(&id).expect("reads");
    let stored: Vec<_> = stored.iter().map(|r| (r.what, r.who.as_str())).collect();
    let wanted = [
        (What::Acknowledged, "Night shift (technician)"),
        (What::Snoozed, "technician"),
    ];
    assert_eq!(stored, wanted);
    let audit = store.audit().expect("reads");
    let answered = audit
        .iter()
        .filter(|a| a.event == "answered" && a.subject.contains(&id));
    assert_eq!(answered.count(), 2);
    let ended = plant.program.terminate();
    assert_eq!(ended.code, Some(0), "{}", ended.err);
}

#[test]
fn a_link_in_a_mail_acknowledges_one_finding_and_asks_first() {
    let plant = Plant::start("");
    let id = plant.found();
    let key = Key::of_folder(&plant.site.out()).expect("the daemon's");
    let far = Time::from_unix_ms(1_900_000_000_000);
    let token = sign(&key, Purpose::Acknowledge, &id, far);
    let mut browser = plant.browser();
    let asked = browser.get(&path(Purpose::Acknowledge, &id, &token));
    assert_eq!(asked.status, 200, "{}", asked.body);
    let count = || store(&plant).responses_to(&id).expect("reads").len();
    assert_eq!(count(), 0, "whoever looks into mails follows links");
    let form = format!("token={}&link={token}", asked.token());
    let done = browser.post(&format!("/link/acknowledge/{id}"), &[], &form);
    assert_eq!(done.status, 200, "{}", done.body);
    assert_eq!(count(), 1);
    let again = browser.post(&format!("/link/acknowledge/{id}"), &[], &form);
    assert_eq!((again.status, count()), (200, 1), "it says nothing new");
    let other = browser.get(&path(Purpose::Acknowledge, "hut.link_lost.1", &token));
    assert_eq!(other.status, 403);
    let over = sign(
        &key,
        Purpose::Acknowledge,
        &id,
        Time::from_unix_ms(0) + Span::from_h(1),
    );
    let expired = browser.get(&path(Purpose::Acknowledge, &id, &over));
    assert!(
        expired.status == 403 && expired.body.contains("expired"),
        "{}",
        expired.body
    );
}
