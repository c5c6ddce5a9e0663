"""The closed door: who may ask, from where, how much, and what every answer carries."""

from __future__ import annotations

import hmac
import ipaddress
import secrets
from collections.abc import Awaitable, Callable, Iterable, Mapping, MutableMapping
from dataclasses import dataclass, field
from http.cookies import CookieError, SimpleCookie
from typing import Any

Scope = MutableMapping[str, Any]
Message = MutableMapping[str, Any]
Receive = Callable[[], Awaitable[Message]]
Send = Callable[[Message], Awaitable[None]]
App = Callable[[Scope, Receive, Send], Awaitable[None]]

MOST_BODY = 2_000_000  # the largest text that is taken, written as a form
MOST_QUERY = 8_000
METHODS = ("GET", "HEAD", "POST")
DOOR_COOKIE = "ringout_door"
DOOR_PATH = "/door"
OPEN_PATHS = (DOOR_PATH, "/static/bench.css")
# No script or style but the bench's own files, nothing from elsewhere, no frames.
POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "font-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "content-security-policy": POLICY,
    "x-content-type-options": "nosniff",
    "x-frame-options": "DENY",
    # not `no-referrer`: a form would then be sent with the origin `null`
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=(), usb=(), serial=()",
    "cache-control": "no-cache",
}


@dataclass
class Keys:
    """Secrets of one run of the bench.

    Args:
        code: the code that lets one browser in; it changes once used. Empty: none is needed.
        token: what every write must carry.
        passes: what browsers that gave the code carry.
        tell: called with each new code.
    """

    code: str = ""
    token: str = field(default_factory=lambda: secrets.token_urlsafe(24))
    passes: set[str] = field(default_factory=set)
    tell: Callable[[str], None] | None = None
    wrong: int = 0

    def may_write(self, token: str) -> bool:
        """Return whether a token is the right one, in constant time."""
        return hmac.compare_digest(token.encode(), self.token.encode())

    def let_in(self, code: str) -> str:
        """Return a pass for the right code, which is then used up; empty for a wrong one.

        After `MOST_WRONG` wrong ones the code changes: it cannot be guessed by trying.
        """
        if not self.code:
            return ""  # nothing is asked for, so nothing can be wrong
        given = "".join(code.split()).replace("-", "").upper()
        if hmac.compare_digest(given.encode(), self.code.encode()):
            new = secrets.token_urlsafe(24)
            self.passes.add(new)
            self._change()
            return new
        self.wrong += 1
        if self.wrong >= MOST_WRONG:
            self._change()
        return ""

    def _change(self) -> None:
        self.wrong = 0
        self.code = new_code()
        if self.tell is not None:
            self.tell(self.code)


MOST_WRONG = 5
LETTERS = "ABCDEFGHJKLMNPQRSTUVWXYZ23456789"  # none that are mistaken for each other


def new_code() -> str:
    """Return a fresh code of eight signs."""
    return "".join(secrets.choice(LETTERS) for _ in range(8))


def host_allowed(host: str, names: Iterable[str], port: int | None) -> bool:
    """Return whether a Host header names this bench.

    A name that is none of ours is refused, whatever address it leads to: a page elsewhere could
    otherwise have its own name point here.

    Args:
        host: the header.
        names: names and addresses the bench answers to; `*` for any numeric address.
        port: the port it listens on; None: any.
    """
    name, given = _split(host)
    if port is not None and given != port:
        return False
    known = {n.lower() for n in names}
    if name in known:
        return True
    if "*" not in known:
        return False
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return False
    return True


def _split(host: str) -> tuple[str, int]:
    """Return name and port of a Host header; port 80 where it says none, -1 for a bad one."""
    host = host.strip().lower()
    if host.startswith("["):
        name, _, rest = host[1:].partition("]")
        port = rest.removeprefix(":")
    else:
        name, _, port = host.partition(":")
    if not port:
        return name, 80
    return name, int(port) if port.isascii() and port.isdecimal() and len(port) < 6 else -1


