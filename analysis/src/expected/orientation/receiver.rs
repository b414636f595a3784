//! What a receiver in a plane answers to, for a plane that leans any way near the stated one.
//!
//! Model:   E = DNI cos theta m(theta) + sky m_sky(beta) + ground m_ground(beta), as the ladder's
//!          effective irradiance; without glass every m is 1.
//!          another model of the sky's part, Hay-Davies: DHI (A Rb + (1 - A) (1 + cos beta) / 2),
//!          A = DNI / 1366.1, Rb = max(cos theta, 0) / cos z, as in `sky::SkyModel`
//!          lean = (beta cos gamma, beta sin gamma)
//! Symbols: theta  incidence    beta, gamma  tilt, azimuth of the plane [deg]    m  modifiers [-]
//! Range:   tilt from 0; modifiers of diffuse light are tabled up to 115 deg of tilt and hold their
//!          last value beyond. A lean has no edge at a flat plane, where an azimuth has one.
//! Source:  own; the parts are of `sky`. Between the tabled tilts the modifiers are linear.
//! Check:   against the exact modifiers and back and forth, below.

use crate::plant::Plane;
use crate::reading::Angle;
use crate::sky::{self, Components, DiffuseModifiers, Dome, Facing, SunDirection};

/// Distance of the tabled tilts [deg] and their number.
const TABLE_STEP_DEG: f64 = 5.0;
const TABLE_STEPS: u8 = 24;

/// For the anisotropy of Hay and Davies, to which the distance of the sun, 3 %, does not matter
/// [W/m2].
const SOLAR_CONSTANT_W_M2: f64 = 1366.1;

/// What takes the light.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ReceiverKind {
    /// Modules, or a reference cell, behind flat glass.
    FlatGlass,
    /// A pyranometer under its dome, which weighs light by the cosine alone.
    Pyranometer,
}

/// What spectrum and its like do to the current of a module, over the logarithm of the air mass,
/// one standard deviation [-]: silicon takes one or two percent more of the light where the sun is
/// low, and the sign and size hang on the module (engineering judgement). A pyranometer is black.
const SPECTRAL_RATIO: f64 = 0.012;

/// A receiver, ready to be turned. One serves all planes: it costs some milliseconds to make.
#[derive(Debug, Clone)]
pub struct Receiver {
    kind: ReceiverKind,
    /// At every [`TABLE_STEP_DEG`] of tilt.
    diffuse: Vec<DiffuseModifiers>,
}

/// Tilt and azimuth as a point on the map of all orientations, flat in the middle [deg].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Lean {
    pub north_deg: f64,
    pub east_deg: f64,
}

/// The receiver, turned some way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Turned {
    kind: ReceiverKind,
    spectral_ratio: f64,
    facing: Facing,
    /// Part of the sky that the plane sees [-].
    sky_view: f64,
    diffuse: DiffuseModifiers,
    albedo_ratio: f64,
}

/// Effective irradiance by where it comes from [W/m2].
#[derive(Debug, Clone, Copy)]
pub(super) struct Parts {
    pub beam: f64,
    pub sky: f64,
    /// What `sky` is of the other sky.
    pub sky_of_other: f64,
    /// What `sky` is by the model of Hay and Davies.
    pub sky_by_other_model: f64,
    pub ground: f64,
}

impl ReceiverKind {
    fn spectral_ratio(self) -> f64 {
        match self {
            Self::FlatGlass => SPECTRAL_RATIO,
            Self::Pyranometer => 0.0,
        }
    }
}

impl Receiver {
    /// With its table of modifiers.
    pub fn new(kind: ReceiverKind) -> Self {
        let at = |step| sky::diffuse_modifiers(Angle::from_deg(f64::from(step) * TABLE_STEP_DEG));
        let none = |_| DiffuseModifiers {
            sky: 1.0,
            ground: 1.0,
        };
        let steps = 0..TABLE_STEPS;
        Self {
            kind,
            diffuse: match kind {
                ReceiverKind::FlatGlass => steps.map(at).collect(),
                ReceiverKind::Pyranometer => steps.map(none).collect(),
            },
        }
    }

    /// Turned as this lean says, over the ground of the stated plane.
    pub(super) fn turned(&self, stated: &Plane, lean: Lean) -> Turned {
        let plane = Plane {
            tilt: lean.tilt(),
            azimuth: lean.azimuth(),
            ..stated.clone()
        };
        Turned {
            kind: self.kind,
            spectral_ratio: self.kind.spectral_ratio(),
            facing: Facing::of(&plane),
            sky_view: (1.0 + plane.tilt.rad().cos()) / 2.0,
            diffuse: self.modifiers(plane.tilt),
            albedo_ratio: plane.albedo_ratio,
        }
    }

