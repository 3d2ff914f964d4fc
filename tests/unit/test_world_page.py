"""The page of the firmware in the simulated world is made of the figures kept beside it."""

import json

from tests.bench import world


def test_the_page_is_made_of_the_figures_kept():
    now, base = (json.loads(path.read_text()) for path in (world.NOW, world.BASE))
    assert world.PAGE.read_text() == world.page(now, base), "run python -m tests.bench.world --page"


def test_every_class_is_counted_with_its_number():
    now = json.loads(world.NOW.read_text())
    assert len(now["fills"]) == len(now["healthy"]["first_go"]) == 4
    for row in now["healthy"]["first_go"]:
        assert 0 < row["done_first"] <= row["done_retry"] <= row["feasible"]
    for name, (sessions, _, _, _) in world.CAMPAIGNS.items():
        assert now[name]["sessions"] == sessions
        assert now[name]["exceedances"] == sum(
            person["exceedances"] for person in now[name]["people"]
        )


def test_a_changed_figure_changes_the_page():
    now = json.loads(world.NOW.read_text())
    before = json.dumps(now)
    now["moved"]["exceedances"] += 1
    assert world.page(now, json.loads(before)) != world.page(json.loads(before), json.loads(before))
