"""A small TCP proxy between the kit and the broker: the Wi-Fi that can be cut or can stall. 127.0.0.1 only."""

import contextlib
import selectors
import socket
import threading

PASS, STALL, CUT = "pass", "stall", "cut"
CHUNK = 65536
GRANT = b"/heater/grant/set"


class Proxy:
    """Forwards to `target_port`. `stall`: bytes wait and come late when it ends; `cut`: connections are reset.

    A stall of the permits alone lets readings and receipts through, so that the hub goes on deciding and what waits
    are permits that the kit has never seen.
    """

    def __init__(self, target_port):
        self.target_port = target_port
        self.state = PASS
        self.forwarded = 0
        self.released = 0
        self._grants_only = False
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.port = self._listener.getsockname()[1]
        self._selector = selectors.DefaultSelector()
        self._selector.register(self._listener, selectors.EVENT_READ, None)
        self._waiting = []  # (socket to, bytes) of a stall, in order
        self._ending = threading.Event()
        self._lock = threading.Lock()
        self._pairs = []
        self._thread = threading.Thread(target=self._serve, name="proxy", daemon=True)
        self._thread.start()

    def stall(self, grants_only=False):
        with self._lock:
            self.state = STALL
            self._grants_only = grants_only

    def cut(self):
        with self._lock:
            self.state = CUT
            for one in list(self._pairs):
                self._drop(one)
            self._waiting.clear()

    def reset(self):
        """End every connection; new ones are taken at once."""
        with self._lock:
            for one in list(self._pairs):
                self._drop(one)

    def mend(self):
        """Forward again; what waited in a stall is delivered now, late."""
        with self._lock:
            self.state = PASS
            waiting, self._waiting = self._waiting, []
            self.released += sum(data.count(GRANT) for _, data in waiting)
            for far, data in waiting:
                self._send(far, data)

    def close(self):
        self._ending.set()
        self._thread.join(5)
        with self._lock:
            for one in list(self._pairs):
                self._drop(one)
        self._listener.close()
        self._selector.close()

    def _serve(self):
        while not self._ending.is_set():
            for key, _ in self._selector.select(0.05):
                with self._lock:
                    if key.data is None:
                        self._accept()
                    elif key.data in self._pairs:
                        self._move(key.fileobj, key.data)

    def _accept(self):
        near, _ = self._listener.accept()
        if self.state == CUT:
            near.close()
            return
        try:
            far = socket.create_connection(("127.0.0.1", self.target_port), 2)
        except OSError:
            near.close()
            return
        pair = (near, far)
        for one in pair:
            one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._selector.register(one, selectors.EVENT_READ, pair)
        self._pairs.append(pair)

    def _move(self, from_, pair):
        far = pair[1] if from_ is pair[0] else pair[0]
        try:
            data = from_.recv(CHUNK)
        except OSError:
            data = b""
        if not data:
            self._drop(pair)
        elif self.state == STALL and not (self._grants_only and GRANT not in data):
            self._waiting.append((far, data))
        else:
            self._send(far, data)

    def _send(self, far, data):
        self.forwarded += len(data)
        pair = next((one for one in self._pairs if far in one), None)
        if pair is not None:
            try:
                far.sendall(data)
            except OSError:
                self._drop(pair)

    def _drop(self, pair):
        self._pairs.remove(pair)
        for one in pair:
            with contextlib.suppress(KeyError, ValueError):
                self._selector.unregister(one)
            one.close()
