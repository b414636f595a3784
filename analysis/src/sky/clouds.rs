//! The light on the ground under clouds of which one number is known, and that number from the
//! light in one plane.
//!
//! Model:   GHI = c GHI_clear;  DHI / GHI = F(kt) + c (F_clear - F(kt_clear)), at most 1: the
//!          correlation of Erbs, moved so that it meets the clear sky at c = 1;
//!          c is what makes the plane's irradiance by the model of Perez the one that is seen; in a plane
//!          that is lit from the sky more than one c may.
//! Symbols: c clearness beside the clear sky [-], F diffuse over global [-], kt = GHI / (E0 cos z)
//! Range:   sun above the horizon, 0 <= c <= 1.5
//! Source:  own, upon `decomposition`
//! Check:   tests below: there and back; tests/acceptance/engine/inputs.rs, light from another plane.

use super::decomposition::{Components, LEAST_COSINE, erbs_diffuse_ratio};
use super::incidence::Facing;
use super::sunlight::Sunlight;
use super::transposition::Dome;
use crate::reading::Irradiance;

/// Most of a clear sky's light that clouds beside the sun give [-].
const MOST: f64 = 1.5;
/// Least share of beam in the light of a plane under a clear sky, for it to show clouds [-].
const LEAST_BEAM_RATIO: f64 = 0.8;
/// The same where it is taken over the whole of a slot, and steps up to there [-].
const MOST_OF_A_SLOT: f64 = 1.1;
const STEPS: u32 = 55;
/// Halvings of the bracket of c: to 1e-6.
const HALVINGS: u32 = 20;

/// The light on the ground at this clearness beside a clear sky.
pub fn under_clouds(clear: &Components, clearness: f64, sun: &Sunlight) -> Components {
    let (ghi_clear, _, dhi_clear) = clear.w_m2();
    let cos_z = sun.direction.up.max(LEAST_COSINE);
    let kt_clear = ghi_clear / (sun.extraterrestrial_w_m2 * cos_z);
    let moved = dhi_clear / ghi_clear - erbs_diffuse_ratio(kt_clear);
    let diffuse_ratio = erbs_diffuse_ratio(clearness * kt_clear) + clearness * moved;
    let ghi = clearness * ghi_clear;
    let dhi = ghi * diffuse_ratio.clamp(0.0, 1.0);
    Components::from_w_m2(ghi, (ghi - dhi) / cos_z, dhi)
}

