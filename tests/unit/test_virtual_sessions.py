"""Sessions of a virtual inflator on a pseudo-terminal, by the command line: pulled, shown, exported, replayed, verified."""

import csv
import json
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
from rimward.device.link import verbs
from rimward.device.link.ports import open_client
from rimward.simulation.scenario import Scenario

from tests.unit.linkbench import Inflator, Shop, enrolled, stocked

WHEEL = Scenario().wheel_id()


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return stocked(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def inflator(shop: Shop) -> Iterator[Inflator]:
    with enrolled(shop) as made:
        yield made


@pytest.fixture(scope="module")
def session(shop: Shop, inflator: Inflator) -> Path:
    """Hold the run control briefly and pull the session."""
    inflator.choose(WHEEL)
    inflator.answer()
    inflator.wait(lambda s: s["ceiling_pa"] > 0)
    inflator.say("hold")
    inflator.wait(
        lambda s: s["tyre_pa"] is not None and s["tyre_pa"] > 20000 or s["reading_pa"] > 60000
    )
    inflator.say("let-go")
    time.sleep(0.5)
    inflator.choose(bytes(8))  # another wheel on the hose ends the visit and its record
    until = time.monotonic() + 30
    rows = shop.json("session", "pull", "--list", "--port", inflator.port)
    while not (rows and rows[0]["ended"]) and time.monotonic() < until:  # written piece by piece
        rows = shop.json("session", "pull", "--list", "--port", inflator.port)
    assert rows and rows[0]["cause"] == "released"
    done = shop.run("session", "pull", "--port", inflator.port, "-o", "one.rws", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert (
        told["damage"] == ""
        and told["bytes"] == rows[0]["bytes"] == (shop.folder / "one.rws").stat().st_size
    )
    return shop.folder / "one.rws"


def test_session_is_shown(shop: Shop, session: Path) -> None:
    told = shop.json("session", "show", session)
    figures = told["figures"]
    assert (
        figures["label"] == "Larkspur front"
        and figures["cause"] == "released"
        and figures["ceiling_pa"] > 400000
    )
    assert {"armed", "run-held", "run-released"} <= {row["event"] for row in told["events"]}
    assert sum(span["ticks"] for span in told["spans"]) > 500
    text = shop.run("session", "show", session).stdout
    for words in ("Larkspur front", "psi", "gauge", "released", "replays exactly"):
        assert words in text


def test_session_is_exported(shop: Shop, session: Path) -> None:
    assert shop.run("session", "export", session, "-o", "one.csv").returncode == 0
    with (shop.folder / "one.csv").open() as file:
        rows = list(csv.DictReader(file))
    assert rows[0]["time_s"] == "0.0" and max(int(row["a_pa"]) for row in rows) > 20000
    assert {row["air_on"] for row in rows} == {"0", "1"}
    every = shop.run("session", "export", session, "--every-tick").stdout.splitlines()
    assert len(every) > 3 * len(rows)
    assert shop.run("session", "export", session, "-o", "one.json").returncode == 0
    whole = json.loads((shop.folder / "one.json").read_text())
    assert len(whole["readings"]) == len(rows) and whole["figures"]["cause"] == "released"
    assert "exists already" in shop.refused("session", "export", session, "-o", "one.csv")
    assert (
        shop.run("session", "export", session, "-o", "one.pdf").returncode == 2
        and not (shop.folder / "one.pdf").exists()
    )


def test_exports_report_in_json_what_they_wrote(shop: Shop, session: Path) -> None:
    told = shop.json("session", "export", session, "-o", "told.csv", "--overwrite")
    assert (told["format"], told["damage"]) == ("csv", "") and (
        shop.folder / told["written"]
    ).exists()
    assert shop.json("session", "export", session)["figures"]["session"] == 1
    assert shop.run("session", "export", session, "--json", "--format", "csv").returncode == 2
    told = shop.json("key", "export", "exported.json")
    assert told == {
        "file": "exported.json",
        "purpose": "workshop",
        "key_id": shop.json("key", "show")["keys"][0]["key_id"],
    }


def test_session_replays(shop: Shop, session: Path) -> None:
    assert shop.json("replay", session)["identical"]


def test_interrupted_pull_goes_on(shop: Shop, inflator: Inflator, session: Path) -> None:
    whole = session.read_bytes()
    number = shop.json("session", "pull", "--list", "--port", inflator.port)[0]["session"]
    part = shop.folder / f"two.rws.virtual0-{number}.part"
    for kept in (whole[:1000], whole[:13], bytes(1000), whole + b"more"):
        part.write_bytes(kept)
        assert (
            shop.run(
                "session", "pull", "--port", inflator.port, "-o", "two.rws", "--overwrite"
            ).returncode
            == 0
        )
        assert (shop.folder / "two.rws").read_bytes() == whole
        assert not part.exists()
    with open_client(inflator.port) as client:
        part.write_bytes(whole[:1000])
        seen: list[int] = []
        verbs.pull_session(
            client, number, shop.folder / "two.rws", lambda have, _size: seen.append(have)
        )
        assert seen[0] > 1000 and seen[-1] == len(whole)


def test_sessions_that_are_not_there(shop: Shop, inflator: Inflator, session: Path) -> None:
    assert "no session 999" in shop.refused(
        "session", "pull", "--port", inflator.port, "--session", "999", "-o", "none.rws"
    )
    assert "exists already" in shop.refused(
        "session", "pull", "--port", inflator.port, "-o", session
    )
    assert "cannot be read" in shop.refused("session", "show", "nowhere.rws")
    assert "not a session" in shop.refused("session", "show", "good.rwp")


def test_record_of_an_inflator_with_the_shops_key_is_verified(shop: Shop, session: Path) -> None:
    told = shop.json("session", "verify", session)
    assert told["verdict"] == "holds" and told["ok"]


def test_a_damaged_record_is_reported(shop: Shop, session: Path) -> None:
    data = session.read_bytes()
    (shop.folder / "cut.rws").write_bytes(data[: len(data) // 2])
    told = shop.json("session", "show", "cut.rws")
    assert told["damage"] and told["good_bytes"] <= len(data) // 2
    assert "DAMAGED" in shop.run("session", "show", "cut.rws").stdout
    done = shop.run("session", "verify", "cut.rws")
    assert done.returncode == 1 and "DAMAGED" in done.stdout
