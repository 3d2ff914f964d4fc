"""Whether a bench's memory holds a whole test at the trace's full rate, so that its own record covers every moment of it."""

from collections.abc import Iterable
from typing import TYPE_CHECKING

from rimward_fw.bench import app as firmware
from rimward_fw.bench import trace
from rimward_fw.storage import blocks, recorder

from rimward.base.errors import Refusal
from rimward.base.units import show_limit

if TYPE_CHECKING:
    from rimward.proof.bench import Test

FULL_BYTES_S = 80.0  # of the packed trace in a hold with the noise of the virtual bench
THINNED_BYTES_S = 20.0  # where it keeps every eighth sample of what the computer has confirmed
PERSON_S = 120  # for looking at the beads
OTHER_BYTES = recorder.FIRST_BYTES + recorder.RING_BYTES + blocks.RESERVE_BYTES


def duration_s(holds_s: Iterable[float], last_pa: int) -> float:
    """Longest duration of a test without a release, s: holds, the rise to the last level, and the look at the beads."""
    return sum(holds_s) + last_pa / firmware.RAMP_PA_S + PERSON_S


def planned_s(test: "Test") -> float:
    """Longest duration of this test, s."""
    return duration_s((seconds for _name, _pa, seconds in test.levels()), test.last_pa)


def bytes_s(thinned: bool) -> float:
    """Bytes of memory that a second of a test takes."""
    return THINNED_BYTES_S if thinned else FULL_BYTES_S


def heap_needed(seconds: float, thinned: bool = False) -> int:
    """Bytes of free heap, at idle, with which a bench keeps a test of this duration."""
    return OTHER_BYTES + round(seconds * bytes_s(thinned))


def covered_s(heap_free: int, thinned: bool = False) -> float:
    """Seconds of a test that fit beside the other pieces of a record into this much free heap (bytes, at idle)."""
    room = max(0, heap_free - OTHER_BYTES)
    size = trace.TRACE_BYTES
    while size > room and size > blocks.LEAST_BYTES:  # as the bench itself takes its memory
        size = size * 7 // 8
    return min(size, room) / bytes_s(thinned)


def last_that_fits(heap_free: int, test: "Test") -> int:
    """Highest level, Pa gauge, at which this test may end to be kept at the full rate; 0 if not even its 110 % hold is."""
    fits, held_s = 0, 0.0
    for _name, pa, seconds in test.levels():
        held_s += seconds
        if pa >= test.hold_pa and duration_s([held_s], pa) <= covered_s(heap_free):
            fits = pa
    return fits


def check_memory(heap_free: int, test: "Test") -> None:
    """Raise Refusal for a test that is longer than what the bench keeps of it. 0: the interpreter does not report its heap."""
    seconds = planned_s(test)
    if not heap_free or covered_s(heap_free, test.thinned) >= seconds:
        return
    most = last_that_fits(heap_free, test)
    end = f"End the steps at {show_limit(most)} (--to)" if most > test.hold_pa else ""
    if not end and most and test.top_pa:
        end = "Test 110 % alone (--retention-only)"
    ways = [end] if end else []
    if covered_s(heap_free, thinned=True) >= seconds:
        ways.append("accept a thinned record of the bench's own (--thinned)")
    else:
        ways.append(
            "freeze the bench's firmware into its interpreter (`rimward install --bench --frozen --to FOLDER`)"
        )
    kept = "its thinned record" if test.thinned else "its own record at the full rate"
    raise Refusal(
        f"The bench's free memory, {heap_free // 1024} KB, holds {int(covered_s(heap_free, test.thinned) // 60)} minutes of a test in {kept}; "
        f"this one can take {seconds / 60:.0f}.",
        f"{', or '.join(ways)[0].upper()}{', or '.join(ways)[1:]}.",
    )
