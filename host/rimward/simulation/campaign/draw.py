"""Drawing of one session of a campaign from (seed, number) alone: the same on any machine and any number of cores."""

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from rimward_fw.control import configuration
from rimward_protocol import codes

from rimward.base.atmosphere import ambient_pa
from rimward.limits.volume import volumes
from rimward.simulation.campaign import effects, people
from rimward.simulation.loop import Job
from rimward.simulation.plant.board import BOARD
from rimward.simulation.plant.faults import FAULTS, Fault

CLASS_PA = 10_000.0  # total error band of a transducer: 1 % of 10 bar
CORNER = 0.05  # share of sessions with both transducers at the low end of their class: the worst pair on sale
CORNER_MOVED = 0.3  # where the chuck is moved to another tyre
HEALTHY = 0.4  # share of sessions without a fault when faults are wanted
FREE_L_S = 0.5  # the reference source, for a first estimate of the duration

# tyre mm, bead mm, rim inner mm, class of rim, limit Pa. Sizes as in trade tables, limits invented.
WHEELS = (
    (23, 622, 15, codes.RIM_C, 800_000),
    (25, 622, 17, codes.RIM_C, 800_000),
    (28, 622, 19, codes.RIM_TC, 700_000),
    (28, 622, 23, codes.RIM_TSS, 500_000),
    (30, 622, 23, codes.RIM_TSS, 500_000),
    (32, 622, 21, codes.RIM_TC, 500_000),
    (32, 622, 25, codes.RIM_TSS, 450_000),
    (37, 349, 21, codes.RIM_C, 500_000),
    (40, 622, 23, codes.RIM_TSS, 400_000),
    (40, 406, 21, codes.RIM_C, 480_000),
    (45, 622, 25, codes.RIM_TSS, 350_000),
    (47, 584, 25, codes.RIM_TSS, 350_000),
    (57, 622, 30, codes.RIM_TSS, 280_000),
    (60, 584, 30, codes.RIM_TC, 280_000),
)
NUMBERS = 64  # drawn for wheel, job, instrument, person and fault
MORE = 64  # drawn for effects and what people do


@dataclass(frozen=True)
class Draw:
    """One session: job, person, fault. Times in ticks of 2 ms; `true_ceiling_pa` is the mounted wheel's own."""

    number: int
    job: Job
    person: str
    hold: int
    confirm: int
    retry: int
    warm: int
    fault: str
    at: int
    severity: float
    true_ceiling_pa: int
    air_error_k: float = 0.0
    baro_error_pa: float = 0.0
    high: bool = False
    places: bytes = b""  # of every effect in its range, see `effects`
    act_at: int = -1  # tick at which the person acts
    how: tuple[float, ...] = field(default=())  # six numbers of 0..1 that set the act

    @property
    def patient(self) -> bool:
        """True for a person who holds until asked to stop, answers correctly within 5 s, and tries once more."""
        return self.person == "patient"


def choices(faults: Sequence[str]) -> tuple[str, ...]:
    """Names of faults that a campaign draws from: `all`, `none` or names. KeyError for an unknown name."""
    if list(faults) == ["none"]:
        return ()
    if list(faults) == ["all"]:
        return tuple(FAULTS)
    return tuple(FAULTS[name].name for name in faults)


def draw(
    seed: int,
    number: int,
    names: tuple[str, ...],
    who: tuple[str, ...] = people.NAMES,
    healthy: float = HEALTHY,
) -> Draw:
    """Draw session `number` of campaign `seed`, with one fault of `names` (none: without any) and a person of `who`."""
    r = np.random.Generator(np.random.Philox(key=(seed & (2**64 - 1)) << 64 | number))
    u = r.random(NUMBERS)
    more = r.random(MORE)
    places = effects.bytes_of(more)
    how = more[MORE - 8 :]
    wheel = WHEELS[int(u[0] * len(WHEELS))]
    name = ""
    if names and (u[1] >= healthy or len(names) < len(FAULTS)):
        name = names[int(u[2] * len(names))]
    fault = FAULTS.get(name)
    is_line = u[3] < 0.3
    if fault is not None and (fault.line_only or fault.compressor_only):
        is_line = fault.line_only
    limit = wheel[4] - int(u[4] * 0.25 * wheel[4] / 1000) * 1000
    ceiling = limit - int(u[5] * 0.15 * limit / 1000) * 1000
    room_k = 276.0 + u[6] * 32.0
    ambient = ambient_pa(3000.0 * u[7] ** 2) + 2000.0 * (u[8] - 0.5)
    volume = _volume(wheel, u[15])
    nominal_ml = volumes(*wheel[:3]).nominal_l * 1000.0 * volume
    person = people.pick(float(u[20]), who)
    over = (
        _instrument(u, room_k, CORNER_MOVED if person.name in people.MOVED else CORNER)
        | _parts(u)
        | effects.over(places, nominal_ml)
    )
    job = Job(
        tyre_mm=float(wheel[0]), bead_mm=float(wheel[1]), rim_mm=float(wheel[2]), rim_class=wheel[3], limit_pa=limit, ceiling_pa=ceiling,
        target_pa=int((0.45 + 0.52 * u[9]) * ceiling), seat_pa=int(0.5 * ceiling) if u[10] < 0.2 else 0,
        start_pa=0.0 if u[11] < 0.5 else float(u[12] * 0.9 * ceiling), pin_open=bool(u[13] < 0.4), kind=configuration.LINE if is_line else configuration.COMPRESSOR,
        ambient_abs_pa=ambient, room_k=room_k, delivery=0.85 + 0.3 * u[14], volume=volume, skin=0.7 + 0.7 * u[16], casing=0.6 + u[17],
        seed=int(u[18] * 2**53), over=over,
    )  # fmt: skip
    true_ceiling = ceiling
    if fault is not None:
        job, true_ceiling = _with_flags(fault, float(u[19]), job)
    guess = _guess_ticks(job)
    if person.name == "second-wheel":
        job = _two_wheels(job, 0.6 + 0.8 * float(how[0]))
    warm = 100 + int(u[21] * 400)
    until = warm if name == "hose_attached" else warm + 500 + 1.15 * guess
    return Draw(
        number, job, person.name, hold=int(200 + 1500 * u[22]) if person.name == "lets-go" else 0,
        confirm=int(u[23] * (6000 if person.name == "slow" else 2400)), retry=person.tries, warm=warm, fault=name,
        at=int(u[24] * until) if fault else -1, severity=float(u[19]), true_ceiling_pa=true_ceiling,
        high=job.ceiling_pa > codes.RIG_LOW_CEILING_PA, places=places.tobytes(), act_at=warm + int(how[7] * 1.3 * guess), how=tuple(float(x) for x in how[1:7]),
    )  # fmt: skip


