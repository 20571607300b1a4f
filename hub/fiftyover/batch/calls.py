"""Every half minute: how each chub warms, where it will be when the person comes, whom to call or to check. Pure."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from fiftyover.batch import doubt, estimate, notices, trips
from fiftyover.batch import events as ev
from fiftyover.batch.ahead import Warming, carry_kelvin, core_after, pace, settle_s
from fiftyover.batch.believe import CONFIRM_S, DOUBTED
from fiftyover.batch.course import asked
from fiftyover.batch.doubt import Rise
from fiftyover.batch.estimate import Guess
from fiftyover.batch.heat import cap_degC
from fiftyover.batch.learn import Fit, mean
from fiftyover.batch.plan import Chub
from fiftyover.batch.state import BLOCK_S, BatchState, Block
from fiftyover.batch.tracks import believed
from fiftyover.batch.trips import Outlook

WINDOW_S = 480.0  # a slope is taken over this, all of it confirmed
SHORTEST_S = 180.0  # over a shorter one the line's own slope is better
SETTLES = 1.2  # settling times after hanging, until slopes are quasi-steady
LEARN_AFTER_S = 900.0  # of heat after a door or an outage: until then a slope tells of that
NEAR_KELVIN = 25.0  # no outlook is made for a core further below the band
LATE_CORE_DEGC = 60.0  # 140 °F: only above it may the chamber fall for an unanswered call
CHECK_SPREADS = 1.5  # a chub is checked before it can be this many spreads further than reckoned
CHECK_TOGETHER_S = 600.0  # chubs due for a check within this are asked for in one trip
DOUBT_AFTER_S = 1800.0  # of heat after a door: then all of a slope's window is of a settled core
DRIFTED_BEFORE_S = 1800.0  # so long before it was seen a drift may have begun: that is struck out, too
SURE_SHARE = 0.4  # of the band: a guess at least this sure calls without another check

Add = Callable[..., None]


@dataclass(frozen=True, slots=True)
class Slope:
    """A core over a window: middle [s], mean core [degC], slope [K/s], mean chamber [degC] and length [s]."""

    middle_s: float
    core_degC: float
    slope: float
    air_degC: float
    length_s: float


def slope_of(blocks: tuple[Block, ...], channel: int, from_s: float, to_s: float) -> Slope | None:
    """Fit a line (least squares) to a channel's half-minute means between two times; None with fewer than three."""
    points = [
        (b.at_s, core, b.chamber_degC)
        for b in blocks
        if from_s <= b.at_s - BLOCK_S / 2 and b.at_s + BLOCK_S / 2 <= to_s + 1.0
        for core in b.probe_degC[channel : channel + 1]
        if core is not None
    ]
    if len(points) < 3:
        return None
    count = len(points)
    middle_s = sum(p[0] for p in points) / count
    mean = sum(p[1] for p in points) / count
    square = sum((p[0] - middle_s) ** 2 for p in points)
    slope = sum((p[0] - middle_s) * (p[1] - mean) for p in points) / square
    return Slope(middle_s, mean, slope, sum(p[2] for p in points) / count, points[-1][0] - points[0][0] + BLOCK_S)


def look_ahead(state: BatchState, add: Add) -> BatchState:
    """Advance the guesses, then call, ask and repeat what is due."""
    at_s = state.blocks[-1].at_s + BLOCK_S / 2.0
    slopes = _slopes(state, at_s)
    state = _learn(state, slopes)
    state = _doubt(state, slopes, at_s, add)
    state = _advance(state, at_s)
    book = state.book
    outlooks = [o for o in (_probed(state, slopes, n, at_s) for n in slopes) if o is not None]
    guessed = _guessed(state, at_s)
    for number in trips.whom(state.plan.band_degC, [*outlooks, *(o for o, sure in guessed if sure)]):
        outlook = next(o for o in [*outlooks, *(g for g, _ in guessed)] if o.chub == number)
        _call(state, number, outlook.pulled_degC, add)
    for number in _to_check(state, [o for o, sure in guessed if not sure], at_s):
        if number not in book.checks:
            add(ev.CHECK_ASKED, chub=number, core_degC=round(state.guesses[number].core_degC, 2))
    notices.tell(book, lambda minutes, chubs: _due(state, slopes, chubs, at_s, 60.0 * minutes), add)
    _repeat(state, at_s, add)
    return state


