"""The command line against a virtual inflator on a real pseudo-terminal: what a user does, and what goes wrong for one."""

import csv
import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest
import serial
from rimward.link import verbs
from rimward.link.ports import open_client
from rimward.simulation.attacks import forged
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of
from rimward.virtual import VirtualInflator, Where
from rimward_protocol import codes, frame, layout

from tests.unit.linkbench import RIMWARD, Inflator, Shop, profile

WHEEL = Scenario().wheel_id()


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    made = Shop(tmp_path_factory.mktemp("shop"))
    made.take_key()
    (made.folder / "good.rwp").write_bytes(profile())
    return made


@pytest.fixture(scope="module")
def inflator(shop: Shop) -> Iterator[Inflator]:
    """With the invented wheel's profile in it."""
    made = Inflator(shop)
    assert made.enrol(shop)["enrolled"]
    assert shop.json("profile", "send", "good.rwp", "--port", made.port)["revision"] == 1
    yield made
    made.close()


@pytest.fixture
def held(inflator: Inflator) -> Iterator[list]:
    """What the inflator holds; the same must stand there after the test."""

    def listed() -> list:
        with open_client(inflator.port) as client:
            return verbs.list_profiles(client)

    before = listed()
    yield before
    assert listed() == before


def test_found_and_described(shop: Shop, inflator: Inflator) -> None:
    rows = [row for row in shop.json("inflators") if row["inflator"]]
    assert [os.path.realpath(row["port"]) for row in rows] == [inflator.port]
    assert rows[0]["board"] == "simulated" and rows[0]["simulated"] and not rows[0]["latched"]
    assert rows[0]["interpreter"].startswith("micropython ")
    listed = shop.run("inflators").stdout
    assert "virtual0" in listed and "Never calibrated" in listed


def test_link_of_a_dead_inflator_is_not_opened_but_taken_away(shop: Shop) -> None:
    dead = subprocess.Popen([sys.executable, "-c", ""])
    dead.wait()
    folder = shop.folder / "run" / "rimward" / "virtual"
    folder.mkdir(parents=True, exist_ok=True)
    stale = folder / f"inflator-{dead.pid}"
    stale.symlink_to("/dev/null")
    assert str(stale) not in [row["port"] for row in shop.json("inflators")]
    assert not stale.is_symlink()


def test_what_is_sent_is_what_is_held(shop: Shop, inflator: Inflator, held: list) -> None:
    rows = shop.json("profile", "list", "--port", inflator.port)
    assert len(rows) == len(held) == 1
    assert bytes.fromhex(rows[0]["data"]) == held[0]["data"] == profile()
    assert rows[0]["intact"] and rows[0]["tag_fits"]
    text = shop.run("profile", "show", "good.rwp").stdout
    assert rows[0]["profile"]["wheel_id"] in text


def test_send_again_is_harmless(shop: Shop, inflator: Inflator, held: list) -> None:
    assert shop.run("profile", "send", "good.rwp", "--port", inflator.port).returncode == 0


def damaged_files() -> dict[str, tuple[bytes, str]]:
    """name -> (bytes of the file, a part of the line that must be shown)."""
    good = profile(revision=2)
    flipped = bytearray(good)
    flipped[20] ^= 4
    version = bytearray(good)
    version[3] = 9
    over = forged(good, rim_class=codes.RIM_TC, limit_pa=950000, ceiling_pa=950000)
    straight = forged(good, limit_pa=510000, ceiling_pa=510000)
    return {
        "empty": (b"", "wrong length"),
        "truncated": (good[:-1], "wrong length"),
        "flipped": (bytes(flipped), "check code does not fit"),
        "version": (bytes(version), "another version"),
        "oversize": (good + bytes(1), "wrong length"),
        "huge": (good * 2000, "too large"),
        "over-ceiling": (over, "900 kPa"),
        "straight-side": (straight, "500 kPa"),
        "target": (forged(good, target_pa=480000), "above the ceiling"),
        "noise": (bytes(range(1, len(good) + 1)), "not a profile"),
        "json": (b'{"form": 3}', "form"),
    }


@pytest.mark.parametrize("name", damaged_files())
def test_bad_profile_is_refused_in_one_line(shop: Shop, inflator: Inflator, held: list, name: str) -> None:
    data, told = damaged_files()[name]
    (shop.folder / f"{name}.rwp").write_bytes(data)
    line = shop.refused("profile", "send", f"{name}.rwp", "--port", inflator.port)
    assert told in line
    assert line.count(". ") >= 1 or line.count(": ") >= 2, line  # what, and what to do


