"""A small invented flow for tests, 'something rattles', and a diary to write a case by hand."""

from __future__ import annotations

from typing import Any

from bot.core import events
from bot.core.events import Entry, Role
from bot.core.flow import Flow, read
from bot.core.state import State, apply

RATTLE: dict[str, Any] = {
    "language": 1,
    "flow": "rattle",
    "version": 2,
    "title": "Something rattles",
    "riders_say": ["something rattles", "it rattles"],
    "money": {"currency": "EUR", "as_of": "2026-05"},
    "needs_traits": ["starter"],
    "hand_over": {"minutes": 300, "money": 80},
    "safety": ["knock"],
    "opening": ["magnet"],
    "traits": {
        "starter": {
            "ask": "How is it started?",
            "answers": {
                "kick": {"label": "By foot", "shows": ["has-lever"]},
                "button": {"label": "By a button", "denies": ["has-lever"]},
            },
        }
    },
    "signs": {
        "has-lever": {"means": "it has a kick lever", "background": "half"},
        "steel-bits": {"means": "bits that cling", "background": "seldom", "changes": "each_look"},
        "knocking": {"means": "a dull knock", "background": "almost_never"},
        "amount": {
            "means": "how many bits",
            "steps": ["few", "some", "many"],
            "background": [80, 15, 5],
            "changes": "each_look",
        },
    },
    "questions": {
        "knock": {
            "kind": "one",
            "ask": "Does it knock from below?",
            "answers": {
                "yes": {"label": "It knocks", "shows": ["knocking"]},
                "no": {"label": "No knock", "denies": ["knocking"]},
            },
        },
        "magnet": {
            "kind": "one",
            "ask": "Hold a magnet under the bits. What happens?",
            "minutes": 1,
            "tools": ["magnet"],
            "answers": {
                "all": {"label": "All of them cling", "shows": ["steel-bits"]},
                "none": {"label": "None clings", "denies": ["steel-bits"]},
            },
        },
        "amount": {
            "kind": "graded",
            "ask": "How many bits?",
            "sign": "amount",
            "classes": {
                "a-few": {"label": "5 or fewer", "upto": 5},
                "some": {"label": "6 to 20", "upto": 20},
                "heaps": {"label": "more than 20"},
            },
        },
        "meter": {
            "kind": "number",
            "ask": "How many hours since the cover was last off?",
            "unit": "h",
            "allowed": [0, 5000],
            "ranges": [{"upto": 10, "shows": ["steel-bits"]}, {"denies": ["steel-bits"]}],
        },
    },
    "access": {
        "oil-out": {
            "do": "Drain the oil.",
            "shut": "Fill the oil.",
            "open": 10,
            "close": 10,
            "close_money": 15,
            "cautions": ["hot-oil"],
            "closing": [
                {"id": "level", "point": "oil at the line", "why": "it runs dry", "look_like": "between"}
            ],
        },
        "cover": {
            "do": "Take the cover off.",
            "shut": "Put the cover on.",
            "open": 25,
            "close": 30,
            "after": ["oil-out"],
            "skill": "home",
            "at": ["pit", "garage"],
            "parts": {"gasket": {"name": "cover gasket", "single_use": True}},
            "closing": [
                {"id": "dowels", "point": "both dowels in", "why": "it leaks", "look_like": "two pins"}
            ],
        },
    },
    "checks": {
        "nut": {
            "kind": "look",
            "ask": "Try the nut by hand.",
            "behind": ["cover"],
            "minutes": 5,
            "steps": [
                {"id": "plug", "do": "Plug cap off.", "cautions": ["moving-parts"]},
                {"do": "Pull at it."},
            ],
            "good": {"label": "It does not move", "looks_like": "flat washer"},
            "bad": {"label": "It moves", "looks_like": "turns by hand"},
            "finds": [{"cause": "nut-loose", "catches": "almost_always", "false_alarm": 0.002}],
            "other_damage": True,
        },
        "inside": {
            "kind": "several",
            "ask": "Which of these do you see?",
            "behind": ["cover"],
            "minutes": 5,
            "marks": {
                "notches": {
                    "label": "Notches in the fingers",
                    "finds": [{"cause": "basket-worn", "catches": 0.9, "false_alarm": 0.01}],
                },
                "grooves": {
                    "label": "Grooves",
                    "finds": [
                        {"cause": "basket-worn", "catches": 0.3, "false_alarm": 0.03},
                        {"cause": "kick-gear", "catches": 0.6, "false_alarm": 0.03},
                    ],
                },
            },
            "none_of_these": {"label": "None of these"},
        },
    },
    "causes": {
        "nut-loose": {
            "name": "Drive nut working loose",
            "share": 40,
            "shows": {"steel-bits": "often", "amount": [20, 40, 40]},
            "remedy": "refit-nut",
        },
        "basket-worn": {
            "name": "Clutch basket notched",
            "share": 30,
            "shows": {"steel-bits": "sometimes", "amount": [50, 30, 20]},
            "remedy": "file-basket",
        },
        "kick-gear": {
            "name": "Kick gear worn",
            "share": 10,
            "only_when": {"starter": ["kick"]},
            "shows": {"steel-bits": "usually", "has-lever": "almost_always"},
            "remedy": "file-basket",
        },
        "fines": {"name": "Ordinary fines", "share": 10, "alone": True, "second_look": "debris"},
    },
    "remedies": {
        "refit-nut": {
            "name": "Refit the drive nut",
            "steps": [
                {"id": "clean", "do": "Clean both threads."},
                {"id": "nut", "do": "Fit the nut.", "parts": ["washer"]},
            ],
            "behind": ["cover"],
            "minutes": 40,
            "parts": {"washer": {"name": "lock washer", "price": 6, "single_use": True}},
            "closing": [
                {"id": "tab", "point": "tab bent up", "why": "it backs off", "look_like": "flat side"}
            ],
            "holds": "usually",
            "may_leave": {"basket-worn": "rarely"},
            "ask_after": {"thread-oily": {"ask": "Was the thread dry?", "good": "Dry", "bad": "Oily"}},
            "proof": {"do": "Idle for ten minutes.", "minutes": 10, "good": "quiet", "bad": "rattles"},
            "second_look": "debris",
        },
        "file-basket": {
            "name": "New clutch basket",
            "steps": [{"do": "Fit it."}],
            "behind": ["cover"],
            "minutes": 60,
            "parts": {"basket": {"name": "clutch basket", "price": 110.5}},
            "holds": "almost_always",
        },
    },
    "cautions": {
        "hot-oil": {"signal": "warning", "say": "Hot oil burns: let it cool."},
        "moving-parts": {"signal": "danger", "say": "Fingers clear of gears."},
    },
    "tools": {"magnet": {"name": "magnet", "kit": "bare"}},
    "stop_rules": {
        "big-knock": {
            "when": {"all": ["knocking"]},
            "say": "Do not start the engine.",
            "short": "STOP. DO NOT START.",
            "bars": ["running", "riding"],
            "cleared_by": {"any": ["nut.good", "refit-nut"]},
        }
    },
    "second_looks": {
        "debris": {
            "basis": "practice",
            "say": "Look at the oil again.",
            "looks": [
                {"after_minutes": 30, "running": "light", "do": "Drain a little."},
                {"after_hours": 2, "do": "Drain a little."},
            ],
            "asks": ["amount", "magnet"],
            "gone_when": {"amount": "few"},
            "meanings": {"less": "fine", "same": "wait", "more": "bad", "new_kind": "bad"},
        }
    },
    "unlisted": {"share": 10},
}

