"""The proof bench: planning retention and release tests, and saying what their results show."""
