"""Check-out program of the sheet: each air switch alone, for a person with an oscilloscope. Not part of the firmware.

Workshop contact closed at power-up, firmware installed, hose closed, no wheel: `mpremote connect PORT run hardware/checkout_pico.py`.
Guard and fill controller do not run here. Nothing moves unless the run control is held and the key is at low; releasing it, the step's time
or its manifold limit ends the step. ENTER begins a step, DOWN skips it. Every exit switches the air off and opens the vent.
"""

import time

from machine import mem32
from rimward_fw.board import pico, wiring
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Sequence

TICK_US = 2000
GATE, RELAY, VENT_OPEN = 1, 2, 4  # bits of `drive`
RUN, KEY_LOW, KEY_HIGH, DOWN, ENTER = 1, 2, 4, 1024, 2048  # bits of its switch word
STANDARD_PA = 101_325
VENT_PA = 333_000  # lowest ceiling of the low range: straight-side limit over 1.5
STILL_PA = 20_000
HURRY = 1  # tests divide every time by it

# name, bits, ms, repeats, level of GATE afterwards (and, without pulses, meanwhile), highest manifold in Pa gauge, observation
STEPS = (
    (
        "pulses, stopped high",
        GATE | VENT_OPEN,
        2000,
        3,
        1,
        STILL_PA,
        "time from the last falling edge of GATE to 1 V at the gate of M1",
    ),
    ("pulses, stopped low", GATE | VENT_OPEN, 2000, 3, 0, STILL_PA, "the same"),
    (
        "relay",
        RELAY | VENT_OPEN,
        1000,
        3,
        0,
        STILL_PA,
        "time from RELAY falling to an open contact",
    ),
    (
        "GATE held at 1",
        RELAY,
        5000,
        1,
        1,
        STILL_PA,
        "air source stays off; GP_A under 0.3 V (10 megohm meter)",
    ),
    ("GATE held at 0", RELAY, 5000, 1, 0, STILL_PA, "the same"),
    (
        "vent balance",
        GATE | RELAY | VENT_OPEN,
        10_000,
        1,
        0,
        VENT_PA,
        "air source runs; the manifold stays under the sheet's figure",
    ),
)


class Stop(Exception):
    """A step ended before its time; the text says why."""


def word(block: "int | Sequence[int]", n: int) -> int:
    """Return word `n` of a register block: an address on the chip, an array elsewhere."""
    return mem32[block + 4 * n] if isinstance(block, int) else block[n]


def sample(ring: "Sequence[int]", n: int) -> int:
    """Return sample `n` of the converter's ring, bytes on the chip."""
    return ring[2 * n] | ring[2 * n + 1] << 8 if len(ring) == 32 else ring[n]


class Bench:
    """The board without guard and fill controller: converters and switches are read, the three outputs driven, one call each."""

    def __init__(self, board: "pico.Board") -> None:
        self.board = board
        self.level = 0
        _, self.ring, _, self.spi, _ = board.converters.blocks()
        inputs = wiring._inputs()
        self.inputs = (
            (inputs["RUN"], RUN),
            (inputs["KEY_LOW"], KEY_LOW),
            (inputs["KEY_HIGH"], KEY_HIGH),
            (inputs["DOWN"], DOWN),
            (inputs["ENTER"], ENTER),
        )

    def sense(self) -> tuple[int, int, int]:
        """Return (A, B, switches): 16-bit fractions of the transducers' supply; A's conversion was started by the previous call."""
        a = word(self.spi, 2) & 0xFFFF if word(self.spi, 3) & 4 else 0
        self.board.cs(1)
        b = sum([sample(self.ring, n) for n in (0, 4, 8, 12)])
        supply = sum([sample(self.ring, n) for n in (1, 5, 9, 13)])
        self.board.cs(0)
        if isinstance(self.spi, int):
            mem32[self.spi + 8] = 0xFFFF
        return (
            a,
            min((b << 16) // max(supply, 256), 65535),
            sum([bit for pin, bit in self.inputs if pin()]),
        )

    def drive(self, bits: int) -> None:
        """Drive the output bits; one edge of GATE while its bit is set."""
        if bits & GATE:
            self.level ^= 1
            self.board.gate(self.level)
        self.board.relay(1 if bits & RELAY else 0)
        self.board.vent(0 if bits & VENT_OPEN else 1)

    def still(self) -> None:
        """Switch the air off and open the vent."""
        self.board.relay(0)
        self.board.vent(0)


def manifold_pa(bench: Bench, a: int, b: int) -> int:
    """Higher of both transducers, Pa gauge. Stop when one is out of its band."""
    if not (3277 < a < 62259 and 3277 < b < 62259):
        raise Stop("a transducer is out of its band")
    a, b = [(word * 9766 >> 9) - 125_012 for word in (a, b)]
    return max(b, a + STANDARD_PA - (bench.board.ambient_pa or STANDARD_PA))


def look(bench: Bench, most: int) -> int:
    """Manifold in Pa gauge. Stop where no air may move."""
    a, b, switches = bench.sense()
    pa = manifold_pa(bench, a, b)
    if not switches & RUN:
        raise Stop("run control not held")
    if not switches & KEY_LOW or switches & KEY_HIGH:
        raise Stop("the range key is not on low")
    if pa >= most:
        raise Stop("the manifold stands at %.2f bar (%.1f psi)" % (pa / 1e5, pa / 6894.757))
    return pa


def settle(bench: Bench, bits: int, level: int) -> None:
    """Bring GATE to a steady level with the relay open."""
    while bench.level != level:
        bench.drive(GATE | bits & VENT_OPEN)
        time.sleep_us(TICK_US)
    bench.drive(bits & VENT_OPEN)


def step(bench: Bench, bits: int, ms: int, level: int, most: int) -> int:
    """Run one step once. Return the highest manifold reading, Pa gauge; Stop says why it ended early."""
    settle(bench, bits, level)
    bench.sense()  # begins A's first conversion
    time.sleep_ms(100 // HURRY)
    top = 0
    at = time.ticks_us()
    for _ in range(ms * 1000 // TICK_US // HURRY):
        top = max(top, look(bench, most))
        bench.drive(bits)
        at = time.ticks_add(at, TICK_US)
        while time.ticks_diff(at, time.ticks_us()) > 0:
            pass
    settle(bench, bits & VENT_OPEN if bits & GATE else VENT_OPEN, level)
    return top


def wanted(bench: Bench) -> bool:
    """Wait for a button: True for ENTER, False for DOWN, after all buttons were open."""
    seen_open = False
    while True:
        pressed = bench.sense()[2] & (ENTER | DOWN)
        bench.board.idle()
        if pressed and seen_open:
            return pressed == ENTER
        seen_open = seen_open or not pressed


def main(board: "pico.Board") -> None:
    """Run all steps, one after the other."""
    if not board.maintenance:
        board.off()
        print("Switch off, close the workshop contact, switch on and run it again.")
        return
    bench = Bench(board)
    try:
        for name, bits, ms, times, level, most, what in STEPS:
            print("%s: look at %s. Hold RUN and press ENTER; DOWN leaves it out." % (name, what))
            if not wanted(bench):
                print("  left out")
                continue
            try:
                top = max([step(bench, bits, ms, level, most) for _ in range(times)])
                print("  done; highest manifold %.2f bar (%.1f psi)" % (top / 1e5, top / 6894.757))
            except Stop as stop:
                bench.still()
                print("  STOPPED: %s" % stop)
    finally:
        board.off()
        print("Air off. Open the workshop contact, switch off and on.")


if __name__ == "__main__":
    main(pico.Board())