def test_missing_file(shop: Shop, inflator: Inflator, held: list) -> None:
    assert "cannot be read" in shop.refused("profile", "send", "nowhere.rwp", "--port", inflator.port)


def test_unknown_port(shop: Shop) -> None:
    for words in (("profile", "list"), ("profile", "send", "good.rwp"), ("watch",), ("session", "pull")):
        done = shop.run(*words, "--port", "/dev/ttyRIMWARD9")
        assert done.returncode == 1 and done.stderr.splitlines()[-1] == "rimward: There is no port /dev/ttyRIMWARD9. List the inflators that are here with `rimward inflators`."


def test_port_that_is_no_serial_line(shop: Shop) -> None:
    (shop.folder / "plain").write_text("text")
    assert "cannot be opened as a serial line" in shop.refused("profile", "list", "--port", "plain")


def test_port_where_nothing_answers(shop: Shop) -> None:
    master, slave = os.openpty()
    try:
        assert "does not answer" in shop.refused("profile", "list", "--port", os.ttyname(slave))
    finally:
        os.close(master)
        os.close(slave)


def test_busy_port(shop: Shop, inflator: Inflator, held: list) -> None:
    line = serial.Serial(inflator.port, exclusive=True)
    try:
        told = shop.refused("profile", "list", "--port", inflator.port)
        assert told.endswith("is in use by another program. Close that program, then try again.")
        row = [row for row in shop.json("inflators") if os.path.realpath(row["port"]) == inflator.port][0]
        assert not row["inflator"] and "in use" in row["why"]
    finally:
        line.close()


@pytest.mark.parametrize("words", [("profile", "list", "x"), ("profile", "send"), ("watch", "--rate", "0"), ("session", "pull", "--session", "0"), ("session", "show")])
def test_wrong_usage_is_exit_code_2(shop: Shop, words: tuple[str, ...]) -> None:
    done = shop.run(*words)
    assert done.returncode == 2 and "Traceback" not in done.stderr and done.stdout == ""


@pytest.mark.parametrize(
    "noise",
    [
        bytes(range(256)) * 40,
        b"\0" * 3000,
        frame.encode(codes.PROFILE_PUT, 7, profile(revision=3))[:60],
        frame.encode(codes.STATUS, 1)[:-1],
        frame.encode(codes.PROFILE_PUT, 9, profile(revision=4))[:-1] + frame.encode(codes.STATUS, 10),
        b"".join(frame.encode(kind, kind) for kind in range(256)),
    ],
    ids=["bytes", "zeros", "half-upload", "no-end", "upload-then-status", "every-number"],
)
def test_noise_of_another_program_changes_nothing(inflator: Inflator, held: list, noise: bytes) -> None:
    with serial.Serial(inflator.port, exclusive=True, write_timeout=5) as line:
        line.write(noise)


def test_flood_is_over_when_it_is_over(shop: Shop, inflator: Inflator, held: list) -> None:
    with serial.Serial(inflator.port, exclusive=True, write_timeout=0.5) as line:
        try:
            while True:
                line.write(os.urandom(4096).replace(b"\0", b"\1"))
        except serial.SerialTimeoutException:
            pass  # the line is full to the brim
    assert inflator.status()["cause"] == "none"


def test_two_frames_at_once_and_one_in_pieces(inflator: Inflator, held: list) -> None:
    hello = frame.encode(codes.HELLO, 1, layout.pack(layout_of(codes.HELLO), greeting(77)))
    asked = b"\0" + hello + frame.encode(codes.STATUS, 2) + frame.encode(codes.WAITING, 3)
    with serial.Serial(inflator.port, exclusive=True, timeout=0.1) as line:
        line.write(asked[:50])
        for byte in asked[50:]:
            time.sleep(0.004)
            line.write(bytes((byte,)))
        wanted = [(codes.HELLO_IS, 1), (codes.STATUS_IS, 2), (codes.WAITING_IS, 3)]
        assert answers(line, *wanted) == wanted
        line.write(frame.encode(codes.BYE, 4))
        assert answers(line, (codes.DONE, 4))


def layout_of(kind: int) -> tuple:
    from rimward_protocol import messages

    return messages.payload_of(kind)


def greeting(host_id: int, what: int = 1) -> dict:
    return {"protocol": codes.PROTOCOL_VERSION, "layout_hash": layout.layout_hash(), "what": what, "host_id": host_id}


