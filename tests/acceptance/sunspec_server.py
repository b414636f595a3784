#!/usr/bin/env python3
"""A SunSpec inverter and a weather station on Modbus TCP, for the acceptance tests.

Somebody else's protocol library answers (pymodbus 3.16.1, BSD-3-Clause), and the register layouts
below are typed from the SunSpec model definition files, not taken from the daemon: an error in the
daemon's table or framing shows as a difference here.

Unit 1: models 1, 103, 160, 64001 (a private one, to be skipped), and with --settings those that say
how it is set; with --nameplate one that says its ratings.  Unit 2: models 1, 302, 303, 307.

The day is our own simple one, with no claim beyond being plausible (h: hour of the day in UTC):
    s      = max(0, sin(pi (h - 6) / 12))                 light from 6 to 18 h
    G      = 1000 s^1.2                                   plane irradiance, W/m2
    T_air  = 16 + 8 sin(pi (h - 9) / 12)                  degrees Celsius
    T_mod  = T_air + G / 30
    I      = 13.2 A * G / 1000                            one string
    V      = modules * 31.3 V * (1 - 0.0031 (T_mod - 25) + 0.025 ln(G / 1000))
    P_ac   = 0.97 * sum of V I                            at unity power factor and 230 V
Input n has as many strings in parallel as --strings says; from --open-at on, --open-input has one
less.

Prints `listening on PORT`, then one line for each line on stdin:
    values           the time and what is served now, as JSON, unrounded
    at TIME          sets the clock (RFC 3339), prints the same
    open             one string of --open-input opens now, prints the same
"""

import argparse
import asyncio
import json
import logging
import math
import sys
import time
from datetime import datetime, timezone

from pymodbus import FramerType, pymodbus_apply_logging_config
from pymodbus.constants import ExcCodes
from pymodbus.server import ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

BASE = 40000
NOT_U16, NOT_S16, NOT_U32, NOT_ACC32 = [0xFFFF], [0x8000], [0xFFFF, 0xFFFF], [0, 0]
SLEEPING, TRACKING = 2, 4
MODULES_PER_STRING = 18
AC_OVER_DC = 0.97
COMMISSIONED = 1_767_225_600  # 2026-01-01T00:00:00Z


class Day:
    """The clock and the weather at a time."""

    def __init__(self, start, rate):
        self.set(start)
        self.rate = rate

    def set(self, start):
        self.start, self.set_at = start, time.monotonic()

    def now(self):
        return self.start + (time.monotonic() - self.set_at) * self.rate

    def weather(self, now):
        hour = (now % 86400) / 3600
        light = max(0.0, math.sin(math.pi * (hour - 6) / 12))
        poa = 1000 * light**1.2
        air = 16 + 8 * math.sin(math.pi * (hour - 9) / 12)
        return {
            "poa_w_m2": poa,
            "ghi_w_m2": 0.9 * poa,
            "module_temperature_degc": air + poa / 30,
            "air_temperature_degc": air,
            "relative_humidity_ratio": 0.45,
            "wind_speed_m_s": 3.0,
        }


