"""Heat and overcurrent: junction temperatures at 50 degC and the stated duty, the motor's start and stall, fuse and terminals.

The duty counts as continuous where no heat capacity is given, which is pessimistic. Thermal resistances in K/W, junction to air on the
board's own copper unless a heat sink is named; all from memory, class figures.
"""

from dataclasses import dataclass
from functools import cache
from math import exp

from hardware import spice
from hardware.check import Check, listing
from hardware.circuit import Part, load, ohms
from hardware.params import PARAMS

MARGIN_K = 20.0
NO_SINK_K_W = 62.0  # TO-220 without heat sink
JUNCTION_TO_CASE, CASE_TO_SINK = 1.0, 1.0
HOT_PER_K = 0.006  # rise of a MOSFET's resistance
SINK_J_K = 15.0  # about 17 g of aluminium
FEED_DROP_V = 0.5  # D6


@dataclass(frozen=True)
class Heat:
    """One part: power in W when hot, K/W to the air, highest junction temperature in degC, assumptions."""

    ref: str
    watts: float
    k_per_w: float
    limit_c: float
    why: str

    @property
    def hot_c(self) -> float:
        """Junction temperature in the hottest air, degC."""
        return PARAMS["temperature"].high + self.watts * self.k_per_w

    @property
    def margin_k(self) -> float:
        """Margin to the highest junction temperature, K."""
        return self.limit_c - self.hot_c


def sink_k_w() -> float:
    """Junction of M1 to air through heat sink HS1."""
    return JUNCTION_TO_CASE + CASE_TO_SINK + PARAMS["heat_sink"].high


def channel_w(amps: float, milliohm: float, k_per_w: float) -> float:
    """Power in W of a conducting MOSFET once its resistance has risen with its temperature; 1e6 when it runs away."""
    cold = amps * amps * milliohm / 1000
    ambient = PARAMS["temperature"].high
    slope = cold * HOT_PER_K * k_per_w
    if slope >= 1:
        return 1e6
    return cold * (1 + HOT_PER_K * (ambient - 25)) / (1 - slope)


def coil_amps() -> tuple[float, float]:
    """(relay, vent) coil current at the highest supply."""
    top = PARAMS["v12"].high
    return top / PARAMS["relay_coil"].low, top / PARAMS["vent_coil"].low


def heats(parts: dict[str, Part], m1_k_w: float | None = None) -> list[Heat]:
    """Every part of the board that gets warm, at the worst end."""
    top, motor = PARAMS["v12"].high, PARAMS["motor_run"].high
    relay_a, vent_a = coil_amps()
    aux = top - FEED_DROP_V
    path = sink_k_w() if m1_k_w is None else m1_k_w
    cut_a, sens_a = PARAMS["cutoff_current"].high, PARAMS["sensor_current"].high
    drop = cut_a * ohms(parts["R49"].value)
    fault_a = (aux - 5.3) / ohms(parts["R49"].value)
    d7_w = 0.5 * PARAMS["motor_henry"].high * motor**2 * 2
    return [
        Heat(
            "M1",
            channel_w(motor, parts["M1"].limits["mohm"], path),
            path,
            parts["M1"].limits["degC"],
            "motor current for ever, on HS1",
        ),
        Heat("D6", (relay_a + vent_a + 0.5) * FEED_DROP_V, 60.0, 150.0, "both coils and the logic"),
        Heat("D7", d7_w, 60.0, 150.0, "two stops a second"),
        Heat("U2", 5.0 * 0.4 * 0.15, 60.0, 120.0, "85 % efficient, 0.4 A"),
        Heat(
            "U3",
            (aux - PARAMS["v5_sens"].low) * sens_a,
            160.0,
            125.0,
            "two transducers and the reference",
        ),
        Heat(
            "U5",
            (aux - drop - PARAMS["v5_sens"].low) * cut_a,
            160.0,
            125.0,
            "transducer C and the comparator",
        ),
        Heat("R49", cut_a**2 * ohms(parts["R49"].value), 90.0, 155.0, "ordinary"),
        Heat("R49", fault_a**2 * ohms(parts["R49"].value), 90.0, 155.0, "U5 shorted"),
        Heat("D22", fault_a * parts["D22"].limits["V"] * 1.05, 125.0, 150.0, "U5 shorted"),
        Heat("Q5", channel_w(relay_a, 400.0, 250.0), 250.0, 150.0, "relay coil"),
        Heat("Q6", channel_w(relay_a, 150.0, 250.0), 250.0, 150.0, "relay coil"),
        Heat("Q8", channel_w(vent_a, 400.0, 250.0), 250.0, 150.0, "vent coil"),
        Heat("Q9", channel_w(vent_a, 150.0, 250.0), 250.0, 150.0, "vent coil"),
        Heat(
            "D12",
            0.5 * PARAMS["vent_henry"].high * vent_a**2 * 2,
            125.0,
            150.0,
            "vent switched twice a second",
        ),
        Heat(
            "D8",
            0.5 * PARAMS["vent_henry"].high * vent_a**2 * 2,
            100.0,
            150.0,
            "line valve switched twice a second",
        ),
    ]


