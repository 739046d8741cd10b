"""A case on a phone: what a mechanic needs, in the fewest lines. What is cut here stands on the whole sheet.

The order is that of harm, then of use: stops and whether it was run after them; the rider's words;
bike and hours; what was found; how the suspects stand; what to do next; what it costs; parts; looks to
come; and last what nobody could judge. Each suspect is named at most once. Long tails are counted, with
the chance that each of them lies below, so that nothing is passed over in silence.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from bot.core.standing import Standing
from bot.reports import work_lines
from bot.reports.lines import (
    MOST,
    OVER,
    again,
    answer_words,
    chance,
    chance_word,
    counted,
    doing,
    file_name,
    garage,
    gravest,
    hours,
    listed,
    looked_at,
    price,
    ran_after,
    speaker,
    stop_short,
    taken_up,
    topic,
    totals,
    under,
    wrap,
)
from bot.reports.sheet import ConfirmedLine, Facts, FindingLine, RepairLine, StopLine, SuspectLine, Voice
from bot.reports.wording import ENGLISH, Wording

TOP = 5  # suspects told one by one
WORTH_TELLING = 0.05  # and none below this chance: so likely is the least that can be called suspected
NAMES = 2  # of what was left for the garage, for one reason
QUIET = 4  # places where nothing was seen
UNJUDGED = 6  # of what the rider could not judge
FEW_WORDS = 2  # of a note that hardly tells anything, such as thanks
NOTE = 60  # letters of the last note
FILES = 4  # photos and files named one by one
POINTS = 4  # of closing that nobody confirmed, beside those of repairs
QUERIES = 2  # of a mechanic's that wait for an answer
SETTLED: tuple[Standing, ...] = ("found", "repaired", "ruled-out")


def write(sheet: Facts, say: Wording = ENGLISH, width: int = 0) -> str:
    """The short sheet as text. `width`: columns to wrap at, 0 for one fact a line."""
    blocks = (_head(sheet, say), _findings(sheet, say), _suspects(sheet, say), _ahead(sheet, say))
    return wrap("\n\n".join("\n".join(lines) for block in blocks if (lines := list(block))), width)


# --- stops, words, bike ------------------------------------------------------------------------


def _head(sheet: Facts, say: Wording) -> Iterator[str]:
    yield from _stops(sheet, say)
    key = "head" if sheet.bike else "head.no_bike"
    yield say[key].format(bike=sheet.bike, title=sheet.title)
    if sheet.complaint:
        yield f'"{" ".join(sheet.complaint.split())}"'
    run = hours(sheet.hours) or say["short.hours.unknown"]
    ended = [say[f"short.ended.{sheet.ended}"]] if sheet.ended else []
    yield f"{', '.join((sheet.written_at[:10], run, *ended))}."
    if sheet.vin:
        yield work_lines.vin(sheet.vin, say)
    if sheet.holders:
        yield work_lines.holders(sheet.holders, say)
    if sheet.outcome:
        yield work_lines.outcome(sheet.outcome, say)
    known = (sheet.outcome.cause, sheet.outcome.words) if sheet.outcome else None
    yield from (_sure(line, say) for line in sheet.confirmed if (line.cause, line.words) != known)


def _sure(line: ConfirmedLine, say: Wording) -> str:
    """A cause that a mechanic is sure of."""
    cause = work_lines.named(line.cause, line.words, say)
    how, who = work_lines.sure_how(line.how, say), speaker(line.voice, say)
    return say["short.sure"].format(cause=cause, how=how, who=who, day=line.voice.at[:10])


def _stops(sheet: Facts, say: Wording) -> Iterator[str]:
    """Stops that stand, the gravest first, each with what was run after it."""
    standing = gravest(sheet.stops)
    for stop in standing:
        ran = list(ran_after(stop, say)) or ([] if stop.person else [say["stop.not_run"]])
        yield " ".join((stop_short(stop, say), *taken_up(stop, say), *ran))
    if not standing:
        yield say["stop.none"]
    yield from (_lifted(s, s.lifted, say) for s in sheet.stops if s.looked_at and s.lifted)


def _lifted(stop: StopLine, by: Voice, say: Wording) -> str:
    """A stop that a mechanic's word lifted, with what he looked at."""
    told = stop.short or stop.say or say[f"stop.{stop.kind}"]
    told = told if told[-1] in ".!?" else f"{told}."
    who, looked = speaker(by, say), looked_at(stop, say)
    return say["short.lifted"].format(who=who, day=by.at[:10], say=told, looked=looked)


# --- findings ----------------------------------------------------------------------------------


def _findings(sheet: Facts, say: Wording) -> Iterator[str]:
    """One line for each that spoke, surest first, by the newest answer of each question."""
    newest = {finding.question: finding for finding in sheet.findings}
    ranked = sorted(newest.values(), key=lambda f: -f.rank)
    told: dict[str, list[str]] = {}
    for finding in ranked:
        if not finding.quiet:
            told.setdefault(speaker(finding.voice, say), []).append(_told(finding, say))
    yield from (say["short.voice"].format(who=who, list=listed(said)) for who, said in told.items())
    if quiet := sorted((f for f in ranked if f.quiet), key=lambda f: not f.lost):
        yield _nothing(quiet, say)


