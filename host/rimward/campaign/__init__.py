"""Campaigns: very many simulated sessions by the firmware's own kernels, over wheels, instruments, conditions, persons and faults."""
