"""Page of the proof bench: plan of a test, then the live test. Air needs a hand on the bench's own control and this page's heartbeats."""

import asyncio
from dataclasses import replace
from typing import Any

from rimward_fw.bench import app as firmware
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward.base.errors import Refusal
from rimward.limits import energy
from rimward.limits.ceiling import Rim, Tyre
from rimward.limits.volume import volumes
from rimward.proof import bench, plan, reach
from rimward.proof.bounds import Ask
from rimward.sessions.report.archive import LARGEST_BYTES
from rimward.web import ask
from rimward.web.kept import files_of, finish, kept
from rimward.web.state import AppState, form_of, shop
from rimward.web.trial import Trial
from rimward.wheels import keys

ENDS = (
    ("release", "110 % for 5 minutes, then steps until the tyre blows off"),
    ("retention", "110 % for 5 minutes, no steps"),
)
OWN = (
    ("full", "whole, at the full rate"),
    ("thinned", "thinned where this computer has all of it: for long tests"),
)
KINDS = {
    "rws": "application/octet-stream",
    "bench": "application/octet-stream",
    "csv": "text/csv",
    "json": "application/json",
}
LITRES = (0.05, 60.0)


async def show(request: Request) -> Response:
    """Render the page."""
    rows = await asyncio.to_thread(kept, _running(shop(request)))
    media = (("water", "water, with the transfer bottle's air"), ("air", "air"))
    return shop(request).page(
        "bench.html",
        request,
        title="PROOF BENCH",
        kept=rows,
        ends=ENDS,
        own=OWN,
        media=media,
        cautions=plan.CAUTIONS,
    )


def _gauge_pa(app: AppState) -> int:
    """U of the connected bench's gauge, its guard band; the class bound while none is connected."""
    state = app.desk.state()
    known = state["about"] and state["about"]["bench"] and state["status"]
    return int(state["status"]["guard_pa"]) if known else firmware.BAND_PA


def _asked(form: Any, gauge_pa: int) -> tuple[bench.Test, dict[str, Any]]:
    """Test and plan for a gauge with this U. Refusal for an impossible one."""
    label = ask.text(form, "label", 60)
    rim = Rim.parse(ask.text(form, "rim"), ask.text(form, "rim_max"))
    tyre = Tyre.parse(ask.text(form, "tyre"), max_text=ask.text(form, "tyre_max"))
    if rim.max_pa is None or tyre.max_pa is None:
        raise Refusal("A maximum is missing.", "Give both with their units, as 5 bar or 72.5 psi.")
    if tyre.bead_seat_mm is None:
        raise Refusal(
            "The tyre's bead seat is not known, so neither is its volume.",
            "Write the size as 28-622.",
        )
    reach.check_pair(rim, tyre)
    medium = "air" if ask.text(form, "medium") == "air" else "water"
    volume_l = volumes(tyre.width_mm, tyre.bead_seat_mm, rim.inner_mm).high_l
    air_l = ask.number(form, "air_l", *LITRES, "Air behind the chuck, L")
    if medium == "air" and air_l is None:
        raise Refusal(
            "With air inside, the bench must know the tyre's volume.",
            "Give it as air behind the chuck, in litres.",
        )
    top = None if ask.text(form, "ends") == "retention" else ask.text(form, "top")
    test = replace(
        bench.test_of(label, rim, tyre, top, air_l, medium),
        gauge_pa=gauge_pa,
        thinned=ask.text(form, "own") == "thinned",
    )
    want = plan.Want(
        rim.max_pa, tyre.max_pa, air_l if medium == "air" and air_l else volume_l, rim.straight_side, medium=medium, release=test.top_pa is not None,
        step_pa=firmware.STEP_PA, step_hold_s=firmware.STEP_S, ramp_kpa_s=firmware.RAMP_PA_S / 1000, top_pa=test.top_pa,
        gauge_u_pa=gauge_pa,
    )  # fmt: skip
    return test, {
        **plan.plan(want),
        "test": test,
        "bottle": _bottle(test) if medium == "water" else [],
    }


def _bottle(test: bench.Test) -> list[energy.Method]:
    """Energy of the air above the water at the last level."""
    return list(energy.stored_energy(test.last_pa, test.air_ml / 1e6))


async def show_plan(request: Request) -> Response:
    """Render the plan of the form's values."""
    app, form = shop(request), await form_of(request)
    _test, made = await asyncio.to_thread(_asked, form, _gauge_pa(app))
    return JSONResponse({"html": app.piece("_plan.html", plan=made), "limit": made["limit_pa"]})


