"""Manifest for freezing the firmware into a custom MicroPython build for the RP2040.

    rimward install --to FOLDER --frozen        # writes the compiled modules
    make -C ports/rp2 BOARD=RPI_PICO FROZEN_MANIFEST=.../firmware/manifest.py RIMWARD=FOLDER

The kernels have to be machine code, so the compiled modules of the install are frozen as they are. main.py starts the inflator.
"""

import os

include("$(PORT_DIR)/boards/manifest.py")  # noqa: F821
freeze_mpy(os.environ["RIMWARD"] + "/lib")  # noqa: F821
module("main.py", base_path=".")  # noqa: F821
