"""Small defects in the profile check and in the code that works out tags: every one must be seen.

`python -m tests.trust.profile_mutation [--json]`. A survivor counts only with a proof in `profile_equivalent.json`, keyed by the text
of the change.
"""

import argparse
import json
import signal
import sys
import time
import types
from collections import Counter
from functools import lru_cache
from pathlib import Path
from typing import Any

import z3
from rimward_protocol import mac, profile, replies

from tests.trust import each_mutant, profile_rules
from tests.trust.each_mutant import Outcome
from tests.trust.guard_mutants import Mutant, mutants

EQUIVALENT = Path(__file__).with_name("profile_equivalent.json")
TIME_LIMIT_S = 300.0
JUDGE_CPU_S = 8.0  # a judge needs about one; what takes this long does not end
CHECK = (
    "check_profile",
    "_check_envelope",
    "_nonzero",
    "_check_names",
    "label_ok",
    "is_straight_side",
    "_check_pressures",
)
CHECK += ("ceiling_of", "is_tagged", "tag_profile", "check_tag")
MAC = ("hmac_sha256", "_pad", "tag16", "same")
FILES: dict[str, tuple[Any, tuple[str, ...]]] = {"profile": (profile, CHECK), "mac": (mac, MAC)}


class Endless(Exception):
    """The code under judgement does not return."""


def every() -> list[tuple[str, Mutant]]:
    """(file, mutant) of both files."""
    return [
        (name, m)
        for name, (module, functions) in FILES.items()
        for m in mutants(text_of(module), functions)
    ]


def text_of(module: Any) -> str:
    return Path(module.__file__).read_text()


@lru_cache(maxsize=1)
def cases() -> tuple[list[tuple[bytes, bool, int]], list[tuple[bytes | None, bytes, int]]]:
    """(bytes, bench, expected code) and (key, bytes, expected code)."""
    data = [*profile_rules.damaged(), *profile_rules.profiles()]
    checks = [
        (one, bench, profile_rules.expected(one, bench))
        for one in dict.fromkeys(data)
        for bench in (False, True)
    ]
    return checks, [
        (key, one, profile_rules.tag_expected(key, one)) for key, one in profile_rules.tagged()
    ]


def load(name: str, tree: Any) -> types.ModuleType:
    module = types.ModuleType("rimward_protocol." + name)
    module.__package__ = "rimward_protocol"
    exec(compile(tree, name + " under judgement", "exec"), module.__dict__)  # noqa: S102
    return module


def judge_profile(check: Any) -> str:
    """The first thing in which this profile check does not do what the rules say; "" if there is none."""
    checks, tags = cases()
    for data, bench, code in checks:
        if (
            check.check_profile(data, bench) != code
            or not bench
            and check.check_profile(data) != code
        ):
            return f"check_profile gives another code than {replies.row_of(code)[1]}"
    for key, data, code in tags:
        if check.check_tag(key, data) != code:
            return f"check_tag gives another code than {replies.row_of(code)[1]}"
        if check.is_tagged(data) is not any(data[92:108]):
            return "is_tagged"
        if key is not None and check.tag_profile(key, data) != data[:92] + profile_rules.tag_of(
            key, data
        ):
            return "tag_profile"
        if check.ceiling_of(data) != int.from_bytes(data[64:68], "little"):
            return "ceiling_of"
    wrong = [c for c in range(256) if check.is_straight_side(c) is not (c not in (3, 4, 5))]
    wrong += [
        label
        for label in profile_rules.LABELS
        for at in (0, 5)
        if not _label_as_it_should_be(check, label, at)
    ]
    return "is_straight_side or label_ok" if wrong else ""


def _label_as_it_should_be(check: Any, label: bytes, at: int) -> bool:
    """The label lies between bytes that do not belong to it."""
    padded = label[:20] + bytes(20 - len(label[:20]))
    good = profile_rules.label_is_good(padded)
    return all(
        check.label_ok(side * at + padded + side * 3, at, at + 20) is good
        for side in (b"\xff", b"a", b"\0")
    )


