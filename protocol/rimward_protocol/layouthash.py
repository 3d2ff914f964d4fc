"""Written by `python -m tests.interpreter.make_spec`; a test on every interpreter holds it against `canonical`."""

from binascii import unhexlify

LAYOUT_HASH = unhexlify("0006dfde99059891")
