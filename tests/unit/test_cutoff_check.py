"""The processor's check of the independent cutoff, on the virtual inflator: compared at every fill, and its daily test."""

import struct
from dataclasses import replace

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.simulation.virtual import VirtualInflator, Where, cutoff_view
from rimward_fw.control import cutoff_check as check
from rimward_protocol import causes, codes, layout

from hardware import chain, cutoff, single_faults
from hardware.circuit import load, ohms

SCENARIO = Scenario()
WHEEL = layout.unpack(layout.PROFILE, profile_of(SCENARIO))["wheel_id"]
DAILY_TEST = 22


def at_rest(inflator):
    person = Person(inflator)
    inflator.advance(1.0)
    return person


def refused(inflator, person):
    """Cause for which the built-in profile is not armed; 0 when it is."""
    person.choose(bytes(8))
    inflator.advance(0.5)
    status = person.status()
    return 0 if status["state"] == "ready" else status["stop_cause"]


def test_limits_are_those_of_the_circuit():
    """Limits of the firmware against `single_faults.LIMITS`, dividers and test threshold against the circuit."""
    limits = single_faults.LIMITS
    assert (
        tuple(1000 * v for v in limits["c_supply_v"]) == check.SUPPLY_MV
        and tuple(1000 * v for v in limits["coil_v"]) == check.COIL_MV
    )
    assert (
        tuple(1000 * v for v in limits["threshold"]) == check.THRESHOLD_LOW
        and limits["c_pa"][1] == check.APART_PA
    )
    assert (
        pytest.approx(tuple(1000 * v for v in single_faults.HIGH_THRESHOLD)) == check.THRESHOLD_HIGH
    )
    low, nominal, high = cutoff.test_band()
    assert (
        pytest.approx((low, high), abs=1000) == check.TEST_PA
        and pytest.approx(nominal, abs=10) == cutoff_view.TEST_PA
    )
    for pa in (low, high):
        assert check.THRESHOLD_TEST[0] < 1000 * (0.1 + 0.8 * pa / 1e6) < check.THRESHOLD_TEST[1]
    r = {n: ohms(p.value) for n, p in load().items() if p.kind.startswith("res")}

    def share(bottom, *top):
        """Of a divider into U9's input of 10 megohm, as in `chain.deck`."""
        loaded = 1 / (1 / r[bottom] + 1e-7)
        return loaded / (loaded + sum(r[name] for name in top))

    shares = {
        "SIGNAL": share("R83", "R81", "R82"),
        "SUPPLY": share("R91", "R88", "R89"),
        "THRESHOLD": share("R87", "R85", "R86"),
        "COIL": share("R93", "R92"),
    }
    for name, wanted in shares.items():
        assert getattr(cutoff_view, name) == pytest.approx(wanted, rel=0.01), name
    assert chain.REST_PA > 0


def test_a_sound_cutoff_is_seen_within_its_limits_and_a_whole_fill_is_not_disturbed():
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_rest(inflator)
        seen = person.client.request(codes.CUTOFF)
        assert (
            seen["flags"] & 3 == 3
            and abs(seen["c_pa"] - seen["a_pa"]) < 3000
            and abs(seen["c_pa"] - seen["b_pa"]) < 3000
        )
        assert seen["supply_mv"] == 5000 and seen["threshold_milli"] == 514 and seen["cause"] == 0
        person.bring(profile_of(SCENARIO))
        person.choose(profile_of(SCENARIO)[12:20])
        assert person.fill()["stop_cause"] == "target-reached"


FAULTY = {
    "supply low": ({"supply_v": 4.6}, causes.CUTOFF_FIGURES),
    "supply high": ({"supply_v": 5.4}, causes.CUTOFF_FIGURES),
    "threshold high": ({"threshold": 0.56}, causes.CUTOFF_FIGURES),
    "threshold low": ({"threshold": 0.45}, causes.CUTOFF_FIGURES),
    "C high": ({"c_error_pa": 30_000.0}, causes.CUTOFF_SENSOR_APART),
    "C low": ({"c_error_pa": -30_000.0}, causes.CUTOFF_SENSOR_APART),
    "U9 silent": ({"silent": True}, causes.CUTOFF_UNREAD),
}


@pytest.mark.parametrize("name", FAULTY)
def test_outside_its_limits_no_fill_is_armed_and_the_cause_is_named(name):
    fields, cause = FAULTY[name]
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_rest(inflator)
        vars(inflator.cutoff).update(fields)
        inflator.advance(0.6)
        assert refused(inflator, person) == causes.row_of(cause)[1]
        vars(inflator.cutoff).update(
            {"supply_v": 5.0, "threshold": None, "c_error_pa": 0.0, "silent": False}
        )
        inflator.advance(0.6)
        inflator.press("enter")
        assert refused(inflator, person) == 0


