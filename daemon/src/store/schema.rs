//! The store's layout through the versions, and how an older file is brought forward.

use super::StoreError;
use rusqlite::{Connection, TransactionBehavior};

/// Written into the file's header, so that no other program's database is taken for a store.
pub(super) const APPLICATION_ID: i64 = 0x4e6f_6f6e; // "Noon" in ASCII

/// One script per version, oldest first. A published script is never edited; append a new one.
pub(super) const MIGRATIONS: &[&str] = &[
    include_str!("schema_1.sql"),
    include_str!("schema_2.sql"),
    include_str!("schema_3.sql"),
    include_str!("schema_4.sql"),
    include_str!("schema_5.sql"),
    include_str!("schema_6.sql"),
    include_str!("schema_7.sql"),
    include_str!("schema_8.sql"),
    include_str!("schema_9.sql"),
    include_str!("schema_10.sql"),
    include_str!("schema_11.sql"),
];

/// What the header of a file says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Origin {
    /// Nothing has been written yet.
    Empty,
    /// A store with the layout of this version.
    Ours(i64),
}

/// Whose the file is and which version it has. Writes nothing.
pub(super) fn origin(db: &Connection) -> Result<Origin, StoreError> {
    let doing = "read the header of the store";
    let number = |sql: &str| {
        db.query_row(sql, [], |row| row.get::<_, i64>(0))
            .map_err(StoreError::at(doing))
    };
    let application_id = number("PRAGMA application_id")?;
    if application_id == APPLICATION_ID {
        return Ok(Origin::Ours(number("PRAGMA user_version")?));
    }
    let tables = number("SELECT count(*) FROM sqlite_schema")?;
    if application_id == 0 && tables == 0 {
        return Ok(Origin::Empty);
    }
    Err(StoreError::NotOurs {
        found: application_id,
        wanted: APPLICATION_ID,
    })
}

/// Refuses a version that this program does not know.
pub(super) fn refuse_newer(version: i64, migrations: &[&str]) -> Result<(), StoreError> {
    let known = migrations.len() as i64;
    if version > known || version < 0 {
        return Err(StoreError::Newer {
            found: version,
            known,
        });
    }
    Ok(())
}

