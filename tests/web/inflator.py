"""`rimward virtual` for tests that share the processor with a browser: the plant waits for the firmware instead of going on without it.

On an overloaded machine the firmware may answer a tick late; `rimward virtual` then shows it as a halted processor, which latches, as it
should. Halts have their own tests; here they would only say that the machine is busy. The first argument is how many times faster than the
wall clock the inflator's time runs, so that a fill need not take half a minute of everybody's time. A proof bench (`--bench`) holds for
seconds in place of minutes here, as in `tests.unit.benchdesk`.
"""

import sys
import time
from types import SimpleNamespace

from rimward.__main__ import main
from rimward.simulation.virtual import process, server

PATIENCE_S = 20.0


def hurried_bench() -> None:
    """Shorten the bench's procedure."""
    import pytest

    from tests.unit.benchdesk import shortened

    shortened(pytest.MonkeyPatch())


if __name__ == "__main__":
    speed = float(sys.argv[1])
    process.ANSWER_S = PATIENCE_S
    server.time = SimpleNamespace(
        monotonic=lambda: time.monotonic() * speed,
        sleep=lambda seconds: time.sleep(seconds / speed),
    )  # type: ignore[assignment]
    if "--bench" in sys.argv:
        hurried_bench()
    sys.argv = ["rimward", "virtual", *sys.argv[2:]]
    main()
