#!/usr/bin/env python3
"""Runs the benchmark of the expected values and the same work in pvlib, one core each, and prints
how many a second and their ratio.

    pip install pvlib==0.16.1 numba
    python3 tests/bench/compare_with_pvlib.py

Time is that on a core, so that others on the machine count little. Each number is the best of
several rounds, the one beside it the middle one: their distance is how noisy the machine is. Not
part of tests/run. The means must agree, else both have not done the same and the comparison ends
with an error. `chain_sigma`, the chain with the peak's sensitivities, has nothing beside it.
"""

import csv
import os
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path

for threads in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "NUMBA_NUM_THREADS"):
    os.environ[threads] = "1"

import numpy as np
import pandas as pd
from pvlib import atmosphere, clearsky, iam, irradiance, pvsystem, solarposition, temperature

PVLIB = "0.16.1"
ROOT = Path(__file__).parents[2]
ROUNDS = 7
# Both compute the same but for the interpolated sun (1e-6 deg), the rounding and the root search.
AGREE_RATIO = 1e-6

# Rows of ours that do the same work in another way, and rows that pvlib has nothing for.
SAME_WORK = {"sun_full": "sun", "chain_each": "chain"}
OURS_ALONE = {"chain_sigma"}

# As in expected_chain.rs.
LATITUDE, LONGITUDE, ALTITUDE = -35.0, 147.5, 200.0
PRESSURE = atmosphere.alt2pres(ALTITUDE)
REFRACTION_AIR_DEGC, DELTA_T = 12.0, 69.184
LAST_ZENITH_DEG = 85.0
TILT, AZIMUTH, ALBEDO = 20.0, 0.0, 0.2
TURBIDITY, AIR_DEGC, WIND_M_S, U0, U1, CELL_OVER_BACK = 3.0, 20.0, 2.0, 25.0, 6.84, 3.0
DIFFUSE_MODIFIER = 0.955
MODULE = (0.0062775, 1.37297460622, 13.9569397157, 2.04631798593e-11, 326.318499373, 0.162333876224)
MODULES, STRINGS = 18, 2


def sun(times):
    return solarposition.spa_python(
        times, LATITUDE, LONGITUDE, ALTITUDE, PRESSURE, REFRACTION_AIR_DEGC, DELTA_T,
        atmos_refract=0.5667, how="numba", numthreads=1,
    )  # fmt: skip


def sky(zenith, days):
    e0 = irradiance.get_extra_radiation(days, 1366.1, "spencer")
    absolute = atmosphere.get_absolute_airmass(atmosphere.get_relative_airmass(zenith), PRESSURE)
    clear = clearsky.ineichen(
        zenith, absolute, TURBIDITY, ALTITUDE, e0, perez_enhancement=False
    )  # fmt: skip
    return e0, clear["ghi"], clear["dni"], clear["dhi"]


def plane(zenith, azimuth, e0, ghi, dni, dhi):
    return irradiance.get_total_irradiance(
        TILT, AZIMUTH, zenith, azimuth, dni, ghi, dhi, e0, albedo=ALBEDO, model="perez"
    )


def diode(effective, cell):
    il, i0, rs, rsh, a = pvsystem.calcparams_desoto(effective, cell, *MODULE)
    n, m = MODULES, STRINGS
    return m * il, m * i0, n * rs / m, n * rsh / m, n * a


def peak(parameters):
    return pvsystem.max_power_point(*parameters, method="newton")


def chain(times):
    position = sun(times)
    zenith, azimuth = position.apparent_zenith.values, position.azimuth.values
    e0, ghi, dni, dhi = sky(zenith, times.day_of_year.values)
    light = plane(zenith, azimuth, e0, ghi, dni, dhi)
    modifier = iam.physical(irradiance.aoi(TILT, AZIMUTH, zenith, azimuth))
    effective = light["poa_direct"] * modifier + DIFFUSE_MODIFIER * light["poa_diffuse"]
    back = temperature.faiman(light["poa_global"], AIR_DEGC, WIND_M_S, U0, U1)
    cell = temperature.sapm_cell_from_module(back, light["poa_global"], CELL_OVER_BACK)
    return peak(diode(effective, cell))["p_mp"]


def timed(work, mean_of):
    """Best and middle number of seconds, and the mean result, after a round that compiles."""
    result = work()
    seconds = []
    for _ in range(ROUNDS):
        before = time.process_time()
        result = work()
        seconds.append(time.process_time() - before)
    return min(seconds), sorted(seconds)[ROUNDS // 2], float(np.mean(mean_of(result)))


def by_pvlib():
    times = pd.date_range("2025-01-01", periods=365 * 288, freq="5min", tz="UTC")
    times = times[sun(times).apparent_zenith.values < LAST_ZENITH_DEG]
    count = len(times)
    position = sun(times)
    zenith, azimuth = position.apparent_zenith.values, position.azimuth.values
    parts = sky(zenith, times.day_of_year.values)
    share = np.arange(count) / count
    parameters = diode(20.0 + 1000.0 * share, -5.0 + 70.0 * share)
    work = {
        "sun": (lambda: sun(times), lambda r: r.apparent_zenith.values),
        "perez": (lambda: plane(zenith, azimuth, *parts), lambda r: r["poa_global"]),
        "peak": (lambda: peak(parameters), lambda r: r["p_mp"]),
        "chain": (lambda: chain(times), lambda r: r),
    }
    rates = {}
    for what, (run, mean_of) in work.items():
        best, middle, mean = timed(run, mean_of)
        rates[what] = (count / best, count / middle, mean)
    return rates


def by_noonmark():
    command = "cargo run --quiet --release -p noonmark-tests --example expected_chain".split()
    out = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout
    rows = csv.DictReader(out.splitlines())
    return {
        row["what"]: tuple(float(row[c]) for c in ("best_per_s", "middle_per_s", "mean"))
        for row in rows
    }


def main():
    if version("pvlib") != PVLIB:
        sys.exit(f"found pvlib {version('pvlib')}, wanted {PVLIB}")
    ours, theirs = by_noonmark(), by_pvlib()
    print("million a second on one core, best round (middle round)")
    print(f"{'':12}{'noonmark':>18}{'pvlib':>18}{'ratio':>16}{'means differ':>14}")
    wrong = []
    for what, (best, middle, mean) in ours.items():
        if what in OURS_ALONE:
            print(f"{what:12}{best / 1e6:9.2f} ({middle / 1e6:5.2f})")
            continue
        other_best, other_middle, other_mean = theirs[SAME_WORK.get(what, what)]
        apart = abs(mean / other_mean - 1)
        print(
            f"{what:12}{best / 1e6:9.2f} ({middle / 1e6:5.2f})"
            f"{other_best / 1e6:10.3f} ({other_middle / 1e6:5.3f})"
            f"{best / other_best:8.1f} ({middle / other_middle:5.1f}){apart:13.1e}"
        )
        if not apart <= AGREE_RATIO:
            wrong.append(what)
    sys.exit(f"not the same work: {', '.join(wrong)}" if wrong else 0)


if __name__ == "__main__":
    main()
