"""The small words that every form of a sheet is made of: times, hours, chances, money, stops, next steps."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from bot.reports.ahead import LeftOut
from bot.reports.orders import OrderLine
from bot.reports.sheet import OTHER, Facts, FileLine, Hours, LookAgainLine, StopLine, Voice
from bot.reports.wording import Wording

OVER = ("proved", "released", "closed", "abandoned")  # ends after which no more work is expected
MOST = 9.5  # looks that find more of 10 are not called certain
# From which chance a suspect gets which word. The upper three bounds are those of Kent 1964 (Words of
# Estimative Probability), from memory; below them the words are our own, common practice: "probably not"
# would read as cleared beside a suspect that leads with 30 of 100.
CHANCE_WORDS = ((0.87, "nearly"), (0.60, "likely"), (0.40, "even"), (0.10, "possible"), (0.0, "small"))


def wrap(text: str, width: int) -> str:
    """Lines cut at words to `width` columns, 0 for not at all; what belongs to a point stays under it."""
    if not width:
        return text
    return "\n".join(cut for line in text.split("\n") for cut in _cut(line, width))


def _cut(line: str, width: int) -> list[str]:
    lead = "  " if line.startswith(("- ", "  ")) else ""
    return textwrap.wrap(line, width, subsequent_indent=lead, break_on_hyphens=False) or [""]


def moment(at: str) -> str:
    """A stored time as people read it, in UTC."""
    return at[:16].replace("T", " ")


def hours(told: Hours) -> str:
    """'43 h' or '40 to 50 h'; '' when not known."""
    if told is None:
        return ""
    low, high = (f"{round(x, 1):g}" for x in told)
    return f"{low} h" if low == high else f"{low} to {high} h"


def chance(p: float, say: Wording) -> str:
    """A chance of 100; never none and never certain."""
    n = round(100 * p)
    if 0 < n < 100:
        return say["chance"].format(n=n)
    return say["chance.over" if n else "chance.under"]


def chance_word(p: float, say: Wording) -> str:
    """A chance in words: of what is printed beside it, so that the two never disagree."""
    return say[next(f"chance.{word}" for least, word in CHANCE_WORDS if round(p, 2) >= least)]


def under(chances: Iterable[float], say: Wording) -> str:
    """'below 3 of 100': what each of these chances lies below."""
    return say["below"].format(n=int(100 * max(chances)) + 1)


def speaker(v: Voice, say: Wording) -> str:
    """Who: the role, and the name where it says more."""
    role = say[f"role.{v.role}"]
    return role if v.who in ("", v.role) else say["voice.named"].format(role=role, name=v.who)


def voice(v: Voice, say: Wording) -> str:
    """Who, when, and at what running hours."""
    run = hours(v.hours)
    key = "voice.hours" if run else "voice"
    return say[key].format(who=speaker(v, say), at=moment(v.at), hours=run)


def answer_words(answer: str, say: Wording) -> str:
    """An answer in the flow's words; damage without a name is worded here."""
    parts = [say["other"] if part == OTHER else part for part in answer.split(", ")]
    return ", ".join(parts).rstrip(".")


def asked(question: str) -> str:
    """A question before its answer: what is no question ends in a colon."""
    return question if question.endswith(("?", ":")) else question.rstrip(".") + ":"


def topic(question: str) -> str:
    """What a question or look is about: up to its question mark, bracket or comma if more than a word."""
    head = question.partition("?")[0].partition(" (")[0].partition(". ")[0]
    first = head.partition(",")[0]
    return (first if " " in first else head).rstrip(".:")


def file_name(file: FileLine, say: Wording) -> str:
    """A photo or file as both sheets call it."""
    key = "file.about" if file.about else "file"
    return say[key].format(kind=file.kind, n=file.n, about=topic(file.about))


def file_bare(file: FileLine, say: Wording) -> str:
    """A photo or file where it stands beside what it is about."""
    return say["file"].format(kind=file.kind, n=file.n)


