"""Prints the rows of exported files as JSON lines: Parquet as pyarrow reads it, CSV as the csv module does.

Usage: read_export.py FOLDER csv|parquet
Each line: [file, at_utc_ms, channel, span_s, value, min, max, first, seen, good, out_of_range, missing, faulty]
"""

import csv
import datetime
import json
import pathlib
import sys

import pyarrow
import pyarrow.parquet

NUMBERS = ["value", "min", "max", "first", "seen"]
COUNTS = ["good", "out_of_range", "missing", "faulty"]


def from_parquet(file):
    table = pyarrow.parquet.read_table(file)
    kind = table.schema.field("at_utc").type
    assert kind == pyarrow.timestamp("ms", tz="UTC"), kind
    assert table.schema.field("channel").type == pyarrow.string()
    times = table["at_utc"].cast(pyarrow.int64()).to_pylist()
    columns = [times] + [table[name].to_pylist() for name in ["channel", "span_s"] + NUMBERS + COUNTS]
    return zip(*columns)


def from_csv(file):
    with open(file, newline="") as lines:
        for row in csv.DictReader(lines):
            at = datetime.datetime.fromisoformat(row["at_utc"].replace("Z", "+00:00"))
            at_ms = round(at.timestamp() * 1000)
            numbers = [float(row[name]) if row[name] else None for name in NUMBERS]
            counts = [int(row[name]) for name in COUNTS]
            yield [at_ms, row["channel"], int(row["span_s"])] + numbers + counts


def main():
    folder, kind = pathlib.Path(sys.argv[1]), sys.argv[2]
    read = {"csv": from_csv, "parquet": from_parquet}[kind]
    for file in sorted(folder.glob(f"*.{kind}")):
        for row in read(file):
            print(json.dumps([file.stem] + list(row)))


main()
