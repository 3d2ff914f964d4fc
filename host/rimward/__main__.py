"""Entry point of the `rimward` command, also as `python -m rimward`.

Signals are handled before anything large is loaded: an interrupt during start-up also ends in one line.
"""

import signal
import sys
from typing import NoReturn

INTERRUPTED, TERMINATED = "interrupted", "terminated"


class Terminated(KeyboardInterrupt):
    """SIGTERM: the same clean-up as after an interrupt, so that no child process is left behind."""


def _terminate(_number: int, _frame: object) -> NoReturn:
    signal.signal(signal.SIGTERM, signal.SIG_IGN)  # a second one must not interrupt the clean-up
    raise Terminated


def main() -> None:
    """Run the command line: exit 0 done, 1 refused, failed or interrupted, 2 wrong usage."""
    try:
        signal.signal(signal.SIGTERM, _terminate)
        from rimward.cli.main import run

        code = run()
    except KeyboardInterrupt as stop:
        print(
            f"rimward: {TERMINATED if isinstance(stop, Terminated) else INTERRUPTED}.",
            file=sys.stderr,
        )
        code = 1
    sys.exit(code)


if __name__ == "__main__":
    main()
