"""What a fill was asked for, by profile or preset, and the target that was in force: when, and who changed it."""

import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from rimward_protocol import codes, kernel_words, layout

from rimward.formats import records
from rimward.sessions.log import SessionLog

TARGET = kernel_words.FILL_INPUT.index("target_pa")
JOB = kernel_words.FILL_INPUT.index("job")
SIDES = {1: "front", 2: "rear"}
PRESET_HEAD = "<8sIB"  # preset id, number of its run, which wheel


@dataclass(frozen=True)
class Asked:
    """Target at the reference temperature, Pa gauge, and the ride: lowest ambient, Pa absolute, hottest tyre, 0.01 K. None: not recorded.

    `rider` names the preset that the target came from; empty: the profile's own target.
    """

    pa: int | None = None
    rider: str = ""
    ride_stated: bool | None = None
    ambient_min_pa: int | None = None
    temp_max_ck: int | None = None


def asked_of(log: SessionLog) -> Asked:
    """Return what was asked for. A preset brings its own target and, where it states a ride, the stricter of both rides, as the inflator took it."""
    profile = log.profile
    if profile is None:
        return Asked()
    stated = bool(profile["flags"] & codes.FLAG_RIDE_STATED)
    plain = Asked(
        profile["target_pa"], "", stated, profile["ambient_min_pa"], profile["temp_max_ck"]
    )
    held = log.meta.get("preset", b"")
    at = struct.calcsize(PRESET_HEAD)
    if len(held) != at + records.structure(layout.PRESET).sizeof() or held[at - 1] not in SIDES:
        return plain
    preset = records.unpack_record(layout.PRESET, held[at:])
    return _with_preset(
        plain,
        preset,
        SIDES[held[at - 1]],
        stated and not profile["flags"] & codes.FLAG_LIMIT_AT_FILL,
    )


def _with_preset(plain: Asked, preset: dict[str, Any], side: str, held_on_ride: bool) -> Asked:
    target, rider = int(preset[f"{side}_target_pa"]), records.text_of(preset["rider"])
    if not preset["flags"] & codes.PRESET_RIDE_STATED:
        return Asked(target, rider, plain.ride_stated, plain.ambient_min_pa, plain.temp_max_ck)
    lowest, hottest = int(preset["ambient_min_pa"]), int(preset["temp_max_ck"])
    if held_on_ride:
        lowest, hottest = (
            min(lowest, plain.ambient_min_pa or lowest),
            max(hottest, plain.temp_max_ck or hottest),
        )
    return Asked(target, rider, True, lowest, hottest)


def targets_of(log: SessionLog) -> list[tuple[int, int]]:
    """(tick, Pa) of each target from that tick on, oldest first; empty where none was in force.

    A change by a person is an event with its exact value. Without one the words of the fill controller say it exactly, the trace to 100 Pa.
    """
    chosen = [row for row in log.events if row["event"] == "target-chosen"]
    first = chosen[0]["value2"] if chosen else _armed(log)
    if not first:
        return []
    begin = int(log.trace["tick"][0]) if len(log.trace) else log.spans[0].tick if log.spans else 0
    return [(begin, first), *((int(row["tick"]), int(row["value"])) for row in chosen)]


def target_at(steps: list[tuple[int, int]], ticks: np.ndarray) -> np.ndarray:
    """Return the target in force at each tick, Pa; 0 where there was none."""
    if not steps:
        return np.zeros(len(ticks), np.int64)
    starts, values = np.array([tick for tick, _pa in steps]), np.array([pa for _tick, pa in steps])
    return values[np.maximum(np.searchsorted(starts, ticks, side="right") - 1, 0)]


def _armed(log: SessionLog) -> int:
    """Return the target while the fill controller had a job: before that its words are those of the wheel before."""
    for span in reversed(log.spans):
        rows = span.y[span.y[:, JOB] != 0]
        if len(rows) and rows[-1, TARGET] > 0:
            return int(rows[-1, TARGET])
    traced = log.trace["target_pa"][log.trace["target_pa"] > 0]
    return int(traced[-1]) if len(traced) else 0