/// Brings the file from `version` to the newest one, each script in a transaction of its own.
pub(super) fn migrate(
    db: &mut Connection,
    version: i64,
    migrations: &[&str],
) -> Result<(), StoreError> {
    let doing = "bring the store to the newest layout";
    for (done, script) in migrations.iter().enumerate().skip(version as usize) {
        let change = db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::at(doing))?;
        let header = format!(
            "PRAGMA application_id = {APPLICATION_ID}; PRAGMA user_version = {};",
            done + 1
        );
        change
            .execute_batch(script)
            .and_then(|()| change.execute_batch(&header))
            .and_then(|()| change.commit())
            .map_err(StoreError::at(doing))?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn memory() -> Connection {
        Connection::open_in_memory().expect("memory needs no file")
    }

    #[test]
    fn every_version_is_reached_from_every_earlier_one() {
        for version in 0..=MIGRATIONS.len() {
            let mut db = memory();
            migrate(&mut db, 0, &MIGRATIONS[..version]).expect("earlier scripts hold");
            migrate(&mut db, version as i64, MIGRATIONS).expect("later scripts hold");
            let newest = Origin::Ours(MIGRATIONS.len() as i64);
            assert_eq!(origin(&db).expect("ours"), newest);
        }
    }

    #[test]
    fn slots_from_before_limits_had_names_keep_their_numbers_and_have_none() {
        let mut db = memory();
        migrate(&mut db, 0, &MIGRATIONS[..1]).expect("the first script holds");
        db.execute_batch(
            "INSERT INTO inverter VALUES (1, 'inv-1');
             INSERT INTO slot VALUES (0, 300000);
             INSERT INTO inverter_slot VALUES (0, 1, 900.0, 1000.0);
             INSERT INTO input_slot VALUES (0, 1, 2, 500.0, 2.0, 510.0, 2.1, 5.0, 0.1, 'limited');",
        )
        .expect("rows of the first layout");
        migrate(&mut db, 1, MIGRATIONS).expect("later scripts hold");
        let row: (f64, Option<String>, String, Option<String>) = db
            .query_row(
                "SELECT i.expected_ac_power_w, i.acting_limit, k.gate, k.acting_limit
                 FROM inverter_slot i JOIN input_slot k USING (start_utc_ms, inverter)",
                [],
                |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
            )
            .expect("one row");
        assert_eq!(row, (1000.0, None, "limited".to_owned(), None));
    }

    #[test]
    fn mails_from_before_there_were_other_ways_wait_as_before_with_their_news() {
        let mut db = memory();
        migrate(&mut db, 0, &MIGRATIONS[..8]).expect("earlier scripts hold");
        db.execute_batch(
            "INSERT INTO finding
                 VALUES ('a', 'shed', NULL, NULL, 'grid_trip', 'soon', 0, 0, NULL, '{}');
             INSERT INTO news VALUES (7, 1000, 'a', 'found');
             INSERT INTO mail VALUES (3, 'one@example.org', 'news', NULL, '<1@x>', 2000, 4, 9000, 'no', NULL);
             INSERT INTO mail VALUES (4, 'one@example.org', 'day', '2026-06-21', '<2@x>', 3000, 1, NULL, NULL, 3500);
             INSERT INTO mail_news VALUES (7, 3);",
        )
        .expect("rows of the layout before");
        migrate(&mut db, 8, MIGRATIONS).expect("later scripts hold");
        let row = |id: i64| {
            db.query_row(
                "SELECT way || ' ' || target || ' ' || about || ' ' || stable_id, tries, next_try_utc_ms,
                     (SELECT news FROM delivery_news WHERE delivery = delivery.id)
                 FROM delivery WHERE id = ?1",
                [id],
                |row| Ok((row.get::<_, String>(0)?, row.get(1)?, row.get(2)?, row.get(3)?)),
            )
            .expect("it is there")
        };
        let wanted: (String, i64, Option<i64>, Option<i64>) = (
            "mail one@example.org news <1@x>".to_owned(),
            4,
            Some(9000),
            Some(7),
        );
        assert_eq!(row(3), wanted);
        assert_eq!(row(4).1, 1);
        // A summary is made once, as before; one to another target is another.
        let again = "INSERT INTO delivery (way, target, about, period, stable_id, made_utc_ms)
                     VALUES (?1, 'one@example.org', 'day', '2026-06-21', '<3@x>', 4000)";
        db.execute(again, ["mail"]).expect_err("it is there");
        db.execute(again, ["webhook"]).expect("another way");
        db.execute(again, ["pigeon"]).expect_err("no such way");
    }

    #[test]
    fn readings_from_before_devices_could_say_that_they_are_wrong_stay_as_they_are() {
        let mut db = memory();
        migrate(&mut db, 0, &MIGRATIONS[..10]).expect("earlier scripts hold");
        db.execute_batch(
            "INSERT INTO channel VALUES (1, 'shed/ac_power_w');
             INSERT INTO reading VALUES (1, 10, 900.5, 0), (1, 20, 1e9, 1), (1, 30, NULL, 2);",
        )
        .expect("rows of the layout before");
        let faulty = "INSERT INTO reading VALUES (1, 40, 3.5, 3), (1, 50, NULL, 4)";
        db.execute(faulty, []).expect_err("not yet");
        migrate(&mut db, 10, MIGRATIONS).expect("the last script holds");
        db.execute(faulty, []).expect("now");
        for wrong in ["3.5, 2", "NULL, 3", "3.5, 4", "3.5, 5"] {
            let wrong = format!("INSERT INTO reading VALUES (1, 60, {wrong})");
            db.execute(&wrong, []).expect_err("no such quality with it");
        }
        let all: String = db
            .query_row(
                "SELECT group_concat(at_utc_ms || ' ' || ifnull(value, '-') || ' ' || quality, ', ')
                 FROM reading ORDER BY at_utc_ms",
                [],
                |row| row.get(0),
            )
            .expect("reads");
        assert_eq!(
            all,
            "10 900.5 0, 20 1000000000.0 1, 30 - 2, 40 3.5 3, 50 - 4"
        );
        let sound: String = db
            .query_row("PRAGMA integrity_check", [], |row| row.get(0))
            .expect("checks");
        assert_eq!(sound, "ok");
    }

    #[test]
    fn a_table_whose_text_is_another_is_an_error_and_stays() {
        let mut db = memory();
        migrate(&mut db, 0, &MIGRATIONS[..10]).expect("earlier scripts hold");
        db.execute_batch(
            "DROP TABLE reading;
             CREATE TABLE reading (value REAL, quality INTEGER CHECK (quality IN (0,1,2))) STRICT;",
        )
        .expect("a table of somebody else");
        migrate(&mut db, 10, MIGRATIONS).expect_err("what is sought is not there");
        assert_eq!(origin(&db).expect("ours"), Origin::Ours(10));
    }

    #[test]
    fn a_script_that_fails_leaves_the_version_before_it() {
        let scripts = [
            "CREATE TABLE a (x INTEGER)",
            "CREATE TABLE b (x INTEGER); SELECT no_such_function();",
        ];
        let mut db = memory();
        migrate(&mut db, 0, &scripts).expect_err("the second script is wrong");
        assert_eq!(origin(&db).expect("ours"), Origin::Ours(1));
        let tables: String = db
            .query_row("SELECT group_concat(name) FROM sqlite_schema", [], |r| {
                r.get(0)
            })
            .expect("schema reads");
        assert_eq!(tables, "a");
    }

    #[test]
    fn a_database_of_another_program_is_refused() {
        let db = memory();
        db.execute_batch("CREATE TABLE notes (text TEXT)")
            .expect("plain table");
        let refused = origin(&db).expect_err("not ours");
        assert!(matches!(refused, StoreError::NotOurs { found: 0, .. }));
    }
}
