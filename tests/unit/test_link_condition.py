"""An inflator's condition over the line: trips kept through a restart, wear of its flash, deletion of a profile."""

import re
from pathlib import Path

import pytest
from rimward.base.errors import Refusal
from rimward.cli.commands.inflators import print_one
from rimward.device.link import Client, LockstepTransport, condition, verbs
from rimward.device.link.ports import about_row
from rimward.simulation.person import Person
from rimward.simulation.plant import faults
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator

from tests.unit.linkbench import profile

TABLE = (Path(__file__).parents[2] / "firmware" / "CRASH-TABLE.md").read_text()


def test_a_trip_is_reported_after_a_power_cut(capsys: pytest.CaptureFixture[str]) -> None:
    with VirtualInflator(
        plant_of(Scenario()), faults=faults.events("relay_stuck_on", 0)
    ) as inflator:
        person = Person(inflator)
        person.bring(profile())
        assert condition.trips(person.client) == []
        person.choose(Scenario().wheel_id())
        person.hold(3.0)
        assert person.status()["cause"] == "relay-stuck"
        inflator.hands.run = False
        inflator.advance(3.0)
        inflator.power_cycle()
        inflator.advance(2.0)
        with Client(LockstepTransport(inflator)) as client:
            told = {**about_row("line", client.about), **condition.condition(client)}
    (trip,) = told["trips"]
    assert (trip["cause"], trip["boot"], trip["session"]) == ("relay-stuck", 1, 1) and trip[
        "cause_next"
    ]
    assert (told["starts"], told["sessions_begun"], told["profiles"]) == (2, 1, 1) and told["wear"][
        "erases"
    ] > 0
    print_one(told)
    shown = capsys.readouterr().out
    assert "relay-stuck" in shown and "an estimate" in shown


def erases(action: str) -> float:
    row = re.search(rf"^\| {action} \| ([\d.]+) \|", TABLE[TABLE.index("## Wear") :], re.M)
    assert row is not None
    return float(row[1])


def test_wear_is_estimated_from_what_the_power_cuts_measured() -> None:
    assert erases("restart") == condition.ERASES_A_START
    assert erases("session appended") + erases("session ended") == condition.ERASES_A_SESSION
    assert max(erases("new profile"), erases("profile replaced")) == condition.ERASES_A_RECORD
    years = re.search(r"littlefs levels .*: \d+ years, or (\d+)\.", TABLE)
    assert years is not None
    days = int(years[1]) * 365
    assert condition.wear(days, 40 * days, 40_000, 1, 5 * days)["part"] == pytest.approx(
        1, abs=0.06
    )
    assert condition.wear(0, 0, 0, 0, 0) == {"erases": 0, "part": 0}


def test_a_profile_is_deleted_after_a_persons_yes_and_its_issue_number_stays() -> None:
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        person.bring(profile())
        inflator.advance(0.5)
        for words, told in (
            ("nobody's", "stores no profile"),
            ("", "stores no profile"),
            ("Larkspur front", "did not confirm"),
        ):
            with pytest.raises(Refusal, match=told):
                verbs.delete_profile(person.client, words, lambda _text: inflator.press("down"))
        assert len(verbs.list_profiles(person.client)) == 1
        done = verbs.delete_profile(person.client, "larkspur FRONT", person.confirm)
        assert (
            done["deleted"]
            and done["wheel_id"] == Scenario().wheel_id().hex()
            or done["label"] == "Larkspur front"
        )
        assert verbs.list_profiles(person.client) == []
        with pytest.raises(Refusal, match="issue-not-newer"):
            verbs.send_profile(person.client, profile())
        assert verbs.send_profile(person.client, profile(revision=2))["waiting_for_person"]
