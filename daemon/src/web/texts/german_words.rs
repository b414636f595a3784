//! Words and sentences in German.

use super::german_cautions::caution;
use super::{Manner, Unfit, Words};
use crate::web::show;
use crate::web::texts::GERMAN;
use crate::web::view::overview::{Overview, Verdict};
use analysis::array::Limit;
use analysis::detect::{Gate, Kind, Severity};
use analysis::plant::{EventBit, State};
use analysis::reading::Quantity;

pub static WORDS: Words = Words {
    name: "Deutsch",
    manner: Manner {
        decimal: ',',
        date: "%d.%m.%Y",
        month: "%m.%Y",
        date_time: "%d.%m.%Y %H:%M",
    },
    severity,
    limit,
    gate,
    kind,
    quantity,
    state,
    event,
    ago,
    inputs: |n| {
        if n == 1 {
            "1 Eingang".to_owned()
        } else {
            format!("{n} Eingänge")
        }
    },
    late,
    checks: |all, wrong, look| format!("{all} Prüfungen: {wrong} falsch, {look} anzusehen."),
    temperatures,
    sentence,
    unfit,
    caution,
};

fn severity(severity: Severity) -> &'static str {
    match severity {
        Severity::Note => "Notiz",
        Severity::Plan => "beim nächsten Besuch",
        Severity::Soon => "binnen Tagen",
        Severity::Now => "jetzt",
    }
}

fn limit(limit: Limit) -> &'static str {
    match limit {
        Limit::Asleep => "zu wenig Spannung zum Starten",
        Limit::RatedPower => "Nennleistung",
        Limit::ApparentPower => "Blindleistung",
        Limit::Command => "ein Befehl",
        Limit::VoltWatt => "hohe Netzspannung",
        Limit::Heat => "Hitze",
        Limit::TrackingLow => "unteres Ende des MPP-Bereichs",
        Limit::TrackingHigh => "oberes Ende des MPP-Bereichs",
        Limit::InputCurrent => "höchster Strom des Eingangs",
        Limit::NotTold => "eine Grenze, die nichts nennt",
    }
}

fn gate(gate: Gate) -> &'static str {
    match gate {
        Gate::Valid => "geprüft",
        Gate::Dark => "zu dunkel",
        Gate::Unsteady => "Licht unruhig",
        Gate::Limited => "der Wechselrichter wird zurückgehalten",
        Gate::NotProducing => "keine Abgabe",
        Gate::NoWeather => "das Licht ist nicht bekannt",
        Gate::NotMeasured => "nicht gemessen",
    }
}

fn kind(kind: Kind) -> &'static str {
    match kind {
        Kind::InputDead => "Kein Strom an einem Eingang",
        Kind::StringOpen => "Ein String trägt nichts",
        Kind::SectionLost => "Ein Teil eines Strings ist ausgefallen",
        Kind::ResistanceHigh => "Eine schlechte Verbindung in der DC-Verkabelung",
        Kind::CurrentLow => "Ein Eingang gibt zu wenig Strom",
        Kind::Shade => "Neuer Schatten",
        Kind::Soiling => "Schmutz auf den Modulen",
        Kind::Snow => "Schnee auf den Modulen",
        Kind::Degradation => "Module altern",
        Kind::TrackerOffPeak => "Der Wechselrichter arbeitet neben dem besten Punkt",
        Kind::InputsSwapped => "Eingänge sind vertauscht",
        Kind::StringCountDiffers => "Die Zahl der Strings ist nicht wie beschrieben",
        Kind::IsolationLow => "Isolation zu niedrig",
        Kind::IsolationFalling => "Die Isolation wird schlechter",
        Kind::ResidualCurrentHigh => "Ableitstrom zur Erde",
        Kind::GridTrip => "Vom Netz getrennt",
        Kind::GridTripsRepeated => "Immer wieder vom Netz getrennt",
        Kind::GridVoltageHigh => "Netzspannung hoch",
        Kind::SupplyResistanceHigh => "Eine schlechte Verbindung im Netzanschluss",
        Kind::ProtectionActed => "Eine Schutzeinrichtung hat ausgelöst",
        Kind::Limited => "Durch eine Grenze zurückgehalten",
        Kind::InverterOff => "Gibt bei gutem Licht nichts ab",
        Kind::EfficiencyLow => "Wandelt weniger um, als er soll",
        Kind::LinkLost => "Antwortet nicht",
        Kind::ValueFrozen => "Ein Wert steht still",
        Kind::ValueImpossible => "Ein Wert, der nicht sein kann",
        Kind::ClockOff => "Eine Uhr geht falsch",
        Kind::SensorWrong => "Ein Sensor zeigt falsch",
    }
}