/// The clearness under which a plane gets this irradiance, the nearest there is where none gives it;
/// `None` for a plane that a clear sky lights more from the sky than from the sun: clouds may make
/// it brighter as well as darker.
pub fn clearness_shown(
    poa: Irradiance,
    clear: &Components,
    sun: &Sunlight,
    facing: &Facing,
    albedo_ratio: f64,
) -> Option<f64> {
    let on = |sky: &Components| Dome::new(sky, sun).on(facing, albedo_ratio);
    let under_clear = on(clear);
    if under_clear.beam.w_m2() < LEAST_BEAM_RATIO * under_clear.total().w_m2() {
        return None;
    }
    let (mut low, mut high) = (0.0, MOST);
    for _ in 0..HALVINGS {
        let middle = f64::midpoint(low, high);
        if on(&under_clouds(clear, middle, sun)).total().w_m2() < poa.w_m2() {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(f64::midpoint(low, high))
}

/// The least and the most clearness under which a plane gets an irradiance between these two; where
/// none gives it, the one that gives the nearest.
pub fn clearness_between(
    (least, most): (Irradiance, Irradiance),
    clear: &Components,
    sun: &Sunlight,
    facing: &Facing,
    albedo_ratio: f64,
) -> (f64, f64) {
    let (least, most) = (least.w_m2(), most.w_m2());
    let (mut nearest, mut off) = (0.0, f64::INFINITY);
    let mut possible: Option<(f64, f64)> = None;
    let mut before: Option<(f64, f64)> = None;
    for step in 0..=STEPS {
        let c = MOST_OF_A_SLOT * f64::from(step) / f64::from(STEPS);
        let dome = Dome::new(&under_clouds(clear, c, sun), sun);
        let poa = dome.on(facing, albedo_ratio).total().w_m2();
        // Between two steps the light may pass through what is asked for.
        let (c_before, poa_before) = before.unwrap_or((c, poa));
        if poa.max(poa_before) >= least && poa.min(poa_before) <= most {
            possible = Some((possible.map_or(c_before, |(low, _)| low), c));
        }
        let outside = (least - poa).max(poa - most);
        if outside < off {
            (nearest, off) = (c, outside);
        }
        before = Some((c, poa));
    }
    possible.unwrap_or((nearest, nearest))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::{Mounting, Plane};
    use crate::reading::Angle;
    use crate::sky::{ClearAir, Observer, SunPosition};
    use proptest::prelude::*;

    fn sunlight(zenith_deg: f64, azimuth_deg: f64) -> Sunlight {
        let zenith = Angle::from_deg(zenith_deg);
        let sun = SunPosition {
            apparent_zenith: zenith,
            zenith,
            azimuth: Angle::from_deg(azimuth_deg),
        };
        Sunlight::new(&sun, Irradiance::from_w_m2(1360.0))
    }

    fn facing(tilt_deg: f64, azimuth_deg: f64) -> Facing {
        Facing::of(&Plane {
            id: String::new(),
            tilt: Angle::from_deg(tilt_deg),
            azimuth: Angle::from_deg(azimuth_deg),
            mounting: Mounting::OPEN_RACK,
            albedo_ratio: 0.2,
            horizon: None,
        })
    }

    fn clear(sun: &Sunlight) -> Components {
        let zero = Angle::from_deg(0.0);
        ClearAir::new(&Observer::new(zero, zero, 100.0), 3.0).under(sun)
    }

    proptest! {
        #[test]
        fn a_plane_shows_the_clearness_that_lights_it(
            zenith in 0.0..80.0f64, azimuth in 0.0..360.0f64, clearness in 0.02..1.2f64,
            tilt in 0.0..60.0f64, turned in 0.0..360.0f64,
        ) {
            // The model of Perez steps between its rows, and the light of a plane with it.
            const STEPS: f64 = 0.05;
            let (sun, facing) = (sunlight(zenith, azimuth), facing(tilt, turned));
            let clear = clear(&sun);
            let on = |c| {
                let dome = Dome::new(&under_clouds(&clear, c, &sun), &sun);
                dome.on(&facing, 0.2).total()
            };
            let shown = clearness_shown(on(clearness), &clear, &sun, &facing, 0.2);
            let off = shown.map_or(0.0, |shown| (shown - clearness).abs());
            prop_assert!(off < STEPS, "{:?}", shown);
        }

        #[test]
        fn the_clearness_of_any_plane_is_among_the_possible_ones(
            zenith in 50.0..88.0f64, azimuth in 0.0..360.0f64, clearness in 0.05..1.1f64,
            tilt in 0.0..60.0f64, turned in 0.0..360.0f64,
        ) {
            // From one step to the next.
            const STEP: f64 = MOST_OF_A_SLOT / STEPS as f64;
            let (sun, facing) = (sunlight(zenith, azimuth), facing(tilt, turned));
            let clear = clear(&sun);
            let dome = Dome::new(&under_clouds(&clear, clearness, &sun), &sun);
            let poa = dome.on(&facing, 0.2).total().w_m2();
            let seen = [0.9, 1.1].map(|ratio| Irradiance::from_w_m2(poa * ratio));
            let (least, most) = clearness_between((seen[0], seen[1]), &clear, &sun, &facing, 0.2);
            let inside = least - STEP <= clearness && clearness <= most + STEP;
            prop_assert!(inside, "{} to {}", least, most);
        }

        #[test]
        fn a_full_clearness_is_the_clear_sky_and_thick_cloud_has_no_beam(
            zenith in 0.0..80.0f64,
        ) {
            const ROUNDING_W_M2: f64 = 1e-9;
            let sun = sunlight(zenith, 0.0);
            let clear = clear(&sun);
            let full = under_clouds(&clear, 1.0, &sun);
            prop_assert!((full.dni.w_m2() - clear.dni.w_m2()).abs() < ROUNDING_W_M2);
            let thick = under_clouds(&clear, 0.1, &sun);
            prop_assert!(thick.dni.w_m2() < 0.05 * clear.dni.w_m2());
        }
    }
}
