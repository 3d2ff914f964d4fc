"""The command line against a virtual inflator on a real pseudo-terminal: what a user does, and what goes wrong for one."""

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator

import pytest
import serial
from rimward.device.link import verbs
from rimward.device.link.ports import open_client
from rimward.simulation.attacks import forged
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator, Where
from rimward_protocol import codes, frame, layout

from tests.unit.linkbench import RIMWARD, Inflator, Shop, enrolled, profile, stocked

WHEEL = Scenario().wheel_id()


@pytest.fixture(scope="module")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Shop:
    return stocked(tmp_path_factory.mktemp("shop"))


@pytest.fixture(scope="module")
def inflator(shop: Shop) -> Iterator[Inflator]:
    with enrolled(shop) as made:
        yield made


@pytest.fixture
def held(inflator: Inflator) -> Iterator[list]:
    """What the inflator holds; it must be the same after the test."""

    def listed() -> list:
        with open_client(inflator.port, tries=10) as client:  # noise is answered first
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


def test_a_stale_link_is_removed_and_not_opened(shop: Shop) -> None:
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
        "empty": (b"", "length is wrong"),
        "truncated": (good[:-1], "length is wrong"),
        "flipped": (bytes(flipped), "check code does not fit"),
        "version": (bytes(version), "another version"),
        "oversize": (good + bytes(1), "length is wrong"),
        "huge": (good * 2000, "too large"),
        "over-ceiling": (over, "900 kPa"),
        "straight-side": (straight, "500 kPa"),
        "target": (forged(good, target_pa=480000), "above the ceiling"),
        "noise": (bytes(range(1, len(good) + 1)), "Not a profile"),
        "json": (b'{"form": 3}', "form"),
    }


@pytest.mark.parametrize("name", damaged_files())
def test_bad_profile_is_refused_in_one_line(
    shop: Shop, inflator: Inflator, held: list, name: str
) -> None:
    data, told = damaged_files()[name]
    (shop.folder / f"{name}.rwp").write_bytes(data)
    line = shop.refused("profile", "send", f"{name}.rwp", "--port", inflator.port)
    assert told in line
    assert line.count(". ") >= 1 or line.count(": ") >= 2, line  # what, and what to do


def test_missing_file(shop: Shop, inflator: Inflator, held: list) -> None:
    assert "cannot be read" in shop.refused(
        "profile", "send", "nowhere.rwp", "--port", inflator.port
    )


def test_unknown_port(shop: Shop) -> None:
    for words in (
        ("profile", "list"),
        ("profile", "send", "good.rwp"),
        ("watch",),
        ("session", "pull"),
    ):
        done = shop.run(*words, "--port", "/dev/ttyRIMWARD9")
        assert (
            done.returncode == 1
            and done.stderr.splitlines()[-1]
            == "rimward: There is no port /dev/ttyRIMWARD9. List the inflators with `rimward inflators`."
        )


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
        row = [
            row for row in shop.json("inflators") if os.path.realpath(row["port"]) == inflator.port
        ][0]
        assert not row["inflator"] and "in use" in row["why"]
    finally:
        line.close()


@pytest.mark.parametrize(
    "words",
    [
        ("profile", "list", "x"),
        ("profile", "send"),
        ("watch", "--rate", "0"),
        ("session", "pull", "--session", "0"),
        ("session", "show"),
    ],
)
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
        frame.encode(codes.PROFILE_PUT, 9, profile(revision=4))[:-1]
        + frame.encode(codes.STATUS, 10),
        b"".join(frame.encode(kind, kind) for kind in range(256)),
    ],
    ids=["bytes", "zeros", "half-upload", "no-end", "upload-then-status", "every-number"],
)
def test_noise_of_another_program_changes_nothing(
    inflator: Inflator, held: list, noise: bytes
) -> None:
    with serial.Serial(inflator.port, exclusive=True, write_timeout=5) as line:
        line.write(noise)


def test_the_line_works_again_after_a_flood(shop: Shop, inflator: Inflator, held: list) -> None:
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
    return {
        "protocol": codes.PROTOCOL_VERSION,
        "layout_hash": layout.layout_hash(),
        "what": what,
        "host_id": host_id,
    }


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
        line.write(
            frame.encode(codes.HELLO, 1, layout.pack(layout_of(codes.HELLO), greeting(4711)))
        )
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
        "tick", "reading_pa", "a_pa", "b_pa", "tyre_pa", "tyre_low_pa", "tyre_high_pa", "ceiling_pa", "stop_pa", "target_pa", "state", "air_on",
        "cause", "waiting", "stop_cause", "age_s", "old", "status_old",
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
        children = subprocess.run(
            ["pgrep", "-P", str(inflator.process.pid)], capture_output=True, text=True
        ).stdout.split()
        os.kill(int(children[0]), signal.SIGKILL)
        watching.wait(120)
    rows = [json.loads(line) for line in path.read_text().splitlines()]
    ticks = [row["tick"] for row in rows]
    falls = [i for i in range(1, len(ticks)) if ticks[i] < ticks[i - 1]]
    assert watching.returncode == 0
    assert len(falls) == 1 and len(ticks) - falls[0] > 10, ticks


def test_one_inflator_reports_its_condition(shop: Shop, inflator: Inflator, held: list) -> None:
    told = shop.json("inflators", "--port", inflator.port)
    assert (
        told["inflator"]
        and told["profiles"] == 1
        and told["trips"] == []
        and 0 < told["wear"]["part"] < 0.01
    )
    assert "No trip is kept" in shop.run("inflators", "--port", inflator.port).stdout
    assert "There is no port" in shop.refused("inflators", "--port", "/dev/ttyRIMWARD9")


def test_a_profile_that_is_not_there_is_not_deleted(
    shop: Shop, inflator: Inflator, held: list
) -> None:
    assert "stores no profile" in shop.refused(
        "profile", "delete", "aspen", "--port", inflator.port
    )


def test_a_full_table_takes_a_newer_wheel_and_drops_the_oldest(shop: Shop) -> None:
    flash = shop.folder / "full.flash"
    with VirtualInflator(plant_of(Scenario()), where=Where(flash=flash)) as virtual:
        from rimward.device.link import Client, LockstepTransport

        Person(virtual).enrol()
        client = Client(LockstepTransport(virtual))
        base = profile("Fernhollow demo")
        for number in range(200):
            verbs.send_profile(
                client,
                forged(
                    base, wheel_id=b"wheel" + bytes((1, 1, number + 1)), issue=3_000_000 + number
                ),
            )
        virtual.advance(0.5)
    made = Inflator(shop, "--state", flash)
    try:
        sent = shop.json("profile", "send", "good.rwp", "--port", made.port)
        with open_client(made.port) as held:
            rows = {row["profile"]["wheel_id"] for row in verbs.list_profiles(held)}
        assert (
            len(rows) == 200
            and bytes.fromhex(sent["wheel_id"]) in rows
            and b"wheel" + bytes((1, 1, 1)) not in rows
        )
    finally:
        made.close()
