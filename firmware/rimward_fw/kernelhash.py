"""Which kernels decide: taken over their normalised source, limits and words (`rimward.kernels.fingerprint`). Written by `python -m tests.interpreter.make_spec` from the tables."""

from binascii import unhexlify

KERNEL_HASH = unhexlify("4992343821f84e03")
BENCH_KERNEL_HASH = unhexlify("4a4dcf3cea6d8454")
