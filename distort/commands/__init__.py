"""The command line: one short file a command, each with `add_parser` and `run`."""
