"""Five ways to get past the ceiling that must fail, each tried for real on a virtual inflator of its own."""

from dataclasses import dataclass
from typing import Any

from rimward_protocol import layout, replies
from rimward_protocol.profile import tag_profile

from rimward import records
from rimward.errors import Refusal
from rimward.link import verbs
from rimward.plant import PlantParams
from rimward.plant import faults as plant_faults
from rimward.simulation.person import Person
from rimward.simulation.scenario import KEY
from rimward.virtual import Interpreter, VirtualInflator

HALT_LIMIT_S = 0.020
FILL_S = 60.0


@dataclass(frozen=True)
class Attack:
    """What was tried and what came of it. `cause` is the recorded cause, or the word of the refusal."""

    name: str
    held: bool
    peak_tyre_pa: int
    cause: str
    told: str


def attempt(inflator: VirtualInflator, data: bytes) -> tuple[str, Person]:
    """Sends raw profile bytes past the host's own check; gives the word of the refusal, or "stored"."""
    from rimward_protocol import codes

    person = Person(inflator)
    person.enrol()
    try:
        person.client.request(codes.PROFILE_PUT, profile=data)
    except Refusal as refusal:
        return next((row[1] for row in replies.REPLIES if f"({row[1]})" in refusal.text), refusal.text), person
    return "stored", person


def forged(profile: bytes, **changed: int) -> bytes:
    """The same profile with other values a right check code and the shop's own tag: what a wrong program, or a thief of the key, could send."""
    fields = layout.unpack(layout.PROFILE, profile)
    fields.update(changed)
    fields["tag"] = bytes(16)
    for name in ("magic", "version", "crc"):
        del fields[name]
    return tag_profile(KEY, layout.seal_profile(fields))


def refused_profile(name: str, data: bytes, wanted: str, params: PlantParams, interpreter: Interpreter, ceiling_pa: int) -> Attack:
    """A profile that the inflator must not take; then the run control is held all the same."""
    with VirtualInflator(params, interpreter=interpreter) as inflator:
        word, person = attempt(inflator, data)
        nothing_stored = not verbs.list_profiles(person.client)
        person.hold(5.0)
        peak = round(inflator.plant.peak_pa)
        held = word == wanted and nothing_stored and peak < min(ceiling_pa, 1000)
        return Attack(name, held, peak, word, f"the inflator refused it ({word}) and moved no air")


def key_on_high(profile: bytes, params: PlantParams, interpreter: Interpreter, ceiling_pa: int) -> Attack:
    """A straight-side profile with the range key on high."""
    with VirtualInflator(params, interpreter=interpreter) as inflator:
        inflator.hands.range_high = True
        person = Person(inflator)
        fields = person.bring(profile)
        person.choose(bytes.fromhex(fields["wheel_id"]))
        inflator.hands.run = True
        inflator.advance(5.0)
        status = person.status()
        peak = round(inflator.plant.peak_pa)
        cause = status["stop_cause"]
        held = peak < 1000 and cause == "range-key-refuses"
        return Attack("straight-side profile, range key on high", held, peak, cause, "the guard gave no air until the key is on low")


def relay_stuck(profile: bytes, params: PlantParams, interpreter: Interpreter, ceiling_pa: int) -> Attack:
    """The relay contact welds in mid-fill; the fill ends by the other element, the next self-test finds the weld."""
    rows = plant_faults.events("relay_stuck_on", 8 * 500)
    with VirtualInflator(params, faults=rows, interpreter=interpreter) as inflator:
        person = Person(inflator)
        fields = person.bring(profile)
        wheel = bytes.fromhex(fields["wheel_id"])
        person.choose(wheel)
        person.fill(FILL_S)
        person.let_settle()
        person.choose(wheel)
        person.hold(3.0)
        status = person.status()
        peak = round(inflator.plant.peak_pa)
        held = peak <= ceiling_pa and status["cause"] == "relay-stuck"
        return Attack("pump relay stuck on", held, peak, status["cause"], "the gate ended the fill; the next self-test found the weld before air went in")


def processor_halted(profile: bytes, params: PlantParams, interpreter: Interpreter, ceiling_pa: int) -> tuple[Attack, float]:
    """The processor stops dead with the pump running. Also gives the plant time from there to power off, in seconds."""
    from rimward.plant import layout as k

    with VirtualInflator(params, interpreter=interpreter) as inflator:
        person = Person(inflator)
        fields = person.bring(profile)
        person.choose(bytes.fromhex(fields["wheel_id"]))
        inflator.hands.run = True
        inflator.until(lambda v: v.plant.tyre_pa > 0.3 * ceiling_pa and bool(v.drive & k.GATE), FILL_S)
        assert inflator.firmware is not None
        inflator.firmware.halt()
        start = inflator.now_s
        off_s = inflator.now_s
        for _ in range(2500):
            inflator.tick()
            if inflator.powered:
                off_s = inflator.now_s
        inflator.firmware.go_on()
        peak = round(inflator.plant.peak_pa)
        took = off_s - start
        held = peak <= ceiling_pa and took <= HALT_LIMIT_S
        told = f"the pulses stopped and the pump's power was off within {took * 1000:.0f} ms, run control still held"
        return Attack("processor halted in mid-fill", held, peak, "no-pulses", told), took


def all_attacks(profile: bytes, params: PlantParams, interpreter: Interpreter, told: Any) -> tuple[list[Attack], float]:
    """Runs the five; `told(attack)` is called after each. Also gives the halted processor's power-off time."""
    fields = records.unpack_profile(profile)
    ceiling = fields["ceiling_pa"]
    found: list[Attack] = []

    def keep(attack: Attack) -> None:
        found.append(attack)
        told(attack)

    above = forged(profile, target_pa=ceiling + 30000)
    keep(refused_profile("target above the ceiling", above, "profile-target", params, interpreter, ceiling))
    beyond = forged(profile, rim_class=5, limit_pa=950000, ceiling_pa=950000)
    keep(refused_profile("profile above the rig's ceiling", beyond, "profile-ceiling-above-rig", params, interpreter, ceiling))
    keep(key_on_high(profile, params, interpreter, ceiling))
    keep(relay_stuck(profile, params, interpreter, ceiling))
    halted, took = processor_halted(profile, params, interpreter, ceiling)
    keep(halted)
    return found, took
