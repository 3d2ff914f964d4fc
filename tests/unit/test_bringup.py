"""The bring-up: each step holds on the sound board and finds the faults it names; no air before all of them hold."""

import json
from dataclasses import replace

import pytest
from rimward.base.errors import Refusal
from rimward.device.bringup import STEPS, bring_up, compare
from rimward.device.bringup.keep import baseline_file, keep_baseline, load_baseline, row, sheet
from rimward.device.bringup.run import AIR, Found, walk
from rimward.device.bringup.steps import LINK, PERSON, limits
from rimward.device.link import Client, LockstepTransport
from rimward.paper.sheet import document
from rimward.simulation.person import PRESSES
from rimward.simulation.plant import PlantParams
from rimward.simulation.plant import layout as k
from rimward.simulation.virtual import VirtualInflator, Where
from rimward.simulation.virtual.setup import confirm
from rimward_protocol import codes

from hardware import bringup as table
from hardware import checkout_sim, checkout_unit, gate, plant

BY_KEY = {s.key: s for s in STEPS}
VESSEL = PlantParams(tyre_ml=2000.0, pin_open=True)
PUMP_PA_S = 25_000.0


class Hands:
    """A person with a hand pump, a gauge and instruments at a virtual inflator; `break_it` happens as the step `at` begins."""

    def __init__(self, inflator, at="", break_it=None, unit=None):
        self.inflator, self.at, self.break_it, self.unit = (
            inflator,
            at,
            break_it,
            unit or checkout_unit.Unit(),
        )
        self.plans, self.pump_to = [], 0.0
        self.levels = []
        inflator.hands.locknut_shut = True
        inflator.watchers.append(self.tick)

    def tick(self, inflator):
        for plan in [p for p in self.plans if p[0] <= inflator.now_s]:
            self.plans.remove(plan)
            plan[1]()
        if self.pump_to:
            pushing = inflator.plant.manifold_pa < min(
                self.pump_to, (inflator.now_s - self.since) * PUMP_PA_S
            )
            inflator.plant.F[k.F_GATE_ON] = inflator.plant.F[k.F_RELAY_ON] = float(pushing)

    def later(self, seconds, do):
        self.plans.append((self.inflator.now_s + seconds, do))

    def set(self, **values):
        vars(self.inflator.hands).update(values)

    def pump(self, pa):
        self.since, self.pump_to = self.inflator.now_s, pa

    def act(self, step):
        if step.key == self.at and self.break_it:
            self.break_it(self)
            self.inflator.advance(0.6)
        do = {
            "run": lambda: (
                self.set(run=False),
                self.later(1.0, lambda: self.set(run=True)),
                self.later(3.0, lambda: self.set(run=False)),
            ),
            "key": lambda: (
                self.later(0.5, lambda: self.set(range_high=True)),
                self.later(2.5, lambda: self.set(range_high=False)),
            ),
            "polarity": lambda: self.pump(100_000.0),
            "trip_low": lambda: self.pump(600_000.0),
            "latch": lambda: self.pump(0.0),
            "power_cycle": lambda: self.inflator.power_cycle(2500),
            "self_test": lambda: (
                self.set(locknut_shut=False),
                self.answer(),
                self.later(1.0, lambda: self.set(run=True)),
            ),
            "stops": lambda: self.later(0.3, lambda: self.set(run=False)),
            "test_button": lambda: (
                self.set(locknut_shut=True),
                self.answer(),
                self.later(1.0, lambda: self.set(cutoff_test=True, run=True)),
            ),
        }.get(step.key)
        if do:
            do()

    def done(self, step):
        if step.key == "trip_low":
            self.pump_to = 0.0
            self.inflator.plant.F[k.F_GATE_ON] = self.inflator.plant.F[k.F_RELAY_ON] = 0.0
        if step.key == "test_button":
            self.inflator.advance(0.6)
            self.set(cutoff_test=False, run=False)

    def read(self, step):
        if step.key == "relay":
            plain = (
                self.unit.fault.nets[0] != "" or self.unit.parts is not checkout_unit.SOUND_PARTS
            )
            return (
                gate.report()["relay_with_plain_diode_max_ms"] if plain else plant.relay_off_ms()[1]
            )
        return checkout_sim.trials()[step.key].measure(self.unit)

    def confirm(self, _text):
        confirm(self.inflator)

    def answer(self):
        """Answers for the unregistered wheel: 5 bar printed, all three true, target 3 bar, at rest here."""
        for word in ("printed-maximum", "approval", "target", "stood-an-hour"):
            for button in PRESSES[word]:
                self.inflator.press(button)