def answers(line: serial.Serial, *wanted: tuple[int, int]) -> list[tuple[int, int]]:
    """The replies among `wanted` (message, sequence number) in the order they came; what others left on the line is passed over."""
    decoder, got = frame.Decoder(), []
    until = time.monotonic() + 30.0
    while len(got) < len(wanted) and time.monotonic() < until:
        for byte in line.read(64):
            if decoder.put(byte) == frame.FRAME and (decoder.kind, decoder.sequence) in wanted:
                got.append((decoder.kind, decoder.sequence))
    return got


def test_a_host_that_died_does_not_keep_others_out(inflator: Inflator) -> None:
    with serial.Serial(inflator.port, exclusive=True, timeout=0.1) as line:
        line.write(frame.encode(codes.HELLO, 1, layout.pack(layout_of(codes.HELLO), greeting(4711))))
        assert answers(line, (codes.HELLO_IS, 1))
        begun = time.monotonic()
    with open_client(inflator.port) as client:  # it waits for the dead one's hold to run out
        assert client.about["flags"] & 8
    assert time.monotonic() - begun > 3.0


def test_watch_shows_rows_and_stops(shop: Shop, inflator: Inflator) -> None:
    done = shop.run("watch", "--port", inflator.port, "--rate", "20", "--seconds", "1.5", "--json")
    rows = [json.loads(line) for line in done.stdout.splitlines()]
    assert done.returncode == 0 and 5 <= len(rows) <= 40
    ticks = sorted({row["tick"] for row in rows})  # a sample that grows old is shown again
    assert all(0 <= row["age_s"] < 60 and row["old"] is (row["age_s"] > 1.0) for row in rows)
    assert all(b - a == 25 for a, b in zip(ticks, ticks[1:]))
    assert set(rows[0]) == {
        "tick", "reading_pa", "a_pa", "b_pa", "tyre_pa", "ceiling_pa", "stop_pa", "target_pa", "state", "air_on", "cause", "waiting", "stop_cause",
        "age_s", "old", "status_old",
    }  # fmt: skip
    assert "at the hose" in shop.run("watch", "--port", inflator.port, "--seconds", "0.6").stdout


def test_watch_survives_a_restart_of_the_inflator(shop: Shop, inflator: Inflator) -> None:
    path = shop.folder / "rows.jsonl"
    words = [*RIMWARD, "watch", "--port", inflator.port, "--seconds", "10", "--json"]
    with path.open("w") as out, subprocess.Popen(words, env=shop.env, stdout=out) as watching:
        until = time.monotonic() + 60
        while path.read_text().count("\n") < 10:
            assert time.monotonic() < until
            time.sleep(0.05)
        children = subprocess.run(["pgrep", "-P", str(inflator.process.pid)], capture_output=True, text=True).stdout.split()
        os.kill(int(children[0]), signal.SIGKILL)
        watching.wait(120)
    rows = [json.loads(line) for line in path.read_text().splitlines()]
    ticks = [row["tick"] for row in rows]
    falls = [i for i in range(1, len(ticks)) if ticks[i] < ticks[i - 1]]
    assert watching.returncode == 0
    assert len(falls) == 1 and len(ticks) - falls[0] > 10, ticks


@pytest.fixture(scope="module")
def session(shop: Shop, inflator: Inflator) -> Path:
    """A short hold on the run control, brought home."""
    inflator.choose(WHEEL)
    inflator.answer()
    inflator.wait(lambda s: s["ceiling_pa"] > 0)
    inflator.say("hold")
    inflator.wait(lambda s: s["tyre_pa"] is not None and s["tyre_pa"] > 20000 or s["reading_pa"] > 60000)
    inflator.say("let-go")
    time.sleep(0.5)
    inflator.choose(bytes(8))  # another wheel on the hose ends the visit and its record
    rows = shop.json("session", "pull", "--list", "--port", inflator.port)
    assert rows and rows[0]["cause"] == "released"
    done = shop.run("session", "pull", "--port", inflator.port, "-o", "one.rws", "--json")
    assert done.returncode == 0, done.stderr
    told = json.loads(done.stdout)
    assert told["damage"] == "" and told["bytes"] == rows[0]["bytes"] == (shop.folder / "one.rws").stat().st_size
    return shop.folder / "one.rws"


def test_session_is_shown(shop: Shop, session: Path) -> None:
    told = shop.json("session", "show", session)
    figures = told["figures"]
    assert figures["label"] == "Larkspur front" and figures["cause"] == "released" and figures["ceiling_pa"] > 400000
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
    assert shop.run("session", "export", session, "-o", "one.pdf").returncode == 2 and not (shop.folder / "one.pdf").exists()


