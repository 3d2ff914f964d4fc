"""Highest point of a GPX route plus a margin. The file comes from elsewhere, so it is bounded and checked before parsing."""

import math
import re
from pathlib import Path

from rimward.base.atmosphere import HIGHEST_M, LOWEST_M
from rimward.base.units import Refused

MARGIN_M = 50.0  # elevations of maps and receivers are wrong by tens of metres
LARGEST_BYTES = 16_000_000
_DECLARATION = re.compile(rb"<!\s*(?:DOCTYPE|ENTITY)", re.IGNORECASE)
_ENCODING = re.compile(rb"""^<\?xml[^>]*?encoding\s*=\s*["']([A-Za-z0-9._-]+)["']""")
_FIX = "Give --ride-altitude-max instead."


def highest_point_m(path: str | Path) -> float:
    """Highest elevation of all track and route points in metres, plus the margin. Raises Refused with a `route-...` id."""
    elevations = _elevations(_checked(Path(path)))
    if not elevations:
        raise Refused("route-empty", "The route has no track or route points.", _FIX)
    return max(elevations) + MARGIN_M


def _checked(path: Path) -> bytes:
    """Return the file's bytes if they are few, UTF-8, and declare no document type."""
    try:
        with path.open("rb") as file:
            raw = file.read(LARGEST_BYTES + 1)
    except OSError as wrong:
        raise Refused(
            "route-not-understood",
            f"The route {path.name!r} cannot be read: {wrong.strerror}.",
            _FIX,
        ) from wrong
    if len(raw) > LARGEST_BYTES:
        raise Refused(
            "route-too-large",
            f"The route is larger than {LARGEST_BYTES // 1_000_000} MB.",
            "Thin it out, or give --ride-altitude-max instead.",
        )
    raw = raw.removeprefix(b"\xef\xbb\xbf")
    declared = _ENCODING.match(raw)
    if b"\0" in raw or (declared and declared[1].lower() not in (b"utf-8", b"us-ascii", b"ascii")):
        raise Refused("route-not-understood", "The route is not UTF-8 text.", _FIX)
    if _DECLARATION.search(raw):
        raise Refused(
            "route-doctype",
            "The route declares a document type or an entity, which no route needs.",
            _FIX,
        )
    return raw


def _elevations(raw: bytes) -> list[float]:
    import gpxpy
    from gpxpy.gpx import GPXException

    try:
        found = gpxpy.parse(raw.decode("utf-8"))
    except (GPXException, ValueError, TypeError, AttributeError, RecursionError) as wrong:
        raise Refused("route-not-understood", "The route is not a GPX file.", _FIX) from wrong
    points = [p for track in found.tracks for segment in track.segments for p in segment.points] + [
        p for route in found.routes for p in route.points
    ]
    heights = [p.elevation for p in points]
    missing = sum(height is None for height in heights)
    if missing:
        raise Refused(
            "route-elevation-missing",
            f"{missing} of {len(points)} points of the route have no elevation.",
            _FIX,
        )
    known = [float(height) for height in heights if height is not None]
    if any(
        not math.isfinite(height) or not LOWEST_M <= height <= HIGHEST_M - MARGIN_M
        for height in known
    ):
        raise Refused(
            "route-elevation-implausible",
            f"The route has elevations outside {LOWEST_M:.0f} to {HIGHEST_M - MARGIN_M:.0f} m.",
            _FIX,
        )
    return known
