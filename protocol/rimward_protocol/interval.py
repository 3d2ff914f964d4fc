"""Where the tyre's pressure lies behind a closed core: its reading holds the core's closing pressure too, which nothing shows.

`tests.bench.fills` counts how many of its fills end within: with exact instruments, 99 in 100 or more.
"""

from .compat import const

BELOW_PA = const(25_000)  # a core that closes at 28 kPa where 6 are taken, and heat
ABOVE_PA = const(16_000)  # a tyre that began at up to 20 kPa and is taken for empty