class Doors:
    """Stands before the pages.

    Args:
        app: the pages.
        keys: the secrets of this run.
        names: names and addresses the bench answers to.
        port: the port it listens on; None: any.
    """

    def __init__(self, app: App, keys: Keys, names: Iterable[str], port: int | None) -> None:
        self.app, self.keys = app, keys
        self.names, self.port = tuple(names), port

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Let a request through, or answer why not."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        if scope["type"] != "http":
            await send({"type": "websocket.close", "code": 1008})
            return
        sender = _dressed(send)
        headers = _headers(scope)
        refused = self._refused(scope, headers)
        if refused is not None:
            await _say(sender, *refused)
            return
        if self.keys.code and not self._has_pass(headers) and scope["path"] not in OPEN_PATHS:
            if scope["method"] == "POST" or scope["path"].startswith("/api"):
                await _say(sender, 401, "Give the code that stands in the terminal first.")
            else:
                await _say(sender, 303, "Give the code first.", {"location": DOOR_PATH})
            return
        await self._limited(scope, receive, sender)

    def _refused(self, scope: Scope, headers: Mapping[str, str]) -> tuple[int, str] | None:
        """Return status and reason where a request is turned away."""
        host = headers.get("host", "")
        if not host_allowed(host, self.names, self.port):
            return 421, "This bench does not answer to that name."
        if scope["method"] not in METHODS:
            return 405, "The bench knows GET, HEAD and POST."
        if len(scope.get("query_string", b"")) > MOST_QUERY or len(scope["path"]) > MOST_QUERY:
            return 414, "That address is too long."
        if scope["method"] == "POST":
            origin = headers.get("origin")
            if origin is not None and origin.lower() != f"{scope['scheme']}://{host.lower()}":
                return 403, "That was sent from a page of another origin."
            if headers.get("sec-fetch-site", "same-origin") not in ("same-origin", "none"):
                return 403, "That was sent from a page of another site."
            length = headers.get("content-length", "0")
            if not (length.isascii() and length.isdecimal()):
                return 400, "That length is no number."
            if len(length) > 12 or int(length) > MOST_BODY:
                return 413, "That is too much."
        return None

    def _has_pass(self, headers: Mapping[str, str]) -> bool:
        try:
            cookies = SimpleCookie(headers.get("cookie", ""))
        except CookieError:
            return False
        given = cookies[DOOR_COOKIE].value if DOOR_COOKIE in cookies else ""
        return any(hmac.compare_digest(given.encode(), p.encode()) for p in self.keys.passes)

    async def _limited(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass a request on, but no more of its body than is allowed."""
        seen = 0
        over = False
        started = False

        async def limited() -> Message:
            nonlocal seen, over
            message = await receive()
            if message["type"] == "http.request":
                seen += len(message.get("body", b""))
                if seen > MOST_BODY:
                    over = True
                    return {"type": "http.disconnect"}
            return message

        async def watched(message: Message) -> None:
            nonlocal started
            if over and not started:
                return
            started = True
            await send(message)

        try:
            await self.app(scope, limited, watched)
        except Exception:
            if not over:
                raise
        if over and not started:
            await _say(send, 413, "That is too much.")


def _headers(scope: Scope) -> dict[str, str]:
    """Return the headers; one that stands twice counts as all of them, so it fits nothing."""
    found: dict[str, str] = {}
    for key, value in scope["headers"]:
        name, text = key.decode("latin-1").lower(), value.decode("latin-1")
        joint = "; " if name == "cookie" else ", "
        found[name] = f"{found[name]}{joint}{text}" if name in found else text
    return found


def _dressed(send: Send) -> Send:
    """Return `send` with the headers every answer carries."""

    async def dressed(message: Message) -> None:
        if message["type"] == "http.response.start":
            have = {k.lower() for k, _ in message.get("headers", ())}
            more = [(k.encode(), v.encode()) for k, v in HEADERS.items() if k.encode() not in have]
            message = {**message, "headers": [*message.get("headers", ()), *more]}
        await send(message)

    return dressed


async def _say(
    send: Send, status: int, text: str, headers: Mapping[str, str] | None = None
) -> None:
    """Answer in one plain line."""
    body = f"{text}\n".encode()
    lines = [(b"content-type", b"text/plain; charset=utf-8")]
    lines += [(b"content-length", str(len(body)).encode())]
    lines += [(k.encode(), v.encode()) for k, v in (headers or {}).items()]
    await send({"type": "http.response.start", "status": status, "headers": lines})
    await send({"type": "http.response.body", "body": body})
