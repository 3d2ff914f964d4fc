"""Constants of the simulated inflator: parameter -> (lowest, nominal, highest). Made by `python -m hardware.plant --write` from hardware/."""

BOARD: dict[str, tuple[float, float, float]] = {
    "fad_l_min": (10, 30, 30),
    "coast_s": (0.03, 0.045, 0.06),
    "line_pa": (0, 900000, 1e+06),
    "line_c": (0.16, 0.2, 0.22),
    "line_b": (0.2, 0.3, 0.5),
    "outlet_b": (0.2, 0.3, 0.5),
    "valve_open_s": (0.01, 0.012, 0.02),
    "valve_shut_s": (0.01, 0.015, 0.02),
    "valve_dead_open_s": (0.005, 0.015, 0.025),
    "valve_dead_shut_s": (0.005, 0.015, 0.025),
    "vent_c": (0.68, 0.8, 0.92),
    "relief_c": (1.2, 1.5, 2),
    "relief_low_pa": (572300, 590000, 607700),
    "relief_high_pa": (1.0185e+06, 1.05e+06, 1.0815e+06),
    "manifold_ml": (40, 60, 90),
    "hose_c": (1.2, 1.5, 1.8),
    "chuck_c": (0.64, 0.8, 0.96),
    "core_c": (0.1, 0.25, 0.5),
    "spin_up_s": (0.05, 0.08, 0.1),
    "cutoff_tau_s": (0.0008, 0.001, 0.0012),
    "supply_v": (4.9, 5, 5.1),
    "gate_drop_s": (0.00460983, 0.00600844, 0.00756855),
    "relay_off_s": (0.00107158, 0.00341158, 0.011525),
    "coil_decay_s": (8.73512e-05, 0.000870377, 0.00321016),
    "cutoff_low_pa": (501394, 518286, 534376),
    "cutoff_high_pa": (928299, 944080, 959619),
    "cutoff_low_top_pa": (550000, 550000, 550000),
    "cutoff_high_top_pa": (990000, 990000, 990000),
    "b_divider": (0.6, 0.6, 0.6),
}


def nominal(name: str) -> float:
    """Nominal value of a parameter of the table."""
    return BOARD[name][1]
