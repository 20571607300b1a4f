"""From messages to dated frames: decode, exactly once, acknowledge after the commit, notice silence."""
