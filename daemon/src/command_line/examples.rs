//! Examples behind the help of each command. Addresses are those that are kept for examples
//! (RFC 5737).

pub(super) const SCAN: &str = "Examples:
  noonmark scan 192.0.2.7                        one device over Modbus TCP
  noonmark scan 192.0.2.7:502 --units 1-10       all units behind a gateway
  noonmark scan 192.0.2.8:4001 --rtu --unit 3    through a converter of serial frames
  noonmark scan /dev/ttyUSB0 --baud 19200 --parity even --units 1-32
                                                 on a serial line
  noonmark scan 192.0.2.7 --points               its ratings, alarms, settings: every point of its models
  noonmark scan 192.0.2.7 --function 4 --from 1000 --count 40
                                                 chosen registers, with every plausible reading
  noonmark scan 192.0.2.7 --from 1000 --count 40 --write-map inverter.toml
                                                 and the beginning of a register map";

pub(super) const CHECK: &str = "Examples:
  noonmark check site.toml                       every problem at once, or the design with its limits
  noonmark check /etc/noonmark/site.toml && systemctl reload noonmark
                                                 before the daemon reads it again
  noonmark check site.toml --live                does everything answer? Not on a serial line, or in front of
                                                 a device with one connection, while the daemon runs";

pub(super) const RUN: &str = "Examples:
  noonmark run site.toml --out /var/lib/noonmark
  noonmark run site.toml --rehearse-from 2026-06-21T06:00:00Z --rehearse-rate 300
                                                 a day in front of a simulated device, in minutes

SIGTERM or SIGINT end it in order; at SIGHUP it reads the site file again. It tells systemd when it
is ready and that it lives.";

pub(super) const REPLAY: &str = "Example:
  noonmark replay config/sites/test-field.toml --out test-field-report";

pub(super) const INIT: &str = "Examples:
  noonmark init                                  asks, and writes site.toml
  noonmark init --out /etc/noonmark/site.toml --device 192.0.2.7:502 --device 192.0.2.8:502,3
  noonmark init --name Barn --latitude -41.4 --longitude 147.1 --timezone Australia/Hobart < /dev/null
                                                 asks nothing";

pub(super) const BACKUP: &str = "Example:
  noonmark backup /var/lib/noonmark --to /media/usb/noonmark.sqlite";

pub(super) const VERIFY: &str = "Examples:
  noonmark verify /var/lib/noonmark
  noonmark verify /media/usb/noonmark.sqlite";

pub(super) const DOCTOR: &str = "Example:
  noonmark doctor /etc/noonmark/site.toml --store /var/lib/noonmark --out noonmark.txt
                                                 read it before you give it away";

pub(super) const EXPORT: &str = "Example:
  noonmark export site.toml --store /var/lib/noonmark --out june --from 2026-06-01 --to 2026-06-30 \\
      --format parquet";

pub(super) const TRIAL: &str = "Example:
  noonmark trial /etc/noonmark/site.toml";

pub(super) const REPORT: &str = "Examples:
  noonmark report site.toml --store /var/lib/noonmark --out june --from 2026-06-01 --to 2026-06-30
  noonmark report site.toml --store /var/lib/noonmark --out handover --commissioning";

pub(super) const PASSWORD: &str = "Example:
  noonmark password > page-password";

pub(super) const DEMO: &str = "Example:
  noonmark demo --out demo                       then open demo/report.html";

pub(super) const SCHEMA: &str = "Examples:
  noonmark schema site > noonmark-site.schema.json
  noonmark schema map > noonmark-map.schema.json
                                                 an editor finds it by a first line in the file:
                                                 #:schema ./noonmark-site.schema.json";

pub(super) const COMPLETIONS: &str = "Examples:
  noonmark completions bash > /usr/share/bash-completion/completions/noonmark
  noonmark completions zsh > ~/.zfunc/_noonmark";

pub(super) const MAN: &str = "Example:
  noonmark man /usr/local/share/man/man1";
