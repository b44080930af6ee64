"""What runs on the I/O board (MicroPython). `frames`, `chips` and `logic` are pure and run on CPython too; only `main` knows pins."""
