//! The site file as it stands: every table with every key, its unit, range, default and meaning.
//! This is the one place where keys are declared; nothing is checked across keys here.

mod alerts;

pub(crate) use alerts::{Alerts, Announcer, MailServer, Reader, Webhook};

use crate::own_shape::{Columns, Efficiency, Mounting, Turbidity};
use crate::shape::{Header, Name};
use crate::table::Need::{Default, Optional, Required};
use crate::table::{Key, Rule, Table, table};
use chrono::NaiveDate;

const fn range(low: f64, high: f64, unit: &'static str) -> Rule {
    Rule::Range { low, high, unit }
}

const NAME: Rule = Rule::Words("a plain name");
const ABSENT: &str = "none";
/// Where the site file says nothing: one in twenty inverter-years.
pub(crate) const FALSE_ALARMS_PER_INVERTER_YEAR: f64 = 0.05;
/// Where the site file says nothing: single readings for a month, minutes for ten years.
pub(crate) const KEEP_READINGS_DAYS: f64 = 30.0;
pub(crate) const KEEP_MINUTES_DAYS: f64 = 3650.0;

table! {
    /// The whole file.
    File {
        site: Site, Required, Rule::Words("[site]"), "name and place";
        module: Vec<Module>, Required, Rule::Words("[[module]]"), "module types in use";
        plane: Vec<Plane>, Required, Rule::Words("[[plane]]"), "planes in use";
        inverter: Vec<Inverter>, Required, Rule::Words("[[inverter]]"), "inverters";
        weather: Vec<Weather>, Optional(ABSENT), Rule::Words("[[weather]]"), "weather devices";
        broker: Vec<Broker>, Optional("plain connections without a password"), Rule::Words("[[broker]]"),
            "brokers that want more than their address";
        recording: Recording, Optional(ABSENT), Rule::Words("[recording]"), "recorded data";
        alerts: Alerts, Optional(ABSENT), Rule::Words("[alerts]"), "who is told";
        store: Store, Optional(ABSENT), Rule::Words("[store]"), "how long what is kept";
        web: Web, Optional("the page on this machine alone"), Rule::Words("[web]"), "the page";
    }
}

table! {
    /// `[site]`
    Site {
        name: String, Required, Rule::Words("text"), "name for people";
        latitude_deg: f64, Required, range(-90.0, 90.0, "deg"), "north positive";
        longitude_deg: f64, Required, range(-180.0, 180.0, "deg"), "east positive";
        altitude_m: f64, Required, range(-450.0, 6000.0, "m"), "above sea level";
        timezone: String, Required, Rule::Words("IANA time zone"), "time zone of reports";
        grid_rules: String, Required, Rule::Words("name of a set of supply rules"),
            "protection limits of the supply";
        nominal_phase_voltage_v: f64, Optional("as in the grid rules"), range(100.0, 500.0, "V"),
            "phase to neutral; for grid rules whose limits are ratios of it";
        energy_price_per_kwh: f64, Optional("losses without money"), range(0.0, 1e6, "currency"),
            "what a kilowatt-hour earns or saves";
        currency: String, Optional("losses without money"), Rule::Words("ISO 4217 code"),
            "of the price";
        commissioned: NaiveDate, Required, Rule::Words("date"), "handed over on this day";
        linke_turbidity: Turbidity, Default(3.0), range(1.0, 10.0, ""),
            "haze of the clear sky: one number, or twelve from January";
        design_coldest_degc: f64, Optional("-10, marked as assumed"), range(-60.0, 20.0, "degC"),
            "lowest module temperature expected, before dawn";
        design_hottest_cell_degc: f64, Default(70.0), range(40.0, 100.0, "degC"),
            "hottest cell temperature expected";
    }
}

