"""An address as a square code (QR, ISO/IEC 18004): for a phone's camera, on the page and on the terminal."""

from __future__ import annotations

import io

import segno

EDGE = 4  # the quiet zone that the standard asks for, in modules


def square(text: str) -> dict[str, object]:
    """Side in modules, edge included, and the path of the dark ones, for one SVG path."""
    rows = list(segno.make(text, micro=False).matrix)
    path = "".join(
        f"M{x + EDGE} {y + EDGE}h1v1h-1z" for y, row in enumerate(rows) for x, dark in enumerate(row) if dark
    )
    return {"side": len(rows) + 2 * EDGE, "path": path}


def for_terminal(text: str) -> str:
    """The same drawn with block characters."""
    out = io.StringIO()
    segno.make(text, micro=False).terminal(out, compact=True)
    return out.getvalue()
