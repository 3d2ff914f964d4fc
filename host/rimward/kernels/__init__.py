"""The firmware's kernels on the host, each assembled into one module."""
