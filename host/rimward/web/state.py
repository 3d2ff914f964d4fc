"""State of the application, for every handler: archive, device worker, templates; and the forms of requests."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, select_autoescape
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import HTMLResponse

from rimward import __version__
from rimward.base.errors import Refusal
from rimward.base.units import show_limit, show_minimum, show_reading
from rimward.limits.ceiling.wording import CAUTION
from rimward.sessions.report.archive import Archive
from rimward.web.desk import DeviceWorker
from rimward.web.wording import on_page

HERE = Path(__file__).parent
STEPS = (("wheel", "Wheel"), ("limit", "Limit"), ("fill", "Fill"), ("log", "Record"))
MORE = (("ride", "Ride"), ("bench", "Bench"), ("setup", "Set-up"))
FILES_MOST, FIELDS_MOST, PART_BYTES = 1, 40, 32_000_000


@dataclass
class AppState:
    """State of the application, for every handler."""

    desk: DeviceWorker
    archive: Archive
    database: str | None
    token: str
    templates: Environment = field(default_factory=lambda: environment())

    def page(
        self, template: str, request: Request, status: int = 200, **values: Any
    ) -> HTMLResponse:
        """Render a whole page."""
        here = next(
            (key for key, _ in (*STEPS, *MORE) if request.url.path.startswith(f"/{key}")), ""
        )
        ours = {
            "steps": STEPS,
            "more": MORE,
            "here": here,
            "token": self.token,
            "caution": CAUTION,
            "version": __version__,
        }
        text = self.templates.get_template(template).render({**ours, **values})
        return HTMLResponse(text, status)

    def piece(self, template: str, **values: Any) -> str:
        """Render a part of a page."""
        return self.templates.get_template(template).render(**values)


def environment() -> Environment:
    """Template environment; everything is escaped."""

    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=select_autoescape(default=True),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters.update(limit=show_limit, minimum=show_minimum, reading=show_reading, said=on_page)
    return made


def shop(request: Request) -> AppState:
    """Application state of a request."""
    found: AppState = request.app.state.shop
    return found


async def form_of(request: Request) -> Any:
    """Form of a request, bounded. Refusal for an unreadable one."""
    try:
        return await request.form(
            max_files=FILES_MOST, max_fields=FIELDS_MOST, max_part_size=PART_BYTES
        )
    except HTTPException as wrong:
        if wrong.status_code == 413:
            raise
        raise Refusal(
            f"The form cannot be read: {wrong.detail}.", "Load the page again."
        ) from wrong
