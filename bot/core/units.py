"""Quantities as people type them, units and their conversion.

Parsing never raises: what is not a quantity is None, what cannot be converted is None.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal, NamedTuple

from bot.core.amounts import Line, Part, amount, bounded, packed, tokens
from bot.core.spoken import ENGLISH, Spoken, fold

# --- units -----------------------------------------------------------------------------------
# Everything below follows from six definitions that are exact: inch 25.4 mm, avoirdupois pound
# 0.45359237 kg, standard gravity 9.80665 m/s2, US gallon 231 cubic inches, imperial gallon
# 4.54609 l, mile 5280 ft (all in NIST SP 811, appendix B). A US teaspoon is a sixth of a fluid ounce.

_INCH, _POUND, _GRAVITY, _US_GALLON, _IMP_GALLON = 25.4, 0.45359237, 9.80665, 231 * 2.54**3, 4546.09
_LBF = _POUND * _GRAVITY


class _Unit(NamedTuple):
    kind: str
    factor: float  # of the kind's own first unit
    said: str  # how people write it, parted by commas; spaces, dots and dashes do not matter
    system: str = ""
    other: str = ""  # its counterpart in the other system
    shift: float = 0.0  # added before the factor (temperature)


# Calendar days are a kind of their own: "two days" is no answer to a question for running hours.
_UNITS: dict[str, _Unit] = {
    "h": _Unit("time", 1, "h,hr,hrs,hour,hours,running hours,engine hours"),
    "min": _Unit("time", 1 / 60, "min,mins,minute,minutes,m"),
    "s": _Unit("time", 1 / 3600, "s,sec,secs,second,seconds"),
    "d": _Unit("days", 1, "d,day,days"),
    "week": _Unit("days", 7, "week,weeks,wk,wks"),
    "month": _Unit("days", 365.25 / 12, "month,months"),
    "year": _Unit("days", 365.25, "year,years,yr,yrs"),
    "N·m": _Unit("torque", 1, "nm,newton metre,newton metres,newton meter,newton meters", "metric", "lbf·ft"),
    "kgf·m": _Unit("torque", _GRAVITY, "kgfm,kgm,mkg", "metric", "lbf·ft"),
    "lbf·ft": _Unit(
        "torque",
        _LBF * _INCH * 12 / 1000,
        "lbfft,ftlbf,lbft,lbsft,ftlb,ftlbs,foot pound,foot pounds,pound feet,pounds feet,pound foot",
        "imperial",
        "N·m",
    ),
    "lbf·in": _Unit(
        "torque", _LBF * _INCH / 1000, "lbfin,inlbf,inlb,inlbs,lbin,inch pound,inch pounds", "imperial", "N·m"
    ),
    "mm": _Unit("length", 1, "mm,millimetre,millimetres,millimeter,millimeters", "metric", "in"),
    "cm": _Unit("length", 10, "cm,centimetre,centimetres,centimeter,centimeters", "metric", "in"),
    "m": _Unit("length", 1000, "m,metre,metres,meter,meters", "metric", "ft"),
    "km": _Unit("length", 1e6, "km,kms,kilometre,kilometres,kilometer,kilometers", "metric", "mi"),
    "in": _Unit("length", _INCH, 'in,inch,inches,"', "imperial", "mm"),
    "ft": _Unit("length", _INCH * 12, "ft,foot,feet", "imperial", "m"),
    "mi": _Unit("length", _INCH * 12 * 5280, "mi,mile,miles", "imperial", "km"),
    "kPa": _Unit("pressure", 1, "kpa,kilopascal,kilopascals", "metric", "psi"),
    "bar": _Unit("pressure", 100, "bar,bars", "metric", "psi"),
    "psi": _Unit("pressure", 1000 * _LBF / _INCH**2, "psi,pound,pounds,lb,lbs", "imperial", "kPa"),
    "°C": _Unit(
        "heat", 1, "c,°c,deg c,degrees c,celsius,degrees celsius,centigrade,°,deg,degrees", "metric", "°F"
    ),
    "°F": _Unit(
        "heat",
        5 / 9,
        "f,°f,deg f,degrees f,fahrenheit,degrees fahrenheit,°,deg,degrees",
        "imperial",
        "°C",
        -32,
    ),
    "ml": _Unit("volume", 1, "ml,millilitre,millilitres,milliliter,milliliters,cc,ccm", "metric", "fl oz"),
    "l": _Unit("volume", 1000, "l,litre,litres,liter,liters,ltr", "metric", "qt"),
    "tsp": _Unit("volume", _US_GALLON / 768, "tsp,tsps,teaspoon,teaspoons", "imperial", "ml"),
    "tbsp": _Unit("volume", _US_GALLON / 256, "tbsp,tablespoon,tablespoons", "imperial", "ml"),
    "fl oz": _Unit(
        "volume", _US_GALLON / 128, "floz,fluid ounce,fluid ounces,oz,ounce,ounces", "imperial", "ml"
    ),
    "pt": _Unit("volume", _US_GALLON / 8, "pt,pint,pints,us pint,us pints", "imperial", "l"),
    "imp pt": _Unit(
        "volume", _IMP_GALLON / 8, "imp pint,imperial pint,imperial pints,uk pint", "imperial", "l"
    ),
    "qt": _Unit("volume", _US_GALLON / 4, "qt,qts,quart,quarts,us qt,us quart,us quarts", "imperial", "l"),
    "gal": _Unit("volume", _US_GALLON, "gal,gallon,gallons,us gal,us gallon,us gallons", "imperial", "l"),
    "imp gal": _Unit(
        "volume", _IMP_GALLON, "imp gal,imperial gallon,imperial gallons,uk gallon", "imperial", "l"
    ),
    "g": _Unit("mass", 1, "g,gram,grams,gramme,grammes", "metric", "oz"),
    "kg": _Unit("mass", 1000, "kg,kgs,kilo,kilos,kilogram,kilograms", "metric", "lb"),
    "oz": _Unit("mass", _POUND * 1000 / 16, "oz,ounce,ounces", "imperial", "g"),
    "lb": _Unit("mass", _POUND * 1000, "lb,lbs,pound,pounds", "imperial", "kg"),
    "N": _Unit("force", 1, "n,newton,newtons", "metric", "lbf"),
    "lbf": _Unit("force", _LBF, "lbf,pounds force", "imperial", "N"),
    "km/h": _Unit("speed", 1, "kmh,kph,kmph", "metric", "mph"),
    "mph": _Unit("speed", _INCH * 12 * 5280 / 1e6, "mph,miles per hour", "imperial", "km/h"),
    "V": _Unit("volts", 1, "v,volt,volts"),
    "mV": _Unit("volts", 0.001, "mv,millivolt,millivolts"),
    "A": _Unit("amperes", 1, "a,amp,amps,ampere,amperes"),
    "ohm": _Unit("ohms", 1, "ohm,ohms,ω"),
    "kohm": _Unit("ohms", 1000, "kohm,kohms,kω,kilohm,kilohms"),
    "rpm": _Unit("turning", 1, "rpm,revs,revs per minute"),
    "%": _Unit("share", 1, "%,percent,per cent"),
}
_JOINTS = re.compile(r"[\s.·⋅∙*/×-]+")


def _aliases() -> dict[str, tuple[str, ...]]:
    out: dict[str, tuple[str, ...]] = {}
    for name, unit in _UNITS.items():
        for said in unit.said.split(","):
            key = _JOINTS.sub("", said)
            out[key] = (*out.get(key, ()), name)
    return out


_ALIASES = _aliases()
# Words with two owners: the first is meant unless the other kind is asked for.
_ALIASES.update({"m": ("m", "min"), "lb": ("lb", "psi"), "lbs": ("lb", "psi"), "oz": ("oz", "fl oz")})
_ALIASES.update({"pound": ("lb", "psi"), "pounds": ("lb", "psi"), "ounces": ("oz", "fl oz")})


# --- parsing ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Quantity:
    """From `low` to `high` in `unit` ("" for a bare number or a count); equal when exact."""

    low: float
    high: float
    unit: str


@dataclass(frozen=True, slots=True)
class Found:
    """A quantity and where it stands in the folded text."""

    quantity: Quantity
    start: int
    end: int


def _single(line: Line, i: int) -> Part | None:
    """An article before a written-out unit is 1: 'an hour', 'an hour and a half'."""
    if line.text(i) not in line.spoken.articles:
        return None
    unit, after = _unit(line, i + 1)
    if not unit or line.tokens[after - 1].end - line.tokens[i + 1].start < 3:
        return None
    rest = packed(line, 1, after)
    return Part(rest.low, rest.high, unit, rest.next)


def _meant(line: Line, key: str) -> str:
    """The unit a written unit stands for: where words are shared, the one that fits what is asked."""
    if key in line.spoken.units:
        return line.spoken.units[key]
    units = _ALIASES.get(key, ())
    if line.asked in units:
        return line.asked or ""
    asked = _kind(line.asked or "")
    return next((unit for unit in units if asked and _UNITS[unit].kind == asked), units[0] if units else "")


def _joins(line: Line, j: int) -> bool:
    """Whether this token may stand in a unit; a full stop or dash only inside one, as in ft-lb."""
    if line.text(j) in (".", "-"):
        return line.glued(j) and line.glued(j + 1)
    return line.kind(j) == "word" or line.text(j) in ("·", "⋅", "∙", "*", "/", "×", '"', "%", "°")


def _unit(line: Line, i: int) -> tuple[str, int]:
    """The unit that stands here ("" for none) and the place after it; the longest way to write it wins."""
    start = j = line.skip(i, line.spoken.of, line.spoken.articles)
    found, after, key = "", i, ""
    while j < start + 6 and _joins(line, j):
        more = _JOINTS.sub("", line.text(j)).replace("'", "")
        key, j = key + more, j + 1
        if more and _meant(line, key):
            found, after = _meant(line, key), j
    return ("", i) if _stray(line, start, after) else (found, after)


def _stray(line: Line, start: int, after: int) -> bool:
    """'3 in the pan' holds no inches and 'one a day' no amperes."""
    short = after == start + 1 and line.text(start) in ("in", "a")
    return short and not line.glued(start) and (line.text(start) == "a" or line.kind(after) == "word")


def _far_unit(line: Line, i: int) -> tuple[str, int]:
    """The asked kind of unit one or two words on: '6 engine hours'."""
    for j in (i + 1, i + 2):
        if line.kind(j - 1) != "word" or line.kind(j) != "word":
            break
        unit, after = _unit(line, j)
        if unit and _kind(unit) == _kind(line.asked or "") and len(line.text(j)) > 1:
            return unit, after
    return "", i


def _measured(line: Line, i: int) -> Part | None:
    """An amount with its unit, smaller units added: '1 h 30 min', '1h30'."""
    part = amount(line, i) or _single(line, i)
    if part is None:
        return None
    if not part.unit:
        unit, after = _unit(line, part.next)
        part = Part(part.low, part.high, unit, after)
    while part.unit and part.low == part.high:
        more = _smaller(line, part)
        if more is None:
            break
        part = more
    return part


def _smaller(line: Line, part: Part) -> Part | None:
    i = line.skip(part.next, line.spoken.and_)
    more = amount(line, i)
    if more is None or more.low < 0:
        return None
    unit, after = (more.unit, more.next) if more.unit else _unit(line, more.next)
    if not unit and part.unit == "h" and (line.glued(i) or more.next == len(line.tokens)) and more.low < 60:
        unit = "min"
    added = convert(more.low, unit, part.unit) if unit in _UNITS and part.unit in _UNITS else None
    if added is None or _UNITS[unit].factor >= _UNITS[part.unit].factor:
        return None
    return Part(part.low + added, part.high + added, part.unit, after)


def _spanned(line: Line, part: Part, joints: Sequence[str]) -> Part:
    """'10 to 60', '10-60 h', '30 min to 1 h': the whole span in the second one's unit."""
    if line.text(part.next) not in joints:
        return part
    # The joining dash is eaten here, so that "10 -60" is a span and no minus sixty.
    other = _measured(line, part.next + 1)
    if other is None:
        return part
    ends = (part.low, part.high)
    if part.unit and other.unit and part.unit != other.unit:
        moved = [convert(end, part.unit, other.unit) for end in ends]
        if None in moved:
            return part
        ends = (moved[0] or 0.0, moved[1] or 0.0)
    low, high = min(*ends, other.low), max(*ends, other.high)
    return Part(low, high, other.unit or part.unit, other.next)


