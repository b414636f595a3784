//! Voltage of one bypass section at a current, its cells whole or partly covered.
//!
//! Model:   I = IL - Io (exp(U/a) - 1) - U/Rsh, V = U - I Rs, solved for U by Newton's steps;
//!          V >= -drop(I), the bypass diode; a covered cell beyond its own light is in reverse,
//!          I - IL = -v/Rsh (1 + b (1 - v/vbr)^-m)                                        (Bishop)
//!          IL = G IL0 (1 + alpha dT), a = a0 T/T0 (1 + mu dT), Rsh = R1 + (R0 - R1) exp(-5.5 G);
//!          Io so that Voc falls along a straight line, mu so that the peak at 75 degC is the
//!          datasheet's: the program under test lets Io follow the band gap and Rsh follow 1/G.
//! Symbols: currents [A], voltages [V], G light over 1000 W/m2 [-], dT = T - 25 degC, a [V]
//! Range:   G > 0.001, -30 to 90 degC.
//! Source:  one-diode circuit; shunt over light as in a common simulation model (from memory);
//!          J. W. Bishop, Solar Cells 25 (1988), with his typical b = 0.1, m = 3.4, vbr = -20 V (from
//!          memory).
//! Check:   tests/campaign/curves.rs against tests/data/reference/strings.csv, shade.csv and
//!          module_grid_five_parameters.csv.

use analysis::plant::Module;

/// Values of a datasheet, or of a module that differs from its datasheet.
#[derive(Debug, Clone, Copy)]
pub struct Datasheet {
    /// At 1000 W/m2 and 25 degC: Voc, Isc, Vmp, Imp [V, A].
    pub voc: f64,
    /// Short circuit [A].
    pub isc: f64,
    /// At the peak [V].
    pub vmp: f64,
    /// At the peak [A].
    pub imp: f64,
    /// In series.
    pub cells: f64,
    /// With a bypass diode each.
    pub sections: f64,
    /// Of Isc, Voc and Pmp over themselves [1/K].
    pub per_k: [f64; 3],
}

impl Datasheet {
    /// Of a module as the site file has it.
    pub fn of(module: &Module) -> Self {
        Self {
            voc: module.voc.v(),
            isc: module.isc.a(),
            vmp: module.vmp.v(),
            imp: module.imp.a(),
            cells: f64::from(module.cells_in_series),
            sections: f64::from(module.bypass_sections),
            per_k: [
                module.isc_temp_ratio_per_k,
                module.voc_temp_ratio_per_k,
                module.pmax_temp_ratio_per_k,
            ],
        }
    }
}

/// A section of a module type.
#[derive(Debug, Clone, Copy)]
pub struct SectionModel {
    il0: f64,
    a0: f64,
    rs: f64,
    shunt_ref: f64,
    voc: f64,
    cells: f64,
    per_k: [f64; 3],
    mu: f64,
}

/// A section in some light at some temperature.
#[derive(Debug, Clone, Copy)]
pub struct Section {
    /// Current that the light makes [A].
    pub light_a: f64,
    io: f64,
    a: f64,
    rs: f64,
    shunt_s: f64,
    cells: f64,
}

const BISECTIONS: u32 = 60;

impl SectionModel {
    /// The section whose module has this datasheet.
    ///
    /// # Panics
    /// If no section has it: of the invented modules each has one, and a test looks at all.
    pub fn fit(sheet: &Datasheet) -> Self {
        /// Shunt of a module of its class over Voc/Isc [-].
        const SHUNT: f64 = 120.0;
        let per = 1.0 / sheet.sections;
        let (voc, vmp) = (sheet.voc * per, sheet.vmp * per);
        let shunt = SHUNT * voc / sheet.isc;
        // Of a, the rest follows: Io from Voc, Rs from the peak's voltage, and the slope of the power
        // there decides.
        let of = |a: f64| {
            let il = sheet.isc * 1.0005;
            let io = (il - voc / shunt) / ((voc / a).exp() - 1.0);
            let junction = solve(il - sheet.imp, io, a, 1.0 / shunt);
            let rs = (junction - vmp) / sheet.imp;
            let slope = io / a * (junction / a).exp() + 1.0 / shunt;
            let di_dv = -slope / (1.0 + slope * rs);
            (il, rs, sheet.imp + vmp * di_dv)
        };
        let thermal = 0.025_693 * sheet.cells * per;
        let (mut low, mut high) = (0.5 * thermal, 2.0 * thermal);
        let low_sign = of(low).2 > 0.0;
        assert!(
            low_sign != (of(high).2 > 0.0),
            "no one-diode section has {sheet:?}"
        );
        for _ in 0..BISECTIONS {
            let middle = f64::midpoint(low, high);
            if (of(middle).2 > 0.0) == low_sign {
                low = middle;
            } else {
                high = middle;
            }
        }
        let (il0, rs, _) = of(low);
        let mut model = Self {
            il0,
            a0: low,
            rs,
            shunt_ref: shunt,
            voc,
            cells: sheet.cells * per,
            per_k: sheet.per_k,
            mu: 0.0,
        };
        model.mu = model.fit_heat(vmp * sheet.imp * (1.0 + 50.0 * sheet.per_k[2]));
        model
    }

