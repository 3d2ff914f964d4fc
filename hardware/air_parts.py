"""Pneumatic parts of the bill of materials: ISO 1219 symbol, rating, series that fit and purpose.

Series are examples that fit the stated figures, from memory unless a note says that a sheet was seen; the maker's sheet has priority.
"""

from dataclasses import dataclass


@dataclass(frozen=True)
class AirPart:
    """One pneumatic part: reference, ISO 1219 symbol, description, rating, series that fit, purpose."""

    ref: str
    symbol: str
    text: str
    rating: str
    sources: tuple[str, ...]
    why: str


AIR_PARTS = (
    AirPart(
        "P1",
        "compressor",
        "12 V piston compressor head with motor, oil-free (compressor build)",
        "stall under 10.5 bar, 15 A",
        ("by figures only",),
        "air source",
    ),
    AirPart(
        "SV1",
        "valve-2-2-nc",
        "2/2 solenoid valve, normally closed, 12 V (line build): relay channel",
        "16 bar, shut in 20 ms",
        ("direct-acting 2/2 NC, orifice 2 mm", "the same of a second maker, G1/8"),
        "shut-off valve L1",
    ),
    AirPart(
        "SV2",
        "valve-2-2-nc",
        "2/2 solenoid valve, normally closed, 12 V (line build): pulse channel",
        "16 bar, shut in 20 ms",
        ("direct-acting 2/2 NC, orifice 2 mm", "not of the same lot as SV1"),
        "shut-off valve L2",
    ),
    AirPart(
        "IV1",
        "valve-3-2-hand",
        "3/2 hand valve, lockable shut (line build): shut, it empties what lies behind it",
        "16 bar, G1/4",
        ("3/2 slide valve with dump, lockable", "3/2 ball valve with dump, lockable"),
        "line isolation and dump",
    ),
    AirPart(
        "RG1",
        "regulator",
        "pressure regulator with gauge (line build)",
        "16 bar in, set 9 bar",
        ("G1/4 regulator", "G1/4 filter regulator"),
        "main to 9 bar",
    ),
    AirPart(
        "FT1",
        "filter-trap",
        "filter with water trap",
        "16 bar, 40 um",
        ("G1/4 filter, manual drain", "G1/4 filter, float drain"),
        "water out of the air",
    ),
    AirPart(
        "RO1",
        "restrictor",
        "fixed restrictor (line build)",
        "C 0.20 dm3/(s bar), +10 % -20 %",
        ("drilled jet 1.25 mm", "needle valve, locked and sealed"),
        "inlet never beats the vent",
    ),
    AirPart(
        "NR1",
        "check",
        "check valve",
        "16 bar",
        ("inline check valve 6 mm",),
        "compressor head does not leak back",
    ),
    AirPart(
        "PL1",
        "plenum",
        "block with dead-end plenum for taps A and B, 40 to 90 mL with hose; tap C on a port of its own at the other end",
        "proof 20 bar",
        ("machined aluminium",),
        "taps away from the stream; no one passage feeds A, B and C",
    ),
    AirPart(
        "TA",
        "tap-filter",
        "tap A with sintered filter 40 um",
        "16 bar",
        ("sintered bronze G1/8", "sintered steel G1/8"),
        "transducer A",
    ),
    AirPart(
        "TB",
        "tap-filter",
        "tap B with sintered filter 40 um",
        "16 bar",
        ("sintered bronze G1/8", "sintered steel G1/8"),
        "transducer B",
    ),
    AirPart(
        "TC",
        "tap-filter",
        "tap C with sintered filter 40 um",
        "16 bar",
        ("sintered bronze G1/8", "sintered steel G1/8"),
        "transducer C of the independent cutoff, on its own port of the manifold",
    ),
    AirPart(
        "SV3",
        "valve-2-2-no",
        "2/2 solenoid valve, normally OPEN, 12 V, 100 % duty, with silencer",
        "12 bar, C 0.80 dm3/(s bar) +-15 % with silencer, opens in 20 ms, coil 24 ohm or more, 9 W continuous",
        ("direct-acting 2/2 NO, G1/4, orifice 2.5 to 3 mm, 12 bar", "the same of a second maker"),
        "vent",
    ),
    AirPart(
        "V5",
        "valve-2-2-hand",
        "2/2 ball valve with cam stem: range key",
        "16 bar",
        ("G1/8 ball valve with switch kit", "rotary valve, two positions"),
        "low: opens the way to RV1; carries the three poles of S3",
    ),
    AirPart(
        "RV1",
        "relief",
        "relief valve, low range, set and sealed at 5.9 bar",
        "5.9 bar +-3 % (ISO 4126-1), C 1.2 or more fully open",
        ("sealed relief valve G1/4, flow diameter 4 mm", "the same of a second maker"),
        "last stop, low range",
    ),
    AirPart(
        "RV2",
        "relief",
        "relief valve, always connected, set and sealed at 10.5 bar",
        "10.5 bar +-3 % (ISO 4126-1), C 1.2 or more fully open",
        ("sealed relief valve G1/4, flow diameter 4 mm", "the same of a second maker"),
        "last stop, high range and parts",
    ),
    AirPart(
        "H1",
        "hose",
        "hose 6 mm inside, 1.2 m, with strain relief",
        "20 bar working, 60 bar burst",
        ("rubber air hose", "polyurethane air hose"),
        "person stands out of the path of a bead that comes off (at least 0.61 m: California T8 3325)",
    ),
    AirPart(
        "CH1",
        "chuck",
        "clip-on chuck, pin-open or pressure-open: set in the profile",
        "16 bar",
        ("clip-on chuck",),
        "hands free of the wheel",
    ),
)
