"""The firmware's version."""

FIRMWARE = "0.1.0"
