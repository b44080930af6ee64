"""One file per command: `arguments(parser)` adds its arguments, `run(args)` does it and returns the exit status."""
