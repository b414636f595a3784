"""What the program is made of: crates that are compiled into it, and works that come with them.

From cargo over the lock file, for the machine's own kind, and from works.toml beside this file.
Crates of which nothing ends up in the program (for its build or its tests alone) are left out.
"""

import dataclasses
import functools
import json
import pathlib
import subprocess
import tomllib

TOP = pathlib.Path(__file__).resolve().parents[2]
PROGRAM = "noonmark"
# Beginnings of the names of files with licences, copyrights and notices.
TEXTS = ("LICENSE", "LICENCE", "COPYING", "COPYRIGHT", "NOTICE", "UNLICENSE")


@dataclasses.dataclass(frozen=True)
class Part:
    """Something of others in the program."""

    name: str
    version: str
    # SPDX expression.
    licence: str
    origin: str
    # Package URL; of crates alone.
    purl: str | None
    # SHA-256 of what the registry has, as in the lock file; of crates alone.
    sha256: str | None
    # What it is here; of works alone.
    what: str | None
    # Licences and notices as they came with it.
    texts: tuple[str, ...]
    # Package URLs of the crates that it uses itself.
    uses: tuple[str, ...] = ()


def program_version():
    return next(p["version"] for p in metadata()["packages"] if p["name"] == PROGRAM)


def parts():
    """All of them, crates first, by name and version."""
    return crates() + works()


def works():
    listed = tomllib.loads((TOP / "daemon/packaging/works.toml").read_text("utf-8"))["work"]
    return [
        Part(
            name=work["name"],
            version=work["version"],
            licence=work["licence"],
            origin=work["origin"],
            purl=None,
            sha256=None,
            what=work["is"],
            texts=((TOP / work["text"]).read_text("utf-8"),) if "text" in work else (),
        )
        for work in listed
    ]


def crates():
    packages, uses = reached()
    sums = checksums()
    # Crates of this repository come from nowhere else.
    others = [package for package in packages.values() if package["source"] is not None]
    others.sort(key=lambda package: (package["name"], package["version"]))
    return [crate(package, sums, purls(uses[package["id"]], packages)) for package in others]


def used_by_program():
    """Package URLs of the crates that the program uses itself."""
    packages, uses = reached()
    own = [id for id, package in packages.items() if package["source"] is None]
    return purls({other for id in own for other in uses[id]}, packages)


def purls(ids, packages):
    return tuple(sorted(purl(packages[id]) for id in ids if packages[id]["source"] is not None))


def reached():
    """The packages that end up in the program, by id, and the ids of those that each of them uses."""
    # `cargo metadata` also has what only features that nobody asks for would bring; `cargo tree` has not.
    tree = cargo("tree", "--package", PROGRAM, "--edges", "normal", "--prefix", "none", "--format", "{p}")
    inside = {tuple(line.split()[:2]) for line in tree.splitlines() if line}
    found = metadata()
    packages = {p["id"]: p for p in found["packages"] if (p["name"], f"v{p['version']}") in inside}
    uses = {
        node["id"]: [d["pkg"] for d in node["deps"] if d["pkg"] in packages and any(k["kind"] is None for k in d["dep_kinds"])]
        for node in found["resolve"]["nodes"]
        if node["id"] in packages
    }
    return packages, uses


def purl(package):
    return f"pkg:cargo/{package['name']}@{package['version']}"


def crate(package, sums, uses):
    name, version = package["name"], package["version"]
    if not package["license"]:
        raise SystemExit(f"{name} {version} states no licence")
    return Part(
        name=name,
        version=version,
        # Some older crates write the alternatives with a stroke.
        licence=package["license"].replace(" / ", " OR ").replace("/", " OR "),
        origin=package["repository"] or f"https://crates.io/crates/{name}",
        purl=purl(package),
        sha256=sums[name, version],
        what=None,
        texts=tuple(texts(pathlib.Path(package["manifest_path"]).parent)),
        uses=uses,
    )


def texts(folder):
    for path in sorted(folder.iterdir()):
        if path.name.upper().startswith(TEXTS):
            files = sorted(path.iterdir()) if path.is_dir() else [path]
            for file in files:
                yield file.read_text("utf-8", errors="replace")


def checksums():
    lock = tomllib.loads((TOP / "Cargo.lock").read_text("utf-8"))
    return {(p["name"], p["version"]): p.get("checksum") for p in lock["package"]}


@functools.cache
def metadata():
    return json.loads(cargo("metadata", "--format-version", "1", "--filter-platform", host()))


@functools.cache
def cargo(command, *options):
    arguments = ["cargo", command, "--locked", *options]
    return subprocess.run(arguments, cwd=TOP, check=True, stdout=subprocess.PIPE, text=True).stdout


def host():
    told = subprocess.run(["rustc", "-vV"], cwd=TOP, check=True, stdout=subprocess.PIPE, text=True).stdout
    return next(line.removeprefix("host: ") for line in told.splitlines() if line.startswith("host: "))
