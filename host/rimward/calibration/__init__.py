"""Calibration of an inflator against a reference gauge: points, fit, guard band, what is written to the device, certificate."""

from rimward.calibration.fit import BENCH, ORDINARY, Calibrated, Channel, Left, Point, Scale, fit_points, judge_left
from rimward.calibration.run import Reference, Step, collect, in_force, left_sequence, revisions, scale_of, sequence, write_back

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
    "judge_left",
    "left_sequence",
    "revisions",
    "scale_of",
    "sequence",
    "write_back",
]
