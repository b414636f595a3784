//! Which way the planes without a sensor really face, learned day by day from what their inputs give.
//!
//! Model:   the clear days of `orientation`; what several of them say is taken where they outweigh
//!          the site file, and anew where it has moved by more than its own doubt.
//! Range:   planes whose light comes from the ground or from a clear sky.
//! Source:  own.
//! Check:   tests/acceptance/engine/facing.rs; `orientation` for the fit itself.

use super::calibration::{Known, Learned, LearnedOf};
use super::ladder::Ladder;
use super::orientation::{
    OrientationFit, OrientationRecord, OrientationSample, OrientationVerdict, Refinement,
};
use crate::plant::Plane;
use crate::reading::{Angle, Irradiance, SolarDay, Time};
use crate::sky::Components;
use serde::{Deserialize, Serialize};

/// Shift from what was taken, over its standard deviation, that is worth taking again [-].
const MOVED_SIGMAS: f64 = 2.0;

/// One slot of a plane, as it waits for the end of the day.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct SurveySlot {
    /// Middle of the slot.
    pub at: Time,
    /// Global, direct and diffuse irradiance on the ground, measured or of a clear sky [W/m2].
    pub ground_w_m2: [f64; 3],
    /// The same of a sky one standard deviation off.
    pub other_w_m2: [f64; 3],
    /// Global irradiance of the clear sky [W/m2].
    pub clear_ghi_w_m2: f64,
    /// Median over healthy inputs of current over rated current [-].
    pub response_ratio: f64,
    /// One standard deviation of it [-].
    pub sigma_ratio: f64,
}

/// What is known of the orientation of one plane.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct PlaneSurvey {
    today: Vec<SurveySlot>,
    record: OrientationRecord,
    taken: Option<Refinement>,
}

impl PlaneSurvey {
    /// Takes a slot in which nothing is held back and nothing wrong.
    pub fn add(&mut self, slot: SurveySlot) {
        self.today.push(slot);
    }

    /// Throws away what was seen today: time has gone back.
    pub fn forget_today(&mut self) {
        self.today.clear();
    }

    /// Learns from the day that has ended; says whether the plane is taken to face another way now.
    pub fn close_day(
        &mut self,
        day: SolarDay,
        stated: &Plane,
        ladder: &mut Ladder,
        fit: &OrientationFit,
    ) -> bool {
        let slots = std::mem::take(&mut self.today);
        if slots.is_empty() {
            return false;
        }
        let samples: Vec<OrientationSample> = slots.iter().map(|s| s.sample(ladder)).collect();
        // A day that says nothing has said why; most days are not clear.
        let Ok(refined) = fit.day(stated, &samples) else {
            return false;
        };
        self.record.add(day, &refined);
        let found = match self.record.verdict(stated) {
            OrientationVerdict::Adopted(found) => found,
            OrientationVerdict::AsStated(_) => return self.taken.take().is_some(),
            OrientationVerdict::TooFewDays { .. } | OrientationVerdict::TooWide(_) => return false,
        };
        let has_moved = self.taken.as_ref().is_none_or(|taken| found.is_off(taken));
        if has_moved {
            self.taken = Some(found);
        }
        has_moved
    }

    /// Which way the plane is taken to face, where the site file is not believed.
    pub fn taken(&self) -> Option<&Refinement> {
        self.taken.as_ref()
    }

    /// The same as it is reported of plane `p`.
    pub fn learned(&self, p: usize, stated: &Plane) -> Vec<Learned> {
        let Some(found) = &self.taken else {
            return Vec::new();
        };
        let (Some(from), Some(to)) = (found.days.first(), found.days.last()) else {
            return Vec::new();
        };
        let known = |value: Angle, sigma: Angle| Known {
            value: value.deg(),
            sigma: sigma.deg(),
            from: *from,
            to: *to,
            days: found.days.len(),
        };
        let exact = Angle::from_deg(0.0);
        let learned = |of, found: Angle, sigma: Angle, stated: Angle| Learned {
            of,
            now: known(found, sigma),
            baseline: known(stated, exact),
        };
        let azimuth = LearnedOf::Azimuth(p);
        vec![
            learned(
                LearnedOf::Tilt(p),
                found.tilt,
                found.sigma_tilt,
                stated.tilt,
            ),
            learned(azimuth, found.azimuth, found.sigma_azimuth, stated.azimuth),
        ]
    }
}

impl Refinement {
    fn is_off(&self, taken: &Refinement) -> bool {
        let apart = |a: f64, b: f64| (a - b + 180.0).rem_euclid(360.0) - 180.0;
        let off = |a: f64, b: f64, sigma: f64| apart(a, b).abs() > MOVED_SIGMAS * sigma;
        off(self.tilt.deg(), taken.tilt.deg(), self.sigma_tilt.deg())
            || off(
                self.azimuth.deg(),
                taken.azimuth.deg(),
                self.sigma_azimuth.deg(),
            )
    }

    /// The stated plane, lying as was found.
    pub fn applied_to(&self, stated: &Plane) -> Plane {
        Plane {
            tilt: self.tilt,
            azimuth: self.azimuth,
            ..stated.clone()
        }
    }
}

impl SurveySlot {
    fn sample(&self, ladder: &mut Ladder) -> OrientationSample {
        let components = |w_m2: [f64; 3]| {
            let [ghi, dni, dhi] = w_m2.map(Irradiance::from_w_m2);
            Components { ghi, dni, dhi }
        };
        OrientationSample {
            sunlight: ladder.sunlight(self.at),
            components: components(self.ground_w_m2),
            other_components: components(self.other_w_m2),
            clear_ghi: Irradiance::from_w_m2(self.clear_ghi_w_m2),
            response_ratio: self.response_ratio,
            sigma_ratio: self.sigma_ratio,
        }
    }
}