def look_ahead_now(state: BatchState, number: int, add: Add) -> None:
    """Right after a hand reading: call that chub if it is due by the time the person could be back."""
    if number in state.book.calls:
        return
    guess, foot = state.guesses[number], state.plan.band_degC[0]
    outlook = next((o for o, _ in _guessed(state, guess.known_s) if o.chub == number), None)
    pulled = outlook.pulled_degC if outlook else guess.core_degC
    due = pulled >= (trips.aim_degC(state.plan.band_degC, outlook.carry_kelvin) if outlook else foot)
    if due or guess.core_degC >= foot:
        _call(state, number, pulled, add)


def _call(state: BatchState, number: int, pulled_degC: float, add: Add) -> None:
    add(
        ev.CALLED,
        chub=number,
        core_degC=round(_core_now(state, number), 2),
        predicted_degC=round(pulled_degC, 2),
        response_s=state.plan.response_s,
    )


def _core_now(state: BatchState, number: int) -> float:
    guess = state.guesses.get(number)
    return guess.core_degC if guess is not None else believed(state)[number]


def _slopes(state: BatchState, at_s: float) -> dict[int, Slope]:
    """Confirmed slopes by chub: nothing newer than three minutes, nothing from before the present good run."""
    found = {}
    for channel, track in state.tracks.items():
        if track.believed:
            to_s = at_s - CONFIRM_S
            slope = slope_of(state.blocks, channel, max(to_s - WINDOW_S, track.good_since_s), to_s)
            if slope is not None:
                found[state.book.chub_of[channel]] = slope
    return found


def _learn(state: BatchState, slopes: dict[int, Slope]) -> BatchState:
    """Learn from the settled slopes how chubs and lines warm."""
    fits, own, lines = dict(state.fits), dict(state.own), dict(state.lines)
    by_line: dict[str, list[Chub]] = {}
    for number, slope in slopes.items():
        chub = state.plan.chub(number)
        fit = fits.get(number) or Fit(chub.diameter_mm)
        if _settled(state, number, slope) and state.settled_s >= LEARN_AFTER_S and not state.book.door_open:
            fit = fits[number] = fit.seen(slope.core_degC, slope.slope, slope.air_degC)
        own[number] = fit.warming()
        if slope.length_s >= SHORTEST_S:
            own[number] = fit.now(slope.core_degC, slope.slope, slope.air_degC)
            by_line.setdefault(chub.line, []).append(chub)
    for line, chubs in by_line.items():
        millimetres = sum(c.diameter_mm for c in chubs) / len(chubs)
        lines[line] = (mean([own[c.number] for c in chubs]), millimetres)
    return state._replace(lines=lines, own=own, fits=fits)


def _settled(state: BatchState, number: int, slope: Slope) -> bool:
    hung_s, settling_s = state.book.hung_s[number], settle_s(state.plan.chub(number).diameter_mm)
    return slope.length_s >= SHORTEST_S and slope.middle_s - hung_s > SETTLES * settling_s


def _doubt(state: BatchState, slopes: dict[int, Slope], at_s: float, add: Add) -> BatchState:
    """Find a probe that drifts hot by the settled slopes: it is not believed, and its chub is asked for by hand."""
    quiet = state.settled_s >= DOUBT_AFTER_S and state.heat and not state.book.door_open
    rises = {n: _rise(state, n, one) for n, one in slopes.items() if quiet and _settled(state, n, one)}
    # After a door the chubs may hang elsewhere: what is remembered begins anew.
    doubts = {n: one if quiet else doubt.Doubt(cleared=one.cleared) for n, one in state.doubts.items()}
    for number in rises:
        doubts[number] = doubt.step(doubts.get(number, doubt.Doubt()), number, rises, at_s)
    state = state._replace(doubts=doubts)
    for number in rises:
        if doubt.doubted(doubts[number], at_s):
            state = _disbelieve(state, number, at_s, add)
            del slopes[number]
    return state


