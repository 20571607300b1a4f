"""The curves of a batch as one SVG picture: chamber and cores over the hours since hanging, pulls marked."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from markupsafe import Markup, escape

from fiftyover.reports.figures import Figures
from fiftyover.store import DatedFrame

WIDTH, HEIGHT, LEFT, BOTTOM, TOP = 900.0, 320.0, 46.0, 26.0, 10.0
POINTS = 400
STEPS = (5.0, 10.0, 20.0, 25.0, 50.0)


def svg(frames: Sequence[DatedFrame], record: Mapping[str, Any], units: str) -> Markup:
    """The picture; empty without frames. Every curve carries its name as text beside its end, not only a colour."""
    if len(frames) < 2:
        return Markup("")
    figures = Figures(units)
    zero_ms, end_ms = frames[0].utc_ms, frames[-1].utc_ms
    kept = frames[:: max(1, len(frames) // POINTS)]
    channels = max(len(frame.t) for frame in kept)
    shown = [figures.degrees(t) for frame in kept for t in frame.t if t is not None]
    low, high, step = _scale(min(shown), max(shown))
    across = (WIDTH - LEFT - 60.0) / max(1.0, end_ms - zero_ms)
    down = (HEIGHT - BOTTOM - TOP) / (high - low)

    def x(utc_ms: float) -> float:
        return LEFT + (utc_ms - zero_ms) * across

    def y(value: float) -> float:
        return HEIGHT - BOTTOM - (value - low) * down

    parts = [
        f'<svg class="curves" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" aria-label="Chamber and cores over time">'
    ]
    value = low
    while value <= high + 1e-9:
        parts.append(f'<path class="grid" d="M{LEFT:g} {y(value):.1f}H{WIDTH - 60:g}"/>')
        parts.append(f'<text x="{LEFT - 5:g}" y="{y(value) + 4:.1f}" text-anchor="end">{value:g}</text>')
        value += step
    for hour in range(int((end_ms - zero_ms) / 3.6e6) + 1):
        at = x(zero_ms + hour * 3.6e6)
        parts.append(f'<text x="{at:.1f}" y="{HEIGHT - 8:g}" text-anchor="middle">{hour}</text>')
    names = {chub["probe"]: f"chub {chub['number']}" for chub in record["chubs"] if chub["probe"] is not None}
    for channel in range(channels):
        parts += _curve(
            kept, channel, names.get(channel, "chamber" if channel == 0 else f"core {channel}"), x, y, figures
        )
    for row, chub in enumerate(record["chubs"]):
        if chub["pulled_s"] is not None:
            at = x(zero_ms + chub["pulled_s"] * 1000.0)
            parts.append(f'<path class="pull" d="M{at:.1f} {TOP:g}V{HEIGHT - BOTTOM:g}"/>')
            parts.append(f'<text x="{at + 2:.1f}" y="{TOP + 9 + 10 * (row % 12):g}">{chub["number"]}</text>')
    unit = "°C" if figures.metric else "°F"
    parts.append(f'<text x="4" y="{TOP + 9:g}">{unit}</text><text x="{WIDTH - 58:g}" y="{HEIGHT - 8:g}">h</text></svg>')
    return Markup("".join(parts))  # noqa: S704 - every text in it is a number or escaped


def _curve(kept: Sequence[DatedFrame], channel: int, name: str, x: Any, y: Any, figures: Figures) -> list[str]:
    path, pen, last = [], "M", None
    for frame in kept:
        t = frame.t[channel] if channel < len(frame.t) else None
        if t is None:
            pen = "M"
            continue
        last = (x(frame.utc_ms), y(figures.degrees(t)))
        path.append(f"{pen}{last[0]:.1f} {last[1]:.1f}")
        pen = "L"
    if last is None:
        return []
    kind = "chamber" if channel == 0 else f"core c{channel % 6}"
    name_y = last[1] + 3 - 10 * max(0, channel - 1)  # cold chubs end on one spot: their names are stacked
    return [
        f'<path class="{kind}" d="{"".join(path)}"/>',
        f'<text class="{kind} name" x="{last[0] + 3:.1f}" y="{name_y:.1f}">{escape(name)}</text>',
    ]


def _scale(low: float, high: float) -> tuple[float, float, float]:
    step = next((one for one in STEPS if (high - low) / one <= 10.0), 100.0)
    return step * int(low // step), step * (int(high // step) + 1), step
