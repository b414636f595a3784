#!/usr/bin/env python3
"""Clear days of planes of known orientation, computed with pvlib, compared with what is stored.

    pip install pvlib==0.16.1
    python3 orientation.py DATA_FOLDER            # compare; exit 1 on any difference
    python3 orientation.py DATA_FOLDER --write    # store what was computed
"""

import sys

import pandas as pd
from pvlib import iam, irradiance
from pvlib.location import Location

import recompute_with_pvlib as tables

ALBEDO = 0.2
# name, latitude, longitude, altitude, turbidity, tilt, azimuth, date, minutes of a slot
DAYS = [
    ("south roof in June", 48.1, 11.6, 520.0, 3.2, 33.0, 171.0, "2024-06-20", 5),
    ("south roof in December", 48.1, 11.6, 520.0, 2.6, 33.0, 171.0, "2024-12-12", 5),
    ("east roof in July", 43.3, 5.4, 30.0, 3.8, 22.0, 118.0, "2023-07-05", 5),
    ("west roof in May", 52.4, 4.9, 0.0, 3.4, 41.0, 242.0, "2025-05-14", 15),
    ("north roof in the south, December", -33.9, 18.5, 60.0, 3.0, 26.0, 12.0, "2024-12-20", 5),
    ("north roof in the south, July", -33.9, 18.5, 60.0, 2.5, 26.0, 12.0, "2024-07-02", 15),
]
# A diffuse light that is not isotropic and whose model is not the one under test, and that model.
SKIES = ["haydavies", "perez"]


def day(name, latitude, longitude, altitude, turbidity, tilt, azimuth, date, minutes, sky):
    place = Location(latitude, longitude, altitude=altitude)
    start = pd.Timestamp(date, tz="UTC") - pd.Timedelta(hours=longitude / 15)
    middles = pd.date_range(start.floor("15min"), periods=24 * 60 // minutes, freq=f"{minutes}min")
    middles = middles + pd.Timedelta(minutes=minutes / 2)
    sun = place.get_solarposition(middles, temperature=12)
    keep = (90 - sun.apparent_zenith > 5).values
    middles, sun = middles[keep], sun[keep]
    light = place.get_clearsky(
        middles, model="ineichen", linke_turbidity=turbidity, solar_position=sun
    )
    extra = irradiance.get_extra_radiation(middles, method="spencer", solar_constant=1366.1)
    plane = irradiance.get_total_irradiance(
        tilt, azimuth, sun.apparent_zenith, sun.azimuth, light.dni, light.ghi, light.dhi,
        dni_extra=extra, albedo=ALBEDO, model=sky,
    )  # fmt: skip
    aoi = irradiance.aoi(tilt, azimuth, sun.apparent_zenith, sun.azimuth)
    diffuse = iam.marion_diffuse("physical", tilt, n=1.526, K=4.0, L=0.002)
    effective = (
        plane.poa_direct * iam.physical(aoi, n=1.526, K=4.0, L=0.002)
        + plane.poa_sky_diffuse * diffuse["sky"]
        + plane.poa_ground_diffuse * diffuse["ground"]
    )
    table = pd.DataFrame(
        {
            "case": f"{name}, {sky}",
            "latitude_deg": latitude,
            "longitude_deg": longitude,
            "altitude_m": altitude,
            "linke_turbidity": turbidity,
            "tilt_deg": tilt,
            "azimuth_deg": azimuth,
            "at_utc_ms": middles.as_unit("ms").asi8,
            "ghi_w_m2": light.ghi.values,
            "dni_w_m2": light.dni.values,
            "dhi_w_m2": light.dhi.values,
            "effective_w_m2": effective.values,
        }
    )
    return table[table.effective_w_m2 > 0]


def orientation_days():
    return pd.concat([day(*case, sky) for case in DAYS for sky in SKIES])


if __name__ == "__main__":
    tables.TABLES = {"orientation_days.csv": (orientation_days, 9)}
    arguments = [a for a in sys.argv[1:] if a != "--write"]
    if len(arguments) != 1:
        sys.exit(__doc__)
    tables.main(arguments[0], write="--write" in sys.argv)