@pytest.mark.parametrize(
    "fields,cause",
    [
        ({"c_stuck_pa": 0.0}, "cutoff-sensor-apart"),
        ({"coil_v": 3.0}, "cutoff-figures"),
        ({"silent": True}, "cutoff-unread"),
    ],
)
def test_what_shows_only_in_a_fill_ends_it(fields, cause):
    """A stuck C is detected once the air is at rest at another pressure; so are a coil voltage that is too low and a silent converter."""
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_rest(inflator)
        person.bring(profile_of(SCENARIO))
        person.choose(profile_of(SCENARIO)[12:20])
        inflator.hands.run = True
        inflator.advance(0.3)
        vars(inflator.cutoff).update(fields)
        status = person.fill(60.0)
        assert status["stop_cause"] == cause and inflator.plant.tyre_pa < 400_000


def daily_test(inflator, person, stay_s=11.0):
    """The chuck on its plug, the button held, air until the cutoff opens; both released. Return CUTOFF_IS."""
    person.choose(bytes(8))
    inflator.hands.locknut_shut = inflator.hands.cutoff_test = inflator.hands.run = True
    inflator.until(lambda i: bool(i.true & 16), 10.0)
    inflator.advance(0.6)
    inflator.hands.cutoff_test = inflator.hands.run = False
    inflator.advance(stay_s)
    return person.client.request(codes.CUTOFF)


def stored(person):
    value = person.client.request(codes.SETTING_GET, number=DAILY_TEST)["value"]
    return struct.unpack("<BIiH", value) if value else None


def test_the_daily_test_passes_on_a_sound_unit_and_is_kept():
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_rest(inflator)
        seen = daily_test(inflator, person)
        cause, _, opened_pa, fall_ms = stored(person)
        assert cause == 0 and 205_000 < opened_pa < 222_000 and 40 <= fall_ms <= 120
        assert (seen["opened_pa"], seen["fall_ms"]) == (opened_pa, fall_ms)


@pytest.mark.parametrize(
    "fields,vent,baseline_ms,cause",
    [
        ({}, 1.0, 0, 0),
        ({"latches": False}, 1.0, 0, causes.CUTOFF_TEST_FAILED),
        ({"coil_v": 11.4}, 1.0, 0, causes.CUTOFF_TEST_FAILED),
        ({}, 0.5, 66, causes.VENT_SLOW),
        ({}, 1.0, 66, 0),
    ],
)
def test_the_daily_test_finds_a_latch_that_lets_go_a_coil_that_stays_fed_and_a_clogged_vent(
    fields, vent, baseline_ms, cause
):
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_rest(inflator)
        if baseline_ms:
            person.put(21, struct.pack("<H", baseline_ms))
        inflator.plant.F[4] = 1.0 - vent
        vars(inflator.cutoff).update(fields)
        seen = daily_test(inflator, person)
        assert stored(person)[0] == cause == seen["cause"]
        inflator.plant.F[4] = 0.0


def test_after_a_failed_daily_test_no_fill_is_armed_over_a_restart_until_one_passes():
    with VirtualInflator(plant_of(SCENARIO)) as inflator:
        person = at_rest(inflator)
        inflator.cutoff.coil_v = 11.4
        assert daily_test(inflator, person)["cause"] == causes.CUTOFF_TEST_FAILED
        inflator.cutoff.coil_v = None
        inflator.power_cycle(2000)
        inflator.hands.locknut_shut = False
        inflator.advance(6.0)
        person = at_rest(inflator)
        assert refused(inflator, person) == "cutoff-test-failed"


def test_a_new_board_gives_no_air_before_its_bring_up():
    """Nothing kept: no fill at all. The steps without air done: the built-in profile alone. All done: every wheel."""
    with VirtualInflator(plant_of(SCENARIO), where=Where(bare=True)) as inflator:
        person = at_rest(inflator)
        person.bring(profile_of(SCENARIO))
        wheel = profile_of(SCENARIO)[12:20]
        said = []
        for level in (0, 1, 2):
            if level:
                person.put(20, struct.pack("<BI", level, 2500))
            for chosen in (bytes(8), wheel):
                person.choose(chosen)
                inflator.advance(0.5)
                said.append(person.status()["state"])
                assert said[-1] == "ready" or person.status()["stop_cause"] == "not-commissioned"
                inflator.press("enter")
        assert said == ["stopped", "stopped", "ready", "stopped", "ready", "ready"]


def test_a_person_must_confirm_that_a_bring_up_was_done():
    with VirtualInflator(plant_of(SCENARIO), where=Where(bare=True)) as inflator:
        person = at_rest(inflator)
        with pytest.raises(Refusal, match="declined"):
            verbs.put_setting(
                person.client, 20, struct.pack("<BI", 2, 2500), lambda _text: inflator.press("down")
            )


def test_transducers_of_another_range_are_found_before_the_ceiling():
    """A and B of 16 bar, read as 10 bar: they agree, and low; C does not follow them."""
    params = replace(plant_of(SCENARIO), a_span_error=-0.375, b_span_error=-0.375)
    with VirtualInflator(params) as inflator:
        person = at_rest(inflator)
        person.bring(profile_of(SCENARIO))
        person.choose(WHEEL)
        assert person.fill(120.0)["stop_cause"] == "cutoff-sensor-apart"
        assert inflator.plant.peak_pa < 200_000
