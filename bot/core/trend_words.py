"""A trend as a rider reads it on a phone: words first, numbers when he asks for them."""

from __future__ import annotations

import math
from collections.abc import Iterable

from bot.core.stretches import Pieces, Span, Stretch
from bot.core.trend import Trend
from bot.core.words import Words

LONGEST = 299  # characters of one message; remarks that would not fit are left out, the least first
ROUND = (2, 3, 4, 5, 6, 8, 10, 12, 15, 20, 25, 30, 40, 50, 60, 80)  # figures that one says aloud
RARE = 1000  # rarer than 1 time in this is said as that


def tell(trend: Trend, words: Words) -> str:
    """The judgement in words, the counts it rests on, and what must be known beside it."""
    return _fitting([_verdict(trend, words), *_remarks(trend, words)])


def numbers(trend: Trend, words: Words) -> str:
    """Rates with their limits, chance, the next alarm and the scatter, for who asks."""
    return _fitting(
        [
            _rates(trend, words),
            _by_chance(trend, words),
            _alarm(trend, words),
            _scatter(trend, words),
            words.say("trend.cleaning.unknown") if trend.cleaning_unknown else "",
        ]
    )


def _fitting(lines: Iterable[str]) -> str:
    """Whole sentences in their order while they fit."""
    text = ""
    for line in filter(None, lines):
        if len(text) + 1 + len(line) <= LONGEST:
            text = f"{text} {line}".lstrip()
    return text


# --- the verdict ----------------------------------------------------------------------------


def _verdict(trend: Trend, words: Words) -> str:
    now = seen(trend.latest.pieces, trend.latest.hours, words)
    if trend.before is None:
        alone = {"first": "trend.first", "after_work": "trend.after_work"}
        return words.say(alone.get(trend.direction, "trend.unclear.alone"), now=_found(trend.latest, words))
    return words.say(
        _key(trend),
        before=_found(trend.before, words),
        now=now,
        chance=_one_in(trend.chance[1] if trend.chance else 1.0, words),
    )


def _key(trend: Trend) -> str:
    """The sentence for a judgement that compares two rates."""
    if trend.urgency == 0 and trend.chunk_before:
        return "trend.less.chunk"
    if trend.direction == "after_work":
        return "trend.after_work.before"
    if trend.direction == "unclear":
        return "trend.unclear.vague" if trend.vague else "trend.unclear"
    if trend.direction == "same" and trend.latest.most == 0:
        return "trend.same.none"
    return f"trend.{trend.direction}"


def _remarks(trend: Trend, words: Words) -> Iterable[str]:
    if trend.chunk_now:
        yield words.say("trend.chunk.now")
    elif trend.chunk_before and trend.urgency:
        yield words.say("trend.chunk.before")
    if trend.far_hours:
        yield words.say("trend.hours.far")
    if trend.widened:
        yield words.say("trend.widened")
    for key, left in (
        ("trend.left.cleaning", trend.other_cleaning),
        ("trend.left.hours", trend.other_hours),
        ("trend.left.higher", trend.higher),
    ):
        if left and trend.before is not None and trend.direction != "running_in":
            yield words.count(key, len(left))


# --- the numbers ----------------------------------------------------------------------------


def _rates(trend: Trend, words: Words) -> str:
    now = _rate(trend.latest, trend.limits[1], words)
    if trend.before is None or trend.limits[0] is None:
        return words.say("trend.rate", now=now)
    times = _between(trend.times, words) if trend.times else ""
    return words.say("trend.rates", before=_rate(trend.before, trend.limits[0], words), now=now, times=times)


def _rate(stretch: Stretch, limits: Span, words: Words) -> str:
    rate, between = _between(stretch.per_hour, words), _between(limits, words)
    return words.say("trend.rate.limits", rate=rate, limits=between)


def _by_chance(trend: Trend, words: Words) -> str:
    if trend.chance is None:
        return ""
    exact, bolder = _of_hundred(trend.chance, words), trend.e_chance
    told = words.say("trend.of_100", chance=exact)
    if bolder is not None:
        told = words.say("trend.of_100.both", chance=exact, bolder=_of_hundred(bolder, words))
    return words.say(f"trend.{trend.side}.chance", chance=told)


def _of_hundred(chance: Span, words: Words) -> str:
    return _between((100 * chance[0], 100 * chance[1]), words)


def _alarm(trend: Trend, words: Words) -> str:
    low, high = trend.alarm
    hours = _figure(trend.next_hours, words)
    if high is None:
        return words.say("trend.alarm.open", low=low, hours=hours)
    return words.say("trend.alarm" if low == high else "trend.alarm.span", low=low, high=high, hours=hours)


def _scatter(trend: Trend, words: Words) -> str:
    if trend.dispersion is not None:
        key = "trend.scatter.wide" if trend.widened else "trend.scatter"
        return words.say(key, value=_figure(trend.dispersion, words))
    return words.count("trend.scatter.needs", trend.looks_needed) if trend.looks_needed else ""


# --- figures --------------------------------------------------------------------------------


def _found(stretch: Stretch, words: Words) -> str:
    """'2 pieces in 6 h', with the number of looks when several are pooled."""
    one = stretch.pieces == (1, 1)
    text = words.say(
        f"trend.found.{'one' if one else 'other'}",
        n=pieces_said(stretch.pieces, words),
        hours=_between(stretch.hours, words),
    )
    return text if stretch.looks == 1 else words.say("trend.found.looks", found=text, n=stretch.looks)


def seen(pieces: Pieces, hours: Span, words: Words) -> str:
    """'9 in 5 h', either of them a span where it was vague."""
    return words.say("trend.seen", n=pieces_said(pieces, words), hours=_between(hours, words))


def pieces_said(pieces: Pieces, words: Words) -> str:
    """'9', '4 to 9', or 'over 60'."""
    low, high = pieces
    if high is None:
        return words.say("trend.over", low=low)
    return f"{low}" if low == high else words.say("trend.span", low=low, high=high)


def _between(span: Span, words: Words) -> str:
    low = _figure(span[0], words)
    if math.isinf(span[1]):
        return words.say("trend.over", low=low)
    high = _figure(span[1], words)
    return low if low == high else words.say("trend.span", low=low, high=high)


def _figure(x: float, words: Words) -> str:
    """Two significant figures; what is smaller than a hundredth but not nothing is said as that."""
    if 0 < x < 0.005:
        return words.say("trend.under", high=0.01)
    if x >= 10:
        return f"{float(f'{x:.2g}'):.0f}"
    return f"{round(x, 1 if x >= 1 else 2):g}"


def _one_in(chance: float, words: Words) -> str:
    """A chance as 1 time in N, N rounded to a figure that one says aloud."""
    if chance * RARE < 1:
        return words.say("trend.chance.rare", n=RARE)
    often = 1 / chance
    steps = (step * scale for scale in (1, 10) for step in ROUND)
    return words.say("trend.chance", n=min(steps, key=lambda step: abs(math.log(step / often))))