def judge_mac(under: Any) -> str:
    """As `judge_profile`, of tags: against the standard library, and bytes that differ in one bit."""
    import hashlib
    import hmac

    data = bytes(range(130))
    for key in profile_rules.KEYS:
        whole = hmac.new(key, data, hashlib.sha256).digest()
        if (
            under.hmac_sha256(key, data) != whole
            or under.hmac_sha256(key, data[:9], b"", data[9:]) != whole
        ):
            return "hmac_sha256"
        if under.tag16(key, data[:40], data[40:]) != whole[:16]:
            return "tag16"
    for one in (b"", b"\0", bytes(16), bytes(range(16)), b"\xff" * 16):
        changed = [
            one[:i] + bytes([one[i] ^ 1 << bit]) + one[i + 1 :]
            for i in range(len(one))
            for bit in range(8)
        ]
        if under.same(one, bytes(one)) is not True or any(
            under.same(one, c) is not False
            for c in (*changed, one + b"\0", one[1:] + b"12", *[one[:-1]][: len(one)])
        ):
            return "same"
    return ""


JUDGES = {"profile": judge_profile, "mac": judge_mac}


def judge(name: str, tree: Any) -> tuple[str, str]:
    """(what killed it or "", detail)."""

    def over(number: int, frame: Any) -> None:
        raise Endless

    before = signal.signal(signal.SIGVTALRM, over)
    signal.setitimer(signal.ITIMER_VIRTUAL, JUDGE_CPU_S)
    try:
        said = JUDGES[name](load(name, tree))
        return ("rules", said) if said else ("", "")
    except Endless:
        return "endless", ""
    except (
        NameError,
        IndexError,
        TypeError,
        ValueError,
        AttributeError,
        OverflowError,
        MemoryError,
    ) as wrong:
        return "raises", repr(wrong)[:120]
    except Exception as wrong:
        if type(wrong).__name__ == "error":  # struct.error
            return "raises", repr(wrong)[:120]
        raise
    finally:
        signal.setitimer(signal.ITIMER_VIRTUAL, 0)
        signal.signal(signal.SIGVTALRM, before)


def known_equal() -> dict[str, dict[str, str]]:
    """By the text of the change: what the changed piece says, what it said, where that is asked, and why only there."""
    return json.loads(EQUIVALENT.read_text()) if EQUIVALENT.exists() else {}


def proved(key: str) -> bool:
    """True if the kept terms of this change can never differ where they are asked. z3 proves it again each time."""
    kept = known_equal().get(key)
    if kept is None:
        return False
    named: dict[str, Any] = {name: z3.Int(name) for name in ("v", "h", "n", "start", "end")}
    named |= {"And": z3.And, "If": z3.If, "__builtins__": {}}
    one, other, where = (eval(kept[name], dict(named)) for name in ("one", "other", "where"))  # noqa: S307
    solver = z3.Solver()
    solver.add(where)
    asked = solver.check()
    solver.add(one != other)
    return asked == z3.sat and solver.check() == z3.unsat


def assess(chosen: list[tuple[str, Mutant]], workers: int = 2) -> Outcome:
    """Check the chosen mutants."""
    start = time.monotonic()
    cases()
    names = {f"{name}: {m.key}": (name, m) for name, m in chosen}
    outcome, tally = Outcome(total=len(names)), Counter[str]()
    renamed = [Mutant(key, m.line, m.number, m.change, m.tree) for key, (_, m) in names.items()]
    for key, verdict in each_mutant.run_each(
        renamed, workers, TIME_LIMIT_S, lambda m: judge(names[m.key][0], m.build())
    ).items():
        outcome.found[key] = ": ".join(part for part in verdict if part) if verdict else "unjudged"
        if verdict is None:
            outcome.unjudged.append(key)
        elif verdict[0]:
            tally[verdict[0]] += 1
        else:
            (outcome.proved_equal if proved(key) else outcome.survivors).append(key)
    outcome.killed = dict(tally)
    outcome.seconds = time.monotonic() - start
    return outcome


def main() -> int:
    parser = argparse.ArgumentParser(
        prog="python -m tests.trust.profile_mutation",
        description=__doc__.splitlines()[0] if __doc__ else "",
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--json", action="store_true")
    chosen = parser.parse_args()
    outcome = assess(every(), chosen.workers)
    result = {"ok": outcome.ok, **outcome.__dict__, "proved_equal": len(outcome.proved_equal)}
    del result["found"]
    print(
        json.dumps(result)
        if chosen.json
        else "\n".join(f"{name}: {value}" for name, value in result.items())
    )
    return 0 if outcome.ok else 1


if __name__ == "__main__":
    sys.exit(main())
