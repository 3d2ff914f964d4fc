"""Pressures as written by people and as shown by this tool.

Internally a pressure is a whole number of pascals, gauge unless its name says absolute. Written pressures are converted exactly (fractions,
not floats) and rounded to the safe side: a limit down, a minimum up. Shown limits round down to 0.01 bar and 0.1 psi.
"""

import re
from fractions import Fraction

from rimward.base.errors import Refusal

PSI_PA = Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2
KGF_CM2_PA = Fraction("98066.5")
KPA = 1000
ARITHMETIC_PA = 1e-6  # far above the error of double arithmetic at tyre pressures (1e-9 Pa), far below any shown digit

# unit as written, lower case -> (pascals, whether a decimal number of it can be a whole number of pascals)
_UNITS: dict[str, tuple[Fraction, bool]] = {
    "pa": (Fraction(1), True),
    "hpa": (Fraction(100), True),
    "mbar": (Fraction(100), True),
    "kpa": (Fraction(1000), True),
    "mpa": (Fraction(1_000_000), True),
    "bar": (Fraction(100_000), True),
    "psi": (PSI_PA, False),
    "kgf/cm2": (KGF_CM2_PA, False),
}
_SPELLINGS = {
    "kg/cm2": "kgf/cm2",
    "kp/cm2": "kgf/cm2",
    "psig": "psi",
    "barg": "bar",
    "kpag": "kpa",
    "bars": "bar",
}
_SNAP_PA = Fraction(
    1, 20
)  # psi and kgf/cm2 written to six decimals are within this of the intended whole pascal

NUMBER = r"\d+(?:[.,]\d+)?|[.,]\d+"
UNIT = r"kgf/cm(?:2|²|\^2)|k[gp]/cm(?:2|²|\^2)|psi[ga]?|bar[gas]?|mbar|hpa|kpag?|mpa|pa"
ITEM = re.compile(rf"(?P<number>{NUMBER})\s*(?P<unit>{UNIT})?(?![a-z0-9²])", re.IGNORECASE)
_GROUPED = re.compile(r"[1-9]\d{0,2},\d{3}")


class Refused(Refusal):
    """Refusal with the id that the JSON answer shows."""

    def __init__(self, id: str, text: str, fix: str = "") -> None:
        super().__init__(text, fix)
        self.id = id


def unit_pascals(unit: str) -> tuple[Fraction, bool]:
    """Return pascals in one of `unit`, and whether it is a decimal multiple. Absolute units and `mPa` are refused."""
    plain = unit.strip().lower().replace("²", "2").replace("^2", "2")
    plain = _SPELLINGS.get(plain, plain)
    if unit.strip() == "mPa" or plain not in _UNITS:
        raise Refused(
            "pressure-not-understood",
            f"Unit {unit!r} is not a unit of gauge pressure.",
            "Write psi, bar, kPa, MPa or kgf/cm2.",
        )
    return _UNITS[plain]


def number(text: str) -> Fraction:
    """Parse a number; decimal point or decimal comma. `1,000` is ambiguous and refused."""
    if _GROUPED.fullmatch(text):
        raise Refused(
            "pressure-not-understood",
            f"{text!r} can be read two ways.",
            "Write it without the comma, or with a decimal point.",
        )
    return Fraction(text.replace(",", "."))


def to_pascals(value: Fraction, unit: str, *, up: bool = False) -> int:
    """Return whole pascals for `value` in `unit`, rounded down (a limit) or up (a minimum)."""
    scale, decimal = unit_pascals(unit)
    exact = value * scale
    nearest = round(exact)
    if not decimal and abs(exact - nearest) <= _SNAP_PA:
        return nearest
    return -((-exact).__floor__()) if up else exact.__floor__()


def parse_pressure(text: str, *, up: bool = False) -> int:
    """Parse one written pressure to gauge pascals, such as `72.5 psi`, `5,0 bar`, `0.5 MPa`, `5.1 kgf/cm2`.

    Rounds to whole pascals down, or up with `up=True`. Raises Refused `unit-missing` or `pressure-not-understood`.
    """
    match = ITEM.fullmatch(text.strip())
    if not match:
        raise not_understood(text)
    if not match["unit"]:
        raise unit_missing(text)
    return positive(to_pascals(number(match["number"]), match["unit"], up=up), text)


