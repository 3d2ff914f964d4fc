"""The main loop over the slowest flash: fed all the while, no turn longer than one operation of the store, nothing lost."""

import json

WATCHDOG_MS = 4000

WRITING = """
import json, slow_flash as s
from rimward_protocol import kernel_slots as slots
a, board = s.started(64)
s.armed(a, board)
waiting = s.stuffed(a)
number = a.recorder.number
board.turns = []
board.unfed = 0
began, kept = board.us, board.flash.erases
a.cycle.leave(1)
turns = s.until(a, board, lambda: not a.recorder.active, 20000)
row = a.store.session_about(number)
print(json.dumps({"waiting": waiting, "turns": turns, "took_ms": (board.us - began) // 1000, "unfed_ms": board.unfed // 1000,
  "longest_ms": max(board.turns) // 1000, "bytes": row["bytes"], "ended": row["flags"] & 1, "failed": a.recorder.failed, "latched": a.engine.g[slots.G_CAUSE],
  "erases": board.flash.erases - kept}))
"""


def test_a_whole_record_is_written_piece_by_piece_with_the_watchdog_fed(on_unix):
    found = json.loads(on_unix(WRITING).splitlines()[-1])
    print(found)
    assert (
        found["waiting"] > 46_000
        and found["bytes"] > found["waiting"]
        and found["ended"]
        and not found["failed"]
    )
    assert found["took_ms"] > 6_000, "slower than the watchdog would wait"
    assert found["unfed_ms"] <= WATCHDOG_MS // 2
    assert found["longest_ms"] <= found["unfed_ms"] + 15 <= 450, "one erase, and pages"
    assert found["turns"] > 100
    assert found["latched"] == 0, "late ticks with the air off are no fault"


ONE = """
import slow_flash as s
a, board = s.started(64)
s.armed(a, board)
s.stuffed(a)
calls = []
for name in ("make_way", "session_append", "session_sync", "session_end"):
    def counted(*given, plain=getattr(a.store, name)):
        before = board.flash.erases
        code = plain(*given)
        calls[-1] += board.flash.erases - before
        return code
    setattr(a.store, name, counted)
a.cycle.leave(1)
for n in range(20000):
    calls.append(0)
    s.turn(a, board)
    if not a.recorder.active: break
print(max(calls), sum(calls) > 15, a.recorder.active)
"""


def test_no_turn_holds_more_than_one_erase(on_unix):
    assert on_unix(ONE).split() == ["1", "True", "False"]


TRIP = """
import slow_flash as s
from rimward_protocol import kernel_slots as slots
a, board = s.started(60)
s.armed(a, board)
s.stuffed(a)
board.unfed = 0
board.word |= s.RUN
for n in range(40): s.turn(a, board)
board.word |= 8  # the independent cutoff opens
s.until(a, board, lambda: a.engine.g[slots.G_CAUSE], 500)
board.word &= ~s.RUN
s.until(a, board, lambda: not a.recorder.active, 20000)
row = a.store.trips()[0]
about = a.store.session_about(row["session"])
print(row["cause"], about["cause"], about["flags"], board.left, board.unfed // 1000 <= 2000, a.recorder.failed)
"""


def test_a_trip_on_a_full_flash_leaves_trip_and_session(on_unix):
    assert on_unix(TRIP).split() == ["30", "30", "1", "0", "True", "0"]


FAILING = """
import slow_flash as s
a, board = s.started(40)
s.armed(a, board)
number = a.recorder.number
s.stuffed(a)
a.cycle.leave(1)
real = board.flash.writeblocks
def broken(*given): raise OSError(5)
board.flash.writeblocks = broken
class Dead:
    pass
import os
plain = a.store.session_append
a.store.session_append = lambda number, view: 32
s.until(a, board, lambda: not a.recorder.active, 20000)
print(a.recorder.failed, a.recorder.active, a.cycle.phase)
a.store.session_append = plain
board.flash.writeblocks = real
a.store.close()
again = s.app.App(board)
print(again.cut_off == number)
"""


def test_a_failing_flash_is_named_and_the_next_start_names_the_cut_off_session(on_unix):
    assert on_unix(FAILING).split() == ["32", "False", "0", "True"]


STALLED = """
import slow_flash as s
a, board = s.started(64)
s.armed(a, board)
for n in range(300): s.turn(a, board)
number = a.recorder.number
a.cycle.leave(1)
assert a.recorder.end_tick >= 0
for n in range(600): board.idle()  # longer than the tick's ring
s.until(a, board, lambda: not a.recorder.active, 20000)
print(a.store.session_about(number)["flags"] & 1, a.recorder.failed)
"""


def test_a_stall_over_the_last_ticks_of_a_record_does_not_keep_it_open(on_unix):
    assert on_unix(STALLED).split() == ["1", "0"]