def _disbelieve(state: BatchState, number: int, at_s: float, add: Add) -> BatchState:
    channel, found = state.book.probe_of[number], state.doubts[number]
    since_s = at_s if found.over_since_s is None else found.over_since_s
    add(ev.PROBE_OUT, probe=channel, chub=number, why=DOUBTED, from_s=since_s - DRIFTED_BEFORE_S)
    core_degC = believed(state)[number] - max(0.0, found.offset_kelvin)
    if number not in state.book.checks:
        add(ev.CHECK_ASKED, chub=number, core_degC=round(core_degC, 2))
    return state._replace(
        tracks={**state.tracks, channel: state.tracks[channel]._replace(out=DOUBTED)},
        guesses={**state.guesses, number: estimate.begin(number, core_degC, at_s, "probe")},
        doubts={n: one for n, one in state.doubts.items() if n != number},
        # What was learned of it is of the drift: it is reckoned by its line.
        own={n: one for n, one in state.own.items() if n != number},
        fits={n: one for n, one in state.fits.items() if n != number},
    )


def _rise(state: BatchState, number: int, slope: Slope) -> Rise:
    chub = state.plan.chub(number)
    model = (state.fits.get(number) or Fit(chub.diameter_mm)).warming()
    share = model.per_kelvin / pace(chub.diameter_mm)
    return Rise(chub.line, chub.diameter_mm, slope.core_degC, slope.slope, slope.air_degC, share, model.wet)


def _advance(state: BatchState, at_s: float) -> BatchState:
    """Reckon on the chubs that have no believable probe; one that lost its probe has its guess from `decide`."""
    known = believed(state)
    guesses = {}
    for number in state.book.hanging:
        if number in known:
            continue
        guess = state.guesses.get(number) or _first_guess(state, number, at_s)
        if guess is None:
            continue
        model = _model(state, number, guess)
        air = state.blocks[-1].chamber_degC
        guesses[number] = guess if model is None else estimate.advance(guess, model, air, BLOCK_S)
    return state._replace(guesses=guesses)


def _first_guess(state: BatchState, number: int, at_s: float) -> Guess | None:
    known = believed(state)
    if not known:
        return None
    same = [c for n, c in known.items() if state.plan.chub(n).line == state.plan.chub(number).line]
    cores = same or list(known.values())
    return estimate.begin(number, sum(cores) / len(cores), at_s)


def _model(state: BatchState, number: int, guess: Guess) -> Warming | None:
    if guess.source == "probe" and number in state.own:
        return state.own[number]
    chub = state.plan.chub(number)
    line = state.lines.get(chub.line) or next(iter(state.lines.values()), None)
    return None if line is None else estimate.model_for(chub, state.plan, guess, line[0], line[1])


def _ahead_air(state: BatchState, slopes: dict[int, Slope], seconds: float) -> tuple[float, float]:
    """How the chamber goes on for so long: its slope [K/s], that of the leading core, and where it ends [degC]."""
    plan = state.plan
    top = asked(plan.stages[state.book.stage], plan, cap_degC(state.book)).limit_degC - plan.margin_kelvin
    lead = slopes.get(state.lead_chub) if state.lead_chub is not None else None
    if lead is None or state.lead_chub is None or state.why != "following":
        return 0.0, top
    model = state.own[state.lead_chub]
    later = core_after(model, lead.core_degC, seconds, lead.air_degC, max(0.0, lead.slope), top)
    return max(0.0, (later - lead.core_degC) / seconds), top


def _probed(
    state: BatchState, slopes: dict[int, Slope], number: int, at_s: float, wait_s: float = 0.0
) -> Outlook | None:
    """Where a chub will be if it is called after so long, or None while that is far from its band."""
    slope = slopes[number]
    plan, book = state.plan, state.book
    if number in book.calls or slope.core_degC < plan.band_degC[0] - NEAR_KELVIN:
        return None
    seconds = at_s - slope.middle_s + wait_s + plan.response_s
    air_slope, top = _ahead_air(state, slopes, seconds)
    here = state.own[number], slope.core_degC
    pulled = core_after(*here, seconds, slope.air_degC, air_slope, top)
    later = core_after(*here, seconds + trips.STALLED_AFTER_S, slope.air_degC, air_slope, top)
    carry = carry_kelvin(plan.chub(number).diameter_mm, slope.slope)
    return Outlook(number, pulled, carry, later_degC=later)


