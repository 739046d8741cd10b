"""The rules of every channel, over text messages."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest

from bot import turn
from bot.channels.sms import layout
from bot.core.messages import Message
from tests.channels.contract import NOW, Contract, Line
from tests.channels.sms_talk import RIDER, Air


class ByText:
    """One rider with an old phone."""

    limit = 3 * 153  # septets of three joined messages: 3GPP TS 23.040

    def __init__(self, store: turn.Store, folder: Path, now: object = NOW) -> None:
        self.store, self.folder = store, folder
        self.air = Air(store, folder, NOW)

    def say(self, text: str) -> Sequence[str]:
        self.air.wait(minutes=2)
        return self.air.text(RIDER, text)

    def deliver(self, text: str, message_id: str) -> Sequence[str]:
        """The network's stamp is all that tells two texts with the same words apart."""
        stamp = f"2026-05-04T08:59:{10 + int(message_id[1:]):02}Z"
        self.air.arrive(RIDER, text, stamp=stamp)
        return self.air.rest()

    def lay_out(self, message: Message) -> Sequence[str]:
        said = layout.said(1, message).text
        pages, rest = [], layout.written(said)
        while rest:
            body, rest = layout.page(rest)
            pages.append(body.removesuffix(layout.MORE))
        return pages

    def again(self) -> Line:
        return ByText(self.store, self.folder)


class TestByText(Contract):
    @pytest.fixture(autouse=True)
    def _folder(self, tmp_path: Path) -> None:
        self.folder = tmp_path

    def begin(self, store: turn.Store) -> Line:
        return ByText(store, self.folder)
