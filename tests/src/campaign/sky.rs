//! Light on the ground and in a plane, and what of it the cells take.
//!
//! Model:   beam of a clear sky: tau = a0 + a1 exp(-k m), k times a factor for haze      (Hottel)
//!          diffuse of a clear sky: tau_d = 0.271 - 0.294 tau, more in haze          (Liu, Jordan)
//!          diffuse light of a plane: D [A R + (1 - A) (1 + cos b)/2 (1 + f sin3(b/2))]  (Reindl)
//!          glass, beam: (1 - exp(-cos t/a)) / (1 - exp(-1/a)); diffuse light by its integrals
//!          (Martin, Ruiz); spectrum: polynomial of the air mass (Sandia)
//! Symbols: m air mass, altitude z [km], b tilt, t incidence, A = DNI/E0, R = cos t / cos zenith,
//!          f = sqrt(DNI cos zenith / GHI); irradiances [W/m2]
//! Range:   sun above the horizon.
//! Source:  Hottel, Solar Energy 18 (1976); Liu and Jordan, Solar Energy 4 (1960); Reindl et al.,
//!          Solar Energy 45 (1990); Martin and Ruiz, Solar Energy Materials 70 (2001); King et al.,
//!          SAND2004-3535; all from memory. Hottel's 1/cos z is the air mass of Kasten and Young
//!          here, and the beam fades in the last degrees over the horizon, where his fit ends.
//!          The program under test has other models for each of these.
//! Check:   tests/campaign/light.rs: Reindl against the reference of transposition, the rest by
//!          bounds.

use super::sun::Sun;

/// The air over a site on a day.
#[derive(Debug, Clone, Copy)]
pub struct Air {
    /// Above sea level [km].
    pub altitude_km: f64,
    /// Times Hottel's extinction: 1 is his 23 km visibility [-].
    pub haze: f64,
}

/// Light on level ground [W/m2].
#[derive(Debug, Clone, Copy, Default)]
pub struct Ground {
    /// Global horizontal.
    pub ghi: f64,
    /// Direct normal.
    pub dni: f64,
    /// Diffuse horizontal.
    pub dhi: f64,
}

/// Light in a plane [W/m2].
#[derive(Debug, Clone, Copy, Default)]
pub struct OnPlane {
    /// From the sun.
    pub beam: f64,
    /// From the sky.
    pub sky: f64,
    /// From the ground.
    pub reflected: f64,
    /// Cosine of the angle of incidence, 0 behind the plane.
    pub cos_incidence: f64,
}

impl OnPlane {
    /// All of it.
    pub fn total(&self) -> f64 {
        self.beam + self.sky + self.reflected
    }
}

/// Relative air mass of Kasten and Young (1989), from memory.
pub fn air_mass(elevation_deg: f64) -> f64 {
    1.0 / (elevation_deg.to_radians().sin() + 0.505_72 * (elevation_deg + 6.079_95).powf(-1.636_4))
}

/// Share of the beam that comes through clear air [-].
pub fn beam_transmittance(mass: f64, air: &Air) -> f64 {
    let z = air.altitude_km;
    let a0 = 0.4237 - 0.008_21 * (6.0 - z).powi(2);
    let a1 = 0.5055 + 0.005_95 * (6.5 - z).powi(2);
    let k = 0.2711 + 0.018_58 * (2.5 - z).powi(2);
    a0 + a1 * (-k * air.haze * mass).exp()
}

/// Light under a clear sky.
pub fn clear_sky(sun: &Sun, air: &Air) -> Ground {
    /// The beam fades over so many degrees above the horizon.
    const FADES_DEG: f64 = 3.0;
    let up = sun.direction[2];
    if sun.elevation_deg <= 0.0 {
        return Ground::default();
    }
    let tau = beam_transmittance(air_mass(sun.elevation_deg), air);
    let fade = 1.0 - (-sun.elevation_deg / FADES_DEG).exp();
    let dni = sun.e0_w_m2 * tau * fade;
    let dhi = sun.e0_w_m2 * up * (0.271 - 0.294 * tau).max(0.03) * (0.6 + 0.4 * air.haze);
    Ground {
        ghi: dni * up + dhi,
        dni,
        dhi,
    }
}

/// Light in a plane of a tilt and an azimuth [rad].
pub fn on_plane(ground: &Ground, sun: &Sun, tilt: f64, azimuth: f64, albedo: f64) -> OnPlane {
    if sun.elevation_deg <= 0.0 || ground.ghi <= 0.0 {
        return OnPlane::default();
    }
    let normal = [
        tilt.sin() * azimuth.sin(),
        tilt.sin() * azimuth.cos(),
        tilt.cos(),
    ];
    let cos: f64 = (0..3).map(|i| normal[i] * sun.direction[i]).sum();
    let cos = cos.max(0.0);
    let up = sun.direction[2];
    let anisotropy = (ground.dni / sun.e0_w_m2).clamp(0.0, 1.0);
    // Close to the horizon the ratio of cosines has no bound.
    let ratio = cos / up.max(0.017_45);
    let brighter = (ground.dni * up / ground.ghi).max(0.0).sqrt();
    let isotropic = (1.0 + tilt.cos()) / 2.0 * (1.0 + brighter * (tilt / 2.0).sin().powi(3));
    OnPlane {
        beam: ground.dni * cos,
        sky: ground.dhi * (anisotropy * ratio + (1.0 - anisotropy) * isotropic),
        reflected: ground.ghi * albedo * (1.0 - tilt.cos()) / 2.0,
        cos_incidence: cos,
    }
}

/// What the glass passes of a beam over what it passes of light at right angles [-].
pub fn incidence(cos: f64, ar: f64) -> f64 {
    (1.0 - (-cos.max(0.0) / ar).exp()) / (1.0 - (-1.0 / ar).exp())
}

/// The same of light from the sky and from the ground, for a tilt [rad].
pub fn diffuse_incidence(tilt: f64, ar: f64) -> (f64, f64) {
    use std::f64::consts::PI;
    let c1 = 4.0 / (3.0 * PI);
    let c2 = 0.5 * ar - 0.154;
    let (sin, cos) = tilt.sin_cos();
    let part = |x: f64| 1.0 - (-(c1 * x + c2 * x * x) / ar).exp();
    let sky = part(sin + (PI - tilt - sin) / (1.0 + cos));
    // A level plane sees no ground; what it would make of it does not matter.
    let ground = if tilt > 0.01 {
        part(sin + (tilt - sin) / (1.0 - cos))
    } else {
        0.0
    };
    (sky, ground)
}

/// What a silicon cell makes of the sun's spectrum over what it makes of that at air mass 1.5 [-].
pub fn spectrum(elevation_deg: f64, altitude_km: f64) -> f64 {
    /// Higher air masses are not in the fit.
    const MOST_MASS: f64 = 7.0;
    let pressure = (-altitude_km / 8.4).exp();
    let m = (air_mass(elevation_deg.max(1.0)) * pressure).min(MOST_MASS);
    let terms = [
        0.928_385,
        0.068_093,
        -0.015_773_8,
        0.001_660_6,
        -0.000_069_3,
    ];
    terms.iter().rev().fold(0.0, |sum, term| sum * m + term)
}
