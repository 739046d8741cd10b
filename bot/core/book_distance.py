"""Kilometres and miles of a typed line: what the odometer shows, and what it cannot show."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from bot.core.book_draft import Draft, Troubled
from bot.core.units import Found, convert, quantities

HIGHEST = 300_000.0  # km no off-road bike reaches; our own line, no source
JUMP = 10_000.0  # km that an odometer gains between two lines of a book; our own line, no source
UNITS = ("km", "mi")

Span = tuple[float, float]
_ODOMETER = r"(?:odometer|odo|speedo(?:meter)?|mileage|kms?|miles)"
_BEFORE = re.compile(
    rf"(?:\b(?:the )?{_ODOMETER}|\bat|@|\bclock|\bon)(?: (?:shows?|reads?|showing|reading|stands at|is|at|on"
    r"|now|of|was))*[ :=]*$"
)
_NAMED = re.compile(
    rf"\b{_ODOMETER}(?: (?:shows?|reads?|showing|reading|stands at|is|at|on|now|of|was))*[ :=]*$"
)
_AFTER = re.compile(r" ?(?:on (?:the )?(?:odometer|odo|speedo|clock)\b|now\b)")
_RUN = re.compile(
    r"\b(?:after|for|in|every|another|last|ran|rode|first|next|over)(?: the| only| just)?(?: another)? ?$"
)
_SINCE = re.compile(r"^ ?(?:ago|later|since|on (?:the|this|that) (?:oil|chain|tyre|tire)|old|or so ago)\b")


def take_km(page: Draft, named: bool = False) -> Span | None:
    """What the odometer showed, in km, its words taken. Raises Troubled for two readings, or no such one.

    `named`: only where it is named or 'at' stands before it, so that how far a ride went is none.
    """
    told = [found for found in told_distances(page) if _is_reading(page, found, named)]
    spans = {span_km(found) for found in told}
    if len(spans) > 1:
        first, second = sorted(spans)[:2]
        raise Troubled("two_km", first=said(first[0], page.far), second=said(second[0], page.far))
    for found in told:
        before, after = _BEFORE.search(page.left[: found.start]), _AFTER.match(page.left[found.end :])
        page.take(before.start() if before else found.start, found.end + (after.end() if after else 0))
    return possible(spans.pop(), page.far) if spans else None


def told_distances(page: Draft, bare: bool = False) -> Iterator[Found]:
    """Every quantity in km or miles, and a number without unit behind the odometer's name (`bare`: any)."""
    for found in quantities(page.left, "km", page.spoken):
        found = _in_thousands(found, page.left[found.start : found.end])
        unit = found.quantity.unit
        if unit in UNITS:
            yield found
        elif not unit and (bare or _NAMED.search(page.left[: found.start])):
            yield Found(replace(found.quantity, unit=page.far), found.start, found.end)


def _in_thousands(found: Found, text: str) -> Found:
    """'12.400 km' is 12 400 as half of Europe writes it: no odometer shows three decimals."""
    numbers = re.findall(r"\d[\d.,]*", text)
    if not numbers or not all(re.fullmatch(r"\d{1,3}\.\d{3}", number) for number in numbers):
        return found
    told = found.quantity
    return replace(found, quantity=replace(told, low=1000 * told.low, high=1000 * told.high))


def _is_reading(page: Draft, found: Found, named: bool) -> bool:
    before, after = page.left[: found.start], page.left[found.end :]
    if _RUN.search(before) or _SINCE.match(after):
        return False
    return not named or bool(_BEFORE.search(before) or _AFTER.match(after))


def span_km(found: Found) -> Span:
    """Both ends in km, to a tenth, as odometers show them."""
    ends = (found.quantity.low, found.quantity.high)
    low, high = (convert(end, found.quantity.unit, "km") or 0.0 for end in ends)
    return (round(low, 1), round(high, 1) if high < float("inf") else round(low, 1))


def possible(span: Span, far: str = "km") -> Span:
    """The reading itself. Raises Troubled for one that no odometer shows."""
    if span[0] < 0:
        raise Troubled("negative_km", value=said(span[0], far))
    if span[0] > HIGHEST:
        raise Troubled("high_km", value=said(span[0], far))
    return span


def check_distance(span: Span, last: Span | None, falls: bool, far: str = "km") -> None:
    """Raises Troubled for a reading below the last one, or too far above it.

    `falls`: whether a lower one is a mistake; it is none where an earlier day was told.
    """
    if last is None:
        return
    value = said(span[0], far)
    bare = value.removesuffix(" km")
    if falls and span[1] < last[0]:
        raise Troubled("fell_km", value=value, bare=bare, last=said(last[0], far))
    if span[0] > last[1] + JUMP:
        raise Troubled("jump_km", value=value, bare=bare, last=said(last[1], far))


def said(km: float, far: str) -> str:
    """'1240 km', or '770.5 mi'."""
    value = km if far == "km" else convert(km, "km", far) or 0.0
    return f"{round(value, 1):.10g} {far}"
