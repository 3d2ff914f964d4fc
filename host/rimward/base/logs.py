"""Logging of the command line: `-v` to standard error, `--log FILE` for every frame of the link."""

import logging
import time
from pathlib import Path

from rimward.base.errors import Refusal

LINK = logging.getLogger("rimward.link")
ROOT = logging.getLogger("rimward")
LEVELS = (logging.WARNING, logging.INFO, logging.DEBUG)
FRAME = 5  # below DEBUG: frames go to the log file only


def start(verbose: int, file: Path | None) -> None:
    """Send messages of the chosen level to standard error, and frames to `file` where one is given."""
    for handler in list(ROOT.handlers):
        ROOT.removeHandler(handler)
        handler.close()
    shown = logging.StreamHandler()
    shown.setLevel(LEVELS[min(verbose, len(LEVELS) - 1)])
    shown.setFormatter(logging.Formatter("rimward: %(message)s"))
    ROOT.addHandler(shown)
    ROOT.setLevel(FRAME if file else shown.level)
    ROOT.propagate = False
    if file is not None:
        try:
            kept = logging.FileHandler(file, encoding="utf-8")
        except OSError as failed:
            raise Refusal(
                f"The log {file} cannot be written: {failed.strerror}.",
                "Choose another file with --log.",
            ) from failed
        kept.setFormatter(_Utc("%(asctime)s.%(msecs)03dZ %(message)s", "%Y-%m-%dT%H:%M:%S"))
        kept.setLevel(FRAME)
        kept.addFilter(logging.Filter(LINK.name))
        ROOT.addHandler(kept)


def detailed() -> bool:
    """Return True if details such as tracebacks are requested."""
    return any(
        handler.level <= logging.DEBUG and not isinstance(handler, logging.FileHandler)
        for handler in ROOT.handlers
    )


class _Utc(logging.Formatter):
    converter = time.gmtime  # type: ignore[assignment]
