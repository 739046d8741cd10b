"""Figures of a typed line that are not counts: the meter, rides, hours on the oil, prices, ppm."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from bot.core.book_draft import Draft, Troubled
from bot.core.book_terms import ELEMENTS, words
from bot.core.spoken import Spoken
from bot.core.units import Found, convert, quantities

HIGHEST = 3000.0  # hours no off-road meter reaches; our own line, no source
JUMP = 200.0  # hours that a meter gains between two lines of a book; our own line, no source
MOST_PPM = 20_000.0  # two per cent of metal would be no oil; our own line

Hours = tuple[float, float]
_READ = re.compile(
    r"(?:\bat|@|\bhours?|\bhrs|\bmeter|\bshows?|\bshowing|\breads?|\breading|\bclock|\bon|\bstands at)"
    r"[ :=]*$"
)
_DURING = re.compile(
    r"\b(?:after|for|in|every|another|last|ran|first|next)(?: the| only| just)?(?: another)? ?$"
)
_AGO = re.compile(r"^ ?(?:ago|later|on (?:the|this|that) oil|old oil|since)\b")
_ON_METER = re.compile(r" ?on (?:the )?(?:hour ?)?(?:meter|clock)\b")
_BARE = re.compile(r"^\W*(?:$|[,;¦(]| - )")


def take_hours(page: Draft) -> Hours | None:
    """What the meter showed, its words taken. Raises Troubled for two readings and for impossible ones."""
    told = [found for found in told_times(page) if _is_reading(page, found)]
    if not told:
        bare = [found for found in told_times(page) if not found.quantity.unit and _alone(page, found)]
        told = bare if len(bare) == 1 else []
    spans = {_span(found) for found in told}
    if len(spans) > 1:
        first, second = sorted(spans)[:2]
        raise Troubled("two_hours", first=f"{first[0]:g}", second=f"{second[0]:g}")
    for found in told:
        before = _READ.search(page.left[: found.start])
        page.take(before.start() if before else found.start, found.end)
    page.take_all(_METER_WORDS)
    return possible(spans.pop()) if spans else None


_METER_WORDS = re.compile(
    r"\b(?:the )?(?:hour ?meter|meter|clock|reading|hours?|hrs)"
    r"(?: (?:shows?|reads?|showing|stands at|is|at|on|now))*[ :=]*(?=¦)|(?<=¦) ?(?:on the (?:hour"
    r" ?)?(?:meter|clock)|(?:engine |running )?hours\b|h\b)"
)


_NO_FIGURE = re.compile(r"(?:the|my|its|our|his|her)\b|(?:an? )?(?:hour|one)$(?<!an hour)")


def told_times(page: Draft) -> Iterator[Found]:
    """Every quantity that is hours, or a bare number; 'the hour meter' and 'the new one' are none."""
    for found in quantities(page.left, "h", page.spoken):
        unit = found.quantity.unit
        if _NO_FIGURE.match(page.left[found.start : found.end]):
            continue
        if not unit or convert(1, unit, "h") is not None:
            yield _near(page, found)


_OF_HOURS = words(
    "engine running riding meter h hr hrs hour hours m min mins minute minutes s sec secs second seconds"
)


def _near(page: Draft, found: Found) -> Found:
    """'6 engine hours' are hours; in '6 strange hours' the word between is not ours to take."""
    for match in re.finditer(r"[^\W\d_]+", page.left[found.start : found.end]):
        if match.group() not in _figures(page.spoken):
            end = found.start + match.start()
            kept = len(page.left[found.start : end].rstrip())
            return Found(replace(found.quantity, unit=""), found.start, found.start + kept)
    return found


@lru_cache(maxsize=8)
def _figures(spoken: Spoken) -> frozenset[str]:
    """The words that a figure of hours may hold."""
    bounds = " ".join((*spoken.before, *spoken.after)).split()
    small = (*spoken.articles, *spoken.and_, *spoken.of, *spoken.to, *spoken.between, *spoken.minus)
    return _OF_HOURS.union(spoken.numbers, spoken.parts, spoken.packs, spoken.vague, bounds, small)


def _is_reading(page: Draft, found: Found) -> bool:
    before, after = page.left[: found.start], page.left[found.end :]
    if _DURING.search(before) or _AGO.match(after):
        return False
    return found.quantity.unit == "h" or bool(_READ.search(before) or _ON_METER.match(after))


def _alone(page: Draft, found: Found) -> bool:
    return bool(_BARE.match(page.left[found.end :])) and not page.left[: found.start].endswith("#")


def _span(found: Found, times: int = 1) -> Hours:
    unit = found.quantity.unit or "h"
    ends = (found.quantity.low, found.quantity.high)
    low, high = ((convert(end, unit, "h") or 0.0) * times for end in ends)
    if math.isfinite(high):
        return (round(low, 4), round(high, 4))
    return (round(low, 4),) * 2  # "over 50" says no more than 50 for a book


def possible(span: Hours) -> Hours:
    """The reading itself. Raises Troubled for one that no meter shows."""
    if span[0] < 0:
        raise Troubled("negative", value=f"{span[0]:g}")
    if span[0] > HIGHEST:
        raise Troubled("high", value=f"{span[0]:g}")
    return span


def check_reading(span: Hours, last: Hours | None, falls: bool = True) -> None:
    """Raises Troubled for a reading below the last one, or too far above it.

    `falls`: whether a lower one is a mistake; it is none where an earlier day was told.
    """
    if last is None:
        return
    if falls and span[1] < last[0]:
        raise Troubled("fell", value=f"{span[0]:g}", last=f"{last[0]:g}")
    if span[0] > last[1] + JUMP:
        raise Troubled("jump", value=f"{span[0]:g}", last=f"{last[1]:g}")


_TIMES = re.compile(r"(?:\b(?:for|another|about)|\b(?P<n>\d{1,2}) ?[x*×]) ?$")


def take_duration(page: Draft) -> Hours | None:
    """How long a ride was: the first time with a unit that is no reading; '2 x 20 min' counts twice."""
    for found in told_times(page):
        if found.quantity.unit and not re.search(r"(?:\bat|@) ?$", page.left[: found.start]):
            before = _TIMES.search(page.left[: found.start])
            page.take(before.start() if before else found.start, found.end)
            heats = int(before["n"] or 1) if before else 1
            return possible(_span(found, heats))
    return None


def take_on_oil(page: Draft) -> Hours | None:
    """'after 8 h', 'with 8 h on the oil'."""
    for found in told_times(page):
        before = re.search(r"\b(?:after|with|over|ran) ?$", page.left[: found.start])
        after = re.match(r" ?(?:on (?:the|this|that) oil|old oil|old|oil)\b", page.left[found.end :])
        if found.quantity.unit == "h" and (before or after):
            start = before.start() if before else found.start
            page.take(start, found.end + (after.end() if after else 0))
            return possible(_span(found))
    return None


# --- prices ----------------------------------------------------------------------------------

_MONEY = {
    "EUR": "€|eur|euros?", "USD": r"\$|usd|dollars?|bucks?", "GBP": "£|gbp|pounds?|quid",
    "CHF": "chf|francs?", "SEK": "sek", "NOK": "nok", "DKK": "dkk", "PLN": "pln|zloty", "CZK": "czk",
    "CAD": "cad", "AUD": "aud",
}  # fmt: skip
_SUM = r"(?P<{0}>\d{{1,3}}(?:,\d{{3}})+|\d+(?:[.,]\d{{1,2}})?)(?![\d.]\d|\w)"
_NAMES = "|".join(f"(?P<{{0}}{code}>{said})" for code, said in _MONEY.items())
PRICE = re.compile(
    rf"(?:\b(?:for|cost|costs|at|paid) )?(?:(?<!foot )(?:{_NAMES.format('a')}) ?{_SUM.format('x')}"
    rf"|\b{_SUM.format('y')} ?(?:{_NAMES.format('b')})(?!\w))"
)


def take_price(page: Draft) -> tuple[float, str] | None:
    """The first price with its currency, taken."""
    match = PRICE.search(page.left)
    if match is None:
        return None
    page.take(*match.span())
    told = match["x"] or match["y"]
    plain = told.replace(",", "") if re.search(r",\d{3}", told) else told.replace(",", ".")
    code = next(name for name, said in match.groupdict().items() if said and len(name) == 4)
    return float(plain), code[1:]


# --- laboratory ------------------------------------------------------------------------------

_FIGURE = r"(?P<n>\d+(?:[.,]\d+)?)"
_PAIRS = (
    re.compile(rf"\b{_FIGURE} ?ppm(?: of)? (?P<what>[^\W\d_]+)"),
    re.compile(rf"\b(?P<what>[^\W\d_]+) ?(?:[:=]|is|at|<)? ?{_FIGURE}(?: ?ppm)?\b(?! ?h)"),
)
_NO_ELEMENT = words("at after with on hours hour meter oil h about around report lab over ran")


def take_ppm(page: Draft) -> dict[str, float]:
    """ppm by symbol. Raises Troubled for an element that no report has, and for one told twice."""
    out: dict[str, float] = {}
    for pattern in _PAIRS:
        for match in pattern.finditer(page.left):
            if match["what"] in _NO_ELEMENT:
                continue
            symbol, value = _element(page, match), float(match["n"].replace(",", "."))
            if out.get(symbol, value) != value or value > MOST_PPM:
                raise Troubled("ppm", element=match["what"], value=f"{value:g}")
            out[symbol] = value
            page.take(*match.span())
    return out


def _element(page: Draft, match: re.Match[str]) -> str:
    symbol = ELEMENTS.get(match["what"])
    if symbol is None:
        raise Troubled("element", said=page.said(match.start("what"), match.end("what")))
    return symbol


def has_ppm(text: str) -> bool:
    """Whether two elements or more are named with a figure."""
    found = {match["what"] for match in _PAIRS[1].finditer(text)}
    return len(found & ELEMENTS.keys()) > 1
