"""Shares in the talk: an admin is shown what closed cases say of them, and may take them into a new version.

It is no part of a case: the open question comes again. What was shown is what is taken: when a newer
version or another case came between the question and the yes, nothing is taken before it was shown anew.
"""

from __future__ import annotations

from collections.abc import Iterator

from bot.core.agenda import Next
from bot.core.desk import ENOUGH, Tally
from bot.core.events import SharesAccepted, WasAsked
from bot.core.flow import Flow
from bot.core.messages import Message
from bot.core.offers import Chosen, Reading
from bot.core.outcomes import LEAST, Learned, differing, shares, written
from bot.core.phrases import Option, plain
from bot.core.state import Asked
from bot.core.talk import Talk

After = str
SHOWN = 5  # causes in one message


def show(talk: Talk, rest: str) -> After:
    """'shares': what cases say where it differs from the file, and whether to take it over."""
    if talk.heard.role != "admin":
        talk.say("shares.admin_only")
        return _after(talk)
    found = talk.desk.outcomes()
    news = [tally for tally in found if _apart(talk, tally)]
    if len(news) == 1:
        _ask(talk, news[0])
        return ""
    if news:
        _put(talk, "", tuple(f"{tally.scope} {tally.flow}" for tally in news))
        return ""
    if found:
        talk.say("shares.same", n=max(tally.total for tally in found))
    else:
        talk.say("shares.not_yet", n=ENOUGH)
    return _after(talk)


def _after(talk: Talk) -> After:
    """The open question again; nothing where there is none."""
    return "again" if talk.asked is not None else ""


def _apart(talk: Talk, tally: Tally) -> bool:
    """Whether a new version would say something else, and not only the same in fewer decimals."""
    file, new = written(_flow(talk, tally)), _shares(talk, tally)
    return any(abs(new[id] - file[id]) > LEAST for id in file)


def _flow(talk: Talk, tally: Tally) -> Flow:
    return talk.desk.flows[tally.flow]


def _shares(talk: Talk, tally: Tally) -> dict[str, float]:
    return shares(talk.desk.flows[tally.author], tally.cases)


def _tally(talk: Talk, scope: str, flow: str) -> Tally | None:
    """That of a scope, as long as this version is in use there."""
    return next((t for t in talk.desk.outcomes() if (t.scope, t.flow) == (scope, flow)), None)


def _ask(talk: Talk, tally: Tally) -> None:
    _put(talk, tally.flow, (tally.scope, str(tally.total)))


def _put(talk: Talk, id: str, extra: tuple[str, ...]) -> None:
    talk.emit(WasAsked(seat=talk.seat, what="shares", id=id, extra=extra))
    talk.tell(put_shares(talk, Next("shares", id, extra)))


# --- put and answered ------------------------------------------------------------------------


def put_shares(talk: Talk, step: Next) -> Message:
    """Of which flow; or what differs there, and whether to use it. It is for admins, so never for a group."""
    words = talk.words
    if not step.id:
        return plain(words, words.say("shares.which"), tuple(_flows(talk, step.extra)), kind="record")
    tally = _tally(talk, step.extra[0], step.id)
    lines = [words.say("shares.newer")] if tally is None else [*_lines(talk, tally), words.say("shares.ask")]
    offered = (Option("yes", words.say("shares.yes")), Option("no", words.say("shares.no")))
    return plain(words, "\n".join(lines), offered, kind="record")


def _flows(talk: Talk, extra: tuple[str, ...]) -> Iterator[Option]:
    for n, key in enumerate(extra):
        scope, _, flow = key.rpartition(" ")
        tally = _tally(talk, scope, flow)
        if tally is not None:
            yield Option(str(n), _head(talk, tally))


def _head(talk: Talk, tally: Tally) -> str:
    where = _where(talk, tally)
    return talk.words.say("shares.head", title=_flow(talk, tally).title, where=where, n=tally.total)


def _where(talk: Talk, tally: Tally) -> str:
    key = "shares.everyone" if tally.scope == "everyone" else "shares.group"
    return talk.words.say(key, group=tally.group or tally.scope.removeprefix("group:"))


def _lines(talk: Talk, tally: Tally) -> Iterator[str]:
    words, flow, author = talk.words, _flow(talk, tally), talk.desk.flows[tally.author]
    found = differing(flow, author, tally.cases, len(flow.causes) + 1)
    yield f"{_head(talk, tally)}:"
    if tally.older:
        yield words.count("shares.older", tally.older)
    for learned in found[:SHOWN]:
        yield _line(talk, flow, learned)
    if len(found) > SHOWN:
        yield words.count("shares.others", len(found) - SHOWN)


def _line(talk: Talk, flow: Flow, learned: Learned) -> str:
    cause = flow.causes.get(learned.cause)
    name = talk.words.say("shares.unlisted") if cause is None else cause.short or cause.name
    return talk.words.say(
        "shares.line", name=name, file=_of_100(learned.file), here=_of_100(learned.here),
        low=f"{learned.low:.0f}", high=f"{learned.high:.0f}",
    )  # fmt: skip


def _of_100(share: float) -> str:
    """One decimal only where it says something."""
    return f"{share:.0f}" if share >= 9.95 else f"{share:.1f}".removesuffix(".0")


def answer_shares(talk: Talk, asked: Asked, reading: Reading) -> bool:
    """Yes takes the shares that were shown; anything else leaves the flow as it is."""
    if not isinstance(reading, Chosen):
        return False
    if asked.id:
        _decide(talk, asked, reading.id == "yes")
        return True
    scope, _, flow = asked.extra[int(reading.id)].rpartition(" ")
    tally = _tally(talk, scope, flow)
    if tally is None:
        talk.say("shares.newer")
    else:
        _ask(talk, tally)
    return True


def _decide(talk: Talk, asked: Asked, yes: bool) -> None:
    tally = _tally(talk, asked.extra[0], asked.id)
    if not yes:
        talk.say("shares.left")
    elif talk.heard.role != "admin":
        talk.say("shares.admin_only")
    elif tally is None:
        talk.say("shares.newer")
    elif str(tally.total) != asked.extra[1]:
        talk.say("shares.more")
        _ask(talk, tally)
    else:
        _accept(talk, tally)


def _accept(talk: Talk, tally: Tally) -> None:
    flow, new = _flow(talk, tally), _shares(talk, tally)
    talk.emit(SharesAccepted(scope=tally.scope, flow=flow.flow, hash=tally.flow, shares=new))
    where = _where(talk, tally)
    talk.say("shares.accepted", n=flow.version + 1, title=flow.title, where=where)
