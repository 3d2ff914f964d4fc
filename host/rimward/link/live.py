"""Live samples of an inflator as rows, JSON lines and a panel."""

import json
import time
from collections.abc import Iterator
from typing import Any

from rimward_protocol import codes, enumerations, layout, sessionread

from rimward import records
from rimward.link import verbs
from rimward.link.client import Client
from rimward.units import show_limit, show_reading

STATUS_EVERY_S = 0.5


class Watcher:
    """Subscribes to LIVE samples and asks for the status twice a second."""

    def __init__(self, client: Client, rate_hz: int) -> None:
        self.client = client
        self._new: list[dict[str, Any]] = []
        client.on_push = self._push
        self.status = verbs.status(client)
        client.request(codes.WATCH, what=codes.WATCH_LIVE, rate_hz=rate_hz)

    def stop(self) -> None:
        """Ends the subscription; a line already lost is no error here."""
        from rimward.errors import Refusal

        try:
            self.client.request(codes.WATCH, what=0, rate_hz=1)
        except Refusal:
            pass

    def _push(self, message: int, payload: bytes) -> None:
        if message == codes.LIVE:
            self._new += live_rows(payload)

    def rows(self, end: float | None = None) -> Iterator[dict[str, Any]]:
        """Samples with the latest status joined in, until `end` on the monotonic clock."""
        asked = time.monotonic()
        while end is None or time.monotonic() < end:
            self.client.pump()
            if time.monotonic() - asked > STATUS_EVERY_S:
                asked = time.monotonic()
                self.status = verbs.status(self.client)
            new, self._new = self._new, []
            for row in new:
                yield {**row, "cause": self.status["cause"], "waiting": self.status["waiting"], "stop_cause": self.status["stop_cause"]}

    def json_line(self, row: dict[str, Any]) -> str:
        """One object on one line."""
        return json.dumps(row)

    def panel(self, row: dict[str, Any]) -> Any:
        """What a person sees: big numbers first, then limits, then what to do."""
        from rich.panel import Panel
        from rich.text import Text

        text = Text()
        text.append(f"at the hose {show_reading(row['reading_pa'], row['ceiling_pa'] or None)}\n", style="bold")
        tyre = show_reading(row["tyre_pa"], row["ceiling_pa"] or None) if row["tyre_pa"] is not None else "unknown"
        text.append(f"in the tyre {tyre}\n")
        if row["ceiling_pa"]:
            text.append(f"target for the air here {show_limit(row['target_pa'])}   stops at {show_limit(row['stop_pa'])}   ")
            text.append(f"ceiling {show_limit(row['ceiling_pa'])}\n")
        else:
            text.append("no ceiling in force: no wheel is chosen\n")
        text.append(f"{row['state']}, air {'on' if row['air_on'] else 'off'}")
        number = self.status["cause"] if self.status["cause"] != "none" else row["stop_cause"]
        if number != "none":
            _n, word, reason, step = next(c for c in enumerations.CAUSES if c[1] == number)
            text.append(f"\n{word}: {reason}\nnext: {step}")
        return Panel(text, title="gauge pressure", expand=False)


def live_rows(payload: bytes) -> list[dict[str, Any]]:
    """Samples of one LIVE push (a TRACE block); empty if it makes no sense."""
    why, _kind, start, stop, _after = sessionread.read_block(payload, 0)
    if why != "ok":
        return []
    head = layout.unpack(layout.TRACE, payload, start, stop)
    size = layout.size(layout.TRACE_RECORD)
    if head is None or len(head["records"]) != head["n"] * size:
        return []
    rows = []
    for i in range(head["n"]):
        record = records.unpack_record(layout.TRACE_RECORD, head["records"][i * size : (i + 1) * size])
        rows.append(
            {
                "tick": head["tick"] + i * head["step"],
                "reading_pa": max(record["a_hpa"], record["b_hpa"]) * 100,
                "a_pa": record["a_hpa"] * 100,
                "b_pa": record["b_hpa"] * 100,
                "tyre_pa": None if record["tyre_hpa"] == layout.UNKNOWN_HPA else record["tyre_hpa"] * 100,
                "ceiling_pa": head["ceiling_hpa"] * 100,
                "stop_pa": head["stop_hpa"] * 100,
                "target_pa": head["target_hpa"] * 100,
                "state": codes.word_of(enumerations.FILL_STATES, record["state"]),
                "air_on": bool(record["out"] & codes.OUT_GATE),
            }
        )
    return rows