def parse_reading(text: str) -> int:
    """Parse an instrument's reading to gauge pascals: as `parse_pressure`, but zero, written `0`, and negative readings are accepted."""
    sign, bare = (
        (-1, text.strip()[1:]) if text.strip()[:1] in ("-", "\N{MINUS SIGN}") else (1, text.strip())
    )
    match = ITEM.fullmatch(bare.strip())
    if not match:
        raise not_understood(text)
    value = number(match["number"])
    if not match["unit"] and value:
        raise unit_missing(text)
    return sign * to_pascals(value, match["unit"] or "Pa")


def positive(pa: int, text: str) -> int:
    """Return `pa` if it is above zero, else raise Refused."""
    if pa <= 0:
        raise Refused("pressure-not-understood", f"{text!r} is not a pressure above zero.")
    return pa


def unit_missing(text: str) -> Refused:
    """Refusal of a number without a unit."""
    return Refused(
        "unit-missing",
        f"{text.strip()!r} has no unit.",
        "Write psi, bar, kPa, MPa or kgf/cm2 after the number.",
    )


def not_understood(text: str) -> Refused:
    """Refusal of a text that is not a pressure."""
    return Refused(
        "pressure-not-understood",
        f"{text.strip()!r} is not understood as a pressure.",
        "Write it as '5 bar' or '72.5 psi'.",
    )


def exceeds(pa: float, limit_pa: float) -> bool:
    """Return True if a computed pressure lies above a limit by more than the error of its arithmetic."""
    return pa > limit_pa + ARITHMETIC_PA


def floor_kpa(pa: float) -> int:
    """Round `pa` down to whole kilopascals, in pascals."""
    return int(pa // KPA) * KPA


def bar_down(pa: int) -> str:
    """Format bar to 0.01, rounded down: 500000 -> '5.00'."""
    return f"{_floor(Fraction(pa), Fraction(1000)) / 100:.2f}"


def psi_down(pa: int) -> str:
    """Format psi to 0.1, rounded down: 500000 -> '72.5', the highest figure that is read back as this many whole pascals or fewer."""
    return f"{_tenths_psi(pa) / 10:.1f}"


def bar_up(pa: int) -> str:
    """Format bar to 0.01, rounded up."""
    return f"{-_floor(-Fraction(pa), Fraction(1000)) / 100:.2f}"


def psi_up(pa: int) -> str:
    """Format psi to 0.1, rounded up: the lowest figure that, as a minimum, is read back as this many whole pascals or more."""
    return f"{(_floor(Fraction(pa - 1), PSI_PA / 10) + 1) / 10:.1f}"


def show_limit(pa: int) -> str:
    """Format a limit in both units, rounded down: '5.00 bar (72.5 psi)'."""
    return f"{bar_down(pa)} bar ({psi_down(pa)} psi)"


def show_minimum(pa: int) -> str:
    """Format a minimum in both units, rounded up."""
    return f"{bar_up(pa)} bar ({psi_up(pa)} psi)"


def show_reading(pa: float, limit_pa: int | None = None) -> str:
    """Format a reading in both units, to the nearest step; one above `limit_pa` is never shown as the limit or less."""
    whole = Fraction(pa)
    bar, psi = (
        (whole / 1000 + Fraction(1, 2)).__floor__(),
        (whole / (PSI_PA / 10) + Fraction(1, 2)).__floor__(),
    )
    if limit_pa is not None and exceeds(pa, limit_pa):
        bar = max(bar, _floor(Fraction(limit_pa), Fraction(1000)) + 1)
        psi = max(psi, _tenths_psi(limit_pa) + 1)
    return f"{bar / 100:.2f} bar ({psi / 10:.1f} psi)"


def centikelvin_down(celsius: float) -> int:
    """Convert to centikelvin, rounded down: for the fill, where colder is the safe side."""
    return 27315 + int((celsius * 100 + 1e-6) // 1)


def centikelvin_up(celsius: float) -> int:
    """Convert to centikelvin, rounded up: for the ride, where hotter is the safe side."""
    return 27315 - int((-celsius * 100 + 1e-6) // 1)


def celsius(centikelvin: int) -> float:
    """Convert centikelvin to degrees Celsius."""
    return (centikelvin - 27315) / 100


def _tenths_psi(pa: int) -> int:
    return _floor(Fraction(pa + 1), PSI_PA / 10)


def _floor(value: Fraction, step: Fraction) -> int:
    return (value / step).__floor__()
