"""Entry point of the inflator: loads the board and runs the main loop. It never ends at a prompt."""

import sys


def start():
    """Run the inflator. If its files or pins are unusable, nothing has been switched on: wait for service, then restart."""
    chip = sys.platform == "rp2"
    if chip:
        import gc

        import micropython

        gc.threshold(
            4096
        )  # collect often while modules load, so that permanent objects lie together and large free blocks remain
        micropython.kbd_intr(
            -1
        )  # byte 0x03 is data from the start: a host may send it while modules load
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
        time.sleep(5)  # here Ctrl-C returns to the prompt, to recover from a failed install
        machine.reset()
    app.run(here)


start()
