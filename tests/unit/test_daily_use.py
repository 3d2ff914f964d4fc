"""Daily use on the virtual inflator: everything at the buttons alone, nothing over the link but looking."""

import pytest
from rimward.formats import records
from rimward.simulation.attacks import forged
from rimward.simulation.person import Person
from rimward.simulation.plant import layout as k
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator

SCENARIO = Scenario()


def at_the_list(inflator, data=None):
    """An inflator that holds the scenario's wheel and shows the list."""
    person = Person(inflator)
    if data:
        person.bring(data)
    inflator.advance(0.5)
    return person


def press(inflator, *names):
    for name in names:
        inflator.press(name)
        inflator.advance(0.4)


def test_an_unregistered_wheel_has_the_straight_side_limit():
    """The one entry of an empty list: chosen, asked about, armed under 5.0 bar (72.5 psi) with the key on low."""
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_the_list(inflator)
        press(
            inflator, "enter", *["up"] * 9, "enter", "enter", *["up"] * 6, "enter", "enter"
        )  # 5 bar printed, approved, target 3 bar, at rest
        inflator.advance(0.6)
        status = person.status()
        assert status["state"] == "ready" and 0 < status["ceiling_pa"] <= 500_000
        assert status["stop_pa"] <= status["ceiling_pa"] - 10_000


def test_the_target_moves_by_steps_and_never_past_the_stop_reading():
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_the_list(inflator, profile_of(SCENARIO))
        press(inflator, "enter", "enter", "enter")
        inflator.advance(0.6)
        armed = person.status()
        press(inflator, "down", "down")
        lower = person.status()
        assert armed["target_pa"] // 5000 * 5000 - 10_000 == lower["target_pa"]
        for _ in range(40):
            inflator.press("up")
        top = person.status()
        assert (
            armed["target_pa"] < top["target_pa"] < top["stop_pa"]
            and top["ceiling_pa"] == armed["ceiling_pa"]
        )


def test_while_the_run_control_is_held_no_button_changes_the_target():
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_the_list(inflator, profile_of(SCENARIO))
        press(inflator, "enter", "enter", "enter")
        inflator.advance(0.6)
        before = person.status()["target_pa"]
        inflator.hands.run = True
        inflator.advance(1.0)
        press(inflator, "up", "down", "down")
        assert person.status()["target_pa"] == before


def tubeless(**changes):
    """The scenario's wheel as a tubeless one."""
    fields = records.unpack_profile(profile_of(SCENARIO))
    return forged(profile_of(SCENARIO), flags=fields["flags"] | 1, **changes)


@pytest.fixture
def seating():
    """Armed for the tubeless wheel, then ENTER: the seating of its beads."""
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_the_list(inflator, tubeless())
        press(inflator, "enter", "enter", "enter")
        inflator.advance(0.6)
        press(inflator, "enter")
        inflator.advance(1.0)
        yield inflator, person


def test_seating_keeps_its_own_low_limit_whatever_the_person_does(seating):
    """Held for as long as anyone holds: true tyre pressure stays under 275 kPa (39.8 psi), California T8 3325."""
    inflator, person = seating
    assert person.status()["ceiling_pa"] <= 275_000
    inflator.hands.run = True
    inflator.advance(60.0)
    inflator.hands.run = False
    assert 100_000 < inflator.plant.peak_pa <= 275_000


@pytest.mark.parametrize("share", [0.02, 0.15])
def test_a_bead_that_pops_into_place_is_no_fault(seating, share):
    """Two pops while air flows, each a sudden fall in pressure: nothing latches, and no detached hose is reported. The room that they
    make may use up the air budget of this connection, or make the valve core seem stiffer so that the target seems out of reach: an ordinary stop
    near the target, and no more air until the person has answered."""
    inflator, person = seating
    pops = [60_000, 120_000]
    inflator.hands.run = True
    for n in range(9_000):
        inflator.advance(0.01)
        if n % 100 == 99 and person.status()["state"] in ("done", "stopped"):
            break
        if pops and inflator.plant.tyre_pa > pops[0]:
            del pops[0]
            inflator.plant.P[k.P_V0] *= 1 + share
    status = person.status()
    assert not pops and status["cause"] == "none" and inflator.plant.peak_pa <= 275_000
    assert status["state"] in ("done", "stopped") and status["stop_cause"] in (
        "stop-reading",
        "target-reached",
        "air-budget",
        "target-above-stop",
    )
    assert inflator.plant.tyre_pa > 150_000
    reached = inflator.plant.tyre_pa
    inflator.hands.run = False
    inflator.advance(0.5)
    inflator.hands.run = True
    inflator.advance(10.0)
    assert person.status()["cause"] == "none" and abs(inflator.plant.tyre_pa - reached) < 10_000