table! {
    /// `[[module]]`: a module type by its datasheet at standard test conditions.
    Module {
        id: Name, Required, NAME, "name that strings refer to";
        voc_v: f64, Required, range(0.5, 400.0, "V"), "open-circuit voltage";
        isc_a: f64, Required, range(0.1, 30.0, "A"), "short-circuit current";
        vmp_v: f64, Required, range(0.4, 350.0, "V"), "voltage at maximum power";
        imp_a: f64, Required, range(0.1, 30.0, "A"), "current at maximum power";
        cells_in_series: u32, Required, range(1.0, 500.0, ""),
            "cells in series; of half-cut cells that is half of the cells";
        bypass_sections: u32, Default(3.0), range(1.0, 24.0, ""), "sections with a bypass diode";
        isc_temp_ratio_per_k: f64, Required, range(-0.001, 0.002, "1/K"),
            "change of short-circuit current";
        voc_temp_ratio_per_k: f64, Required, range(-0.006, -0.001, "1/K"),
            "change of open-circuit voltage";
        pmax_temp_ratio_per_k: f64, Required, range(-0.007, -0.001, "1/K"),
            "change of maximum power";
        power_tolerance_ratio: f64, Default(0.03), range(0.0, 0.1, "ratio"),
            "half width of the power tolerance";
        first_year_loss_ratio: f64, Default(0.02), range(0.0, 0.1, "ratio"),
            "warranted loss of power in the first year";
        yearly_loss_ratio: f64, Default(0.005), range(0.0, 0.05, "ratio"),
            "warranted loss of power in each later year";
    }
}

table! {
    /// `[[plane]]`: modules with one tilt and one azimuth.
    Plane {
        id: Name, Required, NAME, "name that strings and sensors refer to";
        tilt_deg: f64, Required, range(0.0, 90.0, "deg"), "from horizontal";
        azimuth_deg: f64, Required, range(0.0, 360.0, "deg"),
            "clockwise from north: east 90, south 180, west 270";
        mounting: Mounting, Required,
            Rule::Words("open-rack | close-roof | insulated-back | { u0, u1 }"),
            "how the modules lose heat";
        albedo_ratio: f64, Default(0.2), range(0.0, 1.0, "ratio"), "ground reflectance";
        horizon: Vec<Corner>, Optional("nothing in the way of the sun"),
            Rule::Words("[[plane.horizon]]"),
            "corners of what hides the sun, in order of azimuth; straight lines between them";
    }
}

table! {
    /// `horizon = [{ azimuth_deg, elevation_deg }, ...]`
    Corner {
        azimuth_deg: f64, Required, range(0.0, 359.999, "deg"), "clockwise from north";
        elevation_deg: f64, Required, range(0.0, 89.0, "deg"), "above horizontal";
    }
}

table! {
    /// `mounting = { u0, u1 }`
    HeatLoss {
        u0: f64, Required, range(5.0, 60.0, "W/(m2 K)"), "heat loss without wind";
        u1: f64, Required, range(0.0, 20.0, "W s/(m3 K)"), "heat loss that grows with wind";
        cell_over_back_k: f64, Default(3.0), range(0.0, 10.0, "K"),
            "cell minus back of module at 1000 W/m2";
    }
}

table! {
    /// `[[inverter]]`
    Inverter {
        id: Name, Required, NAME, "name in channel addresses and findings";
        rated_ac_w: f64, Required, range(100.0, 1e7, "W"), "rated active power";
        max_apparent_va: f64, Optional("rated_ac_w"), range(100.0, 1.2e7, "VA"),
            "highest apparent power";
        max_dc_voltage_v: f64, Required, range(20.0, 2000.0, "V"),
            "highest voltage that an input may see";
        start_voltage_v: f64, Required, range(5.0, 2000.0, "V"), "voltage at which it starts";
        tracking_min_v: f64, Required, range(5.0, 2000.0, "V"), "lower end of the tracking window";
        tracking_max_v: f64, Required, range(5.0, 2000.0, "V"), "upper end of the tracking window";
        phases: u32, Required, range(1.0, 3.0, ""), "1 or 3";
        efficiency: Efficiency, Default(0.97), range(0.5, 1.0, "ratio"),
            "AC over DC: one ratio, or a table of \"load ratio\" = ratio";
        heatsink_derating_from_degc: f64, Optional("no derating is assumed"),
            range(20.0, 120.0, "degC"), "heat sink from which it takes back its power";
        heatsink_derating_ratio_per_k: f64, Optional("no derating is assumed"),
            range(0.001, 1.0, "1/K"),
            "share of rated power that it takes back for each kelvin above";
        isolation_limit_ohm: f64, Optional("max_dc_voltage_v / 30 mA"), range(1e3, 1e8, "ohm"),
            "lowest insulation resistance of the array at which it may start";
        input: Vec<Input>, Required, Rule::Words("[[inverter.input]]"), "its MPPT inputs";
        source: Source, Optional("none, possible only beside [recording]"),
            Rule::Words("[inverter.source]"), "where its readings come from";
    }
}

