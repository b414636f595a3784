//! How fast the expected values are, part by part and from the time to voltage and current: one
//! plane, one input of two strings of 18 modules, every five minutes of a year with the sun more
//! than 5 deg up. Run by hand, beside another code: `tests/bench/compare_with_pvlib.py`.
//! Prints, as CSV, how many a second (best and middle round) and the mean of the results, so that
//! whoever compares sees that both have done the same.

use analysis::array::{Curve, ModuleModel, cell_from_back, faiman, peak_sensitivity};
use analysis::plant::{Mounting, Plane};
use analysis::reading::{Angle, Irradiance, Resistance, Span, Speed, Temperature, Time};
use analysis::sky::{
    ClearAir, Components, Dome, Facing, Observer, SunPosition, SunTrack, Sunlight,
    incidence_modifier_at, sun_position,
};
use rustix::time::{ClockId, clock_gettime};
use std::hint::black_box;

/// 2025-01-01T00:00Z.
const START: Time = Time::from_unix_ms(1_735_689_600_000);
const STEP: Span = Span::from_min(5);
const STEPS: i64 = 365 * 288;
const LAST_ZENITH_DEG: f64 = 85.0;
const ROUNDS: usize = 15;
/// Instants in a block of the chain, few enough for what they need to stay near the core.
const BLOCK: usize = 64;

const MODULE: ModuleModel = ModuleModel {
    photo_ref_a: 13.956_939_715_7,
    saturation_ref_a: 2.046_317_985_93e-11,
    series_ohm: 0.162_333_876_224,
    shunt_ref_ohm: 326.318_499_373,
    ideality_ref_v: 1.372_974_606_22,
    isc_a_per_k: 0.006_277_5,
    adjust_ratio: 0.0,
};
const MODULES: u16 = 18;
const STRINGS: usize = 2;
const CABLE: Resistance = Resistance::from_ohm(0.0);
const TURBIDITY: f64 = 3.0;
/// Of diffuse light behind glass [-].
const DIFFUSE_MODIFIER: f64 = 0.955;
const AIR: Temperature = Temperature::from_degc(20.0);
/// What is not known of light and cell temperature, one standard deviation (engineering judgement).
const LIGHT_SIGMA_RATIO: f64 = 0.03;
const HEAT_SIGMA_K: f64 = 2.0;
const WIND: Speed = Speed::from_m_s(2.0);

fn main() {
    let bench = Bench::new();
    println!("what,best_per_s,middle_per_s,mean");
    bench.report("sun_full", || {
        bench.suns(|at| sun_position(at, &bench.observer))
    });
    bench.report("sun", || {
        let mut track = SunTrack::new(bench.observer);
        bench.suns(|at| track.position(at))
    });
    bench.report("perez", || bench.planes());
    bench.report("peak", || bench.peaks());
    bench.report("chain", || bench.chain(power));
    bench.report("chain_each", || bench.chain_each());
    bench.report("chain_sigma", || bench.chain(power_sigma));
}

struct Bench {
    observer: Observer,
    plane: Plane,
    times: Vec<Time>,
    skies: Vec<(SunPosition, Irradiance, Components)>,
    curves: Vec<Curve>,
}

impl Bench {
    fn new() -> Self {
        let (latitude, longitude) = (Angle::from_deg(-35.0), Angle::from_deg(147.5));
        let observer = Observer::new(latitude, longitude, 200.0);
        let mut bench = Self {
            observer,
            plane: plane(),
            times: Vec::new(),
            skies: Vec::new(),
            curves: Vec::new(),
        };
        let (mut track, air) = (SunTrack::new(observer), ClearAir::new(&observer, TURBIDITY));
        for n in 0..STEPS {
            let at = START + STEP * n;
            let (sun, e0) = (track.position(at), track.extraterrestrial(at));
            if sun.apparent_zenith.deg() < LAST_ZENITH_DEG {
                let components = air.under(&Sunlight::new(&sun, e0));
                bench.times.push(at);
                bench.skies.push((sun, e0, components));
            }
        }
        for n in 0..bench.times.len() {
            let n = n as f64 / bench.times.len() as f64;
            let cell = Temperature::from_degc(-5.0 + 70.0 * n);
            bench.curves.push(input(20.0 + 1000.0 * n, cell));
        }
        bench
    }

    fn suns(&self, mut position: impl FnMut(Time) -> SunPosition) -> f64 {
        let zenith = |at: &Time| position(black_box(*at)).apparent_zenith.deg();
        self.times.iter().map(zenith).sum()
    }

    fn planes(&self) -> f64 {
        let facing = Facing::of(&self.plane);
        let total = |(sun, e0, components): &(SunPosition, Irradiance, Components)| {
            let dome = Dome::new(components, &Sunlight::new(sun, *e0));
            dome.on(&facing, self.plane.albedo_ratio).total().w_m2()
        };
        self.skies.iter().map(total).sum()
    }