def listed(names: Iterable[str]) -> str:
    """Names in a row; many of them hold commas."""
    return "; ".join(names)


def counted(key: str, n: int, say: Wording, **more: str) -> str:
    """A wording that has one form for one and another for many."""
    return say[f"{key}.one" if n == 1 else f"{key}.other"].format(n=n, **more)


def money(amount: float, sheet: Facts, say: Wording) -> str:
    if not (amount and sheet.currency):
        return ""
    return say["money"].format(amount=f"{amount:g}", currency=sheet.currency)


def minutes(n: float, say: Wording) -> str:
    return say["minutes"].format(n=f"{n:.0f}")


# --- stops, what comes next, what it costs -------------------------------------------------------


def stop_words(stop: StopLine, say: Wording) -> str:
    """What a stop says; a lifted one says by what."""
    told = stop.say or say[f"stop.{stop.kind}"]
    if stop.stands:
        return say[f"stop.{_tone(stop)}"].format(say=told)
    by = say.get(f"by.{stop.lifted_by}", stop.lifted_by)
    return say["stop.lifted"].format(by=by, say=told)


def lifting(stop: StopLine, say: Wording) -> Iterator[str]:
    """Who lifted a stop and when, and what a mechanic looked at whose word did."""
    if stop.lifted:
        yield say["stop.lifted_by"].format(voice=voice(stop.lifted, say))
    if stop.looked_at:
        yield looked_at(stop, say)


def looked_at(stop: StopLine, say: Wording) -> str:
    """What a mechanic looked at when he lifted a stop."""
    return say["stop.looked_at"].format(words=" ".join(stop.looked_at.split()))


def stop_short(stop: StopLine, say: Wording) -> str:
    """A stop that stands where room is dear; it says itself or is told whether it must not run."""
    if not stop.short or stop.short == stop.say:
        return stop_words(stop, say)
    lead = say[f"stop.lead.{_tone(stop)}"]
    return stop.short if stop.short.startswith(lead) else f"{lead} {stop.short}"


def _tone(stop: StopLine) -> str:
    """What a stop that stands is about: a hurt person, running, or riding."""
    if stop.person:
        return "person"
    return "running" if "running" in stop.bars else "riding"


def gravest(stops: Iterable[StopLine]) -> list[StopLine]:
    """Stops that stand: a hurt person's, then those against running, then the others."""
    return sorted((s for s in stops if s.stands), key=lambda s: (not s.person, "running" not in s.bars))


def taken_up(stop: StopLine, say: Wording) -> Iterator[str]:
    """Who went on with the bike although somebody was hurt."""
    for taken in stop.taken_up:
        yield say[f"stop.taken_up.{taken.by}"].format(words=taken.words, voice=voice(taken.voice, say))


def because(stop: StopLine, say: Wording) -> Iterator[str]:
    """What made a stop true."""
    if stop.because:
        yield say["stop.because"].format(because="; ".join(answer_words(b, say) for b in stop.because))


def ran_after(stop: StopLine, say: Wording) -> Iterator[str]:
    """How often and how long it was run although this stop stood."""
    for ran in stop.ran_after:
        known = say["stop.ran"].format(minutes=minutes(ran or 0, say))
        yield say["stop.ran.unknown"] if ran is None else known


def next_words(sheet: Facts, say: Wording) -> str:
    """What comes next in one line; '' when nothing does."""
    ahead = sheet.ahead
    key = f"next.{ahead.kind}"
    return say[key if key in say else "next.other"].format(what=ahead.what).strip()


def goes_on(sheet: Facts) -> bool:
    """Whether a next step is worth naming: also to the mechanic that it was handed to."""
    if sheet.ended == "handed_over":
        return sheet.ahead.kind not in ("hand_over", "pause")
    return sheet.ended in ("", "parked", "put_off")


