"""Which kernels decide: taken over their normalised source, limits and words (`rimward.kernels.fingerprint`). Written by `python -m tests.interpreter.make_spec` from the tables."""

from binascii import unhexlify

KERNEL_HASH = unhexlify("7c9b56e0c70ea551")
BENCH_KERNEL_HASH = unhexlify("08aa0c73729b423b")
