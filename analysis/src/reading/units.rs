//! Quantities with units. What must never come in here: arithmetic that a formula should show.

use serde::{Deserialize, Serialize};

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $from:ident, $get:ident, $unit:literal) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            #[doc = concat!("From a number in ", $unit, ".")]
            pub const fn $from(value: f64) -> Self {
                Self(value)
            }

            #[doc = concat!("The number in ", $unit, ".")]
            pub const fn $get(self) -> f64 {
                self.0
            }
        }
    };
}

quantity!(
    /// Irradiance on a surface.
    Irradiance, from_w_m2, w_m2, "W/m2"
);
quantity!(
    /// Electric potential difference.
    Voltage, from_v, v, "V"
);
quantity!(
    /// Electric current.
    Current, from_a, a, "A"
);
quantity!(
    /// Electric power, positive when produced.
    Power, from_w, w, "W"
);
quantity!(
    /// Reactive power.
    ReactivePower, from_var, var, "var"
);
quantity!(
    /// Apparent power.
    ApparentPower, from_va, va, "VA"
);
quantity!(
    /// Energy, positive when produced.
    Energy, from_wh, wh, "Wh"
);
quantity!(
    /// Temperature.
    Temperature, from_degc, degc, "degrees Celsius"
);
quantity!(
    /// Electric resistance.
    Resistance, from_ohm, ohm, "ohm"
);
quantity!(
    /// Frequency of the supply.
    Frequency, from_hz, hz, "Hz"
);
quantity!(
    /// Wind speed.
    Speed, from_m_s, m_s, "m/s"
);
quantity!(
    /// Angle: azimuth clockwise from north, tilt from horizontal, zenith from vertical.
    Angle, from_deg, deg, "degrees"
);

impl Angle {
    /// The number in radians.
    pub const fn rad(self) -> f64 {
        self.0.to_radians()
    }
}

impl std::ops::Mul<Current> for Voltage {
    type Output = Power;
    fn mul(self, current: Current) -> Power {
        Power(self.0 * current.0)
    }
}

impl std::ops::Mul<super::Span> for Power {
    type Output = Energy;
    fn mul(self, span: super::Span) -> Energy {
        Energy(self.0 * span.hours())
    }
}
