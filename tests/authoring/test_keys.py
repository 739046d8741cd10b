"""Every key of a flow has a kind, a default and a meaning, on the page, in the terminal, in editors."""

from __future__ import annotations

import re
from typing import Any

import pytest

from bot.authoring import keys, schema
from bot.authoring.meanings import BLOCKS, MEANINGS, meaning
from bot.core import flow as language
from tests.test_cli import Shell, shell

__all__ = ["shell"]

FOUND = {f"{key.block}.{key.name}": key for found in keys.blocks().values() for key in found}


def models() -> dict[str, type[language.Strict]]:
    """All models of the module but the base of all, by another way than the page goes."""
    made = (m for m in vars(language).values() if isinstance(m, type) and issubclass(m, language.Strict))
    return {m.__name__: m for m in made if m is not language.Strict}


def test_every_block_and_every_key_is_there() -> None:
    assert set(keys.blocks()) == set(models()) == set(BLOCKS)
    asking = set(language.Asking.model_fields)
    for name, model in models().items():
        inherited = asking if issubclass(model, language.Asking) and model is not language.Asking else set()
        assert {key.name for key in keys.blocks()[name]} == set(model.model_fields) - inherited


def test_no_meaning_is_for_nothing_and_none_is_empty() -> None:
    used = {full if (full := f"{block}.{key.name}") in MEANINGS else key.name
            for block, found in keys.blocks().items() for key in found}  # fmt: skip
    assert used == set(MEANINGS)
    assert all(re.match(r"[a-z\[]", said) and not said.endswith(".") for said in MEANINGS.values())


def test_a_key_without_a_meaning_is_noticed() -> None:
    with pytest.raises(KeyError):
        meaning("Cause", "no-such-key")


@pytest.mark.parametrize(
    ("key", "kind", "default"),
    [
        ("Flow.flow", "name", ""),
        ("Flow.riders_say", "list of texts, at least 1", ""),
        ("Flow.paired", "number, above 0 below 50", "6"),
        ("Flow.checks", "block by name, each question", "nothing"),
        ("Cause.share", "number, above 0 below 100", ""),
        ("Cause.shows", "block by name, each how often, or one figure a step", "nothing"),
        ("Cause.share_if", "block by name, each block by name, each number, above 0 below 100", "nothing"),
        ("Cause.alone", "true or false", "false"),
        ("Asking.minutes", "number, from 0 to 10,000", "1"),
        ("Asking.at", "list of `trail` or `pit` or `garage`", "trail, pit, garage"),
        ("One.answers", "block by name, each [Answer](#answer), 2 to 6", ""),
        ("Number.allowed", "2 numbers", ""),
        ("Look.slip", "number, from 0 below 0.5", "0.01"),
        ("Money.currency", "text", ""),
        ("Figure.unit", "text, up to 12 letters", ""),
        ("Part.quantity", "whole number, from 1 to 100", "1"),
        ("Part.price", "number, from 0 to 1,000,000", "nothing"),
        ("Remedy.comes_back", "how often", "0.07"),
        ("When.all", "list of conditions", "nothing"),
        ("StopRule.bars", "list of `running` or `riding`, at least 1", ""),
    ],
)
def test_kinds_and_defaults_by_hand(key: str, kind: str, default: str) -> None:
    """Written down from the models before the page was made."""
    assert (FOUND[key].kind, FOUND[key].default) == (kind, default)


def test_what_is_needed_is_what_the_schema_demands() -> None:
    """The JSON Schema tells what must be there by its own way."""
    made = schema.schema()
    for block, part in {**made["$defs"], "Flow": made}.items():
        demanded = set(part.get("required", ()))
        for key in keys.blocks().get(block, ()):
            if (block, key.name) != ("Flow", "signs"):  # may be left to the common file
                assert key.needed == (key.name in demanded), (block, key.name)


def test_editors_are_told_what_each_key_means() -> None:
    made: dict[str, Any] = schema.schema()
    assert made["properties"]["riders_say"]["description"] == MEANINGS["Flow.riders_say"]
    cause = made["$defs"]["Cause"]["properties"]
    assert cause["share"]["description"] == MEANINGS["share"]
    for part in (made, *made["$defs"].values()):
        assert all(said.get("description") for said in part.get("properties", {}).values())


def test_the_page_links_only_to_blocks_that_are_on_it() -> None:
    page = keys.page()
    heads = {head.lower() for head in re.findall(r"(?m)^## (\w+)$", page)}
    assert set(re.findall(r"\(#(\w+)\)", page)) <= heads
    rows = [line for line in page.split("\n") if line.startswith("|")]
    assert all(line.count("|") == 5 for line in rows)


# --- the command ------------------------------------------------------------------------------------


def test_one_key_is_told_wherever_it_stands(shell: Shell) -> None:
    status, out, _ = shell.run("flow", "keys", "share")
    assert status == 0
    assert [line.partition(":")[0] for line in out.splitlines()[::2]] == ["Cause > share", "Unlisted > share"]
    assert "number, above 0 below 100; needed" in out


def test_a_block_is_told_with_its_keys_and_a_colon_does_no_harm(shell: Shell) -> None:
    _, out, _ = shell.run("flow", "keys", "finds:")
    assert "Look > finds" in out
    assert "Finds > catches" in out


def test_all_keys_are_the_page(shell: Shell) -> None:
    assert shell.run("flow", "keys")[:2] == (0, keys.page())


def test_an_unknown_key_is_refused_with_the_one_that_is_meant(shell: Shell) -> None:
    assert "did you mean 'share'?" in shell.refused("flow", "keys", "shaer")