def test_after_seating_the_person_answers_then_the_fill_goes_on(seating):
    inflator, person = seating
    press(inflator, "enter")  # nothing moved yet: the beads are asked about at once
    press(inflator, "down")  # not seated
    press(inflator, "enter")  # all air out, again
    inflator.advance(1.0)
    assert person.status()["ceiling_pa"] <= 275_000 and person.status()["state"] == "ready"
    press(inflator, "enter", "enter", "enter")  # seated; hose off, core in; on to the fill
    inflator.advance(1.0)
    last = person.status()
    assert last["state"] == "ready" and last["ceiling_pa"] > 275_000


def test_without_a_barometer_nothing_is_armed():
    params = plant_of(SCENARIO)
    with VirtualInflator(params) as inflator:
        person = at_the_list(inflator, profile_of(SCENARIO))
        press(inflator, "enter", "enter")
        tick = inflator.plant.tick

        def blind(drive, controls):
            return tick(drive, controls)._replace(ambient_pa=0)

        inflator.plant.tick = blind
        inflator.advance(1.0)
        press(inflator, "enter")
        inflator.advance(1.0)
        status = person.status()
        assert (
            status["ceiling_pa"] == 0 and status["state"] == "stopped" and status["ambient_pa"] == 0
        )
        inflator.hands.run = True
        inflator.advance(5.0)
        assert inflator.plant.peak_pa < 1_000


def test_three_presses_of_a_wet_finger_are_three(tmp_path):
    """A bouncing contact moves the mark once; three separate presses move it three times."""
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        at_the_list(inflator, profile_of(SCENARIO))
        first = inflator.firmware.display
        for _ in range(8):  # one press that chatters for 40 ms
            inflator.hands.held.add("down")
            inflator.advance(0.004)
            inflator.hands.held.discard("down")
            inflator.advance(0.002)
        inflator.hands.held.add("down")
        inflator.advance(0.2)
        inflator.hands.held.discard("down")
        inflator.advance(0.4)
        assert inflator.firmware.display != first
        inflator.press("down")
        inflator.advance(0.4)
        assert inflator.firmware.display == first, (
            "two entries: the second press is back at the first"
        )


def test_a_run_control_held_while_the_limits_are_loaded_fills_only_when_held_again():
    """Held since before the ceiling was in force: a message and no air; released and held again it fills."""
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_the_list(inflator, profile_of(SCENARIO))
        press(inflator, "enter", "enter")
        inflator.hands.run = True
        press(inflator, "enter")
        inflator.advance(1.5)
        held = person.status()
        assert (held["state"], held["stop_cause"], held["waiting"], held["ceiling_pa"]) == (
            "asking",
            "not-ready",
            "hold-to-run",
            0,
        )
        inflator.hands.run = False
        inflator.advance(0.6)
        assert person.status()["state"] == "ready"
        inflator.hands.run = True
        inflator.advance(3.0)
        assert person.status()["state"] not in ("asking", "ready", "tripped")


def test_after_a_hand_pump_the_tyre_is_measured_before_it_is_filled():
    """UP at the question: a warning, the temperature, then a run that measures the tyre, adds almost nothing, and reports it."""
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_the_list(inflator, profile_of(SCENARIO))
        press(inflator, "enter", "enter", "up", "enter", "enter")
        inflator.advance(0.6)
        armed = person.status()
        assert armed["state"] == "ready" and armed["target_pa"] == 20_000
        press(inflator, "up", "enter")
        assert person.status()["target_pa"] == 20_000, "nothing is changed before it is measured"
        inflator.hands.run = True
        for _ in range(60):
            inflator.advance(0.5)
            if person.status()["state"] in ("stopped", "done"):
                break
        inflator.hands.run = False
        inflator.advance(3.0)
        assert person.status()["tyre_pa"] >= 0
        press(inflator, "enter")
        inflator.advance(0.6)
        filled = person.status()
        assert filled["state"] == "ready" and filled["target_pa"] > 100_000
