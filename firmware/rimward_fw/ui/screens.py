"""Screens of the display: name -> text. A line `-` begins the next turn: turns alternate every few seconds. Rows above a line `=` appear in
every turn: title and next step.

A row: place, style, text. Place: line 0 to 7, or a name in display.PLACES. Style: `.` text, i inverted line, c centred, b big number,
w words wrapped over the lines down to the next row, g bar towards the ceiling, l list of wheels. {names} come from display.fact; sixteen
characters fit on a line. One string a screen takes a third of the memory that nested tuples take.
"""

from rimward_protocol.longtext import entry

SCREENS = {
    "choose": """\
0 i CHOOSE A WHEEL
1 l
7 c UP DOWN, ENTER""",
    "pair": """\
0 i {rider}
1 . front {t0}
2 . ceiling {c0}
3 . rear {t1}
4 . ceiling {c1}
5 . ENTER front{d0}
6 . DOWN  rear{d1}
7 . UP    list""",
    "no-pair": """\
0 i PRESET
1 w A wheel of it is missing or has another key. Send its profile, then the preset.
7 c ENTER: list""",
    "new": """\
0 i NEW WHEEL
1 . {label}
2 . {tyre} {position}
3 . rim {rim}
4 . limit {limit}
5 . made {made}
6 . ENTER same wheel
7 . DOWN  another""",
    "looser": """\
0 i {label}
1 . LIMITS CHANGED
2 . limit {old_limit} {new_limit}
3 . ceil. {old_ceil} {new_ceil}
4 . litre {old_litre} {new_litre}
5 . {what}
6 . ENTER agree
7 . DOWN  refuse""",
    "printed": """\
0 i PRINTED MAXIMUM
1 . on the tyre:
2 c {entry_bar} bar
3 c {entry_psi} psi
4 . UP    +0.5 bar
5 . DOWN  -0.1 bar
6 . unknown: do not
7 . fill. ENTER ok""",
    "approval": """\
0 i ALL THREE TRUE?
1 w Maker approves hookless rims. Bead of wire. Tube inside.
6 . ENTER all true
7 . DOWN  no: end""",
    "target": """\
0 i TARGET
2 c {entry_bar} bar
3 c {entry_psi} psi
4 . UP    +0.5 bar
5 . DOWN  -0.1 bar
7 . ENTER takes it""",
    "consent": """\
0 i FROM THE CABLE
1 w {request}
6 . WORKSHOP  yes
7 . DOWN      no""",
    "stood": """\
0 i {label}
1 w Has this wheel stood here for an hour?
5 . ENTER yes
6 . DOWN  no
7 . UP air was added""",
    "cold": """\
0 i TYRE TEMPERATURE
big b {cold}
unit . C
6 . UP DOWN change
7 . ENTER takes it""",
    "loading": """\
0 i {label}
3 c one moment""",
    "let-go": """\
0 i {label}
2 w Let go of RUN, then hold it again.
7 c air is off""",
    "ready": """\
0 i {label}
7 c hold RUN to fill
=
1 . fill to {target}
2 .       = {target2}
3 . ceiling {ceil}
4 .       = {ceil2}
6 c PROTECT EYES
-
1 . fill to {target}
2 c UP DOWN: change
3 c {seen}
5 c STAY OUT OF THE
6 c PLANE OF WHEEL
-
1 . limit {limit}
2 . {ride_air}
3 . {ride_heat}
4 . air {ambient}kPa {air}C
5 . ceiling {ceil}
6 . stop at {stop}
-
1 . calibrated
2 . {calibrated}
3 w {due}
6 . band {guard_bar} bar
-
1 w Drain the water trap. Air from a warm pump is warm: wait until it has settled.""",
    "added": """\
0 i MEASURE FIRST
1 w Cartridge gas is cold and reads more once warm. The tyre is measured before it is filled.
7 c ENTER goes on""",
    "measure-ready": """\
0 i MEASURE FIRST
1 w Hose on. A short pulse may go in, no more.
5 c PROTECT EYES
7 c hold RUN to read""",
    "measure-done": """\
0 i LET GO OF RUN
big b {big}
unit . {unit}
second . {second}
7 c {seen}""",
    "measured": """\
0 i MEASURED
big b {big}
unit . {unit}
second . {second}
6 . ENTER fill it up
7 . DOWN  leave it""",
    "seat-ready": """\
0 i SEAT THE BEADS
7 c hold RUN to fill
=
1 . core may be out
2 . ceiling {ceil}
3 .       = {ceil2}
4 c pops are normal
5 c fingers away
6 c PROTECT EYES
-
1 w Sealant in: valve at the top. Look at the filter after.
5 c STAY OUT OF THE
6 c PLANE OF WHEEL""",
    "seat-done": """\
0 i SEATED?
1 w Look round both sides: line even all round?
6 . ENTER all round
7 . DOWN  not yet""",
    "seat-next": """\
0 i NOW
1 w Take the hose off, put the core in, spin the sealant round.
7 c ENTER: to fill""",
    "seat-again": """\
0 i NOT SEATED
1 w Let all air out first. Check tape, tyre size, soap the beads. Then start again.
7 c ENTER goes on""",
    "why": """\
0 i NO AIR YET
=
1 w {word}: {step}
7 c air is off
-
1 w {reason}
7 c air is off""",
    "test": """\
0 i SELF-TEST
2 w Both air switches are tried.
5 c PROTECT EYES
7 c keep holding RUN""",
    "filling": """\
0 i {doing}
big b {big}
unit . {unit}
second . {second}
bar g
7 c keep holding RUN""",
    "bead": """\
0 i BEAD SEATED?
=
1 w Let go. Look round both sides: line even all round?
6 . at {read}
7 . ENTER it is
-
1 w If not: let the air out, soap it, start again. Do not hit or pry it.
7 . ENTER it is""",
    "volume": """\
0 i WHICH WHEEL?
1 . takes {takes_l} L
2 . this wheel {wheel_l}
3 w Is it {label}? Else release.
7 . ENTER it is""",
    "settle": """\
0 i COLD ~{cold_read}
big b {big}
unit . {unit}
second . {second}
bar g
7 c keep holding RUN""",
    "bleed": """\
0 i LETTING AIR OUT
big b {big}
unit . {unit}
second . {second}
bar g
7 c let DOWN go: end""",
    "done": """\
0 i DONE
big b {big}
unit . {unit}
second . {second}
7 c ENTER: next one
=
6 c hose off, cap on
-
6 c {seen}
-
6 c {check}
-
6 c {loss}""",
    "unknown": """\
0 i TYRE UNKNOWN
2 w What the tyre holds was not seen. Measure it before riding.
7 c ENTER goes on""",
    "stopped": """\
0 i STOPPED, AIR OFF
7 c ENTER: new start
=
1 w {word}: {step}
-
1 w {reason}
6 c {seen}""",
    "tripped": """\
0 i STOP {cause}, AIR OFF
7 c ENTER clears it
=
1 w {word}
5 c STAY OUT OF THE
6 c PLANE OF WHEEL
-
1 w {step}
-
1 w {reason}""",
    "refused": """\
0 i REFUSED
7 c ENTER goes on
=
1 w {reason}
-
1 w {step}""",
    "service": """\
0 i SERVICE {version}
7 c UP: back
=
1 . tick {tick_us} us
2 . trips {trips}
3 . starts {boots}
4 . free {heap} KiB
5 . supply {supply}V
6 . self-test {test}
-
1 . A {a_bar} bar
2 . B {b_bar} bar
3 . air {ambient} kPa
4 . key {range}
5 . cutoff {cutoff}
-
1 . calibrated
2 . {calibrated}
3 w {due}
6 . band {guard_bar} bar""",
    "no-record": """\
0 i NO RECORD
1 w Memory full or faulty: this fill leaves no record. Have it serviced.
6 . ENTER fill so
7 . DOWN  leave it""",
    "no-store": """\
0 i MEMORY LOST
1 w Flash cannot be read. Air stays off. Switch off and on; if it stays, install again.""",
    "maintenance": """\
0 i MAINTENANCE
2 w The pump is off and stays off. To end it open the contact, switch off and on.""",
    "rest": """\
0 i PUMP IS HOT
2 w It has run too long. Let it cool, then choose the wheel again.
7 c ready in {wait} s""",
}


def turns(name: str) -> list[list[tuple[str, str, str]]]:
    """Return the turns of one screen: a list of tables, each a list of (place, style, text); the name alone if there is no such screen."""
    tables: list[list[tuple[str, str, str]]] = [[]]
    common: list[tuple[str, str, str]] = []
    for line in (entry(SCREENS, name) or "0 i " + name).split("\n"):
        if line == "=":
            common = tables[0]
            tables = [list(common)]
        elif line == "-":
            tables.append(list(common))
        else:
            place, style, text = (line + " ").split(" ", 2)
            tables[-1].append((place, style, text.rstrip()))
    return tables