table! {
    /// `[[inverter.input]]`: one MPPT input.
    Input {
        number: u32, Required, range(1.0, 64.0, ""), "as on the inverter's label";
        max_operating_current_a: f64, Required, range(1.0, 5000.0, "A"),
            "current that the tracker can take";
        max_short_circuit_current_a: f64, Required, range(1.0, 6000.0, "A"),
            "short-circuit current that the input withstands";
        string: Vec<PvString>, Required, Rule::Words("[[inverter.input.string]]"),
            "its strings in parallel";
    }
}

table! {
    /// `[[inverter.input.string]]`: modules in series.
    PvString {
        label: String, Required, Rule::Words("text"), "label on the cable";
        module: Name, Required, Rule::Words("id of a [[module]]"), "module type";
        count: u32, Required, range(1.0, 200.0, ""), "modules in series";
        plane: Name, Required, Rule::Words("id of a [[plane]]"), "where its modules lie";
        cable_loop_ohm: f64, Default(0.4), range(0.0, 20.0, "ohm"),
            "both conductors from the string to the input";
    }
}

table! {
    /// `[inverter.source]` and `[weather.source]`
    Source {
        kind: String, Required,
            Rule::OneOf(&["modbus-tcp", "modbus-rtu", "modbus-rtu-over-tcp", "mqtt"]),
            "how the device is reached";
        address: String, Optional("none, required with TCP and MQTT"), Rule::Words("host:port"),
            "of the device or broker";
        serial: String, Optional("none, required with modbus-rtu"), Rule::Words("path"),
            "serial port";
        baud: u32, Default(9600.0), range(1200.0, 115_200.0, ""), "speed of the serial port";
        parity: String, Optional("none"), Rule::OneOf(&["none", "even", "odd"]),
            "check bit of the serial port";
        stop_bits: u32, Default(1.0), range(1.0, 2.0, ""), "of the serial port";
        topic: String, Optional("none, required with mqtt"), Rule::Words("text"),
            "topic under which the device publishes; of Sparkplug group/node or group/node/device";
        unit: u32, Default(1.0), range(0.0, 255.0, ""), "Modbus unit; 1 to 247 on a serial line";
        map: String, Required, Rule::Words("sunspec, or a file; with mqtt a message-map file"),
            "which register, or which part of a message, means what";
        every_s: f64, Default(10.0), range(1.0, 900.0, "s"), "time between two reads";
        timeout_s: f64, Optional("3, or every_s where that is shorter"), range(0.1, 60.0, "s"),
            "how long to wait for an answer";
        night_every_s: f64, Optional("60, or every_s where that is longer"),
            range(1.0, 900.0, "s"), "time between two reads of an inverter in the night";
    }
}

table! {
    /// `[[weather]]`: a device that reports weather.
    Weather {
        id: Name, Required, NAME, "name in channel addresses and findings";
        plane: Name, Optional("none, then it has no sensor in a plane"),
            Rule::Words("id of a [[plane]]"), "plane in which its plane sensor lies";
        source: Source, Optional("none, possible only beside [recording]"),
            Rule::Words("[weather.source]"), "where its readings come from";
    }
}

table! {
    /// `[[broker]]`: an MQTT broker that wants more than its address.
    Broker {
        address: String, Required, Rule::Words("host:port"), "as in the sources that it is for";
        version: String, Optional("3.1.1"), Rule::OneOf(&["3.1.1", "5"]), "of MQTT";
        user: String, Optional("nobody"), Rule::Words("text"), "user name";
        password_file: String, Optional("none"), Rule::Words("path, from the site file"),
            "file with the password alone; passwords never stand in the site file";
        password_env: String, Optional("none"), Rule::Words("name"),
            "environment variable with the password, instead of a file";
        security: String, Optional("none"), Rule::OneOf(&["none", "tls"]), "of the connection";
        ca_file: String, Optional("the system's authorities"), Rule::Words("path, from the site file"),
            "PEM file with the authority that has signed the broker's certificate";
        certificate_file: String, Optional("none"), Rule::Words("path, from the site file"),
            "PEM file with a certificate that says who we are";
        key_file: String, Optional("none, required with certificate_file"),
            Rule::Words("path, from the site file"), "PEM file with its private key";
    }
}

