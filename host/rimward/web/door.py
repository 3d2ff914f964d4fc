"""Access middleware: admits only this computer's own pages with the token shown at the start, and small bodies."""

import hmac
from collections.abc import Iterable
from urllib.parse import parse_qs

from starlette.datastructures import Headers
from starlette.exceptions import HTTPException
from starlette.responses import PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

SAFE = ("GET", "HEAD")
BODY_BYTES = 64_000
UPLOADS = {"/ride/curve": 16_100_000, "/log/upload": 32_100_000, "/wheel/read-tag": 12_000_000}
TOKEN_HEADER = "x-rimward-token"
HEADERS = (
    (
        b"content-security-policy",
        b"default-src 'self'; img-src 'self' data:; object-src 'none'; base-uri 'none'; form-action 'self'; frame-ancestors 'none'",
    ),
    (b"x-content-type-options", b"nosniff"),
    (b"referrer-policy", b"no-referrer"),
    (b"cross-origin-opener-policy", b"same-origin"),
    (b"cross-origin-resource-policy", b"same-origin"),
)
CLOSED = "This page opens only by the address that was shown when it was started, with its token. Look there for the address and open it.\n"


class TooLarge(HTTPException):
    """A body exceeded its bound."""

    def __init__(self, bound: int) -> None:
        super().__init__(413, f"More than {bound} bytes are not taken here.\n")


class AccessMiddleware:
    """ASGI middleware. `hosts`: our Host values; `token`: the secret of this run."""

    def __init__(self, app: ASGIApp, hosts: Iterable[str], token: str) -> None:
        self.app = app
        self.hosts = frozenset(host.lower() for host in hosts)
        self.token = token
        port = next(iter(self.hosts)).rsplit(":", 1)[-1]
        self.cookie = f"rimward-{port}"

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Answer a request or open a socket, for this computer only."""
        if scope["type"] == "lifespan":
            await self.app(scope, receive, send)
            return
        answer = self.find_refusal(scope)
        if answer is not None:
            await self._refuse(answer, scope, receive, send)
            return
        if scope["type"] == "websocket":
            await self.app(scope, receive, send)
            return

        async def sending(message: Message) -> None:
            if message["type"] == "http.response.start":
                message["headers"] = [*message.get("headers", []), *HEADERS]
                if not scope["path"].startswith("/static/"):
                    message["headers"].append((b"cache-control", b"no-store"))
            await send(message)

        await self.app(scope, _bounded(receive, UPLOADS.get(scope["path"], BODY_BYTES)), sending)

    def find_refusal(self, scope: Scope) -> Response | None:
        """Return None to admit a request, else the answer."""
        headers = Headers(scope=scope)
        if headers.get("host", "").lower() not in self.hosts:
            return PlainTextResponse("This host name is not served here.\n", 421)
        origin = headers.get("origin")
        ours = origin is not None and origin.lower() in {f"http://{host}" for host in self.hosts}
        if origin is not None and not ours:
            return PlainTextResponse("Requests from other pages are not taken.\n", 403)
        if scope["type"] == "http" and scope["path"] == "/" and scope["method"] in SAFE:
            given = parse_qs(scope["query_string"].decode("latin-1")).get("token", [""])[0]
            if self._fits(given):
                return self._enter()
        if not self._fits(_cookie(headers.get("cookie", ""), self.cookie)):
            return PlainTextResponse(CLOSED, 403)
        if scope["type"] == "websocket":
            return None if ours else PlainTextResponse("A live line needs an Origin.\n", 403)
        if scope["method"] in SAFE:
            return None
        if not ours or not self._fits(headers.get(TOKEN_HEADER, "")):
            return PlainTextResponse(
                "Changes are taken from this application's own pages only.\n", 403
            )
        length = headers.get("content-length", "0")
        bound = UPLOADS.get(scope["path"], BODY_BYTES)
        if not length.isdigit() or int(length) > bound:
            return PlainTextResponse(f"More than {bound} bytes are not taken here.\n", 413)
        return None

    def _enter(self) -> Response:
        answer = RedirectResponse("/", 303)
        answer.set_cookie(self.cookie, self.token, httponly=True, samesite="strict", path="/")
        return answer

    def _fits(self, given: str) -> bool:
        return hmac.compare_digest(given.encode(), self.token.encode())

    async def _refuse(self, answer: Response, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await receive()
            await send({"type": "websocket.close", "code": 4403, "reason": "not from here"})
            return
        answer.headers["cache-control"] = "no-store"
        await answer(scope, receive, send)


def _cookie(header: str, name: str) -> str:
    for part in header.split(";"):
        key, _, value = part.strip().partition("=")
        if key == name:
            return value
    return ""


def _bounded(receive: Receive, bound: int) -> Receive:
    """`receive` that raises TooLarge once more than `bound` bytes of body have arrived, whatever Content-Length said."""
    seen = 0

    async def receiving() -> Message:
        nonlocal seen
        message = await receive()
        seen += len(message.get("body", b""))
        if seen > bound:
            raise TooLarge(bound)
        return message

    return receiving
