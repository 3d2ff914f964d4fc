"""The recorder's tick part takes no memory on either MicroPython, and what the protocol package costs there."""

SCRIPT = """
import micropython
from array import array
from rimward_protocol import kernel_slots as slots
from rimward_protocol import session, sessionread
x = array("i", [0] * 24)
y = array("i", [0] * 36)
recorder = session.FastRecorder(x, ((x, 2, 3, 0), (x, 5, 24, 0), (y, 8, 36, 64)))
recorder.start()
buf = bytearray(480)
def run(first, count):
    seed = first
    for i in range(count):
        seed = (seed * 1103 + 12345) & 0xFFFF
        x[slots.X_A] = 30000 + (seed & 15)
        x[slots.X_B] = 30000 + (seed & 60)
        x[slots.X_GAP] = 15 + (i & 1)
        if seed & 63 == 0:
            x[slots.X_SW] ^= 1
            y[slots.Y_WATCH_TICKS] += 1
            x[slots.X_CEIL_PA] = -0x40000000
        recorder.add(first + i, x[slots.X_SW], 1)
ticks = 0
for part in range(160):
    micropython.heap_lock()
    run(part * 64, 64)
    micropython.heap_unlock()
    recorder.turn()
    bank = recorder.ready()
    while bank is not None:
        first = 0
        while first < bank.n:
            length, first = recorder.write(bank, first, buf, 0)
            ticks += len(sessionread.read_fast(buf, 0, length)[1][0])
        recorder.release(bank)
        bank = recorder.ready()
print(ticks, recorder.lost)
"""

COST = """
import gc, sys
gc.collect()
before = gc.mem_alloc()
from rimward_protocol import causes, codes, frame, layout, messages, profile, replies, session
layout.layout_hash()
gc.collect()
print(gc.mem_alloc() - before)
"""


def test_ten_thousand_ticks_without_memory(micropython) -> None:
    assert micropython(SCRIPT).split() == ["10240", "0"]


def test_import_cost_is_known(on_wasi) -> None:
    cost = int(on_wasi(COST))
    print(f"rimward_protocol on a 32-bit interpreter: {cost} bytes of heap")
    assert 0 < cost < 60_000
