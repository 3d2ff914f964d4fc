"""Recorded sessions: fills by the virtual inflator, kept with the decisions that the kernels made."""
