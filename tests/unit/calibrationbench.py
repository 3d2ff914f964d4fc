"""Points, gauge and due date of the invented calibrations."""

import datetime

NOMINAL = [50_000, 100_000, 200_000, 300_000, 400_000, 450_000, 490_000]
GAUGE = (1000.0, 2.0, 200.0)  # U, k, resolution
DUE = (datetime.date.today() + datetime.timedelta(days=90)).isoformat()
