//! Where every missing kilowatt-hour of a day, a month or a year went.

use super::rounded;
use crate::store::{Store, StoreError};
use crate::web::Page;
use crate::web::calendar::{self, Length};
use analysis::ledger::Loss;
use analysis::reading::Energy;
use analysis::review::Balance;
use chrono::NaiveDate;
use serde::Serialize;

/// Smaller losses are nothing but rounding [Wh].
const LEAST_WH: f64 = 0.05;

/// A ledger.
#[derive(Debug, Clone, Serialize)]
pub struct Ledger {
    pub length: &'static str,
    /// First day, of the calendar at the site.
    pub from: String,
    /// First day that is no part of it.
    pub to: String,
    pub currency: Option<String>,
    /// The site, then each inverter.
    pub accounts: Vec<Account>,
}

/// The ledger of the site or an inverter: expected = measured + the sum of all losses.
#[derive(Debug, Clone, Serialize)]
pub struct Account {
    /// `None`: the site.
    pub inverter: Option<String>,
    pub expected_wh: f64,
    pub measured_wh: f64,
    /// Produced beside it, while it was not known what the weather would give.
    pub not_compared_wh: f64,
    /// What the arrays would have given above rated power: neither expected nor missing.
    pub above_rated_power_wh: f64,
    pub expected_money: Option<f64>,
    pub measured_money: Option<f64>,
    /// Those that are not nothing.
    pub losses: Vec<Lost>,
    /// Whether what was not compared is more than dusk and dawn give.
    #[serde(skip)]
    pub tells_not_compared: bool,
}

/// One loss.
#[derive(Debug, Clone, Serialize)]
pub struct Lost {
    /// As the columns of `ledger.csv`.
    pub name: String,
    pub wh: f64,
    pub money: Option<f64>,
    #[serde(skip)]
    pub loss: Loss,
}

/// The ledger of the length that holds a day.
pub fn ledger(
    page: &Page,
    store: &Store,
    day: NaiveDate,
    length: Length,
) -> Result<Ledger, StoreError> {
    let plant = &page.site.plant;
    let (from, to) = calendar::span(day, length, page.site.timezone);
    let findings = store.findings_in(from, to)?;
    let mut inverters: Vec<Balance> = plant.inverters.iter().map(|_| Balance::zero()).collect();
    // Nothing is looked for where nothing is.
    let (first, last) = store.span()?.unwrap_or((from, from));
    let (from, to) = (from.max(first), to.min(last));
    let mut date = calendar::day_at(from, page.site.timezone);
    while calendar::span(date, Length::Day, page.site.timezone).0 < to {
        let day = calendar::span(date, Length::Day, page.site.timezone);
        let of_day = page.balances.of_day((plant, store), date, day, &findings)?;
        for (sum, balance) in inverters.iter_mut().zip(of_day.iter()) {
            sum.join(balance);
        }
        date = calendar::around(date, Length::Day).1;
    }
    let mut site = Balance::zero();
    inverters.iter().for_each(|inverter| site.join(inverter));
    let names = plant
        .inverters
        .iter()
        .map(|inverter| Some(inverter.id.to_string()));
    let all = [site].into_iter().chain(inverters);
    let accounts = [None].into_iter().chain(names).zip(all);
    let (first, next) = calendar::around(day, length);
    Ok(Ledger {
        length: length.name(),
        from: first.to_string(),
        to: next.to_string(),
        currency: plant
            .site
            .energy_price
            .as_ref()
            .map(|price| price.currency.clone()),
        accounts: accounts
            .map(|(name, balance)| account(page, name, &balance))
            .collect(),
    })
}

fn account(page: &Page, inverter: Option<String>, balance: &Balance) -> Account {
    let price = page.site.plant.site.energy_price.as_ref();
    let money = |energy: Energy| price.map(|price| rounded(price.of(energy), 4));
    let losses = balance.losses();
    let losses = losses.filter(|(_, energy)| energy.wh().abs() >= LEAST_WH);
    Account {
        inverter,
        expected_wh: rounded(balance.expected.wh(), 1),
        measured_wh: rounded(balance.measured.wh(), 1),
        not_compared_wh: rounded(balance.not_compared.wh(), 1),
        above_rated_power_wh: rounded(balance.above_rated.wh(), 1),
        tells_not_compared: balance.told_not_compared().is_some(),
        expected_money: money(balance.expected),
        measured_money: money(balance.measured),
        losses: losses
            .map(|(loss, energy)| Lost {
                name: loss.name(),
                wh: rounded(energy.wh(), 1),
                money: money(energy),
                loss,
            })
            .collect(),
    }
}
