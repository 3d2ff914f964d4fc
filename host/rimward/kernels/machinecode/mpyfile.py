"""Machine code of the functions in a .mpy file, replaced: MicroPython's documentation, "MicroPython .mpy files", version 6."""

from collections.abc import Callable

VIPER = 2  # kind of a function's code: its two low bits
HAS_CHILDREN = 4
COUNTED = {5: 1, 6: 1, 7: 0, 8: 0, 9: 0}  # constants that give their length -> bytes behind that
BARE, TUPLE = range(5), 10


class _Copy:
    """Reader that copies what it passes."""

    def __init__(self, data: bytes) -> None:
        self.data, self.at, self.out = data, 0, bytearray()

    def take(self, count: int) -> bytes:
        """Next bytes, not copied. ValueError where the file ends."""
        piece = self.data[self.at : self.at + count]
        if len(piece) != count:
            raise ValueError("Not a whole .mpy file: compile it again.")
        self.at += count
        return piece

    def copy(self, count: int) -> bytes:
        """Copy the next bytes. Return them."""
        piece = self.take(count)
        self.out += piece
        return piece

    def number(self) -> int:
        """Read a number of seven bits a byte, most significant first, without copying it."""
        value = 0
        while True:
            byte = self.take(1)[0]
            value = value << 7 | byte & 127
            if byte < 128:
                return value

    def put(self, value: int) -> int:
        """Write a number. Return it."""
        rest, row = value >> 7, [value & 127]
        while rest:
            row.insert(0, rest & 127 | 128)
            rest >>= 7
        self.out += bytes(row)
        return value


def with_code(data: bytes, change: Callable[[bytes], bytes]) -> bytes:
    """Return a .mpy file with `change` applied to the machine code of each viper function but the module's own body, which runs once."""
    copy = _Copy(data)
    copy.copy(4)
    names, constants = copy.put(copy.number()), copy.put(copy.number())
    for _ in range(names):
        length = copy.put(copy.number())
        copy.copy(0 if length & 1 else (length >> 1) + 1)
    for _ in range(constants):
        _constant(copy)
    _function(copy, None, change)
    if copy.at != len(data):
        raise ValueError("Not a .mpy file that mpy-cross makes from Python: bytes are left over.")
    return bytes(copy.out)


def _constant(copy: _Copy) -> None:
    kind = copy.copy(1)[0]
    if kind in BARE:
        return
    count = copy.put(copy.number())
    if kind == TUPLE:
        for _ in range(count):
            _constant(copy)
    else:
        copy.copy(count + COUNTED[kind])


def _function(
    copy: _Copy, change: Callable[[bytes], bytes] | None, inside: Callable[[bytes], bytes]
) -> None:
    head = copy.number()
    code = copy.take(head >> 3)
    if head & 3 == VIPER and change is not None:
        code = change(code)
    copy.put(len(code) << 3 | head & 7)
    copy.out += code
    if head & 3 == VIPER:
        copy.put(copy.number())  # flags
    elif head & 3:
        raise ValueError("Only bytecode and viper functions are expected.")
    if head & HAS_CHILDREN:
        for _ in range(copy.put(copy.number())):
            _function(copy, inside, inside)
