"""Live line to a page: at most 20 messages a second, with every sample."""

import asyncio
import contextlib
import json
import secrets
from typing import Any

from rimward_protocol import enumerations
from starlette.websockets import WebSocket, WebSocketDisconnect

from rimward.base.closed_core import live_between
from rimward.base.instrument import Instrument
from rimward.base.units import show_limit, show_minimum, show_reading
from rimward.web.desk import DeviceWorker
from rimward.web.far import act
from rimward.web.wording import on_page

GAP_S = 0.05
FIRST_SAMPLES = 15_000  # sent to a newly loaded page: five minutes
RUN = secrets.token_hex(6)  # this run of the server: sample numbers of another run are invalid
MEANINGS = {word: meaning for _number, word, meaning in enumerations.FILL_STATES}
WAITINGS = {word: meaning for _number, word, meaning in enumerations.WAITINGS}
STATE_WORDS = {number: word for number, word, _meaning in enumerations.FILL_STATES}


async def live(socket: WebSocket, desk: DeviceWorker) -> None:
    """Serve one page's line until it ends."""
    await socket.accept()
    try:
        asked = json.loads(await asyncio.wait_for(socket.receive_text(), 5))
        page, since = str(asked["page"])[:40], int(asked["since"])
        run, token = str(asked.get("run", "")), str(asked.get("hold", ""))[:60]
    except (ValueError, KeyError, TypeError, asyncio.TimeoutError, WebSocketDisconnect):
        await _close(socket)
        return
    mine = bool(token) and await _presented(desk, token, page)
    await socket.send_text(json.dumps({"run": RUN, "hold": mine}))
    start = since if run == RUN and since >= 0 else desk.ring.since(-FIRST_SAMPLES)[0]
    pongs: list[int] = []
    bell = asyncio.Event()
    sender = asyncio.ensure_future(_feed(socket, desk, start, pongs, bell))
    try:
        while True:
            _hear(desk, page, await socket.receive_text(), pongs)  # ends when the page is gone
            if pongs:
                bell.set()
    except (WebSocketDisconnect, RuntimeError):
        pass
    finally:
        sender.cancel()
        desk.lease.left(page)
        desk.hold.left(page)


def _hear(desk: DeviceWorker, page: str, text: str, pongs: list[int]) -> None:
    """Read a page's messages: a ping, or a heartbeat for a proof bench. Others are ignored."""
    try:
        said = json.loads(text)
        if "ping" in said:
            pongs[:] = [int(said["ping"])]
            return
        desk.lease.beat(str(said["hold"]), page, int(said["beat"]), int(said["seen"]))
    except (ValueError, KeyError, TypeError):
        pass


async def _presented(desk: DeviceWorker, token: str, page: str) -> bool:
    """Present the hold after a reload: the old page's line may take a moment to end."""
    for _ in range(10):
        if desk.hold.present(token, page):
            return True
        await asyncio.sleep(0.1)
    return False


async def _close(socket: WebSocket) -> None:
    with contextlib.suppress(RuntimeError, WebSocketDisconnect):
        await socket.close(4400)


async def _feed(
    socket: WebSocket, desk: DeviceWorker, at: int, pongs: list[int], bell: asyncio.Event
) -> None:
    """Send new samples, each once and in order, with its age; a slow page gets larger messages, not fewer samples."""
    loop = asyncio.get_running_loop()

    def ring() -> None:
        with contextlib.suppress(RuntimeError):  # the loop has ended
            loop.call_soon_threadsafe(bell.set)

    desk.listeners.add(ring)
    version = -1
    try:
        while True:
            bell.clear()
            message: dict[str, Any] = {}
            if desk.version != version:
                version = desk.version
                message["state"] = describe_state(desk)
            first, gone, rows = desk.ring.since(at)
            if rows or gone:
                at = first + len(rows)
                now = shown(rows[-1], desk.pressure_open()) if rows else None
                message.update(first=first, gone=gone, rows=rows, now=now)
            if pongs:
                message["pong"] = pongs.pop()
            if message:
                message["ages"] = ages(desk)
                await socket.send_text(json.dumps(message, separators=(",", ":")))
                await asyncio.sleep(GAP_S)
            else:
                await bell.wait()
    except (WebSocketDisconnect, RuntimeError):
        pass
    finally:
        desk.listeners.discard(ring)