    /// The mu with which the peak at 75 degC has this power [W].
    fn fit_heat(&self, wanted_w: f64) -> f64 {
        let (mut low, mut high) = (-0.01, 0.01);
        for _ in 0..BISECTIONS {
            let mu = f64::midpoint(low, high);
            let hot = Self { mu, ..*self }.at(1.0, 75.0);
            // A softer knee, a lower peak.
            if hot.peak().2 > wanted_w {
                low = mu;
            } else {
                high = mu;
            }
        }
        low
    }

    /// In this light, 1 at 1000 W/m2, at this cell temperature [degC].
    pub fn at(&self, light: f64, cell_degc: f64) -> Section {
        /// Shunt in the dark over that in full light [-].
        const DARK_SHUNT: f64 = 8.0;
        let dt = cell_degc - 25.0;
        let warm = self.il0 * (1.0 + self.per_k[0] * dt);
        let a = self.a0 * (cell_degc + 273.15) / 298.15 * (1.0 + self.mu * dt);
        let voc = self.voc * (1.0 + self.per_k[1] * dt);
        let io = (warm - voc / self.shunt_ref) / ((voc / a).exp() - 1.0);
        let dark = (DARK_SHUNT - 1.0) * ((-5.5 * light).exp() - (-5.5_f64).exp()).max(0.0);
        Section {
            light_a: light * warm,
            io,
            a,
            rs: self.rs,
            shunt_s: 1.0 / (self.shunt_ref * (1.0 + dark)),
            cells: self.cells,
        }
    }
}

/// Junction voltage at which the diode and the shunt take `j` together, j > 0.
fn solve(j: f64, io: f64, a: f64, shunt_s: f64) -> f64 {
    // Both are upper bounds, and the sum is convex: Newton's steps come down to the root.
    let mut u = (a * (j / io + 1.0).ln()).min(j / shunt_s);
    for _ in 0..4 {
        let grown = io * (u / a).exp();
        let step = (grown - io + u * shunt_s - j) / (grown / a + shunt_s);
        u -= step;
        if step.abs() < 1e-7 {
            break;
        }
    }
    u
}

impl Section {
    /// Of its cells alone, at a current [V].
    fn cells_v(&self, current_a: f64) -> f64 {
        let j = self.light_a - current_a;
        let junction = if j > 0.0 {
            solve(j, self.io, self.a, self.shunt_s)
        } else {
            // All of them in reverse: the shunts carry what the light does not.
            j / self.shunt_s
        };
        junction - current_a * self.rs
    }

    /// At a current [V].
    pub fn volts(&self, current_a: f64) -> f64 {
        self.cells_v(current_a).max(-bypass_drop_v(current_a))
    }

    /// At a current [V], while one of its cells gets this share of the light of the others.
    pub fn volts_with_covered_cell(&self, current_a: f64, ratio: f64) -> f64 {
        let others = self.cells_v(current_a) * (self.cells - 1.0) / self.cells;
        let own_light = self.light_a * ratio;
        let covered = if current_a < own_light {
            let alone = Self {
                light_a: own_light,
                ..*self
            };
            alone.cells_v(current_a) / self.cells
        } else {
            reverse_v(
                current_a - own_light,
                self.cells / self.shunt_s / self.cells.powi(2),
            ) - current_a * self.rs / self.cells
        };
        (others + covered).max(-bypass_drop_v(current_a))
    }

    /// Its peak: voltage, current, power [V, A, W].
    pub fn peak(&self) -> (f64, f64, f64) {
        let (mut low, mut high) = (0.5 * self.light_a, self.light_a);
        let watts = |i: f64| i * self.cells_v(i);
        for _ in 0..BISECTIONS {
            let (a, b) = (low + (high - low) / 3.0, high - (high - low) / 3.0);
            if watts(a) < watts(b) {
                low = a;
            } else {
                high = b;
            }
        }
        let i = f64::midpoint(low, high);
        (self.cells_v(i), i, watts(i))
    }
}

/// Of a bypass diode that carries a string's current [V]: about 0.5 V at 10 A.
fn bypass_drop_v(current_a: f64) -> f64 {
    0.35 + 0.05 * (1.0 + current_a.max(0.0) / 0.5).ln()
}

/// A cell that carries so much more than its light makes, with a shunt [ohm]: volts, negative.
fn reverse_v(more_a: f64, shunt_ohm: f64) -> f64 {
    const AVALANCHE: (f64, f64, f64) = (0.1, 3.4, -20.0);
    let (share, power, breakdown_v) = AVALANCHE;
    let amps = |v: f64| -v / shunt_ohm * (1.0 + share * (1.0 - v / breakdown_v).powf(-power));
    let (mut low, mut high) = (breakdown_v * 0.999, 0.0);
    for _ in 0..30 {
        let middle = f64::midpoint(low, high);
        if amps(middle) > more_a {
            low = middle;
        } else {
            high = middle;
        }
    }
    high
}
