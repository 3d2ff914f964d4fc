"""Runs of the firmware and its kernels, as they are, against the plant."""