    fn peaks(&self) -> f64 {
        self.curves.iter().map(|c| c.max_power().power().w()).sum()
    }

    /// Each instant by itself, as they come in.
    fn chain_each(&self) -> f64 {
        let (mut track, site) = (SunTrack::new(self.observer), Site::new(self));
        let power = |at: &Time| power(&site.input(&track.sunlight(black_box(*at))));
        self.times.iter().map(power).sum()
    }

    /// Many instants step by step: a step of one does not wait for the steps before it of another.
    fn chain(&self, result: impl Fn(&(Curve, Temperature)) -> f64) -> f64 {
        let (mut track, site) = (SunTrack::new(self.observer), Site::new(self));
        let (mut suns, mut inputs) = (Vec::new(), Vec::new());
        let mut sum = 0.0;
        for block in self.times.chunks(BLOCK) {
            suns.clear();
            suns.extend(block.iter().map(|at| track.sunlight(black_box(*at))));
            inputs.clear();
            inputs.extend(suns.iter().map(|sunlight| site.input(sunlight)));
            sum += inputs.iter().map(&result).sum::<f64>();
        }
        sum
    }

    fn report(&self, what: &str, round: impl Fn() -> f64) {
        // A name on the command line asks for that row alone, as a profiler wants it.
        if std::env::args().nth(1).is_some_and(|only| only != what) {
            return;
        }
        let count = self.times.len() as f64;
        let mut seconds = Vec::new();
        let mut sum = 0.0;
        for _ in 0..ROUNDS {
            let before = cpu_seconds();
            sum = black_box(round());
            seconds.push(cpu_seconds() - before);
        }
        seconds.sort_by(f64::total_cmp);
        let (best, middle) = (count / seconds[0], count / seconds[ROUNDS / 2]);
        println!("{what},{best:.0},{middle:.0},{:.9}", sum / count);
    }
}

/// Time on a core, so that others on the machine do not count.
fn cpu_seconds() -> f64 {
    let time = clock_gettime(ClockId::ProcessCPUTime);
    time.tv_sec as f64 + time.tv_nsec as f64 * 1e-9
}

/// What holds at all times.
struct Site<'a> {
    air: ClearAir,
    facing: Facing,
    plane: &'a Plane,
}

impl<'a> Site<'a> {
    fn new(bench: &'a Bench) -> Self {
        Self {
            air: ClearAir::new(&bench.observer, TURBIDITY),
            facing: Facing::of(&bench.plane),
            plane: &bench.plane,
        }
    }

    /// From the sun to the input's curve and its cells' temperature.
    fn input(&self, sunlight: &Sunlight) -> (Curve, Temperature) {
        let (plane, mounting) = (self.plane, &self.plane.mounting);
        let dome = Dome::new(&self.air.under(sunlight), sunlight);
        let light = dome.on(&self.facing, plane.albedo_ratio);
        let cos = self.facing.cos_incidence(&sunlight.direction);
        let diffuse = light.sky_diffuse.w_m2() + light.ground.w_m2();
        let beam = light.beam.w_m2() * incidence_modifier_at(cos);
        let back = faiman(light.total(), AIR, WIND, mounting);
        let cell = cell_from_back(back, light.total(), mounting);
        (input(beam + DIFFUSE_MODIFIER * diffuse, cell), cell)
    }
}

fn power((curve, _): &(Curve, Temperature)) -> f64 {
    curve.max_power().power().w()
}

/// Standard deviation of the power [W] where light and heat are so uncertain.
fn power_sigma(&(curve, cell): &(Curve, Temperature)) -> f64 {
    let peak = curve.max_power();
    let moves = peak_sensitivity(&[(curve, MODULE.change_per_k(cell))], &peak);
    let by_light = LIGHT_SIGMA_RATIO * (moves.voltage_by_light + moves.current_by_light);
    let by_heat = HEAT_SIGMA_K * (moves.voltage_per_k + moves.current_per_k);
    peak.power().w() * (by_light * by_light + by_heat * by_heat).sqrt()
}

fn input(effective_w_m2: f64, cell: Temperature) -> Curve {
    let module = MODULE.at(Irradiance::from_w_m2(effective_w_m2), cell);
    let module = module.expect("inside the range of the model");
    module.in_series(MODULES, CABLE).in_parallel(STRINGS)
}

fn plane() -> Plane {
    Plane {
        id: "roof".to_owned(),
        tilt: Angle::from_deg(20.0),
        azimuth: Angle::from_deg(0.0),
        mounting: Mounting::OPEN_RACK,
        albedo_ratio: 0.2,
        horizon: None,
    }
}
