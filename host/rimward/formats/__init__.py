"""The byte layouts of the protocol as `construct` structures."""