def shown(row: list[int], pressure_open: bool = False) -> dict[str, Any]:
    """Return a sample as text, in the same words as everywhere; with a range of the tyre where the display gives one."""
    _tick, reading, tyre, _on, state, ceiling, _stop, _target = row
    limit = ceiling or None
    word = STATE_WORDS.get(state, "unknown")
    known = tyre if tyre >= 0 else None
    return {
        "reading": both(show_reading(reading, limit)),
        "tyre": None if known is None else both(show_reading(known, limit)),
        "tyre_between": between(live_between(known, word, pressure_open)),
        "over": bool(limit and reading > limit),
        "state": word,
    }


def ages(desk: DeviceWorker) -> list[int | None]:
    """Age of the newest sample and of the shown state, milliseconds, as the message leaves."""
    return [
        None if age is None else max(0, round(age * 1000))
        for age in (desk.ages.sample_s(), desk.ages.state_s())
    ]


def between(ends: tuple[int, int] | None) -> str | None:
    """Format a range, rounded outwards; None without one, or where both ends are the same."""
    if ends is None or ends[0] == ends[1]:
        return None
    low, high = both(show_limit(ends[0])), both(show_minimum(ends[1]))
    return f"{low[0]} and {high[0]} bar ({low[1]} and {high[1]} psi)"


def both(text: str) -> list[str]:
    """Split `3.90 bar (56.5 psi)` into its two numbers."""
    bar, _unit, psi, _unit = text.replace("(", "").split()
    return [bar, psi]


def describe_state(desk: DeviceWorker) -> dict[str, Any]:
    """State of the inflator as text for a page."""
    state = desk.state()
    status = state["status"]
    state["hold"] = {"held": desk.hold.held, "who": desk.hold.who, "since_s": desk.hold.since_s}
    state["kept"] = kept(state["kept"])
    state["why"] = on_page(state["why"])
    facts = desk.trial.facts if desk.trial is not None else None
    state["trial"] = facts and {**facts, "refused": on_page(facts["refused"])}
    state["instrument"] = calibration(state["instrument"], status)
    if status is None:
        return state
    key = "cause" if status["cause"] != "none" else "stop_cause"
    none = status[key] == "none"
    state["status"] = {
        "state": status["state"],
        "means": MEANINGS.get(status["state"], ""),
        "waiting": status["waiting"],
        "waiting_means": WAITINGS.get(status["waiting"], "")
        if status["waiting"] != "nothing"
        else "",
        "latched": status["cause"] != "none",
        "cause": status[key],
        "reason": "" if none else status[f"{key}_reason"],
        "next": "" if none else status[f"{key}_next"],
        "range": status["range"],
        "wheel_id": status["wheel_id"],
        "ceiling": show_limit(status["ceiling_pa"]) if status["ceiling_pa"] else "",
        "stop": show_limit(status["stop_pa"]) if status["stop_pa"] else "",
        "target": show_limit(status["target_pa"]) if status["target_pa"] else "",
        "ceiling_pa": status["ceiling_pa"],
        "stop_pa": status["stop_pa"],
        "target_pa": status["target_pa"],
        "ambient": f"{status['ambient_pa'] / 100:.0f} hPa absolute",
        "air": f"{(status['air_ck'] - 27315) / 100:.1f} °C",
        "air_on": "GATE" in status["out_words"],
    }
    state["status"]["act"] = act(state["status"])
    return state


def calibration(found: Instrument | None, status: dict[str, Any] | None) -> dict[str, str] | None:
    """Age, due date and guard band of the inflator's calibration; `state` as in `rimward.base.instrument`."""
    if found is None:
        return None
    return {"state": found.state, "words": found.words(status["guard_pa"] if status else None)}


def kept(row: dict[str, Any] | None) -> dict[str, Any] | None:
    """Newest stored session as text."""
    if row is None:
        return None
    tyre = (
        show_reading(row["tyre_pa"], row["ceiling_pa"])
        if row["tyre_pa"] is not None
        else "not known"
    )
    known = row["tyre_pa"] is not None
    return {
        **{name: row[name] for name in ("name", "session", "label", "cause", "wheel_id")},
        "unix_s": row["unix_s"] or row["added_s"],
        "tyre": tyre,
        "tyre_both": both(tyre) if known else None,
        "cold_both": both(show_reading(row["cold_pa"])) if row.get("cold_pa") is not None else None,
        "cold_between": between(row.get("cold_range_pa")),
        **{
            name: show_limit(row[f"{name}_pa"]) if row[f"{name}_pa"] else ""
            for name in ("ceiling", "target")
        },
    }
