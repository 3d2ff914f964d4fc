"""A proof bench is calibrated too: its vent, open at idle, is shut while its service page is shown, and at no other time."""

import pytest
from rimward.device.calibration import (
    BENCH,
    collect,
    fit_points,
    in_force,
    scale_of,
    sequence,
    write_back,
)
from rimward.device.link import verbs
from rimward_protocol import codes

from tests.unit.benchdesk import armed, desk

NOMINAL = [100_000, 250_000, 400_000, 550_000, 700_000, 850_000, 980_000]


def vent_open(inflator):
    return bool(inflator.drive & codes.OUT_VENT)


def service(inflator):
    """UP held long."""
    inflator.press("up", 2.0)
    inflator.advance(0.5)


def put(inflator, pa):
    inflator.hands.attached = pa > 0
    for _ in range(4):  # the manifold takes a third of what the small bottle holds
        inflator.plant.set_tyre(float(pa))
        inflator.advance(0.4)
    return inflator.plant.manifold_pa


def test_the_vent_is_shut_while_the_service_page_is_shown_and_opens_after_it():
    with desk() as (inflator, client, _hands):
        inflator.advance(0.5)
        assert vent_open(inflator)
        service(inflator)
        assert not vent_open(inflator) and verbs.status(client)["state"] == "idle"
        assert put(inflator, 300_000) > 250_000
        inflator.hands.run = True
        inflator.advance(1.0)
        assert not inflator.out & codes.OUT_GATE  # no specimen, no air
        inflator.hands.run = False
        inflator.press("up")
        inflator.advance(2.0)
        assert vent_open(inflator) and inflator.plant.manifold_pa < 20_000


def test_choosing_a_specimen_opens_it_and_a_test_arms_as_before():
    with desk() as (inflator, client, _hands):
        service(inflator)
        put(inflator, 200_000)
        armed(inflator, client)
        inflator.advance(1.0)
        assert vent_open(inflator) and verbs.status(client)["state"] == "ready"


def test_past_the_bench_s_end_it_opens_by_itself():
    with desk() as (inflator, client, _hands):
        service(inflator)
        for _ in range(4):
            inflator.plant.set_tyre(1_060_000.0)
            inflator.advance(0.3)
        assert vent_open(inflator)


def confirm(inflator):
    """Press the workshop button once the display has named the request."""
    inflator.advance(0.3)
    inflator.press("workshop")


def test_a_bench_is_calibrated_end_to_end(monkeypatch):
    monkeypatch.setattr("rimward.device.calibration.run.SAMPLES", 25)
    with desk(a_offset_pa=6_000.0, b_offset_pa=-5_000.0) as (inflator, client, _hands):
        service(inflator)
        assert scale_of(client) is BENCH
        points = collect(client, sequence(NOMINAL), lambda step: put(inflator, step.nominal_pa))
        result = fit_points(points, 1_000.0, 2.0, 200.0, BENCH, in_force(client))
        for channel, offset in zip(result.channels, (6_000.0, -5_000.0)):
            assert channel.gain * (500_000.0 + offset) + channel.offset_pa == pytest.approx(
                500_000.0, abs=2_500.0
            )
        assert result.guard_pa >= 16_000
        write_back(client, result, tell=lambda _text: confirm(inflator))
        assert verbs.status(client)["guard_pa"] == result.guard_pa
