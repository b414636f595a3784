//! Which slots of a day show the voltage of an input.
//!
//! Model:   of the bright ones the brighter half, where a resistance shows most. What is learned and what
//!          is held against it are chosen by the same rule: the voltage of a healthy input strays by up to
//!          0.4 % between dim and bright light.
//! Source:  400 W/m2 as for I-V tests in IEC 62446-1 (from memory, verify); the half is own.
//! Check:   test below; tests/acceptance/engine/array.rs.

use crate::reading::median;

/// Irradiance above which the voltage is well known [W/m2].
pub const BRIGHT_POA_W_M2: f64 = 400.0;

/// The slots with as much light as their middle one and more, by any measure of light.
pub fn brighter_half<S>(slots: Vec<S>, light: impl Fn(&S) -> f64) -> Vec<S> {
    let middle = median(slots.iter().map(&light)).unwrap_or(0.0);
    slots.into_iter().filter(|s| light(s) >= middle).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_of_the_slots_are_the_brighter_ones() {
        let by_itself = |light: &f64| *light;
        assert_eq!(
            brighter_half(vec![500.0, 900.0, 400.0, 800.0], by_itself),
            [900.0, 800.0]
        );
        assert_eq!(brighter_half(vec![], by_itself), [0.0; 0]);
    }
}
