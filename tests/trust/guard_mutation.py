"""Run the mutants, one process each; a run with an unjudged mutant fails.

`python -m tests.trust.guard_mutation` judges every mutant and tries to prove each survivor equal to the guard; `--sample N`
a seeded part. With `--learn`, a step that tells a survivor from the guard is added to `guard_witnesses.json`, and proofs of
equivalence are written to `guard_equivalent.json`, keyed by the text of the change.
"""

import argparse
import ast
import json
import os
import random
import sys
import time
from collections import Counter
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

from tests.trust import each_mutant
from tests.trust.each_mutant import Outcome
from tests.trust.guard_equal import distinguish, equal
from tests.trust.guard_judge import WITNESSES, judge, jury_table, load, rules_program
from tests.trust.guard_local import locally_equal
from tests.trust.guard_mutants import Mutant, mutants
from tests.trust.guard_prove import EFFORT, source_of_guard

EQUIVALENT = Path(__file__).with_name("guard_equivalent.json")
TIME_LIMIT_S = 300.0  # a judge needs a few seconds; the rest is for a loaded machine


def run_each(
    chosen: list[Mutant], workers: int, limit_s: float = TIME_LIMIT_S
) -> dict[str, tuple[str, str] | None]:
    """The finding of every mutant by its key; None where there is no verdict."""
    jury_table()
    rules_program()
    own = judge(load(ast.parse(source_of_guard())))
    if own.killed:  # a jury that refuses the guard itself would count every mutant as killed
        raise RuntimeError(f"the jury refuses the guard itself: {own.killed}: {own.detail}")
    return each_mutant.run_each(chosen, workers, limit_s, _judge)


def _judge(mutant: Mutant) -> tuple[str, str]:
    finding = judge(load(mutant.build()))
    return finding.killed, finding.detail


def known_equal() -> dict[str, str]:
    """Proofs of equivalence by the text of the change."""
    return json.loads(EQUIVALENT.read_text()) if EQUIVALENT.exists() else {}


def assess(chosen: list[Mutant], workers: int = 2) -> Outcome:
    """Check the chosen mutants. A survivor needs its entry among the proofs, and the proof itself again."""
    start = time.monotonic()
    outcome = Outcome(total=len(chosen))
    by_key = {m.key: m for m in chosen}
    tally: Counter[str] = Counter()
    known = known_equal()
    for key, verdict in run_each(chosen, workers).items():
        outcome.found[key] = ": ".join(part for part in verdict if part) if verdict else "unjudged"
        if verdict is None:
            outcome.unjudged.append(key)
        elif verdict[0]:
            tally[verdict[0]] += 1
        elif key in known:
            outcome.proved_equal.append(key)
        else:
            outcome.survivors.append(key)
    if outcome.proved_equal:
        with ProcessPoolExecutor(workers, mp_context=get_context("fork")) as pool:
            proofs = dict(
                zip(
                    outcome.proved_equal,
                    pool.map(_is_equal, [by_key[key].source() for key in outcome.proved_equal]),
                    strict=True,
                )
            )
        outcome.survivors += [key for key, holds in proofs.items() if not holds]
        outcome.proved_equal = [key for key, holds in proofs.items() if holds]
    outcome.killed = dict(tally)
    outcome.seconds = time.monotonic() - start
    return outcome


def _is_equal(text: str) -> bool:
    return (
        locally_equal(source_of_guard(), text, EFFORT // 20)
        or equal(source_of_guard(), text).holds is True
    )


def sample(count: int, seed: int = 5) -> list[Mutant]:
    """A seeded part of all mutants; all of them for a count of 0."""
    every = mutants(source_of_guard())
    return every if count == 0 else random.Random(seed).sample(every, min(count, len(every)))


def learn(outcome: Outcome, chosen: list[Mutant]) -> None:
    """Turn survivors into proofs of equivalence or into kept counter-examples, and count them as such."""
    by_key = {m.key: m for m in chosen}
    proofs = {
        key: text for key, text in known_equal().items() if key in by_key or len(chosen) < 1000
    }
    kept = json.loads(WITNESSES.read_text()) if WITNESSES.exists() else []
    with ProcessPoolExecutor(2, mp_context=get_context("fork")) as pool:
        for done in as_completed(
            [pool.submit(settle_one, key, by_key[key].source()) for key in outcome.survivors]
        ):
            key, proved, told = done.result()
            print(
                "equal" if proved else "told apart" if told else "UNRESOLVED",
                key,
                file=sys.stderr,
                flush=True,
            )
            if proved:
                proofs[key] = "z3: no content of memory and no input tells it from the guard"
                outcome.proved_equal.append(key)
            elif told:
                outcome.killed["counter-example"] = outcome.killed.get("counter-example", 0) + 1
                kept.append({"for": key, "g": told[0], "x": told[1]})
            EQUIVALENT.write_text(json.dumps(proofs, indent=1, sort_keys=True) + "\n")
            WITNESSES.write_text("[\n" + ",\n".join(json.dumps(w) for w in kept) + "\n]\n")
            if proved or told:
                outcome.survivors = [left for left in outcome.survivors if left != key]


def settle_one(key: str, text: str) -> tuple[str, bool, tuple[list[int], list[int]] | None]:
    """(key, proved equal, or else a step that tells it from the guard)."""
    if locally_equal(source_of_guard(), text, EFFORT // 20):
        return key, True, None
    for effort in (
        EFFORT // 20,
        EFFORT,
    ):  # a proof of equality is quick, a search for a difference is not
        if equal(source_of_guard(), text, effort).holds is True:
            return key, True, None
        told = distinguish(source_of_guard(), text, effort)
        if told:
            return key, False, told
    return key, False, None


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument(
        "--sample", type=int, default=0, help="how many mutants, drawn by seed; 0 takes all"
    )
    parser.add_argument(
        "--keys", type=argparse.FileType(), help="judge only the mutants named in this JSON list"
    )
    parser.add_argument("--workers", type=int, default=os.cpu_count() or 2)
    parser.add_argument(
        "--list", type=argparse.FileType("w"), help="write what saw each mutant, as JSON"
    )
    parser.add_argument(
        "--learn", action="store_true", help="write proofs of equivalence and counter-examples"
    )
    parser.add_argument("--json", action="store_true")
    chosen_args = parser.parse_args()
    chosen = sample(chosen_args.sample)
    if chosen_args.keys:
        keys = set(json.load(chosen_args.keys))
        chosen = [mutant for mutant in chosen if mutant.key in keys]
    outcome = assess(chosen, chosen_args.workers)
    if chosen_args.list:
        chosen_args.list.write(json.dumps(outcome.found, indent=1))
        chosen_args.list.close()
    if chosen_args.learn:
        learn(outcome, chosen)
    result = {"ok": outcome.ok, **outcome.__dict__, "proved_equal": len(outcome.proved_equal)}
    del result["found"]
    if chosen_args.json:
        print(json.dumps(result))
    else:
        for name, value in result.items():
            print(f"{name}: {value}")
    return 0 if outcome.ok else 1


if __name__ == "__main__":
    sys.exit(main())
