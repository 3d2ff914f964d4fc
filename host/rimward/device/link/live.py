"""Live samples of an inflator as rows, JSON lines and a panel."""

import contextlib
import json
from typing import Any

from rich.panel import Panel
from rich.text import Text
from rimward_protocol import codes, enumerations, layout, sessionread

from rimward.base.closed_core import live_between, show_between
from rimward.base.errors import Refusal
from rimward.base.instrument import CURRENT
from rimward.base.units import show_limit, show_reading
from rimward.device.link import verbs
from rimward.device.link.age import SampleClock, age_text, is_old
from rimward.device.link.client import Client
from rimward.formats import records

STATUS_EVERY_S = 0.3
ANSWER_S = 2.0  # after this time the request is repeated
STATUS_FIELDS = ("cause", "waiting", "stop_cause")
LET_GO_FIRST = "let go of the run control, then hold it again"
WAITS = {word: meaning for _number, word, meaning in enumerations.WAITINGS}


class Watcher:
    """Subscription to LIVE samples with a status request a few times a second, without waiting for it.

    `rows` belongs to one thread; `seen` may be called from another.
    """

    def __init__(self, client: Client, rate_hz: int) -> None:
        self.client = client
        self.clock = SampleClock()
        self.instrument = verbs.instrument(client)
        self._new: list[dict[str, Any]] = []
        self._pending: int | None = None
        client.on_push = self._push
        self._asked = client.transport.now_s()
        self.status = verbs.status(client)
        self.clock.answered(self._asked, self.status["tick"])
        client.request(codes.WATCH, what=codes.WATCH_LIVE, rate_hz=rate_hz)

    def stop(self) -> None:
        """End the subscription; a line already lost is no error here."""
        with contextlib.suppress(Refusal):
            self.client.request(codes.WATCH, what=0, rate_hz=1)

    def _push(self, message: int, payload: bytes) -> None:
        if message == codes.LIVE:
            self._new += live_rows(payload)

    def turn(self) -> list[dict[str, Any]]:
        """Read new samples and request the status where due; return the samples with the status joined in."""
        self.client.pump()
        self._status()
        new, self._new = self._new, []
        return [
            {**row, **self._range(row), **{name: self.status[name] for name in STATUS_FIELDS}}
            for row in new
        ]

    def _range(self, row: dict[str, Any]) -> dict[str, Any]:
        """Return the ends of the range in which the tyre lies, where the display gives one."""
        low, high = live_between(row["tyre_pa"], row["state"], self.status["pressure_open"]) or (
            None,
            None,
        )
        return {"tyre_low_pa": low, "tyre_high_pa": high}

    def _status(self) -> None:
        now = self.client.transport.now_s()
        answer = (
            None if self._pending is None else self.client.answer_of(codes.STATUS, self._pending)
        )
        if answer is not None:
            self.status, self._pending = verbs.status_row(answer), None
            self.clock.answered(self._asked, self.status["tick"])
        if now - self._asked > (STATUS_EVERY_S if self._pending is None else ANSWER_S):
            self._asked = now
            self._pending = self.client.ask_soon(codes.STATUS)

    def seen(self, row: dict[str, Any]) -> dict[str, Any]:
        """Return a sample for display now: its age, and whether it or its status is old."""
        now = self.client.transport.now_s()
        age = self.clock.age_s(row["tick"], now)
        said = self.clock.age_s(self.status["tick"], now)
        return {
            **row,
            "age_s": None if age is None else round(age, 2),
            "old": is_old(age),
            "status_old": is_old(said),
        }

    def json_line(self, row: dict[str, Any]) -> str:
        """One object on one line."""
        return json.dumps(row)

    def words(self, row: dict[str, Any]) -> tuple[Any, ...]:
        """Return what of a line is no number: a change of it is printed at once."""
        return (row["old"] or row["status_old"], row["state"], row["air_on"], self._next(row))

    def line(self, row: dict[str, Any]) -> str:
        """One line of plain text, for a pipe or a file. `row` as returned by `seen`."""
        ceiling = row["ceiling_pa"] or None
        old = row["old"] or row["status_old"]
        parts = [
            f"at the hose {show_reading(row['reading_pa'], ceiling)}",
            f"in the tyre {tyre_text(row)}",
            f"{row['state']}, air {'on' if row['air_on'] else 'off'}",
        ]
        if ceiling:
            parts += [
                f"target {show_limit(row['target_pa'])}",
                f"stops at {show_limit(row['stop_pa'])}",
                f"ceiling {show_limit(ceiling)}",
            ]
        else:
            parts.append("no wheel selected")
        if old:
            return f"OLD ({age_text(row['age_s'])}): {', '.join(parts)}"
        return "; ".join([", ".join(parts), *self._next(row).strip().splitlines()])

    def panel(self, row: dict[str, Any]) -> Any:
        """Panel for people: large numbers first, then limits, then the next step. `row` as returned by `seen`; old values never look
        live.
        """

        text, old = Text(), row["old"] or row["status_old"]
        if old:
            text.append(
                f"OLD: {age_text(row['age_s'])}. The values below were true then; look at the inflator.\n",
                style="bold red",
            )
        text.append(
            f"at the hose {show_reading(row['reading_pa'], row['ceiling_pa'] or None)}\n",
            style="dim" if old else "bold",
        )
        text.append(f"in the tyre {tyre_text(row)}\n")
        if row["ceiling_pa"]:
            text.append(
                f"target for the air here {show_limit(row['target_pa'])}   stops at {show_limit(row['stop_pa'])}   "
            )
            text.append(f"ceiling {show_limit(row['ceiling_pa'])}\n")
        else:
            text.append("no ceiling in force: no wheel is selected\n")
        state = f"{row['state']}, air {'on' if row['air_on'] else 'off'}"
        text.append(f"state unknown; last state {state}" if old else state)
        text.append(f", {age_text(row['age_s'])}", style="dim")
        if not old:
            text.append(self._next(row))
        text.append(
            f"\n{self.instrument.words(self.status['guard_pa'])}",
            style="dim" if self.instrument.state == CURRENT else "",
        )
        return Panel(text, title="gauge pressure", expand=False)

    def _next(self, row: dict[str, Any]) -> str:
        """Return the inflator's question, as on its display; else the reason of the stop and the next step."""
        if row["waiting"] == "hold-to-run" and row["state"] == "asking":  # held too early
            return f"\nwaits: {LET_GO_FIRST}"
        if row["waiting"] not in ("nothing", "clear"):
            return f"\nwaits: {WAITS.get(row['waiting'], row['waiting'])}"
        word = row["cause"] if row["cause"] != "none" else row["stop_cause"]
        if word == "none":
            return ""
        _n, word, reason, step = next(c for c in enumerations.CAUSES if c[1] == word)
        return f"\n{word}: {reason}\nnext: {step}"


