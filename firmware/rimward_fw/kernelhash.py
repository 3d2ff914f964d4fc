"""Which kernels decide: taken over their normalised source, limits and words (`rimward.kernels.fingerprint`). Written by `python -m tests.interpreter.make_spec` from the tables."""

from binascii import unhexlify

KERNEL_HASH = unhexlify("3e26eb3c1cbcc9b0")
BENCH_KERNEL_HASH = unhexlify("08aa0c73729b423b")