    fn modifiers(&self, tilt: Angle) -> DiffuseModifiers {
        let steps = tilt.deg() / TABLE_STEP_DEG;
        let below = (steps as usize).min(self.diffuse.len() - 1);
        let above = (below + 1).min(self.diffuse.len() - 1);
        let part = steps - steps.floor();
        let (low, high) = (self.diffuse[below], self.diffuse[above]);
        DiffuseModifiers {
            sky: low.sky + part * (high.sky - low.sky),
            ground: low.ground + part * (high.ground - low.ground),
        }
    }
}

impl Lean {
    pub fn of(tilt: Angle, azimuth: Angle) -> Self {
        let (sin, cos) = azimuth.rad().sin_cos();
        Self {
            north_deg: tilt.deg() * cos,
            east_deg: tilt.deg() * sin,
        }
    }

    pub fn tilt(self) -> Angle {
        Angle::from_deg(self.north_deg.hypot(self.east_deg))
    }

    /// From 0 to 360 deg; 0 for a flat plane.
    pub fn azimuth(self) -> Angle {
        let deg = self.east_deg.atan2(self.north_deg).to_degrees();
        Angle::from_deg(deg.rem_euclid(360.0))
    }

    /// How far two orientations are apart on the map [deg].
    pub fn apart_deg(self, other: Self) -> f64 {
        (self.north_deg - other.north_deg).hypot(self.east_deg - other.east_deg)
    }
}

impl Turned {
    pub fn cos_incidence(&self, sun: &SunDirection) -> f64 {
        self.facing.cos_incidence(sun)
    }

    /// By how much ln E differs for one standard deviation of the spectral response: air mass of
    /// parallel air, which is enough for a sun that is not low.
    pub fn spectral_effect(&self, sun: &SunDirection) -> f64 {
        -self.spectral_ratio * sun.up.ln()
    }

    /// E of one sky by where it comes from.
    pub fn parts(
        &self,
        dome: &Dome,
        other_dome: &Dome,
        components: &Components,
        sun: &SunDirection,
    ) -> Parts {
        let light = dome.on(&self.facing, self.albedo_ratio);
        let of_other = other_dome.on(&self.facing, self.albedo_ratio).sky_diffuse;
        let (dni, dhi) = (components.dni.w_m2(), components.dhi.w_m2());
        let anisotropy = (dni / SOLAR_CONSTANT_W_M2).min(1.0);
        let round_sun = self.cos_incidence(sun).max(0.0) / sun.up;
        let by_other_model = dhi * (anisotropy * round_sun + (1.0 - anisotropy) * self.sky_view);
        let beam_modifier = match self.kind {
            ReceiverKind::FlatGlass => sky::incidence_modifier_at(self.cos_incidence(sun)),
            ReceiverKind::Pyranometer => 1.0,
        };
        Parts {
            beam: light.beam.w_m2() * beam_modifier,
            sky: light.sky_diffuse.w_m2() * self.diffuse.sky,
            sky_of_other: of_other.w_m2() * self.diffuse.sky,
            sky_by_other_model: by_other_model * self.diffuse.sky,
            ground: light.ground.w_m2() * self.diffuse.ground,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Half the second difference of the modifiers over 5 deg.
    const TABLE_ERROR: f64 = 2e-3;

    #[test]
    fn between_the_tabled_tilts_modifiers_are_those_of_the_sky() {
        let glass = Receiver::new(ReceiverKind::FlatGlass);
        for tilt in [12.5, 32.0, 47.5, 63.0, 88.0] {
            let tilt = Angle::from_deg(tilt);
            let (tabled, exact) = (glass.modifiers(tilt), sky::diffuse_modifiers(tilt));
            assert!((tabled.sky - exact.sky).abs() < TABLE_ERROR, "{tilt:?}");
            // The ground is seen by its share of the half sphere.
            let view = (1.0 - tilt.rad().cos()) / 2.0;
            let ground = (tabled.ground - exact.ground).abs() * view;
            assert!(ground < TABLE_ERROR, "{tilt:?}: {ground}");
        }
    }

    #[test]
    fn a_lean_is_a_tilt_and_an_azimuth() {
        for (tilt, azimuth) in [(5.0, 0.0), (30.0, 135.0), (90.0, 359.0)] {
            let lean = Lean::of(Angle::from_deg(tilt), Angle::from_deg(azimuth));
            assert!((lean.tilt().deg() - tilt).abs() < 1e-12);
            let turned = (lean.azimuth().deg() - azimuth + 180.0).rem_euclid(360.0) - 180.0;
            assert!(turned.abs() < 1e-12, "{azimuth}");
        }
    }
}