def _quantity(line: Line, i: int) -> tuple[Quantity, int] | None:
    """A whole quantity that begins at this token, and the place after it."""
    bound, j = line.phrase(i, line.spoken.before)
    joints = line.spoken.to
    if line.text(j) in line.spoken.between:
        joints, j = (*joints, *line.spoken.and_), j + 1
    part = _measured(line, j)
    if part is None:
        return None
    part = _spanned(line, part, joints)
    late, after = line.phrase(part.next, line.spoken.after)
    unit = part.unit
    if not unit:
        unit, after = _unit(line, after)
    if not unit and line.asked:
        unit, after = _far_unit(line, after)
    if late is None:
        late, after = line.phrase(after, line.spoken.after)
    low, high, unit, after = bounded(Part(part.low, part.high, unit, after), bound or late)
    return Quantity(low, high, unit), after


def _named(line: Line, i: int) -> bool:
    """M8 and 10w40 are names, no quantities (1h30 is one)."""
    if line.kind(i) != "number":
        return False
    before = line.glued(i) and line.kind(i - 1) == "word"
    behind = line.glued(i + 1) and line.kind(i + 1) == "word" and line.glued(i + 2)
    return before or (behind and line.kind(i + 2) == "number" and not _meant(line, line.text(i + 1)))