def doing(sheet: Facts, say: Wording) -> Iterator[str]:
    """What to do next and why; of a case that has ended, what is left to do with the bike."""
    if sheet.ended == "handed_over" and not goes_on(sheet):
        barred = any(s.bars_the_bike for s in sheet.stops)
        yield say["next.ended.tow" if barred else "next.ended.handed_over"]
    elif not goes_on(sheet):
        looks = ".looks" if sheet.ended == "closed" and sheet.looks_again else ""
        yield say[f"next.ended.{sheet.ended}{looks}"]
    elif line := next_words(sheet, say):
        yield line
        if (why := say.get(f"why.{sheet.ahead.why}")) is not None:
            costs, saves = (f"{x or 0:.0f}" for x in (sheet.ahead.costs, sheet.ahead.saves))
            yield why.format(costs=costs, saves=saves)


def price(sheet: Facts, say: Wording) -> Iterator[str]:
    """Minutes and money that are spent, and that are expected."""
    spent = money(sheet.money_spent, sheet, say)
    yield say["spent"].format(minutes=minutes(sheet.minutes_spent, say), money=spent)
    if any(stop.person and stop.stands for stop in sheet.stops):  # nothing is reckoned against a person
        return
    if sheet.ahead.minutes and sheet.ended not in OVER:
        coming = money(sheet.order.total, sheet, say)
        yield say["expected"].format(minutes=minutes(sheet.ahead.minutes, say), money=coming)
    if (sheet.ahead.kind == "hand_over" or sheet.ended == "handed_over") and not sheet.order.lines:
        yield giving_up(sheet, say)


def giving_up(sheet: Facts, say: Wording) -> str:
    """What handing over counts as."""
    own = money(sheet.ahead.giving_up_money, sheet, say)
    return say["order.giving_up"].format(minutes=minutes(sheet.ahead.giving_up, say), money=own)


def again(look: LookAgainLine, say: Wording) -> str:
    """A second look that is still to come, and when."""
    key = "again.minutes" if look.after_minutes else "again.hours" if look.after_hours else "again.plain"
    n, running = f"{look.after_minutes or look.after_hours or 0:g}", say[f"running.{look.running}"]
    return say[key].format(n=n, running=running, do=look.do)


def garage(left: Iterable[LeftOut], say: Wording) -> dict[str, list[str]]:
    """What was left for the garage, by why."""
    out: dict[str, list[str]] = {}
    for one in left:
        out.setdefault(say[f"left.{one.why}"], []).append(one.what.rstrip("."))
    return out


# --- order list --------------------------------------------------------------------------------


def order(sheet: Facts, say: Wording) -> Iterator[str]:
    """The parts, the totals with and without what is bought on suspicion, and handing over beside it."""
    yield from (f"- {order_line(line, sheet, say)}" for line in sheet.order.lines)
    if sheet.order.lines:
        yield " ".join(totals(sheet, say))


def order_line(line: OrderLine, sheet: Facts, say: Wording) -> str:
    """One part with its price, and whether it is bought on suspicion."""
    cost = say["order.unpriced"]
    if line.price is not None and sheet.currency:
        cost = say["order.price"].format(amount=f"{line.price:g}", currency=sheet.currency)
    key = "order.single" if line.single_use else "order.line"
    told = say[key].format(n=line.quantity, name=line.name, price=cost)
    return f"{told}{say['order.suspicion'] if line.suspicion else ''}"


def totals(sheet: Facts, say: Wording) -> Iterator[str]:
    """What the parts come to, with and without suspicion, and what handing over counts as beside it."""
    total, sure = f"{sheet.order.total:g}", f"{sheet.order.sure:g}"
    if sheet.currency:
        key = "order.total" if total != sure else "order.total.sure"
        yield say[key].format(total=total, sure=sure, currency=sheet.currency, as_of=sheet.as_of)
    if sheet.order.unpriced:
        yield counted("order.missing", sheet.order.unpriced, say)
    yield giving_up(sheet, say)
