"""What every test shares: hypothesis without deadlines, since a busy machine is no fault of the code; and which named tests have run."""

import pytest
from hypothesis import settings

from hardware import hazards
from tests.ran import Ran

settings.register_profile("rimward", deadline=None)
settings.load_profile("rimward")


def pytest_configure(config: pytest.Config) -> None:
    config.pluginmanager.register(Ran(lambda: [test for row in hazards.load() for test in row.tests]))