def test_exports_tell_in_json_what_they_wrote(shop: Shop, session: Path) -> None:
    told = shop.json("session", "export", session, "-o", "told.csv", "--overwrite")
    assert (told["format"], told["damage"]) == ("csv", "") and (shop.folder / told["written"]).exists()
    assert shop.json("session", "export", session)["figures"]["session"] == 1
    assert shop.run("session", "export", session, "--json", "--format", "csv").returncode == 2
    told = shop.json("key", "export", "exported.json")
    assert told == {"file": "exported.json", "purpose": "workshop", "key_id": shop.json("key", "show")["keys"][0]["key_id"]}


def test_one_inflator_tells_how_it_has_fared(shop: Shop, inflator: Inflator, held: list) -> None:
    told = shop.json("inflators", "--port", inflator.port)
    assert told["inflator"] and told["profiles"] == 1 and told["trips"] == [] and 0 < told["wear"]["part"] < 0.01
    assert "No trip is kept" in shop.run("inflators", "--port", inflator.port).stdout
    assert "There is no port" in shop.refused("inflators", "--port", "/dev/ttyRIMWARD9")


def test_a_profile_that_is_not_there_is_not_deleted(shop: Shop, inflator: Inflator, held: list) -> None:
    assert "holds no profile" in shop.refused("profile", "delete", "aspen", "--port", inflator.port)


def test_session_replays(shop: Shop, session: Path) -> None:
    assert shop.json("replay", session)["identical"]


def test_interrupted_pull_goes_on(shop: Shop, inflator: Inflator, session: Path) -> None:
    whole = session.read_bytes()
    number = shop.json("session", "pull", "--list", "--port", inflator.port)[0]["session"]
    part = shop.folder / f"two.rws.virtual0-{number}.part"
    for kept in (whole[:1000], whole[:13], bytes(1000), whole + b"more"):
        part.write_bytes(kept)
        assert shop.run("session", "pull", "--port", inflator.port, "-o", "two.rws", "--overwrite").returncode == 0
        assert (shop.folder / "two.rws").read_bytes() == whole
        assert not part.exists()
    with open_client(inflator.port) as client:
        part.write_bytes(whole[:1000])
        seen: list[int] = []
        verbs.pull_session(client, number, shop.folder / "two.rws", lambda have, _size: seen.append(have))
        assert seen[0] > 1000 and seen[-1] == len(whole)


def test_sessions_that_are_not_there(shop: Shop, inflator: Inflator, session: Path) -> None:
    assert "no session 999" in shop.refused("session", "pull", "--port", inflator.port, "--session", "999", "-o", "none.rws")
    assert "exists already" in shop.refused("session", "pull", "--port", inflator.port, "-o", session)
    assert "cannot be read" in shop.refused("session", "show", "nowhere.rws")
    assert "not a session" in shop.refused("session", "show", "good.rwp")


def test_record_of_an_inflator_with_the_shops_key_is_verified(shop: Shop, session: Path) -> None:
    told = shop.json("session", "verify", session)
    assert told["verdict"] == "holds" and told["ok"]


def test_damaged_record_is_told(shop: Shop, session: Path) -> None:
    data = session.read_bytes()
    (shop.folder / "cut.rws").write_bytes(data[: len(data) // 2])
    told = shop.json("session", "show", "cut.rws")
    assert told["damage"] and told["good_bytes"] <= len(data) // 2
    assert "DAMAGED" in shop.run("session", "show", "cut.rws").stdout
    done = shop.run("session", "verify", "cut.rws")
    assert done.returncode == 1 and "DAMAGED" in done.stdout


def test_a_full_table_takes_a_newer_wheel_and_drops_the_oldest(shop: Shop) -> None:
    flash = shop.folder / "full.flash"
    with VirtualInflator(plant_of(Scenario()), where=Where(flash=flash)) as virtual:
        from rimward.link import Client, LockstepTransport

        Person(virtual).enrol()
        client = Client(LockstepTransport(virtual))
        base = profile("Fernhollow demo")
        for number in range(200):
            verbs.send_profile(client, forged(base, wheel_id=b"wheel" + bytes((1, 1, number + 1)), issue=3_000_000 + number))
        virtual.advance(0.5)
    made = Inflator(shop, "--state", flash)
    try:
        sent = shop.json("profile", "send", "good.rwp", "--port", made.port)
        with open_client(made.port) as held:
            rows = {row["profile"]["wheel_id"] for row in verbs.list_profiles(held)}
        assert len(rows) == 200 and bytes.fromhex(sent["wheel_id"]) in rows and b"wheel" + bytes((1, 1, 1)) not in rows
    finally:
        made.close()
