//! Words in German for what the analysis names. Sentences: `german_sentences.rs`.

use super::german_cautions::caution;
use super::german_sentences::{ago, late, sentence, temperatures, unfit};
use super::{Manner, Words};
use crate::text::Sureness;
use analysis::array::Limit;
use analysis::detect::{Gate, Kind, Severity};
use analysis::ledger::Loss;
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
    loss,
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
    sure,
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
        Limit::Command => "ein Befehl oder eine Einspeisegrenze",
        Limit::VoltWatt => "hohe Netzspannung",
        Limit::Heat => "Hitze",
        Limit::TrackingLow => "unteres Ende des MPP-Bereichs",
        Limit::TrackingHigh => "oberes Ende des MPP-Bereichs",
        Limit::InputCurrent => "höchster Strom des Eingangs",
        Limit::NotTold => "eine Grenze, die nichts nennt",
    }
}

fn loss(loss: Loss) -> String {
    match loss {
        Loss::Limited(by) => format!("Zurückgehalten: {}", limit(by)),
        Loss::Finding(of) => kind(of).to_owned(),
        Loss::Outage => "Stand still, kein Befund sagt warum".to_owned(),
        Loss::NotRecorded => "Nicht aufgezeichnet".to_owned(),
        Loss::Unexplained => "Ungeklärt".to_owned(),
    }
}

fn sure(probability: f64) -> String {
    match Sureness::of(probability) {
        Sureness::Nearly => "mehr als 99 %".to_owned(),
        Sureness::Percent(percent) => format!("{percent} %"),
        Sureness::Hardly => "weniger als 1 %".to_owned(),
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
