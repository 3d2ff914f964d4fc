"""Wheel tags: content, QR code with the profile, and reading one from a picture."""
