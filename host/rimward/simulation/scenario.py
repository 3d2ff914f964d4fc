"""The invented wheel shared by demo, virtual inflator and documents."""

import hashlib
from dataclasses import dataclass, replace
from typing import Any

from rimward_protocol.profile import tag_profile

from rimward.base.atmosphere import ambient_pa
from rimward.base.units import parse_pressure
from rimward.limits.ceiling import Place, Ride
from rimward.limits.ceiling.standards import measuring_rim_mm
from rimward.sessions.verification import DEMO_KEY, DEMO_SHOP
from rimward.simulation.plant import PlantParams, compressor, line, tyre_ml

SHOP, KEY = DEMO_SHOP, DEMO_KEY
WIDER_PER_MM = 0.4  # of section for a millimetre of rim: ISO 5751-2 for motorcycles, applied to bicycles (from memory)


@dataclass(frozen=True)
class Scenario:
    """A wheel as brought in by its owner, the place and the ride."""

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
    air: str = "tubeless"
    sealant_ml: float = 0.0

    def values(self) -> dict[str, str]:
        """Values of the wheel for the register."""
        return {
            "label": self.label,
            "rim": self.rim,
            "rim_max": self.rim_max,
            "tyre": self.tyre,
            "tyre_range": self.tyre_range,
            "approved": "yes",
            "bead": "folding",
            "air": self.air,
            "position": "front",
            "chuck": self.chuck,
        }

    def wheel_id(self) -> bytes:
        """Wheel id, the same for the same label."""
        return hashlib.sha256(self.label.encode()).digest()[:8]


# Ten wheels as brought in by people, invented; sizes as in trade tables.
TYPICAL = (
    Scenario("Hazel city", "622x21C", "6 bar", "42-622", "3-5 bar", "3.5 bar", air="tube"),
    Scenario("Rowan touring", "622x21C", "6 bar", "37-622", "3.5-6 bar", "4.2 bar", air="tube"),
    Scenario(
        "Juniper gravel", "622x23TSS", "4.5 bar", "40-622", "2-4.5 bar", "2.6 bar", sealant_ml=50.0
    ),
    Scenario(
        "Larkspur front", "622x23TSS", "5 bar", "28-622", "3.5-6 bar", "3.9 bar", sealant_ml=30.0
    ),
    Scenario(
        "Teasel road",
        "622x19TC",
        "8 bar",
        "25-622",
        "5-8 bar",
        "5.6 bar",
        air="tube",
        chuck="pin-open",
    ),
    Scenario("Sorrel small", "406x21C", "6 bar", "40-406", "3-6 bar", "4 bar", air="tube"),
    Scenario(
        "Bramble folding",
        "349x19C",
        "8 bar",
        "37-349",
        "4-7 bar",
        "5 bar",
        air="tube",
        chuck="pin-open",
    ),
    Scenario(
        "Alder tall",
        "622x30TSS",
        "3 bar",
        "57-622",
        "1.4-3 bar",
        "1.8 bar",
        sealant_ml=100.0,
        chuck="pin-open",
    ),
    Scenario(
        "Gorse mountain", "584x30TSS", "3 bar", "60-584", "1.4-3 bar", "1.7 bar", sealant_ml=120.0
    ),
    Scenario("Mallow trail", "559x25C", "4.5 bar", "52-559", "2-4.5 bar", "2.8 bar", air="tube"),
)


def mounted_mm(width_mm: float, rim_inner_mm: float) -> float:
    """Section of a tyre on a rim other than its measuring rim, mm."""

    return width_mm + WIDER_PER_MM * (rim_inner_mm - measuring_rim_mm(int(width_mm)))


FIRST_ISSUE = 3_000_000  # of 2025: the same bytes whenever a scenario is played


def profile_of(scenario: Scenario, revision: int = 1) -> bytes:
    """Profile of the scenario's wheel, tagged with the shop's key, its ceiling computed for its ride."""

    from rimward.wheels import profiles

    place = Place.of(scenario.fill_temp_c, scenario.fill_altitude_m)
    ride = Ride.of(scenario.ride_altitude_max_m, scenario.ride_temp_max_c)
    asked = profiles.Asked(parse_pressure(scenario.target), place, ride)
    return bytes(
        tag_profile(
            KEY,
            profiles.build(
                scenario.values(),
                scenario.wheel_id(),
                revision,
                asked,
                issue=FIRST_ISSUE + revision,
            ),
        )
    )


def plant_of(scenario: Scenario, is_line: bool = False, **over: Any) -> PlantParams:
    """Plant with the reference compressor or line, this wheel and place; `over`: plant parameters by name."""

    width, bead = (int(part) for part in scenario.tyre.split("-"))
    inner = float(scenario.rim.split("x")[1].rstrip("TSC?"))
    params = (line if is_line else compressor)(
        tyre_ml=tyre_ml(mounted_mm(width, inner), bead, inner),
        room_k=scenario.fill_temp_c + 273.15,
        ambient_abs_pa=ambient_pa(scenario.fill_altitude_m),
        pin_open=scenario.chuck == "pin-open",
        sealant_ml=scenario.sealant_ml,
    )
    return replace(params, **over)
