"""Looking at ports: is somebody listening there, and is one free to listen on."""

from __future__ import annotations

import errno
import socket

from ..errors import BrokerError


def accepts(host: str, port: int, hold_s: float = 0.0) -> bool:
    """Say whether something takes a connection there and, if asked, keeps it open for `hold_s` without a word."""
    try:
        with socket.create_connection((host, port), 1.0) as line:
            if hold_s <= 0:
                return True
            line.settimeout(hold_s)
            return _keeps(line)
    except OSError:
        return False


def _keeps(line: socket.socket) -> bool:
    try:
        return line.recv(1) != b""
    except TimeoutError:
        return True


def free_port(host: str, wanted: int = 0) -> int:
    """Give the wanted port if nobody listens on it, any free one for 0; BrokerError says what to do else."""
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as trial:
        trial.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            trial.bind((host, wanted))
        except OSError as fault:
            raise BrokerError(_why(host, wanted, fault)) from fault
        return int(trial.getsockname()[1])


def _why(host: str, port: int, fault: OSError) -> str:
    if fault.errno == errno.EADDRINUSE:
        return f"port {port} on {host} is in use by another program; end that one or choose another port"
    if fault.errno == errno.EACCES:
        return f"port {port} on {host} needs rights this account does not have; choose one above 1023"
    return f"port {port} on {host} cannot be opened ({fault.strerror}); choose another address or port"
