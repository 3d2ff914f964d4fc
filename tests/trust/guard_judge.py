"""Judge of one text of the guard: by the rules, by the sweeps, and last by comparison with the guard on the same ticks.

The comparison is a characterization, not a claim of correctness; it shows that a change is seen. Rules and sweeps
come first, so that what only the comparison sees is counted separately.
"""

import ast
import json
import random
import types
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from rimward_fw.kernels import guard as real_guard

from tests.trust.guard_compare import Table, table
from tests.trust.guard_guided import Row, S, X, check_word, rows
from tests.trust.guard_model import (
    CLEAR,
    CUTOFF,
    FILL_VENT,
    INPUT_WIDTHS,
    KEY_HIGH,
    KEY_LOW,
    NO_BURST,
    RUN,
    TEST_DONE,
    WANT,
    WIDTHS,
    invariant,
)
from tests.trust.guard_prove import ALL_RULES, source_of_guard, transition
from tests.trust.guard_sweep import failures, reach
from tests.trust.terms import Program, either

WITNESSES = Path(__file__).with_name("guard_witnesses.json")
GUIDED_TICKS = 16_000
KEPT_ROWS = 2_600
DISTURBED_ROWS = 4_000
FIRST_ROWS = 500
# Values at which a counter or mark changes what the guard does; used to disturb recorded states.
EDGES = {
    "rest": (0, 1, 2, 15, 16), "warm": (0, 1, 48, 49, 50), "test": (0, 1, 49, 50, 79, 80, 81, 129, 130, 131, TEST_DONE), "frz_a": (48, 49, 50),
    "frz_b": (48, 49, 50), "range_a": (1, 2, 3), "range_b": (1, 2, 3), "disagree": (48, 49, 50), "over": (48, 49, 50), "key_cnt": (1, 2, 3),
    "cut_cnt": (1, 2, 3), "sup_cnt": (1, 2, 3), "baro_cnt": (248, 249, 250), "on_ticks": (0, 24, 25, 32_766, 32_767), "on": (0, 1), "ran": (0, 1),
    "nr_cnt": (0, 20, 90, 700, 32_767, 32_768), "off_cnt": (249, 250, 251, 1_273, 1_274, 1_275, 65_535), "armed": (0, 1),
    "since": (0, 39, 40, 58, 59, 60, 61, 123, 124, 125, 248, 249, 250, 254, 255), "burst_more": (0, 1, 7, 8, 9), "at_ambient": (0, 1, 98, 99, 100, 254, 255), "seen": (0, 1), "stood": (0, 1, 640_001, 660_000, 660_001, 900_000),
    "lift": (0, 1, 3_999, 4_000, 40_000, 110_000), "time": (59, 60, 2**27 - 1, 2**27), "air": (2_999, 3_000, 2**27 - 1, 2**27), "stop": (0, 2), "why": (0, 9),
}  # fmt: skip
INPUT_EDGES = {
    "a": (3_276, 3_277, 62_259, 62_260), "b": (3_276, 3_277, 62_259, 62_260), "load": (7, 8, 9), "gap": (39, 40, 41), "supply": (73, 74, 82, 83),
    "ambient": (49_999, 50_000, 110_000, 110_001),
}  # fmt: skip
SWITCHES = (RUN, WANT, CLEAR, KEY_LOW, KEY_HIGH, CUTOFF, FILL_VENT)


def witnesses() -> list[tuple[list[int], list[int]]]:
    """Counter-examples that a proof once gave: states and inputs that tell a defect from the guard. Words added since are 0."""
    return (
        [(w["g"] + [0] * (len(S) - len(w["g"])), w["x"]) for w in json.loads(WITNESSES.read_text())]
        if WITNESSES.exists()
        else []
    )


def _step_row(step: Any, g: list[int], x: list[int]) -> Row:
    after = list(g)
    out = step(after, x)
    return list(g), list(x), after, out


