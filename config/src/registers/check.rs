//! What a register map must fulfil across its keys, and how it becomes a checked one.
//! Never in here: what one key allows by itself.

use super::channel;
use super::number::{kind, meaning, sentinels};
use super::raw::{self, Map};
use super::shapes::{Given, Sentinels};
use super::{BlockLimits, DeviceMap, Encoding, Forbidden, Function, NumberKind, Register};
use crate::problem::{Fault, Problems};
use crate::table::{At, Found, Table};
use analysis::reading::Span;

/// Checks everything; complete unless something was reported.
pub(super) fn map(raw: &Map, problems: &mut Problems<'_>) -> Option<DeviceMap> {
    let map = Context {
        raw,
        counts_from: value(&raw.addresses_count_from).copied(),
        function: given(&raw.function).map(|word| function(word)),
    };
    let forbidden: Option<Vec<_>> = list(&raw.forbidden)
        .iter()
        .map(|raw| map.forbidden(raw, problems))
        .collect();
    let max_block = value(&raw.max_block).map(|max| *max as u16);
    let registers: Vec<_> = list(&raw.register)
        .iter()
        .map(|raw| map.register(raw, problems))
        .collect();
    for (raw, register) in list(&raw.register).iter().zip(&registers) {
        let forbidden = forbidden.as_deref().unwrap_or_default();
        fits_a_block(raw, register.as_ref(), max_block, forbidden, problems);
    }
    let both = list(&raw.register).iter().zip(&registers);
    let channels = both.filter_map(|(raw, register)| {
        let register = register.as_ref()?;
        let path = raw.at().key("channel");
        Some((
            path,
            raw.channel.as_ref()?,
            (register.place, register.quantity),
        ))
    });
    channel::once_each(channels, problems);
    Some(DeviceMap {
        name: value(&raw.name)?.clone(),
        registers: registers.into_iter().collect::<Option<_>>()?,
        limits: BlockLimits {
            max_block: max_block?,
            max_gap: *value(&raw.max_gap)? as u16,
            forbidden: forbidden?,
        },
    })
}

/// What the top of the file says for all registers.
struct Context<'a> {
    raw: &'a Map,
    counts_from: Option<u32>,
    function: Option<Function>,
}

