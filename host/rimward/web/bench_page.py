"""The proof bench's page: the plan of a test, then the test live. The air needs a hand on the bench's own control and this page's beats."""

import asyncio
from typing import Any

from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward import energy, keys
from rimward.ceiling import Rim, Tyre
from rimward.errors import Refusal
from rimward.proof import bench, plan, reach
from rimward.report.archive import LARGEST_BYTES
from rimward.volume import volumes
from rimward.web import ask
from rimward.web.app import Shop, form_of, shop
from rimward.web.kept import files_of, finish, kept
from rimward.web.trial import Trial

ENDS = (("release", "110 % for 5 minutes, then steps until it lets go"), ("retention", "110 % for 5 minutes, no steps"))
KINDS = {"rws": "application/octet-stream", "bench": "application/octet-stream", "csv": "text/csv", "json": "application/json"}
LITRES = (0.05, 60.0)


async def show(request: Request) -> Response:
    """The page."""
    rows = await asyncio.to_thread(kept, _running(shop(request)))
    media = (("water", "water, with the transfer bottle's air"), ("air", "air"))
    return shop(request).page("bench.html", request, title="PROOF BENCH", kept=rows, ends=ENDS, media=media, cautions=plan.CAUTIONS)


def _asked(form: Any) -> tuple[bench.Test, dict[str, Any]]:
    """The test and its plan. Refusal for what is none."""
    label = ask.text(form, "label", 60)
    rim = Rim.parse(ask.text(form, "rim"), ask.text(form, "rim_max"))
    tyre = Tyre.parse(ask.text(form, "tyre"), max_text=ask.text(form, "tyre_max"))
    if rim.max_pa is None or tyre.max_pa is None:
        raise Refusal("A maximum is missing.", "Give both with their units, as 5 bar or 72.5 psi.")
    if tyre.bead_seat_mm is None:
        raise Refusal("The tyre's bead seat is not known, so neither is its volume.", "Write the size as 28-622.")
    reach.check_pair(rim, tyre)
    medium = "air" if ask.text(form, "medium") == "air" else "water"
    volume_l = volumes(tyre.width_mm, tyre.bead_seat_mm, rim.inner_mm).high_l
    air_l = ask.number(form, "air_l", *LITRES, "Air behind the chuck, L")
    if medium == "air" and air_l is None:
        raise Refusal("With air inside, the bench must know the tyre's volume.", "Give it as air behind the chuck, in litres.")
    top = None if ask.text(form, "ends") == "retention" else ask.text(form, "top")
    test = bench.test_of(label, rim, tyre, top, air_l, medium)
    from rimward_fw.bench import app as firmware

    want = plan.Want(
        rim.max_pa, tyre.max_pa, air_l if medium == "air" and air_l else volume_l, rim.straight_side, medium=medium, release=test.top_pa is not None,
        step_pa=firmware.STEP_PA, step_hold_s=firmware.STEP_S, ramp_kpa_s=firmware.RAMP_PA_S / 1000, top_pa=test.top_pa,
    )  # fmt: skip
    return test, {**plan.plan(want), "test": test, "bottle": _bottle(test) if medium == "water" else []}


def _bottle(test: bench.Test) -> list[energy.Method]:
    """What the air above the water stores at the last level."""
    return list(energy.stored_energy(test.last_pa, test.air_ml / 1e6))


async def show_plan(request: Request) -> Response:
    """The plan of what the form says, as a piece of the page."""
    held, form = shop(request), await form_of(request)
    _test, made = await asyncio.to_thread(_asked, form)
    return JSONResponse({"html": held.piece("_plan.html", plan=made), "limit": made["limit_pa"]})


async def begin(request: Request) -> Response:
    """Sends the test to the bench. From here on the page's beats count; a person confirms there and holds the run control."""
    held, form = shop(request), await form_of(request)
    held.desk.hold.check(ask.text(form, "hold"))
    if ask.text(form, "read") != "yes":
        raise Refusal("The plan is not confirmed as read.", "Read it, set up screen and protection, then tick the box.")
    test, made = await asyncio.to_thread(_asked, form)
    about = held.desk.state()["about"]
    if not about or not about["bench"]:
        raise Refusal("What is connected is no proof bench.", "Connect the bench; an ordinary inflator takes no test.")
    ring = await asyncio.to_thread(keys.load, "bench")
    if not ring.keys:
        raise Refusal("This computer has no bench key.", "Make one: rimward key new --purpose bench, then rimward key enrol --purpose bench.")
    held.desk.lead(Trial(test, ring, held.desk.lease, held.desk.news, medium=made["medium"], who=held.desk.hold.who))
    return JSONResponse({"label": test.label})


async def call_off(request: Request) -> Response:
    """Ends the beats: off and vented when the lease runs out. Any page may; it needs no hold."""
    trial = shop(request).desk.trial
    if trial is None or not trial.running:
        raise Refusal("No test is under way.", "There is nothing to call off.")
    trial.call_off()
    return JSONResponse({})


async def tests(request: Request) -> Response:
    """The kept tests, as a piece of the page."""
    held = shop(request)
    return JSONResponse({"html": held.piece("_tests.html", kept=await asyncio.to_thread(kept, _running(held)))})


def _running(held: Shop) -> str:
    """The name of the test under way, empty without one: it is not listed yet."""
    return held.desk.trial.name if held.desk.trial is not None and held.desk.trial.running else ""


async def complete(request: Request) -> Response:
    """Fetches the bench's record of a test that was interrupted, and joins it."""
    held, name = shop(request), request.path_params["name"]
    about = held.desk.state()["about"]
    if not about or not about["bench"]:
        raise Refusal("No proof bench is connected.", "Connect the one that ran the test.")
    ring = await asyncio.to_thread(keys.load, "bench")
    await asyncio.wrap_future(held.desk.order(lambda client: finish(name, client, ring)))
    return await tests(request)


async def file(request: Request) -> Response:
    """A file of a kept test, always as a download."""
    name, form = request.path_params["name"], request.path_params["form"]
    if form not in KINDS:
        raise Refusal("There is no such file of a test.", f"It is given as {', '.join(KINDS)}.")
    path = files_of(name).get(form)
    if path is None:
        raise Refusal("The bench's own record of this test has not been fetched.", "Connect the bench and fetch it.")
    return _download(await asyncio.to_thread(path.read_bytes), KINDS[form], path.name if form != "json" else f"{name}.json")


async def analysis(request: Request) -> Response:
    """What all kept tests show together: the report that `rimward proof analyse` writes."""
    return await asyncio.to_thread(_analysis, shop(request))


def _analysis(held: Shop) -> Response:
    try:
        from rimward.proof import analyse, load, report
        from rimward.proof.bounds import Ask
    except ImportError as missing:
        raise Refusal(f"The analysis needs {missing.name}.", "Install it with: pip install 'rimward[proof]'") from None
    named = [files_of(row["name"]) for row in kept(_running(held))]
    rows = [files["rws"] if "bench" in files else files["csv"] for files in named]
    if not rows:
        raise Refusal("No test is kept yet.", "Run one first.")
    samples = load.read_files(rows, unverified=True)  # each says whether it is verified
    return _download(report.html(analyse.analyse(samples, Ask(), []), samples).encode(), "text/html", "proof-analysis.html")


def _download(body: bytes, kind: str, name: str) -> Response:
    assert len(body) <= LARGEST_BYTES
    return Response(body, media_type=kind, headers={"content-disposition": f'attachment; filename="{name}"'})


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
