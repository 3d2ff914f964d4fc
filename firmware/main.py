"""Start of the inflator. It only wires: the board that is here, and the loop that never ends at a prompt."""

import sys


def start():
    """Runs the inflator. If its own files or pins cannot be had, nothing was switched on: wait for whoever mends it, then start anew."""
    chip = sys.platform == "rp2"
    if chip:
        import gc

        import micropython

        gc.threshold(4096)  # while modules load: what stays then lies close together, and large pieces stay free
        micropython.kbd_intr(-1)  # 0x03 is data from the first moment: a host may speak while this still loads
    try:
        from rimward_fw import app, board

        here = board.here()
    except Exception as error:
        if not chip:
            raise error
        import time

        import machine

        micropython.kbd_intr(3)
        sys.print_exception(error)
        time.sleep(5)  # Ctrl-C here ends at the prompt, for an install that went wrong
        machine.reset()
    app.run(here)


start()
