"""What the broker's client says to a person: one sentence each, with the remedy, never with a secret."""

from __future__ import annotations

import socket
import ssl


def up(where: str) -> str:
    """Say that the session stands."""
    return f"signed in to the broker at {where}"


def unreachable(where: str, fault: Exception) -> str:
    """Say why no connection came about."""
    if isinstance(fault, ssl.SSLCertVerificationError):
        return (
            f"the broker at {where} shows a certificate that is not to be trusted ({fault.verify_message}); "
            "check host, ca and the date of this machine"
        )
    if isinstance(fault, ssl.SSLError):
        return f"the broker at {where} does not speak TLS there, or not with us; check port and tls"
    if isinstance(fault, ConnectionResetError):
        return f"the broker at {where} hung up at the first word; check port and tls"
    if isinstance(fault, FileNotFoundError):
        return "the certificate file named by ca does not exist; run `fiftyover setup` or name the right one"
    if isinstance(fault, socket.gaierror):
        return f"the broker's name in {where} is not known in this network; check host"
    if isinstance(fault, TimeoutError):
        return f"the broker at {where} does not answer; check host, cable and firewall"
    why = getattr(fault, "strerror", None) or str(fault)
    return f"the broker at {where} cannot be reached ({why}); is it running, and are host and port right"


def refused(where: str, user: str, reason: str) -> str:
    """Say that the broker answered no."""
    if reason in ("Not authorized", "Bad user name or password"):
        who = f"user {user!r}" if user else "a client without a name"
        return f"the broker at {where} refuses {who}: name or password is wrong; check user and password_file"
    return f"the broker at {where} refuses the hub ({reason.lower()}); see its log"


def unreadable(where: str, user: str) -> str:
    """Say that the account may not read what the hub lives on."""
    return f"the broker at {where} does not let user {user!r} read the kits' topics; check its access list"


def taken_over(client_id: str) -> str:
    """Say that somebody else signed in under the hub's name."""
    return (
        f"another hub signed in to the broker as {client_id!r} and took the session; this one withdraws heat and stays "
        "away: stop the other one, then start this again"
    )


def no_answer(where: str) -> str:
    """Say that the broker fell silent."""
    return f"the broker at {where} stopped answering; is its machine up"


def ended(where: str, accepted: bool) -> str:
    """Say that the connection was closed without a reason given."""
    if accepted:
        return f"the broker at {where} closed the connection; is it still running"
    return f"the broker at {where} hung up without an answer: name or password may be wrong, or it is no MQTT broker"


def fault(where: str, error: Exception) -> str:
    """Say that our own side failed."""
    return f"the session with the broker at {where} broke ({type(error).__name__}: {error}); it is tried again"


def signed_off() -> str:
    """Say that the hub itself ended the session."""
    return "the hub signed off from the broker"


def thread_ended() -> str:
    """Say that nothing will mend itself any more."""
    return "the hub's connection to the broker ended for good; start the hub again"
