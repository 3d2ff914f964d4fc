"""Campaigns: very many simulated sessions on the firmware's own kernels, over wheels, instruments, conditions, persons and faults."""
