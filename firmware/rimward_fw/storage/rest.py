"""Rest and work: what only a cycle or a conversation needs is loaded for it and let go again, so that an idle inflator has memory to spare.

Main loop only, and never while air may move: choosing a wheel has loaded everything before that wheel can be armed, and nothing is
let go before the cycle is over.
"""

import gc

from rimward_protocol.compat import unload

FIRMWARE = (("link", "requests"), ("storage", "logbook"), ("storage", "recorder"), ("control", "fill_modes"), ("control", "arming"), ("control", "builtin"))
PROTOCOL = ("session", "messages", "linkrows", "layouthash")


class Quiet:
    """Stands in the recorder's place while there is nothing to record."""

    active = False
    number = 0

    def note(self, event, cause, value, value2=0):
        """Nobody watches."""

    def watched(self, live_hz, stream):
        """Nobody watches any more."""

    def work(self, sample, limits):
        """Nothing to do."""

    def waiting(self):
        """Bytes to be written."""
        return 0


QUIET = Quiet()
PIECES = (30 * 1024, 16 * 1024, 14 * 1024)  # what a session takes, largest first: `recorder` states the same
LEAST_BYTES = 2048
TIDY_BYTES = 4096
SMALL_BYTES = 512 * 1024


def tightly(on):
    """While modules are loaded a small memory is tidied often, so that what stays lies close together and large pieces stay free."""
    if hasattr(gc, "threshold") and gc.mem_free() + gc.mem_alloc() < SMALL_BYTES:
        gc.threshold(TIDY_BYTES if on else -1)


def _piece(size):
    """Memory in one piece; where there is none so large, half of it, and half again."""
    while size > LEAST_BYTES:
        try:
            return bytearray(size)
        except MemoryError:
            size //= 2
    return bytearray(0)


def wake(app):
    """Loads what cycle and conversation need, if it is not there. The session's memory comes first, while there still are large pieces."""
    if app.recorder is QUIET:
        app.interface.view.drawn = None
        app.interface.chooser.close()  # it is read anew when it next stands there
        gc.collect()
        pieces = [_piece(size) for size in PIECES]
        tightly(True)
        from rimward_fw.storage import logbook  # noqa: F401

        app.recorder = logbook.recorder_of(app)
        app.recorder.ring.buf, app.recorder.trace.buf, app.recorder.first.buf = pieces
        tightly(False)


def sleep(app):
    """Lets it go. Only between visits, with nobody on the line."""
    if app.recorder is not QUIET:
        app.recorder = QUIET
        app.link.forget()
        for room, name in FIRMWARE:
            unload(name, "rimward_fw." + room)
        for name in PROTOCOL:
            unload(name)
        gc.collect()
