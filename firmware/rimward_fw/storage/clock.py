"""Calendar time, once somebody has said it. It is lost with the power: then sessions say 0, not a wrong date."""

from rimward_protocol import codes

_TICKS = 0x3FFFFFFF
UNIX_MAX = 0xFFFFFFFF
ZONE_MAX_MIN = 14 * 60


class Clock:
    """Ask `unix_s` at least once in six days, or the board's millisecond counter wraps unseen. Main loop only."""

    def __init__(self, board, store):
        self.board = board
        self.zone_min = 0
        self._unix_s = 0
        self._since = 0

    def set(self, unix_s, zone_min):
        """Takes the time: seconds UTC, and how many minutes local time is ahead. False for what cannot be."""
        if not 0 < unix_s <= UNIX_MAX or not -ZONE_MAX_MIN <= zone_min <= ZONE_MAX_MIN:
            return False
        self._unix_s = unix_s
        self._since = self.board.ticks_ms()
        self.zone_min = zone_min
        return True

    def unix_s(self):
        """Seconds since 1970, UTC; 0 when nobody has said it."""
        if self._unix_s == 0:
            return getattr(self.board, "unix_s", 0)  # a simulated board may be born knowing it
        passed = ((self.board.ticks_ms() - self._since) & _TICKS) // 1000
        self._since = (self._since + passed * 1000) & _TICKS
        self._unix_s = min(UNIX_MAX, self._unix_s + passed)
        return self._unix_s

    def day(self):
        """Days since 2020-01-01; negative when nobody has said the time."""
        return (self.unix_s() - codes.EPOCH_DAY_UNIX_S) // 86400
