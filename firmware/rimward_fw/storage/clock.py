"""Calendar time, set from outside and lost with the power: sessions then carry 0, not a wrong date."""

from rimward_protocol import codes
from rimward_protocol.compat import TYPE_CHECKING

if TYPE_CHECKING:
    from rimward_fw.shapes import Board
    from rimward_fw.storage.store import Store

_TICKS = 0x3FFFFFFF
UNIX_MAX = 0xFFFFFFFF
ZONE_MAX_MIN = 14 * 60


class Clock:
    """Calendar clock. Call `unix_s` at least once in six days, or a wrap of the board's milliseconds is missed. Main loop only."""

    def __init__(self, board: "Board", store: "Store") -> None:
        self.board = board
        self.zone_min = 0
        self._unix_s = 0
        self._since = 0

    def set(self, unix_s: int, zone_min: int) -> bool:
        """Set the time: seconds UTC, and minutes by which local time is ahead. False for an impossible value."""
        if not 0 < unix_s <= UNIX_MAX or not -ZONE_MAX_MIN <= zone_min <= ZONE_MAX_MIN:
            return False
        self._unix_s = unix_s
        self._since = self.board.ticks_ms()
        self.zone_min = zone_min
        return True

    def unix_s(self) -> int:
        """Seconds since 1970, UTC; 0 before it is set."""
        if self._unix_s == 0:
            return getattr(self.board, "unix_s", 0)  # a simulated board may supply it
        passed = ((self.board.ticks_ms() - self._since) & _TICKS) // 1000
        self._since = (self._since + passed * 1000) & _TICKS
        self._unix_s = min(UNIX_MAX, self._unix_s + passed)
        return self._unix_s

    def day(self) -> int:
        """Days since 2020-01-01; negative before the time is set."""
        return (self.unix_s() - codes.EPOCH_DAY_UNIX_S) // 86400
