"""The invented wheel that demo, virtual inflator and documents share."""

import hashlib
from dataclasses import dataclass

from rimward.plant import PlantParams, compressor

SHOP = "Fernhollow Wheels"
KEY = hashlib.sha256(SHOP.encode()).digest()  # its workshop key: invented and known to all, so good for virtual inflators only
WIDER_PER_MM = 0.4  # of section a millimetre of rim: ISO 5751-2 for motorcycles, used alike for bicycles (from memory)


@dataclass(frozen=True)
class Scenario:
    """A wheel as its owner brings it in, the place and the ride."""

    label: str = "Larkspur front"
    rim: str = "622x23TSS"
    rim_max: str = "5 bar"
    tyre: str = "28-622"
    tyre_range: str = "3.5-6 bar"
    target: str = "3.9 bar"
    chuck: str = "pressure-open"
    fill_temp_c: float = 18.0
    fill_altitude_m: float = 200.0
    ride_altitude_max_m: float = 1200.0
    ride_temp_max_c: float = 40.0

    def values(self) -> dict[str, str]:
        """As the register holds a wheel."""
        return {
            "label": self.label,
            "rim": self.rim,
            "rim_max": self.rim_max,
            "tyre": self.tyre,
            "tyre_range": self.tyre_range,
            "approved": "yes",
            "bead": "folding",
            "air": "tubeless",
            "position": "front",
            "chuck": self.chuck,
        }

    def wheel_id(self) -> bytes:
        """The same for the same label."""
        return hashlib.sha256(self.label.encode()).digest()[:8]


def mounted_mm(width_mm: float, rim_inner_mm: float) -> float:
    """Section of a tyre on a rim other than the one it is measured on."""
    from rimward.ceiling.standards import measuring_rim_mm

    return width_mm + WIDER_PER_MM * (rim_inner_mm - measuring_rim_mm(int(width_mm)))


def profile_of(scenario: Scenario, revision: int = 1) -> bytes:
    """The scenario's wheel as a profile tagged with the shop's key, its ceiling worked out for its ride."""
    from rimward_protocol.profile import tag_profile

    from rimward import profiles
    from rimward.ceiling import Place, Ride
    from rimward.units import parse_pressure

    place = Place.of(scenario.fill_temp_c, scenario.fill_altitude_m)
    ride = Ride.of(scenario.ride_altitude_max_m, scenario.ride_temp_max_c)
    asked = profiles.Asked(parse_pressure(scenario.target), place, ride)
    return tag_profile(KEY, profiles.build(scenario.values(), scenario.wheel_id(), revision, asked))


def plant_of(scenario: Scenario) -> PlantParams:
    """The reference compressor, that wheel and that workshop."""
    from rimward.atmosphere import ambient_pa
    from rimward.plant import tyre_ml

    width, bead = (int(part) for part in scenario.tyre.split("-"))
    inner = float(scenario.rim.split("x")[1].rstrip("TSC?"))
    return compressor(
        tyre_ml=tyre_ml(mounted_mm(width, inner), bead, inner),
        room_k=scenario.fill_temp_c + 273.15,
        ambient_abs_pa=ambient_pa(scenario.fill_altitude_m),
        pin_open=scenario.chuck == "pin-open",
    )
