"""What a fill reads elsewhere on the ride, and where the highest point of a route is."""

from rimward.ride.readings import Readings, readings
from rimward.ride.route import MARGIN_M, highest_point_m

__all__ = ["MARGIN_M", "Readings", "highest_point_m", "readings"]
