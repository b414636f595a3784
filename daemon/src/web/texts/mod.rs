//! Every text of the pages, one table for each language: a text that a language lacks does not compile.
//!
//! What a finding says of itself (summary, causes, evidence, advice) and the rules of the design are worded
//! by the analysis, in English; pages mark them as English. Answers for programs are English too.
//! Never in here: layout.

mod english;
mod english_sentences;
mod english_words;
mod german;
mod german_cautions;
mod german_sentences;
mod german_words;

pub use english::ENGLISH;
pub use german::GERMAN;

use super::view::overview::Overview;
use analysis::array::Limit;
use analysis::detect::{Gate, Kind, Severity};
use analysis::diagnose::Subject;
use analysis::ledger::Loss;
use analysis::plant::{EventBit, State};
use analysis::reading::Quantity;
use chrono::NaiveDate;

/// How numbers and dates are written.
#[derive(Debug)]
pub struct Manner {
    /// Before the decimals.
    pub decimal: char,
    /// As `chrono` formats them.
    pub date: &'static str,
    pub month: &'static str,
    pub date_time: &'static str,
}

/// Words for what the analysis names, and sentences with something in them.
#[derive(Debug)]
pub struct Words {
    pub name: &'static str,
    pub manner: Manner,
    pub severity: fn(Severity) -> &'static str,
    pub limit: fn(Limit) -> &'static str,
    /// What took an energy.
    pub loss: fn(Loss) -> String,
    pub gate: fn(Gate) -> &'static str,
    pub kind: fn(Kind) -> &'static str,
    pub quantity: fn(Quantity) -> &'static str,
    pub state: fn(State) -> &'static str,
    pub event: fn(EventBit) -> &'static str,
    /// How long ago: seconds.
    pub ago: fn(i64) -> String,
    pub inputs: fn(usize) -> String,
    pub late: fn(usize) -> String,
    /// How sure something is.
    pub sure: fn(f64) -> String,
    /// Of so many checks, wrong and to look at.
    pub checks: fn(usize, usize, usize) -> String,
    /// From the coldest, which may be assumed, to the hottest [degC].
    pub temperatures: fn(&str, bool, &str) -> String,
    /// Whether the plant does what it should, in a sentence.
    pub sentence: fn(&Overview) -> String,
    pub unfit: fn(&Unfit) -> String,
    /// A caution of the analysis; `None` where this language has none for it.
    pub caution: fn(&str) -> Option<&'static str>,
}

/// What cannot be in a form.
#[derive(Debug)]
pub enum Unfit {
    Answer(String),
    LongText { most: usize },
    EmptyNote,
    NoDate,
    Past(NaiveDate),
    TooFar { last: NaiveDate, is_hazard: bool },
    Name { most: usize },
    Device(String),
    EndsBefore,
    TooLong,
    Reason { most: usize },
    Time(String),
    NeverShown(String),
}

macro_rules! texts {
    ($($name:ident;)*) => {
        /// The texts of one language, by what they are for.
        #[derive(Debug)]
        pub struct Texts {
            pub words: &'static Words,
            $(pub $name: &'static str,)*
        }

        #[cfg(test)]
        impl Texts {
            fn all(&self) -> Vec<(&'static str, &'static str)> {
                vec![$((stringify!($name), self.$name),)*]
            }
        }
    };
}

texts! {
    lang; skip; overview; inverter; inverters; findings; ledger; performance; devices; maintenance;
    design; settings; menu; more; all_pages; sign_in; sign_out; signed_in_as; password; wrong_password;
    too_often; as_of; site_time; question; today; measured; expected; share; wrong_now; nothing_wrong; all_put_off;
    snoozed; held_back; nothing_held_back; sources; last_heard; fresh; asleep; silent; not_yet; trouble_link;
    trouble_refused; trouble_undecodable; chart_of_today; chart_of_day; no_chart; on_the_curve; curve_of_day;
    curve_note; zoom; plain_chart;
    download_csv; state; events; no_events; output; rated; heat_sink; power_limit; input; inputs_now;
    voltage; current; power; now; within; below; above; not_compared; means_of; inputs_note; no_slot;
    why_not_tested; limit; supply; phase; frequency; rules; allowed; sustained; mornings; morning;
    insulation; weather; wet; dry; started_late; low_word; no_mornings; history; day_before; day_after;
    show; standing; ended; no_findings; older; newest; since; until; found_at; lost; lost_so_far; how_sure;
    where_it_is; evidence; evidence_name; beside; causes; advice; caution; answers; no_answers;
    acknowledge; snooze; note; note_text; snooze_until; your_name; optional; acknowledged; snoozed_word;
    on_the_day; day_it_began; readers_cannot; day; month; year; before; after; account_site; account; energy; money;
    expected_energy; measured_energy; not_compared_energy; above_rated_energy; ledger_note;
    nothing_to_count; kpi_note; period; final_yield; performance_ratio; at_25; over_expected;
    availability; answers_counted; failures_counted; value; age; quality_out_of_range;
    quality_faulty; without_value;
    registers; registers_note; no_registers; holding_registers; input_registers; coils; discrete_inputs;
    address; hexadecimal; decimal;
    table; design_note; what; margin; verdict; rule; settings_note; no_maintenance; maintenance_note;
    plan_work; end_now; on_what; whole_site; from; to; reason; save; back; error; not_found; wrong_host;
    form_refused; not_allowed; busy; not_stored; bad_form; link_wrong; link_expired;
    confirm_acknowledge; thanks; language; json; highest; time; ac_power; band_from; band_to;
    input_word; string; reader; technician; english_original; caution_original; verdict_ok;
    verdict_look; verdict_wrong; north; east; from_north; per_kwh; none; on_plane; days_word; for_ever;
    set_site; set_plane; set_module; set_inverter; set_weather; set_program; set_place; set_time_zone;
    set_handed_over; set_supply_rules; set_energy_price; set_tilt; set_azimuth; set_albedo;
    set_module_power; set_open_circuit; set_short_circuit; set_maximum_power; set_cells; set_bypass;
    set_sensor_plane; set_rated; set_highest_dc; set_tracking; set_start_voltage; set_phases; set_efficiency;
    set_at_load; set_insulation; set_reached_by; set_read_with;
    set_read_every; set_at; set_unit; set_topic; set_broker; set_converter; set_serial; set_sunspec;
    set_version; set_false_alarms; set_readings_kept; set_minutes_kept; set_rest_kept;
}

/// Every language, the one first that is taken where a browser asks for none of them.
pub static ALL: [&Texts; 2] = [&ENGLISH, &GERMAN];

/// The language with a code, as `de`.
pub fn of_code(code: &str) -> Option<&'static Texts> {
    ALL.into_iter().find(|texts| texts.lang == code)
}

