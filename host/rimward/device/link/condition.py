"""Condition of an inflator: its kept trips, its starts, and an estimate of its flash wear."""

from typing import Any

from rimward_protocol import codes, enumerations

from rimward.device.link import verbs
from rimward.device.link.client import Client
from rimward.formats import records

# Means measured by the power cuts, firmware/CRASH-TABLE.md; a session's blocks are erased twice where an append copies them.
ERASES_A_START = 0.5
ERASES_A_SESSION = 4.0
ERASES_A_RECORD = 0.42
SESSION_BYTES = 40_000
BLOCK_BYTES = 4096
BLOCKS = 352
CYCLES = 100_000  # usual figure for such flash, common practice
LEVELLED = 10  # littlefs does not spread wear evenly: a tenth of the whole is assumed


def trips(client: Client) -> list[dict[str, Any]]:
    """Trips kept through every restart, latest first; `value_pa`: the reading then, gauge."""
    rows = []
    for _, answer in verbs.each(client, codes.FAULTS):
        if answer["cause"]:
            row = {name: answer[name] for name in ("boot", "tick", "session", "unix_s")}
            row["state"] = codes.word_of(enumerations.FILL_STATES, answer["state"])
            row["value_pa"] = answer["value"]
            row.update(verbs.cause_words(answer["cause"], "cause"))
            rows.append(row)
    return rows


def wear(
    starts: int, sessions: int, stored_bytes: int, stored: int, revisions: int
) -> dict[str, Any]:
    """Estimate the wear, since erases are not counted. `sessions`: ever begun; `stored_bytes` of the `stored` ones give the size of one.

    `part` is the used share of the flash's life, 1 when worn out.
    """
    size = stored_bytes / stored if stored else SESSION_BYTES
    erases = (
        starts * ERASES_A_START
        + sessions * (2 * size / BLOCK_BYTES + ERASES_A_SESSION)
        + revisions * ERASES_A_RECORD
    )
    return {"erases": round(erases), "part": round(erases / (BLOCKS * CYCLES / LEVELLED), 9)}


def condition(client: Client) -> dict[str, Any]:
    """Return trips, starts, sessions ever begun, flash wear and calibration."""
    held = verbs.list_sessions(client)
    profiles = verbs.list_profiles(client)
    revisions = sum(
        records.unpack_profile(row["data"], verbs.is_bench(client))["revision"]
        for row in profiles
        if row["intact"]
    )
    begun = max([row["session"] for row in held] + [0])  # numbers are never reused
    starts = client.about["boot"]
    worn = wear(starts, begun, sum(row["bytes"] for row in held), len(held), revisions)
    instrument = verbs.instrument(client).row(verbs.status(client)["guard_pa"])
    return {
        "starts": starts,
        "sessions_begun": begun,
        "sessions_held": len(held),
        "profiles": len(profiles),
        "wear": worn,
        "trips": trips(client),
        "calibration": instrument,
    }
