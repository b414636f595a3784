//! Every text of the pages, in one place, so that another language is another table. What findings
//! say (titles, summaries, advice, cautions) is worded by the analysis and is not in here.
//! Never in here: layout.

use super::show;
use super::view::overview::{Overview, Verdict};
use analysis::detect::Severity;

macro_rules! texts {
    ($($name:ident: $english:literal;)*) => {
        /// The texts of one language, by what they are for.
        #[derive(Debug)]
        pub struct Texts {
            $(pub $name: &'static str,)*
        }

        /// English.
        pub const ENGLISH: &Texts = &Texts { $($name: $english,)* };
    };
}

texts! {
    lang: "en";
    skip: "Skip to the content";
    overview: "Overview";
    inverter: "Inverter";
    inverters: "Inverters";
    findings: "Findings";
    ledger: "Ledger";
    performance: "Performance";
    devices: "Devices";
    maintenance: "Maintenance";
    design: "Design";
    settings: "Settings";
    menu: "Pages";
    more: "More";
    all_pages: "All pages";
    sign_in: "Sign in";
    sign_out: "Sign out";
    signed_in_as: "Signed in as";
    password: "Password";
    wrong_password: "This is not a password of this page.";
    too_often: "Too many tries. Try again in a while.";
    as_of: "As of";
    site_time: "Times are the site's.";
    question: "Does the plant do what it should?";
    today: "Today";
    measured: "measured";
    expected: "expected";
    share: "share";
    wrong_now: "What wants a person";
    nothing_wrong: "Nothing stands that wants a person.";
    snoozed: "Waiting until later";
    held_back: "Held back today";
    nothing_held_back: "No limit has held anything back today.";
    sources: "What is heard";
    last_heard: "Last heard";
    fresh: "fresh";
    silent: "silent";
    not_yet: "not heard since the start";
    trouble_link: "does not answer";
    trouble_refused: "answers, but refuses";
    trouble_undecodable: "answers what cannot be understood";
    chart_of_today: "Power of the plant today, measured and expected";
    chart_of_day: "Light, power, voltages and currents of the day, measured and expected";
    no_chart: "Nothing has been recorded on this day yet.";
    zoom: "Zoom in";
    plain_chart: "Back to the plain chart";
    download_csv: "Download as CSV";
    state: "State";
    events: "Reported";
    no_events: "nothing";
    output: "Output";
    rated: "rated";
    heat_sink: "Heat sink";
    power_limit: "Power limit in force";
    input: "Input";
    inputs_now: "Inputs";
    voltage: "Voltage";
    current: "Current";
    power: "Power";
    now: "now";
    within: "inside the band";
    below: "below the band";
    above: "above the band";
    not_compared: "not compared";
    means_of: "Means of";
    inputs_note: "The band is where a healthy input lies 19 times out of 20.";
    no_slot: "No five minutes of the last hour have been compared.";
    why_not_tested: "Not tested";
    limit: "Limit";
    supply: "Supply";
    phase: "Phase";
    frequency: "Frequency";
    rules: "Rules";
    allowed: "allowed";
    sustained: "ten-minute mean at most";
    mornings: "Insulation, morning by morning";
    morning: "Morning";
    insulation: "Insulation";
    weather: "Weather";
    wet: "wet";
    dry: "dry";
    started_late: "Started later by";
    low_word: "LOW";
    no_mornings: "No morning has shown the insulation yet.";
    history: "Day";
    day_before: "Day before";
    day_after: "Day after";
    show: "Show";
    standing: "Stands";
    ended: "Ended";
    no_findings: "Nothing has been found yet.";
    since: "since";
    until: "until";
    found_at: "found";
    lost: "Lost";
    lost_so_far: "Lost so far";
    how_sure: "How sure";
    where_it_is: "Where";
    evidence: "What was measured";
    evidence_name: "Number";
    beside: "Beside it";
    causes: "What it may be";
    advice: "What to do";
    caution: "What can hurt";
    answers: "Answers";
    no_answers: "Nobody has answered yet.";
    acknowledge: "I have seen it";
    snooze: "Let it wait";
    note: "Add a note";
    note_text: "Note";
    snooze_until: "Until";
    your_name: "Your name";
    optional: "(may stay empty)";
    acknowledged: "seen";
    snoozed_word: "may wait";
    on_the_day: "That day";
    readers_cannot: "Readers see everything and answer nothing.";
    day: "Day";
    month: "Month";
    year: "Year";
    before: "Before";
    after: "After";
    account_site: "Whole site";
    account: "Account";
    energy: "Energy";
    money: "Money";
    expected_energy: "Expected";
    measured_energy: "Measured";
    ledger_note: "Expected is measured plus every line between; what has no name is unexplained, and may be negative.";
    held_back_by: "Held back";
    outage: "Stood still, no finding says why";
    not_recorded: "Not recorded";
    unexplained: "Unexplained";
    nothing_recorded: "Nothing was recorded in this time.";
    kpi_note: "A dash means that less than nine tenths of the light was measured. Days are counted from solar midnight.";
    period: "Period";
    final_yield: "Yield";
    performance_ratio: "Performance ratio";
    at_25: "at 25 °C";
    over_expected: "Measured over expected";
    availability: "Availability";
    answers_counted: "Answers";
    failures_counted: "Failures";
    value: "Value";
    age: "Age";
    quality_out_of_range: "cannot be";
    without_value: "Without a value";
    table: "Table";
    design_note: "These numbers are aids. Local code, the manuals of the equipment and licensed people decide.";
    what: "What";
    margin: "Margin";
    verdict: "Verdict";
    rule: "Rule";
    settings_note: "As the site file says. It is changed there; nothing can be set here.";
    no_maintenance: "No work is planned.";
    maintenance_note: "While somebody works on a device, whoever is told of findings can be told so.";
    plan_work: "Plan work";
    on_what: "On";
    whole_site: "the whole site";
    from: "From";
    to: "To";
    reason: "Reason";
    save: "Save";
    back: "Back";
    error: "That did not work";
    not_found: "There is no such page.";
    wrong_host: "This page is not reached under that name. Use the address that the site file gives.";
    form_refused: "The form was not sent from a page that is open in this browser just now. Open the page again and repeat it.";
    not_allowed: "You may look at this, but not change it.";
    busy: "Too much is asked for at once. Try again in a moment.";
    not_stored: "It was not stored: the disk does not take it just now. Try again in a while.";
    bad_form: "Something in the form cannot be: ";
    link_wrong: "This link does not open anything. It may have been cut in the mail.";
    link_expired: "This link has expired. Open the page itself.";
    confirm_acknowledge: "Say that you have seen it?";
    thanks: "Thank you, it is written down.";
}

impl Texts {
    /// How urgent.
    pub fn severity(&self, severity: Severity) -> &'static str {
        match severity {
            Severity::Note => "note",
            Severity::Plan => "next visit",
            Severity::Soon => "within days",
            Severity::Now => "now",
        }
    }

    /// A shape for it, so that colour alone never says it.
    pub fn severity_shape(&self, severity: Severity) -> &'static str {
        match severity {
            Severity::Note => "○",
            Severity::Plan => "◇",
            Severity::Soon => "◆",
            Severity::Now => "▲",
        }
    }

    /// A limit in trade words.
    pub fn limit(&self, name: &str) -> &'static str {
        match name {
            "asleep" => "too little voltage to start",
            "rated_power" => "rated power",
            "apparent_power" => "reactive power",
            "command" => "a command",
            "volt_watt" => "high supply voltage",
            "heat" => "heat",
            "tracking_low" => "lower end of the tracking window",
            "tracking_high" => "upper end of the tracking window",
            "input_current" => "highest current of the input",
            _ => "a limit that nothing tells",
        }
    }

    /// Why an input was not tested.
    pub fn gate(&self, name: &str) -> &'static str {
        match name {
            "valid" => "tested",
            "dark" => "too dark",
            "unsteady" => "light unsteady",
            "limited" => "the inverter is held back",
            "not_producing" => "not producing",
            "no_weather" => "the light is not known",
            _ => "not measured",
        }
    }

    /// The one sentence.
    pub fn sentence(&self, o: &Overview) -> String {
        let (measured, expected) = (
            show::energy(o.today.measured_wh),
            show::energy(o.today.expected_wh),
        );
        let share = show::percent(o.today.ratio);
        let so_far = match o.today.ratio {
            Some(_) => {
                format!("{measured} of the {expected} that the weather has given today ({share}).")
            }
            None => String::new(),
        };
        match o.verdict {
            Verdict::AsExpected => format!("Yes: {so_far}"),
            Verdict::Dark if so_far.is_empty() => {
                "Nothing is wrong. There has been no light to judge by today.".to_owned()
            }
            Verdict::Dark => format!("Yes, and it is dark now: {so_far}"),
            Verdict::Low => {
                format!("Not quite: only {so_far} Nothing has been found that says why.")
            }
            Verdict::Unknown => {
                use super::view::device::Freshness;
                let silent = o.sources.iter().filter(|s| s.freshness != Freshness::Fresh);
                let silent: Vec<&str> = silent.map(|s| s.device.as_str()).collect();
                let so_far = if so_far.is_empty() {
                    String::new()
                } else {
                    format!(" Heard so far: {so_far}")
                };
                format!("Not known: {} not heard.{so_far}", is_are(&silent))
            }
            Verdict::Attention => {
                let worst = o.findings.iter().map(|f| f.severity).max();
                let worst = self.urgency(worst.unwrap_or(Severity::Plan));
                match o.findings.len() {
                    1 => format!("No: one thing wants a person {worst}. {so_far}"),
                    n => format!("No: {n} things want a person, the first {worst}. {so_far}"),
                }
            }
        }
    }

    fn urgency(&self, severity: Severity) -> &'static str {
        match severity {
            Severity::Note | Severity::Plan => "at the next visit",
            Severity::Soon => "within days",
            Severity::Now => "now",
        }
    }
}

fn is_are(names: &[&str]) -> String {
    match names {
        [one] => format!("{one} is"),
        [all @ .., last] => format!("{} and {last} are", all.join(", ")),
        [] => "something is".to_owned(),
    }
}
