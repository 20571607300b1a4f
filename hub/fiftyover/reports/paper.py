"""Words onto a terminal and onto a page that prints: the same blocks, two ways."""

from __future__ import annotations

from collections.abc import Sequence

from jinja2 import Environment, PackageLoader, StrictUndefined

from fiftyover.reports.sheet_view import Block

_PAGES = Environment(
    loader=PackageLoader("fiftyover.reports"),
    autoescape=True,
    undefined=StrictUndefined,
    trim_blocks=True,
    lstrip_blocks=True,
)


def text(title: str, blocks: Sequence[Block], notices: Sequence[str], closing: str) -> str:
    """The blocks as aligned columns for a terminal."""
    lines = [title, "=" * len(title)]
    if notices:
        lines += ["", "Look at this first", *(f"! {notice}" for notice in notices)]
    for block in blocks:
        lines += ["", block.title, "-" * len(block.title)]
        table = [row for row in (block.head, *block.rows) if row]
        widths = [
            max((len(row[place]) for row in table if place < len(row)), default=0) for place in range(_columns(table))
        ]
        lines += ["  ".join(cell.ljust(widths[place]) for place, cell in enumerate(row)).rstrip() for row in table]
    return "\n".join([*lines, "", closing])


def page(template: str, **words: object) -> str:
    """A whole HTML page: one file, no links, no scripts, prints."""
    return _PAGES.get_template(template).render(**words)


def _columns(table: Sequence[tuple[str, ...]]) -> int:
    return max((len(row) for row in table), default=0)
