"""Ride page: route and temperatures as a curve against the limit, and the effect of a gas cartridge. It never suggests a pressure."""

import asyncio
import tempfile
from pathlib import Path
from typing import Any

from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import HTMLResponse, JSONResponse, Response
from starlette.routing import Route

from rimward.base.atmosphere import HIGHEST_M
from rimward.base.conditions import parse_celsius
from rimward.base.errors import Refusal
from rimward.base.units import (
    celsius,
    exceeds,
    parse_pressure,
    show_limit,
    show_minimum,
    show_reading,
)
from rimward.limits.cartridge.verdict import assess_cartridge, sentences
from rimward.limits.ceiling import Assessment, Note, Place, Ride, Rim, Tyre
from rimward.limits.ceiling.wording import CAUTION, arithmetic, chain
from rimward.limits.ride.readings import reading
from rimward.limits.ride.route import highest_point_m
from rimward.web import ask
from rimward.web.state import AppState, form_of, shop
from rimward.web.wheel_page import CHOICES, register
from rimward.wheels.register.fields import ENTERED

POINTS = 400
HEAD = 10  # lines of the verdict begin with a heading of this width


async def show(request: Request) -> Response:
    """Render the page; with a wheel, its values."""
    app, wheel_id = shop(request), request.query_params.get("wheel", "")[:16]
    wheels, wheel = await asyncio.to_thread(_wheels, app, wheel_id)
    values = {name: wheel.values[name] for name in ENTERED if name in wheel.values} if wheel else {}
    return app.page(
        "ride.html",
        request,
        title="Ride",
        wheels=wheels,
        wheel=wheel,
        values=values,
        choices=CHOICES,
    )


def _wheels(app: AppState, wheel_id: str) -> tuple[list[Any], Any]:
    with register(app) as opened:
        wheels = opened.all()
    return wheels, next((w for w in wheels if w.wheel_id == wheel_id), None)


async def curve(request: Request) -> Response:
    """Render the ceiling for this ride, and the curve of a fill along it."""
    app, form = shop(request), await form_of(request)
    upload = form.get("route")
    raw = await upload.read() if isinstance(upload, UploadFile) and upload.filename else b""
    return await asyncio.to_thread(_curve, app, form, raw)


def _curve(app: AppState, form: Any, raw: bytes) -> Response:
    top, track = route_of(raw) if raw else (None, [])
    found = ask.assessment(form, ask.inflator_of(app.desk.state()), top)
    drawn, missing = None, []
    if found.ceiling_pa is not None:
        place, ride = ask.conditions(form, top)
        missing = unstated(place, ride)
        if not missing:
            stated = (
                parse_pressure(ask.text(form, "fill"), up=True) if ask.text(form, "fill") else None
            )
            drawn = claim(found, place, ride, track, stated)
    piece = app.piece(
        "_ride.html",
        found=found,
        chain=chain(found),
        sum=arithmetic(found),
        caution=CAUTION,
        drawn=drawn,
        missing=missing,
        top=top,
        target="",
    )
    return JSONResponse({"html": piece, "curve": drawn})


def unstated(place: Place, ride: Ride) -> list[str]:
    """Values that have to be stated before the page assesses a fill on the ride."""
    missing = [] if place.temp_ck is not None else ["the temperature where you fill"]
    return missing + (
        ["the ride's highest point, its hottest or its coldest"] if ride.empty else []
    )


def claim(
    found: Assessment,
    place: Place,
    ride: Ride,
    track: list[tuple[float, float]],
    stated_pa: int | None,
) -> dict[str, Any]:
    """Curve of a fill (the stated one, else one to the ceiling) and its verdict: `sign` is over, within, or open where the ride is stated
    in
    part only.
    """
    assert found.ceiling_pa is not None and found.limit_pa is not None
    fill_pa = found.ceiling_pa if stated_pa is None else stated_pa
    drawn = drawing(fill_pa, place, ride, track)
    highest, lowest = drawn.pop("highest_pa"), drawn.pop("lowest_pa")
    over = exceeds(highest, found.limit_pa)
    whole = ride.altitude_max_m is not None and ride.temp_max_ck is not None
    minimum, soft = found.window.min_pa, ""
    if minimum is not None and lowest is not None and exceeds(minimum, lowest):
        soft = f"{show_limit(max(0, int(lowest // 1)))} at {drawn['cold_c']}, below the tyre's printed minimum {show_minimum(minimum)}"
    return drawn | {
        "limit": found.limit_pa / 1e5,
        "what": "a fill to the ceiling" if stated_pa is None else "the fill you stated",
        "fill": show_limit(fill_pa)
        if stated_pa is None
        else show_reading(fill_pa, found.ceiling_pa),
        "over": over,
        "sign": "over" if over else "within" if whole else "open",
        "highest": show_reading(highest, found.limit_pa),
        "soft": soft,
    }


