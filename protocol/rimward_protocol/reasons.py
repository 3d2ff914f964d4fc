"""Texts of the causes: one line each, number | word | likely reason | next step. One text takes half the memory of tuples."""

from .longtext import between

TEXT = """
0 | none | nothing has stopped the air | nothing to do
1 | released | the run control was released | hold it again to continue
2 | stop-reading | the stop reading below this wheel's ceiling was reached | add no more air; let it settle, then read again
3 | target-reached | the target was reached | wait while it settles; do not add air by hand
4 | time-budget | this wheel's time for one fill is used up | look for a leak or a slipping hose; then start again
5 | air-budget | as much air went in as this tyre can hold at its ceiling | check that the right wheel is chosen and look for a leak
6 | no-profile | no wheel is chosen, or its profile is damaged | choose the wheel, or send its profile again
7 | hose-or-tyre | the pressure fell or jumped, or no tyre kept the air | check hose, chuck and tyre
8 | range-key-refuses | this wheel needs the low range and the key is not at low | turn the range key to low
9 | not-ready | a condition for starting is missing | read the ready page, which names it
16 | sensor-a-range | transducer A is out of range: wire off, shorted or broken | do not use; check plug and cable of transducer A
17 | sensor-b-range | transducer B is out of range: wire off, shorted or broken | do not use; check plug and cable of transducer B
18 | sensors-disagree | the two transducers differ: one is wrong or its tap is blocked | do not use; clean both taps, then calibrate
19 | sensor-a-frozen | transducer A does not change while B moves: tap blocked, or stuck | do not use; clean the tap of transducer A
20 | sensor-b-frozen | transducer B does not change while A moves: tap blocked, or stuck | do not use; clean the tap of transducer B
21 | not-rising | air is on and the pressure does not rise: hose off, leak, no supply | check hose and chuck, then air supply; clear it
22 | rising-while-off | the pressure rises though the air is off: a switch or valve is stuck | take the hose off the valve now; service the air switch
23 | over-pressure | the reading went over the ceiling; often a kinked hose or a shut core | stand clear, let air out at the valve; look for a kink; have it serviced
24 | tick-long | the controller took too long for one step | switch off and on; if it comes again, service it
25 | tick-late | the controller started a step too late | switch off and on; if it comes again, service it
26 | sensor-supply | the supply of the transducers is too low or too high | check battery or mains adapter, then the regulator
27 | range-key-contacts | the two contacts of the range key do not agree | turn the key fully home; if it stays, service the key
28 | gate-element-stuck | the self-test saw air through the pump's electronic switch | do not use; replace the electronic switch
29 | relay-stuck | the self-test saw air through the relay contact | do not use; replace the relay
30 | independent-cutoff | the second cutoff, which needs no controller, has opened | take the hose off; find out why; then power off for 5 seconds
31 | barometer | the barometer is missing or out of range | do not use; check the barometer's cable
32 | memory | stored data failed its check, or the store takes no writes | switch off and on; send profiles again if asked; service the flash
33 | limits-damaged | the limits in force failed their check | switch off and on; choose the wheel again
48 | wrong-volume | the tyre takes more or less air than this wheel should | compare tyre size and wheel name; choose the right wheel
49 | above-target | the tyre already holds more than its target | let air out, by bleeding or at the valve; no air was added
50 | leaking | the pressure falls with the air off | look for the leak at valve, bead and hose
51 | no-tyre | no tyre was found at the hose | push the chuck home, open the valve's locknut, lock the lever
52 | not-settling | the reading does not settle | look for a leak; let the wheel stand, then measure again
53 | bead-not-confirmed | the bead was not confirmed as seated | look round both sides of the tyre, then confirm
54 | target-above-stop | the target lies above this inflator's stop reading | choose a lower target
55 | instrument-overdue | this inflator's calibration is too old | calibrate it before the next fill
56 | cartridge-first-measure | air or gas was added from another source | measure the tyre first; refill with air
57 | cutoff-sensor-apart | transducer C of the second cutoff does not read or move as A and B do | do not use; clean the tap of transducer C, check its plug
58 | cutoff-figures | supply, threshold or coil of the second cutoff is out of limits | release the test button; if it comes again, service the cutoff
59 | cutoff-unread | the converter of the second cutoff does not answer | do not use; check U9 and its wires
60 | cutoff-test-failed | the second cutoff did not pass its daily test | do not use; service the cutoff, then test it again
61 | vent-slow | the vent emptied the manifold too slowly in the daily test | do not use; clean the vent and its silencer, then test again
62 | not-commissioned | this board has not passed its bring-up | bring it up: rimward bringup
63 | beat-lost | heartbeat lost: page closed or hidden, command ended, cable out | keep the page or command open, in front and alone
64 | zero-low | both transducers read below ambient pressure: their zero has moved | do not use; open the manifold to the air and calibrate
65 | not-seen | no air enters the tyre: it holds more than read, or hose or core is shut | tyre hard: let air out at the valve; else look for a kink, change the core
"""


def row_of(number: int) -> tuple[int, str, str, str] | None:
    """Return (number, word, likely reason, next step), or None for a number without a line."""
    begin = str(number) + " | "
    rest = between(TEXT, "\n" + begin, "\n")
    return _row(begin + rest) if rest else None


def rows() -> tuple[tuple[int, str, str, str], ...]:
    """Return all rows."""
    return tuple([_row(line) for line in TEXT.strip().split("\n")])


def _row(line: str) -> tuple[int, str, str, str]:
    number, word, reason, step = line.split(" | ")
    return int(number), word, reason, step
