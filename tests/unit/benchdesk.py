"""A virtual bench and what a person does at it. Shared by the bench's tests."""

from contextlib import contextmanager

from rimward.kernels import bench as build
from rimward.keys import Key, Ring
from rimward.link import Client, LockstepTransport, verbs
from rimward.proof import bench
from rimward_protocol import codes

RING = Ring((Key(bytes(range(32)), "2025-01-01"),), "here")
WATER = bench.Test(500_000)
SHORT = {"SEAT_S = 60": "SEAT_S = 1", "LIMIT_S = 60": "LIMIT_S = 1", "RETENTION_S = 302": "RETENTION_S = 3", "STEP_S = 60": "STEP_S = 1"}
SHORT |= {"RAMP_PA_S = 5_000": "RAMP_PA_S = 50_000"}


def shortened(monkeypatch):
    """Benches built from now on hold for seconds in place of minutes, and rise faster; everything else is as built."""
    whole = build.write_tree

    def write_tree(folder):
        main = whole(folder)
        path = folder / "rimward_fw" / "bench" / "app.py"
        text = path.read_text()
        for old, new in SHORT.items():
            assert text.count(old) == 1
            text = text.replace(old, new)
        path.write_text(text)
        return main

    monkeypatch.setattr(build, "write_tree", write_tree)


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
    return client.request(codes.BENCH_BEAT, beat=number, lease_ms=lease_ms)


def armed(inflator, client, test=WATER):
    """Sends the test, chooses it and confirms it at the bench."""
    verbs.send_profile(client, bench.profile_of(test, RING))
    verbs.choose_wheel(client, test.wheel_id)
    inflator.press("enter")
    inflator.advance(0.5)
    assert verbs.status(client)["waiting"] == "hold-to-run"


def rising(inflator, client, pa=60e3):
    """Holds the run control and beats until the fixture is past `pa`; gives the number of the last beat."""
    inflator.hands.run = True
    for number in range(1, 2000):
        beat(client, number)
        inflator.advance(0.05)
        if inflator.plant.tyre_pa > pa:
            return number
    raise AssertionError(verbs.status(client))