def quantities(text: str, asked: str | None = None, spoken: Spoken = ENGLISH) -> Iterator[Found]:
    """Every quantity of a text, in order.

    `asked`: the unit wanted, "" for a count, None outside a question.
    """
    line = Line(tokens(fold(text)), name(asked) if asked else asked, spoken)
    i = 0
    while i < len(line.tokens):
        found = None if _named(line, i) else _quantity(line, i)
        if found is None:
            i += 1
            continue
        yield Found(found[0], line.tokens[i].start, line.tokens[found[1] - 1].end)
        i = found[1]


def measure(text: str, asked: str | None = None, spoken: Spoken = ENGLISH) -> Quantity | None:
    """The one quantity a text holds; None when there is none, or two that could both be meant.

    Those that fit the unit asked for come before bare numbers, and bare numbers before other
    units. "None" and "no" are 0 only where a number is asked for.
    """
    said = " ".join(token.text for token in tokens(fold(text)) if token.kind != "sign")
    if asked is not None and said in spoken.zero:
        return Quantity(0.0, 0.0, "")
    found = {each.quantity for each in quantities(text, asked, spoken)}
    fitting = {q for q in found if asked and q.unit and _kind(q.unit) == _kind(asked)}
    bare = {q for q in found if not q.unit}
    best = fitting or (bare if asked is not None and bare else found)
    return best.pop() if len(best) == 1 else None