class Plant:
    """What the inverter measures at a time."""

    def __init__(self, strings, open_input, open_at, day):
        self.strings, self.open_input, self.open_at = strings, open_input, open_at
        self.by_minute_wh = [0.0]
        for minute in range(1440):
            volts, amps = string_point(day.weather(60 * minute + 30))
            watts = AC_OVER_DC * volts * amps * sum(strings)
            self.by_minute_wh.append(self.by_minute_wh[-1] + watts / 60)

    def values(self, weather, now):
        values, dc = {}, 0.0
        for number, strings in enumerate(self.strings, 1):
            if number == self.open_input and self.open_at is not None and now >= self.open_at:
                strings -= 1
            volts, amps = string_point(weather)
            values[f"input-{number}/dc_voltage_v"] = volts
            values[f"input-{number}/dc_current_a"] = amps * strings
            values[f"input-{number}/dc_power_w"] = volts * amps * strings
            dc += volts * amps * strings
        ac = AC_OVER_DC * dc
        for phase in (1, 2, 3):
            values[f"ac_voltage_l{phase}_v"] = 229.0 + phase
            values[f"ac_current_l{phase}_a"] = ac / 3 / 230
        values["ac_power_w"] = ac
        values["frequency_hz"] = 50.01
        values["energy_total_wh"] = self.energy_total_wh(now)
        values["heatsink_temperature_degc"] = weather["air_temperature_degc"] + ac / 1000
        values["state"] = TRACKING if ac > 0 else SLEEPING
        values["event_bits"] = 0
        return values

    def energy_total_wh(self, now):
        """Since commissioning, to the full minute, with all strings closed: it only ever grows."""
        days, seconds = divmod(now - COMMISSIONED, 86400)
        return days * self.by_minute_wh[-1] + self.by_minute_wh[int(seconds // 60)]


def string_point(weather):
    """Voltage and current of one string at its maximum power."""
    poa = weather["poa_w_m2"]
    if poa < 5:
        return 0.0, 0.0
    warm = -0.0031 * (weather["module_temperature_degc"] - 25)
    volts = MODULES_PER_STRING * 31.3 * (1 + warm + 0.025 * math.log(poa / 1000))
    return volts, 13.2 * poa / 1000


def u16(value, exponent=0):
    return [round(value / 10**exponent)]


def s16(value, exponent=0):
    return [round(value / 10**exponent) & 0xFFFF]


def u32(value):
    return [round(value) >> 16, round(value) & 0xFFFF]


def text(value, registers):
    data = value.encode().ljust(2 * registers, b"\0")
    return [int.from_bytes(data[i : i + 2], "big") for i in range(0, len(data), 2)]


def model(number, body):
    return [number, len(body)] + body


def common(name):
    body = text("Invented", 16) + text(name, 16) + text("", 8) + text("1.0", 8)
    return model(1, body + text("SAMPLE-" + name, 16) + u16(1) + NOT_S16)


def inverter_103(v):
    """Model 103 in the order of the standard; exponents A -2, V -1, W 1, Hz -2, WH 0, Tmp -1."""
    amps = [v[f"ac_current_l{p}_a"] for p in (1, 2, 3)]
    body = u16(sum(amps), -2)
    for a in amps:
        body += u16(a, -2)
    body += s16(-2) + NOT_U16 * 3
    for p in (1, 2, 3):
        body += u16(v[f"ac_voltage_l{p}_v"], -1)
    body += s16(-1) + s16(v["ac_power_w"], 1) + s16(1)
    body += u16(v["frequency_hz"], -2) + s16(-2)
    body += NOT_S16 * 2 + NOT_S16 * 2 + NOT_S16 * 2  # VA, VAr, PF with their exponents
    body += u32(v["energy_total_wh"]) + s16(0)
    body += NOT_U16 + NOT_S16 + NOT_U16 + NOT_S16 + NOT_S16 * 2  # DCA, DCV, DCW: see model 160
    body += NOT_S16 + s16(v["heatsink_temperature_degc"], -1) + NOT_S16 * 2 + s16(-1)
    body += u16(v["state"]) + NOT_U16 + u32(v["event_bits"])
    return model(103, body + NOT_U32 * 5)


def inputs_160(v, count):
    """Model 160; exponents A -2, V -1, W 1."""
    body = s16(-2) + s16(-1) + s16(1) + NOT_S16 + u32(0) + u16(count) + NOT_U16
    for n in range(1, count + 1):
        body += u16(n) + text(f"PV{n}", 8)
        body += u16(v[f"input-{n}/dc_current_a"], -2)
        body += u16(v[f"input-{n}/dc_voltage_v"], -1)
        body += u16(v[f"input-{n}/dc_power_w"], 1)
        body += NOT_ACC32 + NOT_U32 + NOT_S16 + u16(v["state"]) + u32(0)
    return model(160, body)


def points(of, most, width):
    """A count and so many corners, filled up with what is not implemented."""
    return u16(len(of) // width) + of + NOT_U16 * (width * most - len(of))


def trip(number, must_trip, width, ena=1, stored=2):
    """Models 707 to 710 in the order of the standard: two curves of 3 corners; exponents -2, -2."""
    head = u16(ena) + u16(0) + u16(1) + u16(3) + u16(stored) + s16(-2) + s16(-2)
    other = points([1] * width, 3, width)
    # Must trip, may trip, momentary cessation; the second curve is stored and not in force.
    curve = u16(1) + points(must_trip, 3, width) + other + other
    second = u16(0) + other * 3
    return model(number, head + (curve + second if stored else []))


def response(number, head, corners, ena=1):
    """Models 705 and 706: one curve of 4 corners; exponents V -2, other -2, time 0."""
    body = u16(ena) + u16(0) + u16(1) + u16(4) + u16(1) + u32(0) + u32(0) + NOT_U16
    body += s16(-2) + s16(-2) + s16(0)
    return model(number, body + u16(len(corners) // 2) + head + corners
                 + NOT_U16 * (8 - len(corners)))


def capacity_702(nominal_v):
    """Model 702 with its nominal voltage only; exponent V -1."""
    body = NOT_U16 * 21 + NOT_U32 + NOT_U16  # to IntIslandCatRtg
    body += NOT_U16 * 12 + u16(nominal_v, -1) + NOT_U16 * 6
    return model(702, body + NOT_S16 * 4 + s16(-1) + NOT_S16 * 2)


def enter_service_703(v_hi, v_lo, hz_hi, hz_lo, delay, random, ramp, remaining, sf=-2):
    body = u16(1) + v_hi + v_lo + hz_hi + hz_lo + delay + random + ramp + remaining
    return model(703, body + s16(sf) + s16(-2))


def settings(kind):
    """full: IEEE 1547-2018 category III trip values and a volt-watt line; odd: what devices leave out;
    stuck: a model that is listed and never answers."""
    if kind == "none":
        return []
    u32s = lambda *values: [word for value in values for word in u32(value)]
    lv = [8800] + u32(2100) + [5000] + u32(200)
    hv = [11000] + u32(1300) + [12000] + u32(16)
    lf = u32s(5850, 30000, 5650, 16)
    hf = u32s(6120, 30000, 6200, 16)
    volt_var = [9200] + s16(4400) + [9800] + s16(0) + [10200] + s16(0) + [10800] + s16(-4400)
    volt_watt = [10600] + [10000] + [11000] + [2000]
    droop = model(711, u16(1) + u16(0) + u16(1) + u16(1) + u32(0) + u32(0) + NOT_U16 + s16(-3)
                  + s16(-2) + s16(0) + u32(36) + u32(36) + u16(5) + u16(5) + u32(5) + NOT_S16 + u16(1))
    watt_var = model(712, u16(0) + u16(0) + u16(1) + u16(2) + u16(1) + u32(0) + u32(0) + NOT_U16
                     + s16(0) + s16(0) + u16(0) + u16(1) + NOT_U16 + u16(1) + NOT_S16 * 4)
    head_705 = u16(1) + u16(1) + u16(10000) + NOT_U16 + u16(0) + NOT_U16 + u32(5) + u16(1)
    if kind == "stuck":
        return trip(708, hv, 3)
    if kind == "full":
        return (
            capacity_702(240.0)
            + enter_service_703([10500], [9170], u32(6010), u32(5950), u32(300), u32(0), u32(300),
                                u32(0))
            + response(705, head_705, volt_var)
            + response(706, u16(0) + u32(10) + u16(1), volt_watt)
            + trip(707, lv, 3) + trip(708, hv, 3) + trip(709, lf, 4) + trip(710, hf, 4)
            + droop + watt_var
        )
    # Nothing of 702; parts of 703; volt-watt off; a corner without its time; a curve that is off; no
    # curve stored; a model that ends before its curves.
    no_time = [11000] + NOT_U32 + [12000] + u32(16)
    cut = model(710, trip(710, hf, 4)[2:9])
    return (
        enter_service_703(NOT_U16, NOT_U16, u32(6010), NOT_U32, u32(120), NOT_U32, NOT_U32, u32(45),
                          sf=-32768)
        + response(706, u16(0) + u32(10) + u16(1), volt_watt, ena=0)
        + trip(707, lv, 3, ena=0) + trip(708, no_time, 3) + trip(709, lf, 4, stored=0) + cut
    )


def nameplate(kind):
    """Models 120, 121 and 702: 33 kW and 36 kVA, set to 30 kW and 32 kVA; exponent 1."""
    if kind == "120":
        return model(120, u16(4) + u16(33000, 1) + s16(1) + u16(36000, 1) + s16(1) + NOT_S16 * 5
                     + NOT_U16 + NOT_S16 * 15)
    if kind == "121":
        return model(121, u16(30000, 1) + u16(230) + s16(0) + NOT_U16 * 2 + u16(32000, 1)
                     + NOT_U16 * 14 + s16(1) + s16(0) + s16(0) + NOT_S16 + s16(1) + NOT_S16 * 5)
    if kind == "702":
        body = u16(33000, 1) + NOT_U16 * 4 + u16(36000, 1) + NOT_U16 * 15 + NOT_U32 + NOT_U16 * 20
        return model(702, body + s16(1) + NOT_S16 + s16(1) + NOT_S16 * 4)
    return []


def ports_714(v, count):
    """Model 714: the inputs as ports of modules, a battery that is charged as the second port, which says
    that it is too hot; exponents A -2, V -1, W 1."""
    port = lambda kind, n, amps, volts, watts, alarms: (
        u16(kind) + u16(n) + text(f"port {n}", 8) + s16(amps, -2) + u16(volts, -1) + s16(watts, 1)
        + NOT_U16 * 8 + NOT_S16 + u16(2) + u32(alarms))
    inputs = [tuple(v[f"input-{n}/dc_{what}"] for what in ("current_a", "voltage_v", "power_w"))
              for n in range(1, count + 1)]
    ports = [(0, *inputs[0], 0), (1, -12.5, 403.2, -5040, 1 << 7)] + [(0, *i, 0) for i in inputs[1:]]
    head = u32(2) + u16(count + 1) + s16(sum(p[1] for p in ports), -2) + s16(sum(p[3] for p in ports), 1)
    head += NOT_U16 * 8 + s16(-2) + s16(-1) + s16(1) + NOT_S16 * 2
    return model(714, head + sum((port(kind, n, *rest) for n, (kind, *rest) in enumerate(ports, 1)), []))


def station(w):
    """Models 302, 303 and 307."""
    tenths = lambda name: s16(w[name], -1)
    irradiance = u16(w["ghi_w_m2"]) + u16(w["poa_w_m2"]) + NOT_U16 * 3
    met = tenths("air_temperature_degc") + s16(w["relative_humidity_ratio"], -2) + NOT_S16
    met += s16(w["wind_speed_m_s"]) + NOT_S16 * 7
    back = tenths("module_temperature_degc")
    return model(302, irradiance) + model(303, back) + model(307, met)


class Site:
    """Both units: values and registers of now."""

    def __init__(self, day, plant, answer_after_s, kind, rated, by_ports):
        self.day, self.plant, self.answer_after_s = day, plant, answer_after_s
        self.rated, self.by_ports = nameplate(rated), by_ports
        self.settings = settings(kind)
        # What the model of entering service counts down.
        self.waits_s = {"full": 0, "odd": 45}.get(kind)
        self.is_stuck = kind == "stuck"

    def values(self):
        now = self.day.now()
        weather = self.day.weather(now)
        inverter = self.plant.values(weather, now)
        if self.waits_s is not None:
            inverter["reconnect_wait_s"] = self.waits_s
        return {
            "now_unix_ms": round(now * 1000),
            "inverter": inverter,
            "weather": weather,
        }

    def registers(self, unit):
        values = self.values()
        if unit == 1:
            v = values["inverter"]
            models = common("inverter") + inverter_103(v)
            count = len(self.plant.strings)
            models += self.rated
            models += ports_714(v, count) if self.by_ports else inputs_160(v, count)
            models += model(64001, [7] * 9)
            models += self.settings
        else:
            models = common("station") + station(values["weather"])
        marker = text("SunS", 2)
        return marker + models + [0xFFFF, 0]

    def device(self, unit):
        async def refresh(function, _start, address, count, registers, new_values):
            if function not in (3, 4) or new_values is not None:
                return ExcCodes.ILLEGAL_FUNCTION
            await asyncio.sleep(self.answer_after_s)
            if self.is_stuck and count > 2 and address >= BASE + len(registers) - len(self.settings) - 2:
                await asyncio.sleep(60)  # a model that is listed and never answers
            registers[:] = self.registers(unit)
            return None

        data = SimData(BASE, values=self.registers(unit), datatype=DataType.REGISTERS)
        return SimDevice(id=unit, simdata=[data], action=refresh)


def instant(text_):
    at = datetime.fromisoformat(text_.replace("Z", "+00:00"))
    if at.tzinfo is None:
        at = at.replace(tzinfo=timezone.utc)
    return at.timestamp()


def arguments():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rtu", action="store_true", help="serial frames over TCP")
    parser.add_argument("--port", type=int, default=0, help="0: a free one")
    parser.add_argument("--clock-from", type=instant, default=instant("2026-06-21T12:00:00Z"))
    parser.add_argument("--clock-rate", type=float, default=1.0, help="0: it stands")
    parser.add_argument("--strings", default="1,2,1", help="strings of each input")
    parser.add_argument("--open-input", type=int, default=2)
    parser.add_argument("--open-at", type=instant, help="when one of its strings opens")
    parser.add_argument("--settings", choices=["none", "full", "odd", "stuck"], default="none")
    parser.add_argument("--nameplate", choices=["none", "120", "121", "702"], default="none")
    parser.add_argument("--ports", action="store_true", help="model 714 in the place of 160")
    parser.add_argument("--answer-after-s", type=float, default=0.0, help="a slow device")
    parser.add_argument("--stop-at-end-of-input", action="store_true")
    return parser.parse_args()


def answer(line, site):
    words = line.split()
    if words[:1] == ["at"] and len(words) == 2:
        site.day.set(instant(words[1]))
    elif words == ["open"]:
        site.plant.open_at = site.day.now()
    elif words != ["values"]:
        return {"error": f"found {line.strip()!r}, wanted `values`, `open` or `at TIME`"}
    return site.values()


async def main():
    args = arguments()
    # A client that is killed in the middle of a request is part of the tests.
    pymodbus_apply_logging_config(logging.CRITICAL)
    strings = [int(count) for count in args.strings.split(",")]
    day = Day(args.clock_from, args.clock_rate)
    plant = Plant(strings, args.open_input, args.open_at, day)
    site = Site(day, plant, args.answer_after_s, args.settings, args.nameplate, args.ports)
    framer = FramerType.RTU if args.rtu else FramerType.SOCKET
    devices = [site.device(1), site.device(2)]
    server = ModbusTcpServer(devices, framer=framer, address=("127.0.0.1", args.port))
    await server.serve_forever(background=True)
    print("listening on", server.transport.sockets[0].getsockname()[1], flush=True)
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()

    def on_input():
        line = sys.stdin.readline()
        if line:
            print(json.dumps(answer(line, site)), flush=True)
            return
        loop.remove_reader(sys.stdin)
        if args.stop_at_end_of_input:
            stop.set()

    try:
        loop.add_reader(sys.stdin, on_input)
    except PermissionError:
        pass  # stdin is a file or /dev/null: nobody asks
    await stop.wait()
    await server.shutdown()


if __name__ == "__main__":
    try:
        asyncio.run(main())
    except KeyboardInterrupt:
        pass