fn quantity(quantity: Quantity) -> &'static str {
    match quantity {
        Quantity::DcVoltage => "DC-Spannung",
        Quantity::DcCurrent => "DC-Strom",
        Quantity::DcPower => "DC-Leistung",
        Quantity::AcPower => "AC-Leistung",
        Quantity::AcReactivePower => "Blindleistung",
        Quantity::AcVoltageL1 => "Spannung, Phase 1",
        Quantity::AcVoltageL2 => "Spannung, Phase 2",
        Quantity::AcVoltageL3 => "Spannung, Phase 3",
        Quantity::AcCurrentL1 => "Strom, Phase 1",
        Quantity::AcCurrentL2 => "Strom, Phase 2",
        Quantity::AcCurrentL3 => "Strom, Phase 3",
        Quantity::Frequency => "Frequenz",
        Quantity::EnergyTotal => "Energie bisher",
        Quantity::IsolationResistance => "Isolation",
        Quantity::ResidualCurrent => "Ableitstrom",
        Quantity::HeatsinkTemperature => "Kühlkörper",
        Quantity::State => "Zustand",
        Quantity::EventBits => "Ereignisbits",
        Quantity::PowerLimit => "Leistungsgrenze",
        Quantity::ReconnectWait => "wartet auf Zuschalten",
        Quantity::PvPlusToEarth => "Pluspol gegen Erde",
        Quantity::PvMinusToEarth => "Minuspol gegen Erde",
        Quantity::Poa => "Licht in der Fläche",
        Quantity::Ghi => "Licht, waagrecht",
        Quantity::Dni => "Licht, direkt",
        Quantity::Dhi => "Licht, diffus",
        Quantity::AirTemperature => "Luft",
        Quantity::ModuleTemperature => "Modulrückseite",
        Quantity::WindSpeed => "Wind",
        Quantity::RelativeHumidity => "Luftfeuchte",
        Quantity::Rain => "Regen",
        Quantity::SnowDepth => "Schnee",
    }
}

fn state(state: State) -> &'static str {
    match state {
        State::Off => "aus",
        State::Sleeping => "schläft",
        State::Starting => "startet",
        State::Tracking => "folgt dem Punkt größter Leistung",
        State::Throttled => "gibt weniger ab, als es könnte",
        State::ShuttingDown => "fährt herunter",
        State::Fault => "durch einen Fehler angehalten",
        State::Standby => "bereit, ohne Abgabe",
    }
}

fn event(event: EventBit) -> &'static str {
    match event {
        EventBit::GroundFault => "Erdschluss",
        EventBit::DcOverVoltage => "DC-Spannung zu hoch",
        EventBit::AcDisconnect => "AC-Seite getrennt",
        EventBit::DcDisconnect => "DC-Seite getrennt",
        EventBit::GridDisconnect => "Netz fehlt oder außerhalb seiner Grenzen",
        EventBit::CabinetOpen => "Gehäuse offen",
        EventBit::ManualShutdown => "von Hand oder auf Befehl angehalten",
        EventBit::OverTemperature => "zu heiß",
        EventBit::OverFrequency => "Netzfrequenz zu hoch",
        EventBit::UnderFrequency => "Netzfrequenz zu niedrig",
        EventBit::AcOverVoltage => "Netzspannung zu hoch",
        EventBit::AcUnderVoltage => "Netzspannung zu niedrig",
        EventBit::BlownStringFuse => "eine Stringsicherung ist durchgebrannt",
        EventBit::UnderTemperature => "zu kalt",
        EventBit::MemoryLoss => "Speicher oder interne Verbindung verloren",
        EventBit::HardwareTestFailure => "Selbsttest fehlgeschlagen",
        EventBit::MakersAlarm => "ein eigener Alarm des Herstellers",
        EventBit::ArcDetected => "ein Lichtbogen im Modulfeld",
    }
}

fn ago(seconds: i64) -> String {
    match seconds {
        ..90 => format!("vor {seconds} s"),
        90..5400 => format!("vor {} min", (seconds + 30) / 60),
        5400..129_600 => format!("vor {} h", (seconds + 1800) / 3600),
        _ => format!("vor {} Tagen", (seconds + 43_200) / 86_400),
    }
}

fn late(count: usize) -> String {
    let was = match count {
        0 => return String::new(),
        1 => "Eine Mail, ein Aufruf oder eine Meldung wurde".to_owned(),
        n => format!("{n} Mails, Aufrufe oder Meldungen wurden"),
    };
    format!("{was} seit mehr als einem Tag nicht angenommen. Im Protokoll steht, warum.")
}

fn temperatures(coldest: &str, is_assumed: bool, hottest: &str) -> String {
    if is_assumed {
        format!(
            "Von {coldest} °C, was angenommen ist, bis {hottest} °C: geben Sie design_coldest_degc in [site] an."
        )
    } else {
        format!("Von {coldest} °C bis {hottest} °C, aus der Anlagendatei.")
    }
}

