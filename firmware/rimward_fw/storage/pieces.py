"""Writing of a session, one piece a turn of the main loop: at most one append, sync or rename of the store each. Main loop only."""

from rimward_protocol import layout, replies, session
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.storage.ticks import WRAP, due

if TYPE_CHECKING:
    from rimward_protocol.shapes import Buffer

    from rimward_fw.storage.recorder import Recorder
    from rimward_fw.storage.store import Store

RETRY_TICKS = 500  # after a piece that the store refused
TRIES = 3
OPEN, CLOSED, ENDED, SYNCED = range(4)  # stages after all blocks are written


def keep(recorder: "Recorder", store: "Store") -> int:
    """Write one piece: a block, or a step that makes all blocks durable. Only while the pump is disabled. Return the store's code.

    A piece is at most one append, sync or rename of the store, so that the main loop goes on between two of them.
    """
    if not due(recorder.engine.head, recorder.retry):
        return replies.OK
    code = _piece(recorder, store)
    if code == replies.OK or code == replies.BUSY_FILLING:
        recorder.tries = 0 if code == replies.OK else recorder.tries
        return code
    recorder.retry = (recorder.engine.head + RETRY_TICKS) & WRAP
    recorder.tries += 1
    if recorder.end is None:
        recorder.writing = False
    elif recorder.tries >= TRIES:
        recorder.failed = code
        recorder.over()
    return code


def _piece(recorder: "Recorder", store: "Store") -> int:
    if store.make_way(recorder.number, session.MAX_PAYLOAD + 32):
        return replies.OK
    if not recorder.wrote_header:
        code = store.session_append(recorder.number, recorder.header)
        recorder.wrote_header = code == replies.OK
        return code
    for blocks in (recorder.first, recorder.ring, recorder.trace):
        if blocks.waiting():
            kind, payload = blocks.oldest()
            code = _write(recorder, store, kind, payload)
            if code == replies.OK:
                blocks.written()
            return code
    if recorder.fast.ready() is not None or (recorder.end_tick >= 0 and not recorder.drained()):
        return replies.OK  # `work` still drains the ring
    if recorder.stage == OPEN:
        recorder.stage = CLOSED
        if recorder.fast.turn():
            recorder.compress()
        recorder.close_trace()
        return replies.OK
    return _last_pieces(recorder, store)


def _last_pieces(recorder: "Recorder", store: "Store") -> int:
    """Finish the file: END block if the session is closed, then sync, then the file's final name."""
    if recorder.stage == CLOSED and recorder.end:
        recorder.end["flags"] = (
            1 if recorder.ring.lost + recorder.trace.lost + recorder.fast.lost else 0
        )
        recorder.end["peak_pa"] = recorder.peak
        code = _write(recorder, store, layout.BLOCK_END, layout.pack(layout.END, recorder.end))
        done = ENDED
    elif recorder.stage < SYNCED:
        code = store.session_sync()
        done = SYNCED if recorder.end else OPEN
        recorder.writing = bool(recorder.end) or code != replies.OK
    else:
        code = store.session_end(recorder.number, recorder.about)
        if code == replies.OK:
            recorder.over()
        return code
    if code == replies.OK:
        recorder.stage = done
    return code


def _write(recorder: "Recorder", store: "Store", kind: int, payload: "Buffer") -> int:
    length = len(payload)
    recorder.out[8 : 8 + length] = payload
    end = session.seal_block(
        recorder.out, 0, kind, recorder.sequence, length, session.FLAG_MAC if recorder.key else 0
    )
    mac = recorder.mac
    if recorder.key:
        mac = session.add_mac(recorder.out, 0, end, recorder.key, mac)
        end += len(mac)
    code = store.session_append(recorder.number, memoryview(recorder.out)[:end])
    if code == 0:
        recorder.sequence += 1
        recorder.mac = mac
    return code
