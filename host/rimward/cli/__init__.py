"""The command line: the table of commands, one module for each, and the check of the installation."""
