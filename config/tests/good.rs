//! Right site files: defaults, derived values, channels, time keeping, and what cannot be read yet.

use analysis::plant::{Plant, Timing};
use analysis::reading::{Channel, Span};
use config::checked::{Link, Secret, SiteFile, Stamp};
use config::{load, parse};
use std::path::{Path, PathBuf};

fn sites() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("sites")
}

fn barn_text() -> String {
    std::fs::read_to_string(sites().join("hillside-barn.toml")).expect("an example")
}

fn barn() -> SiteFile {
    load(&sites().join("hillside-barn.toml")).expect("a right file")
}

fn field() -> SiteFile {
    load(&sites().join("test-field.toml")).expect("a right file")
}

fn has(plant: &Plant, address: &str) -> bool {
    let channel: Channel = address.parse().expect("an address");
    plant.channels.id(&channel).is_some()
}

#[test]
fn defaults_are_those_of_the_key_table() {
    let plant = field().plant;
    assert_eq!(plant.site.linke_turbidity, [3.0; 12]);
    assert_eq!(plant.site.design_hottest_cell.degc(), 70.0);
    assert_eq!(plant.site.energy_price, None);
    assert_eq!(plant.modules[0].bypass_sections, 3);
    assert_eq!(plant.planes[0].albedo_ratio, 0.2);
    assert_eq!(
        plant.inverters[0].inputs[0].strings[0].cable_loop.ohm(),
        0.4
    );
    assert_eq!(plant.inverters[0].max_apparent.va(), 4000.0);
    assert_eq!(plant.inverters[0].derating, None);
    // 600 V over 30 mA.
    const ROUNDING_OHM: f64 = 1e-9;
    let limit = plant.inverters[0].isolation_limit.ohm();
    assert!((limit - 20_000.0).abs() <= ROUNDING_OHM, "{limit}");
}

#[test]
fn efficiency_points_rise_in_load_whatever_their_order() {
    let text = barn_text().replace(
        "\"0.05\" = 0.942\n\"0.20\" = 0.975",
        "\"0.20\" = 0.975\n\"0.05\" = 0.942",
    );
    let site = parse("barn", &text, Path::new("")).expect("a right file");
    let points = &site.plant.inverters[0].efficiency;
    let loads: Vec<f64> = points.iter().map(|point| point.load_ratio).collect();
    assert_eq!(loads, [0.05, 0.2, 0.5, 1.0]);
    assert_eq!(points[0].efficiency_ratio, 0.942);
}

#[test]
fn channels_are_all_that_a_source_can_deliver() {
    let plant = barn().plant;
    for address in [
        "barn/ac_power_w",
        "barn/ac_voltage_l3_v",
        "barn/isolation_resistance_ohm",
        "barn/input-1/dc_voltage_v",
        "barn/input-2/dc_power_w",
        "barn/input-1/string-2/dc_current_a",
        "mast/poa_w_m2",
        "mast/rain_mm",
    ] {
        assert!(has(&plant, address), "{address}");
    }
    for address in [
        "barn/input-3/dc_voltage_v",
        "barn/input-2/string-2/dc_current_a",
        "barn/air_temperature_degc",
        "barn/poa_w_m2",
    ] {
        assert!(!has(&plant, address), "{address}");
    }
    // A recording may bring sensors that are wired to the inverter.
    let text = std::fs::read_to_string(sites().join("test-field.toml")).expect("an example");
    let text = text.replace("mast/air_temperature_degc", "inv-1/air_temperature_degc");
    let site = parse("field", &text, Path::new("")).expect("a right file");
    assert!(has(&site.plant, "inv-1/air_temperature_degc"));
}

#[test]
fn time_is_kept_by_the_slowest_source_or_by_the_rows_of_a_recording() {
    let live = barn();
    // Twice the mast's 30 s.
    let wanted = Timing {
        slot: Span::from_min(5),
        allowed_lateness: Span::from_s(60),
        sync: Span::from_s(2),
    };
    assert_eq!(live.plant.timing, wanted);
    assert_eq!(live.plant.inverters[0].every, Span::from_s(10));
    assert_eq!(live.plant.weather[0].every, Span::from_s(30));

    let quarter = Span::from_min(15);
    let replayed = field().replay_plant(quarter);
    let wanted = Timing {
        slot: quarter,
        allowed_lateness: Span::ZERO,
        sync: Span::from_s(90),
    };
    assert_eq!(replayed.timing, wanted);
    assert_eq!(replayed.inverters[0].every, quarter);
    assert_eq!(field().recording.expect("one").interval, Some(quarter));
}

#[test]
fn a_site_with_both_sources_and_a_recording_keeps_two_times() {
    let recording = "\n[recording]\nfile = \"a.csv\"\ntime_column = \"t\"\ninterval = \"start\"\n\
                     columns = { p = \"barn/ac_power_w\" }\n";
    let site = parse("both", &(barn_text() + recording), Path::new("data")).expect("right");
    assert_eq!(site.plant.timing.slot, Span::from_min(5));
    let replayed = site.replay_plant(Span::from_min(10));
    assert_eq!(replayed.timing.slot, Span::from_min(10));
    assert_eq!(replayed.inverters[0].every, Span::from_min(10));
    assert_eq!(replayed.channels, site.plant.channels);
    let recording = site.recording.expect("a recording");
    assert_eq!(recording.timezone, site.timezone);
    assert_eq!(recording.file, Path::new("data/a.csv"));
    assert_eq!(recording.interval, None);
}

