"""The local socket, served by a thread of its own: nothing that comes in here can delay a tick."""

import contextlib
import json
import os
import selectors
import socket
import stat
import threading
import time
from collections.abc import Callable
from pathlib import Path
from queue import SimpleQueue

from ..errors import KilnctlError
from .operating_system import is_socket
from .socket_messages import LONGEST_LINE, BadRequest, encode, parse

#: Most connections; beyond that, the one that was silent longest is closed.
MOST_CONNECTIONS = 100
#: Most bytes that wait for a client that does not read; beyond that, its connection is closed.
MOST_WAITING = 1_000_000


class _Client:
    __slots__ = ("connection", "heard_s", "incoming", "outgoing", "skipping")

    def __init__(self, connection: socket.socket):
        self.connection, self.incoming, self.outgoing = connection, bytearray(), bytearray()
        self.heard_s, self.skipping = time.monotonic(), False


class SocketServer:
    """Listens at `path`. `answer(request)` gives the answer's mapping, quickly, in this thread."""

    def __init__(self, path: Path, answer: Callable[[dict], dict], mode: int = 0o660):
        self.path, self._answer = path, answer
        self._listener = _listen(path, mode)
        self._selector = selectors.DefaultSelector()
        self._waker, wakes = socket.socketpair()
        self._wakes = wakes
        for s in (self._listener, wakes):
            s.setblocking(False)
        self._selector.register(self._listener, selectors.EVENT_READ, None)
        self._selector.register(wakes, selectors.EVENT_READ, wakes)
        self._clients: dict[int, _Client] = {}
        self._closing = False
        self._mode, self._anew = mode, SimpleQueue()
        self._place = _identity(path)
        self._thread = threading.Thread(target=self._serve, name="socket", daemon=True)
        self._thread.start()

    def renewed(self) -> str:
        """Listen again if the socket's name is gone or belongs to another process. Returns why that fails; empty when
        all is well. Waits for the disk, so call it from a thread of its own."""
        if _identity(self.path) == self._place:
            return ""
        try:
            listener = _listen(self.path, self._mode)
        except KilnctlError as error:
            return str(error)
        self._place = _identity(self.path)
        listener.setblocking(False)
        self._anew.put(listener)
        with contextlib.suppress(OSError):
            self._waker.send(b"a")
        return ""

    def close(self) -> None:
        """Stop listening, close all connections, and remove the socket."""
        self._closing = True
        with contextlib.suppress(OSError):
            self._waker.send(b"x")
        self._thread.join(2.0)
        with contextlib.suppress(OSError):
            if is_socket(self.path):
                self.path.unlink()

    # ---- the thread ----

    def _serve(self) -> None:
        while not self._closing:
            for key, events in self._selector.select(1.0):
                if key.fileobj is self._listener:
                    self._accept()
                elif key.fileobj is self._wakes:
                    self._take_listener()
                elif isinstance(key.data, _Client):
                    self._attend(key.data, events)
        for client in list(self._clients.values()):
            self._drop(client)
        self._selector.close()
        for s in (self._listener, self._wakes, self._waker):
            s.close()

    def _take_listener(self) -> None:
        """Replace the listener whose name is gone by the one that `renewed` has opened."""
        with contextlib.suppress(OSError):
            self._wakes.recv(64)
        while not self._anew.empty():
            self._selector.unregister(self._listener)
            self._listener.close()
            self._listener = self._anew.get()
            self._selector.register(self._listener, selectors.EVENT_READ, None)

    def _accept(self) -> None:
        try:
            connection, _ = self._listener.accept()
        except OSError:
            return
        connection.setblocking(False)
        if len(self._clients) >= MOST_CONNECTIONS:
            self._drop(min(self._clients.values(), key=lambda c: c.heard_s))
        client = _Client(connection)
        self._clients[connection.fileno()] = client
        self._selector.register(connection, selectors.EVENT_READ, client)

    def _drop(self, client: _Client) -> None:
        self._clients.pop(client.connection.fileno(), None)
        with contextlib.suppress(KeyError, ValueError):
            self._selector.unregister(client.connection)
        client.connection.close()

    def _attend(self, client: _Client, events: int) -> None:
        if client.connection.fileno() < 0:
            return
        try:
            stays = self._exchange(client, events)
        except BlockingIOError:
            stays = True
        except OSError:
            stays = False
        if not stays or len(client.outgoing) > MOST_WAITING:
            self._drop(client)
            return
        wanted = selectors.EVENT_READ | (selectors.EVENT_WRITE if client.outgoing else 0)
        self._selector.modify(client.connection, wanted, client)

    def _exchange(self, client: _Client, events: int) -> bool:
        """Read what has come and send what waits; whether the client is still there. Raises OSError."""
        if events & selectors.EVENT_READ:
            data = client.connection.recv(65536)
            if not data:
                return False
            client.heard_s = time.monotonic()
            self._take(client, data)
        if client.outgoing:
            sent = client.connection.send(client.outgoing)
            del client.outgoing[:sent]
        return True

    def _take(self, client: _Client, data: bytes) -> None:
        client.incoming += data
        while True:
            end = client.incoming.find(b"\n")
            if end < 0:
                if len(client.incoming) > LONGEST_LINE:
                    # No request is that long: drop it and the rest of its line.
                    client.incoming.clear()
                    client.skipping = True
                return
            line = bytes(client.incoming[:end])
            del client.incoming[: end + 1]
            if client.skipping:
                client.skipping, line = False, b" " * (LONGEST_LINE + 1)
            if line.strip() or len(line) > LONGEST_LINE:
                client.outgoing += self._one(line)

    def _one(self, line: bytes) -> bytes:
        try:
            return encode(self._answer(parse(line)))
        except BadRequest as error:
            return encode({"ok": False, "words": str(error)})
        except KilnctlError as error:
            return encode({"ok": False, "words": str(error)})
        except Exception as error:  # a fault of ours in an answer must not keep a later `stop` out
            return encode({"ok": False, "words": f"kilnctl met a fault of its own: {type(error).__name__}: {error}"})


