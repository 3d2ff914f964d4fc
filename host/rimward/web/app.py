"""Application: its routes, its access middleware, its device worker."""

import asyncio
import contextlib
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable

from starlette.applications import Starlette
from starlette.requests import Request
from starlette.responses import JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket

from rimward.base.errors import Refusal
from rimward.sessions.report.archive import Archive
from rimward.web import fill_page, limit_page, log_page, ride_page, setup_page, wheel_page
from rimward.web.desk import DeviceWorker
from rimward.web.door import AccessMiddleware
from rimward.web.live import live
from rimward.web.state import HERE, AppState, shop
from rimward.web.wording import on_page
from rimward.wheels import keys

Handler = Callable[[Request], Awaitable[Response]]


def refusing(request: Request, refusal: Exception) -> Response:
    """Answer with a Refusal: text and next step; HTML for pages, JSON for scripts."""
    assert isinstance(refusal, Refusal)
    text, fix = on_page(refusal.text), on_page(refusal.fix)
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        return shop(request).page("refused.html", request, 404, text=text, fix=fix, title="Refused")
    answer = {
        "refused": text,
        "fix": fix,
        "id": getattr(refusal, "id", ""),
        "fields": getattr(refusal, "fields", {}),
    }
    return JSONResponse(answer, 409)


async def _front(_request: Request) -> Response:
    """Start page: the set-up until this computer has a key, then the wheels."""

    try:
        known = bool((await asyncio.to_thread(keys.load)).keys)
    except Refusal:
        known = False
    return RedirectResponse("/wheel" if known else "/setup", 303)


async def _alive(_request: Request) -> Response:
    return Response(status_code=204)


async def _live(socket: WebSocket) -> None:
    await live(socket, socket.app.state.shop.desk)


def routes() -> list[BaseRoute]:
    """Every route."""

    made: list[BaseRoute] = [
        Route("/", _front),
        Route("/alive", _alive),
        WebSocketRoute("/live", _live),
    ]
    for page in (wheel_page, limit_page, fill_page, log_page, ride_page, setup_page):
        made += page.ROUTES
    made += _bench_routes()
    return [*made, Mount("/static", StaticFiles(directory=HERE / "static"))]


def _bench_routes() -> list[BaseRoute]:
    """Page of the proof bench; without its extra, a page that says so."""
    try:
        from rimward.web import bench_page
    except ModuleNotFoundError as missing:
        needs = missing.name

        async def refuse(_request: Request) -> Response:
            raise Refusal(
                f"The proof bench's page needs {needs}.",
                "Ask the person who looks after this computer to add it.",
            )

        return [Route("/bench", refuse)]
    return list(bench_page.ROUTES)


def application(
    desk: DeviceWorker,
    archive: Archive,
    hosts: Iterable[str],
    database: str | None = None,
    token: str | None = None,
) -> tuple[AccessMiddleware, AppState]:
    """Return the application behind its access middleware, and its state."""
    held = AppState(desk, archive, database, token or secrets.token_urlsafe(24))

    @contextlib.asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        desk.start()
        yield
        desk.close()

    inner = Starlette(routes=routes(), lifespan=lifespan, exception_handlers={Refusal: refusing})
    inner.state.shop = held
    return AccessMiddleware(inner, hosts, held.token), held
