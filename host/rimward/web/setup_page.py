"""Set-up page: from the key to an inflator with name, unit and source; also a proof bench's key."""

import asyncio
import struct
from typing import Any

from rimward_protocol import codes
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.formats.records import text_of
from rimward.web import ask
from rimward.web.fill_page import done
from rimward.web.state import AppState, form_of, shop
from rimward.wheels import keys

LABEL, BUZZER, UNIT, SOURCE = 7, 8, 9, 5
LABEL_BYTES, LABEL_LETTERS = codes.LABEL_BYTES, codes.LABEL_LETTERS
SOURCES = ("compressor", "line")
UNITS = ("bar", "psi")
SOURCE_FORM = "<BII"
# fields of an air source: name -> label, bounds, factor to the setting's unit
SOURCE_FIELD = ("flow_0", "supply")  # fields of each kind
SOURCE_FIELDS = {
    "flow_0": ("Free air at no pressure, L/min", 10.0, 60.0, 1000),
    "supply": ("Supply of the line, bar", 4.0, 10.0, 100_000),
}


async def show(request: Request) -> Response:
    """Render the page."""
    return await asyncio.to_thread(_show, shop(request), request)


def _show(app: AppState, request: Request) -> Response:
    rings = {purpose: _key(purpose) for purpose in keys.PURPOSES}
    return app.page("setup.html", request, title="Set-up", rings=rings, source_fields=SOURCE_FIELDS)


def _key(purpose: str) -> dict[str, Any]:
    """Key of this computer as text: id and day, or why it cannot be read."""
    try:
        ring = keys.load(purpose)
    except Refusal as refusal:
        return {"key_id": "", "made": "", "kept_in": "", "wrong": str(refusal)}
    first = ring.keys[0] if ring.keys else None
    return {
        "key_id": first.key_id if first else "",
        "made": first.made if first else "",
        "kept_in": ring.kept_in,
        "wrong": "",
    }


async def make_key(request: Request) -> Response:
    """Make the first key of a purpose; an existing one is no error."""
    form = await form_of(request)
    purpose = ask.text(form, "purpose", 10)
    if purpose not in keys.PURPOSES:
        raise Refusal("There is no such key.", "Make the workshop's or the bench's.")
    ring = await asyncio.to_thread(
        lambda: keys.load(purpose) if keys.load(purpose).keys else keys.new(purpose)
    )
    return JSONResponse(
        {"key_id": ring.current.key_id, "made": ring.current.made, "kept_in": ring.kept_in}
    )


async def settings(request: Request) -> Response:
    """Return the settings of the connected inflator as text."""
    app = shop(request)
    return JSONResponse(await done(app.desk.order(_read)))


def _read(client: Any) -> dict[str, Any]:
    def value(number: int) -> bytes:
        return bytes(client.request(codes.SETTING_GET, number=number)["value"])

    label, buzzer, unit, source = (value(number) for number in (LABEL, BUZZER, UNIT, SOURCE))
    found: dict[str, Any] = {
        "label": text_of(label) if label else "",
        "buzzer": bool(buzzer[:1] != b"\0"),
        "unit": UNITS[1 if unit[:1] == b"\1" else 0],
    }
    if len(source) == struct.calcsize(SOURCE_FORM):
        kind, flow_0, supply = struct.unpack(SOURCE_FORM, source)
        found["source"] = {
            "kind": SOURCES[min(kind, 1)],
            "flow_0": flow_0 / 1000,
            "supply": supply / 100_000,
        }
    return found


async def put(request: Request) -> Response:
    """Send name, unit and buzzer, which apply at once."""
    app, form = shop(request), await form_of(request)
    app.desk.hold.check(ask.text(form, "hold"))
    label = ask.text(form, "label", 60).encode()
    if (
        not label
        or len(label) > LABEL_BYTES
        or len(label.decode()) > LABEL_LETTERS
        or not label.decode().isprintable()
    ):
        raise ask.AtFields({"label": f"Give a name of at most {LABEL_LETTERS} letters."})
    unit = 1 if ask.text(form, "unit") == "psi" else 0
    buzzer = 0 if ask.text(form, "buzzer") == "off" else 1

    def act(client: Any) -> dict[str, Any]:
        for number, value in (
            (LABEL, label.ljust(LABEL_BYTES, b"\0")),
            (UNIT, bytes([unit])),
            (BUZZER, bytes([buzzer])),
        ):
            client.request(codes.SETTING_PUT, number=number, value=value)
        return _read(client)

    return JSONResponse(await done(app.desk.order(act)))


async def put_source(request: Request) -> Response:
    """Send the air source; a person at the inflator confirms it with the workshop button."""
    app, form = shop(request), await form_of(request)
    app.desk.hold.check(ask.text(form, "hold"))
    kind = SOURCES.index(ask.text(form, "kind")) if ask.text(form, "kind") in SOURCES else 0
    errors, values = {}, []
    for name, (says, low, high, factor) in SOURCE_FIELDS.items():
        try:
            given = ask.number(form, name, low, high, says)
        except Refusal as refusal:
            errors[name] = str(refusal)
            continue
        given = given if name == SOURCE_FIELD[kind] else 0
        if given is None:
            errors[name] = "Fill in this field: it is on the plate or in the papers of the source."
        values.append(round((given or 0.0) * factor))
    if errors:
        raise ask.AtFields(errors)
    value = struct.pack(SOURCE_FORM, kind, *values)

    def act(client: Any) -> dict[str, Any]:
        verbs.put_setting(client, SOURCE, value)
        return {**_read(client), "waiting": False}

    return JSONResponse(await done(app.desk.order(act)))


ROUTES = [
    Route("/setup", show),
    Route("/setup/settings", settings),
    Route("/setup/key", make_key, methods=["POST"]),
    Route("/setup/settings", put, methods=["POST"]),
    Route("/setup/source", put_source, methods=["POST"]),
]
