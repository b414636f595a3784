#!/usr/bin/env python3
"""Three devices without open models behind one connection, for the acceptance tests.

Somebody else's protocol library answers (pymodbus 3.16.1, BSD-3-Clause), and the registers below are
packed by hand after the comments of config/registers, not by the daemon's decoder: an error there
shows as a difference here.

Unit 1: string-inverter.toml.  Unit 2: weather-station.toml.  Unit 3: combiner-meter.toml.
Registers that no map names are not there, except some in the gaps of the inverter: a request that
touches one is refused.

--link tcp            Modbus TCP
--link rtu-over-tcp   serial frames over TCP
--link pty            a serial line: a pair of pseudo-terminals with this process as the cable

Prints `listening on PORT` or `listening on PATH`, then `served ` and the values as JSON, and serves
until its input ends.
"""

import argparse
import asyncio
import json
import logging
import os
import struct
import sys
import threading
import tty

from pymodbus import FramerType, pymodbus_apply_logging_config
from pymodbus.server import ModbusSerialServer, ModbusTcpServer
from pymodbus.simulator import DataType, SimData, SimDevice

SERVED = {
    "inverter": {
        "state": 4,  # its own 3 is tracking
        "event_bits": (1 << 4) + (1 << 17),  # its own bits 3 and 17: supply lost, arc
        "input-1/dc_voltage_v": 612.3,
        "input-1/dc_current_a": 9.87,
        "input-2/dc_voltage_v": 580.1,
        "input-2/dc_current_a": -0.02,
        "ac_power_w": -70123.0,
        "ac_voltage_l1_v": 231.4,
        "ac_voltage_l2_v": 229.9,
        "ac_voltage_l3_v": 230.5,
        "frequency_hz": 49.98,
        "heatsink_temperature_degc": -3.5,
        "isolation_resistance_ohm": 1_250_000.0,
        "energy_total_wh": 5_000_000_123.0,
    },
    "weather": {
        "poa_w_m2": 812.5,
        "module_temperature_degc": 41.25,
        "air_temperature_degc": None,
        "wind_speed_m_s": 2.5,
        "relative_humidity_ratio": 0.417,
    },
    "combiner": {
        "input-1/string-1/dc_current_a": 9.11,
        "input-1/string-2/dc_current_a": 9.08,
        "input-1/string-3/dc_current_a": None,
        "input-1/string-4/dc_current_a": -0.01,
        "input-1/dc_voltage_v": 611.9,
        "event_bits": 1 << 12,  # a fuse, and the door is shut
    },
}


def words(fmt, *values):
    packed = struct.pack(">" + fmt, *values)
    return list(struct.unpack(f">{len(packed) // 2}H", packed))


def low_first(number):
    return words("f", number)[::-1]


def block(address, values):
    return SimData(address, values=values, datatype=DataType.REGISTERS)


def nothing():
    return [block(60000, [0])]


def bits(address, values):
    return SimData(address, values=values, datatype=DataType.BITS)


def inverter():
    inputs = [
        block(1000, words("HI", 3, (1 << 3) + (1 << 17) + (1 << 9))),
        block(1003, [0] * 7),
        block(1010, words("HhHhHHi", 6123, 987, 5801, -2, 0, 0, -70123)),
        block(1018, words("HH", 0, 0)),
        block(1020, words("HHHHh", 2314, 2299, 2305, 4998, -35)),
        block(1025, [0] * 5),
        block(1030, words("H", 1250)),
        block(1100, words("Q", 5_000_000_123)),
    ]
    return SimDevice(1, simdata=([bits(0, [False])], [bits(0, [False])], nothing(), inputs))


def weather():
    holding = [
        block(200, low_first(812.5) + low_first(41.25) + low_first(-999.0)),
        block(210, words("HH", 90, 417)),
    ]
    return SimDevice(2, simdata=([bits(0, [False])], [bits(0, [False])], holding, nothing()))


def combiner():
    holding = [block(40, words("hhhhHHHHH", 911, 908, 0x7FFF, -1, 0, 0, 0, 0, 6119))]
    contacts = [bits(0, [True, False])]
    return SimDevice(3, simdata=([bits(0, [False])], contacts, holding, nothing()))


def cable(one, other):
    def carry(source, sink):
        while data := os.read(source, 256):
            os.write(sink, data)

    for ends in ((one, other), (other, one)):
        threading.Thread(target=carry, args=ends, daemon=True).start()


async def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--link", choices=["tcp", "rtu-over-tcp", "pty"], required=True)
    args = parser.parse_args()
    pymodbus_apply_logging_config(logging.CRITICAL)
    devices = [inverter(), weather(), combiner()]
    if args.link == "pty":
        (master_a, slave_a), (master_b, slave_b) = os.openpty(), os.openpty()
        for end in (master_a, slave_a, master_b, slave_b):
            tty.setraw(end)
        cable(master_a, master_b)
        path = os.ttyname(slave_a)
        server = ModbusSerialServer(devices, framer=FramerType.RTU, port=path, baudrate=19200)
        await server.serve_forever(background=True)
        where = os.ttyname(slave_b)
    else:
        framer = FramerType.RTU if args.link == "rtu-over-tcp" else FramerType.SOCKET
        server = ModbusTcpServer(devices, framer=framer, address=("127.0.0.1", 0))
        await server.serve_forever(background=True)
        where = server.transport.sockets[0].getsockname()[1]
    print("listening on", where, flush=True)
    print("served", json.dumps(SERVED), flush=True)
    await asyncio.get_running_loop().run_in_executor(None, sys.stdin.read)
    await server.shutdown()


asyncio.run(main())
