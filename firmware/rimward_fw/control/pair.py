"""Rider's preset at the inflator: two wheels with the rider's targets, and the stricter of the preset's and each profile's ride. Main
loop only.
"""

from rimward_protocol import causes, codes, layout, preset, replies
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import arming, fill_modes
from rimward_fw.storage import recent

if TYPE_CHECKING:
    from typing import Any

    from rimward_protocol.shapes import Record

    from rimward_fw.shapes import App


SIDES = ("front", "rear")


def stricter(values: "Record", row: "Record", side: int) -> "Record":
    """Profile fields for one wheel of a preset: the rider's target, and of both rides the lower ambient pressure and the warmer tyre.

    A ride of the preset also applies to a profile without one: the limit then holds on the whole ride.
    """
    made = dict(values)
    made["target_pa"] = row[SIDES[side] + "_target_pa"]
    if row["flags"] & codes.PRESET_RIDE_STATED:
        stated = (
            values["flags"] & codes.FLAG_RIDE_STATED
            and not values["flags"] & codes.FLAG_LIMIT_AT_FILL
        )
        made["ambient_min_pa"] = (
            min(row["ambient_min_pa"], values["ambient_min_pa"])
            if stated
            else row["ambient_min_pa"]
        )
        made["temp_max_ck"] = (
            max(row["temp_max_ck"], values["temp_max_ck"]) if stated else row["temp_max_ck"]
        )
        made["flags"] = (values["flags"] | codes.FLAG_RIDE_STATED) & ~codes.FLAG_LIMIT_AT_FILL
    return made


class Pair:
    """One selected preset. `ends`: (target, ceiling here) of front and rear, Pa; `code`: reason why it cannot be used, or OK."""

    def __init__(self, app: "App", preset_id: bytes) -> None:
        self.app = app
        self.data: "Any" = app.store.presets.get(preset_id)
        self.run = 0  # number that joins the records of both wheels
        self.side = -1  # wheel selected last
        self.done: list[bool] = [False, False]
        self.ends: "list[Any]" = []
        self.row: "Any" = layout.unpack(layout.PRESET, self.data) if self.data else None
        self.code = self._check()

    def _check(self) -> int:
        app = self.app
        if self.row is None:
            return replies.NOT_FOUND
        if not preset.tag_fits(app.keys.key(), self.data):
            return replies.TAG_WRONG
        here = {
            "ambient_pa": app.ambient_pa() or 101325,
            "t0_ck": app.air_ck(),
            "guard_pa": app.guard_pa(),
        }
        for side in (0, 1):
            found = app.store.profile_get(self.row[SIDES[side] + "_wheel"])
            if not found:
                return replies.NOT_FOUND
            code = app.keys.stands(found[0])
            if code:
                return code
            values = stricter(layout.unpack(layout.PROFILE, found[0]), self.row, side)
            target = arming.target_here_pa(values, here["ambient_pa"], here["t0_ck"])
            if target > fill_modes.highest_target_pa(values, app.hardware, here):
                code = replies.TARGET_ABOVE_STOP
            self.ends.append(
                (
                    values["target_pa"],
                    arming.ceiling_here_pa(values, here["ambient_pa"], here["t0_ck"]),
                )
            )
            if code:
                return code
        return replies.OK

    def reached(self) -> None:
        """Note for the display that the wheel selected last reached its target."""
        if self.side >= 0 and self.app.cycle.cause == causes.TARGET_REACHED:
            self.done[self.side] = True
        self.side = -1

    def choose(self, side: int) -> int:
        """Select one wheel of the pair; the first selection begins the preset's run. Return a reply code."""
        wheel = self.row[SIDES[side] + "_wheel"]
        if not self.run:
            self.run = self.app.store.presets.run(self.row["preset_id"])
            if not self.run:
                return replies.STORE_FULL
        code = self.app.choose(wheel)
        if code in (replies.OK, replies.WAITING_FOR_PERSON):
            cycle = self.app.cycle
            cycle.values = stricter(cycle.values, self.row, side)
            cycle.preset = (
                bytes(self.row["preset_id"])
                + self.run.to_bytes(4, "little")
                + bytes([side + 1])
                + self.data
            )
            self.side = side
            recent.note(self.app.store, bytes(self.row["preset_id"]))
        return code