def _due(state: BatchState, slopes: dict[int, Slope], chubs: Iterable[int], at_s: float, wait_s: float) -> list[int]:
    """Which of these chubs are expected to be called within so long."""
    band, found = state.plan.band_degC, []
    for number in chubs:
        slope = slopes.get(number)
        if slope is None or slope.core_degC + slope.slope * (wait_s + state.plan.response_s + WINDOW_S) < band[0]:
            continue  # even a straight line, which runs ahead of the meat, does not get there
        outlook = _probed(state, slopes, number, at_s, wait_s)
        if outlook is not None and trips.is_due(band, outlook):
            found.append(number)
    return found


def _guessed(state: BatchState, at_s: float) -> list[tuple[Outlook, bool]]:
    """Outlooks of chubs without a believable probe, each with whether it is sure enough to call by."""
    found = []
    foot, top = state.plan.band_degC
    air = state.blocks[-1].chamber_degC if state.blocks else 0.0
    for number, guess in state.guesses.items():
        model = _model(state, number, guess)
        if model is None or number in state.book.calls or number in state.book.pulled_s:
            continue
        here = air + guess.air_kelvin
        pulled = core_after(model, guess.core_degC, state.plan.response_s, here, 0.0, here)
        carry = carry_kelvin(state.plan.chub(number).diameter_mm, model.rate(guess.core_degC, here))
        spread = guess.spread_kelvin(foot, at_s + state.plan.response_s)
        # Another check would come when it should be called already: then the guess is as good as it gets.
        too_late = core_after(model, pulled, state.plan.response_s, here, 0.0, here) >= (foot + top) / 2.0
        sure = guess.source == "hand" and (spread <= SURE_SHARE * (top - foot) or too_late)
        found.append((Outlook(number, pulled, carry, measured=False), sure))
    return found


def _to_check(state: BatchState, outlooks: list[Outlook], at_s: float) -> list[int]:
    """Chubs to be checked by hand: those that may be due by the second trip from now, and whoever is due soon after."""
    foot = state.plan.band_degC[0]
    air = state.blocks[-1].chamber_degC
    due, soon = [], []
    for outlook in outlooks:
        guess = state.guesses[outlook.chub]
        model = _model(state, outlook.chub, guess)
        if model is None:
            continue
        again_s = state.plan.response_s + 60.0  # the way back to pull it
        here = air + guess.air_kelvin
        reach = core_after(model, outlook.pulled_degC, again_s, here, 0.0, here)
        reach += CHECK_SPREADS * guess.spread_kelvin(foot, at_s + state.plan.response_s)
        if reach >= foot or _runs_out(state, guess, at_s):
            due.append(outlook.chub)
        elif reach + model.rate(foot, here) * CHECK_TOGETHER_S >= foot:
            soon.append(outlook.chub)
    return [*due, *soon] if any(n not in state.book.checks for n in due) else []


def _runs_out(state: BatchState, guess: Guess, at_s: float) -> bool:
    """Whether a hand reading that leads the chamber, for want of a believable probe, is about to grow too old."""
    old_s = at_s - guess.known_s + state.plan.response_s + CHECK_TOGETHER_S
    return guess.source == "hand" and not believed(state) and old_s >= estimate.FRESH_S


def _repeat(state: BatchState, at_s: float, add: Add) -> None:
    """Say again what was not answered; when a call was not heard twice, let the chamber fall to a hold."""
    book, wait_s = state.book, state.plan.response_s + trips.AGAIN_S
    for kind, open_calls in ((ev.CALLED_AGAIN, book.calls), (ev.CHECK_AGAIN, book.checks)):
        for number, call in open_calls.items():
            if at_s - call.last_s >= (wait_s if not call.again else trips.AGAIN_S) and call.again <= ev.CALL_AGAIN:
                add(kind, chub=number)
    cores = believed(state)
    unheard = [c for c in book.calls.values() if c.again >= ev.CALL_AGAIN and at_s - c.last_s >= trips.AGAIN_S]
    if unheard and book.late_s is None and all(c >= LATE_CORE_DEGC for c in cores.values()):
        add(ev.LATE)
    if book.late_s is not None and not book.calls:
        add(ev.LATE_ENDED)
