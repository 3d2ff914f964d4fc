"""The limit page: where a saved wheel is filled and ridden, its ceiling with its reasons, the target a person chooses, profile and tag."""

import asyncio
import hashlib
import json
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward import keys, profiles
from rimward.ceiling import Assessment, Note, refused
from rimward.ceiling.wording import CAUTION, arithmetic, chain
from rimward.errors import Refusal
from rimward.register.fields import ENTERED
from rimward.report.losses import wheel_loss
from rimward.tag import design, drawing
from rimward.tag.reading import STATES, changed_since, standing_of
from rimward.units import parse_pressure
from rimward.web import ask
from rimward.web.app import Shop, form_of, shop
from rimward.web.wheel_page import known_wheel, register

MAY_BE_FILLED = "current"
TAG_FORMS = {"svg": (drawing.to_svg, "image/svg+xml"), "pdf": (drawing.to_pdf, "application/pdf")}


async def choose(request: Request) -> Response:
    """The wheels, each with its way to its limit."""
    held = shop(request)
    return await asyncio.to_thread(_choose, held, request)


def _choose(held: Shop, request: Request) -> Response:
    with register(held) as opened:
        wheels = opened.all()
    return held.page("limits.html", request, title="Limit", wheels=wheels)


async def show(request: Request) -> Response:
    """The page of one saved wheel."""
    return await asyncio.to_thread(_show, shop(request), request)


def _show(held: Shop, request: Request) -> Response:
    with register(held) as opened:
        wheel = known_wheel(opened, request.path_params["wheel_id"])
    ring = keys.load()
    loss = wheel_loss(wheel, held.archive).lines
    return held.page(
        "limit.html", request, title=f"Limit of {wheel.label}", wheel=wheel, values=wheel.values, profile=newest_profile(wheel), seen=seen_of(wheel),
        has_key=bool(ring.keys), loss=loss,
    )  # fmt: skip


def seen_of(wheel: Any) -> str:
    """Names what the register held of a wheel when a page was made: a profile is refused once that has changed."""
    entered = {name: wheel.values[name] for name in ENTERED if name in wheel.values}
    return hashlib.sha256(json.dumps([entered, wheel.retired], sort_keys=True, default=str).encode()).hexdigest()[:16]


def newest_profile(wheel: Any) -> dict[str, Any] | None:
    """The newest profile of a wheel, and whether it still counts."""
    if wheel is None or "profile" not in wheel.values:
        return None
    row = wheel.values["profile"]
    state = standing_of(wheel, bytes.fromhex(row["data"]), row["revision"])
    return {**row, "state": state, "says": " ".join(STATES[state]).strip(), "current": state == MAY_BE_FILLED}


async def assess(request: Request) -> Response:
    """The ceiling of the saved wheel for the stated fill and ride, as a piece of the page; what is wrong at which field."""
    held, form = shop(request), await form_of(request)
    return await asyncio.to_thread(_assess, held, form, request.path_params["wheel_id"])


def _assess(held: Shop, form: Any, wheel_id: str) -> Response:
    with register(held) as opened:
        wheel = known_wheel(opened, wheel_id)
    errors = ask.condition_errors(form)
    found = saved_assessment(held, form, wheel)
    target = _target(form, found, errors)
    piece = held.piece("_ceiling.html", found=found, chain=chain(found), sum=arithmetic(found), caution=CAUTION, target=target)
    ready = found.ceiling_pa is not None and not errors and bool(ask.text(form, "target"))
    return JSONResponse({"html": piece, "errors": errors, "ready": ready})


def _target(form: Any, found: Assessment, errors: dict[str, str]) -> str:
    """What is said of the stated target; a target that is refused is an error of its field."""
    if found.ceiling_pa is None or not ask.text(form, "target"):
        return ""
    try:
        pa = parse_pressure(ask.text(form, "target"))
        profiles.check_target(pa, found)
    except Refusal as refusal:
        errors["target"] = str(refusal)
        return ""
    return " ".join(note.text for note in profiles.cautions(pa, found) if note.id == "target-below-tyre-minimum")


def saved_assessment(held: Shop, form: Any, wheel: Any) -> Assessment:
    """The ceiling of what the register holds; never of what a form says of rim and tyre."""
    entered = {name: str(wheel.values[name]) for name in ENTERED if isinstance(wheel.values.get(name), str)}
    conditions = {name: form.get(name, "") for name in ask.NAMES}
    if wheel.retired:
        return refused([Note("retired", f"{wheel.label} is retired. Bring it back on the Wheel page first if it is in use.")])
    return ask.assessment({**entered, **conditions}, ask.inflator_of(held.desk.state()))


async def issue(request: Request) -> Response:
    """Makes the next profile of a saved wheel, for a target that the person chose."""
    held, form = shop(request), await form_of(request)
    return await asyncio.to_thread(_issue, held, form, request.path_params["wheel_id"])


def _issue(held: Shop, form: Any, wheel_id: str) -> Response:
    if not ask.text(form, "target"):
        raise ask.AtFields({"target": "No target is given. Choose one at or below the ceiling; none is suggested."})
    place, ride = ask.conditions(form)
    asked = profiles.Asked(parse_pressure(ask.text(form, "target")), place, ride, ask.inflator_of(held.desk.state()))
    with register(held) as opened:
        wheel = known_wheel(opened, wheel_id)
        if ask.text(form, "seen") != seen_of(wheel):
            raise Refusal("This wheel was changed in the register after this page was loaded.", "Load the page again and read its ceiling.")
        notes = profiles.cautions(asked.target_pa, profiles.assess_wheel(wheel.values, asked))
        if not keys.load().keys:
            keys.new()
        profiles.issue(opened, wheel, asked, keys.load(), ask.text(form, "who", 60))
        wheel = known_wheel(opened, wheel_id)
    piece = held.piece("_profile.html", profile=newest_profile(wheel), wheel=wheel, notes=notes)
    return JSONResponse({"html": piece, "revision": wheel.values["profile"]["revision"]})


async def tag(request: Request) -> Response:
    """The tag of the newest profile; refused when that no longer counts."""
    held, form = shop(request), request.path_params["form"]
    if form not in TAG_FORMS:
        raise Refusal("Tags are made as svg or pdf.", "Choose one of these.")
    with register(held) as opened:
        wheel = known_wheel(opened, request.path_params["wheel_id"])
    data = current(wheel)
    draw, kind = TAG_FORMS[form]
    name = f"tag-r{wheel.values['profile']['revision']}.{form}"
    body = await asyncio.to_thread(lambda: draw(design.wheel_tag(data)))
    return Response(body, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


def current(wheel: Any) -> bytes:
    """The newest profile's bytes. Refusal when there is none or it no longer counts."""
    if "profile" not in wheel.values:
        raise Refusal(f"{wheel.label} has no profile yet.", "Make one on its Limit page.")
    row = wheel.values["profile"]
    data = bytes.fromhex(row["data"])
    state = standing_of(wheel, data, row["revision"])
    if state != MAY_BE_FILLED or changed_since(wheel):
        raise Refusal(f"The newest profile of {wheel.label} does not count any more. {' '.join(STATES[state]).strip()}", "Make a new one on its Limit page.")
    return data


ROUTES = [
    Route("/limit", choose),
    Route("/limit/{wheel_id}", show),
    Route("/limit/{wheel_id}/assess", assess, methods=["POST"]),
    Route("/wheel/{wheel_id}/profile", issue, methods=["POST"]),
    Route("/wheel/{wheel_id}/tag.{form}", tag),
]
