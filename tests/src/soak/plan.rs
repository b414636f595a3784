//! What happens in a soak, drawn from a seed: faults of the plant, which both daemons must find alike, and
//! troubles of everything round one of them.
//! Never in here: how it is done, or what must come of it.

use crate::campaign::Draw;
use crate::fault_proxy::Trouble;
use crate::plant::{Period, START, What};
use analysis::detect::Kind;
use analysis::plant::EventBit;
use analysis::reading::{Span, Time};

/// Inverters of the plant, with this many inputs each.
pub const INVERTERS: usize = 20;
/// Inputs of each.
pub const INPUTS: usize = 2;
/// Share of the days, from the first on, on which the daemon is killed and told to end. After it one
/// process goes on to the end, so that what grows can be seen.
const WITH_ENDS: f64 = 0.4;
const LEAST_WITH_ENDS: i64 = 2;

/// A fault of the plant.
#[derive(Debug, Clone, Copy)]
pub struct Fault {
    /// When and what.
    pub period: Period,
    /// In the plant's words.
    pub what: What,
    /// What is to be found.
    pub kind: Kind,
    /// Inverter by index, and the number of the input if one is meant.
    pub at: (usize, Option<u8>),
}

/// Something that is done to what is round the daemon.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Act {
    /// The answers of an inverter go wrong from now on.
    Device(usize, Trouble),
    /// An inverter shows its models in another order, as after an update of its own program, or as before.
    Moved(usize, bool),
    /// They are right again.
    DeviceRight(usize),
    /// The broker is away, or there again.
    Broker(bool),
    /// What the mail server does from now on.
    Mail(&'static str),
    /// The mail server is away, or there again.
    MailServer(bool),
    /// The disk takes nothing, or takes everything again.
    Disk(bool),
    /// The daemon is ended as a power cut does, and started again.
    Kill,
    /// The daemon is told to end, and started again.
    Terminate,
    /// The daemon is told to read its site file again: a right one, or one that is wrong.
    Reload(bool),
}

/// Everything that happens.
#[derive(Debug, Clone)]
pub struct Plan {
    /// First moment and the one after the last.
    pub period: Period,
    /// Faults of the plant.
    pub faults: Vec<Fault>,
    /// Inverters that are out of reach, and when: each is one lost link.
    pub lost: Vec<(usize, Period)>,
    /// In the order of time.
    pub acts: Vec<(Time, Act)>,
}

/// A moment by the sun over the plant: hours of a day from 0 on.
pub fn at(day: i64, hour: f64) -> Time {
    START + Span::from_h(24 * day) + Span::from_s((hour * 3600.0) as i64)
}

impl Plan {
    /// So many days. On the first the plant is learned, on the last two nothing new goes wrong, so that
    /// everything can end.
    pub fn new(seed: u64, days: i64) -> Self {
        assert!(days >= 5, "wanted 5 days or more, found {days}");
        let mut draw = Draw::new(seed, 0);
        let mut plan = Self {
            period: Period::new((0, 4.0), (days, 4.0)),
            faults: Vec::new(),
            lost: Vec::new(),
            acts: Vec::new(),
        };
        let quiet_from = days - 2;
        // From which day on an inverter may be taken again.
        let mut free_from = [1; INVERTERS];
        for day in 1..quiet_from {
            plan.faults_of(day, quiet_from, &mut free_from, &mut draw);
            plan.lost_links_of(day, &mut free_from, &mut draw);
        }
        for day in 1..quiet_from {
            plan.broker_and_mail_of(day, &mut draw);
            let disk = (day % 2 == 1).then(|| plan.full_disk_of(day, &mut draw));
            let ends = day <= LEAST_WITH_ENDS.max((WITH_ENDS * (days - 3) as f64) as i64);
            plan.orders_of(day, ends, disk, &mut draw);
        }
        plan.acts.sort_by_key(|(at, _)| *at);
        plan
    }

    /// Only what is decided by polls a quarter of an hour apart; single trips are not.
    fn faults_of(&mut self, day: i64, before: i64, free_from: &mut [i64], draw: &mut Draw) {
        // All kinds on the first day with faults, so that a short soak has them too; two a day later.
        let kinds: Vec<usize> = match day {
            1 => (0..5).collect(),
            _ => vec![draw.whole(0, 1) as usize, draw.whole(2, 4) as usize],
        };
        for kind in kinds {
            let Some(i) = taken(day, free_from, draw) else {
                continue;
            };
            let k = draw.whole(0, INPUTS as i64 - 1) as usize;
            let last = (day + draw.whole(0, 2)).min(before - 1);
            let from = draw.between(9.0, 11.0);
            let lasting = Period::new((day, from), (last, 16.0));
            let short = |from: f64, hours: f64| Period::new((day, from), (day, from + hours));
            let input = Some(k as u8 + 1);
            let open = |count| What::StringsOpen {
                input: (i, k),
                count,
            };
            let (period, what, kind, at) = match kind {
                0 => (lasting, open(1), Kind::StringOpen, (i, input)),
                1 => (lasting, open(2), Kind::InputDead, (i, input)),
                2 => (
                    short(4.0, 9.0),
                    What::Leaks(i),
                    Kind::IsolationLow,
                    (i, None),
                ),
                3 => (
                    short(from, 5.0),
                    What::Stopped(i),
                    Kind::InverterOff,
                    (i, None),
                ),
                _ => {
                    let shows = What::Shows(i, EventBit::BlownStringFuse);
                    (short(from, 2.0), shows, Kind::ProtectionActed, (i, None))
                }
            };
            let over = ((period.to - START).hours() / 24.0) as i64;
            free_from[i] = over + 3;
            self.faults.push(Fault {
                period,
                what,
                kind,
                at,
            });
        }
    }

