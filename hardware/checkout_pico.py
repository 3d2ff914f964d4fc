"""The check-out program of the sheet: each air switch on its own, for a person with an oscilloscope. It is no part of the firmware.

Workshop contact closed at power-up, firmware installed, hose shut off, no wheel: `mpremote connect PORT run hardware/checkout_pico.py`.
Guard and fill do not run here. Nothing moves unless the run control is held and the key is on low; letting go, the step's time or its
limit for the manifold ends it. A step begins with ENTER and is left out with DOWN. Every way out is air off and the vent open.
"""

import time
from array import array

from rimward_fw.board import pico

TICK_US = 2000
GATE, RELAY, VENT_OPEN = 1, 2, 4  # bits of the board's `drive`
RUN, KEY_LOW, KEY_HIGH, DOWN, ENTER = 1, 2, 4, 1024, 2048  # bits of its switch word
STANDARD_PA = 101_325
VENT_PA = 333_000  # the lowest ceiling of the low range's straight-side limit over 1.5
STILL_PA = 20_000
HURRY = 1  # tests divide every time by it

# name, bits, ms, times over, GATE's level afterwards (and with no pulses, meanwhile), highest manifold in Pa gauge, what to look at
STEPS = (
    ("pulses, stopped high", GATE | VENT_OPEN, 2000, 3, 1, STILL_PA, "time from the last falling edge of GATE to 1 V at the gate of M1"),
    ("pulses, stopped low", GATE | VENT_OPEN, 2000, 3, 0, STILL_PA, "the same"),
    ("relay", RELAY | VENT_OPEN, 1000, 3, 0, STILL_PA, "time from RELAY falling to an open contact"),
    ("GATE held at 1", RELAY, 5000, 1, 1, STILL_PA, "air source stays off"),
    ("GATE held at 0", RELAY, 5000, 1, 0, STILL_PA, "air source stays off"),
    ("vent balance", GATE | RELAY | VENT_OPEN, 10_000, 1, 0, VENT_PA, "air source runs; the manifold stays under the sheet's figure"),
)


class Stop(Exception):
    """Why a step ended before its time."""


def manifold_pa(board, x):
    """The higher of both transducers, Pa gauge; Stop when one is out of its band."""
    board.sense(x)
    if not (3277 < x[0] < 62259 and 3277 < x[1] < 62259):
        raise Stop("a transducer is out of its band")
    a, b = [(word * 9766 >> 9) - 125_012 for word in (x[0], x[1])]
    return max(b, a + STANDARD_PA - (board.ambient_pa or STANDARD_PA))


def look(board, x, most):
    """Manifold in Pa gauge; Stop where no air may move."""
    pa = manifold_pa(board, x)
    if not x[2] & RUN:
        raise Stop("run control not held")
    if not x[2] & KEY_LOW or x[2] & KEY_HIGH:
        raise Stop("the range key is not on low")
    if pa >= most:
        raise Stop("the manifold stands at %.2f bar (%.1f psi)" % (pa / 1e5, pa / 6894.757))
    return pa


def settle(board, bits, level):
    """Brings GATE to a steady level, the relay open meanwhile."""
    while board._level != level:
        board.drive(GATE | bits & VENT_OPEN)
        time.sleep_us(TICK_US)
    board.drive(bits & VENT_OPEN)


def step(board, bits, ms, level, most):
    """One time through: the highest manifold seen, Pa gauge. Stop says why it ended early."""
    x = array("i", [0] * 6)
    settle(board, bits, level)
    time.sleep_ms(100 // HURRY)
    top = 0
    at = time.ticks_us()
    for _ in range(ms * 1000 // TICK_US // HURRY):
        top = max(top, look(board, x, most))
        board.drive(bits)
        at = time.ticks_add(at, TICK_US)
        while time.ticks_diff(at, time.ticks_us()) > 0:
            pass
    settle(board, bits & VENT_OPEN if bits & GATE else VENT_OPEN, level)
    return top


def wanted(board, x):
    """True for ENTER, False for DOWN, once all buttons were open."""
    seen_open = False
    while True:
        board.sense(x)
        board.idle()
        pressed = x[2] & (ENTER | DOWN)
        if pressed and seen_open:
            return pressed == ENTER
        seen_open = seen_open or not pressed


def main(board):
    """All steps, one after the other."""
    if not board.maintenance:
        board.off()
        print("Switch off, close the workshop contact, switch on and run it again.")
        return
    try:
        for name, bits, ms, times, level, most, what in STEPS:
            print("%s: look at %s. Hold RUN and press ENTER; DOWN leaves it out." % (name, what))
            if not wanted(board, array("i", [0] * 6)):
                print("  left out")
                continue
            try:
                top = max([step(board, bits, ms, level, most) for _ in range(times)])
                print("  done; highest manifold %.2f bar (%.1f psi)" % (top / 1e5, top / 6894.757))
            except Stop as stop:
                board._still()
                print("  STOPPED: %s" % stop)
    finally:
        board.off()
        print("Air off. Open the workshop contact, switch off and on.")


if __name__ == "__main__":
    main(pico.Board())
