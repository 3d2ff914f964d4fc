"""A test that a page leads, on the virtual bench in lockstep: its beats are the lease, and what it leaves behind."""

import json
import shutil

import pytest
from rimward.base.errors import Refusal
from rimward.device.link.transport import LineLost
from rimward.proof import bench
from rimward.proof import run as testing
from rimward.simulation.plant import layout as k
from rimward.web import kept as kept_tests
from rimward.web import trial
from rimward.web.kept import files_of, kept
from rimward.web.trial import Trial

from tests.unit.benchdesk import RING, WATER, desk, shortened

EVERY = 4  # turns of the loop between two beats of the page


class Page:
    """Send heartbeats as a page does, while it is `open`."""

    def __init__(self) -> None:
        self.open = True
        self.asked = 0

    def take(self) -> bool:
        self.asked += 1
        return self.open and self.asked % EVERY == 0

    @property
    def broken(self) -> bool:
        return not self.open

    def silent_s(self) -> float:
        return 0.0 if self.open else 1000.0

    def begin(self) -> None:
        pass


class Led:
    """A running test with a person who follows the instructions. `then(kind of news, facts)` is called for every message."""

    def __init__(self, inflator, hands, then, test: bench.Test = WATER) -> None:
        self.page, self.seen = Page(), []
        self._inflator, self._then = inflator, then
        self._hands = hands
        self.trial = Trial(test, RING, self.page, self.told, medium="water", who="Maren Holt")  # type: ignore[arg-type]

    def told(self, led: Trial, status) -> None:
        facts = led.facts
        if status is None and facts["phase"] != "sent":
            kind = {"run": "level", "ended": "", "refused": ""}.get(facts["phase"], facts["phase"])
            if (kind, facts["state"], facts["at"]) not in self.seen:
                self.seen.append((kind, facts["state"], facts["at"]))
                self._hands.tell(kind, {"state": facts["state"]})
            self._then(self, facts)


@pytest.fixture
def place(monkeypatch, tmp_path):
    shortened(monkeypatch)
    monkeypatch.setenv("RIMWARD_DATA", str(tmp_path))


def lead(then, test: bench.Test = WATER):
    """(result or Refusal, facts, inflator's ticks from the last beat to off and vented)."""
    with desk(test) as (inflator, client, hands):
        led = Led(inflator, hands, then, test)
        ended = {}

        def watch(one) -> None:
            if not led.page.open or led.trial._called_off:
                ended.setdefault("gone", one.ticks)
                if one.out & 3 == 0 and one.drive & k.VENT:
                    ended.setdefault("off", one.ticks)

        inflator.watchers.append(watch)
        try:
            found = led.trial.run(client)
        except Refusal as refused:
            found = refused
        return found, led.trial.facts, ended, inflator.plant.tyre_pa


def test_whole_test_is_kept_with_its_figures(place, tmp_path) -> None:
    found, facts, _ended, left_pa = lead(lambda _led, _facts: None)
    assert (
        found["ended"] == "done"
        and facts["phase"] == "ended"
        and facts["at"] == 2
        and left_pa < 5e3
    )
    (row,) = kept()
    assert (
        row == {**facts["result"], "own": True}
        and row["all_held"]
        and row["limit"] == "5.00 bar (72.5 psi) gauge"
    )
    files = files_of(row["name"])
    assert all(path.is_file() for path in files.values())
    assert json.loads(files["json"].read_text())["row"] == found["row"]
    for name in ("../..", "20260101-000000", row["name"] + "x"):
        with pytest.raises(Refusal, match="no kept test"):
            files_of(name)


def closes(led: Led, facts) -> None:
    if facts["state"] == "leak-watch" and facts["at"] == 1:
        led.page.open = False


def calls_off(led: Led, facts) -> None:
    if facts["state"] == "leak-watch" and facts["at"] == 1:
        led.trial.call_off()


@pytest.mark.parametrize("then", [closes, calls_off])
def test_without_beats_the_bench_is_off_and_vented_within_the_lease(place, then) -> None:
    found, facts, ended, left_pa = lead(then)
    assert ended["off"] - ended["gone"] <= trial.LEASE_MS // 2 + 3
    assert left_pa < 5e3
    assert found["ended"] == "stopped" and found["cause"] == "beat-lost"
    assert facts["result"]["note"].startswith(
        "Beat lost: no beat of the page came for 0.5"
    ) and found["highest_bar"] == pytest.approx(5.0, abs=0.1)


def test_a_page_that_goes_before_the_air_ends_the_test(place) -> None:
    def then(led: Led, facts) -> None:
        led.page.open = facts["phase"] != "hold"
        led._hands.inflator.hands.run = False

    found, facts, _ended, left_pa = lead(then)
    assert isinstance(found, Refusal) and "has gone" in str(found) and left_pa < 100


def test_a_pulled_cable_stops_and_vents_and_the_record_comes_home(place) -> None:
    pulled: list[int] = []

    def then(led: Led, facts) -> None:
        if facts["state"] == "leak-watch" and facts["at"] == 1 and not pulled:
            pulled.append(led._inflator.ticks)

    with desk(WATER) as (inflator, client, hands):
        led = Led(inflator, hands, then)
        line, whole = client.transport, client.transport.read

        def read() -> bytes:
            if len(pulled) == 1:
                raise LineLost("The connection was lost.", "Plug the cable in.")
            return whole()

        def reopen(_seconds: float) -> bool:
            inflator.advance(3.0)  # the cable is out for so long
            pulled.append(inflator.ticks)
            assert (
                inflator.out & 3 == 0 and inflator.drive & k.VENT and inflator.plant.tyre_pa < 5e3
            )
            return True

        line.read, line.reopen = read, reopen
        found = led.trial.run(client)
    assert len(pulled) == 2 and client.reopened == 1 and client.reconnect_s == 0
    assert found["ended"] == "stopped" and found["highest_bar"] == pytest.approx(5.0, abs=0.1)
    assert led.trial.facts["phase"] == "ended" and len(kept()) == 1


def test_a_test_that_a_killed_server_led_is_listed_and_completed_afterwards(
    place, tmp_path
) -> None:
    """Killed at the limit: what is on disk then is all that the next server finds. The bench's record is fetched by a button."""
    folder = kept_tests.place() / "20260102-030405"
    with desk(WATER) as (inflator, client, hands):

        def tell(kind, facts) -> None:
            hands.tell(kind, facts)
            if kind == "level" and facts["state"] == "leak-watch" and facts["level_pa"] == 500_000:
                shutil.copytree(folder, tmp_path / "as-killed")
                raise KeyboardInterrupt

        with pytest.raises(KeyboardInterrupt):
            testing.run(client, WATER, RING, folder, tell)
        shutil.rmtree(folder)
        shutil.copytree(tmp_path / "as-killed", folder)
        assert kept(running=folder.name) == []
        (row,) = kept()
        assert (
            row["interrupted"]
            and not row["own"]
            and row["label"] == "specimen"
            and "not closed" in row["note"]
        )
        assert row["highest"].startswith(("4.9", "5.0")) and files_of(folder.name)["rws"].is_file()
        inflator.advance(3)
        inflator.hands.run = False
        inflator.advance(3)
        found = kept_tests.finish(folder.name, client, RING)
    (row,) = kept()
    assert (
        found["cause"] == "beat-lost"
        and row["own"]
        and not row["interrupted"]
        and row["cause"] == "beat lost"
    )
