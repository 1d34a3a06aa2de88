"""Who may ask: the page itself, on this machine, and nobody else.

A page of another site that is open in the same browser can send requests to the loopback address;
a name that is made to point there can even read the answers. So the Host must be the one that was
opened, an Origin must be the same, and what the browser says of where a request comes from
(Fetch Metadata, W3C) must not be another site.
"""

from __future__ import annotations

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_OWN = frozenset({"same-origin", "none"})
_PAGE = ("default-src 'none'; script-src 'self'; style-src 'self'; font-src 'self'; "
         "img-src 'self' data:; connect-src 'self'; frame-src 'self'; form-action 'none'; "
         "base-uri 'none'; frame-ancestors 'none'")
HEADERS = {"X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
           "Cross-Origin-Resource-Policy": "same-origin",
           "Cross-Origin-Opener-Policy": "same-origin", "Cache-Control": "no-store"}


class Guard:
    """Refuse foreign requests, and tell the browser what the answers may do."""

    def __init__(self, app: ASGIApp, port: int) -> None:
        self.app = app
        self.hosts = frozenset({f"127.0.0.1:{port}", f"localhost:{port}"}
                               | ({"127.0.0.1", "localhost"} if port == 80 else set()))

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request, or hand it on."""
        if scope["type"] != "http":
            if scope["type"] == "lifespan":
                await self.app(scope, receive, send)
            return

        async def sent(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                headers.update(HEADERS)
                headers.setdefault("Content-Security-Policy", _PAGE)
            await send(message)
        why = self._refused(scope)
        if why:
            await PlainTextResponse(f"Refused: {why}\n", 403)(scope, receive, sent)
        else:
            await self.app(scope, receive, sent)

    def _refused(self, scope: Scope) -> str:
        headers = Headers(scope=scope)
        hosts, origins = headers.getlist("host"), headers.getlist("origin")
        if len(hosts) != 1 or hosts[0].lower() not in self.hosts:
            return "open the address that the program printed."
        if any(origin.lower() != f"http://{hosts[0].lower()}" for origin in origins):
            return "only the page itself may ask this."
        site = headers.get("sec-fetch-site", "none").lower()
        if site not in _OWN:
            return "another site asked for this. Type the address of the page instead."
        return ""
