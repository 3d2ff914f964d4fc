"""The firmware's kernels on the host: assembled into one module each."""