def _nothing(quiet: Sequence[FindingLine], say: Wording) -> str:
    """Where nothing was seen: first what was said otherwise before, then looks; a long tail is counted."""
    names = [topic(f.question) + _earlier(f, say) for f in quiet]
    who = ", ".join(dict.fromkeys(speaker(f.voice, say) for f in quiet))
    return say["short.quiet"].format(who=who, list=_cut(names, QUIET, say))


def _cut(names: Sequence[str], most: int, say: Wording) -> str:
    """The first names, and how many more there are; a lone one more is named too."""
    if len(names) <= most + 1:
        return listed(names)
    return listed([*names[:most], say["short.more"].format(n=len(names) - most)])


def _told(finding: FindingLine, say: Wording) -> str:
    answer = answer_words(finding.short or finding.answer, say)
    sure = say[f"short.sure.{finding.rank}"]
    told = say["short.finding"].format(topic=topic(finding.question), answer=answer, sure=sure)
    return told + _earlier(finding, say)


def _earlier(finding: FindingLine, say: Wording) -> str:
    """What was said before and no longer counts: the last of it."""
    if not finding.lost:
        return ""
    lost = finding.lost[-1]
    key = "taken_back" if lost.taken_back else "also" if lost.voice.role != finding.voice.role else "lost"
    role = say[f"role.{lost.voice.role}"]
    return (
        f" ({say[f'finding.{key}'].format(answer=answer_words(lost.short or lost.answer, say), role=role)})"
    )


# --- suspects ----------------------------------------------------------------------------------


def _suspects(sheet: Facts, say: Wording) -> Iterator[str]:
    yield say["suspects"]
    if sheet.misfit:
        yield say["misfit"]
    yield from _settled(sheet, say)
    left = [s for s in sheet.suspects if s.standing not in SETTLED]
    likely = sorted((s for s in left if s.chance >= WORTH_TELLING), key=lambda s: -s.chance)[:TOP]
    groups: dict[tuple[Standing, str], list[str]] = {}
    for s in likely:
        word, number = chance_word(s.chance, say), chance(s.chance, say)
        told = say["short.suspect"].format(name=s.short or s.name, word=word, chance=number)
        groups.setdefault((s.standing, _seen(s, say)), []).append(told)
    for (standing, look), names in groups.items():
        word = say.get(f"short.standing.{standing}", say[f"standing.{standing}"])
        yield "- " + say["short.group"].format(standing=word, look=look, list=listed(names))
    if others := [s for s in left if s not in likely]:
        yield "- " + _others(others, say)
    yield "- " + say["unlisted"].format(chance=chance(sheet.unlisted, say))


def _settled(sheet: Facts, say: Wording) -> Iterator[str]:
    """Found, repaired and ruled out: what was cleared stands in one line for each who looked, by look."""
    yield from ("- " + _one(s, say) for s in sheet.suspects if s.standing in ("found", "repaired"))
    if hand := sheet.in_hand:
        by = f"{speaker(hand.voice, say)}, {hand.voice.at[:10]}"
        begun = work_lines.in_hand(hand, by, say, "short.")
        yield " ".join(x for x in ("-", begun, work_lines.parts_told(hand.parts_told, sheet, say)) if x)
    yield from (f"- {_work(repair, sheet, say)}" for repair in sheet.repairs)
    cleared: dict[str, dict[str, list[SuspectLine]]] = {}
    for s in sheet.suspects:
        if s.standing == "ruled-out" and s.look and not s.excluded_by:
            looks = cleared.setdefault(_when(s.look.voice, say), {})
            looks.setdefault(topic(s.look.question), []).append(s)
    for when, looks in cleared.items():
        rows = ". ".join(_cleared(look, suspects, say) for look, suspects in looks.items())
        yield "- " + say["short.ruled_out"].format(when=when, list=rows)
    if without := sum(bool(s.excluded_by) for s in sheet.suspects):
        yield "- " + say["short.no_part"].format(n=without)


def _cleared(look: str, suspects: Sequence[SuspectLine], say: Wording) -> str:
    """What one look cleared, and how many of ten such faults it finds."""
    names, finds = listed(s.short or s.name for s in suspects), _finds(suspects, say)
    return say["short.cleared"].format(list=names, look=look, finds=finds)


def _one(s: SuspectLine, say: Wording) -> str:
    told = {"name": s.name, "standing": say[f"standing.{s.standing}"], "chance": chance(s.chance, say)}
    if s.standing == "found" and s.look:
        look, when = topic(s.look.question), _when(s.look.voice, say)
        return say["short.found"].format(**told, look=look, when=when, finds=_finds([s], say))
    return say["suspect"].format(**told)


def _when(v: Voice, say: Wording) -> str:
    """Who looked, which day, at what hours."""
    return ", ".join(x for x in (speaker(v, say), v.at[:10], hours(v.hours)) if x)


