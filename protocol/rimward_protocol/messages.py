"""Payload layouts of the link messages, and which reply each request gets.

A request and its reply share a sequence number; pushes count their own. A device has only `payload_of`, from the text that `linkrows` holds.
"""

from .compat import ON_MICROPYTHON, TYPE_CHECKING

if TYPE_CHECKING:
    from .shapes import Rows

if ON_MICROPYTHON:
    from . import linkrows

    def payload_of(number: int) -> "Rows | None":
        """Payload table of a message number, or None for an unknown one."""
        return linkrows.line_of(linkrows.MESSAGES, number)

else:
    # number, word, payload, numbers of the replies (ERROR may always come instead)
    from .payloads import PAYLOADS

    def payload_of(number: int) -> "Rows | None":
        """Payload table of a message number, or None for an unknown one."""
        for row in PAYLOADS:
            if row[0] == number:
                return row[2]
        return None

    def replies_to(number: int) -> tuple[int, ...]:
        """Numbers of the possible replies to a request, ERROR not included."""
        for row in PAYLOADS:
            if row[0] == number:
                return row[3]
        return ()
