"""Numbers: what the kernels' subset lacks, as functions that are written out where they are called. Part of the fill kernel."""


def _least(a, b):
    """Return the smaller of two integers."""
    return a if a < b else b


def _most(a, b):
    """Return the larger of two integers."""
    return a if a > b else b


def _size(a):
    """Magnitude of an integer."""
    return a if a >= 0 else -a


def _within(a, low, high):
    """Return `a` kept between `low` and `high`."""
    return low if a < low else high if a > high else a

