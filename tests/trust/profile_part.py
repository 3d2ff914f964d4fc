"""The profile check's part of the trust report: every small defect in it is seen."""

import random
from typing import Any

from tests.trust import profile_mutation

QUICK_MUTANTS = 40
SEED = 3


def mutation(quick: bool) -> dict[str, Any]:
    """Every mutant of the check and of the tag, or a seeded part of them."""
    every = profile_mutation.every()
    chosen = random.Random(SEED).sample(every, QUICK_MUTANTS) if quick else every
    found = profile_mutation.assess(chosen, 1 if quick else 2)
    return {
        "ok": found.ok, "mutants": len(every), "judged": found.total, "killed": found.killed, "proved_equal": len(found.proved_equal),
        "survivors": found.survivors[:5], "unjudged": found.unjudged[:5],
    }  # fmt: skip


CHECKS = {"mutants-killed": mutation}
