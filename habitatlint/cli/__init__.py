"""The command line: arguments, exit status, and the only printing."""
