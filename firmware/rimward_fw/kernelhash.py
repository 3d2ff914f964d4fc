"""Which kernels decide: taken over their normalised source, limits and words (`rimward.kernels.fingerprint`). Written by `python -m tests.interpreter.make_spec` from the tables."""

from binascii import unhexlify

KERNEL_HASH = unhexlify("b0e8114f7e7885da")
BENCH_KERNEL_HASH = unhexlify("08aa0c73729b423b")
