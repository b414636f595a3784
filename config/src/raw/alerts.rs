//! `[alerts]` and the tables in it: who is told, when, and how.

use super::{FALSE_ALARMS_PER_INVERTER_YEAR, NAME, range};
use crate::shape::Name;
use crate::table::Need::{Default, Optional, Required};
use crate::table::{Rule, table};
use chrono::NaiveTime;

/// Where the site file says nothing: a day, and few enough mails that each is read.
const REMIND_AFTER_H: f64 = 24.0;
const MOST_MAILS_PER_DAY: f64 = 4.0;
/// What programs are told of; people are not mailed for a note alone.
const TOLD_FROM: Rule = Rule::OneOf(&["now", "soon", "plan", "note"]);

const TIME_OF_DAY: Rule = Rule::Words("time of day at the site");
table! {
    /// `[alerts]`
    Alerts {
        false_alarms_per_inverter_year: f64, Default(FALSE_ALARMS_PER_INVERTER_YEAR), range(0.001, 10.0, "1/year"),
            "findings of severity plan or above that a healthy inverter may give";
        quiet_from: NaiveTime, Optional("no quiet hours"), TIME_OF_DAY,
            "from here to quiet_to only what is a hazard is mailed; goes with quiet_to";
        quiet_to: NaiveTime, Optional("no quiet hours"), TIME_OF_DAY, "end of the quiet hours";
        summary_at: NaiveTime, Optional("07:00"), TIME_OF_DAY, "when daily and monthly mails are made";
        remind_after_h: f64, Default(REMIND_AFTER_H), range(1.0, 720.0, "h"),
            "after this time all readers are told of a hazard that nobody has acknowledged";
        page: String, Optional("mails without links"), Rule::Words("http:// or https:// and a host"),
            "address under which readers reach the page; mails then have a link to acknowledge";
        mail: MailServer, Optional("nobody gets mails"), Rule::Words("[alerts.mail]"), "how mails leave";
        reader: Vec<Reader>, Optional("nobody gets mails"), Rule::Words("[[alerts.reader]]"), "who gets mails";
        webhook: Vec<Webhook>, Optional("none"), Rule::Words("[[alerts.webhook]]"),
            "programs that are told by HTTP";
        mqtt: Announcer, Optional("nothing is published"), Rule::Words("[alerts.mqtt]"),
            "the broker that is told";
    }
}

table! {
    /// `[alerts.mail]`: how mails leave.
    MailServer {
        server: String, Required, Rule::Words("host:port"), "that takes mails from us (SMTP submission)";
        security: String, Optional("tls at port 465, else starttls"), Rule::OneOf(&["tls", "starttls", "none"]),
            "of the connection; without it no password is sent, except on this machine";
        user: String, Optional("nobody"), Rule::Words("text"), "user name";
        password_file: String, Optional("none"), Rule::Words("path, from the site file"),
            "file with the password alone; passwords never stand in the site file";
        password_env: String, Optional("none"), Rule::Words("name"),
            "environment variable with the password, instead of a file";
        ca_file: String, Optional("the system's authorities"), Rule::Words("path, from the site file"),
            "PEM file with the authority that has signed the server's certificate";
        from: String, Required, Rule::Words("mail address"), "who the mails are from";
    }
}

table! {
    /// `[[alerts.reader]]`: somebody who gets mails.
    Reader {
        name: String, Required, Rule::Words("text"), "as the mail greets";
        email: String, Required, Rule::Words("mail address"), "where to";
        role: String, Required, Rule::OneOf(&["owner", "technician", "installer"]),
            "owner: plain words, a summary each month; the others: numbers, a summary on each day with news";
        told_from: String, Optional("soon"), Rule::OneOf(&["now", "soon", "plan"]),
            "least urgent finding that is worth a mail of its own; what is less waits for the summary";
        most_per_day: u32, Default(MOST_MAILS_PER_DAY), range(1.0, 100.0, ""),
            "mails in a day; a hazard and summaries come all the same";
    }
}

table! {
    /// `[[alerts.webhook]]`: a program that is told of findings by HTTP.
    Webhook {
        id: Name, Required, NAME, "name in the log and in signatures (keyid)";
        url: String, Required, Rule::Words("https:// and where to; http:// only to this machine"),
            "where news of findings are posted to";
        secret_file: String, Optional("none, one of both is required"), Rule::Words("path, from the site file"),
            "file with the secret alone by which the receiver knows that it is us; secrets never stand in the site file";
        secret_env: String, Optional("none, one of both is required"), Rule::Words("name"),
            "environment variable with the secret, instead of a file";
        ca_file: String, Optional("the system's authorities"), Rule::Words("path, from the site file"),
            "PEM file with the authority that has signed the receiver's certificate";
        told_from: String, Optional("plan"), TOLD_FROM, "least urgent finding that is told";
        timeout_s: f64, Default(10.0), range(1.0, 120.0, "s"), "how long to wait for an answer";
    }
}

table! {
    /// `[alerts.mqtt]`: the broker to which findings are published.
    Announcer {
        address: String, Required, Rule::Words("host:port"), "of the broker; a [[broker]] says how it lets us in";
        prefix: String, Optional("noonmark/ and the site's name in plain letters"), Rule::Words("a topic"),
            "all that is published stands below it";
        told_from: String, Optional("plan"), TOLD_FROM, "least urgent finding that is told";
    }
}