impl Context<'_> {
    fn forbidden(&self, raw: &raw::Forbidden, problems: &mut Problems<'_>) -> Option<Forbidden> {
        let function = self.function_of(&raw.function, raw.at(), problems);
        let first = self.address(&raw.from, raw.at().key("from"), 1, problems);
        let last = self.address(&raw.to, raw.at().key("to"), 1, problems);
        let (first, last) = (first?, last?);
        if first > last {
            let to = raw.to.as_ref()?;
            let wanted = format!("at least from = {}", value(&raw.from)?);
            let found = to.value.to_string();
            problems.add(
                Fault::Contradiction,
                &to.span,
                raw.at().key("to"),
                found,
                wanted,
            );
            return None;
        }
        let function = function?;
        Some(Forbidden {
            function,
            first,
            last,
        })
    }

    fn register(&self, raw: &raw::Register, problems: &mut Problems<'_>) -> Option<Register> {
        let at = raw.at();
        let function = self.function_of(&raw.function, at, problems);
        let kind = function.and_then(|function| kind(raw, function, problems));
        let width = kind.map_or(1, NumberKind::width);
        let address = self.address(&raw.address, at.key("address"), width, problems);
        let channel = raw
            .channel
            .as_ref()
            .and_then(|found| channel::read(found, at.key("channel"), problems));
        let meaning = channel.and_then(|(_, quantity)| meaning(raw, quantity, kind, problems));
        let mut of_key = |name: &str, found: &Option<Found<Sentinels>>| {
            let key = at.key(name);
            kind.and_then(|kind| sentinels((key, found), kind, problems))
        };
        let not_available = of_key("not_available", &raw.not_available);
        let faulty = of_key("faulty", &raw.faulty);
        let (place, quantity) = channel?;
        Some(Register {
            function: function?,
            address: address?,
            encoding: Encoding {
                kind: kind?,
                is_low_word_first: is_low_first(&raw.word_order, &self.raw.word_order),
                is_low_byte_first: is_low_first(&raw.byte_order, &self.raw.byte_order),
            },
            meaning: meaning?,
            not_available: not_available?,
            faulty: faulty?,
            place,
            quantity,
            every: raw.every_s.as_ref().map(|every_s| span(every_s.value)),
        })
    }

    fn function_of(
        &self,
        own: &Option<Found<Given<String>>>,
        at: &At,
        problems: &mut Problems<'_>,
    ) -> Option<Function> {
        if let Some(own) = own {
            return own.value.0.as_deref().map(function);
        }
        if self.raw.function.is_none() {
            let wanted = "holding | input | coil | discrete-input, here or at the top of the file";
            let path = at.key("function");
            problems.add(Fault::MissingKey, &at.span, path, "no such key", wanted);
        }
        self.function
    }

    /// From the maker's way of counting to that of the protocol.
    fn address(
        &self,
        found: &Option<Found<u32>>,
        path: String,
        width: u16,
        problems: &mut Problems<'_>,
    ) -> Option<u16> {
        let (found, counts_from) = (found.as_ref()?, self.counts_from?);
        let address = found.value.checked_sub(counts_from);
        let last = address.map(|address| address + u32::from(width) - 1);
        if last.is_some_and(|last| last <= u32::from(u16::MAX)) {
            return address.map(|address| address as u16);
        }
        let highest = u32::from(u16::MAX) + counts_from + 1 - u32::from(width);
        let wanted = format!(
            "{counts_from} to {highest}, since addresses_count_from = {counts_from} and the value \
             takes {width}"
        );
        let text = found.value.to_string();
        problems.add(Fault::OutOfRange, &found.span, path, text, wanted);
        None
    }
}

/// To the millisecond.
fn span(s: f64) -> Span {
    Span::from_ms((s * 1000.0).round() as i64)
}

pub(super) fn value<T>(field: &Option<Found<T>>) -> Option<&T> {
    field.as_ref().map(|found| &found.value)
}

pub(super) fn given<T>(field: &Option<Found<Given<T>>>) -> Option<&T> {
    value(field)?.0.as_ref()
}

fn list<T>(field: &Option<Found<Vec<T>>>) -> &[T] {
    value(field).map_or(&[], Vec::as_slice)
}

/// The shape has let nothing else through.
fn function(word: &str) -> Function {
    match word {
        "coil" => Function::Coil,
        "discrete-input" => Function::DiscreteInput,
        "input" => Function::Input,
        _ => Function::Holding,
    }
}

fn is_low_first(own: &Option<Found<String>>, above: &Option<Found<String>>) -> bool {
    value(own)
        .or(value(above))
        .is_some_and(|order| order == "low-first")
}

fn fits_a_block(
    raw: &raw::Register,
    register: Option<&Register>,
    max_block: Option<u16>,
    forbidden: &[Forbidden],
    problems: &mut Problems<'_>,
) {
    let (Some(register), Some(found)) = (register, &raw.address) else {
        return;
    };
    let (path, text) = (raw.at().key("address"), found.value.to_string());
    let meets = |f: &&Forbidden| {
        f.function == register.function && f.first <= register.last() && f.last >= register.address
    };
    if forbidden.iter().any(|f| meets(&f)) {
        let wanted = "an address outside [[forbidden]]";
        problems.add(Fault::Contradiction, &found.span, &*path, &*text, wanted);
    }
    let width = register.encoding.kind.width();
    if max_block.is_some_and(|max| width > max) {
        let wanted = format!("max_block of at least {width}, since the value takes so many");
        problems.add(Fault::Contradiction, &found.span, path, text, wanted);
    }
}
