"""Record page: stored sessions by wheel and date, each with its trace, verification and files."""

import asyncio
import functools
import json
import re
import time
from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np
from starlette.datastructures import UploadFile
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward.base.errors import Refusal
from rimward.sessions.eventtext import event_text
from rimward.sessions.export import to_csv
from rimward.sessions.facts import TICK_S, reading_text, sections, when_text
from rimward.sessions.report.archive import LARGEST_BYTES, SUFFIX, Archive, Query, day_s
from rimward.sessions.report.build import Report, picture_says, report_of
from rimward.sessions.report.html import session_html
from rimward.sessions.report.losses import answer, interval_text, wheel_loss
from rimward.sessions.targets import target_at, targets_of
from rimward.sessions.verification import Verification, workshop_keys
from rimward.web import ask
from rimward.web.state import AppState, form_of, shop
from rimward.web.wheel_page import known_wheel, register
from rimward.web.wording import on_page

TRACE_MOST = 6_000
REPORTS_KEPT = 4
MOST_UNREAD = 20
DAY_S = 86_400
ZONE = re.compile("-?[0-9]{1,3}")


async def show(request: Request) -> Response:
    """Render the list for a search."""
    app, given = shop(request), request.query_params
    query = Query(
        *(given.get(name, "")[:80].strip() for name in ("find", "first", "last", "wheel", "cause"))
    )
    rows = await asyncio.to_thread(found, app.archive, query, zone_of(given.get("zone", "")))
    fills = [
        {
            **row,
            "when": when_text(row["unix_s"]),
            "tyre": reading_text(row["tyre_pa"], row["ceiling_pa"]),
        }
        for row in rows
    ]
    unread = (
        []
        if any((query.words, query.first, query.last, query.wheel_id, query.cause))
        else await asyncio.to_thread(_unread, app)
    )
    return app.page(
        "log.html",
        request,
        title="Record",
        fills=fills,
        q=query,
        causes=app.archive.causes(),
        unread=unread,
    )


def zone_of(text: str) -> int:
    """Minutes by which a browser's clock lies behind UTC (its own sign); 0 for an invalid value."""
    return int(text) if ZONE.fullmatch(text) else 0


def found(archive: Archive, query: Query, behind_min: int) -> list[dict[str, Any]]:
    """Return the matching rows; dates are days in the time zone of the browser."""
    first = day_s(query.first) + behind_min * 60 if query.first else 0
    last = day_s(query.last) + DAY_S + behind_min * 60 if query.last else None
    rows = archive.find(
        replace(query, first=_beside(query.first, -DAY_S), last=_beside(query.last, DAY_S))
    )  # which takes days of UTC
    return [
        row
        for row in rows
        if first <= (row["unix_s"] or row["added_s"])
        and (last is None or (row["unix_s"] or row["added_s"]) < last)
    ]


def _beside(day: str, seconds: int) -> str:
    return time.strftime("%Y-%m-%d", time.gmtime(day_s(day) + seconds)) if day else ""


def _unread(app: AppState) -> list[str]:
    """Names of stored files that are no longer, or never were, records."""
    found = []
    for path in sorted(app.archive.folder.glob(f"*{SUFFIX}")):
        try:
            app.archive.row(path.stem)
        except Refusal:
            found.append(path.stem[:60])
    return found[:MOST_UNREAD]


def checked(v: Verification) -> tuple[str, str]:
    """State of a record in a word: verified, damaged, from another key, decided differently, or missing parts."""
    rows = (
        (v.holds, "verified", "verified"),
        (not v.whole, "damaged", "damaged" if not v.damage else f"damaged: {v.damage}"),
        (v.known_key, "foreign", "another workshop's key: the demo's, which anyone has"),
        (v.chain is False, "foreign", "another workshop's key, or changed"),
        (v.same_kernels is False, "partly", "recorded by other kernels"),
        (v.replay_identical is False, "differs", "replay decides differently"),
        (not v.chained, "partly", "whole, not chained to a key"),
        (v.chain is None, "partly", "whole, no key here to check it with"),
        (
            v.same_kernels is None and bool(v.replay_ticks),
            "partly",
            "does not name the kernels that decided",
        ),
    )
    return next(
        ((kind, words) for holds, kind, words in rows if holds), ("partly", "whole, not replayed")
    )


async def check(request: Request) -> Response:
    """State of a record for the list."""
    app, name = shop(request), request.path_params["name"]
    try:
        report = await asyncio.to_thread(_report, app, name)
    except Refusal as refusal:
        return JSONResponse({"kind": "damaged", "words": f"damaged: {on_page(refusal.text)}"})
    kind, words = checked(report.facts.verification)
    return JSONResponse({"kind": kind, "words": words})


async def by_hand(request: Request) -> Response:
    """Store a person's answer whether air was added or released by hand before a fill."""
    app, form = shop(request), await form_of(request)
    return await asyncio.to_thread(
        _by_hand,
        app,
        request.path_params["name"],
        ask.text(form, "added") == "yes",
        ask.text(form, "who", 60),
    )


def _by_hand(app: AppState, name: str, added: bool, who: str) -> Response:
    row = app.archive.row(name)
    with register(app) as opened:
        wheel = known_wheel(opened, row["wheel_id"] or "")
        answer(opened, wheel, name, added, who)
    return JSONResponse(
        {
            "says": f"Kept: {'air was' if added else 'no air was'} added or let out by hand before this fill."
        }
    )


