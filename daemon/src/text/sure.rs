//! How sure something is: nobody is to a hundred per cent, nor to none.
//! Never in here: where a probability comes from.

/// A probability as people are told of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sureness {
    /// More than 99 %.
    Nearly,
    /// So many per cent, 1 to 99.
    Percent(u8),
    /// Less than 1 %.
    Hardly,
}

impl Sureness {
    /// Of a probability [-].
    pub fn of(probability: f64) -> Self {
        match 100.0 * probability {
            percent if percent > 99.0 => Self::Nearly,
            percent if percent >= 1.0 => Self::Percent(percent.round() as u8),
            _ => Self::Hardly,
        }
    }
}

/// The same in English.
pub fn sure(probability: f64) -> String {
    match Sureness::of(probability) {
        Sureness::Nearly => "more than 99 %".to_owned(),
        Sureness::Percent(percent) => format!("{percent} %"),
        Sureness::Hardly => "less than 1 %".to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn nothing_is_said_to_be_certain_or_impossible() {
        for (probability, says) in [
            (1.0, "more than 99 %"),
            (0.9901, "more than 99 %"),
            (0.99, "99 %"),
            (0.974, "97 %"),
            (0.01, "1 %"),
            (0.0099, "less than 1 %"),
            (0.0, "less than 1 %"),
        ] {
            assert_eq!(sure(probability), says, "{probability}");
        }
    }
}
