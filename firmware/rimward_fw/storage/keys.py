"""Workshop key: enrolled with a person's consent (`control.consent`), never sent out; wrong tags are counted and delayed.

A tag proves the origin of a profile, not that it is safe: the compiled ceiling, the range key and the cutoffs hold
without it.
"""

from rimward_protocol import profile, replies
from rimward_protocol.compat import TYPE_CHECKING, sha256
from rimward_protocol.mac import hmac_sha256

if TYPE_CHECKING:
    from rimward_fw.shapes import Board
    from rimward_fw.storage.store import Store

FREE = 3  # wrong tags in a row before answers are delayed
SLOWEST = 6  # doublings of one second: 64 s
COUNT_MAX = 0x3FFFFFFF
_TICKS = 0x3FFFFFFF


class Keys:
    """Key and count of wrong tags. Main loop only."""

    def __init__(self, store: "Store", board: "Board") -> None:
        self.store = store
        self.board = board
        self._key = store.key()
        self.wrong, self._row = store.wrong_tags()
        self._since = board.ticks_ms()  # after wrong tags a restart also delays

    def enrolled(self) -> bool:
        """Return True once a key is enrolled."""
        return self._key is not None

    def key(self) -> bytes | None:
        """Return the key, or None."""
        return self._key

    def check(self) -> bytes:
        """Fingerprint for hosts: 8 bytes of the key's digest; zeros without a key."""
        return sha256(self._key)[:8] if self._key else bytes(8)

    def enrol(self, key: bytes) -> int:
        """Enrol a new key. Return a reply code."""
        if len(key) != 32 or bytes(key) == bytes(32):
            return replies.BAD_VALUE
        code = self.store.key_put(key)
        self._key = self.store.key()
        if code == replies.OK:
            self.wrong, self._row = 0, 0
        return code

    def judge(self, data: bytes) -> int:
        """Check a profile's tag before storing. Return OK or a reply code; wrong tags delay the next answers."""
        if self._key is None or not profile.is_tagged(data):
            return profile.check_tag(self._key, data)
        if self.wait_ms() > 0:
            return replies.SLOWED_DOWN
        code = profile.check_tag(self._key, data)
        if code == replies.TAG_WRONG:
            self._count(min(self.wrong + 1, COUNT_MAX), min(self._row + 1, FREE + SLOWEST + 1))
        elif self._row:
            self._count(self.wrong, 0)
        return code

    def _count(self, wrong: int, row: int) -> None:
        self.wrong, self._row = wrong, row
        self._since = self.board.ticks_ms()
        self.store.wrong_tags_put(wrong, row)

    def wait_ms(self) -> int:
        """Milliseconds until the next tag is checked; 0 now."""
        if self._row <= FREE:
            return 0
        wait = 1000 << min(self._row - FREE - 1, SLOWEST)
        return max(0, wait - ((self.board.ticks_ms() - self._since) & _TICKS))

    def stands(self, data: bytes) -> int:
        """Check a stored profile's tag under the key in force. Return OK or a reply code; no counting, no delay."""
        return profile.check_tag(self._key, data)

    def fits(self, data: bytes) -> bool:
        """Return True if the profile has a valid tag of the key in force."""
        return profile.is_tagged(data) and profile.check_tag(self._key, data) == replies.OK

    def session_key(self) -> bytes | None:
        """Key for chaining session blocks; None without a key."""
        return hmac_sha256(self._key, b"session") if self._key else None
