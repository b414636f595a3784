#!/usr/bin/env python3
"""Files of a kind against their JSON Schema, by a validator of somebody else's (jsonschema, MIT).

    schemas.py SCHEMA FILE...

Each file must be valid. Then each table of it gets a key that nobody knows, and each number becomes a
text, one at a time: each of these files must be refused. Prints how many files and how many changes there
were; what is wrong goes to standard error, with exit code 1.
"""

import copy
import json
import sys
import tomllib
from datetime import date

from jsonschema import Draft202012Validator

# Tables whose keys are the file's own: only their values are of a kind.
OWN_KEYS = {"efficiency", "columns", "states", "bits"}


def plain(value):
    """As editors see TOML: dates are texts."""
    if isinstance(value, dict):
        return {key: plain(inner) for key, inner in value.items()}
    if isinstance(value, list):
        return [plain(inner) for inner in value]
    return value.isoformat() if isinstance(value, date) else value


def changes(value, path=()):
    """Paths to what is changed, and what is put there."""
    if isinstance(value, dict):
        if not path or path[-1] not in OWN_KEYS:
            yield path + ("nobody_knows_this",), 1
        for key, inner in value.items():
            yield from changes(inner, path + (key,))
    elif isinstance(value, list):
        for index, inner in enumerate(value):
            yield from changes(inner, path + (index,))
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield path, "a text"


def changed(document, path, value):
    document = copy.deepcopy(document)
    place = document
    for key in path[:-1]:
        place = place[key]
    place[path[-1]] = value
    return document


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        schema = json.load(file)
    Draft202012Validator.check_schema(schema)
    validator = Draft202012Validator(schema)
    wrong, count = [], 0
    for name in sys.argv[2:]:
        with open(name, "rb") as file:
            document = plain(tomllib.load(file))
        wrong += [f"{name}: {error.json_path}: {error.message}" for error in validator.iter_errors(document)]
        for path, value in changes(document):
            count += 1
            if validator.is_valid(changed(document, path, value)):
                wrong.append(f"{name}: {'.'.join(map(str, path))} = {value!r} is not refused")
    print(len(sys.argv) - 2, count)
    if wrong:
        sys.exit("\n".join(wrong))


if __name__ == "__main__":
    main()