def route_of(raw: bytes) -> tuple[float, list[tuple[float, float]]]:
    """Return (highest point with its margin, metres; (kilometres, metres) along the route, thinned but with its highest point)."""
    import gpxpy

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "route.gpx"
        path.write_bytes(raw)
        top = highest_point_m(path)  # bounds and checks the file before any other reader
    parsed = gpxpy.parse(raw.removeprefix(b"\xef\xbb\xbf").decode("utf-8"))
    points: list[Any] = [
        p for track in parsed.tracks for segment in track.segments for p in segment.points
    ] or [p for route in parsed.routes for p in route.points]
    track, metres, before = [], 0.0, None
    for point in points:
        metres += (before.distance_2d(point) or 0.0) if before is not None else 0.0
        track.append((metres / 1000, float(point.elevation)))
        before = point
    step = -(-len(track) // POINTS)
    picked = set(range(0, len(track), step)) | {
        len(track) - 1,
        max(range(len(track)), key=lambda i: track[i][1]),
    }
    return top, [track[i] for i in sorted(picked)]


def drawing(
    fill_pa: int, place: Place, ride: Ride, track: list[tuple[float, float]]
) -> dict[str, Any]:
    """Curve: along the route where there is one, else from the fill's altitude to the highest of the ride. The fill's temperature is
    stated.
    """
    assert place.temp_ck is not None
    hot = celsius(max(place.temp_ck, ride.temp_max_ck or 0))
    cold = celsius(
        min(place.temp_ck, ride.temp_min_ck if ride.temp_min_ck is not None else place.temp_ck)
    )
    top = ride.altitude_max_m if ride.altitude_max_m is not None else place.altitude_m
    if track:
        x, altitudes, along = [km for km, _m in track], [m for _km, m in track], "kilometres"
    else:
        high = max(top, min(place.altitude_m + 1, HIGHEST_M))
        x = altitudes = [
            place.altitude_m + (high - place.altitude_m) * i / 60 for i in range(60)
        ] + [high]
        along = "metres above the sea"
    return {
        "x": [round(v, 3) for v in x],
        "along": along,
        "altitude": [round(m, 1) for m in altitudes],
        "cold": [reading(fill_pa, place, m, cold) / 1e5 for m in altitudes],
        "hot": [reading(fill_pa, place, m, hot) / 1e5 for m in altitudes],
        "cold_c": f"{cold:.0f} °C",
        "hot_c": f"{hot:.0f} °C",
        "highest_pa": max(
            reading(fill_pa, place, m, hot) for m in (place.altitude_m, max(top, place.altitude_m))
        ),
        "lowest_pa": None
        if ride.temp_min_ck is None
        else reading(fill_pa, place, place.altitude_m, cold),
        "top_m": round(max(top, place.altitude_m)),
    }


async def cartridge(request: Request) -> Response:
    """Render the pressure from a gas cartridge in this tyre."""

    app, form = shop(request), await form_of(request)
    notes: list[Note] = []
    rim: Rim | None = None
    tyre: Tyre | None = None
    given: dict[str, float | None] = {}
    try:
        rim, tyre = ask.pair(form)
        given["grams"] = ask.number(form, "grams", 1, 1000, "Gas in one cartridge")
        given["count"] = ask.whole(form, "count", 1, 50, "Cartridges")
        given["temp"] = ask.number(
            form, "settle_temp", *ask.TEMP_C, "Where it settles", parse_celsius
        )
        place, ride = ask.conditions(form)
        if given["grams"] is None:
            raise Refusal("No gas is given.", "Read the grams on the cartridge.")
    except Refusal as refusal:
        piece = app.piece(
            "_cartridge.html", verdict=None, lines=[], refusal=str(refusal), caution=CAUTION
        )
        return HTMLResponse(piece)
    start = "flat-tube" if ask.text(form, "start") == "flat-tube" else "seated"
    verdict = assess_cartridge(
        (given["grams"] or 0.0) * int(given["count"] or 1), rim, tyre, notes, start=start, temp_c=20.0 if given["temp"] is None else given["temp"],
        altitude_m=place.altitude_m, ride=ride,
    )  # fmt: skip
    lines = [
        (line[:HEAD].strip(), line[HEAD:].strip())
        if line[:3] != "OVE" and line[:6] != "within"
        else ("", line)
        for line in sentences(verdict)
    ]
    return HTMLResponse(
        app.piece("_cartridge.html", verdict=verdict, lines=lines, refusal="", caution=CAUTION)
    )


ROUTES = [
    Route("/ride", show),
    Route("/ride/curve", curve, methods=["POST"]),
    Route("/ride/cartridge", cartridge, methods=["POST"]),
]
