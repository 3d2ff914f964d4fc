"""Readings of a fill elsewhere on the ride, and the highest point of a route."""

from rimward.limits.ride.readings import Readings, readings
from rimward.limits.ride.route import MARGIN_M, highest_point_m

__all__ = ["MARGIN_M", "Readings", "highest_point_m", "readings"]
