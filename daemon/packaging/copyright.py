#!/usr/bin/env python3
"""Prints the file `copyright` of the package: the program's own licence, and the names, licences and
texts of everything of others in it. A text that several works share stands there once."""

import parts

# Works that came without a text: these licences have one that is the same for everybody, and it begins so.
SAME_FOR_ALL = {"Apache-2.0": "Apache License Version 2.0, January 2004"}
WIDTH = 100


def main():
    of_program = parts.parts()
    texts, numbers = {}, {}
    for part in of_program:
        for text in part.texts:
            # The same but for its line ends and margins is the same.
            numbers.setdefault(words(text), len(numbers) + 1)
            texts.setdefault(words(text), text)
    print((parts.TOP / "LICENSE").read_text("utf-8").strip(), end="\n\n")
    print("The program contains the works below, each under its own licence (as SPDX expressions;")
    print("where there is a choice, any). They are used unchanged unless said; their sources are")
    print("where is said, those of crates also at https://crates.io. The texts follow by number; those")
    print("of Apache-2.0 and MPL-2.0 are in /usr/share/common-licenses too, whole.\n")
    for part in of_program:
        own = [numbers[words(text)] for text in part.texts]
        said = own or [shared(part, numbers)]
        where = "text " + ", ".join(map(str, said)) if said != [None] else "no text"
        what = f" ({part.what})" if part.what else ""
        print(f"{part.name} {part.version}{what}\n    {part.licence}; {where}; {part.origin}")
    for key, number in numbers.items():
        print(f"\n{'=' * WIDTH}\nText {number}\n{'=' * WIDTH}\n")
        print(texts[key].strip())


def words(text):
    return " ".join(text.split())


def shared(part, numbers):
    """The number of a text that everybody uses as it is; `None` in the public domain."""
    if part.licence == "blessing":
        return None
    for licence, begins in SAME_FOR_ALL.items():
        if licence in part.licence:
            return next(number for text, number in numbers.items() if text.startswith(begins))
    raise SystemExit(f"{part.name} {part.version} ({part.licence}) came without a text of its licence")


if __name__ == "__main__":
    main()
