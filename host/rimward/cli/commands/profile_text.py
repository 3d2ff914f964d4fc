"""A profile as text: limits in bar and psi, origin of its tag, and its state in the register."""

from collections.abc import Callable
from typing import Any

import click
from rich.markup import escape
from rich.table import Table
from rimward_protocol.codes import word_of
from rimward_protocol.enumerations import POSITIONS

from rimward.base.output import console
from rimward.base.units import celsius, show_limit, show_reading
from rimward.cli.commands.wheel_options import register
from rimward.limits.ceiling.model import UNSTATED_FILL_CK

WARMER_CK = 300  # 3 °C: the example of a warmer tyre
STANDARD_AMBIENT_PA = 101_325


def describe(data: bytes, database: str | None = None) -> dict[str, Any]:
    """Return a profile as JSON, with the origin of its tag and its state in the register."""
    from rimward.formats.records import unpack_profile
    from rimward.wheels import keys, profile_files, profiles
    from rimward.wheels.tag import reading

    fields = unpack_profile(data)
    with register(database) as held:
        state = reading.standing(held, data, fields)
        wheel = held.by_id(fields["wheel_id"].hex())
    entry = wheel.values.get("profile") if wheel else None
    known = bool(entry and entry["revision"] == fields["revision"])
    return {
        "profile": profile_files.to_json(data),
        "bytes": len(data),
        "origin": profiles.origin(data, keys.load()),
        "standing": state,
        "superseded": state == "superseded",
        "says": reading.says(wheel, state),
        "conditions": profiles.conditions_of(entry) if entry and known else None,
    }


def warn_untagged(described: dict[str, Any]) -> None:
    """Print a warning for an untagged profile."""
    if described["origin"]["state"] == "untagged":
        text = "Untagged: no inflator takes a ceiling from it."
        click.echo(f"{text} Make a key: rimward key new.", err=True)


ORIGINS = {
    "untagged": "no tag",
    "ours": "tagged by this workshop",
    "ours-earlier": "tagged with an earlier key of this workshop: make it again",
    "foreign": "TAG NOT OURS: made by another workshop, or altered",
}


def ride_line(p: dict[str, Any]) -> str:
    """Conditions for which the ceiling holds."""
    if "ride-stated" not in p["flags"]:
        return "not stated: the limit holds at the fill, not on a hotter or higher ride"
    held = " (the limit is held at the fill only)" if "limit-at-fill" in p["flags"] else ""
    heat = (
        f"tyre up to {celsius(p['temp_max_ck']):.1f} °C"
        if p["temp_max_ck"] > UNSTATED_FILL_CK
        else "no warming stated"
    )
    return f"lowest ambient {show_reading(p['ambient_min_pa'])} absolute, {heat}{held}"


def conditions_line(held: dict[str, Any] | None) -> str:
    """Place of the fill, ride and time as in the register."""
    if held is None:
        return "not in this computer's register"
    rows: tuple[tuple[str, Any, Callable[[Any], str]], ...] = (
        ("fill at", held["fill_ck"], lambda ck: f"{celsius(ck):.1f} °C"), ("filled at", held["fill_altitude_m"], lambda m: f"{m:g} m"),
        ("ride up to", held["ride_altitude_max_m"], lambda m: f"{m:g} m"), ("tyre up to", held["ride_temp_max_ck"], lambda ck: f"{celsius(ck):.1f} °C"),
        ("ride down to", held["ride_temp_min_ck"], lambda ck: f"{celsius(ck):.1f} °C"),
    )  # fmt: skip
    stated = [f"{name} {shown(value)}" for name, value, shown in rows if value is not None]
    return "; ".join([*stated, f"made {held['made'] or 'at a time not kept'}"])


def elsewhere(p: dict[str, Any]) -> str:
    """Pressure to which the inflator fills where the tyre is warmer than the target's reference."""
    warmer_ck = p["ref_temp_ck"] + WARMER_CK
    reads = (p["target_pa"] + STANDARD_AMBIENT_PA) * warmer_ck // p[
        "ref_temp_ck"
    ] - STANDARD_AMBIENT_PA
    return f"a tyre of {celsius(warmer_ck):.1f} °C is filled to {show_limit(reads)}, the same air"


def print_profile(described: dict[str, Any]) -> None:
    """Print a profile: every limit in bar and psi, gauge."""

    p = described["profile"]
    rows = (
        (
            "wheel",
            f"{p['label']} ({p['position']}), id {p['wheel_id']}, revision {p['revision']} of {p['made']}",
        ),
        (
            "tyre and rim",
            f"{p['tyre_width_dmm'] / 10:g}-{p['bead_seat_mm']} on {p['rim_width_dmm'] / 10:g} mm inside, {p['rim_class']}",
        ),
        ("limit", f"{show_limit(p['limit_pa'])} gauge ({p['limit_source']})"),
        ("ceiling", f"{show_limit(p['ceiling_pa'])} gauge"),
        (
            "target",
            f"{show_limit(p['target_pa'])} gauge at {celsius(p['ref_temp_ck']):.1f} °C; {elsewhere(p)}",
        ),
        ("seat pause", f"{show_limit(p['seat_pause_pa'])} gauge"),
        ("ride", ride_line(p)),
        ("made for", conditions_line(described["conditions"])),
        (
            "air volume",
            f"{p['volume_low_ml'] / 1000:.2f} to {p['volume_ml'] / 1000:.2f} L, pump at most {p['time_budget_s']} s",
        ),
        ("chuck, flags", ", ".join([p["chuck"], *p["flags"]])),
        ("tag", ORIGINS[described["origin"]["state"]]),
        ("register", described["says"]),
    )
    table = Table(show_header=False)
    for head, text in rows:
        table.add_row(head, escape(text))
    console.print(table)


# flag of a stored profile -> words if set, if not
HELD_WORDS = {
    "chosen": ("chosen", ""),
    "confirmed": ("confirmed", "waits to be confirmed"),
    "tag_fits": ("tag fits its key", "no tag that fits its key"),
}


def print_held(rows: list[dict[str, Any]]) -> None:
    """Print the profiles in an inflator."""
    if not rows:
        console.print(
            "The inflator holds no profile. Until one is sent it fills with its built-in straight-side profile only.",
            markup=False,
        )
        return
    table = Table("wheel, id", "revision", "ceiling (gauge)", "target (gauge)", "state there")
    table.columns[0].min_width = 16  # an id is never cut
    for row in rows:
        state = ", ".join(
            words[not row[name]] for name, words in HELD_WORDS.items() if words[not row[name]]
        )
        if row["intact"]:
            p = row["profile"]
            limits = (show_limit(p["ceiling_pa"]), show_limit(p["target_pa"]))
            place = word_of(POSITIONS, p["position"])
            if row["standing"] not in ("current", None):
                state += f"\n{escape(row['says'])}"
            table.add_row(
                f"{escape(p['label'])} ({place})\n{p['wheel_id'].hex()}",
                str(p["revision"]),
                *limits,
                state,
            )
        else:
            table.add_row("DAMAGED: send it again", "", "", "", state)
    console.print(table)