def _between(app: AppState, name: str, wheel_id: str | None) -> str:
    """Interval before a fill without a person's answer about air by hand; empty without one."""
    if not wheel_id:
        return ""
    with register(app) as opened:
        wheel = opened.by_id(wheel_id)
    one = (
        None
        if wheel is None
        else next(
            (
                i
                for i in wheel_loss(wheel, app.archive).intervals
                if i.found.name == name and i.added is None
            ),
            None,
        )
    )
    return interval_text(one) if one else ""


def _report(app: AppState, name: str) -> Report:
    return _of_bytes(
        app.archive.read(name),
        app.archive.row(name)["who"],
        (*workshop_keys(), *workshop_keys("bench")),
    )


@functools.lru_cache(REPORTS_KEPT)
def _of_bytes(data: bytes, who: str, _keys: tuple[bytes, ...]) -> Report:
    """Return the cached facts: a page, its trace and its files need the same replay, which depends only on bytes, person and keys."""
    return report_of(data, who)


async def one(request: Request) -> Response:
    """Render one fill: all its figures, its trace and its verification."""
    app, name = shop(request), request.path_params["name"]
    report = await asyncio.to_thread(_report, app, name)
    return app.page(
        "session.html", request, title=report.title, name=name, sections=sections(report.facts), says=picture_says(report.facts),
        between=await asyncio.to_thread(_between, app, name, report.facts.wheel_id), verified=report.facts.verification.holds, unix_s=report.facts.unix_s, wheel_id=report.facts.wheel_id, events=[(row["tick"], event_text(row)) for row in report.log.events], tick_s=TICK_S,
    )  # fmt: skip


async def trace(request: Request) -> Response:
    """Trace for the plot: pressures in bar by column."""
    app, name = shop(request), request.path_params["name"]
    return JSONResponse(await asyncio.to_thread(lambda: columns(_report(app, name))))


def columns(report: Report) -> dict[str, Any]:
    """At most TRACE_MOST samples, each the highest of its group, so that no peak is lost."""
    t = report.log.series()
    if not len(t):
        return {
            "t": [],
            "reading": [],
            "tyre": [],
            "air": [],
            "ceiling": 0,
            "stop": 0,
            "target": [],
        }
    higher = np.maximum(t["a_pa"], t["b_pa"]).astype(np.int64)
    step = -(-len(t) // TRACE_MOST)
    starts = np.arange(0, len(t), step)
    picks = np.array([s + int(np.argmax(higher[s : s + step])) for s in starts])
    seen = t["tyre_pa"][picks]
    f = report.facts
    return {
        "t": [round(float(tick - t["tick"][0]) * TICK_S, 3) for tick in t["tick"][picks]],
        "reading": [pa / 1e5 for pa in higher[picks].tolist()],
        "tyre": [pa / 1e5 if pa >= 0 else None for pa in seen.tolist()],
        "air": (t["out"][picks] & 1).tolist(),
        "ceiling": (f.ceiling_pa or 0) / 1e5,
        "stop": (f.stop_pa or 0) / 1e5,
        "target": [pa / 1e5 for pa in target_at(targets_of(report.log), t["tick"][picks]).tolist()],
    }


def _csv(report: Report) -> bytes:

    return to_csv(report.log, every_tick=True).encode()


def _json(report: Report) -> bytes:
    shown = {key: text for _heading, rows in sections(report.facts) for key, _name, text in rows}
    return json.dumps({**report.facts.to_json(), "shown": shown}, indent=2).encode()


def _html(report: Report) -> bytes:

    return session_html(report).encode()


def _pdf(report: Report) -> bytes:
    from rimward.sessions.report.pdf import session_pdf

    return session_pdf(report)


FILES: dict[str, tuple[Callable[[Report], bytes], str]] = {
    "rws": (lambda report: report.data, "application/octet-stream"),
    "csv": (_csv, "text/csv"),
    "json": (_json, "application/json"),
    "html": (_html, "text/html"),
    "pdf": (_pdf, "application/pdf"),
}


async def file(request: Request) -> Response:
    """File of a session: original, figures, or report. Always a download, never shown inside the application."""
    app, name, form = shop(request), request.path_params["name"], request.path_params["form"]
    if form not in FILES:
        raise Refusal("There is no such file of a session.", f"It is given as {', '.join(FILES)}.")
    make, kind = FILES[form]
    body = await asyncio.to_thread(lambda: make(_report(app, name)))
    return Response(
        body,
        media_type=kind,
        headers={"content-disposition": f'attachment; filename="{name}.{form}"'},
    )


async def upload(request: Request) -> Response:
    """Store an uploaded session file."""
    app, form = shop(request), await form_of(request)
    given = form.get("session")
    if not isinstance(given, UploadFile) or not given.filename:
        raise Refusal("No file was given.", "Choose a session file.")
    if (given.size or 0) > LARGEST_BYTES:
        raise Refusal(
            f"This file is larger than {LARGEST_BYTES // 1_000_000} MB.",
            "Give a session file made by an inflator.",
        )
    data = await given.read()
    try:
        name = await asyncio.to_thread(app.archive.add, data, ask.text(form, "who", 60))
    except Refusal as refusal:
        raise Refusal(refusal.text.replace("This file", given.filename[:60]), refusal.fix) from None
    return JSONResponse({"name": name, "address": f"/log/{name}"})


ROUTES = [
    Route("/log", show),
    Route("/log/upload", upload, methods=["POST"]),
    Route("/log/{name}", one),
    Route("/log/{name}/trace", trace),
    Route("/log/{name}/check", check),
    Route("/log/{name}/air-by-hand", by_hand, methods=["POST"]),
    Route("/log/{name}/file.{form}", file),
]
