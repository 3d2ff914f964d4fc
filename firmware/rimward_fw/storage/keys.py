"""The workshop key: enrolled after a person's yes (`control.consent`), never given out; wrong tags counted and slowed.

A tag proves where a profile comes from, not that it is safe: the rig's ceiling, the range key and the cutoffs hold
without it.
"""

from rimward_protocol import profile, replies
from rimward_protocol.compat import sha256
from rimward_protocol.mac import hmac_sha256

FREE = 3  # wrong tags in a row before it gets slow
SLOWEST = 6  # doublings of one second: 64 s
COUNT_MAX = 0x3FFFFFFF
_TICKS = 0x3FFFFFFF


class Keys:
    """Main loop only."""

    def __init__(self, store, board):
        self.store = store
        self.board = board
        self._key = store.key()
        self.wrong, self._row = store.wrong_tags()
        self._since = board.ticks_ms()  # after wrong tags a restart waits as well

    def enrolled(self):
        """True once there is a key."""
        return self._key is not None

    def key(self):
        """The key, or None."""
        return self._key

    def check(self):
        """What a host may see of the key: 8 bytes of its digest; zeros without one."""
        return sha256(self._key)[:8] if self._key else bytes(8)

    def enrol(self, key):
        """Take a new key. Gives a reply code."""
        if len(key) != 32 or bytes(key) == bytes(32):
            return replies.BAD_VALUE
        code = self.store.key_put(key)
        self._key = self.store.key()
        if code == replies.OK:
            self.wrong, self._row = 0, 0
        return code

    def judge(self, data):
        """May this checked profile come in? OK, or a reply code; wrong tags make the next answers slow."""
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

    def _count(self, wrong, row):
        self.wrong, self._row = wrong, row
        self._since = self.board.ticks_ms()
        self.store.wrong_tags_put(wrong, row)

    def wait_ms(self):
        """How long until the next tag is looked at; 0 now."""
        if self._row <= FREE:
            return 0
        wait = 1000 << min(self._row - FREE - 1, SLOWEST)
        return max(0, wait - ((self.board.ticks_ms() - self._since) & _TICKS))

    def stands(self, data):
        """May this stored profile be used under the key in force? OK, or a reply code; counts nothing, never slow."""
        return profile.check_tag(self._key, data)

    def fits(self, data):
        """True if the profile carries a tag of the key in force."""
        return profile.is_tagged(data) and profile.check_tag(self._key, data) == replies.OK

    def session_key(self):
        """What chains session blocks; None without a key."""
        return hmac_sha256(self._key, b"session") if self._key else None
