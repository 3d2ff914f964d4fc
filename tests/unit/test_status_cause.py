"""What the inflator says of a visit that is over is what it wrote into the record (G9: one cause, one word)."""

from dataclasses import replace

from rimward.link import verbs
from rimward.simulation.person import Person
from rimward.simulation.scenario import Scenario, plant_of, profile_of
from rimward.virtual import VirtualInflator
from rimward_protocol import causes, codes


def test_a_fill_stopped_for_its_volume_says_so_after_the_record_is_closed() -> None:
    scenario = Scenario()
    world = plant_of(scenario)
    with VirtualInflator(replace(world, tyre_pa=150_000.0, tyre_ml=world.tyre_ml * 4)) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        ended = person.fill()
        assert (ended["state"], ended["stop_cause"]) == ("stopped", "wrong-volume")
        assert inflator.until(lambda _: verbs.status(person.client)["ceiling_pa"] == 0, 20)
        after = verbs.status(person.client)
        assert (after["state"], after["stop_cause"]) == ("stopped", "wrong-volume")
        assert inflator.until(lambda _: verbs.list_sessions(person.client)[0]["ended"], 10)
        assert verbs.list_sessions(person.client)[0]["cause"] == "wrong-volume"


def test_a_pause_on_the_way_is_not_called_the_target() -> None:
    """The guard has one word for "the fill wants no air now"; at the seating pause and while the reading settles it would be untrue."""
    scenario = Scenario()
    with VirtualInflator(plant_of(scenario)) as inflator:
        person = Person(inflator)
        person.bring(profile_of(scenario))
        person.choose(scenario.wheel_id())
        inflator.hands.run = True
        assert inflator.until(lambda _: verbs.status(person.client)["state"] == "seat-pause", 60)
        inflator.advance(1.0)
        raw = person.client.request(codes.STATUS)
        assert raw["stop_cause"] == causes.TARGET_REACHED and raw["tyre_pa"] < raw["target_pa"] - 50_000
        seen = verbs.status(person.client)
        assert (seen["state"], seen["stop_cause"], seen["waiting"]) == ("seat-pause", "none", "bead-seated")
        inflator.hands.run = False
        ended = person.fill()
        assert (ended["state"], ended["stop_cause"]) == ("done", "target-reached")