def tyre_text(row: dict[str, Any]) -> str:
    """Return a sample's figure of the tyre, or its range behind a closed core."""
    if row["tyre_low_pa"] is not None:
        return show_between((row["tyre_low_pa"], row["tyre_high_pa"]))
    if row["tyre_pa"] is None:
        return "unknown"
    return show_reading(row["tyre_pa"], row["ceiling_pa"] or None)


def live_rows(payload: bytes) -> list[dict[str, Any]]:
    """Return the samples of one LIVE push (a TRACE block); empty if invalid."""
    why, _kind, start, stop, _after = sessionread.read_block(payload, 0)
    if why != "ok":
        return []
    head = layout.unpack(layout.TRACE, payload, start, stop)
    size = layout.size(layout.TRACE_RECORD)
    if head is None or len(head["records"]) != head["n"] * size:
        return []
    rows = []
    for i in range(head["n"]):
        record = records.unpack_record(
            layout.TRACE_RECORD, head["records"][i * size : (i + 1) * size]
        )
        rows.append(
            {
                "tick": head["tick"] + i * head["step"],
                "reading_pa": max(record["a_hpa"], record["b_hpa"]) * 100,
                "a_pa": record["a_hpa"] * 100,
                "b_pa": record["b_hpa"] * 100,
                "tyre_pa": None
                if record["tyre_hpa"] == layout.UNKNOWN_HPA
                else record["tyre_hpa"] * 100,
                "ceiling_pa": head["ceiling_hpa"] * 100,
                "stop_pa": head["stop_hpa"] * 100,
                "target_pa": head["target_hpa"] * 100,
                "state": codes.word_of(enumerations.FILL_STATES, record["state"]),
                "air_on": bool(record["out"] & codes.OUT_GATE),
            }
        )
    return rows