    fn lost_links_of(&mut self, day: i64, free_from: &mut [i64], draw: &mut Draw) {
        const TROUBLES: [Trouble; 9] = [
            Trouble::Silence,
            Trouble::Exception(4),
            Trouble::Exception(11),
            Trouble::Garbage,
            Trouble::Short,
            Trouble::WrongTransaction,
            Trouble::WrongUnit,
            Trouble::Late,
            Trouble::Reset,
        ];
        // Each of them on the first day, so that a short soak has them too.
        let troubles: Vec<Trouble> = match day {
            1 => TROUBLES.to_vec(),
            _ => vec![draw.pick(&TROUBLES), draw.pick(&TROUBLES)],
        };
        for trouble in troubles {
            let Some(i) = taken(day, free_from, draw) else {
                continue;
            };
            let from = draw.between(8.0, 11.0);
            let period = Period::new((day, from), (day, from + draw.between(2.0, 4.0)));
            self.acts.push((period.from, Act::Device(i, trouble)));
            self.acts.push((period.to, Act::DeviceRight(i)));
            free_from[i] = day + 2;
            self.lost.push((i, period));
        }
        // Any of them, also one with a fault: it is asked anew and no link is lost.
        let moved = draw.whole(0, INVERTERS as i64 - 1) as usize;
        let hour = draw.between(8.0, 15.0);
        self.acts.push((at(day, hour), Act::Moved(moved, true)));
        let back = hour + draw.between(1.0, 12.0);
        self.acts.push((at(day, back), Act::Moved(moved, false)));
    }

    fn broker_and_mail_of(&mut self, day: i64, draw: &mut Draw) {
        let from = draw.between(0.0, 20.0);
        self.acts.push((at(day, from), Act::Broker(false)));
        let to = from + draw.between(1.0, 8.0);
        self.acts.push((at(day, to), Act::Broker(true)));
        // Two times a day, one after the other, over days when much is told.
        for (from, to) in [(1.0, 12.0), (12.5, 23.0)] {
            let from = draw.between(from, from + 3.0);
            let to = draw.between(from + 2.0, to);
            match draw.pick(&["refuse", "later", "drop", "stall", "away"]) {
                "away" => {
                    self.acts.push((at(day, from), Act::MailServer(false)));
                    self.acts.push((at(day, to), Act::MailServer(true)));
                }
                // Whoever waits for an answer waits until the server has ended.
                "stall" => {
                    self.acts.push((at(day, from), Act::Mail("stall")));
                    self.acts.push((at(day, to - 0.5), Act::MailServer(false)));
                    self.acts.push((at(day, to), Act::MailServer(true)));
                }
                mode => {
                    self.acts.push((at(day, from), Act::Mail(mode)));
                    self.acts.push((at(day, to), Act::Mail("accept")));
                }
            }
        }
    }

    fn full_disk_of(&mut self, day: i64, draw: &mut Draw) -> Period {
        let from = draw.between(7.0, 17.0);
        let full = Period::new((day, from), (day, from + draw.between(1.0, 4.0)));
        self.acts.push((full.from, Act::Disk(false)));
        self.acts.push((full.to, Act::Disk(true)));
        full
    }

    /// What the daemon is told, or what happens to it: not while a disk is full, since what waits in
    /// memory is lost then, and not round a fault that is short, since nobody looks while it starts.
    fn orders_of(&mut self, day: i64, ends: bool, disk: Option<Period>, draw: &mut Draw) {
        const FROM_FAULTS: Span = Span::from_h(2);
        const FROM_ORDERS: Span = Span::from_h(1);
        let mut orders = vec![Act::Reload(true), Act::Reload(false)];
        if ends {
            orders.extend([Act::Kill, Act::Kill, Act::Terminate]);
        }
        let short = |fault: &&Fault| fault.period.to - fault.period.from < Span::from_h(12);
        let faults = self.faults.iter().filter(short).map(|fault| fault.period);
        let around = |period: Period, by: Span| Period {
            from: period.from - by,
            to: period.to + by,
        };
        let closed = faults.chain(disk).map(|p| around(p, FROM_FAULTS));
        let mut closed: Vec<Period> = closed.collect();
        for order in orders {
            let is_open = |time: &Time| !closed.iter().any(|period| period.holds(*time));
            let times = std::iter::repeat_with(|| at(day, draw.between(0.0, 24.0)));
            if let Some(time) = times.take(200).find(is_open) {
                self.acts.push((time, order));
                let moment = Period {
                    from: time,
                    to: time,
                };
                closed.push(around(moment, FROM_ORDERS));
            }
        }
    }
}

/// An inverter on which nothing is, from this day on; `None` where most are taken.
fn taken(day: i64, free_from: &[i64], draw: &mut Draw) -> Option<usize> {
    let free: Vec<usize> = (0..INVERTERS).filter(|i| free_from[*i] <= day).collect();
    (!free.is_empty()).then(|| draw.pick(&free))
}
