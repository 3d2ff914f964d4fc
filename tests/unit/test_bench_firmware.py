"""The bench's firmware on its interpreter: accepted and refused requests, and its announcement."""

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, verbs
from rimward.formats import records
from rimward.proof import bench
from rimward.simulation.plant import compressor
from rimward.simulation.scenario import Scenario, profile_of
from rimward.simulation.virtual import VirtualInflator
from rimward.wheels.keys import Key, Ring
from rimward_protocol import codes, layout
from rimward_protocol.profile import tag_profile

from tests.unit.benchdesk import RING, WATER, armed, beat, desk, rising

ORDINARY = profile_of(Scenario())
BENCH = bench.profile_of(WATER, RING)


def put(client, data):
    """Send without the host's own check."""
    return client.request(codes.PROFILE_PUT, profile=data)


def raised(**changed):
    """The bench profile with other values and a new tag."""
    fields = layout.unpack(layout.PROFILE, BENCH) | changed
    for name in ("magic", "version", "crc", "tag"):
        del fields[name]
    return tag_profile(RING.current.key, layout.seal_profile(fields))


def test_each_kind_refuses_the_other_s_profiles():
    with desk() as (_inflator, client, _hands):
        with pytest.raises(Refusal, match="profile-not-bench"):
            put(client, tag_profile(RING.current.key, ORDINARY))
        with pytest.raises(Refusal, match="profile-not-bench"):
            verbs.send_profile(client, tag_profile(RING.current.key, ORDINARY))
        assert verbs.list_profiles(client) == []
    with VirtualInflator(compressor()) as inflator, Client(LockstepTransport(inflator)) as client:
        with pytest.raises(Refusal, match="profile-bench"):
            put(client, BENCH)
        with pytest.raises(Refusal, match="profile-bench"):
            verbs.send_profile(client, BENCH)
        assert verbs.list_profiles(client) == []


def test_the_bench_takes_its_own_and_lists_it_as_intact():
    with desk() as (_inflator, client, _hands):
        verbs.send_profile(client, BENCH)
        (row,) = verbs.list_profiles(client)
        assert row["intact"] and row["tag_fits"] and row["profile"]["ceiling_pa"] == 596_000


def test_only_the_bench_key_signs():
    stranger = Ring((Key(b"s" * 32, "2025-01-01"),), "here")
    with desk() as (_inflator, client, _hands):
        with pytest.raises(Refusal, match="tag-wrong"):
            put(client, bench.profile_of(WATER, stranger))
        with pytest.raises(Refusal, match="tag-wrong"):
            put(client, BENCH[:-16] + bytes(16))
    with desk(enrolled=False) as (_inflator, client, _hands):
        for data in (BENCH, BENCH[:-16] + bytes(16)):
            with pytest.raises(Refusal, match="no-key"):
                put(client, data)


@pytest.mark.parametrize(
    "ceiling,taken", [(999_999, True), (1_000_000, True), (1_000_001, False), (1_500_000, False)]
)
def test_no_ceiling_above_the_compiled_one(ceiling, taken):
    data = raised(ceiling_pa=ceiling)
    with desk() as (_inflator, client, _hands):
        if taken:
            assert put(client, data)["code"] in (0, 1)
        else:
            with pytest.raises(Refusal, match="profile-ceiling-above-rig"):
                put(client, data)


def test_the_bench_has_no_built_in_wheel():
    with desk() as (_inflator, client, _hands), pytest.raises(Refusal, match="profile-not-bench"):
        verbs.choose_wheel(client)


def test_every_test_is_confirmed_at_the_bench():
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        inflator.hands.run = True
        beat(client, 1)
        inflator.advance(0.2)
        inflator.hands.run = False
        inflator.advance(5.0)
        again = bench.Test(500_000, revision=2)
        verbs.send_profile(client, bench.profile_of(again, RING))
        verbs.choose_wheel(client, again.wheel_id)
        assert verbs.status(client)["waiting"] == "new-wheel"


