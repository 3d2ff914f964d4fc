"""Drawn host mutants: a loosened limit is detected, and a change that no test detects is reported as a survivor."""

import subprocess
import sys

from tests.trust import host_mutation
from tests.trust.host_mutation import ROOT, HostMutant, every
from tests.trust.judged import JUDGED

ALL = every()
JUDGE = "import sys; from tests.trust.host_mutation import HostMutant, killed; print(killed(HostMutant(sys.argv[1], int(sys.argv[2]), ''), (sys.argv[3],)))"


def killed(mutant: HostMutant, test: str) -> bool:
    """Judged in a process of its own: none of the package may be loaded before the fork."""
    command = [sys.executable, "-c", JUDGE, mutant.module, str(mutant.site), test]
    found = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=True)
    return found.stdout.split()[-1] == "True"


def find(words: str) -> HostMutant:
    return next(mutant for mutant in ALL if mutant.key == words)


def test_every_row_names_a_module_and_tests_that_exist() -> None:
    for module, tests in JUDGED.items():
        assert host_mutation.source_of(module).is_file()
        assert all(
            (ROOT / "tests" / f"{name.replace('/', '/test_')}.py").is_file() for name in tests
        )


def test_there_are_many_mutants_and_each_is_another_program() -> None:
    assert len(ALL) > 500 and {"105 -> 106", "31815 -> 31816"} <= {mutant.words for mutant in ALL}
    source, _ = host_mutation.mutated(
        "rimward.limits.ceiling.assess", find("rimward.limits.ceiling.assess: 105 -> 106").site
    )
    assert "FILL_ONLY_PERCENT = 106" in source


def test_a_loosened_limit_is_killed_and_an_undetected_change_survives() -> None:
    loosened = find("rimward.limits.ceiling.assess: 105 -> 106")
    assert killed(loosened, "tests/unit/test_ceiling.py")
    assert not killed(loosened, "tests/unit/test_energy.py")


def test_a_judge_that_has_the_package_loaded_is_no_judge() -> None:
    """The fork would run what is loaded, not the mutant."""
    loaded = JUDGE.replace("import sys;", "import sys, rimward;", 1)
    mutant = find("rimward.limits.ceiling.assess: 105 -> 106")
    command = [sys.executable, "-c", loaded, mutant.module, str(mutant.site)]
    found = subprocess.run([*command, "tests/unit/test_ceiling.py"], cwd=ROOT, capture_output=True)
    assert found.returncode and b"loaded before the fork" in found.stderr


def test_equivalents_are_mutants_that_exist() -> None:
    import json

    listed = json.loads(host_mutation.EQUIVALENT.read_text(encoding="utf-8"))
    assert set(listed) <= {name for mutant in ALL for name in mutant.names} and all(
        len(reason) > 20 for reason in listed.values()
    )


def test_a_run_that_fails_by_itself_kills_nothing() -> None:
    broken = "import sys; from tests.trust import host_mutation as judge; judge.HOOK = '1 / 0'; "
    code = f"{broken} print(judge.judge((sys.argv[1],), 'rimward.base.units', ''))"
    found = subprocess.run(
        [sys.executable, "-c", code, "tests/unit/test_units.py"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    assert int(found.stdout) == host_mutation.NO_VERDICT and host_mutation.NO_VERDICT not in (1, 2)
