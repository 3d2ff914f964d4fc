"""The application: its routes, its door, its one desk."""

import asyncio
import contextlib
import secrets
from collections.abc import AsyncIterator, Awaitable, Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.applications import Starlette
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.routing import BaseRoute, Mount, Route, WebSocketRoute
from starlette.staticfiles import StaticFiles
from starlette.websockets import WebSocket

from rimward import __version__
from rimward.ceiling.wording import CAUTION
from rimward.errors import Refusal
from rimward.report.archive import Archive
from rimward.web.desk import Desk
from rimward.web.door import Door
from rimward.web.live import live
from rimward.web.wording import on_page

HERE = Path(__file__).parent
STEPS = (("wheel", "Wheel"), ("limit", "Limit"), ("fill", "Fill"), ("log", "Record"))
MORE = (("ride", "Ride"), ("bench", "Bench"), ("setup", "Set-up"))
FILES_MOST, FIELDS_MOST, PART_BYTES = 1, 40, 32_000_000
Handler = Callable[[Request], Awaitable[Response]]


@dataclass
class Shop:
    """What every handler needs."""

    desk: Desk
    archive: Archive
    database: str | None
    token: str
    templates: Environment = field(default_factory=lambda: environment())

    def page(self, template: str, request: Request, status: int = 200, **values: Any) -> HTMLResponse:
        """A whole page."""
        here = next((key for key, _ in (*STEPS, *MORE) if request.url.path.startswith(f"/{key}")), "")
        ours = {"steps": STEPS, "more": MORE, "here": here, "token": self.token, "caution": CAUTION, "version": __version__}
        text = self.templates.get_template(template).render({**ours, **values})
        return HTMLResponse(text, status)

    def piece(self, template: str, **values: Any) -> str:
        """A piece of a page."""
        return self.templates.get_template(template).render(**values)


def environment() -> Environment:
    """The templates; everything is escaped."""
    from rimward.units import show_limit, show_minimum, show_reading

    made = Environment(loader=FileSystemLoader(HERE / "templates"), autoescape=select_autoescape(default=True), trim_blocks=True, lstrip_blocks=True)
    made.filters.update(limit=show_limit, minimum=show_minimum, reading=show_reading, said=on_page)
    return made


def shop(request: Request) -> Shop:
    """The shop of a request."""
    return request.app.state.shop


async def form_of(request: Request) -> Any:
    """The form of a request, bounded. Refusal for one that cannot be read."""
    try:
        return await request.form(max_files=FILES_MOST, max_fields=FIELDS_MOST, max_part_size=PART_BYTES)
    except HTTPException as wrong:
        if wrong.status_code == 413:
            raise
        raise Refusal(f"The form cannot be read: {wrong.detail}.", "Load the page again.") from wrong


def refusing(request: Request, refusal: Exception) -> Response:
    """A Refusal as an answer: text and next step. Pages get a page, scripts get JSON."""
    assert isinstance(refusal, Refusal)
    text, fix = on_page(refusal.text), on_page(refusal.fix)
    if request.method == "GET" and "text/html" in request.headers.get("accept", ""):
        return shop(request).page("refused.html", request, 404, text=text, fix=fix, title="Refused")
    told = {"refused": text, "fix": fix, "id": getattr(refusal, "id", ""), "fields": getattr(refusal, "fields", {})}
    return JSONResponse(told, 409)


async def _front(_request: Request) -> Response:
    """Where a person begins: at the set-up until this computer has a key, then at the wheels."""
    from rimward import keys

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
    """Every address."""
    from rimward.web import fill_page, limit_page, log_page, ride_page, setup_page, wheel_page

    made: list[BaseRoute] = [Route("/", _front), Route("/alive", _alive), WebSocketRoute("/live", _live)]
    for page in (wheel_page, limit_page, fill_page, log_page, ride_page, setup_page):
        made += page.ROUTES
    made += _bench_routes()
    return [*made, Mount("/static", StaticFiles(directory=HERE / "static"))]


def _bench_routes() -> list[BaseRoute]:
    """The proof bench's page; where its extra is missing, a page that says so."""
    try:
        from rimward.web import bench_page
    except ModuleNotFoundError as missing:
        needs = missing.name

        async def refuse(_request: Request) -> Response:
            raise Refusal(f"The proof bench's page needs {needs}.", "Ask the person who looks after this computer to add it.")

        return [Route("/bench", refuse)]
    return list(bench_page.ROUTES)


def application(desk: Desk, archive: Archive, hosts: Iterable[str], database: str | None = None, token: str | None = None) -> tuple[Door, Shop]:
    """The application behind its door, and what its handlers share."""
    held = Shop(desk, archive, database, token or secrets.token_urlsafe(24))

    @contextlib.asynccontextmanager
    async def lifespan(_app: Starlette) -> AsyncIterator[None]:
        desk.start()
        yield
        desk.close()

    inner = Starlette(routes=routes(), lifespan=lifespan, exception_handlers={Refusal: refusing})
    inner.state.shop = held
    return Door(inner, hosts, held.token), held