def _two_wheels(job: Job, ratio: float) -> Job:
    """Job with a second wheel of `ratio` times the volume beside the first, at the same pressure, each behind its own core."""
    return replace(
        job, volume=job.volume * (1.0 + ratio), over=job.over | {"core_c": 2.0 * job.over["core_c"]}
    )


def _volume(wheel: tuple[Any, ...], part: float) -> float:
    """Return the true volume over the profile's nominal: from its low value to the same distance above."""
    air = volumes(*wheel[:3])
    low = air.low_l / air.nominal_l
    return low + 2.0 * (1.0 - low) * part


def _bell(x: float, y: float) -> float:
    """Near-normal number, two standard deviations at the class bound, cut off there: -1..1."""
    z = float(np.sqrt(-2.0 * np.log(1.0 - x)) * np.cos(2.0 * np.pi * y))
    return float(np.clip(0.5 * z, -1.0, 1.0))


def _instrument(u: np.ndarray, room_k: float, corner: float) -> dict[str, float]:
    """Errors of both transducers: total error at this room's temperature within the class at both ends of the scale, and so between
    them.
    """
    found: dict[str, float] = {}
    for at, side in ((30, "a"), (35, "b")):
        zero, full = CLASS_PA * _bell(u[at], u[at + 1]), CLASS_PA * _bell(u[at + 2], u[at + 3])
        if u[29] < corner:
            zero = full = -CLASS_PA
        thermal = 120.0 * (u[at + 4] - 0.5)
        # reading = (1 + span) (p + offset); at full scale the span also applies to the offset
        span = (full - zero) / 1_000_000.0
        found |= {
            f"{side}_offset_pa": zero / (1.0 + span) - thermal * (room_k - 293.15),
            f"{side}_span_error": span,
            f"{side}_thermal_pa_k": thermal,
        }
    found["baro_error_pa"] = 100.0 * _bell(u[40], u[41])
    found["air_error_k"] = 0.5 * _bell(u[42], u[43])
    found["b_e11_lsb"] = 5.0 + 10.0 * u[44]
    found["b_enob"] = 8.3 + 0.8 * u[45]
    return found


def _parts(u: np.ndarray) -> dict[str, float]:
    """Parts within their tolerances; their further effects are drawn in `effects`."""
    return {
        "turns_hz": 30.0 + 30.0 * u[47],
        "ripple": 0.6 + 0.4 * u[48],
        "manifold_ml": _between("manifold_ml", u[51]),
        "cutoff_error_pa": -16e3 + 32e3 * u[53],
        "gate_drop_s": _between("gate_drop_s", u[56]),
        "a_tau_s": 0.003 + 0.004 * u[57],
        "b_tau_s": 0.004 + 0.005 * u[58],
        "relay_off_s": _between("relay_off_s", u[59]),
        "jitter_s": 5e-6 + 2e-5 * u[60],
        "leak_c": 0.0 if u[61] < 0.8 else 1e-6 * u[62],
    }


def _between(name: str, part: float) -> float:
    """Plant parameter within the ends of the hardware data."""
    low, _, high = BOARD[name]
    return low + (high - low) * part


def _with_flags(fault: Fault, severity: float, job: Job) -> tuple[Job, int]:
    """Job with the changes by the fault's flags, and the ceiling of the wheel really on the hose."""
    ceiling = job.ceiling_pa
    if "over_pa" in fault.flags:
        job = replace(job, start_pa=ceiling + fault.flag("over_pa", severity))
    if (
        "volume_ratio" in fault.flags
    ):  # of a similar kind of tyre: limits fall with the width, the volume rises with its square
        ratio = fault.flag("volume_ratio", severity)
        job = replace(job, volume=job.volume * ratio)
        ceiling = int(min(ceiling / ratio**0.5, codes.RIG_HIGH_CEILING_PA))
    if "ceiling_ratio" in fault.flags:
        ceiling = int(ceiling / fault.flag("ceiling_ratio", severity))
    return replace(
        job, start_pa=min(job.start_pa, 0.9 * ceiling)
    ) if "over_pa" not in fault.flags else job, ceiling


def _guess_ticks(job: Job) -> float:
    """Estimated duration of the fill in ticks."""
    litres = volumes(job.tyre_mm, job.bead_mm, job.rim_mm).nominal_l * job.volume
    missing = max(job.target_pa - job.start_pa, 0.0) / job.ambient_abs_pa * litres
    return 500.0 * missing / (FREE_L_S * 0.8 * job.delivery)
