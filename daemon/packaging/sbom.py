#!/usr/bin/env python3
"""Writes the bill of materials of the program: sbom.py FILE (CycloneDX 1.6, JSON), held against the
published schema before it is written. Needs `cyclonedx-python-lib[json-validation]` (Apache-2.0), which
tests/run installs into .venv."""

import pathlib
import sys

from cyclonedx.contrib.license.factories import LicenseFactory
from cyclonedx.model import ExternalReference, ExternalReferenceType, HashAlgorithm, HashType, XsUri
from cyclonedx.model.bom import Bom
from cyclonedx.model.component import Component, ComponentType
from cyclonedx.output.json import JsonV1Dot6
from cyclonedx.schema import SchemaVersion
from cyclonedx.validation.json import JsonStrictValidator
from packageurl import PackageURL

import parts


def main():
    program = Component(
        name=parts.PROGRAM,
        version=parts.program_version(),
        type=ComponentType.APPLICATION,
        licenses=[LicenseFactory().make_from_string("MIT")],
        bom_ref=parts.PROGRAM,
    )
    bom = Bom()
    bom.metadata.component = program
    made = {part.purl or part.name: (part, component(part)) for part in parts.parts()}
    bom.components.update(of_part for _, of_part in made.values())
    works = [name for name, (part, _) in made.items() if part.purl is None]
    bom.register_dependency(program, [made[used][1] for used in (*parts.used_by_program(), *works)])
    for part, of_part in made.values():
        bom.register_dependency(of_part, [made[used][1] for used in part.uses])
    text = JsonV1Dot6(bom).output_as_string(indent=1)
    wrong = JsonStrictValidator(SchemaVersion.V1_6).validate_str(text)
    if wrong is not None:
        raise SystemExit(f"the bill of materials does not fit its schema: {wrong}")
    pathlib.Path(sys.argv[1]).write_text(text + "\n", "utf-8")
    print(f"{len(bom.components)} works, CycloneDX 1.6: {sys.argv[1]}")


def component(part):
    kind = ExternalReferenceType.VCS if part.purl else ExternalReferenceType.WEBSITE
    return Component(
        name=part.name,
        version=part.version,
        type=ComponentType.LIBRARY if part.what is None else ComponentType.FILE,
        description=part.what,
        licenses=[LicenseFactory().make_from_string(part.licence)],
        purl=PackageURL.from_string(part.purl) if part.purl else None,
        hashes=[HashType(alg=HashAlgorithm.SHA_256, content=part.sha256)] if part.sha256 else [],
        external_references=[ExternalReference(type=kind, url=XsUri(part.origin))],
        bom_ref=part.purl or part.name,
    )


if __name__ == "__main__":
    main()
