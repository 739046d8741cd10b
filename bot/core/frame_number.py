"""The frame number in the talk: kept as it was read, doubted where its check digit does not fit."""

from __future__ import annotations

from bot.core import vin
from bot.core.events import VinTold
from bot.core.spoken import tokens
from bot.core.talk import Talk

After = str


def tell(talk: Talk, rest: str) -> After:
    """'vin 1G4AH59H45G118341'; 'vin ok' once it was read again; 'vin' for what is kept."""
    known = talk.state.vin
    read = vin.read(rest)
    if tokens(rest) in {tokens(word) for word in talk.words.lists["vin.sure"]} and known is not None:
        talk.emit(known.model_copy(update={"reread": True}))
        talk.say("vin.kept", vin=known.vin)
    elif read is None:
        talk.say("vin.is" if known else "vin.how", vin=known.vin if known else "")
    else:
        talk.emit(VinTold(vin=read.text, digit=read.digit))
        talk.say("vin.doubt" if read.digit == "wrong" else "vin.kept", vin=read.text)
    return "again" if talk.asked is not None or talk.state.complaint else ""
