"""The stack of the chip's main loop: its deepest path and a tick on top of it leave room to spare.

The path is measured on MicroPython's unix build, where the flash driver calls back at the bottom of littlefs: that is deeper than on the
chip, whose driver is C. There every pointer has 8 bytes, so half of it is taken for the chip; the chip's own figure is not known.
"""

from tests.interpreter.conftest import device_folder, run_unix  # noqa: F401 (a fixture)
from tests.machine import measure

STACK_BYTES = 8192  # of MicroPython's main thread on the RP2040 (`micropython.stack_use` on the emulated board; `common practice` of that port)
LEFT_BYTES = 2048
CALLS_ABOVE = (
    3  # main.py, its start, app.run: 400 bytes each on 64 bits, as the test below measures
)

DEEPEST = """
import micropython
def down(n): return micropython.stack_use() if n == 0 else down(n - 1)
call = (down(10) - down(0)) // 10
import slow_flash as s
from rimward_protocol import kernel_slots as slots
a, board = s.started(56)
deep = {}
name = ""
def seen(us, plain=board.waited):
    deep[name] = max(deep.get(name, 0), micropython.stack_use() - base)
    plain(us)
board.flash.waited = seen
base = micropython.stack_use()
name = "arming"
s.armed(a, board)
s.stuffed(a)
name = "trip on a full flash"
board.word |= s.RUN
for n in range(40): s.turn(a, board)
board.word |= 8
s.until(a, board, lambda: a.engine.g[slots.G_CAUSE], 500)
board.word &= ~s.RUN
s.until(a, board, lambda: not a.recorder.active, 20000)
name = "profile over the link"
from rimward_protocol import layout
row = dict(s.builtin.BUILT_IN, target_pa=300000)
row["wheel_id"] = b"stacked1"
from rimward_protocol import codes, frame
from rimward_protocol.layouthash import LAYOUT_HASH
waiting = bytearray(frame.encode(codes.HELLO, 1, bytes([codes.PROTOCOL_VERSION]) + LAYOUT_HASH + bytes([0]) + bytes(4)))
waiting += frame.encode(codes.TIME, 2, (1700000000).to_bytes(4, "little") + bytes(2))
def read(into):
    count = min(len(waiting), len(into))
    into[:count] = waiting[:count]
    waiting[:count] = b""
    return count
board.read = read
for n in range(60): s.turn(a, board)
print(call, max(deep.values()), sorted(deep))
"""


def test_two_kilobytes_of_stack_are_left_under_the_deepest_path_and_a_tick(device_folder, code):  # noqa: F811
    call, deepest, *where = run_unix(device_folder, DEEPEST).split(maxsplit=2)
    tick = measure.bounds(code).tick.stack_bytes
    on_chip = (int(deepest) + CALLS_ABOVE * int(call)) // 2
    print(
        f"deepest path {deepest} bytes on 64 bits, about {on_chip} on the chip ({where}); a tick {tick}: {STACK_BYTES - on_chip - tick} left"
    )
    assert int(deepest) > 4000 and "trip on a full flash" in where[0], "measured at all"
    assert STACK_BYTES - on_chip - tick >= LEFT_BYTES