def board(params=VESSEL):
    return VirtualInflator(params, where=Where(bare=True))


def at_bench(inflator):
    inflator.advance(1.0)
    return Client(LockstepTransport(inflator))


def cutoff(**fields):
    return lambda hands: vars(hands.inflator.cutoff).update(fields)


def trips(low):
    def change(hands):
        hands.inflator.cutoff._trip = (low, hands.inflator.cutoff._trip[1])

    return change


def field_of(name, value):
    def change(hands):
        hands.inflator.plant.F[name] = value

    return change


def both_on(hands):
    hands.inflator.plant.F[k.F_GATE_ON] = hands.inflator.plant.F[k.F_RELAY_ON] = 1.0


def opened(hands):
    hands.inflator.watchers.append(lambda inflator: inflator.plant.S.__setitem__(k.S_CUT, 1.0))


def deaf(hands):
    hands.set = lambda **values: vars(hands.inflator.hands).update(
        {n: v for n, v in values.items() if n not in ("run", "range_high")}
    )


def welded(hands):
    hands.inflator.hands.run = True
    deaf(hands)


LONG = object()  # the tick takes longer: in the test
BREAKS = {
    ("run", "run wire broken"): deaf,
    ("run", "run switch welded"): welded,
    ("key", "key contact broken"): deaf,
    ("pump_supply", "supply sags"): lambda hands: setattr(hands.inflator, "pump_mv", 9_800),
    ("supplies", "U5 joined through"): cutoff(supply_v=5.6),
    ("supplies", "U5 low"): cutoff(supply_v=4.5),
    ("threshold", "R36 of 11k"): cutoff(threshold=0.555),
    ("threshold", "threshold open"): cutoff(threshold=1.0),
    ("closed", "U9 silent"): cutoff(silent=True),
    ("closed", "cutoff open"): opened,
    ("zero", "A reads high"): replace(VESSEL, a_offset_pa=15_000.0),
    ("zero", "C reads low"): cutoff(c_error_pa=-15_000.0),
    ("tick", "tick too long"): LONG,
    ("polarity", "C stuck"): cutoff(c_stuck_pa=0.0),
    ("polarity", "B turned round"): replace(VESSEL, b_span_error=-2.0),
    ("trip_low", "C reads low"): cutoff(c_error_pa=-20_000.0),
    ("trip_low", "threshold high"): trips(550_000.0),
    ("latch", "Q12 open"): cutoff(latches=False),
    ("power_cycle", "U10's wire open"): opened,
    ("self_test", "relay stuck"): field_of(k.F_RELAY_ON, 1.0),
    ("self_test", "gate element stuck"): field_of(k.F_GATE_ON, 1.0),
    ("stops", "both elements stuck on"): both_on,
    ("holds", "manifold leaks"): field_of(k.F_HOSE_C, 6e-10),
    ("three", "C reads low"): cutoff(c_error_pa=-28_000.0),
    ("test_button", "C reads low"): cutoff(c_error_pa=-21_500.0),
    ("test_button", "Q12 open"): cutoff(latches=False),
    ("vent_flow", "vent clogged"): field_of(k.F_VENT_BLOCK, 0.9),
}
BEFORE = {
    "latch": ("trip_low",),
    "stops": ("self_test",),
    "holds": ("self_test", "stops"),
    "three": ("self_test", "stops"),
    "vent_flow": ("test_button",),
    "power_cycle": ("trip_low",),
}


