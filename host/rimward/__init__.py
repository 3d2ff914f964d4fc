"""Host package: the ceiling of a wheel, its profile, the inflator on a cable, and the simulated world."""

__version__ = "0.1.0"
