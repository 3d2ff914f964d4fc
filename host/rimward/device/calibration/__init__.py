"""Calibration of an inflator against a reference gauge: points, fit, guard band, settings written to the inflator, certificate."""

from rimward.device.calibration.fit import (
    BENCH,
    ORDINARY,
    Calibrated,
    Channel,
    Left,
    Point,
    Scale,
    assess_as_left,
    fit_points,
)
from rimward.device.calibration.run import (
    Reference,
    Step,
    collect,
    in_force,
    left_sequence,
    revisions,
    scale_of,
    sequence,
    write_back,
)

__all__ = [
    "BENCH",
    "ORDINARY",
    "Calibrated",
    "Channel",
    "Left",
    "Point",
    "Reference",
    "Scale",
    "Step",
    "collect",
    "fit_points",
    "in_force",
    "assess_as_left",
    "left_sequence",
    "revisions",
    "scale_of",
    "sequence",
    "write_back",
]
