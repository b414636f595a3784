"""A receiver of news by HTTP (Python's own server) that can also misbehave, with a verifier of somebody
else's (http-message-signatures) for RFC 9421 and RFC 9530.

Says "listening on PORT", then one line of JSON for each call that it took. Each line of its input is what
it does from then on: accept, refuse STATUS, wait STATUS SECONDS (with Retry-After), lead (elsewhere, on
this server), hang (never answers), drop (hangs up in the middle of its answer). It ends with its input.
"""

import argparse
import json
import ssl
import sys
import textwrap
import threading
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from types import SimpleNamespace

from http_message_signatures import HTTPMessageVerifier, HTTPSignatureKeyResolver, InvalidSignature, algorithms

# The lines that the documentation gives to whoever has the standard library alone.
DOCUMENT = Path(__file__).parents[2] / "book" / "src" / "announcements.md"
COVERED = ("@method", "@target-uri", "content-type", "content-digest")


def documented():
    """The function `is_ours` of the documentation."""
    lines = DOCUMENT.read_text().split("    import base64", 1)[1].split("\n## ", 1)[0]
    found = {}
    exec(textwrap.dedent("    import base64" + lines), found)
    return found["is_ours"]


class Keys(HTTPSignatureKeyResolver):
    def resolve_public_key(self, key_id):
        return OPTIONS.secret.encode() if key_id == OPTIONS.keyid else None


class Handler(BaseHTTPRequestHandler):
    protocol_version = "HTTP/1.1"
    mode = ["accept"]

    def do_POST(self):
        body = self.rfile.read(int(self.headers["Content-Length"]))
        word, *rest = ["accept"] if self.path == "/elsewhere" else Handler.mode
        if word == "hang":
            threading.Event().wait()
        if word == "drop":
            self.wfile.write(b"HTTP/1.1 20")
            self.close_connection = True
            return
        if word == "accept":
            say(json.dumps(self.shown(body)))
        status = {"accept": 204, "lead": 307}.get(word) or int(rest[0])
        self.send_response(status)
        if word == "wait":
            self.send_header("Retry-After", rest[1])
        if word == "lead":
            self.send_header("Location", "/elsewhere")
        self.send_header("Content-Length", "0")
        self.end_headers()

    def shown(self, body):
        scheme = "https" if OPTIONS.certificate else "http"
        url = f"{scheme}://{self.headers['Host']}{self.path}"
        verifier = HTTPMessageVerifier(signature_algorithm=algorithms.HMAC_SHA256, key_resolver=Keys())
        message = SimpleNamespace(method=self.command, url=url, headers=self.headers)
        try:
            # The plant's clock is a rehearsal's; how old a signature may be is not looked at here.
            results = verifier.verify(message, max_age=None, require_components=COVERED, body=body)
            why = None if len(results) == 1 else "not one signature"
        except InvalidSignature as error:
            why = str(error)
        forged = body.replace(b"id", b"ID", 1)
        said = lambda text: is_ours(self.command, url, self.headers, text, OPTIONS.secret.encode(), float("inf"))
        by_hand = [said(body), said(forged)]
        if why is None and by_hand != [True, False]:
            why = f"the documented lines say {by_hand}"
        return {"path": self.path, "type": self.headers["Content-Type"], "body": body.decode(), "unverified": why}

    def log_message(self, *_):
        pass


def say(line):
    print(line, flush=True)


parser = argparse.ArgumentParser()
parser.add_argument("--certificate")
parser.add_argument("--key")
parser.add_argument("--secret", required=True)
parser.add_argument("--keyid", required=True)
OPTIONS = parser.parse_args()
is_ours = documented()
server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
server.daemon_threads = True
if OPTIONS.certificate:
    context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    context.load_cert_chain(OPTIONS.certificate, OPTIONS.key)
    server.socket = context.wrap_socket(server.socket, server_side=True, do_handshake_on_connect=False)
threading.Thread(target=server.serve_forever, daemon=True).start()
say(f"listening on {server.server_address[1]}")
for line in sys.stdin:
    Handler.mode = line.split()
    say(f"mode {line.strip()}")
