"""Texts that few screens need and that are slow to fetch: `display` fetches them once for each screen. Main loop only."""

from rimward_protocol import codes
from rimward_protocol import kernel_slots as slots
from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw import version
from rimward_fw.storage.wheels import loosened
from rimward_fw.ui import display_numbers as show

if TYPE_CHECKING:
    from rimward_fw.control.cycle import FillCycle
    from rimward_fw.control.pair import Pair
    from rimward_fw.shapes import App


_RIMS = ("not known", "SS", "TSS", "HB", "C", "TC")
_CHUCKS = ("?", "pin", "press")
_PLACES = ("any", "front", "rear")
_RANGES = ("?", "low", "high", "bench")
_TESTS = ("not yet", "passed")


def facts_of(app: "App", name: str) -> dict[str, str]:
    """Return the texts of a screen that needs more than `display.fact`."""
    if name == "service":
        return service_facts(app)
    if name == "looser":
        return looser_facts(app.cycle)
    if name == "new":
        return wheel_facts(app.cycle)
    if name == "pair":
        return pair_facts(app.interface.pair, app.interface.psi_first)
    facts = ride_facts(app.cycle)
    facts.update(calibration_facts(app))
    return facts


def pair_facts(pair: "Pair", psi: bool) -> dict[str, str]:
    """Rider, target and ceiling of both wheels of a preset, and which of them reached its target."""
    pair.reached()
    found = {"rider": show.label(pair.row["rider"])}
    for i in (0, 1):
        target, ceiling = pair.ends[i]
        found["t" + str(i)] = show.limit(target, psi)
        found["c" + str(i)] = show.limit(ceiling, psi)
        found["d" + str(i)] = " done" if pair.done[i] else ""
    return found


def wheel_facts(v: "FillCycle") -> dict[str, str]:
    """Facts for identifying a new wheel."""
    row = v.values
    return {
        "tyre": str(row["tyre_width_dmm"] // 10) + "-" + str(row["bead_seat_mm"]),
        "rim": _RIMS[row["rim_class"]],
        "position": _PLACES[row["position"]],
        "made": day_text(row["made_days"]) if row["made_days"] else "not known",
    }


def looser_facts(v: "FillCycle") -> dict[str, str]:
    """Facts last confirmed of this wheel beside those of its profile; `what` names a changed class, position or size."""
    old, row = v.old, v.values
    texts = {
        "old_ceil": show.bar(old[0]),
        "new_ceil": show.bar(row["ceiling_pa"]),
        "old_limit": show.bar(old[1]),
        "new_limit": show.bar(row["limit_pa"]),
    }
    texts["old_litre"], texts["new_litre"] = show.litres(old[3]), show.litres(row["volume_ml"])
    changed = loosened(old, row)
    words = {
        "rim_class": "rim " + _rim(old[4]) + ">" + _rim(row["rim_class"]),
        "chuck": "chuck " + _CHUCKS[old[5]] + ">" + _CHUCKS[row["chuck"]],
        "position": _PLACES[old[6]] + ">" + _PLACES[row["position"]],
        "tyre_width_dmm": "tyre " + str(old[7] // 10) + ">" + str(row["tyre_width_dmm"] // 10),
        "bead_seat_mm": "bead " + str(old[8]) + ">" + str(row["bead_seat_mm"]),
    }
    found = [words[name] for name in changed if name in words]
    texts["what"] = found[0] if found else "" if changed else "number far ahead"
    return texts


def _rim(number: int) -> str:
    return _RIMS[number] if number else "?"


def ride_facts(v: "FillCycle") -> dict[str, str]:
    """Limit and ride from which the ceiling here is computed."""
    row = v.values
    stated = row["flags"] & codes.FLAG_RIDE_STATED and not row["flags"] & codes.FLAG_LIMIT_AT_FILL
    return {
        "ride_air": "ride to " + str(row["ambient_min_pa"] // 100) + "hPa"
        if stated
        else "no ride stated:",
        "ride_heat": "tyre to " + show.celsius(row["temp_max_ck"]) + " C"
        if stated
        else "limit holds here",
    }


def calibration_facts(app: "App") -> dict[str, str]:
    """Day of the calibration, consequence of its age, and guard band in force."""
    day, age = app.calibrated_day(), app.calibration_age_days()
    due, locks = (
        day_text(day + codes.CALIBRATION_DUE_DAYS),
        day_text(day + codes.CALIBRATION_LOCK_DAYS),
    )
    if not day:
        words = "never: the band is its class"
    elif age > codes.CALIBRATION_LOCK_DAYS:
        words = "LOCKED: no fill until it is calibrated"
    elif age > codes.CALIBRATION_DUE_DAYS:
        words = "OVERDUE: wider band, locks " + locks
    else:
        words = "due " + due
    return {
        "calibrated": day_text(day) if day else "never",
        "due": words,
        "guard_bar": show.bar_up(app.guard_pa()),
    }


def day_text(days: int) -> str:
    """Format a day counted from 2020-01-01 as year-month-day; proleptic Gregorian."""
    era_day = days + 737_730  # days from 0000-03-01 to 2020-01-01
    era, day = era_day // 146_097, era_day % 146_097
    year = (day - day // 1460 + day // 36524 - day // 146_096) // 365
    rest = day - (365 * year + year // 4 - year // 100)
    month = (5 * rest + 2) // 153
    year += era * 400 + (1 if month >= 10 else 0)
    return (
        str(year)
        + "-"
        + ("0" + str((month + 2) % 12 + 1))[-2:]
        + "-"
        + ("0" + str(rest - (153 * month + 2) // 5 + 1))[-2:]
    )


def service_facts(app: "App") -> dict[str, str]:
    """Counters and raw readings for service."""
    status = app.status()
    a, b, _tyre, _state = app.sample()
    facts = calibration_facts(app)
    more = {
        "tick_us": str(status["tick_max_us"]),
        "trips": str(len(app.store.trips())),
        "boots": str(app.boots),
        "heap": str(status["heap_free"] // 1024),
        "supply": str(app.board.pump_mv // 1000) + "." + str(app.board.pump_mv % 1000 // 100),
        "test": _TESTS[1 if app.engine.g[slots.G_TEST] == 16000 else 0],
        "version": version.FIRMWARE,
        "a_bar": show.reading_bar(a),
        "b_bar": show.reading_bar(b),
        "range": _RANGES[status["range"]],
        "cutoff": "OPEN" if app.engine.x[slots.X_SW] & 8 else "shut",
    }
    facts.update(more)
    return facts