def _edge_rows() -> list[Row]:
    """Every word at and past the edges of its width, and every cause latched, from a state at rest and from one with the source on."""
    found = []
    for state in ("idle", "on"):
        g, x = (list(words) for words in reach(real_guard, state))
        for bits, group in WIDTHS.items():
            for name, value in (
                (name, v) for name in group for v in (-1, (1 << bits) - 1, 1 << bits)
            ):
                found.append(_step_row(real_guard.step, _changed(g, S, {name: value}), x))
        edges = [
            (name, v)
            for bits, group in INPUT_WIDTHS.items()
            for name in group
            for v in (-1, (1 << bits) - 1, 1 << bits)
        ]
        edges += [
            (name, v) for name in ("off_a", "off_b") for v in (-400_001, -400_000, 600_000, 600_001)
        ]
        edges += [("ceil_pa", v) for v in (0, 900_000, 900_001)]
        for name, value in edges:
            damaged = _changed(x, X, {name: value})
            if name != "chk" and abs(value) < 2**28:
                damaged[X["chk"]] = check_word(damaged)
            found.append(_step_row(real_guard.step, g, damaged))
        for cause in range(48):
            latched = _changed(g, S, {"cause": cause, "cause_n": 255 - cause})
            for inputs in (x, _changed(x, X, {"ceil_pa": 900_001})):
                found.append(_step_row(real_guard.step, latched, inputs))
        found.append(_step_row(real_guard.step, _changed(g, S, {"cause_n": 254}), x))
        found.append(_step_row(real_guard.step, _changed(g, S, {"ceil_n": g[S["ceil_n"]] + 1}), x))
        found.append(_step_row(real_guard.step, _changed(g, S, {"ceil_n": g[S["ceil_n"]] - 1}), x))
    return found


def _changed(array: list[int], index: dict[str, int], values: dict[str, int]) -> list[int]:
    return [values.get(name, array[i]) for name, i in index.items()]


