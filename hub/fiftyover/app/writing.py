"""What the writing thread does once a second, for one smoker or for many: commit, then acknowledge."""

from __future__ import annotations

from fiftyover_kit.contract import messages, topics

from .parts import Parts


def saved(parts: Parts) -> list[str]:
    """Commit, acknowledge what is on the disk, and give what the store has to tell as news."""
    parts.store.commit()
    for kit, ack in parts.inbox.acks_due():
        parts.client.publish(topics.ack_set(kit), messages.encode_ack(ack), 0)
    notices, problem = parts.store.take_notices(), parts.store.problem
    # The problem itself is told as long as it stands.
    return [sentence for sentence in notices if problem is None or sentence != str(problem)]
