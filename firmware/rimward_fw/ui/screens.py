"""Every screen of the display: name -> its text. A line `-` begins its next turn: turns change places every few seconds.

A row: place, style, text. Place: line 0 to 7, or a name in display.PLACES. Style: `.` text, i inverted line, c centred, b big number,
w words wrapped over the lines left, g bar towards the ceiling, l list of wheels. {names} come from display.fact; sixteen characters fit
on a line. One string a screen takes a third of the memory that nested tuples take.
"""

SCREENS = {
    "choose": """\
0 c CHOOSE A WHEEL
1 l
7 c ENTER takes it""",
    "new": """\
0 i NEW WHEEL
1 . {label}
2 . tyre {tyre}
3 . rim {rim} {position}
4 . limit {limit_bar} bar
5 . made {made}
6 . ENTER same wheel
7 . DOWN  another""",
    "stood": """\
0 i {label}
1 w Has this wheel stood here for an hour?
5 . ENTER yes
6 . DOWN  no
7 . UP air was added
-
0 i {label}
1 w Hand pump or cartridge used since? Then UP.
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
1 . fill to {target_bar} bar
2 .         {target_psi} psi
3 . ceiling {ceil_bar} bar
4 .         {ceil_psi} psi
5 . air {ambient}kPa {air}C
6 c PROTECT EYES
7 c hold RUN to fill
-
0 i {label}
1 . fill to {target_bar} bar
2 .         {target_psi} psi
3 . ceiling {ceil_bar} bar
4 .         {ceil_psi} psi
5 . air {ambient}kPa {air}C
6 c STAY OUT OF THE
7 c PLANE OF WHEEL
-
0 i {label}
1 . fill to {target_bar} bar
2 .         {target_psi} psi
3 . ceiling {ceil_bar} bar
4 .         {ceil_psi} psi
5 . air {ambient}kPa {air}C
6 c UP DOWN: target
7 c {seen}
-
0 i {label}
1 . limit {limit_bar} bar
2 .       {limit_psi} psi
3 . {ride_air}
4 . {ride_heat}
5 . so at most, cold
6 . {ceil_bar} bar
7 . {ceil_psi} psi
-
0 i {label}
1 . calibrated
2 . {calibrated}
3 w {due}
6 . band {guard_bar} bar
7 c hold RUN to fill
-
0 i {label}
1 w Drain the water trap. Air from a warm pump is warm: wait until it has settled.
7 c hold RUN to fill""",
    "added": """\
0 i MEASURE FIRST
1 w Cartridge gas is cold and reads more once warm. The tyre is measured before it is filled.
7 c ENTER""",
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
6 . ENTER  fill on
7 . DOWN   end""",
    "seat-ready": """\
0 i SEAT THE BEADS
1 . core may be out
2 . ceiling {ceil_bar} bar
3 .         {ceil_psi} psi
4 c pops are normal
5 c fingers away
6 c PROTECT EYES
7 c hold RUN to fill
-
0 i SEAT THE BEADS
1 w Sealant in: valve at the top. Look at the filter after.
6 c STAY OUT OF THE
7 c PLANE OF WHEEL""",
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
7 c ENTER""",
    "why": """\
0 i NO AIR YET
2 w {word}
-
0 i WHY
1 w {reason}
-
0 i DO THIS
1 w {step}
7 c air is off""",
    "test": """\
0 i SELF-TEST
2 w Both air switches are tried.
5 c keep holding
7 c PROTECT EYES""",
    "measure": """\
0 i {label}
big b {big}
unit . {unit}
second . {second}
bar g
7 . {doing}""",
    "filling": """\
0 i {label}
big b {big}
unit . {unit}
second . {second}
bar g
7 . {doing}""",
    "bead": """\
0 i BEAD SEATED?
1 w Let go. Look round both sides: line even all round?
6 . at {read_bar} bar
7 . ENTER: yes
-
0 i BEAD SEATED?
1 w If not: let the air out, soap it, start again. Do not hit or pry it.
7 . ENTER: yes""",
    "settle": """\
0 i {label}
big b {big}
unit . {unit}
second . {second}
bar g
7 . cold ~{cold_bar} bar""",
    "bleed": """\
0 i {label}
big b {big}
unit . {unit}
second . {second}
bar g
7 c letting air out""",
    "done": """\
0 i DONE
big b {big}
unit . {unit}
second . {second}
6 c hose off, cap on
7 c check tomorrow""",
    "unknown": """\
0 i TYRE UNKNOWN
2 w What the tyre holds was not seen. Measure it before riding.
7 c ENTER""",
    "stopped": """\
0 i STOPPED
2 w {word}
6 c air is off
7 c {seen}
-
0 i WHY
1 w {reason}
7 c {seen}
-
0 i DO THIS
1 w {step}
7 c ENTER: new start""",
    "tripped": """\
0 i STOP {cause}
2 w {word}
5 c AIR IS OFF
6 c STAY OUT OF THE
7 c PLANE OF WHEEL
-
0 i WHY
1 w {reason}
7 c air is off
-
0 i DO THIS
1 w {step}
7 c ENTER clears it""",
    "refused": """\
0 i REFUSED
1 w {reason}
-
0 i DO THIS
1 w {step}
7 c ENTER""",
    "service": """\
0 i SERVICE
1 . tick {tick_us} us
2 . trips {trips}
3 . starts {boots}
4 . free {heap} KiB
5 . supply {supply}V
6 . self-test {test}
7 . {version}
-
0 i SERVICE
1 . A {a_bar} bar
2 . B {b_bar} bar
3 . air {ambient} kPa
4 . band {guard_bar} bar
5 . key {range}
6 . cutoff {cutoff}
7 c UP: back
-
0 i SERVICE
1 . calibrated
2 . {calibrated}
3 w {due}
6 . band {guard_bar} bar
7 c UP: back""",
    "maintenance": """\
0 i MAINTENANCE
2 w The pump is off and stays off. To end it open the contact, switch off and on.""",
    "rest": """\
0 i PUMP IS HOT
2 w It has run too long. Let it cool, then choose the wheel again.
7 c ready in {wait} s""",
}


def turns(name):
    """Turns of one screen: a list of tables, each a list of (place, style, text). KeyError if there is no such screen."""
    tables = [[]]
    for line in SCREENS[name].split("\n"):
        if line == "-":
            tables.append([])
        else:
            place, style, text = (line + " ").split(" ", 2)
            tables[-1].append((place, style, text.rstrip()))
    return tables
