"""Holds the answers of a page against its OpenAPI document.

    described.py ADDRESS INVERTER DATE FINDING

Every path is asked with right values and must answer 200 with what the document says; with wrong ones
it must answer with a documented status and the documented error.
"""

import json
import sys
import urllib.error
import urllib.parse
import urllib.request

from jsonschema import Draft202012Validator, FormatChecker
from referencing import Registry, Resource
from referencing.jsonschema import DRAFT202012

ADDRESS, INVERTER, DATE, FINDING = sys.argv[1:]
WRONG = "no-such-thing/../%2e"


def ask(path):
    request = urllib.request.Request(f"http://{ADDRESS}{path}")
    try:
        with urllib.request.urlopen(request, timeout=60) as answer:
            return answer.status, answer.headers.get_content_type(), answer.read().decode()
    except urllib.error.HTTPError as answer:
        return answer.code, answer.headers.get_content_type(), answer.read().decode()


def check(document, registry, path, template):
    status, kind, body = ask(path)
    responses = document["paths"][template]["get"]["responses"]
    assert str(status) in responses, f"{path}: {status} is not described: {body}"
    content = responses[str(status)]["content"]
    assert kind in content, f"{path}: {kind}, wanted {list(content)}"
    if kind == "application/json":
        schema = {"$schema": "https://json-schema.org/draft/2020-12/schema"} | resolved(content[kind]["schema"])
        validator = Draft202012Validator(schema, registry=registry, format_checker=FormatChecker())
        for error in validator.iter_errors(json.loads(body)):
            raise AssertionError(f"{path}: {error.json_path}: {error.message[:300]}")
    return status


def resolved(schema):
    text = json.dumps(schema).replace('"#/components', '"urn:openapi#/components')
    return json.loads(text)


def main():
    _, _, text = ask("/api/v1/openapi.json")
    document = json.loads(text)
    resource = Resource.from_contents(json.loads(text.replace('"#/components', '"urn:openapi#/components')), default_specification=DRAFT202012)
    registry = Registry().with_resource("urn:openapi", resource)
    right = {"{id}": INVERTER, "{date}": DATE}
    for template in document["paths"]:
        values = right | ({"{id}": FINDING} if "findings" in template else {})
        path = template
        for name, value in values.items():
            path = path.replace(name, urllib.parse.quote(value, safe=""))
        assert check(document, registry, path, template) == 200, path
        if path != template:
            for name in values:
                broken = template.replace(name, urllib.parse.quote(WRONG, safe=""))
                for other, value in values.items():
                    broken = broken.replace(other, urllib.parse.quote(value, safe=""))
                assert check(document, registry, broken, template) in (404, 200), broken
        for parameter in document["paths"][template]["get"].get("parameters", []):
            if parameter["in"] != "query":
                continue
            schema = parameter["schema"]
            for value in schema.get("enum", [schema.get("default", DATE)]):
                assert check(document, registry, f"{path}?{parameter['name']}={value}", template) == 200
            if schema == {"type": "string"}:
                continue  # any text is right
            for value in ("", "%00", "9" * 400, "2026-02-31", "day;", "%F0%9F%8C%9E"):
                status = check(document, registry, f"{path}?{parameter['name']}={value}", template)
                assert status == 400, f"{path} with {parameter['name']}={value}: {status}"
    print("every path asked:", len(document["paths"]))


main()
