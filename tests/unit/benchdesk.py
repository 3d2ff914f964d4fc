"""A virtual bench and a person's actions at it. Shared by the bench's tests."""

from contextlib import contextmanager

from rimward.device.link import Client, LockstepTransport, verbs
from rimward.kernels import bench as build
from rimward.limits.ceiling import Rim, Tyre
from rimward.proof import bench
from rimward.wheels.keys import Key, Ring
from rimward_protocol import codes

RING = Ring((Key(bytes(range(32)), "2025-01-01"),), "here")
WATER = bench.Test(500_000)
RIM = Rim.parse("622x23TSS", "5 bar")
TYRE = Tyre.parse("30-622", max_text="6 bar")
SHORT = {
    "SEAT_S = 60": "SEAT_S = 1",
    "LIMIT_S = 60": "LIMIT_S = 1",
    "RETENTION_S = 302": "RETENTION_S = 3",
    "STEP_S = 60": "STEP_S = 1",
}
SHORT |= {"RAMP_PA_S = 5_000": "RAMP_PA_S = 50_000"}


def shortened(monkeypatch, trace_bytes=0):
    """Benches built from now on hold for seconds in place of minutes, and rise faster; `trace_bytes`: less memory for their trace."""
    whole = build.write_tree

    def write_tree(folder):
        main = whole(folder)
        changes = [("app.py", old, new) for old, new in SHORT.items()]
        if trace_bytes:
            changes.append(("trace.py", "TRACE_BYTES = 144 * 1024", f"TRACE_BYTES = {trace_bytes}"))
        for name, old, new in changes:
            path = folder / "rimward_fw" / "bench" / name
            text = path.read_text()
            assert text.count(old) == 1
            path.write_text(text.replace(old, new))
        return main

    monkeypatch.setattr(build, "write_tree", write_tree)


def test_of(top=None, label="Tern 23"):
    return bench.test_of(label, RIM, TYRE, top, None, "water")


test_of.__test__ = False


@contextmanager
def desk(test=WATER, enrolled=True, **over):
    """(virtual bench, client that holds it, hands)."""
    with bench.virtual(test, **over) as inflator:
        hands = bench.Hands(inflator)
        with Client(LockstepTransport(inflator)) as client:
            if enrolled:
                hands.enrol(client, RING)
                client.about["flags"] |= 1
            yield inflator, client, hands


def beat(client, number, lease_ms=400):
    return client.request(codes.BENCH_BEAT, beat=number, lease_ms=lease_ms, from_tick=0, to_tick=0)


def armed(inflator, client, test=WATER):
    """Send the test, select it and confirm it at the bench."""
    verbs.send_profile(client, bench.profile_of(test, RING))
    verbs.choose_wheel(client, test.wheel_id)
    inflator.press("enter")
    inflator.advance(0.5)
    assert verbs.status(client)["waiting"] == "hold-to-run"


def rising(inflator, client, pa=60e3):
    """Hold the run control and send heartbeats until the fixture is above `pa`; return the number of the last one."""
    inflator.hands.run = True
    for number in range(1, 2000):
        beat(client, number)
        inflator.advance(0.05)
        if inflator.plant.tyre_pa > pa:
            return number
    raise AssertionError(verbs.status(client))
