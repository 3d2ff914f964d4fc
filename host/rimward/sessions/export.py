"""Export of a session as tables: CSV of the readings, or JSON of everything."""

import csv
import io
from typing import Any

from rimward_protocol import causes, codes, enumerations

from rimward.sessions import facts, verification
from rimward.sessions.eventtext import event_text
from rimward.sessions.log import SessionLog
from rimward.sessions.targets import target_at, targets_of

TICK_S = codes.TICK_US / 1e6
COLUMNS = (
    "time_s",
    "tick",
    "a_pa",
    "b_pa",
    "tyre_pa",
    "air_on",
    "state",
    "ceiling_pa",
    "stop_pa",
    "target_pa",
)
SAMPLE_TICKS = 5


def readings(log: SessionLog, every_tick: bool = False) -> list[dict[str, Any]]:
    """Return the readings in order: gauge Pa, time from the first of them. `tyre_pa` and `state` are None where the record lacks them.

    The 50 Hz trace, joined with every fifth tick of the full-rate spans where there is no trace, or with every tick.
    """
    series = log.series(1 if every_tick else SAMPLE_TICKS)
    traced = set(log.trace["tick"].tolist())
    first = int(series["tick"][0]) if len(series) else 0
    targets = target_at(targets_of(log), series["tick"]).tolist()
    rows = []
    for row, target_pa in zip(series, targets, strict=True):
        tick = int(row["tick"])
        rows.append(
            {
                "time_s": round((tick - first) * TICK_S, 3),
                "tick": tick,
                **{name: int(row[name]) for name in ("a_pa", "b_pa")},
                "tyre_pa": int(row["tyre_pa"]) if row["tyre_pa"] >= 0 else None,
                "air_on": bool(row["out"] & codes.OUT_GATE),
                "state": codes.word_of(enumerations.FILL_STATES, int(row["state"]))
                if tick in traced
                else None,
                **{name: int(row[name]) for name in ("ceiling_pa", "stop_pa")},
                "target_pa": target_pa,
            }
        )
    return rows


def events(log: SessionLog) -> list[dict[str, Any]]:
    """Events in words: what happened, cause, state of the fill."""
    meanings = {word: meaning for _number, word, meaning in enumerations.EVENTS}
    return [
        {
            "tick": row["tick"],
            "event": row["event"],
            "text": event_text(row),
            "meaning": meanings.get(row["event"], "an event this version does not know"),
            "cause": causes.row_of(row["cause"])[1],
            "state": codes.word_of(enumerations.FILL_STATES, row["state"]),
            "value": row["value"],
            "value2": row["value2"],
        }
        for row in log.events
    ]


def spans(log: SessionLog) -> list[dict[str, int]]:
    """Spans that can be replayed exactly."""
    return [{"first_tick": span.tick, "ticks": span.ticks} for span in log.spans]


def to_csv(log: SessionLog, every_tick: bool = False) -> str:
    """Return the readings as CSV; an empty cell is unknown."""
    out = io.StringIO()
    table = csv.DictWriter(out, COLUMNS, lineterminator="\n")
    table.writeheader()
    for row in readings(log, every_tick):
        table.writerow({**row, "air_on": int(row["air_on"])})
    return out.getvalue()


def to_json(log: SessionLog, raw: bytes, every_tick: bool = False) -> dict[str, Any]:
    """Figures, events, spans and readings as one object."""

    found = facts.facts(log, raw, keys=verification.keys_for(log))
    return {
        "figures": found.to_json(),
        "damage": log.damage,
        "events": events(log),
        "spans": spans(log),
        "readings": readings(log, every_tick),
    }
