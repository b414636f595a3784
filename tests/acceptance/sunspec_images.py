#!/usr/bin/env python3
"""Register images of SunSpec models and what somebody else's decoder reads in them.

Decoder and definitions are those of pysunspec2 1.3.7 (Apache-2.0), which carries the standard's own model
definition files.  What an image holds is drawn: extremes, negative numbers, points and exponents of ten that
are not implemented, texts, flags, several blocks.

    sunspec_images.py SEED IMAGES    prints a line of JSON for each image of each model: its registers, and
                                     every point with its place, name and value (null: not implemented)

Of several curves the first is told.  A point whose exponent of ten is not implemented is told as not
implemented: this decoder would take the bare number, and the standard wants both or none.
"""

import json
import random
import struct
import sys

import sunspec2.mb as mb
from sunspec2.device import Model, get_model_def

MODELS = [1, 101, 102, 103, 111, 112, 113, 120, 121, 122, 123, 124, 160, 302, 303, 304, 305, 306, 307, 308,
          701, 702, 703, 704, 705, 706, 707, 708, 709, 710, 711, 712, 714]
EXPONENTS = range(-4, 4)
TEXTS = ["", "A", "SN 0042-7", "Süd/Ost 3", "x" * 8]
COUNTS = {"N": 5, "NPrt": 5, "NPt": 4, "NCrv": 2, "NCrvSet": 2, "NCtl": 2}
WHOLE = {"int16": (-32767, 32767), "int32": (-(2**31) + 1, 2**31 - 1), "uint16": (0, 65534),
         "count": (0, 65534), "enum16": (0, 9), "bitfield16": (0, 65534), "uint32": (0, 2**32 - 2),
         "bitfield32": (0, 2**32 - 2), "uint64": (0, 2**53), "acc32": (1, 2**32 - 1), "acc64": (1, 2**53)}


def drawn(rng, point, counts):
    """Bytes of a point."""
    kind, name, info = point["type"], point["name"], mb.point_type_info[point["type"]]
    size = int(point.get("size") or info.len) * 2
    if name in counts:
        return info.to_data(counts[name])
    if kind == "pad":
        return b"\x80\x00"
    if kind == "string":
        return rng.choice(TEXTS).encode()[:size].ljust(size, b"\0")
    if rng.random() < 0.2:
        return mb.create_unimpl_value(kind)
    if kind == "sunssf":
        return info.to_data(rng.choice(EXPONENTS))
    if kind == "float32":
        return struct.pack(">f", rng.choice([0.0, -1.5, 1e9, rng.gauss(0, 1e4)]))
    low, high = WHOLE[kind]
    return info.to_data(rng.choice([low, high, rng.randint(low, high), rng.randint(low, high)]))


def filled(rng, group, counts):
    """Bytes of a group and of those in it."""
    data = b"".join(drawn(rng, point, counts) for point in group["points"])
    for inner in group.get("groups", []):
        count = inner.get("count", 1)
        # 0: as many as there is room for.
        count = counts.get("N" if count == 0 else count, count)
        data += b"".join(filled(rng, inner, counts) for _ in range(count))
    return data


def image(rng, number):
    """Id, length and the rest."""
    counts = {name: rng.randint(1, most) for name, most in COUNTS.items()}
    body = filled(rng, get_model_def(number)["group"], counts)[4:]
    return struct.pack(">HH", number, len(body) // 2) + body


def value(point):
    """In the unit of the standard."""
    if point.sf and (point.group.points.get(point.sf) or point.model.points[point.sf]).value is None:
        return None
    found = point.cvalue
    return found.strip() if isinstance(found, str) else found


def points(part, group, prefix=""):
    for name, point in group.points.items():
        if point.pdef["type"] != "pad":
            yield {"part": part, "name": prefix + name, "value": value(point)}


def told(model):
    """Every point with its place."""
    yield from points("fixed", model)
    for name, inner in model.groups.items():
        if not isinstance(inner, list):
            yield from points("fixed", inner, name + ".")
        elif name in ("Crv", "Ctl"):
            yield from curve(inner[0])
        else:
            for number, block in enumerate(inner, 1):
                yield from points(f"block {number}", block)


def curve(first):
    yield from points("curve", first)
    for name, inner in first.groups.items():
        if name == "MustTrip":
            yield from curve(inner)
        elif name == "Pt":
            for number, corner in enumerate(inner, 1):
                yield from points(f"corner {number}", corner)


def main():
    rng, images = random.Random(int(sys.argv[1])), int(sys.argv[2])
    for number in MODELS:
        for _ in range(images):
            data = image(rng, number)
            registers = struct.unpack(f">{len(data) // 2}H", data)
            model = Model(number, model_len=registers[1], data=data)
            assert not model.error_info, (number, model.error_info)
            print(json.dumps({"model": number, "registers": registers, "points": list(told(model))}))


if __name__ == "__main__":
    main()
