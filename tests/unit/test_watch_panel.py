"""The live panel says which target it shows: the wheel's, worked out for the air where the inflator is."""

from rimward.link.live import Watcher

ROW = {
    "reading_pa": 250_000, "tyre_pa": None, "ceiling_pa": 447_000, "stop_pa": 437_000, "target_pa": 393_352, "state": "filling", "air_on": True,
    "stop_cause": "none",
}  # fmt: skip


def test_the_target_shown_is_named_as_that_of_the_air_here() -> None:
    watcher = Watcher.__new__(Watcher)
    watcher.status = {"cause": "none"}
    text = watcher.panel(ROW).renderable.plain
    assert "target for the air here 3.93 bar (57.0 psi)" in text and "in the tyre unknown" in text