async def begin(request: Request) -> Response:
    """Send the test to the bench. From here on the page's heartbeats count; a person confirms there and holds the run control."""
    app, form = shop(request), await form_of(request)
    app.desk.hold.check(ask.text(form, "hold"))
    if ask.text(form, "read") != "yes":
        raise Refusal(
            "The plan is not confirmed as read.",
            "Read it, set up screen and protection, then tick the box.",
        )
    test, made = await asyncio.to_thread(_asked, form, _gauge_pa(app))
    about = app.desk.state()["about"]
    if not about or not about["bench"]:
        raise Refusal(
            "What is connected is no proof bench.",
            "Connect the bench; an ordinary inflator takes no test.",
        )
    ring = await asyncio.to_thread(keys.load, "bench")
    if not ring.keys:
        raise Refusal(
            "This computer has no bench key.",
            "Make one: rimward key new --purpose bench, then rimward key enrol --purpose bench.",
        )
    app.desk.lead(
        Trial(
            test, ring, app.desk.lease, app.desk.news, medium=made["medium"], who=app.desk.hold.who
        )
    )
    return JSONResponse({"label": test.label})


async def call_off(request: Request) -> Response:
    """End the heartbeats: off and vented when the lease runs out. Any page may do this without the hold."""
    trial = shop(request).desk.trial
    if trial is None or not trial.running:
        raise Refusal("No test is under way.", "There is nothing to call off.")
    trial.call_off()
    return JSONResponse({})


async def tests(request: Request) -> Response:
    """Render the stored tests."""
    app = shop(request)
    return JSONResponse(
        {"html": app.piece("_tests.html", kept=await asyncio.to_thread(kept, _running(app)))}
    )


def _running(app: AppState) -> str:
    """Name of the running test, empty without one: it is not listed yet."""
    return app.desk.trial.name if app.desk.trial is not None and app.desk.trial.running else ""


async def complete(request: Request) -> Response:
    """Pull the bench's record of an interrupted test and join it."""
    app, name = shop(request), request.path_params["name"]
    about = app.desk.state()["about"]
    if not about or not about["bench"]:
        raise Refusal("No proof bench is connected.", "Connect the one that ran the test.")
    ring = await asyncio.to_thread(keys.load, "bench")
    await asyncio.wrap_future(app.desk.order(lambda client: finish(name, client, ring)))
    return await tests(request)


async def file(request: Request) -> Response:
    """File of a stored test, always as a download."""
    name, form = request.path_params["name"], request.path_params["form"]
    if form not in KINDS:
        raise Refusal("There is no such file of a test.", f"It is given as {', '.join(KINDS)}.")
    path = files_of(name).get(form)
    if path is None:
        raise Refusal(
            "The bench's own record of this test has not been fetched.",
            "Connect the bench and fetch it.",
        )
    return _download(
        await asyncio.to_thread(path.read_bytes),
        KINDS[form],
        path.name if form != "json" else f"{name}.json",
    )


async def analysis(request: Request) -> Response:
    """Analysis of all stored tests: the report of `rimward proof analyse`."""
    return await asyncio.to_thread(_analysis, shop(request))


def _analysis(app: AppState) -> Response:
    try:
        from rimward.proof import analyse, reading, report
    except ImportError as missing:
        raise Refusal(
            f"The analysis needs {missing.name}.", "Install it with: pip install 'rimward[proof]'"
        ) from None
    named = [files_of(row["name"]) for row in kept(_running(app))]
    rows = [files["rws"] if "bench" in files else files["csv"] for files in named]
    if not rows:
        raise Refusal("No test is kept yet.", "Run one first.")
    samples = reading.read_files(rows, unverified=True)  # each states whether it is verified
    return _download(
        report.html(analyse.analyse(samples, Ask(), []), samples).encode(),
        "text/html",
        "proof-analysis.html",
    )


def _download(body: bytes, kind: str, name: str) -> Response:
    assert len(body) <= LARGEST_BYTES
    return Response(
        body, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'}
    )


ROUTES = [
    Route("/bench", show),
    Route("/bench/plan", show_plan, methods=["POST"]),
    Route("/bench/begin", begin, methods=["POST"]),
    Route("/bench/call-off", call_off, methods=["POST"]),
    Route("/bench/tests", tests),
    Route("/bench/analysis.html", analysis),
    Route("/bench/{name}/finish", complete, methods=["POST"]),
    Route("/bench/{name}/file.{form}", file),
]
