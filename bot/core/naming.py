"""Causes and remedies by words of their names: which one is meant, or a list of them to choose from."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from bot.core.flow import Cause, Flow, Remedy
from bot.core.forms import likeness
from bot.core.phrases import Option
from bot.core.plan import beliefs, known
from bot.core.spoken import ENGLISH, Spoken, tokens
from bot.core.standing import excluded_by
from bot.core.state import State
from bot.core.words import Words

A_PAGE = 9  # one key each
Names = Mapping[str, tuple[str, ...]]  # by id: name, short name


def causes(flow: Flow, state: State) -> Names:
    """Causes that this bike may have, the likeliest first: that is the order of a list of them."""
    now, traits = beliefs(flow, state), known(state)
    able = [id for id in flow.causes if not excluded_by(flow, id, traits)]
    able.sort(key=lambda id: -now.of(id))
    return {id: _names(flow.causes[id]) for id in able}


def remedies(flow: Flow, state: State) -> Names:
    """Remedies, those of likely causes first."""
    ranked = [flow.causes[id].remedy for id in causes(flow, state)]
    order = dict.fromkeys(id for id in (*ranked, *flow.remedies) if id)
    return {id: _names(flow.remedies[id]) for id in order}


def _names(named: Cause | Remedy) -> tuple[str, ...]:
    return (named.name, getattr(named, "short", None) or "")


def meant(said: str, names: Names, spoken: Spoken = ENGLISH) -> tuple[str, ...]:
    """Ids that words speak of, best first: all that share the most words with them; none for no word.

    One alone is what was meant.
    """
    telling = _telling(said, spoken)
    scores = {id: _score(telling, (*own, id.replace("-", " ")), spoken) for id, own in names.items()}
    best = max(scores.values(), default=0)
    return tuple(id for id, score in scores.items() if score == best) if best else ()


def clearly(said: str, names: Names, spoken: Spoken = ENGLISH) -> str:
    """The one that words speak of for the most part; "" when they may well mean something else."""
    found = meant(said, names, spoken)
    telling = _telling(said, spoken)
    if len(found) != 1:
        return ""
    shared = _score(telling, (*names[found[0]], found[0].replace("-", " ")), spoken)
    return found[0] if 2 * shared > len(telling) else ""


def covers(said: str, own: Iterable[str], spoken: Spoken = ENGLISH) -> bool:
    """Whether every telling word is one of a name: nothing else was said."""
    telling = _telling(said, spoken)
    return bool(telling) and _score(telling, own, spoken) == len(telling)


def _telling(said: str, spoken: Spoken) -> list[str]:
    """Words that say what is meant, each once."""
    idle = {*spoken.small, *spoken.polite}
    return [word for word in dict.fromkeys(tokens(said)) if word not in idle]


def _score(said: Sequence[str], own: Iterable[str], spoken: Spoken) -> int:
    there = {word for name in own for word in tokens(name)} - {*spoken.small}
    return sum(any(likeness(word, each, spoken) is not None for each in there) for word in said)


def page(words: Words, ids: Sequence[str], names: Names, number: int) -> tuple[Option, ...]:
    """One page of a list, with the way to the next one and "none of these"."""
    shown = ids[number * A_PAGE : (number + 1) * A_PAGE]
    offered = [Option(id, names[id][0], names[id][1]) for id in shown]
    if len(ids) > (number + 1) * A_PAGE:
        offered.append(Option("next", words.say("list.next")))
    elif number:
        offered.append(Option("first", words.say("list.first")))
    return (*offered, Option("none", words.say("list.none")))


def turned(number: int, id: str) -> int:
    """The page that 'next' or 'first' leads to."""
    return number + 1 if id == "next" else 0
