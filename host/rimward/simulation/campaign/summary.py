"""Figures of a campaign from its records, as one dict for JSON."""

from collections import Counter
from typing import Any

import numpy as np
from rimward_protocol import causes, codes, enumerations

from rimward.simulation.campaign import effects, people
from rimward.simulation.campaign.draw import WHEELS
from rimward.simulation.campaign.firstgo import first_go
from rimward.simulation.campaign.play import NAMES
from rimward.simulation.coupling import DONE
from rimward.simulation.plant.faults import FAULTS

TICK_S = 0.002
WORST = 10
HISTOGRAM_PA = np.arange(-20_000.0, 20_001.0, 1_000.0)


def summary(rows: np.ndarray, wanted: int, seed: int) -> dict[str, Any]:
    """All figures. Pressures in Pa, times in s. `peak_over_ceiling_max` is that of set D."""
    played = rows[rows["refused"] < 2]
    d = played[played["set_d"] == 1]
    exceeded = d[d["exceed"] > 0]
    return {
        "sessions": len(rows),
        "asked": wanted,
        "seed": seed,
        "refused": int((rows["refused"] == 2).sum()),
        "lowered_targets": int((rows["refused"] == 1).sum()),
        "ticks": int(played["ticks"].sum()),
        "wheels": len(WHEELS),
        "set_d_sessions": len(d),
        "exceedances": len(exceeded),
        "exceeding_sessions": exceeded["number"].tolist()[:50],
        "own_air": int(((d["exceed"] == 0) & (d["own"] > 0)).sum()),
        "peak_over_ceiling_max": float(d["ratio"].max()) if len(d) else 0.0,
        "residual": [
            residual(name, played)
            for name, fault in FAULTS.items()
            if fault.set == "R"
            and ((played["fault"] == NAMES.index(name)) & (played["set_d"] == 0)).any()
        ],
        "faults": [
            by_fault(name, played) for name in NAMES if (played["fault"] == NAMES.index(name)).any()
        ],
        "first_go": first_go(played),
        "people": [
            by_person(name, d)
            for name in people.NAMES
            if (d["person"] == people.NAMES.index(name)).any()
        ],
        "effects": effects.quantiles(played["places"]),
        "final_error": final_error(played),
        "fill_over_ideal": {
            kind: over_ideal(played, number) for kind, number in (("compressor", 0), ("line", 1))
        },
        "worst": worst(played),
    }


def quantiles(values: np.ndarray, wanted: tuple[int, ...] = (1, 50, 99)) -> dict[str, float] | None:
    """{"p1": .., "median": .., "p99": .., "max": ..}; None without values."""
    if not len(values):
        return None
    found = {"median" if q == 50 else f"p{q}": float(np.percentile(values, q)) for q in wanted}
    return found | {"max": float(values.max()), "n": len(values)}


def residual(name: str, rows: np.ndarray) -> dict[str, Any]:
    """Highest ratio of one fault of set R, and its bound."""
    mine = rows[(rows["fault"] == NAMES.index(name)) & (rows["set_d"] == 0)]
    return {
        "fault": name, "sessions": len(mine), "ratio_max": float(mine["ratio"].max()), "peak_max_pa": float(mine["peak_pa"].max()),
        "sessions_over": int((mine["exceed"] > 0).sum()), "bound_by": FAULTS[name].bound_by,
    }  # fmt: skip


def detection(mine: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[str]]:
    """Return (mask of sessions that detected it, seconds from the fault to the detection, word of the detecting cause)."""
    begun = np.maximum(mine["at"], 0)
    never = np.int64(2**31)
    latched = np.where((mine["cause"] > 0) & (mine["cause_at"] >= begun), mine["cause_at"], never)
    stopped = np.where((mine["stop"] > 1) & (mine["stop_at"] >= begun), mine["stop_at"], never)
    refused = np.where((mine["why"] > 0) & (mine["why_at"] >= begun), mine["why_at"], never)
    first = np.minimum(np.minimum(latched, stopped), refused)
    seen = first < never
    which = np.select(
        [latched == first, stopped == first], [mine["cause"], mine["stop"]], mine["why"]
    )[seen]
    return seen, (first - begun)[seen] * TICK_S, [causes.row_of(int(cause))[1] for cause in which]


def by_fault(name: str, rows: np.ndarray) -> dict[str, Any]:
    """Results by fault; the empty name is no fault."""
    mine = rows[rows["fault"] == NAMES.index(name)]
    seen, seconds, words = detection(mine)
    return {
        "fault": name or "none",
        "set": FAULTS[name].set if name else "D",
        "sessions": len(mine),
        "exceedances": int((mine["exceed"] > 0).sum()),
        "ratio_max": float(mine["ratio"].max()),
        "peak_max_pa": float(mine["peak_pa"].max()),
        "detected": int(seen.sum()),
        "detection_s": quantiles(seconds, (50, 99)),
        "causes": dict(Counter(words).most_common()),
        "done": int((mine["state"] == DONE).sum()),
        "states": {
            codes.word_of(enumerations.FILL_STATES, int(s)): int(n)
            for s, n in sorted(Counter(mine["state"].tolist()).items())
        },
    }


def by_person(name: str, d: np.ndarray) -> dict[str, Any]:
    """Results of set D by person."""
    mine = d[d["person"] == people.NAMES.index(name)]
    over = mine[mine["exceed"] > 0]
    return {
        "person": name, "sessions": len(mine), "exceedances": len(over), "ratio_max": float(mine["ratio"].max()), "done": int((mine["state"] == DONE).sum()),
        "exceeding_sessions": over["number"].tolist()[:20],
    }  # fmt: skip


def final_error(rows: np.ndarray) -> dict[str, Any]:
    """Settled pressure less target of the fills that reported done, no fault; instrument errors included."""
    mine = rows[(rows["fault"] == 0) & (rows["state"] == DONE)]
    error = mine["settled_pa"] - mine["target_pa"]
    counts, edges = np.histogram(np.clip(error, HISTOGRAM_PA[0], HISTOGRAM_PA[-1]), HISTOGRAM_PA)
    return {
        "fills": len(mine), "error_pa": quantiles(error), "absolute_pa": quantiles(np.abs(error), (50, 99)),
        "histogram": {"edges_pa": edges.tolist(), "counts": counts.tolist()},
    }  # fmt: skip


def over_ideal(rows: np.ndarray, line: int) -> dict[str, Any]:
    """Last pump-off over the ideal fill's, split by target over ceiling."""
    mine = rows[(rows["ideal"] > 0) & (rows["line"] == line)]
    low = mine["target_pa"] <= 0.92 * mine["ceiling_pa"]
    return {
        "target_to_0.92": quantiles(mine["ideal"][low], (50, 99)),
        "above": quantiles(mine["ideal"][~low], (50, 99)),
    }


def worst(rows: np.ndarray) -> list[dict[str, Any]]:
    """Ten sessions of set D that came closest to their ceiling, and the ten of set R that exceeded it most."""
    found = []
    for flag, label in ((1, "D"), (0, "R")):
        mine = rows[rows["set_d"] == flag]
        order = np.argsort(-mine["ratio"], kind="stable")[:WORST]
        found += [
            {"number": int(row["number"]), "set": label, "fault": NAMES[row["fault"]] or "none", "ratio": float(row["ratio"]),
             "peak_pa": float(row["peak_pa"]), "ceiling_pa": int(row["ceiling_pa"]), "cause": causes.row_of(int(row["cause"]))[1]}
            for row in mine[order]
        ]  # fmt: skip
    return found