def junctions(parts: dict[str, Part]) -> Check:
    """Check that every junction stays 20 K under its limit at 50 degC of air."""
    rows = heats(parts)
    hot = [
        f"{h.ref} {h.hot_c:.0f} of {h.limit_c:.0f} degC ({h.why})"
        for h in rows
        if h.margin_k < MARGIN_K
    ]
    worst = min(rows, key=lambda h: h.margin_k)
    m1 = rows[0]
    return Check(
        "heat: junctions",
        not hot,
        listing(hot)
        if hot
        else f"closest {worst.ref}, {worst.hot_c:.0f} of {worst.limit_c:.0f} degC; M1 {m1.watts:.1f} W, {m1.hot_c:.0f} degC",
    )


def stall_a() -> float:
    """Return the current of the stalled motor at the highest supply."""
    return PARAMS["v12"].high / (PARAMS["motor_ohm"].low + PARAMS["wiring_ohm"].low)


def start_i2t() -> float:
    """I2t of one start beyond the running current, A2s: from stall down to run with the spin-up time."""
    run, s, tau = PARAMS["motor_run"].high, stall_a(), PARAMS["motor_spin_up"].high
    return (s - run) ** 2 * tau / 2 + 2 * run * (s - run) * tau


def stall_c() -> float:
    """Junction of M1 in degC at the end of the longest stall that F1 allows, starting hot: R of junction and case, heat capacity of the
    sink.
    """
    parts = load()
    begun = heats(parts)[0].hot_c
    watts = stall_a() ** 2 * parts["M1"].limits["mohm"] / 1000 * (1 + HOT_PER_K * (150 - 25))
    seconds = PARAMS["fuse_opens"].high
    sink = (
        watts
        * PARAMS["heat_sink"].high
        * (1 - exp(-seconds / (PARAMS["heat_sink"].high * SINK_J_K)))
    )
    return begun + watts * (JUNCTION_TO_CASE + CASE_TO_SINK) + sink


def overcurrent(parts: dict[str, Part]) -> Check:
    """Check the fuse above the running current at 50 degC, its I2t over many starts; stall opens it before M1 is hot; contact,
    terminals, wire above the fuse.
    """
    run, fuse = PARAMS["motor_run"].high, parts["F1"].limits["A"]
    wrong = []
    if run > fuse * 0.75 * 0.95:
        wrong.append(
            f"F1 {fuse:g} A carries {fuse * 0.7125:.1f} A at 50 degC, the motor takes {run:g} A"
        )
    if start_i2t() > 0.5 * parts["F1"].limits["I2t"]:
        wrong.append(f"F1: a start is {start_i2t():.0f} A2s of {parts['F1'].limits['I2t']:g}")
    if stall_a() < 2 * fuse:
        wrong.append(f"F1: a stall of {stall_a():.0f} A may never open it")
    if stall_c() > parts["M1"].limits["degC"] - MARGIN_K:
        wrong.append(f"M1 reaches {stall_c():.0f} degC in a stall")
    wrong += [
        f"{r} carries less than F1"
        for r in ("K1", "J1", "J2", "M1", "NT1")
        if parts[r].limits["A"] < fuse
    ]
    if PARAMS["wire_area"].low ** 2 * 115**2 < 20 * parts["F1"].limits["I2t"]:
        wrong.append("wire too thin for F1")
    return Check(
        "overcurrent: start, stall, fuse, terminals",
        not wrong,
        listing(wrong)
        if wrong
        else f"start {start_i2t():.0f} of {parts['F1'].limits['I2t']:g} A2s, stall {stall_a():.0f} A, M1 {stall_c():.0f} degC at its end",
    )


@cache
def spice_m1_c(seconds: float = 300.0, sink: bool = True) -> float:
    """Junction of M1 in degC after the stated duty, by ngspice on a thermal network with temperature-dependent resistance: a second
    opinion.
    """
    parts = load()
    air = PARAMS["temperature"].high
    to_air = PARAMS["heat_sink"].high if sink else NO_SINK_K_W - JUNCTION_TO_CASE
    power = PARAMS["motor_run"].high ** 2 * parts["M1"].limits["mohm"] / 1000
    lines = [
        f"bp 0 tj i={power}*(1+{HOT_PER_K}*(v(tj)-25))",
        f"rjc tj tc {JUNCTION_TO_CASE}",
        f"rcs tc ts {CASE_TO_SINK if sink else 1e-3}",
        f"rsa ts air {to_air}",
        f"va air 0 {air}",
        f"cj tj 0 0.02 ic={air}",
        f"cc tc 0 1 ic={air}",
        f"cs ts 0 {SINK_J_K if sink else 0.5} ic={air}",
    ]
    return spice.run(
        "heat of M1",
        lines,
        [f".tran 0.5 {seconds} 0 0.5 uic", f".meas tran end find v(tj) at={seconds - 1}"],
    )["end"]


RULES = (junctions, overcurrent)
