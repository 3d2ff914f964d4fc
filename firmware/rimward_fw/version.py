"""Firmware version."""

FIRMWARE = "0.1.0"
