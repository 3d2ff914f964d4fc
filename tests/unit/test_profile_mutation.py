"""Small defects in the profile check are seen. The whole set: `python -m tests.trust.profile_mutation`."""

import ast
import json
import random
from pathlib import Path

import pytest
from rimward_protocol import mac, profile, replies

from tests.trust import profile_mutation, profile_rules
from tests.trust.guard_mutants import Mutant

FAST_SET = 40


def test_fast_set_is_killed_or_proved_equal():
    chosen = random.Random(8).sample(profile_mutation.every(), FAST_SET)
    outcome = profile_mutation.assess(chosen)
    assert outcome.survivors == [] and outcome.unjudged == []
    assert outcome.ok and outcome.total == FAST_SET


def test_the_check_itself_is_not_killed():
    assert profile_mutation.judge_profile(profile) == "" and profile_mutation.judge_mac(mac) == ""


def test_the_rules_reach_every_code_of_a_profile():
    checks, tags = profile_mutation.cases()
    codes = {code for _, _, code in checks}
    named = {row[0] for row in replies.REPLIES if row[1].startswith("profile-")}
    assert named <= codes | {replies.OK} and {code for _, _, code in tags} == {
        replies.OK,
        replies.TAG_WRONG,
        replies.NO_KEY,
    }


def test_mutants_are_many_and_named_apart():
    keys = [f"{name}: {m.key}" for name, m in profile_mutation.every()]
    assert len(keys) == len(set(keys)) > 350
    assert set(profile_mutation.known_equal()) <= set(keys)


def test_every_kept_proof_holds():
    assert all(profile_mutation.proved(key) for key in profile_mutation.known_equal())


@pytest.mark.parametrize(
    "kept",
    [
        {"one": "v > 0", "other": "v != 0", "where": "v <= 0"},
        {"one": "v", "other": "v + 1", "where": "And(v > 0, v < 0)"},
    ],
)
def test_a_false_or_an_empty_proof_does_not_help(kept, monkeypatch, tmp_path):
    """The first differs for -1; the second holds only because it is asked nowhere."""
    path = tmp_path / "equal.json"
    path.write_text(json.dumps({"key": kept}))
    monkeypatch.setattr(profile_mutation, "EQUIVALENT", path)
    assert profile_mutation.proved("key") is False and profile_mutation.proved("another") is False


def test_a_survivor_without_proof_and_an_endless_mutant_are_reported(monkeypatch):
    monkeypatch.setattr(profile_mutation, "JUDGE_CPU_S", 3.0)
    name, first = profile_mutation.every()[0]
    same = Mutant("same", 1, -1, lambda n: n, first.tree)
    hangs = Mutant("hangs", 1, 0, lambda n: ast.parse("while True: pass"), first.tree)
    outcome = profile_mutation.assess([(name, same), (name, hangs)], 1)
    assert (
        outcome.survivors == ["profile: same"]
        and outcome.found["profile: hangs"] == "endless"
        and not outcome.ok
    )


def test_an_unreadable_judge_does_not_kill():
    name, first = profile_mutation.every()[0]
    bad = Mutant("bad", 1, 0, lambda n: 1 // 0, first.tree)
    outcome = profile_mutation.assess([(name, bad)], 1)
    assert outcome.unjudged == ["profile: bad"] and not outcome.ok


def test_the_rules_are_not_the_check():
    """Restated in literals: nothing of `profile` is used where the expected codes are worked out."""
    text = Path(profile_rules.__file__).read_text()
    assert (
        "import profile" not in text
        and "profile." not in text.replace("profile.py", "").split('"""', 2)[2]
    )
