"""What every request passes first: whose bench it is asked as, where it comes from, and how large it is.

Pure ASGI, so that it also stands around streamed and static answers, and so that the last resort (a page without a
trace) carries the same headers as every other page.
"""

from __future__ import annotations

import logging
from collections.abc import Collection
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from firstpull.errors import BadInput
from firstpull.web.problems import Problem, answer
from firstpull.web.render import ASKED_BY_PROGRAM, wants_page

log = logging.getLogger("firstpull.web")

LOCAL_HOSTS = frozenset({"127.0.0.1", "localhost", "::1"})
MAX_BODY_BYTES = 32 * 1024 * 1024
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})

# style and script only from files: drawings use presentation attributes, pages have no inline style or script
CONTENT_SECURITY_POLICY = (
    "default-src 'self'; base-uri 'none'; object-src 'none'; form-action 'self'; frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": CONTENT_SECURITY_POLICY,
    "X-Content-Type-Options": "nosniff",
    # not "no-referrer": that makes browsers send "Origin: null" with our own forms
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Cross-Origin-Embedder-Policy": "require-corp",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=()",
}


class Guard:
    """Checks host, origin and size, sets the headers, and turns anything unforeseen into a plain page."""

    def __init__(
        self, app: ASGIApp, *, hosts: Collection[str] = LOCAL_HOSTS, max_body_bytes: int = MAX_BODY_BYTES
    ) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self.max_body_bytes = max_body_bytes

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        started = False
        ASKED_BY_PROGRAM.set(not wants_page(Request(scope)))

        async def send_with_headers(message: Message) -> None:
            nonlocal started
            if message["type"] == "http.response.start":
                started = True
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers[name] = value
                headers.setdefault("Cache-Control", "no-store")
            await send(message)

        refused = self._refusal(scope)
        if refused is not None:
            await answer(Request(scope), refused)(scope, receive, send_with_headers)
            return
        try:
            await self.app(scope, self._limited(receive), send_with_headers)
        except _TooLargeError:
            if not started:
                await answer(Request(scope), _too_large(self.max_body_bytes))(scope, receive, send_with_headers)
        except Exception:
            log.exception("Unforeseen problem at %s %s", scope["method"], scope["path"])
            if started:
                raise
            await answer(Request(scope), Problem.unforeseen())(scope, receive, send_with_headers)

    def _refusal(self, scope: Scope) -> Problem | None:
        headers = Headers(scope=scope)
        if not _host_allowed(headers.get("host", ""), self.hosts):
            return Problem(
                400,
                "host",
                "This address is not one that the bench answers to.",
                hint="Open it as 127.0.0.1 or localhost.",
            )
        if scope["method"] not in _SAFE_METHODS and not _same_origin(headers, scope["scheme"]):
            return Problem(
                403,
                "origin",
                "This was sent from another site, so nothing was done.",
                hint="Open the page in the bench itself and send it again.",
            )
        length = headers.get("content-length", "0")
        if length.isdigit() and int(length) > self.max_body_bytes:
            return _too_large(self.max_body_bytes)
        return None

    def _limited(self, receive: Receive) -> Receive:
        taken = 0

        async def receive_limited() -> Message:
            nonlocal taken
            message = await receive()
            taken += len(message.get("body", b""))
            if taken > self.max_body_bytes:
                raise _TooLargeError
            return message

        return receive_limited


class _TooLargeError(Exception):
    """A body that has no length header, or a false one, grew past the limit."""


def _too_large(max_body_bytes: int) -> Problem:
    error = BadInput(
        "That file is too large.",
        hint=f"At most {max_body_bytes // (1024 * 1024)} MB. Split it and bring the parts one by one; a large CSV goes in with the command firstpull catalogue import.",
    )
    return Problem.of(error, status=413)


def _host_allowed(host: str, allowed: frozenset[str]) -> bool:
    """Whether the Host header names this bench, at any port. Guards against a foreign name that resolves to here."""
    try:
        name = urlsplit(f"//{host}").hostname
    except ValueError:
        return False
    return name is not None and name.lower() in allowed


def _same_origin(headers: Headers, scheme: str) -> bool:
    """Whether a change is asked for by the bench's own page, or by something that is not a browser.

    Browsers say ``Sec-Fetch-Site`` on trusted addresses and ``Origin`` on every POST; what sends neither cannot be
    steered by a foreign page.
    """
    site = headers.get("sec-fetch-site")
    if site is not None:
        return site == "same-origin"
    origin = headers.get("origin")
    return origin is None or origin.lower() == f"{scheme}://{headers.get('host', '')}".lower()
