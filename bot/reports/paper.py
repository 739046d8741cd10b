"""A sheet as it stands on paper: every line in words, what belongs together, in the order of use.

Pure: `sheet.typ` only puts it on the page, and `pdf.py` hands it over as JSON. Above all stands what may
not be done; then the bike and what is next; then suspects, findings, and the rest in short blocks, in two
columns of about one length. Nothing is cut here: what the JSON holds is on the paper too.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import groupby
from typing import Any

from bot.reports import work_lines
from bot.reports.lines import (
    MOST,
    again,
    answer_words,
    asked,
    because,
    chance,
    chance_word,
    doing,
    garage,
    gravest,
    hours,
    listed,
    looked_at,
    moment,
    order_line,
    price,
    ran_after,
    speaker,
    stop_words,
    taken_up,
    totals,
    under,
    voice,
)
from bot.reports.sheet import Facts, FileLine, FindingLine, LookLine, NoteLine, StopLine, SuspectLine, Voice
from bot.reports.wording import Wording

ONE_BY_ONE = ("found", "repaired", "suspected")  # standings whose suspects have a row each
WORTH_A_ROW = 0.05  # and any other from this chance on
DIGEST = 12  # letters of a photo's digest by which it is found in the JSON and in the record
WIDTH = 60  # letters of a line of a column, about; for making both of one length
LONG = 350  # letters of one text; a block with a longer one goes across the page

Block = dict[str, Any]


def lay(sheet: Facts, say: Wording) -> dict[str, Any]:
    """All texts of the sheet, by their places on the page."""
    blocks = [block for block in _blocks(sheet, say) if block["items"]]
    left, right = _in_two([block for block in blocks if not _is_long(block)])
    notes = _block(say["notes"], [_item(_note(note, say)) for note in sheet.notes])
    return {
        "title": _title(sheet, say),
        "for": say["paper.for"],
        "written": say["written"].format(at=moment(sheet.written_at), version=sheet.version),
        "page": say["paper.page"],
        "stops": _stops(sheet, say),
        "head": list(_head(sheet, say)),
        "next": list(_next(sheet, say)),
        "suspects": _suspects(sheet, say),
        "findings": _findings(sheet, say),
        "left": left,
        "right": right,
        "last": [*filter(_is_long, blocks), *([notes] if sheet.notes else [])],
        "end": say["outranked"],
        "pictures": list(_pictures(sheet, say)),
        "photos": say["paper.photos"],
    }


def _title(sheet: Facts, say: Wording) -> str:
    return say["paper.title" if sheet.bike else "paper.title.no_bike"].format(
        bike=sheet.bike, title=sheet.title
    )


# --- stops, bike, next ---------------------------------------------------------------------------


def _stops(sheet: Facts, say: Wording) -> dict[str, Any]:
    """Stops that stand, the gravest first."""
    return {"standing": [_stop(stop, say) for stop in gravest(sheet.stops)], "none": say["stop.none"]}


def _stop(stop: StopLine, say: Wording) -> dict[str, Any]:
    ran = list(ran_after(stop, say))
    more = [
        say["stop.since"].format(at=moment(stop.at)),
        *because(stop, say),
        *taken_up(stop, say),
        *(ran or ([say["stop.not_run"]] if stop.stands and not stop.person else [])),
    ]
    return {"say": stop_words(stop, say), "more": " ".join(more), "ran": bool(ran)}


def _head(sheet: Facts, say: Wording) -> Iterator[dict[str, str]]:
    """What the rider said, what bike it is, how the case stands."""
    if sheet.complaint:
        yield _row(say["paper.complaint"], f'"{" ".join(sheet.complaint.split())}"')
    yield _row(say["paper.bike"], " · ".join(_bike(sheet, say)))
    if sheet.ended:
        yield _row(say["paper.case"], say[f"ended.{sheet.ended}"])
    if sheet.holders:
        yield _row(say["paper.holders"], listed(sheet.holders))
    if sheet.outcome:
        yield _row(say["paper.outcome"], work_lines.outcome(sheet.outcome, say))
    for sure in sheet.confirmed:
        yield _row(say["paper.confirmed"], work_lines.confirmed(sure, say))


def _row(name: str, text: str) -> dict[str, str]:
    return {"name": name, "text": text}


def _bike(sheet: Facts, say: Wording) -> Iterator[str]:
    run = hours(sheet.hours)
    yield say["hours" if run else "hours.unknown"].format(hours=run).rstrip(".")
    if sheet.vin:
        yield work_lines.vin(sheet.vin, say).rstrip(".")
    yield from (say["trait"].format(ask=asked(ask), answer=answer) for ask, answer in sheet.traits)


def _next(sheet: Facts, say: Wording) -> Iterator[str]:
    first, *why = [*doing(sheet, say), ""]
    yield first
    yield " ".join(x for x in (*why, *price(sheet, say)) if x)


# --- suspects ------------------------------------------------------------------------------------


def _suspects(sheet: Facts, say: Wording) -> dict[str, Any]:
    """Rows of the table: name, standing, chance, look. What shares a look shares a row."""
    return {
        "title": say["suspects"],
        "head": [say[f"paper.suspects.{name}"] for name in ("name", "standing", "chance", "look")],
        "rows": list(_suspect_rows(sheet, say)),
        "misfit": say["misfit"] if sheet.misfit else "",
    }


def _suspect_rows(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    groups: dict[tuple[Any, ...], list[SuspectLine]] = {}
    for s in sheet.suspects:
        groups.setdefault(_shared(s), []).append(s)
    looked = [group for group in groups.values() if group[0].look_made or _has_row(group[0])]
    unseen = [group for group in groups.values() if group not in looked]
    told: set[LookLine] = set()
    for group in (*looked, *unseen):
        yield _suspect_row(group, told, say)
    yield {
        "names": say["paper.unlisted"], "standing": say[f"standing.{sheet.unlisted_standing}"],
        "chance": chance(sheet.unlisted, say), "look": say["paper.no_such_look"], "wide": False,
        "unseen": False, "strong": False, "parts": [], "more": [],
    }  # fmt: skip


def _has_row(s: SuspectLine) -> bool:
    return not s.excluded_by and (s.standing in ONE_BY_ONE or s.chance >= WORTH_A_ROW)


def _shared(s: SuspectLine) -> tuple[Any, ...]:
    """What must be equal for two suspects to share a row; a suspect of its own row shares with none."""
    if _has_row(s):
        return (s.name,)
    look = s.look and (s.look.question, s.look.answer, s.look.voice)
    return (bool(s.excluded_by), s.stale, look, s.remedy)


def _suspect_row(group: Sequence[SuspectLine], told: set[LookLine], say: Wording) -> dict[str, Any]:
    first = group[0]
    alone = _has_row(first)
    return {
        "names": _named(first, say),
        "standing": _standing(first, say),
        "chance": f"{chance(first.chance, say)}, {chance_word(first.chance, say)}",
        "look": " ".join(_seen(group, told, say)),
        "parts": [] if alone else list(_parts(group, say)),
        "wide": not alone,
        "unseen": first.look is None and not first.excluded_by,
        "strong": first.standing in ("found", "suspected"),
        "more": list(_more(first, say)),
    }


def _standing(s: SuspectLine, say: Wording) -> str:
    return say.get(f"short.standing.{s.standing}", say[f"standing.{s.standing}"])


def _parts(group: Sequence[SuspectLine], say: Wording) -> Iterator[str]:
    """Those of one look by their standing, with the chance that each of them lies below."""
    for standing in dict.fromkeys(s.standing for s in group):
        same = [s for s in group if s.standing == standing]
        names, below = listed(_named(s, say) for s in same), under((s.chance for s in same), say)
        yield say["paper.group"].format(standing=_standing(same[0], say), below=below, list=names)


def _named(s: SuspectLine, say: Wording) -> str:
    """A suspect, with the feature of this bike that excludes it."""
    return say["paper.excluded"].format(name=s.name, ask=s.excluded_by) if s.excluded_by else s.name


def _more(s: SuspectLine, say: Wording) -> Iterator[str]:
    if s.remedy:
        yield say["suspect.repaired"].format(remedy=s.remedy)
    for key, told in (("speaks.for", s.speaks_for), ("speaks.against", s.speaks_against)):
        if told:
            yield say[key].format(list=work_lines.speaking(told, say))


def _seen(group: Sequence[SuspectLine], told: set[LookLine], say: Wording) -> Iterator[str]:
    """Who looked at these, when, at what hours, with what result; or that nobody did.

    A look that was told in full already (`told`) is only named.
    """
    first = group[0]
    if first.excluded_by:
        yield say["paper.no_part"]
    elif first.look is None:
        yield say["paper.no_look"]
    if first.look is not None:
        look = replace(first.look, finds_of_10=0)
        yield _look(look, look in told, say)
        told.add(look)
        yield _finds([s.look.finds_of_10 for s in group if s.look], say)
    if first.stale:
        yield say["paper.stale"].format(why=say[f"stale.{first.stale}"])


def _look(look: LookLine, again: bool, say: Wording) -> str:
    answer, key = answer_words(look.answer, say), "paper.same_look" if again else "suspect.look"
    return say[key].format(question=asked(look.question), answer=answer, voice=voice(look.voice, say))


def _finds(of_10: Sequence[float], say: Wording) -> str:
    low, high = round(min(of_10)), min(round(max(of_10)), 9)
    if min(of_10) >= MOST:
        return say["paper.finds.most"]
    return say["paper.finds" if low >= high else "paper.finds.span"].format(n=min(low, 9), most=high)


# --- findings ------------------------------------------------------------------------------------


def _findings(sheet: Facts, say: Wording) -> dict[str, Any]:
    """A row for each that spoke, in the order in which it was told; then where nothing was seen."""
    speaking = [f for f in sheet.findings if not f.quiet]
    return {
        "title": say["findings"],
        "head": [say[f"paper.findings.{name}"] for name in ("asked", "answer", "who")],
        "rows": [_finding(same, say) for same in _alike(speaking)],
        "quiet": list(_quiet([f for f in sheet.findings if f.quiet], say)),
    }


def _alike(found: Iterable[FindingLine]) -> list[list[FindingLine]]:
    """Findings in their order; the same answer of the same person at later looks goes with the first."""
    alike: dict[tuple[Any, ...], list[FindingLine]] = {}
    for f in found:
        alike.setdefault(
            (f.question, f.answer, f.lost, f.rank, f.slice, f.voice.who, f.voice.role), []
        ).append(f)
    return list(alike.values())


def _finding(same: Sequence[FindingLine], say: Wording) -> dict[str, str]:
    f = same[0]
    more = [say["finding.after_work"].format(n=f.slice)] if f.slice else []
    more += [say["finding.round"].format(n=f.round)] if f.round else []
    _, *later = dict.fromkeys(_when(x.voice) for x in same)
    more += [say["paper.later"].format(list=listed(later))] if later else []
    return {
        "asked": asked(f.question),
        "answer": "; ".join([answer_words(f.answer, say), *_lost(f, say)]),
        "who": "; ".join([f"{say[f'sure.{f.rank}']}, {voice(f.voice, say)}", *more]),
    }


def _lost(f: FindingLine, say: Wording) -> Iterator[str]:
    """Answers that no longer count."""
    for lost in f.lost:
        same = lost.voice.role == f.voice.role
        key = "finding.taken_back" if lost.taken_back else "finding.lost" if same else "finding.also"
        role = say[f"role.{lost.voice.role}"]
        yield say[key].format(answer=answer_words(lost.answer, say), role=role)


def _when(v: Voice) -> str:
    return work_lines.day(moment(v.at), hours(v.hours))


def _quiet(found: Iterable[FindingLine], say: Wording) -> Iterator[dict[str, str]]:
    """Where nothing was seen: one paragraph for each who said so, how, and after which repair."""
    told: dict[tuple[str, str, int], list[FindingLine]] = {}
    for f in found:
        told.setdefault((say[f"sure.{f.rank}"], speaker(f.voice, say), f.slice), []).append(f)
    for (sure, who, slice_), lines in told.items():
        first = lines[0].voice
        after = say["finding.after_work"].format(n=slice_) if slice_ else ""
        head = ", ".join(x for x in (sure, who, _when(first), after) if x)
        answers = (_unseen(same, first, say) for same in _alike(lines))
        yield _row(say["paper.quiet.who"].format(who=head), listed(answers))


def _unseen(same: Sequence[FindingLine], first: Voice, say: Wording) -> str:
    """One answer, with its times where they are not that at the head: of the same day the clock alone."""
    f = same[0]
    answer = "; ".join([answer_words(f.answer, say), *_lost(f, say)])
    at = dict.fromkeys(_clock(x.voice, first) for x in same)
    if list(at) == [_clock(first, first)]:
        return f"{asked(f.question)} {answer}"
    return say["paper.quiet"].format(asked=asked(f.question), answer=answer, at=listed(at))


def _clock(one: Voice, other: Voice) -> str:
    """When something was said, beside something else: on the same day, at the same hours, the clock alone."""
    alike = one.at[:10] == other.at[:10] and one.hours == other.hours
    return one.at[11:16] if alike else _when(one)


# --- blocks --------------------------------------------------------------------------------------


def _blocks(sheet: Facts, say: Wording) -> Iterator[Block]:
    """The rest, by what a mechanic wants to know before he reaches for a tool."""
    yield _block(say["repairs"], _repairs(sheet, say) or [_item(say["paper.no_work"])])
    yield _block(say["access"], [*_covers(sheet, say)] or [_item(say["paper.not_opened"])])
    points = sheet.not_confirmed()
    yield _block(say["paper.points"], [_item(point, tick=True) for _, point in points])
    yield _block(say["paper.lifted"], [*_lifted(sheet, say)])
    yield _block(say["mechanics"], [_item(f"{q} {a}") for q, a in work_lines.queries(sheet, say, _file)])
    yield _block(say["not_sure"], [*_unjudged(sheet, say)])
    left = garage(sheet.ahead.left_out, say)
    yield _block(say["left_out"], [_item(f"{why}: {listed(names)}") for why, names in left.items()])
    yield _block(say["again"], [*_looks(sheet, say)])
    yield _block(say["order"], [*_order(sheet, say)])
    yield _block(say["fitted"], [*_fitted(sheet, say)])
    worked = [work_lines.worked(line, say) for line in sheet.worked]
    yield _block(say["worked.head"], [_item(line) for line in (*worked, *work_lines.earlier(sheet, say))])
    yield _block(say["trend"], [_item(sheet.trend.words)] if sheet.trend else [])


def _block(title: str, items: list[dict[str, Any]]) -> Block:
    return {"title": title, "items": items}


def _item(text: str, strong: bool = False, tick: bool = False) -> dict[str, Any]:
    return {"text": text, "strong": strong, "tick": tick}


def _repairs(sheet: Facts, say: Wording) -> list[dict[str, Any]]:
    rows = []
    if hand := sheet.in_hand:
        begun = work_lines.in_hand(hand, voice(hand.voice, say), say)
        cost = work_lines.parts_told(hand.parts_told, sheet, say)
        rows.append(_item(". ".join(x for x in (begun, cost) if x)))
    for repair in sheet.repairs:
        key = "repair.suspicion" if repair.suspicion else "repair"
        done = say[key].format(name=repair.name, voice=voice(repair.voice, say))
        cost = work_lines.parts_told(repair.parts_told, sheet, say)
        more = " ".join(x for x in (work_lines.held(repair, say), cost) if x)
        rows.append(_item(". ".join(x for x in (done, more) if x)))
    return rows


def _covers(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    """What is open and then what was shut again, by who opened it and when."""
    for still in (True, False):
        lines = [line for line in sheet.access if line.open == still]
        for by, opened in groupby(lines, lambda line: voice(line.opened, say)):
            key = "paper.open" if still else "paper.shut"
            names = listed(work_lines.cover(line, say) for line in opened)
            yield _item(say[key].format(voice=by, list=names), strong=still)


def _lifted(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    """Stops that one thing lifted at one time stand together, the others by themselves."""
    groups: dict[tuple[Any, ...], list[StopLine]] = {}
    for stop in sheet.stops:
        if not stop.stands:
            alone = (stop.because, stop.ran_after, stop.looked_at)
            groups.setdefault((stop.lifted_by, stop.lifted, stop.at, alone), []).append(stop)
    for same in groups.values():
        first = same[0]
        by = say.get(f"by.{first.lifted_by}", first.lifted_by)
        who = voice(first.lifted, say) if first.lifted else ""
        names = " · ".join(stop.say or say[f"stop.{stop.kind}"] for stop in same)
        told = [names, *because(first, say), *ran_after(first, say)]
        told += [looked_at(first, say)] if first.looked_at else []
        words = {
            "by": by[:1].upper() + by[1:],
            "voice": who,
            "since": moment(first.at),
            "list": " ".join(told),
        }
        yield _item(say["paper.lifted.by"].format(**words))


def _order(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    """Parts to order, then what they come to."""
    yield from (_item(order_line(line, sheet, say)) for line in sheet.order.lines)
    if sheet.order.lines:
        yield _item(" ".join(totals(sheet, say)))


def _fitted(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    """Parts by the work that they were fitted for."""
    for (when, run, work), parts in groupby(sheet.fitted, lambda part: (part.day, part.hours, part.for_work)):
        told = listed(work_lines.piece(part, say) for part in parts)
        what = work.rstrip(".") or say["part.book"]
        yield _item(say["paper.fitted"].format(day=work_lines.day(when, hours(run)), work=what, list=told))


def _unjudged(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    for key, names in (("paper.not_sure", sheet.not_sure), ("paper.cant", sheet.cant)):
        if names:
            yield _item(say[key].format(list=listed(name.rstrip(".") for name in names)))


def _looks(sheet: Facts, say: Wording) -> Iterator[dict[str, Any]]:
    for look in sheet.looks_again:
        yield _item(again(look, say), tick=True)
    if sheet.looks_again:
        yield _item(say[f"basis.{sheet.looks_again[0].basis}"])


def _note(note: NoteLine, say: Wording) -> str:
    key = "note" if not note.file_kind else "note.both" if note.words else "note.file"
    kind = listed(_file(file, say) for file in note.files) or note.file_kind
    return say[key].format(words=" ".join(note.words.split()), kind=kind, voice=voice(note.voice, say))


def _in_two(blocks: Sequence[Block]) -> tuple[list[Block], list[Block]]:
    """The blocks in two columns of about one length: each goes to the shorter one."""
    left, right = list[Block](), list[Block]()
    for block in blocks:
        shorter = left if sum(map(_size, left)) <= sum(map(_size, right)) else right
        shorter.append(block)
    return left, right


def _is_long(block: Block) -> bool:
    return any(len(item["text"]) > LONG for item in block["items"])


def _size(block: Block) -> float:
    """Lines that a block takes in a column, about; one item stands beside its title."""
    lines = sum(1 + len(item["text"]) // WIDTH for item in block["items"])
    return lines + (0.5 if len(block["items"]) == 1 else 1.5)


# --- pictures ------------------------------------------------------------------------------------


def _file(file: FileLine, say: Wording) -> str:
    """A file by its kind and number, and by the beginning of its digest."""
    return say["paper.file"].format(kind=file.kind, n=file.n, digest=file.digest[:DIGEST])


def _pictures(sheet: Facts, say: Wording) -> Iterator[dict[str, str]]:
    """Photos with what they are of, who sent them and when."""
    for file, by in sheet.files():
        if file.kind == "photo":
            yield {"digest": file.digest, "caption": _caption(file, by, say)}


def _caption(file: FileLine, by: Voice, say: Wording) -> str:
    about = [asked(file.about).rstrip(":")] if file.about else []
    return " · ".join((_file(file, say), *about, voice(by, say)))