def some(key):
    return [BY_KEY[name] for name in (*BEFORE.get(key, ()), key)]


def test_limits_are_those_of_the_hardware():
    assert table.TABLE.read_text() == table.text(), "run: python -m hardware.bringup --write"
    assert set(limits()) == set(BY_KEY) and len(BY_KEY) == len(STEPS)


def test_no_step_with_air_comes_before_one_without():
    phases = [s.phase for s in STEPS]
    assert phases == sorted(phases, reverse=True) and {s.source for s in STEPS} == {LINK, PERSON}


def test_every_fault_that_a_step_names_is_tried():
    tried = set(BREAKS) | {(s.key, name) for s in STEPS if s.source == PERSON for name in s.faults}
    assert tried == {(s.key, name) for s in STEPS for name in s.faults}


@pytest.fixture(scope="module")
def sound():
    """A whole bring-up of a sound board: (result, what the inflator kept, whether a fill could be armed before and after)."""
    with board() as inflator:
        client = at_bench(inflator)
        hands = Hands(inflator)
        result = bring_up(client, hands)
        kept = {n: client.request(codes.SETTING_GET, number=n)["value"] for n in (20, 21)}
        return result, kept


def test_the_sound_board_passes_every_step_and_air_is_enabled(sound):
    result, kept = sound
    assert [f.step.key for f in result.found if not f.holds] == [] and result.whole
    assert kept[20][0] == 2 and int.from_bytes(kept[21], "little") == result.baseline()["vent_flow"]
    assert set(result.baseline()) == {s.key for s in STEPS if s.baseline}


@pytest.mark.parametrize("key,name", BREAKS, ids=[f"{key}: {name}" for key, name in BREAKS])
def test_a_step_of_the_inflator_finds_its_fault(key, name, monkeypatch):
    change = BREAKS[key, name]
    if change is LONG:
        monkeypatch.setattr("rimward.simulation.virtual.inflator.load_units", lambda: 5)
    with board(change if isinstance(change, PlantParams) else VESSEL) as inflator:
        client = at_bench(inflator)
        hands = Hands(
            inflator,
            BEFORE[key][0] if key in ("vent_flow", "latch") else key,
            change if callable(change) else None,
        )
        result = walk(client, hands, some(key), None, lambda found: None)
        assert [f.step.key for f in result.found if not f.holds] == [key], [
            (f.step.key, f.value) for f in result.found
        ]


@pytest.mark.parametrize(
    "key,name", [(s.key, name) for s in STEPS if s.source == PERSON for name in s.faults]
)
def test_a_step_of_an_instrument_finds_its_fault(key, name):
    step = BY_KEY[key]
    faults = checkout_sim.trials()["fly_back" if key == "relay" else key].faults
    hands = Hands.__new__(Hands)
    hands.unit = checkout_unit.Unit()
    assert step.low <= hands.read(step) <= step.high
    hands.unit = faults[name]
    assert not step.low <= hands.read(step) <= step.high


def test_after_a_step_that_does_not_hold_nothing_follows_and_no_air_is_enabled():
    with board() as inflator:
        client = at_bench(inflator)
        hands = Hands(inflator, "threshold", cutoff(threshold=0.6))
        said = []
        result = bring_up(client, hands, None, lambda found: said.append(found.step.key))
        assert (
            said[-1] == "threshold"
            and not result.whole
            and result.level == 0
            and not [f for f in result.found if f.step.phase == AIR]
        )
        assert client.request(codes.SETTING_GET, number=20)["value"][0] == 0


def test_the_yearly_check_takes_15_percent_of_this_units_own_figure(sound):
    own = sound[0].baseline()
    drop = BY_KEY["drop_out"]
    for factor, holds in ((1.0, True), (1.14, True), (0.86, True), (1.16, False), (0.84, False)):
        found = Found(drop, 6.0 * factor, True)
        assert (compare([found], {**own, "drop_out": 6.0}) == []) is holds