def _disturbed(rng: random.Random, recorded: list[Row]) -> list[Row]:
    found = []
    for _ in range(DISTURBED_ROWS):
        before, x, _, _ = rng.choice(recorded)
        g = list(before)
        for name in rng.sample(sorted(EDGES), rng.choice((1, 2, 4))):
            g[S[name]] = rng.choice(EDGES[name])
        for name, below in (
            ("nr_ref", 3_000),
            ("off_ref", 6_000),
            ("ref_a", 3_000),
            ("ref_b", 3_000),
            ("ref_a", 1_500),
            ("ref_b", 1_500),
            ("fref_a", 8_000),
            ("fref_b", 8_000),
        ):
            if rng.random() < 0.2:
                g[S[name]] = min(
                    max(g[S["read"]] + rng.choice((-1, 1)) * below + rng.randrange(-2, 3), 0),
                    2**22 - 1,
                )
        if rng.random() < 0.2:
            rise = rng.choice((3_998, 3_999, 4_000, 4_001, 8_002, 40_000))
            g[S["burst_peak"]] = min(
                max(
                    g[S["read"]] + rng.choice((0, rise // 2 - 1, rise // 2, rise // 2 + 1, rise)), 0
                ),
                2**22 - 1,
            )
            g[S["burst_from"]] = rng.choice((max(g[S["burst_peak"]] - rise, 0),) * 4 + (NO_BURST,))
        x = list(x)
        for name in rng.sample(sorted(INPUT_EDGES), rng.choice((0, 0, 1, 2))):
            x[X[name]] = rng.choice(INPUT_EDGES[name])
        x[X["sw"]] ^= rng.choice((0, *SWITCHES))
        found.append(_step_row(real_guard.step, g, x))
    return found


@lru_cache(maxsize=1)
def jury_table() -> Table:
    """Rows that distinguish guards: guided ticks of different shape, disturbed ones, and every counter-example kept."""
    rng = random.Random(7)
    recorded = list(rows(real_guard, GUIDED_TICKS, seed=11))
    whole = table(recorded)
    t = transition(source_of_guard())
    program = Program({"o": t.summary.out} | {f"h{i}": s for i, s in enumerate(t.summary.state)})
    values = program.run(whole.columns())
    truths = [
        v
        for v in values.values()
        if getattr(v, "dtype", None) == np.dtype(bool) and v.shape == whole.out.shape
    ]
    shapes = np.packbits(np.stack(truths, axis=1), axis=1)
    _, first = np.unique(shapes, axis=0, return_index=True)
    kept = rng.sample(sorted(first.tolist()), min(KEPT_ROWS, len(first)))
    chosen = [recorded[i] for i in kept] + _disturbed(rng, recorded)
    rng.shuffle(chosen)
    return table(chosen + [_step_row(real_guard.step, g, x) for g, x in witnesses()] + _edge_rows())


def ghosts(of: Table) -> dict[str, Any]:
    """Ghosts that fit the state before, for the rules over several ticks on recorded ones."""
    g = {name: of.before[:, i] for name, i in S.items()}
    length = of.inputs[:, 13]
    found = {
        f"ghost_{name}": g[name]
        for name in (
            "range_a",
            "range_b",
            "disagree",
            "sup_cnt",
            "key_cnt",
            "cut_cnt",
            "baro_cnt",
            "over",
        )
    }
    limits = {"disagree": 50, "baro_cnt": 250, "over": 50}
    found = {
        name: np.minimum(v, limits.get(name[6:], 3)).astype(np.int32) for name, v in found.items()
    }
    for which in "ab":
        found |= {
            f"ghost_{which}_n": np.minimum(g[f"frz_{which}"], 50),
            f"ghost_{which}_mark": g[f"fref_{which}"],
        }
        found[f"ghost_{which}_code"] = g[f"last_{which}"]
    found |= {"ghost_rise_n": g["nr_cnt"], "ghost_rise_mark": g["nr_ref"]}
    found |= {
        "ghost_off": np.minimum(g["off_cnt"], 251),
        "ghost_low": g["off_ref"],
        "ghost_low_a": g["ref_a"],
        "ghost_low_b": g["ref_b"],
        "ghost_since": np.maximum(g["off_cnt"] - 250, 0),
    }
    tested = (g["on"] == 0) & (g["rest"] >= 16)
    found["ghost_rest"] = np.where(tested | (g["on"] != 0), 0, np.clip(16 - g["rest"], 1, 15))
    found["ghost_tested"] = tested
    done = g["test"] == TEST_DONE
    found["ghost_relay"] = np.where(done, length, np.minimum(g["test"], length))
    found["ghost_gate"] = np.where(done, length, np.clip(g["test"] - length - 30, 0, length))
    return {name: np.asarray(v, dtype=np.int32) for name, v in found.items()}


@lru_cache(maxsize=1)
def rules_program() -> Program:
    t = transition(source_of_guard())
    inside = invariant(t.g)
    roots = {
        r.name: r.claim(t) if r.anywhere else either(_negation(inside), r.claim(t))
        for r in ALL_RULES
    }
    return Program(roots)


def _negation(term: Any) -> Any:
    return term == False  # noqa: E712


def broken_rule(of: Table) -> str | None:
    """The first rule that some row breaks."""
    values = rules_program().evaluate(of.columns() | ghosts(of))
    for name, held in values.items():
        if not np.all(held):
            return name
    return None


@dataclass(frozen=True)
class Finding:
    """`killed` by one of rule, sweep, raises, characterization; '' if nothing saw the change."""

    killed: str
    detail: str = ""


def load(tree: ast.Module) -> types.ModuleType:
    module = types.ModuleType("guard_under_judgement")
    exec(compile(tree, "guard_under_judgement", "exec"), module.__dict__)  # noqa: S102
    return module


def judge(module: Any) -> Finding:
    """First difference of this guard from one that keeps its promises."""
    whole, record, start = jury_table(), [], 0
    for stop in (FIRST_ROWS, len(whole.out)):
        for k in range(start, stop):
            g, x = whole.before[k].tolist(), whole.inputs[k].tolist()
            try:
                record.append(_step_row(module.step, g, x))
            except (NameError, IndexError, TypeError, ValueError) as wrong:
                return Finding("raises", repr(wrong)[:120])
        try:
            seen = table(record)
        except OverflowError as wrong:
            return Finding("raises", repr(wrong)[:120])
        rule = broken_rule(seen)
        if rule:
            return Finding("rule", rule)
        start = stop
    try:
        swept = failures(module)
    except (NameError, IndexError, TypeError, ValueError, OverflowError) as wrong:
        return Finding("raises", repr(wrong)[:120])
    if swept:
        return Finding("sweep", swept[0])
    if not (np.array_equal(seen.after, whole.after) and np.array_equal(seen.out, whole.out)):
        return Finding("characterization")
    return Finding("")
