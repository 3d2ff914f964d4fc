"""Wheel page: markings of rim and tyre, the ceiling of the pair with reasons, the register."""

import asyncio
import contextlib
import tempfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward.base.errors import Refusal
from rimward.formats.records import unpack_profile
from rimward.limits.ceiling.wording import CAUTION, arithmetic, chain
from rimward.sessions.report.losses import interval_text, wheel_loss
from rimward.web import ask
from rimward.web.state import AppState, form_of, shop
from rimward.wheels.register import open_register
from rimward.wheels.register.fields import ENTERED, FIELDS
from rimward.wheels.tag import reading
from rimward.wheels.tag.reading import STATES

PICTURE_SUFFIXES = (".png", ".jpg", ".jpeg")
PHOTO_BYTES = 12_000_000
CHOICES = {
    "position": (("any", "any"), ("front", "front"), ("rear", "rear")),
    "chuck": (("pressure-open", "by air pressure"), ("pin-open", "by a pin")),
    "approved": (("unknown", "not known"), ("yes", "yes"), ("no", "no")),
    "bead": (("unknown", "not known"), ("folding", "folding"), ("rigid", "rigid")),
    "air": (("unknown", "not known"), ("tube", "with a tube"), ("tubeless", "tubeless")),
}


@contextlib.contextmanager
def register(app: AppState) -> Iterator[Any]:
    """Register, closed at the end."""
    with contextlib.closing(open_register(app.database)) as opened:
        yield opened


async def show(request: Request) -> Response:
    """Render the register beside the form; with an id, that wheel in the form."""
    app, wheel_id = shop(request), request.path_params.get("wheel_id", "")
    words = request.query_params.get("find", "")[:80]
    return await asyncio.to_thread(_show, app, request, wheel_id, words)


def _show(app: AppState, request: Request, wheel_id: str, words: str) -> Response:
    with register(app) as opened:
        wheels = opened.find(words) if words.strip() else opened.all()
        wheel = known_wheel(opened, wheel_id) if wheel_id else None
    values = dict((wheel.values.items() if wheel else ()))
    lost = wheel_loss(wheel, app.archive) if wheel else None
    loss = (
        (lost.lines, [interval_text(one) for one in reversed(lost.intervals)]) if lost else ([], [])
    )
    return app.page(
        "wheel.html", request, title=wheel.label if wheel else "New wheel", wheels=wheels, wheel=wheel, values=values, find=words,
        choices=CHOICES, sources=_sources(wheel), loss=loss,
    )  # fmt: skip


def known_wheel(opened: Any, wheel_id: str) -> Any:
    """Wheel of the register. Refusal for an unknown id."""
    wheel = opened.by_id(wheel_id)
    if wheel is None:
        raise Refusal("This wheel is not in the register.", "Choose one on the Wheel page.")
    return wheel


def _sources(wheel: Any) -> dict[str, str]:
    """Return the marking of each part."""
    found = {"rim": "", "tyre": ""}
    for name, entry in wheel.entries.items() if wheel else ():
        if entry.marking and name in FIELDS and FIELDS[name].part in found:
            found[FIELDS[name].part] = entry.marking
    return found


async def assess(request: Request) -> Response:
    """Render the ceiling of the form's values before any ride, with errors at their fields."""
    app, form = shop(request), await form_of(request)
    found = ask.assessment(ask.wheel_values(form), ask.inflator_of(app.desk.state()))
    piece = app.piece(
        "_ceiling.html",
        found=found,
        chain=chain(found),
        sum=arithmetic(found),
        caution=CAUTION,
        target="",
    )
    return JSONResponse({"html": piece, "errors": ask.wheel_errors(form)})


async def save(request: Request) -> Response:
    """Add the wheel, or append its changes."""
    app, form = shop(request), await form_of(request)
    return await asyncio.to_thread(_save, app, form)


def _save(app: AppState, form: Any) -> Response:
    values = ask.wheel_values(form)
    errors = ask.wheel_errors(form, whole=True)
    if errors:
        raise ask.AtFields(errors)
    who, wheel_id = ask.text(form, "who", 60), ask.text(form, "wheel_id", 16)
    read_from = {part: ask.text(form, f"{part}_read_from") for part in ("rim", "tyre")}
    with register(app) as opened:
        if wheel_id:
            wheel = known_wheel(opened, wheel_id)
            gone = {name: None for name in ENTERED if name in wheel.values and name not in values}
            markings = _markings(
                {n: v for n, v in values.items() if wheel.values.get(n) != v}, read_from
            )
            wheel = opened.edit(wheel_id, {**values, **gone}, who, markings)
        else:
            wheel = opened.add(values, who, _markings(values, read_from))
    return JSONResponse(
        {"wheel_id": wheel.wheel_id, "label": wheel.label, "address": f"/wheel/{wheel.wheel_id}"}
    )


def _markings(values: dict[str, Any], read_from: dict[str, str]) -> dict[str, str]:
    found = {name: read_from.get(FIELDS[name].part, "") for name in values}
    return {name: text for name, text in found.items() if text}


async def retire(request: Request) -> Response:
    """Retire a wheel, or bring it back."""
    app, form = shop(request), await form_of(request)
    back = ask.text(form, "back") == "yes"
    return await asyncio.to_thread(
        _retire, app, request.path_params["wheel_id"], ask.text(form, "who", 60), back
    )


def _retire(app: AppState, wheel_id: str, who: str, back: bool) -> Response:
    with register(app) as opened:
        wheel = opened.retire(known_wheel(opened, wheel_id).wheel_id, who, back=back)
    return JSONResponse({"retired": wheel.retired})


async def read_tag(request: Request) -> Response:
    """Read a tag from a photograph and identify its wheel."""
    app, form = shop(request), await form_of(request)
    upload = form.get("photo")
    if not isinstance(upload, UploadFile) or not upload.filename:
        raise Refusal("No picture was given.", "Take a picture of the tag.")
    suffix = Path(upload.filename).suffix.lower()
    if suffix not in PICTURE_SUFFIXES or (upload.size or 0) > PHOTO_BYTES:
        raise Refusal("This is no picture of at most 12 MB.", "Give a PNG or JPEG of the tag.")
    return await asyncio.to_thread(_read_tag, app, await upload.read(), suffix)


def _read_tag(app: AppState, picture: bytes, suffix: str) -> Response:

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / f"tag{suffix}"
        path.write_bytes(picture)
        data = reading.read(path)
    fields = unpack_profile(data)
    with register(app) as opened:
        state = reading.standing(opened, data, fields)
    says = " ".join(STATES[state]).strip()
    known = state not in ("unknown-wheel",)
    return JSONResponse(
        {
            "label": fields["label"],
            "says": says,
            "address": f"/limit/{fields['wheel_id'].hex()}" if known else None,
        }
    )


ROUTES = [
    Route("/wheel", show),
    Route("/wheel/assess", assess, methods=["POST"]),
    Route("/wheel/save", save, methods=["POST"]),
    Route("/wheel/read-tag", read_tag, methods=["POST"]),
    Route("/wheel/{wheel_id}", show),
    Route("/wheel/{wheel_id}/retire", retire, methods=["POST"]),
]