def test_the_baseline_is_kept_and_read_and_its_absence_is_said(sound, tmp_path):
    with pytest.raises(Refusal, match="no baseline"):
        load_baseline(tmp_path, "a1")
    assert keep_baseline(tmp_path, "a1", sound[0]) == baseline_file(tmp_path, "a1")
    assert load_baseline(tmp_path, "a1") == sound[0].baseline()
    baseline_file(tmp_path, "a1").write_text("{")
    with pytest.raises(Refusal, match="cannot be read"):
        load_baseline(tmp_path, "a1")


def test_the_record_is_a_pdf_that_says_whether_air_is_enabled(sound):
    title, parts = sheet(sound[0], "a1", False)
    assert (
        title == "Bring-up of inflator a1"
        and "air is enabled" in parts[0][1]
        and "no certificate" not in parts[0][1]
    )
    table_rows = dict(parts)["table"][2]
    assert len(table_rows) == len(STEPS) and all(r[-1] == "holds" for r in table_rows)
    assert document(title, parts)[:5] == b"%PDF-" and len(document(title, parts)) > 8_000
    failed = replace(sound[0], found=[Found(STEPS[2], 9.8, False)], level=0)
    assert sheet(failed, "a1", True)[1][1] == (
        "text",
        "Not passed at: 12 V supply. Likely: supply sags.",
    )
    assert "NOT PASSED" in sheet(failed, "a1", True)[1][0][1] and sheet(failed, "a1", True)[
        0
    ].startswith("Yearly")


def test_every_finding_of_the_record_is_named_by_itself():
    assert len({s.finds for s in STEPS}) == len(STEPS)


def test_a_step_without_a_figure_says_yes_or_no_and_noise_is_no_figure():
    run, coupling, vent = BY_KEY["run"], BY_KEY["coupling"], BY_KEY["vent_flow"]
    assert row(Found(run, 1.0, True))[2:] == ("yes", "yes", "holds")
    assert row(Found(run, 0.0, False))[2:] == ("no", "yes", "DOES NOT HOLD")
    assert row(Found(coupling, -1.2e-13, True))[2] == "0 V"
    assert row(Found(vent, 622.0, False, 64.0))[2] == "622 ms" and not vent.yes_no
    assert not BY_KEY["threshold"].yes_no


def test_the_command_says_the_same_as_json_and_ends_with_1_where_a_step_does_not_hold(
    desk, monkeypatch, sound, tmp_path
):
    from contextlib import contextmanager

    from rimward.cli.commands import bringup as room

    class Line:
        about = {}

    @contextmanager
    def line(port):
        yield Line()

    monkeypatch.setattr(room, "open_client", line)
    monkeypatch.setattr(room, "about_row", lambda port, about: {"device": "a1"})
    monkeypatch.setattr(room, "bring_up", lambda client, person, baseline, say: sound[0])
    told = desk.json("bringup", "--port", "x", "-o", tmp_path / "r.pdf")
    assert (
        told["ok"]
        and told["level"] == 2
        and len(told["steps"]) == len(STEPS)
        and (tmp_path / "r.pdf").read_bytes()[:4] == b"%PDF"
    )
    assert desk("bringup", "--port", "x", "--yearly", "-o", tmp_path / "y.pdf") == 0
    failed = replace(sound[0], found=[*sound[0].found[:2], Found(STEPS[2], 9.8, False)], level=0)
    monkeypatch.setattr(room, "bring_up", lambda client, person, baseline, say: failed)
    assert desk("bringup", "--port", "x", "-o", tmp_path / "f.pdf", "--json") == 1
    assert json.loads(desk.out)["ok"] is False
    assert (
        desk("bringup", "--port", "x", "-o", tmp_path / "f.pdf") == 1
        and "gives no air" in desk.out
        and "supply sags" in desk.out
    )
