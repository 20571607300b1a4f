"""From kit messages to dated frames, exactly once, and the acknowledgement of what is on the disk."""

from .acks import Acks
from .dating import Dating
from .freshness import Freshness
from .inbox import Inbox, KitNote, Refused

__all__ = ["Acks", "Dating", "Freshness", "Inbox", "KitNote", "Refused"]
