"""New values of settings as the display names them when it asks for consent."""

from rimward_protocol.compat import TYPE_CHECKING

from rimward_fw.control import sense

if TYPE_CHECKING:
    from collections.abc import Sequence

# text on the display; {} is the value, written by `setting_text`
TEXTS = {
    sense.CALIBRATION_A: "calibration A {}",
    sense.CALIBRATION_B: "calibration B {}",
    sense.GUARD_BAND: "guard band {}",
    sense.BAROMETER: "barometer {}",
    sense.SOURCE: "air source {}",
    sense.AIR: "air thermometer {}",
    sense.ENTRY: "unregistered wheels {}",
    sense.BRING_UP: "bring-up {}",
    sense.BASELINE: "vent baseline {}",
}


def setting_text(number: int, numbers: "Sequence[int]") -> str:
    """Return a setting's new value as display text. `numbers`: as unpacked from its bytes."""
    first = numbers[0]
    if number in (sense.CALIBRATION_A, sense.CALIBRATION_B):
        shown = "gain " + thousandth(first * 125 // 8192) + " offset " + str(numbers[1]) + " Pa"
    elif number == sense.SOURCE:
        shown = (
            "line " + str(numbers[2] // 1000) + " kPa"
            if first
            else "compressor " + str(numbers[1] // 1000) + " L/min"
        )
    elif number in (sense.ENTRY,):
        shown = "may be filled" if first else "are refused"
    else:
        shown = str(first) + {sense.BRING_UP: "", sense.BASELINE: " ms", sense.AIR: " cK"}.get(
            number, " Pa"
        )
    return TEXTS[number].replace("{}", shown)


def thousandth(value: int) -> str:
    """Format a count of thousandths with three decimals."""
    return str(value // 1000) + "." + ("00" + str(value % 1000))[-3:]
