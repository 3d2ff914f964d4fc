"""Types of what firmware and protocol pass around, for mypy and readers: read under `TYPE_CHECKING` only, and never on a board."""

from collections.abc import Sequence
from typing import Any, Protocol, TypeAlias

Buffer: TypeAlias = bytes | bytearray | memoryview
Writable: TypeAlias = bytearray | memoryview
# Rows (field, code, unit, meaning) of a record's layout, of which a device keeps one text of fields and codes.
Rows: TypeAlias = tuple[tuple[str, str, str, str], ...]
Layout: TypeAlias = str | Sequence[tuple[str, ...]]
Record: TypeAlias = dict[str, Any]  # field -> value
Table: TypeAlias = Sequence[tuple[Any, ...]]  # rows (number, word, ...) of an enumeration


class Words(Protocol):
    """Array of int32: state or inputs of a kernel, in whatever form an interpreter holds it."""

    def __len__(self) -> int:
        """Return the number of words."""
        ...

    def __getitem__(self, at: int, /) -> int:
        """Return one word."""
        ...

    def __setitem__(self, at: int, value: int, /) -> None:
        """Set one word."""
        ...