table! {
    /// `[recording]`: recorded data for replay.
    Recording {
        file: String, Required, Rule::Words("path, from the site file"), "CSV with a header line";
        time_column: Header, Required, Rule::Words("text, may be empty"), "header of the time stamps";
        time_format: String, Optional("RFC 3339"), Rule::Words("strftime"),
            "format of the time stamps";
        timezone: String, Optional("the site's"), Rule::Words("IANA time zone"),
            "zone of stamps that carry none";
        interval: String, Required, Rule::OneOf(&["instant", "start", "end"]),
            "what the stamp of a row marks: the value's instant, or start or end of its mean";
        interval_s: f64, Optional("as the rows are apart"), range(1.0, 3600.0, "s"),
            "time from one row to the next";
        columns: Columns, Required, Rule::Words("[recording.columns]"),
            "\"header\" = \"channel address\" or { channel, scale, offset }";
    }
}

table! {
    /// `"header" = { channel, scale, offset }`; the reading is value * scale + offset.
    ColumnTable {
        channel: String, Required, Rule::Words("channel address"), "what the column holds";
        scale: f64, Default(1.0), range(-1e9, 1e9, ""), "times this";
        offset: f64, Default(0.0), range(-1e9, 1e9, ""), "plus this";
    }
}

table! {
    /// `[store]`
    Store {
        keep_readings_days: u32, Default(KEEP_READINGS_DAYS), range(2.0, 36_500.0, "days"),
            "single readings; then their one-minute and hourly means, extremes and counts stay";
        keep_minutes_days: u32, Default(KEEP_MINUTES_DAYS), range(2.0, 36_500.0, "days"),
            "one-minute means, extremes and counts; the hourly ones stay for ever";
    }
}

/// Where the page is where the site file says nothing.
pub(crate) const LISTEN: &str = "127.0.0.1:7463";

table! {
    /// `[web]`: the page.
    Web {
        listen: String, Optional(LISTEN), Rule::Words("number:port, or off"),
            "where browsers reach the page";
        host: String, Optional("names of this machine at the loopback, elsewhere any"), Rule::Words("host name or number alone"),
            "name under which browsers reach it; requests for another are refused";
        password_file: String, Optional("none"), Rule::Words("path, from the site file"),
            "file with the hash of the technicians' password, as noonmark password prints it";
        password_env: String, Optional("none"), Rule::Words("name"),
            "environment variable with that hash, instead of a file";
        reader_password_file: String, Optional("nobody only reads"), Rule::Words("path, from the site file"),
            "file with the hash of the password of those who only read";
        reader_password_env: String, Optional("nobody only reads"), Rule::Words("name"),
            "environment variable with that hash, instead of a file";
        certificate_file: String, Optional("not encrypted"), Rule::Words("path, from the site file"),
            "PEM file with the certificate of the page and those that have signed it";
        key_file: String, Optional("none, required with certificate_file"),
            Rule::Words("path, from the site file"), "PEM file with its private key";
        trusted_proxy: String, Optional("none"), Rule::Words("number"),
            "address of a proxy that encrypts in our place; nobody else is listened to then";
    }
}

/// Every table with its name in messages and its keys.
pub const TABLES: &[(&str, &[Key])] = &[
    ("site", Site::KEYS),
    ("module", Module::KEYS),
    ("plane", Plane::KEYS),
    ("plane.horizon", Corner::KEYS),
    ("plane.mounting", HeatLoss::KEYS),
    ("inverter", Inverter::KEYS),
    ("inverter.input", Input::KEYS),
    ("inverter.input.string", PvString::KEYS),
    ("inverter.source", Source::KEYS),
    ("weather", Weather::KEYS),
    ("broker", Broker::KEYS),
    ("recording", Recording::KEYS),
    ("recording.columns", ColumnTable::KEYS),
    ("alerts", Alerts::KEYS),
    ("alerts.mail", MailServer::KEYS),
    ("alerts.reader", Reader::KEYS),
    ("alerts.webhook", Webhook::KEYS),
    ("alerts.mqtt", Announcer::KEYS),
    ("store", Store::KEYS),
    ("web", Web::KEYS),
];