FLOW: Flow = read(RATTLE)

_VALUES = {
    "look": "look",
    "several": "marks",
    "graded": "steps",
    "one": "one",
    "number": "one",
    "note": "note",
}


class Diary:
    """A case written down entry by entry, one a minute from Monday nine o'clock."""

    def __init__(self) -> None:
        self.state = State()
        self.who, self.role = "rider", "rider"

    def add(self, event: Any) -> Diary:
        seq = self.state.next_seq
        at = f"2026-05-04T{9 + seq // 60:02}:{seq % 60:02}:00Z"
        self.state = apply(self.state, Entry(seq, at, self.who, self.role, event))  # type: ignore[arg-type]
        return self

    def by(self, role: Role) -> Diary:
        """Who speaks from here on."""
        self.who, self.role = role, role
        return self

    def answer(self, ask: str, *value: str, rank: int | None = None, minutes: float = 0) -> Diary:
        form: Any = _VALUES[FLOW.asks[ask].kind]
        looked = 4 if self.role == "mechanic" else 3 if ask in FLOW.checks else 2
        return self.add(
            events.Answered(
                ask=ask, value=value, form=form, rank=looked if rank is None else rank, minutes=minutes
            )
        )

    def mend(self, remedy: str, *causes: str, confirmed: bool = False) -> Diary:
        self.add(events.RemedyBegun(remedy=remedy, suspicion=False))
        return self.add(
            events.Mended_(remedy=remedy, causes=causes, confirmed=confirmed, minutes=40, money=6)
        )

    @property
    def last(self) -> int:
        """The number of the entry written last."""
        return self.state.entries[-1].seq


def opened(complaint: str = "it rattles below", hours: float | None = 43) -> Diary:
    """A case with a bike: three entries."""
    diary = Diary().add(events.Opened(complaint=complaint))
    diary.add(events.FlowChosen(flow="rattle", hash="abc", title="Something rattles"))
    return diary.add(events.BikeTaken(bike="b1", nickname="Goat", hours=hours))
