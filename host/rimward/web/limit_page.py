"""Limit page: place and ride of a saved wheel, its ceiling with reasons, the person's target, profile and tag."""

import asyncio
import hashlib
import json
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward.base.errors import Refusal
from rimward.base.units import parse_pressure
from rimward.limits.ceiling import Assessment, Note, refused
from rimward.limits.ceiling.wording import CAUTION, arithmetic, chain
from rimward.paper import drawing
from rimward.sessions.report.losses import wheel_loss
from rimward.web import ask
from rimward.web.state import AppState, form_of, shop
from rimward.web.wheel_page import known_wheel, register
from rimward.wheels import keys, profiles
from rimward.wheels.register.fields import ENTERED
from rimward.wheels.register.issued import conditions_of
from rimward.wheels.tag import design
from rimward.wheels.tag.reading import STATES, changed_since, standing_of

MAY_BE_FILLED = "current"
TAG_FORMS = {"svg": (drawing.to_svg, "image/svg+xml"), "pdf": (drawing.to_pdf, "application/pdf")}


async def choose(request: Request) -> Response:
    """Render the wheels with links to their limits."""
    app = shop(request)
    return await asyncio.to_thread(_choose, app, request)


def _choose(app: AppState, request: Request) -> Response:
    with register(app) as opened:
        wheels = opened.all()
    return app.page("limits.html", request, title="Limit", wheels=wheels)


async def show(request: Request) -> Response:
    """Render the page of one saved wheel."""
    return await asyncio.to_thread(_show, shop(request), request)


def _show(app: AppState, request: Request) -> Response:
    with register(app) as opened:
        wheel = known_wheel(opened, request.path_params["wheel_id"])
    ring = keys.load()
    loss = wheel_loss(wheel, app.archive).lines
    return app.page(
        "limit.html", request, title=f"Limit of {wheel.label}", wheel=wheel, values=wheel.values, profile=newest_profile(wheel), seen=seen_of(wheel),
        has_key=bool(ring.keys), loss=loss, ride=ride_of(wheel),
    )  # fmt: skip


def ride_of(wheel: Any) -> dict[str, str]:
    """Altitude and ride of the newest profile as form fields; never another day's temperature, never a target."""
    planned = conditions_of(wheel.values.get("profile", {}))
    metres = {
        "fill_altitude": planned["fill_altitude_m"],
        "ride_altitude_max": planned["ride_altitude_max_m"],
    }
    kelvins = {
        "ride_temp_max": planned["ride_temp_max_ck"],
        "ride_temp_min": planned["ride_temp_min_ck"],
    }
    found = {name: f"{value:g}" for name, value in metres.items() if value is not None}
    return found | {
        name: f"{(value - 27315) / 100:g}" for name, value in kelvins.items() if value is not None
    }


def seen_of(wheel: Any) -> str:
    """Fingerprint of a wheel's entries when a page was made: after a change a profile is refused."""
    entered = {name: wheel.values[name] for name in ENTERED if name in wheel.values}
    return hashlib.sha256(
        json.dumps([entered, wheel.retired], sort_keys=True, default=str).encode()
    ).hexdigest()[:16]


def newest_profile(wheel: Any) -> dict[str, Any] | None:
    """Newest profile of a wheel, and whether it is still valid."""
    if wheel is None or "profile" not in wheel.values:
        return None
    row = wheel.values["profile"]
    state = standing_of(wheel, bytes.fromhex(row["data"]), row["revision"])
    return {
        **row,
        "state": state,
        "says": " ".join(STATES[state]).strip(),
        "current": state == MAY_BE_FILLED,
    }


async def assess(request: Request) -> Response:
    """Render the ceiling of the saved wheel for the stated fill and ride, with errors at their fields."""
    app, form = shop(request), await form_of(request)
    return await asyncio.to_thread(_assess, app, form, request.path_params["wheel_id"])


def _assess(app: AppState, form: Any, wheel_id: str) -> Response:
    with register(app) as opened:
        wheel = known_wheel(opened, wheel_id)
    errors = ask.condition_errors(form)
    found = saved_assessment(app, form, wheel)
    target = _target(form, found, errors)
    piece = app.piece(
        "_ceiling.html",
        found=found,
        chain=chain(found),
        sum=arithmetic(found),
        caution=CAUTION,
        target=target,
    )
    ready = found.ceiling_pa is not None and not errors and bool(ask.text(form, "target"))
    return JSONResponse({"html": piece, "errors": errors, "ready": ready})