def _identity(path: Path) -> tuple[int, int] | None:
    """Which socket stands at the path; None where there is none."""
    try:
        status = path.stat()
    except OSError:
        return None
    return (status.st_dev, status.st_ino) if stat.S_ISSOCK(status.st_mode) else None


def _listen(path: Path, mode: int) -> socket.socket:
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_STREAM | socket.SOCK_CLOEXEC)
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o750)
        if is_socket(path):
            path.unlink()  # left by a killed process: this one holds the lock, so no process listens there
        before = os.umask(0o777 & ~mode)
        try:
            listener.bind(str(path))
        finally:
            os.umask(before)
        listener.listen(64)
    except OSError as error:
        listener.close()
        raise KilnctlError(f"{path}: no socket can be opened there: {error.strerror or error}") from None
    return listener


def ask(path: Path, request: dict, patience_s: float = 5.0) -> dict:
    """One question to a service, from a client. Raises KilnctlError if no service answers."""
    try:
        with socket.socket(socket.AF_UNIX, socket.SOCK_STREAM) as s:
            s.settimeout(patience_s)
            until = time.monotonic() + patience_s
            while True:
                try:
                    s.connect(str(path))
                    break
                except BlockingIOError:
                    # More clients are connecting at this moment than may wait.
                    if time.monotonic() > until:
                        raise
                    time.sleep(0.02)
            s.sendall(encode(request))
            data = bytearray()
            while not data.endswith(b"\n"):
                part = s.recv(65536)
                if not part:
                    break
                data += part
            return json.loads(data)
    except (FileNotFoundError, ConnectionRefusedError):
        raise KilnctlError(
            f"no kilnctl service answers at {path}: is it running? "
            "(`kilnctl run OVEN SCHEDULE`, or `kilnctl run OVEN --idle`)"
        ) from None
    except PermissionError:
        raise KilnctlError(f"{path}: you are not allowed to speak to this service (its group is)") from None
    except (OSError, ValueError) as error:
        raise KilnctlError(f"{path}: the service did not answer: {error}") from None


def ask_to_start(path: Path, request: dict, patience_s: float = 60.0) -> dict:
    """Ask for a start and wait for its result. Returns the last answer, still "pending" after the longest wait."""
    answer = ask(path, request)
    until = time.monotonic() + patience_s
    while answer.get("pending") and time.monotonic() < until:
        time.sleep(0.1)
        answer = ask(path, {"ask": "prepared"})
    return answer
