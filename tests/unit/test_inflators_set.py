"""Settings of an inflator: name, unit, buzzer, air source; shown by the inflator itself."""

import pytest
from rimward.base.errors import Refusal
from rimward.device.link import Client, LockstepTransport, screen, tuning
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of
from rimward.simulation.virtual import VirtualInflator

from tests.unit.linkbench import Inflator, Shop


def test_settings_are_read_back_and_shown():
    """The unit decides what the list of wheels shows; the source needs the workshop button; all survive a power cycle."""
    with VirtualInflator(plant_of(Scenario())) as inflator:
        person = Person(inflator)
        assert tuning.read(person.client) == tuning.Tuning()
        tuning.write(
            person.client, tuning.values_of({"name": "Rowan 2", "unit": "psi", "buzzer": False})
        )
        with pytest.raises(Refusal, match="confirm"):
            tuning.write(
                person.client,
                tuning.values_of({"source": "line", "supply_pa": 700_000}),
                lambda text: inflator.press("down"),
            )
        assert tuning.read(person.client).source == "compressor"
        tuning.write(
            person.client,
            tuning.values_of({"source": "line", "supply_pa": 700_000}),
            person.confirm,
        )
        person.client.close()
        inflator.power_cycle()
        inflator.advance(2.0)
        with Client(LockstepTransport(inflator)) as client:
            now = tuning.read(client)
            assert (now.name, now.unit, now.buzzer, now.source, now.supply_pa) == (
                "Rowan 2",
                "psi",
                False,
                "line",
                700_000,
            )
            inflator.press("enter")
            inflator.advance(0.5)
            for _ in range(4):
                inflator.press("enter")
            assert screen.read_screen(client).lines


@pytest.mark.parametrize(
    "given, wrong",
    [
        ({}, "Nothing to set"),
        ({"name": "An inflator with far too long a name"}, "at most"),
        ({"name": "bell\a"}, "at most"),
        ({"supply_pa": 8e5}, "--source"),
        ({"source": "compressor", "supply_pa": 800_000}, "no supply"),
        ({"source": "line", "delivery_ml_min": 30_000}, "follows from its supply"),
        ({"source": "line", "supply_pa": 2_000_000}, "from 4 to 10 bar"),
        ({"source": "compressor", "delivery_ml_min": 5_000}, "from 10 to 60 L/min"),
    ],
)
def test_impossible_settings_are_refused_before_sending(given, wrong):
    with pytest.raises(Refusal) as told:
        tuning.values_of(given)
    assert wrong in str(told.value)


def test_the_command(tmp_path):
    shop = Shop(tmp_path)
    inflator = Inflator(shop)
    try:
        told = shop.json(
            "inflators", "set", "--name", "Rowan 2", "--unit", "psi", "--buzzer", "off"
        )
        assert (told["name"], told["unit"], told["buzzer"]) == ("Rowan 2", "psi", False)
        assert "psi first, buzzer on" in shop.run("inflators", "set", "--buzzer", "on").stdout
        with inflator.pressing("workshop"):
            assert (
                shop.json("inflators", "set", "--source", "line", "--supply", "8 bar")["supply_pa"]
                == 800_000
            )
        assert shop.run("inflators", "--json", "set", "--unit", "bar").returncode == 2
        assert shop.json("inflators")[0]["inflator"]
    finally:
        inflator.close()