def _target(form: Any, found: Assessment, errors: dict[str, str]) -> str:
    """Text about the stated target; a refused target is an error of its field."""
    if found.ceiling_pa is None or not ask.text(form, "target"):
        return ""
    try:
        pa = parse_pressure(ask.text(form, "target"))
        profiles.check_target(pa, found)
    except Refusal as refusal:
        errors["target"] = str(refusal)
        return ""
    return " ".join(
        note.text for note in profiles.cautions(pa, found) if note.id == "target-below-tyre-minimum"
    )


def saved_assessment(app: AppState, form: Any, wheel: Any) -> Assessment:
    """Ceiling of the register's entries, never of rim and tyre in a form."""
    entered = {
        name: str(wheel.values[name]) for name in ENTERED if isinstance(wheel.values.get(name), str)
    }
    conditions = {name: form.get(name, "") for name in ask.NAMES}
    if wheel.retired:
        return refused(
            [
                Note(
                    "retired",
                    f"{wheel.label} is retired. Bring it back on the Wheel page first if it is in use.",
                )
            ]
        )
    return ask.assessment({**entered, **conditions}, ask.inflator_of(app.desk.state()))


async def issue(request: Request) -> Response:
    """Make the next profile of a saved wheel for the person's target."""
    app, form = shop(request), await form_of(request)
    return await asyncio.to_thread(_issue, app, form, request.path_params["wheel_id"])


def _issue(app: AppState, form: Any, wheel_id: str) -> Response:
    if not ask.text(form, "target"):
        raise ask.AtFields(
            {"target": "No target is given. Choose one at or below the ceiling; none is suggested."}
        )
    place, ride = ask.conditions(form)
    asked = profiles.Asked(
        parse_pressure(ask.text(form, "target")), place, ride, ask.inflator_of(app.desk.state())
    )
    with register(app) as opened:
        wheel = known_wheel(opened, wheel_id)
        if ask.text(form, "seen") != seen_of(wheel):
            raise Refusal(
                "This wheel was changed in the register after this page was loaded.",
                "Load the page again and read its ceiling.",
            )
        notes = profiles.cautions(asked.target_pa, profiles.assess_wheel(wheel.values, asked))
        if not keys.load().keys:
            keys.new()
        profiles.issue(opened, wheel, asked, keys.load(), ask.text(form, "who", 60))
        wheel = known_wheel(opened, wheel_id)
    piece = app.piece("_profile.html", profile=newest_profile(wheel), wheel=wheel, notes=notes)
    return JSONResponse({"html": piece, "revision": wheel.values["profile"]["revision"]})


async def tag(request: Request) -> Response:
    """Tag of the newest profile. Refused when that is no longer valid."""
    app, form = shop(request), request.path_params["form"]
    if form not in TAG_FORMS:
        raise Refusal("Tags are made as svg or pdf.", "Choose one of these.")
    with register(app) as opened:
        wheel = known_wheel(opened, request.path_params["wheel_id"])
    data = current(wheel)
    draw, kind = TAG_FORMS[form]
    name = f"tag-r{wheel.values['profile']['revision']}.{form}"
    body = await asyncio.to_thread(lambda: draw(design.wheel_tag(data)))
    return Response(
        body, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'}
    )


def current(wheel: Any) -> bytes:
    """Bytes of the newest profile. Refusal without one or when it is no longer valid."""
    if "profile" not in wheel.values:
        raise Refusal(f"{wheel.label} has no profile yet.", "Make one on its Limit page.")
    row = wheel.values["profile"]
    data = bytes.fromhex(row["data"])
    state = standing_of(wheel, data, row["revision"])
    if state != MAY_BE_FILLED or changed_since(wheel):
        raise Refusal(
            f"The newest profile of {wheel.label} does not count any more. {' '.join(STATES[state]).strip()}",
            "Make a new one on its Limit page.",
        )
    return data


ROUTES = [
    Route("/limit", choose),
    Route("/limit/{wheel_id}", show),
    Route("/limit/{wheel_id}/assess", assess, methods=["POST"]),
    Route("/wheel/{wheel_id}/profile", issue, methods=["POST"]),
    Route("/wheel/{wheel_id}/tag.{form}", tag),
]
