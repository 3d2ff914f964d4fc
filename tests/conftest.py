"""What every test shares: hypothesis without deadlines, since a busy machine is no fault of the code; no settings of a user; and which named tests have run."""

import os
import signal
import sys

import pytest
from hypothesis import settings

from hardware import hazards
from tests.kinds import Kinds
from tests.made import Folder
from tests.ran import Ran

# Compiled modules are kept, whatever the environment says: each worker and each program that a test starts would compile all of them again.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
os.environ["RIMWARD_CONFIG"] = os.devnull  # no test depends on the settings of whoever runs it
os.environ["RIMWARD_KEYSTORE"] = "file"  # nor on a system keyring
for name in ("RIMWARD_PORT", "RIMWARD_DATABASE", "RIMWARD_WORKSHOP", "RIMWARD_PAPER"):
    os.environ.pop(name, None)
signal.signal(
    signal.SIGINT, signal.default_int_handler
)  # a run started in the background ignores interrupts, and every process that a test starts with it
settings.register_profile("rimward", deadline=None)
settings.load_profile("rimward")


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.register(Kinds())
    config.pluginmanager.register(Folder())
    config.pluginmanager.register(
        Ran(lambda: [test for row in hazards.load() for test in row.tests])
    )
