"""What the inflator says of a visit that is over is what it wrote into the record (G9: one cause, one word); and its chuck."""

from dataclasses import replace
from types import SimpleNamespace

import pytest
from rimward.device.link import verbs
from rimward.device.link.live import Watcher
from rimward.device.link.screen import read_screen
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator
from rimward_fw.control import cycle, status
from rimward_fw.ui import display
from rimward_protocol import causes, codes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.interval import ABOVE_PA, BELOW_PA


def test_a_fill_stopped_for_its_volume_says_so_after_the_record_is_closed() -> None:
    scenario = Scenario()
    world = plant_of(scenario)
    with VirtualInflator(replace(world, tyre_pa=150_000.0, tyre_ml=world.tyre_ml * 4)) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        ended = person.fill()
        assert (ended["state"], ended["stop_cause"]) == ("stopped", "wrong-volume")
        assert inflator.until(lambda _: verbs.status(person.client)["ceiling_pa"] == 0, 20)
        after = verbs.status(person.client)
        assert (after["state"], after["stop_cause"]) == ("stopped", "wrong-volume")
        assert inflator.until(lambda _: verbs.list_sessions(person.client)[0]["ended"], 10)
        assert verbs.list_sessions(person.client)[0]["cause"] == "wrong-volume"


def test_an_intermediate_pause_is_not_called_the_target() -> None:
    """The guard has one word for "no air requested"; at the seating pause and while the reading settles it would be wrong."""
    scenario = Scenario()
    with VirtualInflator(plant_of(scenario)) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        inflator.hands.run = True
        assert inflator.until(lambda _: verbs.status(person.client)["state"] == "seat-pause", 60)
        inflator.advance(1.0)
        raw = person.client.request(codes.STATUS)
        assert (
            raw["stop_cause"] == causes.TARGET_REACHED
            and raw["tyre_pa"] < raw["target_pa"] - 50_000
        )
        seen = verbs.status(person.client)
        assert (seen["state"], seen["stop_cause"], seen["waiting"]) == (
            "seat-pause",
            "none",
            "bead-seated",
        )
        inflator.hands.run = False
        ended = person.fill()
        assert (ended["state"], ended["stop_cause"]) == ("done", "target-reached")


@pytest.mark.parametrize("chuck", ["pin-open", "pressure-open"])
def test_the_status_names_the_chuck_and_watch_gives_the_range_that_the_display_gives(
    chuck: str,
) -> None:
    scenario, closed = Scenario(chuck=chuck), chuck == "pressure-open"
    with VirtualInflator(replace(plant_of(scenario), tyre_pa=300_000.0)) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        assert person.status()["pressure_open"] is False  # no wheel is chosen
        person.choose(scenario.wheel_id())
        raw = person.client.request(codes.STATUS)
        assert raw["out"] & codes.STATUS_PRESSURE_OPEN == (128 if closed else 0)
        assert verbs.status_row(raw)["out"] < 128
        watcher = Watcher(person.client, 20)
        assert person.fill()["state"] == "done"
        rows, lines = watcher.turn(), set()
        while rows[-1]["state"] != "done" or rows[-1]["tyre_pa"] is None:
            inflator.advance(0.1)
            rows += watcher.turn()
        for _ in range(12):  # the display's turns
            inflator.advance(1.0)
            lines |= set(read_screen(person.client).lines)
    seen = {line.strip() for line in lines if line.strip().startswith("tyre ")}
    last = rows[-1]
    assert all(row["tyre_low_pa"] is None for row in rows if row["air_on"])
    assert [("-" in line) for line in seen] == [closed]
    ends = (last["tyre_pa"] - BELOW_PA, last["tyre_pa"] + ABOVE_PA) if closed else (None, None)
    assert (last["tyre_low_pa"], last["tyre_high_pa"]) == ends


def test_a_finished_fill_is_not_named_by_the_stop_of_its_last_pulse() -> None:
    """A pulse may have ended at the stop reading; what ended the fill is its target, in the status as in the record."""
    engine = SimpleNamespace(f=[0] * 40, g=[0] * 60, x=[0] * 30, out=0)
    engine.g[slots.G_STOP] = causes.STOP_READING
    visit = SimpleNamespace(phase=cycle.ARMED, cause=0, must_let_go=lambda: False)
    app = SimpleNamespace(cycle=visit, store=SimpleNamespace(failing=False))
    for state, cause in (
        (codes.FILL_DONE, causes.TARGET_REACHED),
        (codes.SETTLING, causes.STOP_READING),
    ):
        engine.f[slots.F_STATE] = state
        assert status.why(app, engine) == cause
    engine.f[slots.F_STATE], engine.f[slots.F_REASON] = codes.FILL_DONE, causes.ABOVE_TARGET
    assert status.why(app, engine) == causes.ABOVE_TARGET


def test_a_chuck_taken_off_after_done_leaves_the_display_as_the_tyre_was_left() -> None:
    """The fill controller forgets the tyre with the chuck (G10); the display goes on with what was reached, not with the free hose."""
    engine = SimpleNamespace(f=[0] * 64, g=[0] * 60, x=[0] * 30, y=[0] * 30, head=0, answers=0)
    app = SimpleNamespace(engine=engine, note=lambda *_: None, cycle=None)
    app.cycle = visit = cycle.FillCycle(app)  # type: ignore[no-untyped-call]
    visit.phase = cycle.ARMED
    visit.losses = SimpleNamespace(seen=lambda _: None)  # type: ignore[assignment]
    shown = []
    for state, tyre_pa in (
        (codes.SETTLING, 388_000),
        (codes.FILL_DONE, 390_000),
        (codes.FILL_DONE, -1),
        (codes.STOPPED, -1),
    ):
        engine.f[slots.F_STATE], engine.f[slots.F_TYRE_PA] = state, tyre_pa
        visit._watch(engine)
        shown.append(display.pressures(app)[0])
    assert shown == [388_000, 390_000, 390_000, -1]
