"""Replies that the inflator's display shows when arming is refused."""

# number, word, what happened, what to do
REFUSALS = (
    (
        43,
        "target-above-stop",
        "the target lies above this inflator's stop reading",
        "choose a lower target",
    ),
    (
        82,
        "profile-ceiling-low",
        "the ceiling is below 30 kPa, the lowest reliable reading",
        "check the ceiling and its unit",
    ),
    (
        83,
        "profile-target",
        "the target lies above the ceiling or below 20 kPa",
        "choose a target below the ceiling",
    ),
    (
        98,
        "setting-locked",
        "the calibration is too old: the pump stays locked",
        "have the inflator calibrated",
    ),
)
