"""Five attempts to exceed the ceiling, all of which must fail, each on its own virtual inflator."""

from dataclasses import dataclass
from typing import Any

from rimward_protocol import answers, codes, layout
from rimward_protocol.profile import tag_profile

from rimward.base.errors import Refusal
from rimward.device.link import verbs
from rimward.formats import records
from rimward.simulation.person import Person
from rimward.simulation.plant import PlantParams
from rimward.simulation.plant import faults as plant_faults
from rimward.simulation.plant import layout as k
from rimward.simulation.scenario import KEY
from rimward.simulation.virtual import Interpreter, VirtualInflator

HALT_LIMIT_S = 0.020
FILL_S = 60.0


@dataclass(frozen=True)
class Attack:
    """One attempt and its result. `cause`: the recorded cause, or the word of the refusal."""

    name: str
    held: bool
    peak_tyre_pa: int
    cause: str
    happened: str


def attempt(inflator: VirtualInflator, data: bytes) -> tuple[str, Person]:
    """Send raw profile bytes past the host's own check; return the word of the refusal, or "stored"."""

    person = Person(inflator)
    person.enrol()
    try:
        person.client.request(codes.PROFILE_PUT, profile=data)
    except Refusal as refusal:
        return next(
            (row[1] for row in answers.REPLIES if f"({row[1]})" in refusal.text), refusal.text
        ), person
    return "stored", person


def forged(profile: bytes, **changed: int) -> bytes:
    """Return the profile with other values, a correct check code and the shop's own tag, as a faulty program or a thief of the key could
    send.
    """
    fields = layout.unpack(layout.PROFILE, profile)
    assert fields is not None
    fields.update(changed)
    fields["tag"] = bytes(16)
    for name in ("magic", "version", "crc"):
        del fields[name]
    return bytes(tag_profile(KEY, layout.seal_profile(fields)))


def refused_profile(
    name: str,
    data: bytes,
    wanted: str,
    params: PlantParams,
    interpreter: Interpreter,
    ceiling_pa: int,
) -> Attack:
    """Send a profile that the inflator must refuse; then hold the run control anyway."""
    with VirtualInflator(params, interpreter=interpreter) as inflator:
        word, person = attempt(inflator, data)
        nothing_stored = not verbs.list_profiles(person.client)
        person.hold(5.0)
        peak = round(inflator.plant.peak_pa)
        held = word == wanted and nothing_stored and peak < min(ceiling_pa, 1000)
        return Attack(name, held, peak, word, f"the inflator refused it ({word}) and moved no air")


def key_on_high(
    profile: bytes, params: PlantParams, interpreter: Interpreter, ceiling_pa: int
) -> Attack:
    """Arm a straight-side profile with the range key at high."""
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
        return Attack(
            "straight-side profile, range key on high",
            held,
            peak,
            cause,
            "the guard releases no air until the key is at low",
        )


def relay_stuck(
    profile: bytes, params: PlantParams, interpreter: Interpreter, ceiling_pa: int
) -> Attack:
    """Weld the relay contact during a fill: the other element ends the fill, the next self-test finds the weld."""
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
        return Attack(
            "pump relay stuck on",
            held,
            peak,
            status["cause"],
            "the gate ended the fill; the next self-test found the weld before air went in",
        )


def processor_halted(
    profile: bytes, params: PlantParams, interpreter: Interpreter, ceiling_pa: int
) -> tuple[Attack, float]:
    """Halt the processor with the pump running. Also return the plant time from there to power off, in seconds."""

    with VirtualInflator(params, interpreter=interpreter) as inflator:
        person = Person(inflator)
        fields = person.bring(profile)
        person.choose(bytes.fromhex(fields["wheel_id"]))
        inflator.hands.run = True
        inflator.until(
            lambda v: v.plant.tyre_pa > 0.3 * ceiling_pa and bool(v.drive & k.GATE), FILL_S
        )
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
        happened = f"the pulses stopped and the pump's power was off within {took * 1000:.0f} ms, run control still held"
        return Attack("processor halted during a fill", held, peak, "no-pulses", happened), took


def all_attacks(
    profile: bytes, params: PlantParams, interpreter: Interpreter, report: Any
) -> tuple[list[Attack], float]:
    """Run the five; `report(attack)` is called after each. Also return the halted processor's power-off time."""
    fields = records.unpack_profile(profile)
    ceiling = fields["ceiling_pa"]
    found: list[Attack] = []

    def keep(attack: Attack) -> None:
        found.append(attack)
        report(attack)

    above = forged(profile, target_pa=ceiling + 30000)
    keep(
        refused_profile(
            "target above the ceiling", above, "profile-target", params, interpreter, ceiling
        )
    )
    beyond = forged(profile, rim_class=5, limit_pa=950000, ceiling_pa=950000)
    keep(
        refused_profile(
            "profile above the inflator's maximum",
            beyond,
            "profile-ceiling-above-rig",
            params,
            interpreter,
            ceiling,
        )
    )
    keep(key_on_high(profile, params, interpreter, ceiling))
    keep(relay_stuck(profile, params, interpreter, ceiling))
    halted, took = processor_halted(profile, params, interpreter, ceiling)
    keep(halted)
    return found, took