fn sentence(o: &Overview) -> String {
    let t = &GERMAN;
    let (measured, expected) = (
        show::energy(t, o.today.measured_wh),
        show::energy(t, o.today.expected_wh),
    );
    let share = show::percent(t, o.today.ratio);
    let so_far = match o.today.ratio {
        Some(_) => {
            format!("{measured} von den {expected}, die das Wetter heute hergegeben hat ({share}).")
        }
        None => String::new(),
    };
    match o.verdict {
        Verdict::AsExpected => format!("Ja: {so_far}"),
        Verdict::Dark if so_far.is_empty() => {
            "Nichts ist falsch. Heute war noch kein Licht, an dem sich etwas messen ließe."
                .to_owned()
        }
        Verdict::Dark => format!("Ja, und jetzt ist es dunkel: {so_far}"),
        Verdict::Waiting => {
            let urgent = o.snoozed.iter().filter(|f| f.severity == Severity::Now);
            let until = urgent.filter_map(|f| f.snoozed_until).min();
            let until = until.map_or_else(String::new, |at| show::local(t, at, o.timezone));
            format!(
                "Nein: was ansteht, ist jetzt dringend und wurde bis {until} verschoben. {so_far}"
            )
        }
        Verdict::HeldBack => format!("Soweit es Grenzen zulassen: {so_far}"),
        Verdict::NotRecorded => {
            "Nicht bekannt: das meiste Licht von heute wurde nicht aufgezeichnet.".to_owned()
        }
        Verdict::Low => {
            format!("Nicht ganz: nur {so_far} Es ist nichts gefunden worden, was es erklärt.")
        }
        Verdict::Unknown => {
            let silent = o.sources.iter().filter(|s| s.freshness.is_missed());
            let silent: Vec<&str> = silent.map(|s| s.device.as_str()).collect();
            let so_far = if so_far.is_empty() {
                String::new()
            } else {
                format!(" Bisher gehört: {so_far}")
            };
            format!("Nicht bekannt: {}.{so_far}", silent_ones(&silent))
        }
        Verdict::Attention => {
            let worst = o.findings.iter().map(|f| f.severity).max();
            let worst = urgency(worst.unwrap_or(Severity::Plan));
            match o.findings.len() {
                1 => format!("Nein: eine Sache muss {worst} jemand ansehen. {so_far}"),
                n => format!("Nein: {n} Sachen muss jemand ansehen, die erste {worst}. {so_far}"),
            }
        }
    }
}

fn urgency(severity: Severity) -> &'static str {
    match severity {
        Severity::Note | Severity::Plan => "beim nächsten Besuch",
        Severity::Soon => "binnen Tagen",
        Severity::Now => "jetzt",
    }
}

fn silent_ones(names: &[&str]) -> String {
    match names {
        [one] => format!("{one} meldet sich nicht"),
        [all @ .., last] => format!("{} und {last} melden sich nicht", all.join(", ")),
        [] => "etwas meldet sich nicht".to_owned(),
    }
}

fn unfit(what: &Unfit) -> String {
    match what {
        Unfit::Answer(found) => format!("die Antwort {found:?}"),
        Unfit::LongText { most } => format!("ein Text von mehr als {most} Zeichen"),
        Unfit::EmptyNote => "eine Notiz ohne Text".to_owned(),
        Unfit::NoDate => "kein Datum, bis zu dem es warten darf".to_owned(),
        Unfit::Past(date) => {
            let date = show::date(&GERMAN, *date);
            format!("es kann nicht bis {date} warten, das ist vorbei")
        }
        Unfit::TooFar { last, is_hazard } => {
            let last = show::date(&GERMAN, *last);
            let why = if *is_hazard {
                "eine Gefahr wartet höchstens einen Tag"
            } else {
                "nichts wartet länger als 31 Tage"
            };
            format!("es kann bis {last} warten und nicht länger: {why}")
        }
        Unfit::Name { most } => {
            format!("ein Name von mehr als {most} Zeichen, oder einer mit Steuerzeichen")
        }
        Unfit::Device(name) => format!("kein Gerät {name:?}"),
        Unfit::EndsBefore => "es endet, bevor es beginnt".to_owned(),
        Unfit::TooLong => "es dauert länger als einen Monat".to_owned(),
        Unfit::Reason { most } => format!("verlangt ist ein Grund von 1 bis {most} Zeichen"),
        Unfit::Time(found) => format!("die Zeit {found:?}"),
        Unfit::NeverShown(time) => format!("die Uhr der Anlage zeigt nie {time}"),
    }
}
