"""Workshop page: a local web application over the same verbs as the command line."""