# --- conversion and showing ------------------------------------------------------------------


def name(unit: str) -> str:
    """Our name of a unit written in any of its usual ways; one that we do not know stays as it is."""
    if unit in _UNITS:
        return unit
    names = _ALIASES.get(_JOINTS.sub("", fold(unit)), ())
    return names[0] if names else unit


def _kind(unit: str) -> str:
    known = _UNITS.get(name(unit))
    return known.kind if known else unit


def alike(a: str, b: str) -> bool:
    """Whether one of these units can be converted into the other."""
    return _kind(a) == _kind(b)


def convert(value: float, from_unit: str, to_unit: str) -> float | None:
    """The value in another unit; None when the two do not measure the same thing."""
    start, end = _UNITS.get(name(from_unit)), _UNITS.get(name(to_unit))
    if name(from_unit) == name(to_unit):
        return value
    if start is None or end is None or start.kind != end.kind:
        return None
    return (value + start.shift) * start.factor / end.factor - end.shift


def _rounded(value: float, exact: bool) -> str:
    """As given to six figures, or, when converted, to three figures but never less than whole ones."""
    if not math.isfinite(value) or value == 0:
        return f"{value:g}"
    digits = (5 if exact else 2) - math.floor(math.log10(abs(value)))
    text = f"{round(value, max(0, digits)):.{max(0, min(digits, 9))}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _worth(value: float, upto: float | None, unit: str, to: str) -> str:
    ends = [value] if upto is None or upto == value else [value, upto]
    moved = [convert(end, unit, to) for end in ends]
    figures = [_rounded(end, name(unit) == to) for end in moved if end is not None]
    return "–".join(figures) + ("" if to == "%" or to.startswith("°") else " ") + to


def show(
    value: float,
    unit: str,
    units: Literal["metric", "imperial", "both"] = "metric",
    upto: float | None = None,
) -> str:
    """'150 N·m (111 lbf·ft)'. A torque always shows both; a unit with no counterpart stays as it is."""
    known = _UNITS.get(name(unit))
    if known is None or not known.other:
        return _worth(value, upto, unit, name(unit)).strip()
    pair = (name(unit), known.other)
    wanted = next((each for each in pair if _UNITS[each].system == units), pair[0])
    if known.kind != "torque" and units != "both":
        return _worth(value, upto, unit, wanted)
    second = pair[1] if wanted == pair[0] else pair[0]
    return f"{_worth(value, upto, unit, wanted)} ({_worth(value, upto, unit, second)})"