def test_up_and_down_change_no_level():
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        before = verbs.status(client)["target_pa"]
        for button in ("up", "down", "down"):
            inflator.press(button)
        assert verbs.status(client)["target_pa"] == before == 566_000


def test_it_announces_itself_to_the_host_and_by_its_key():
    with desk() as (inflator, client, _hands):
        assert client.about["flags"] & 2 and verbs.is_bench(client)
        assert verbs.status(client)["range"] == "bench"
        inflator.hands.range_bench = False
        inflator.advance(0.1)
        assert verbs.status(client)["range"] == "not-known"


@pytest.mark.parametrize("high", [False, True])
def test_in_another_key_position_nothing_moves(high):
    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        inflator.hands.range_bench, inflator.hands.range_high = False, high
        inflator.hands.run = True
        for number in range(40):
            beat(client, number + 1)
            inflator.advance(0.05)
        assert inflator.plant.peak_pa < 100
        assert verbs.status(client)["cause"] == "range-key-contacts"


FONT = """
import framebuf, sys
frame = bytearray(1024)
canvas = framebuf.FrameBuffer(frame, 128, 64, framebuf.MONO_VLSB)
inverted = sys.argv[2] == "inverted"
canvas.fill_rect(0, 0, 128, 8, inverted)
canvas.text(sys.argv[1], 0, 0, not inverted)
sys.stdout.buffer.write(frame[:128])
"""


def test_every_title_says_bench(tmp_path):
    """The display's top line, compared with the interpreter's own font."""
    import subprocess

    script = tmp_path / "font.py"
    script.write_text(FONT)
    with desk() as (inflator, client, _hands):
        inflator.advance(0.5)
        program = inflator.interpreter.argv[0]
        wanted = subprocess.run(
            [program, script, "BENCH CHOOSE", "inverted"], capture_output=True, timeout=120
        ).stdout
        assert len(wanted) == 128 and inflator.firmware.display[:128] == wanted
        armed(inflator, client)
        wanted = subprocess.run(
            [program, script, "BENCH specimen", "inverted"], capture_output=True, timeout=120
        ).stdout
        assert inflator.firmware.display[:128] == wanted


def test_ordinary_firmware_on_the_bench_s_hardware_chooses_nothing():
    """The id plug of the bench: its transducers have another range."""
    from rimward_fw import app
    from rimward_fw.bench import app as firmware
    from rimward_protocol import replies

    class Board:
        bench = firmware.PLUG

    class Ordinary(app.App):
        def __init__(self):
            self.board = Board()

        def enabled(self):
            return False

    assert Ordinary().choose(b"12345678") == replies.PROFILE_NOT_BENCH
    assert Ordinary().choose(bytes(8)) == replies.PROFILE_NOT_BENCH


def test_bench_firmware_on_ordinary_hardware_chooses_nothing():
    from rimward_fw.bench import app as firmware
    from rimward_protocol import replies

    class Board:
        bench = 0

    class Bench(firmware.BenchApp):
        def __init__(self):
            self.board = Board()

    assert Bench().choose(b"12345678") == replies.NOT_A_BENCH


def test_a_session_of_the_bench_replays_through_the_bench_s_kernels(tmp_path):
    from rimward.sessions import read_session, replay

    with desk() as (inflator, client, _hands):
        armed(inflator, client)
        rising(inflator, client)
        inflator.hands.run = False
        inflator.advance(4.0)
        path = tmp_path / "bench.rws"
        verbs.pull_session(client, 0, path)
    log = read_session(path)
    assert log.bench and log.profile["limit_pa"] == 500_000 and not log.damage
    assert records.unpack_record(layout.PROFILE, log.meta["profile"])["flags"] & codes.FLAG_BENCH
    again = replay(log)
    assert again.identical and again.ticks > 500
    vents = log.trace["out"] & codes.OUT_VENT != 0
    assert vents.any() and not vents.all()