/// The language that a browser would rather have: `Accept-Language` of RFC 9110, 12.5.4.
pub fn preferred(accepted: &str) -> &'static Texts {
    let mut best: (f64, &'static Texts) = (0.0, ALL[0]);
    for range in accepted.split(',') {
        let (tag, weight) = range.split_once(';').unwrap_or((range, "q=1"));
        let weight = weight
            .trim()
            .strip_prefix("q=")
            .and_then(|q| q.parse().ok());
        let primary = tag.trim().split('-').next().unwrap_or_default();
        let known = of_code(&primary.to_ascii_lowercase());
        // The first of equals counts.
        if let (Some(texts), Some(weight)) = (known, weight)
            && weight > best.0
        {
            best = (weight, texts);
        }
    }
    best.1
}

impl Texts {
    /// How urgent.
    pub fn severity(&self, severity: Severity) -> &'static str {
        (self.words.severity)(severity)
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

    /// A limit in trade words, by its name in files.
    pub fn limit(&self, name: &str) -> &'static str {
        let named = Limit::ALL.iter().find(|limit| limit.name() == name);
        (self.words.limit)(named.copied().unwrap_or(Limit::NotTold))
    }

    /// The heading of a finding: what, and where.
    pub fn finding_title(&self, kind: Kind, subject: &Subject) -> String {
        let (what, device) = ((self.words.kind)(kind), &subject.device);
        let (input, string) = (self.input_word, self.string);
        match (subject.input, &subject.string) {
            (Some(n), Some(label)) => format!("{what}: {device} {input} {n}, {string} {label}"),
            (Some(n), None) => format!("{what}: {device} {input} {n}"),
            (None, _) => format!("{what}: {device}"),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::detect::Protection;
    use analysis::diagnose::{caution, protection_caution};

    #[test]
    fn a_browser_gets_the_language_that_it_would_rather_have() {
        let code = |accepted: &str| preferred(accepted).lang;
        assert_eq!(code("de-AT,de;q=0.9,en;q=0.8"), "de");
        assert_eq!(code("en-AU, de;q=0.9"), "en");
        assert_eq!(code("fr, DE;q=0.3, en;q=0.2"), "de");
        assert_eq!(code("de;q=0"), "en");
        for nothing in ["", "fr", "*", ";q=1", "de;q=many", "xx;q=0.5,,"] {
            assert_eq!(code(nothing), "en", "{nothing}");
        }
    }

    #[test]
    fn no_text_is_empty_or_left_in_the_other_language() {
        // The same in both.
        const SAME: [&str; 2] = ["json", "phase"];
        for ((name, english), (_, german)) in ENGLISH.all().into_iter().zip(GERMAN.all()) {
            assert!(
                !english.trim().is_empty() && !german.trim().is_empty(),
                "{name}"
            );
            let is_same = english == german;
            assert_eq!(is_same, SAME.contains(&name), "{name}: {english}");
        }
    }

    #[test]
    fn nothing_is_certain_in_any_language() {
        for texts in ALL {
            let sure = |probability| (texts.words.sure)(probability);
            assert_eq!(sure(0.5), "50 %");
            assert_eq!(sure(1.0), sure(0.995), "{}", texts.lang);
            assert!(!sure(1.0).contains("100") && !sure(0.0).starts_with('0'));
        }
    }

    #[test]
    fn every_loss_has_words_of_its_own_in_every_language() {
        for texts in ALL {
            let words: Vec<_> = Loss::all().map(texts.words.loss).collect();
            let once: std::collections::BTreeSet<_> = words.iter().collect();
            assert_eq!(once.len(), words.len(), "{words:?}");
        }
    }

    #[test]
    fn every_caution_of_the_analysis_has_a_translation() {
        let of_kinds = Kind::ALL.iter().flat_map(|kind| caution(*kind));
        let protections = Protection::ALL.into_iter().flat_map(protection_caution);
        for line in of_kinds.chain(protections.map(ToString::to_string)) {
            assert!((GERMAN.words.caution)(&line).is_some(), "{line}");
        }
    }
}
