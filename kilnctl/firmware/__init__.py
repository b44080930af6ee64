"""What runs on the I/O board (MicroPython). `frames`, `chips`, `meter` and `logic` are pure and run on CPython too;
only `main` knows pins."""
