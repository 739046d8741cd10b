"""The small words of a language, and how typed words are compared: folded, with one slip forgiven."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, fields, replace
from functools import lru_cache
from typing import Any, Literal, NamedTuple, get_args

LONGEST = 1000  # characters looked at; a person's answer is shorter, a pasted page is no answer
PHRASE = 120  # characters of the longest phrase whose words are remembered
SLIP_FROM = 5  # letters a word must have before one slip in it is forgiven

# --- words -----------------------------------------------------------------------------------

Bound = Literal["about", "over", "at least", "under", "up to"]
_SMALL = "zero one two three four five six seven eight nine ten eleven twelve thirteen fourteen fifteen"
_TENS = "twenty thirty forty fifty sixty seventy eighty ninety"
_NUMBERS = {
    **{word: float(n) for n, word in enumerate(f"{_SMALL} sixteen seventeen eighteen nineteen".split())},
    **{word: 10.0 * n for n, word in enumerate(_TENS.split(), 2)},
}
_BEFORE: dict[str, Bound] = {
    **dict.fromkeys(("about", "around", "roughly", "approx", "approximately", "ca", "circa", "~"), "about"),
    **dict.fromkeys(("nearly", "almost", "maybe", "perhaps", "some"), "about"),
    **dict.fromkeys(("more than", "over", "above", ">"), "over"),
    **dict.fromkeys(("at least", "no less than", "not less than"), "at least"),
    **dict.fromkeys(("less than", "fewer than", "under", "below", "<"), "under"),
    **dict.fromkeys(("up to", "at most", "no more than", "not more than", "max"), "up to"),
}
_AFTER: dict[str, Bound] = {
    **dict.fromkeys(("or so", "ish", "- ish", "roughly", "give or take", "or thereabouts"), "about"),
    **dict.fromkeys(("or more", "+", "plus", "at least", "and up"), "at least"),
    **dict.fromkeys(("or less", "or fewer", "max", "at most", "tops"), "up to"),
}


_PAST = {
    "break": "broke broken", "run": "ran", "spin": "spun", "lose": "lost", "stick": "stuck", "bend": "bent",
    "burn": "burnt", "smell": "smelt", "fall": "fell fallen", "tear": "tore torn", "wear": "wore worn",
    "rebuild": "rebuilt", "build": "built", "blow": "blew blown", "shake": "shook", "freeze": "froze frozen",
    "keep": "kept", "stink": "stank", "take": "took taken",
}  # fmt: skip
_FORMS = {past: word for word, all_past in _PAST.items() for past in all_past.split()}


def _list(text: str) -> tuple[str, ...]:
    return tuple(phrase.strip() for phrase in text.split(","))


@dataclass(frozen=True, eq=False)
class Spoken:
    """The small words of one language; the words catalogue gives another set for another language.

    All are folded (see `fold`), without apostrophes except in number phrases. `...` in `asides`
    stands for the rest of the message.
    """

    # quantities
    numbers: Mapping[str, float] = field(default_factory=lambda: _NUMBERS)
    parts: Mapping[str, float] = field(
        default_factory=lambda: {
            "half": 0.5,
            "quarter": 0.25,
            "quarters": 0.25,
            "third": 1 / 3,
            "eighth": 0.125,
        }
    )
    packs: Mapping[str, float] = field(
        default_factory=lambda: {
            "dozen": 12.0,
            "hundred": 100.0,
            "thousand": 1000.0,
            "couple": 2.0,
            "k": 1000.0,
        }
    )
    # A pinch: a sixteenth to an eighth of a teaspoon, cooks' usage, from memory. A few: our own reading.
    vague: Mapping[str, tuple[float, float, str]] = field(
        default_factory=lambda: {"few": (3.0, 5.0, ""), "pinch": (1 / 16, 1 / 8, "tsp")}
    )
    units: Mapping[str, str] = field(default_factory=dict)  # further words for units -> our name
    before: Mapping[str, Bound] = field(default_factory=lambda: _BEFORE)
    after: Mapping[str, Bound] = field(default_factory=lambda: _AFTER)
    articles: tuple[str, ...] = _list("a,an,the,my,its,his,her,their,your")
    of: tuple[str, ...] = ("of",)
    and_: tuple[str, ...] = ("and", "n", "&", "+")
    to: tuple[str, ...] = ("to", "-", "or", "till", "until")
    between: tuple[str, ...] = ("between",)
    minus: tuple[str, ...] = ("minus",)
    zero: tuple[str, ...] = _list(
        "no,none,none of them,none of those,nothing,nil,none at all,nothing at all,not any,not one,"
        "not a single one"
    )
    # answers
    yes: tuple[str, ...] = _list(
        "yes,y,yeah,yea,yh,ye,ya,yess,yep,yup,aye,yes it does,yes it is,it does,yes they do,yes i did"
    )
    no: tuple[str, ...] = _list(
        "no,n,nope,nah,naw,noo,nooo,none of them,none of those,neither,"
        "no it doesnt,no it does not,no it isnt,it doesnt,it does not,not at all"
    )
    agree: tuple[str, ...] = _list(
        "ok,okay,right,correct,thats right,that is right,all right,thats it,exactly,true"
    )
    refuse: tuple[str, ...] = _list("wrong,thats wrong,that is wrong,not right,thats not right,false")
    every: tuple[str, ...] = _list(
        "all of them,all of these,all of those,all of the above,every one,every one of them,every single one,"
        "the lot,the whole lot,all the numbers"
    )
    sweeping: tuple[str, ...] = _list("all,all of it,everything,every")  # "all" of many: meant, or in haste?
    ordinals: tuple[str, ...] = _list(  # as words, then in figures
        "first,second,third,fourth,fifth,sixth,seventh,eighth,ninth,tenth,1st,2nd,3rd,4th,5th,6th,7th,8th,9th,10th"
    )
    both: tuple[str, ...] = ("both", "both of them")
    number: tuple[str, ...] = _list("number,numero,num,option,opt,answer,ans,nr,n,no,choice")
    polite: tuple[str, ...] = _list(
        "please,pls,plz,sorry,well,um,uh,er,hmm,hm,oh,honestly,really,thanks,thx,ta,cheers,mate,bro,dude,tbh,"
        "lol,hi,hey,hello,then,so"
    )
    filler: tuple[str, ...] = _list(
        "i,im,am,id,say,think,guess,it,its,is,they,theyre,are,that,thats,just,probably,prob,definitely,defo,a,the,to"
    )
    asides: Mapping[str, tuple[str, ...]] = field(
        default_factory=lambda: {
            "wrong": (
                "... is wrong",
                "... are wrong",
                "... is not right",
                "... isnt right",
                "not ...",
                "wrong ...",
                "no ... is wrong",
                "no not ...",
            ),
            "change": ("change ...", "change answer ...", "change my answer to ...", "i want to change ..."),
        }
    )
    # "I want to change what I said about the magnet": a wish, a word for it, and how an answer is recalled
    wishing: tuple[str, ...] = _list(
        "i want to,i need to,i have to,i must,i would like to,id like to,i wanna,can i,could i,can you,"
        "let me,actually,wait,oops,no,please,sorry"
    )
    correcting: tuple[str, ...] = _list("change,correct,edit,redo")
    recalling: tuple[str, ...] = _list(
        "what i said,what i told you,what i answered,what i put,my answer,the answer,my reply"
    )
    instead: tuple[str, ...] = _list("to,into,it is,its,should be,from")  # before the new answer
    # free words
    negation: tuple[str, ...] = _list(
        "not,no,never,without,none,nothing,neither,nor,cannot,cant,dont,doesnt,didnt,isnt,arent,wasnt,werent,"
        "hasnt,havent,hadnt,wont,wouldnt,couldnt,shouldnt,aint,hardly"
    )
    mere: tuple[str, ...] = _list(
        "not only,not just,not long,no doubt,no question,no problem,no wonder,why not"
    )
    pronouns: tuple[str, ...] = _list("it,its,they,he,she,i,im,we,this,that,there,theres")
    doubt: tuple[str, ...] = _list(
        "if,whether,unless,in case,might,could be,may be,maybe,perhaps,wonder,not sure,unsure,no idea,"
        "no clue,dont know,do not know,cant tell,cannot tell,hard to say,used to,should i,do i,how do,how to,"
        "afraid of"
    )
    asking: tuple[str, ...] = _list("why,what,whats,where,who,how come,how bad,any idea")
    wondering: tuple[str, ...] = _list("can i,cant i,can we,could i,should i,shall i,may i,what about")
    part_of: tuple[str, ...] = _list("some,most,mostly,half,partly,few,several,couple,rest,others,one of")
    ended: tuple[str, ...] = ("stopped", "stops", "quit", "cured", "fixed")
    # work that is only meant to be done: words before it, and words right after it
    intent: tuple[str, ...] = _list(
        "need,needs,needing,going to,gonna,about to,thinking of,thinking about,think of,plan,planning,"
        "plan to,planned to,planned,want,wants,wanting,wanna,would like,ill,i will,we will,will be,have to,"
        "has to,had to be,must,ought to,got to,gotta,due,due for,overdue,ordered,order,ordering,waiting for,"
        "waiting on,ready to,before i,before we,hoping to,hope to,considering,saving for,saving up for,"
        "price of,cost of,price for,quote for,buy,buying,bought,looking at,looking for,tempted to,intend to,"
        "lets,let me,to be,to get,getting a,next job is,worth"
    )
    ago: tuple[str, ...] = _list("ago,back,earlier,later,since,on it,on them,old,after that,in")
    since: tuple[str, ...] = ("since",)
    ahead: tuple[str, ...] = _list(
        "needed,required,due,planned,ordered,soon,tomorrow,arrives,arriving,booked,pending,on order,is next,"
        "next week,next month,next weekend,next winter,this winter,on its way,on the way,coming,on the shelf,"
        "on the list,to do,to be done"
    )
    turn: tuple[str, ...] = _list(
        "but,and then,however,although,though,except,instead,because,then,yet,while"
    )
    # what a phrase holds and a person leaves out, what he puts between its words, and what only joins them
    loose: tuple[str, ...] = _list(
        "a,an,the,my,its,his,her,their,your,our,is,are,was,were,be,been,being,of,there,theres,"
        "really,very,quite,still,also,so"
    )
    padding: tuple[str, ...] = _list(
        "just,has,have,had,keeps,kept,started,starts,begins,began,gets,getting,got,seems,looks,bit,little,tiny,"
        "small,slightly,badly,always,often,sometimes,suddenly,lately,recently,actually,totally,completely,"
        "pretty,rather,kinda,sorta,now,too,all,both,this,that,these,those,old,whole,damn,bloody,i,you,to"
    )
    joints: tuple[str, ...] = _list(
        "in,on,of,to,at,with,from,for,by,under,over,behind,inside,into,out,off,up,down,like,and,or,when,since,after"
    )
    # forms of words: endings that go, and what those that follow no rule are forms of
    endings: tuple[str, ...] = ("ing", "ed")
    plural: tuple[str, ...] = ("es", "s")
    past: tuple[str, ...] = ("ed",)
    forms: Mapping[str, str] = field(default_factory=lambda: _FORMS)
    # Each group: words for the same thing in the trade, as it is spoken of; from memory, no source.
    alike: tuple[str, ...] = _list(
        "aluminium aluminum alu ally alloy,colour color,grey gray,tyre tire,centre center,engine motor,"
        "petrol fuel gas gasoline,bit piece particle fragment,screen strainer gauze mesh,"
        "pan tray tub bucket,sump drain,plug bolt,shaving filing swarf turning,"
        "gearbox transmission tranny trans,"
        "flicker flash blink,replace renew swap change fit,noise sound,tooth teeth,"
        "kicker kickstarter kickstart,second 2nd,third 3rd,fourth 4th,fifth 5th,speck fleck,"
        "litre liter,metre meter,basket bell,sparkle sparkly twinkle,shudder judder"
    )
    small: tuple[str, ...] = _list(
        "a,an,the,my,its,his,her,their,your,in,on,of,to,at,is,it,are,was,were,be,been,has,have,had,do,does,did,i,"
        "we,you,and,or,with,from,for,by,how,many,much,what,which,when,this,that,there,now,last,all,some,any,right"
    )


ENGLISH = Spoken()


def speak(lists: Mapping[str, tuple[str, ...]]) -> Spoken:
    """Another language from the catalogue's lists, each named as in `Spoken`; what is missing stays English.

    Lists for mappings hold 'word = value' lines ('zwei = 2', 'etwa = about', 'paar = 3 5', 'Stunden = h');
    for `asides`, 'name = phrase'. Raises ValueError for a line or a list that cannot be read so.
    """
    given: dict[str, Any] = {key.rstrip("_"): value for key, value in lists.items()}
    known = {each.name: each.name.rstrip("_") for each in fields(Spoken)}
    new: dict[str, Any] = {}
    for name, key in known.items():
        if key in given:
            old = getattr(ENGLISH, name)
            new[name] = (
                _mapped(name, given[key]) if isinstance(old, Mapping) else tuple(map(_plain, given[key]))
            )
    return replace(ENGLISH, **new)


def _plain(phrase: str) -> str:
    return fold(phrase).replace("'", "").strip()


def _mapped(name: str, lines: Iterable[str]) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for line in lines:
        word, found, value = (side.strip() for side in line.rpartition("="))
        if not found or not word:
            raise ValueError(f"{name}: '{line}' is not 'word = value'")
        if name == "asides":
            out[word] = (*out.get(word, ()), value)
        else:
            out[_plain(word)] = _value(name, value)
    return out


def _value(name: str, value: str) -> Any:
    if name in ("numbers", "parts", "packs"):
        return float(value)
    if name == "vague":
        low, high, *unit = value.split()
        return (float(low), float(high), " ".join(unit))
    if name in ("before", "after") and value not in get_args(Bound):
        raise ValueError(f"{name}: '{value}' is none of {', '.join(get_args(Bound))}")
    return value


# --- text ------------------------------------------------------------------------------------

_SIGNS = str.maketrans(
    {"’": "'", "‘": "'", "`": "'", "´": "'", "–": "-", "—": "-", "−": "-", "‐": "-", "‑": "-", "⁄": "/",
     "“": '"', "”": '"', "″": '"', "º": "°", "℃": "°c", "℉": "°f", "ø": "o", "đ": "d", "ł": "l", "æ": "ae",
     "\u20e3": " ", "№": "no.", "œ": "oe", "½": " 1/2", "¼": " 1/4", "¾": " 3/4", "⅓": " 1/3",
     "⅔": " 2/3", "⅛": " 1/8", "⅜": " 3/8"}
)  # fmt: skip
_DROPPED = {"Mn", "Me", "Cf", "Cc", "Cs"}


def _letter(char: str) -> str:
    if char.isdecimal():
        return str(unicodedata.decimal(char))
    if "①" <= char <= "⑳":
        return f" {unicodedata.numeric(char):.0f} "
    if char.isspace():
        return char if char == "\n" else " "
    return "" if unicodedata.category(char) in _DROPPED else char


def fold(text: str) -> str:
    """Lower case, no accents, plain quotes and dashes, digits of any script as 0-9; `LONGEST` at most."""
    plain = unicodedata.normalize("NFD", text[:LONGEST].casefold().translate(_SIGNS))
    return "".join(map(_letter, plain)).translate(_SIGNS)


# --- words of a message ----------------------------------------------------------------------


class Word(NamedTuple):
    """A word of the folded text without its apostrophes, and where it stands."""

    text: str
    start: int
    end: int


_WORD = re.compile(r"[^\W_]+(?:'[^\W_]+)*")


def words(folded: str) -> tuple[Word, ...]:
    """Letters and digits, in runs; "doesn't" is one word, doesnt."""
    return tuple(Word(m.group().replace("'", ""), m.start(), m.end()) for m in _WORD.finditer(folded))


def tokens(text: str) -> tuple[str, ...]:
    """The words of a text that is not folded yet, without their places."""
    return _tokens(text) if len(text) <= PHRASE else tuple(word.text for word in words(fold(text)))


@lru_cache(maxsize=8_000)  # phrases of flows and wording: the same at every turn
def _tokens(phrase: str) -> tuple[str, ...]:
    return tuple(word.text for word in words(fold(phrase)))


def shadows(word: str) -> frozenset[str]:
    """The word and the word less any one letter: words one slip apart always share one of these."""
    return frozenset({word, *(word[:i] + word[i + 1 :] for i in range(len(word)))})


def slipped(said: str, meant: str) -> bool:
    """Whether one swap, drop, added or changed letter turns `meant` into `said` (after Damerau 1964)."""
    if said == meant or abs(len(said) - len(meant)) > 1:
        return False
    pairs = enumerate(zip(said, meant, strict=False))
    i = next((k for k, (a, b) in pairs if a != b), min(len(said), len(meant)))
    a, b = said[i:], meant[i:]
    swapped = len(a) > 1 and len(b) > 1 and a[0] == b[1] and a[1] == b[0] and a[2:] == b[2:]
    return swapped or a[1:] == b[1:] or a[1:] == b or a == b[1:]


def off(said: str, meant: str) -> int | None:
    """0 when the same, 1 when one slip away in a word long enough to forgive, else None."""
    if said == meant:
        return 0
    return 1 if len(meant) >= SLIP_FROM and meant.isalpha() and slipped(said, meant) else None


def slips(said: tuple[str, ...], meant: tuple[str, ...]) -> int | None:
    """How many words of a phrase hold a slip; None when it is another phrase."""
    if len(said) != len(meant):
        return None
    each = [off(a, b) for a, b in zip(said, meant, strict=True)]
    return None if None in each else sum(n for n in each if n)