#[test]
fn a_recording_is_read_as_written() {
    let recording = field().recording.expect("a recording");
    assert_eq!(recording.stamp, Stamp::End);
    assert_eq!(recording.timezone, chrono_tz::UTC);
    assert_eq!(recording.file, sites().join("test-field.csv"));
    assert_eq!(recording.columns.len(), 5);
    let feed_in = recording
        .columns
        .iter()
        .find(|c| c.header == "Feed-in [kW]");
    let feed_in = feed_in.expect("a column");
    assert_eq!((feed_in.scale, feed_in.offset), (1000.0, 0.0));
    let channel = field().plant.channels.channel(feed_in.channel).to_string();
    assert_eq!(channel, "inv-1/ac_power_w");
}

#[test]
fn sources_that_cannot_be_read_yet_are_named_and_are_no_problem() {
    assert_eq!(barn().without_source(), []);
    let of = |from: &str, to: &str| {
        let text = barn_text();
        let lines: Vec<&str> = text.lines().filter(|l| !l.starts_with('#')).collect();
        let text = lines.join("\n");
        assert!(text.contains(from), "nothing to change");
        let text = text.replacen(from, to, 1);
        parse("barn", &text, Path::new("")).expect("a right file")
    };
    let tcp = "kind = \"modbus-tcp\"\naddress = \"192.0.2.21:502\"";
    let rtu = of(tcp, "kind = \"modbus-rtu\"\nserial = \"/dev/ttyS1\"");
    assert!(matches!(
        &rtu.sources[0].link,
        Link::ModbusRtu {
            baud: 9600,
            unit: 1,
            ..
        }
    ));
    assert_eq!(rtu.without_source(), []);
    let without = field().without_source();
    let without: Vec<&str> = without.iter().map(|id| id.as_str()).collect();
    assert_eq!(without, ["inv-1", "mast"]);
}

#[test]
fn devices_behind_a_broker_share_what_is_said_of_it() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sites/wharf-loft.toml");
    let site = load(&path).unwrap_or_else(|errors| panic!("{errors}"));
    let brokers = site.sources.iter().map(|source| match &source.link {
        Link::Mqtt { broker, topic } => (broker, topic.as_str()),
        other => panic!("{other:?}"),
    });
    let brokers: Vec<_> = brokers.collect();
    let [(one, "wharf/inv-1"), (other, "wharf/gate/mast")] = brokers[..] else {
        panic!("{brokers:?}")
    };
    assert_eq!(one, other);
    assert!(one.is_version_5);
    let password = Secret::File("/etc/noonmark/broker-password".into());
    assert_eq!(
        (one.user.as_deref(), &one.password),
        (Some("noonmark"), &Some(password))
    );
    let tls = one.tls.as_ref().expect("encrypted");
    assert!(tls.ca_file.is_some() && tls.identity.is_some());
    assert_eq!(site.without_source(), []);
}

#[test]
fn what_limits_the_output_is_carried_to_the_plant() {
    let plant = barn().plant;
    let inverter = &plant.inverters[0];
    assert_eq!(inverter.max_apparent.va(), 16_500.0);
    let derating = inverter.derating.expect("both keys stand there");
    assert_eq!((derating.from.degc(), derating.ratio_per_k), (75.0, 0.025));
    // Region C: all of the rated power up to 253 V, a fifth of it at 260 V.
    let line = plant.site.grid_limits.volt_watt.iter();
    let line: Vec<_> = line.map(|p| (p.voltage.v(), p.power_ratio)).collect();
    assert_eq!(line, [(253.0, 1.0), (260.0, 0.2)]);
}

#[test]
fn a_nominal_voltage_of_its_own_moves_limits_that_are_ratios() {
    let text = barn_text()
        .replace("grid_rules = \"au-c\"", "grid_rules = \"ieee1547-cat2\"")
        .replace(
            "# nominal_phase_voltage_v = 277",
            "nominal_phase_voltage_v = 277",
        );
    let site = parse("barn", &text, Path::new("")).expect("a right file");
    let limits = &site.plant.site.grid_limits;
    assert_eq!(limits.nominal_voltage.v(), 277.0);
    assert_eq!(limits.over_voltage[1].limit.v(), 1.2 * 277.0);
}

