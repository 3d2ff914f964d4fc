"""Calibration of an inflator against a reference gauge: points, fit, guard band, what is written to the device, certificate."""

from rimward.calibration.fit import Calibrated, Channel, Point, fit_points
from rimward.calibration.run import Reference, collect, write_back

__all__ = ["Calibrated", "Channel", "Point", "Reference", "collect", "fit_points", "write_back"]
