"""Ports of this computer for servers that a tool starts."""

import socket


def free_port() -> int:
    """A port of 127.0.0.1 that nothing listens on now."""
    with socket.socket() as s:
        s.bind(("127.0.0.1", 0))
        return s.getsockname()[1]