def _finds(suspects: Sequence[SuspectLine], say: Wording) -> str:
    """'finds 8 to 9 of 10': of ten such faults the look finds so many; none is called certain."""
    of_10 = [s.look.finds_of_10 for s in suspects if s.look]
    low, high = round(min(of_10)), min(round(max(of_10)), 9)
    if min(of_10) >= MOST:
        return say["short.finds.most"]
    return say["short.finds" if low >= high else "short.finds.span"].format(n=min(low, 9), most=high)


def _work(repair: RepairLine, sheet: Facts, say: Wording) -> str:
    """Work that was done, and what of its closing nobody confirmed."""
    key = "repair.suspicion" if repair.suspicion else "repair"
    who = f"{speaker(repair.voice, say)}, {repair.voice.at[:10]}"
    done = say["short.done"].format(work=say[key].format(name=repair.name, voice=who))
    points = listed(point.rstrip(".") for point in repair.unconfirmed)
    open_ = [say["repair.unconfirmed"].format(point=points) + "."] if points else []
    held, cost = work_lines.held(repair, say, "short."), work_lines.parts_told(repair.parts_told, sheet, say)
    return " ".join(x for x in (done, held, cost, *open_) if x)


def _seen(s: SuspectLine, say: Wording) -> str:
    """What looks there were of a suspect that is neither found nor ruled out."""
    if s.look is None:
        return say["short.no_look"]
    if s.stale:
        at = hours(s.look.voice.hours) or s.look.voice.at[:10]
        return say["short.stale"].format(at=at, why=say[f"stale.{s.stale}"])
    return say[f"short.look.{s.look.said}"].format(look=topic(s.look.question))


def _others(others: Sequence[SuspectLine], say: Wording) -> str:
    """How many are not named, below which chance, and of how many of them no look was made."""
    told = counted("short.others", len(others), say, below=under((s.chance for s in others), say))
    without = sum(not s.look_made for s in others)
    key = "short.no_looks.all" if without == len(others) else "short.no_looks"
    return told + (say[key].format(n=without) if without else "")


# --- what comes next, and the rest -------------------------------------------------------------


def _ahead(sheet: Facts, say: Wording) -> Iterator[str]:
    yield from _covers(sheet, say)
    if steps := " ".join(x if x[-1] in ".?!" else f"{x}." for x in doing(sheet, say)):
        yield say["short.next"].format(what=steps)
    yield " ".join(price(sheet, say))
    if sheet.order.lines:
        yield " ".join((say["short.order"].format(list=listed(_parts(sheet, say))), *totals(sheet, say)))
    if sheet.looks_again:
        yield say["again"]
        yield from (f"- {again(look, say)}" for look in sheet.looks_again)
    if sheet.not_sure:
        yield say["short.not_sure"].format(list=_cut([topic(q) for q in sheet.not_sure], UNJUDGED, say))
    if waiting := list(work_lines.open_queries(sheet)):
        yield say["short.queries"].format(list=_cut(waiting, QUERIES, say))
    if sheet.ahead.left_out and sheet.ended not in OVER:
        left = garage(sheet.ahead.left_out, say).items()
        rows = [f"{_cut([topic(n) for n in names], NAMES, say)} ({why})" for why, names in left]
        yield say["short.left_out"].format(list=listed(rows))
    yield from _notes(sheet, say)
    yield say["short.whole"]
    yield say["short.outranked"]


def _covers(sheet: Facts, say: Wording) -> Iterator[str]:
    """What is open still; then points of what was shut again that no repair named."""
    if still := [line.name.rstrip(".") for line in sheet.access if line.open]:
        yield say["short.open"].format(list=listed(still))
    told = {point for repair in sheet.repairs for point in repair.unconfirmed}
    if left := [point for _, point in sheet.not_confirmed() if point not in told]:
        points = [point.rstrip(".") for point in left]
        yield say["short.not_confirmed"].format(list=_cut(points, POINTS, say))


def _parts(sheet: Facts, say: Wording) -> Iterator[str]:
    for part in sheet.order.lines:
        cost = say["order.unpriced"] if part.price is None else f"{part.price:g}"
        key = "short.part.single" if part.single_use else "short.part"
        told = say[key].format(n=part.quantity, name=part.name, price=cost)
        yield told + (say["order.suspicion"] if part.suspicion else "")


def _notes(sheet: Facts, say: Wording) -> Iterator[str]:
    """How many notes were kept, and the beginning of the last that has words, of one that says more first."""
    if not sheet.notes:
        return
    words = [" ".join(note.words.split()) for note in sheet.notes if note.words]
    telling = [said for said in words if len(said.split()) > FEW_WORDS] or words
    cut = telling[-1] if telling else ""
    cut = cut if len(cut) <= NOTE else f"{cut[:NOTE].rstrip()}..."
    key = "short.note" if telling[-1:] == words[-1:] else "short.note.one"
    last = say[key].format(words=cut) if cut else ""
    yield counted("short.notes", len(sheet.notes), say, last=last)
    if files := [file_name(file, say) for note in sheet.notes for file in note.files]:
        yield say["short.files"].format(list=_cut(files, FILES, say))
