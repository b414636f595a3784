"""A mail server of somebody else's (aiosmtpd) that can also misbehave, and a parser of somebody
else's (Python's email package) for what it has taken.

Says "listening on PORT", then one line of JSON for each mail that it took. Each line of its input is
what it does from then on: accept, refuse (550), later (451), stall (never answers), drop (hangs up in
the middle of a mail). It ends with its input.
"""

import argparse
import asyncio
import email
import json
import ssl
import sys
from email import policy

from aiosmtpd.smtp import SMTP, AuthResult, LoginPassword


class Handler:
    mode = "accept"

    async def handle_RCPT(self, server, session, envelope, address, options):
        if self.mode == "refuse":
            return "550 no such person here"
        if self.mode == "later":
            return "451 come back later"
        envelope.rcpt_tos.append(address)
        return "250 OK"

    async def handle_DATA(self, server, session, envelope):
        if self.mode == "stall":
            await asyncio.sleep(3600)
        if self.mode == "drop":
            server.transport.abort()
            return "451 too late"
        say(json.dumps(shown(envelope)))
        return "250 taken"


def shown(envelope):
    """What a reader's program would show of it."""
    mail = email.message_from_bytes(envelope.content, policy=policy.default)
    parts = [
        {"type": p.get_content_type(), "id": p.get("Content-ID"), "bytes": len(p.get_payload(decode=True) or b"")}
        for p in mail.walk()
    ]
    return {
        "from": envelope.mail_from,
        "to": envelope.rcpt_tos,
        "headers": {name.lower(): str(value) for name, value in mail.items()},
        "date_unix_s": mail["Date"].datetime.timestamp(),
        "defects": [str(d) for p in mail.walk() for d in p.defects],
        "parts": parts,
        "text": mail.get_body(("plain",)).get_content(),
        "html": mail.get_body(("html",)).get_content(),
    }


def say(line):
    print(line, flush=True)


async def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("--security", choices=["none", "starttls", "tls"], default="none")
    parser.add_argument("--port", type=int, default=0)
    parser.add_argument("--certificate")
    parser.add_argument("--key")
    parser.add_argument("--user")
    parser.add_argument("--password")
    options = parser.parse_args()
    handler = Handler()
    tls = None
    if options.security != "none":
        tls = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        tls.load_cert_chain(options.certificate, options.key)
    upgrade = tls if options.security == "starttls" else None

    def knows(server, session, envelope, mechanism, data):
        known = isinstance(data, LoginPassword) and (data.login, data.password) == (
            options.user.encode(),
            options.password.encode(),
        )
        return AuthResult(success=known, handled=False)

    def connection():
        return SMTP(
            handler,
            hostname="mail.test",
            tls_context=upgrade,
            require_starttls=upgrade is not None,
            authenticator=knows if options.user else None,
            auth_required=options.user is not None,
            auth_require_tls=options.security == "starttls",
        )

    loop = asyncio.get_running_loop()
    wrapped = tls if options.security == "tls" else None
    server = await loop.create_server(connection, "127.0.0.1", options.port, ssl=wrapped)
    say(f"listening on {server.sockets[0].getsockname()[1]}")
    while line := await loop.run_in_executor(None, sys.stdin.readline):
        handler.mode = line.strip()
        say(f"mode {handler.mode}")


asyncio.run(main())
