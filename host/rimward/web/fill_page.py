"""Fill page: select wheel and inflator, then watch. No page can start the air: only the run control on the inflator can."""

import asyncio
from concurrent.futures import Future
from typing import Any, TypeVar

from rimward_protocol import codes
from starlette.requests import Request
from starlette.responses import JSONResponse, Response
from starlette.routing import Route

from rimward.base.errors import Refusal
from rimward.device.link import ports, verbs
from rimward.formats.records import unpack_profile
from rimward.web import ask
from rimward.web.desk import ORDER_S
from rimward.web.limit_page import current
from rimward.web.state import AppState, form_of, shop
from rimward.web.wheel_page import register
from rimward.wheels import keys, profiles

T = TypeVar("T")


async def show(request: Request) -> Response:
    """Render the page with the wheels that have a profile."""
    app = shop(request)
    wheels = await asyncio.to_thread(_wheels, app)
    return app.page(
        "fill.html",
        request,
        title="Fill",
        wheels=wheels,
        chosen=request.query_params.get("wheel", "")[:16],
    )


def _wheels(app: AppState) -> list[dict[str, Any]]:
    with register(app) as opened:
        found = [w for w in opened.all() if "profile" in w.values]
    return [
        {
            "wheel_id": w.wheel_id,
            "label": w.label,
            "position": w.values.get("position", "any"),
            **_limits(w),
        }
        for w in found
    ]


def _limits(wheel: Any) -> dict[str, int]:
    return {name: wheel.values["profile"][name] for name in ("ceiling_pa", "target_pa", "revision")}


async def done(future: "Future[T]") -> T:
    """Return the result of an order. Refusal where the inflator did not finish in time."""
    try:
        return await asyncio.wait_for(asyncio.wrap_future(future), ORDER_S)
    except asyncio.TimeoutError:
        raise Refusal(
            "The inflator did not do it in time.", "Check the cable, then try again."
        ) from None


async def look(request: Request) -> Response:
    """Return the connected inflators. The one in use is not queried: its line is taken."""

    app = shop(request)
    using = app.desk.state()
    rows = await asyncio.to_thread(
        lambda: [row for row in ports.inflators() if row["port"] != using["port"]]
    )
    if using["line"] == "on" and using["about"]:
        rows.insert(0, using["about"])
    return JSONResponse({"inflators": rows, "asked": len(ports.candidates())})


async def use(request: Request) -> Response:
    """Switch to the inflator on another port."""
    app, form = shop(request), await form_of(request)
    if app.desk.hold.held:
        app.desk.hold.check(ask.text(form, "hold"))
    port = ask.text(form, "port")

    if port not in ports.candidates():
        raise Refusal("There is no such port here.", "Look for inflators again.")
    app.desk.use(port)
    return JSONResponse({"port": port})


async def take(request: Request) -> Response:
    """Take the hold for one page."""
    app, form = shop(request), await form_of(request)
    page = ask.text(form, "page", 40)
    if not page:
        raise Refusal("The page has no live line.", "Load it again.")
    token = app.desk.hold.take(page, ask.text(form, "who", 60))
    app.desk.touch()
    return JSONResponse({"hold": token})


async def give(request: Request) -> Response:
    """Release the hold."""
    app, form = shop(request), await form_of(request)
    app.desk.hold.give(ask.text(form, "hold"))
    app.desk.touch()
    return JSONResponse({})


async def send(request: Request) -> Response:
    """Send a wheel's newest profile to the inflator and select it there. The person confirms at the inflator."""
    app, form = shop(request), await form_of(request)
    app.desk.hold.check(ask.text(form, "hold"))
    wheel_id = ask.text(form, "wheel_id", 16)
    with register(app) as opened:
        wheel = opened.by_id(wheel_id)
    if wheel is None:
        raise Refusal("This wheel is not in the register.", "Choose one from the list.")
    data = current(wheel)
    target, guard = wheel.values["profile"]["target_pa"], ask.inflator_of(app.desk.state())
    if guard is not None and target > wheel.values["profile"]["ceiling_pa"] - guard.guard_pa:
        stop = wheel.values["profile"]["ceiling_pa"] - guard.guard_pa
        text = f"The target of {profiles.above(target, stop)} is above where this inflator stops."
        raise Refusal(text, "Make a profile with a lower target, or have the inflator calibrated.")

    def act(client: Any) -> dict[str, Any]:
        answer = verbs.send_profile(client, data)
        answer["waiting_for_person"] = (
            verbs.choose_wheel(client, data_wheel(data)) or answer["waiting_for_person"]
        )
        return answer

    return JSONResponse(await done(app.desk.order(act)))


async def enrol(request: Request) -> Response:
    """Send the inflator this workshop's key (a proof bench the bench's), made now if there is none. A person there confirms it with the
    workshop button.
    """
    app, form = shop(request), await form_of(request)
    app.desk.hold.check(ask.text(form, "hold"))
    about = app.desk.state()["about"]
    purpose = "bench" if about and about["bench"] else "workshop"
    key = (
        await asyncio.to_thread(
            lambda: keys.load(purpose) if keys.load(purpose).keys else keys.new(purpose)
        )
    ).current
    await done(app.desk.order(lambda client: verbs.enrol_key(client, key.key)))
    app.desk.enrolled()
    return JSONResponse({"key_id": key.key_id, "purpose": purpose})


def data_wheel(data: bytes) -> bytes:
    """Wheel of a profile."""

    return bytes(unpack_profile(data)["wheel_id"])


async def trips(request: Request) -> Response:
    """Kept trips of the inflator, newest first."""
    app = shop(request)

    def act(client: Any) -> list[dict[str, Any]]:
        rows, index, count = [], 0, 1
        while index < count:
            answer = client.request(codes.FAULTS, index=index)
            count = answer["count"]
            if answer["cause"]:
                rows.append(
                    {
                        **verbs.cause_words(answer["cause"], "cause"),
                        "session": answer["session"],
                        "unix_s": answer["unix_s"],
                    }
                )
            index += 1
        return rows

    return JSONResponse({"trips": await done(app.desk.order(act))})


ROUTES = [
    Route("/fill", show),
    Route("/fill/look", look),
    Route("/fill/trips", trips),
    Route("/fill/use", use, methods=["POST"]),
    Route("/fill/take", take, methods=["POST"]),
    Route("/fill/give", give, methods=["POST"]),
    Route("/fill/send", send, methods=["POST"]),
    Route("/fill/enrol", enrol, methods=["POST"]),
]
