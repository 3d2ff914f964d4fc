"""Range of the proof bench: pairs that can be mounted, and pressures up to its end."""

from rimward_fw.bench import app as firmware

from rimward.base.errors import Refusal
from rimward.base.units import show_limit, show_minimum
from rimward.limits.ceiling import Rim, Tyre
from rimward.proof.standard import PERCENT

SPARE_PA = 14_000  # ceiling above the last level: guard band, a pulse's rise, noise


def end_pa(gauge_pa: int = firmware.BAND_PA) -> int:
    """Return the highest level of a bench with this guard band: its stop reading lies the band below its ceiling."""
    return firmware.CEILING_PA - gauge_pa - SPARE_PA


def largest_limit_pa(gauge_pa: int = firmware.BAND_PA) -> int:
    """Return the highest limit whose 110 %, held with the gauge's U on top, the bench reaches."""
    return (end_pa(gauge_pa) - gauge_pa) * 100 // PERCENT


END_PA = end_pa()


def check_pair(rim: Rim, tyre: Tyre) -> None:
    """Raise Refusal for a tyre that cannot be mounted on this rim. Approval is not required: the test is to establish it."""
    if (
        rim.bead_seat_mm is not None
        and tyre.bead_seat_mm is not None
        and rim.bead_seat_mm != tyre.bead_seat_mm
    ):
        raise Refusal(
            f"The bead seats differ: rim {rim.bead_seat_mm} mm, tyre {tyre.bead_seat_mm} mm. This tyre does not fit on this rim.",
            "Read both sizes again.",
        )
    if tyre.width_mm <= rim.inner_mm:
        raise Refusal(
            f"The tyre, {tyre.width_mm:g} mm wide, is not wider than the rim inside, {rim.inner_mm:g} mm: it cannot be mounted.",
            "Read both sizes again.",
        )


def check_limit(limit_pa: int, gauge_pa: int = firmware.BAND_PA) -> None:
    """Raise Refusal for a limit whose retention pressure is beyond the bench's range."""
    if limit_pa > largest_limit_pa(gauge_pa):
        hold_pa = -(-limit_pa * PERCENT // 100) + gauge_pa
        raise Refusal(
            f"{PERCENT} % of {show_limit(limit_pa)} with the gauge's U on top is {show_minimum(hold_pa)}, above what the bench reaches, "
            f"{show_limit(end_pa(gauge_pa))}.",
            f"Limits above {show_limit(largest_limit_pa(gauge_pa))} need another bench: higher transducer span, cutoff and relief valve, and a guard "
            "built for them. None is built. Test elsewhere and write the row by hand; `rimward proof schema` shows how.",
        )


def check_top(top_pa: int, gauge_pa: int = firmware.BAND_PA) -> None:
    """Raise Refusal for a last level beyond the bench's range."""
    if top_pa > end_pa(gauge_pa):
        raise Refusal(
            f"The last level, {show_limit(top_pa)}, is above what the bench reaches, {show_limit(end_pa(gauge_pa))}.",
            "End the ramp lower with --to; the result is censored there without a release.",
        )
