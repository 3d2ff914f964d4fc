"""What the proof bench can test: pairs that can be mounted, and pressures up to its own end."""

from rimward_fw.bench import app as firmware

from rimward.ceiling import Rim, Tyre
from rimward.errors import Refusal
from rimward.proof.standard import PERCENT
from rimward.units import show_limit, show_minimum

MARGIN_PA = 30_000  # ceiling over the last level: guard band, a pulse's rise, noise
END_PA = firmware.CEILING_PA - MARGIN_PA  # highest level
LARGEST_LIMIT_PA = END_PA * 100 // PERCENT  # highest limit whose 110 % the bench reaches


def check_pair(rim: Rim, tyre: Tyre) -> None:
    """Refusal for a tyre that cannot be mounted on this rim. Whether the pair is approved is not asked: that is earned here."""
    if rim.bead_seat_mm is not None and tyre.bead_seat_mm is not None and rim.bead_seat_mm != tyre.bead_seat_mm:
        raise Refusal(
            f"The bead seats differ: rim {rim.bead_seat_mm} mm, tyre {tyre.bead_seat_mm} mm. This tyre does not fit on this rim.",
            "Read both sizes again.",
        )
    if tyre.width_mm <= rim.inner_mm:
        raise Refusal(
            f"The tyre, {tyre.width_mm:g} mm wide, is not wider than the rim inside, {rim.inner_mm:g} mm: it cannot be mounted.",
            "Read both sizes again.",
        )


def check_limit(limit_pa: int) -> None:
    """Refusal for a limit whose retention pressure is past the bench's end."""
    if limit_pa > LARGEST_LIMIT_PA:
        retention_pa = -(-limit_pa * PERCENT // 100)
        raise Refusal(
            f"{PERCENT} % of {show_limit(limit_pa)} is {show_minimum(retention_pa)}, above what the bench reaches, {show_limit(END_PA)}.",
            f"Limits above {show_limit(LARGEST_LIMIT_PA)} need another bench: higher transducer span, cutoff and relief valve, and a guard built for them. "
            "None is built. Test elsewhere and write the row by hand; `rimward proof schema` shows how.",
        )


def check_top(top_pa: int) -> None:
    """Refusal for a last level past the bench's end."""
    if top_pa > END_PA:
        raise Refusal(
            f"The last level, {show_limit(top_pa)}, is above what the bench reaches, {show_limit(END_PA)}.",
            "End the ramp lower with --to; the result is censored there if nothing lets go.",
        )
