"""Numbers of the events this firmware records; their words stand in the protocol, a test holds them together."""

from rimward_protocol.compat import const

BOOT = const(1)
WHEEL_CHOSEN = const(2)
ARMED = const(3)
RUN_HELD = const(5)
RUN_RELEASED = const(6)
PUMP_ON = const(7)
PUMP_OFF = const(8)
SEAT_PAUSE_REACHED = const(9)
BEAD_CONFIRMED = const(10)
TYRE_SEEN = const(11)
TARGET_LOWERED = const(14)
SETTLED = const(18)
TRIPPED = const(20)
CLEARED = const(21)
ANSWER = const(25)
PROFILE_STORED = const(26)
PROFILE_DELETED = const(27)
SETTING_STORED = const(28)
KEY_ENROLLED = const(29)
TAG_REFUSED = const(30)
