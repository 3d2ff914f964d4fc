"""`python -m rimward`, and the entry of the `rimward` command.

Signals are met before anything large is loaded: an interrupt during start-up ends in one line too.
"""

import signal
import sys
from typing import NoReturn

INTERRUPTED, TERMINATED = "interrupted", "terminated"


class Terminated(KeyboardInterrupt):
    """SIGTERM: the same clean-up as after an interrupt, so that no child process stays behind."""


def _terminate(_number: int, _frame: object) -> NoReturn:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # a second one must not cut the clean-up off
    raise Terminated


def main() -> None:
    """Runs the command line: exit 0 done, 1 refused, failed or interrupted, 2 wrong usage."""
    try:
        signal.signal(signal.SIGTERM, _terminate)
        from rimward.cli import run

        code = run()
    except KeyboardInterrupt as stop:
        print(f"rimward: {TERMINATED if isinstance(stop, Terminated) else INTERRUPTED}.", file=sys.stderr)
        code = 1
    sys.exit(code)


if __name__ == "__main__":
    main()