#[test]
fn devices_on_one_serial_line_have_one_speed() {
    let text = barn_text();
    let lines: Vec<&str> = text.lines().filter(|l| !l.starts_with('#')).collect();
    let text = lines.join("\n").replace(
        "kind = \"modbus-tcp\"\naddress = \"192.0.2.21:502\"",
        "kind = \"modbus-rtu\"\nserial = \"/dev/ttyS1\"\nparity = \"even\"",
    );
    parse("barn", &text, Path::new("")).expect("both even");
    let text = text.replace("unit = 40", "unit = 40\nbaud = 19200");
    let errors = parse("barn", &text, Path::new("")).expect_err("two speeds");
    let wanted = "found 19200 baud, parity even, 1 stop bit(s), wanted 9600 baud, parity even, \
                  1 stop bit(s), as the device before on this line";
    assert!(errors.to_string().contains(wanted), "{errors}");
}

#[test]
fn the_page_is_for_this_machine_alone_unless_the_site_file_says_more() {
    let text = barn_text();
    let (before, _) = text.split_once("\n[web]\n").expect("the last table");
    let web = |table: &str| {
        let site = parse("barn", &format!("{before}{table}"), Path::new("etc"));
        site.expect("a right file").web
    };
    let default = web("").expect("it is on");
    assert!(default.listen.ip().is_loopback() && !default.is_stated);
    assert_eq!(default.technician, None);
    // Nobody is led there then.
    let off = format!("{before}\n[web]\nlisten = \"off\"\n");
    let off = off.replace("\npage = ", "\n# page = ");
    let off = parse("barn", &off, Path::new("etc")).expect("a right file");
    assert_eq!(off.web, None);
    let open = web(
        "\n[web]\nlisten = \"[::]:443\"\nhost = \"Barn.example\"\npassword_file = \"hash\"\n\
         reader_password_env = \"READER\"\ncertificate_file = \"a.pem\"\nkey_file = \"b.pem\"\n",
    );
    let open = open.expect("it is on");
    assert_eq!(open.listen.port(), 443);
    assert_eq!(open.host.as_deref(), Some("barn.example"));
    assert_eq!(open.technician, Some(Secret::File("etc/hash".into())));
    assert_eq!(open.reader, Some(Secret::Variable("READER".to_owned())));
    assert_eq!(
        open.identity,
        Some(("etc/a.pem".into(), "etc/b.pem".into()))
    );
    let behind = web(
        "\n[web]\nlisten = \"192.0.2.4:80\"\npassword_env = \"HASH\"\ntrusted_proxy = \"192.0.2.5\"\n",
    );
    let proxy = behind.expect("it is on").trusted_proxy.expect("one");
    assert_eq!(proxy.to_string(), "192.0.2.5");
    let host = |host: &str| {
        let table = format!("\n[web]\nhost = \"{host}\"\npassword_env = \"HASH\"\n");
        parse("barn", &format!("{before}{table}"), Path::new("etc")).map(|site| site.web)
    };
    let number = host("2001:DB8::0:7").expect("a number").expect("it is on");
    assert_eq!(number.host.as_deref(), Some("2001:db8::7"));
    for wrong in ["", "barn:7463", "[2001:db8::7]", "barn/", "barn..example"] {
        let said = host(wrong).expect_err(wrong).to_string();
        assert!(
            said.contains("web.host") && said.contains("alone"),
            "{said}"
        );
    }
}

#[test]
fn programs_that_are_told_have_a_place_a_secret_and_topics_of_their_own() {
    let alerts = barn().alerts;
    let [desk] = &alerts.webhooks[..] else {
        panic!("{:?}", alerts.webhooks)
    };
    assert_eq!(desk.url.address.to_string(), "desk.example.org:443");
    assert_eq!(desk.url.path, "/plants/hillside-barn");
    let secret = Secret::File("/etc/noonmark/desk-secret".into());
    assert_eq!((&desk.secret, desk.timeout), (&secret, Span::from_s(10)));
    let mqtt = alerts.mqtt.expect("a broker");
    assert_eq!(mqtt.broker.address.to_string(), "broker.example:1883");
    let text = barn_text().replace("prefix = \"noonmark/hillside-barn\"\n", "");
    let site = parse("barn", &text, Path::new("")).expect("a right file");
    let mqtt = site.alerts.mqtt.expect("a broker");
    assert_eq!(mqtt.prefix, "noonmark/hillside-barn");
}

/// Authorities are found like every other file: beside the site file, or with the credentials.
#[test]
fn an_authority_may_be_a_credential() {
    let authorities = |name: &str| {
        let text = ["mail", "desk"].iter().fold(barn_text(), |text, whose| {
            let commented = format!("# ca_file = \"/etc/noonmark/{whose}-ca.pem\"");
            text.replace(&commented, &format!("ca_file = {name:?}"))
        });
        let alerts = parse("barn", &text, Path::new("etc"))
            .expect("right")
            .alerts;
        let mail = alerts.mail.expect("mails leave").ca_file;
        [mail, alerts.webhooks[0].ca_file.clone()].map(|path| path.expect("an authority"))
    };
    let beside = PathBuf::from("etc/own.pem");
    assert_eq!(authorities("own.pem"), [beside.clone(), beside]);
    let credential = PathBuf::from("${CREDENTIALS_DIRECTORY}/own.pem");
    let name = "${CREDENTIALS_DIRECTORY}/own.pem";
    assert_eq!(authorities(name), [credential.clone(), credential]);
}
