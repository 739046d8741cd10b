"""The small words of what hands did, of the bike's book, and of the mechanic's part, for every form."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence

from bot.reports.lines import chance, hours, listed, voice
from bot.reports.sheet import (
    AccessLine,
    ConfirmedLine,
    Facts,
    FileLine,
    How,
    InHandLine,
    OutcomeLine,
    PartLine,
    RepairLine,
    Speaks,
    VinLine,
    WorkLine,
)
from bot.reports.wording import Wording

# --- the bike, and what speaks for and against -------------------------------------------------


def vin(told: VinLine, say: Wording) -> str:
    """The frame number, and what its check digit says."""
    key = "vin.reread" if told.digit == "wrong" and told.reread else f"vin.{told.digit}"
    return say[key].format(vin=told.text)


def speaking(speaks: Sequence[Speaks], say: Wording) -> str:
    """Findings with how strongly they speak."""
    return listed(
        say["speaks"].format(finding=s.finding, strength=say[f"strength.{s.strength}"]) for s in speaks
    )


# --- work ----------------------------------------------------------------------------------------


def held(repair: RepairLine, say: Wording, form: str = "") -> str:
    """Whether a repair held; "" where that was not asked. `form`: "short." where room is dear."""
    if not repair.held:
        return ""
    run = ""
    if repair.clean_hours and repair.held in ("held", "came-back"):
        run = say[f"ran.{repair.held}"].format(n=f"{round(repair.clean_hours, 1):g}")
    told = say[f"{form}held.{repair.held}"].format(ran=run)
    if repair.fixed is None:
        return told
    return f"{told} {say[f'{form}held.fixed'].format(chance=chance(repair.fixed, say))}"


def parts_told(amount: float | None, sheet: Facts, say: Wording) -> str:
    """What the parts of a work came to, as it was told; "" where no price was named."""
    if amount is None:
        return ""
    cost = say["part.price"].format(amount=f"{amount:g}", currency=sheet.currency).rstrip()
    return say["repair.parts"].format(amount=cost)


def in_hand(line: InHandLine, by: str, say: Wording, form: str = "") -> str:
    """Work that is begun and not done. `by`: who and when. `form`: "short." where room is dear."""
    work = say["repair.suspicion" if line.suspicion else "repair"].format(name=line.name, voice=by)
    return say[f"{form}in_hand.told" if line.told else f"{form}in_hand"].format(work=work)


def access(line: AccessLine, say: Wording) -> str:
    """One cover: open or shut again, and what `opened` tells."""
    return say["access.open" if line.open else "access.shut"].format(opened=opened(line, say))


def opened(line: AccessLine, say: Wording) -> str:
    """One cover: by whom and when it was opened first, how often."""
    return say["access.opened"].format(name=cover(line, say), voice=voice(line.opened, say))


def cover(line: AccessLine, say: Wording) -> str:
    """One cover, and how often it was opened where that was more than once."""
    name = line.name.rstrip(".")
    return say["access.times"].format(name=name, n=line.times) if line.times > 1 else name


def day(when: str, run: str) -> str:
    return ", ".join(x for x in (when, run) if x)


def part(line: PartLine, say: Wording) -> str:
    """A part that was fitted: when, what, its price, for what."""
    work = say["part.book"] if line.source == "book" else line.for_work.rstrip(".")
    return say["part"].format(day=day(line.day, hours(line.hours)), piece=piece(line, say), work=work)


def piece(line: PartLine, say: Wording) -> str:
    """How many of what at which price."""
    cost = say["part.unpriced"]
    if line.price is not None:
        cost = say["part.price"].format(amount=f"{line.price:g}", currency=line.currency).rstrip()
    return say["part.piece"].format(n=line.quantity, name=line.name, price=cost)


def worked(line: WorkLine, say: Wording) -> str:
    """Work by the bike's book."""
    told = say["worked"].format(day=day(line.day, hours(line.hours)), what=line.what)
    return f"{told} {say['worked.opened']}" if line.opened else told


def earlier(sheet: Facts, say: Wording) -> Iterator[str]:
    """How many lines of the book are not told."""
    if sheet.book_earlier:
        yield say["worked.earlier"].format(n=sheet.book_earlier)


# --- the mechanic's part -------------------------------------------------------------------------


def holders(names: Iterable[str], say: Wording) -> str:
    """Who holds the case."""
    return say["holders"].format(list=listed(names))


def sure_how(how: How, say: Wording) -> str:
    return say[f"how.{how}"] if how else ""


def named(cause: str, words: str, say: Wording) -> str:
    """A cause by its name, else in a mechanic's words; both where both are told."""
    said = " ".join(words.split())
    if cause and said:
        return say["cause.words"].format(cause=cause, words=said)
    return cause or said or say["cause.unknown"]


def confirmed(line: ConfirmedLine, say: Wording) -> str:
    """A cause that a mechanic is sure of."""
    more = say["finding.after_work"].format(n=line.slice) if line.slice else ""
    how = "; ".join(x for x in (sure_how(line.how, say), more) if x)
    return say["confirmed"].format(
        cause=named(line.cause, line.words, say), how=how, voice=voice(line.voice, say)
    )


def outcome(line: OutcomeLine, say: Wording) -> str:
    """How the case came out."""
    how = "; ".join(x for x in (sure_how(line.how, say), voice(line.voice, say)) if x)
    if line.result != "not_found":
        return say[f"outcome.{line.result}"].format(what=named(line.cause, line.words, say), how=how)
    key = "outcome.not_found.words" if line.words.strip() else "outcome.not_found"
    return say[key].format(what=" ".join(line.words.split()), how=how)


def queries(
    sheet: Facts, say: Wording, named: Callable[[FileLine, Wording], str]
) -> Iterator[tuple[str, str]]:
    """What a mechanic asked, and what was answered or that it is open. `named`: how a photo is called."""
    for query in sheet.queries:
        asked = say["query"].format(words=" ".join(query.words.split()), voice=voice(query.asked, say))
        if query.answered is None:
            yield asked, say["query.open"]
            continue
        files = listed(named(file, say) for file in query.files)
        words = say["query.words"].format(words=" ".join(query.answer.split())) if query.answer else ""
        told = " ".join(x for x in (words, files) if x) or say["query.nothing"]
        yield asked, say["query.answer"].format(told=told, voice=voice(query.answered, say))


def open_queries(sheet: Facts) -> Iterator[str]:
    yield from (" ".join(query.words.split()) for query in sheet.queries if query.answered is None)
