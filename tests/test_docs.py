"""What the pages say is what the program does: commands, options, codes, the excerpt of a talk.

Run as a program (`python -m tests.test_docs`) it writes the page of the codes anew.
"""

from __future__ import annotations

import argparse
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from bot.authoring import keys
from bot.authoring.catalogue import CATALOGUE
from bot.authoring.load import shipped, shipped_ids
from bot.cli import parser
from bot.core.conversation import draw_table
from tests.test_imports import MAY_IMPORT

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")
CODES = ROOT / "docs" / "problems.md"
TALK = ROOT / "docs" / "talk.md"
LANGUAGE = ROOT / "docs" / "flow-language.md"


def _commands(made: argparse.ArgumentParser, name: str = "sumpline") -> Iterator[tuple[str, list[str]]]:
    """Each command that does something, with its own options."""
    below = [a for a in made._actions if isinstance(a, argparse._SubParsersAction)]
    if not below:
        options = [o for a in made._actions for o in a.option_strings if o.startswith("--") and o != "--help"]
        yield name, options
    for action in below:
        for word, command in action.choices.items():
            yield from _commands(command, f"{name} {word}")


COMMANDS = dict(_commands(parser()))


def _blocks(kind: str) -> list[list[str]]:
    return [found.split("\n") for found in re.findall(rf"^```{kind}\n(.*?)\n?^```$", README, re.S | re.M)]


def codes_page() -> str:
    """The page of all codes, from the catalogue."""
    lines = [
        "# What the linter says",
        "",
        "Each mistake is printed as `file:line:column: CODE sentence`. An error keeps a flow from being",
        "used; a warning does not. Words in {braces} are filled in. A bad example of each lies in",
        "`tests/mistakes/`. This page is made from the catalogue: `python -m tests.test_docs`.",
        "",
        "| code | rule | kind | sentence |",
        "| --- | --- | --- | --- |",
    ]
    for code, kind in sorted(CATALOGUE.items()):
        sentence = kind.sentence.replace("|", "\\|")
        lines.append(f"| {code} | {kind.rule} | {kind.severity} | {sentence} |")
    return "\n".join(lines) + "\n"


def talk_page() -> str:
    """The page that draws the talk, from the table that moves it."""
    return f"""# The talk, drawn from its table

What may be open at a seat, which readings of a reply move the case, and by which move. Made from
`TABLE` in `bot/core/conversation.py`: `python -m tests.test_docs`. Control words (why, back, not
sure, and so on) work at every step and stand in `bot/core/controls.py`.

```mermaid
{draw_table()}
```
"""


def figures_by_basis() -> Counter[str]:
    """How many figures of the shipped flows are sourced, borrowed and practice."""
    found: Counter[str] = Counter()
    for flow_id in shipped_ids():
        flow = shipped(flow_id).flow
        holders = [*flow.asks.values(), *flow.access.values(), *flow.remedies.values()]
        found.update(figure.basis for holder in holders for figure in holder.figures)
        found.update(rule.basis for rule in flow.stop_rules.values())
        found.update(plan.basis for plan in flow.second_looks.values())
    return found


@pytest.mark.parametrize("command", COMMANDS)
def test_readme_names_the_command(command: str) -> None:
    assert re.search(rf"`{command}\b", README), f"README does not name {command}"


@pytest.mark.parametrize(("command", "option"), [(c, o) for c, found in COMMANDS.items() for o in found])
def test_readme_names_the_option(command: str, option: str) -> None:
    assert re.search(rf"{option}\b", README), f"README does not name {option} of {command}"


def test_readme_names_no_command_that_is_not_there() -> None:
    named = re.findall(r"`sumpline ((?:flow |case |bike |serve |letters )?[a-z]+)", README)
    assert {f"sumpline {name}" for name in named} <= set(COMMANDS)


def test_every_command_explains_itself() -> None:
    below = [a for a in parser()._actions if isinstance(a, argparse._SubParsersAction)]
    assert below
    for action in below:
        assert {a.dest for a in action._choices_actions if a.help} == set(action.choices)


def test_the_page_of_codes_is_up_to_date() -> None:
    assert CODES.read_text("utf-8") == codes_page(), "run: python -m tests.test_docs"


def test_the_page_of_keys_is_up_to_date() -> None:
    assert LANGUAGE.read_text("utf-8") == keys.page(), "run: python -m tests.test_docs"
    assert "docs/flow-language.md" in README
    assert "docs/flow-language.md" in DEVELOPERS


def test_readme_and_developers_lead_to_the_codes() -> None:
    assert "docs/problems.md" in README
    assert "docs/problems.md" in DEVELOPERS


def test_the_two_commands_are_the_first_sh_blocks_and_one_line_each() -> None:
    talk, tests, *_ = _blocks("sh")
    assert [len(talk), len(tests)] == [1, 1]
    assert talk[0].endswith("sumpline chat")
    assert "-m pytest" in tests[0]
    for line in (talk[0], tests[0]):
        assert line.startswith("python3 -m venv ")
        assert not re.search(r"\b(?:curl|wget|sudo|apt|brew|uv|poetry|conda)\b", line)


def test_the_first_paragraph_is_the_job_and_comes_before_the_commands() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# Sumpline"
    assert "metal in my" in paragraph
    assert "```" not in paragraph


def test_the_excerpt_is_part_of_a_sample_conversation() -> None:
    excerpts = ["\n".join(block) for block in _blocks("text")]
    assert excerpts, "README shows no excerpt of a talk"
    samples = [path.read_text("utf-8") for path in (ROOT / "sample_conversations").rglob("*.txt")]
    for said in excerpts:
        assert said.count("you:") >= 2
        assert said.count("bot:") >= 2
        assert any(said in sample for sample in samples), "the excerpt is in no sample conversation"


def test_developers_has_the_table_of_imports() -> None:
    for module, allowed in MAY_IMPORT.items():
        row = re.search(rf"^\| `{re.escape(module)}` \| (.*?) \|", DEVELOPERS, re.M)
        assert row, f"DEVELOPERS.md has no row for {module}"
        named = ("bot",) if row[1] == "all" else tuple(re.findall(r"`([\w.]+)`", row[1]))
        assert named == allowed


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md"])
def test_files_named_in_the_pages_are_there(page: str) -> None:
    folders = "bot|tests|flows|docs|sample_conversations"
    named = re.findall(rf"`((?:{folders})/[\w./-]*)`", (ROOT / page).read_text("utf-8"))
    assert named
    assert not [name for name in named if not (ROOT / name).exists()]


def test_every_benchmark_is_listed() -> None:
    found = {path.stem for path in (ROOT / "tests" / "bench").glob("bench_*.py")}
    assert found
    assert not [name for name in found if f"tests.bench.{name}" not in DEVELOPERS]


def test_the_talk_is_drawn_from_its_live_table() -> None:
    assert TALK.read_text("utf-8") == talk_page(), "run: python -m tests.test_docs"
    assert "docs/talk.md" in DEVELOPERS


def test_readme_says_how_many_figures_are_practice() -> None:
    """Counted over all shipped flows, so that the page cannot flatter."""
    counted = figures_by_basis()
    for basis, number in counted.items():
        assert f"{number} {basis}" in README, f"README must say '{number} {basis}'"


if __name__ == "__main__":
    CODES.write_text(codes_page(), "utf-8")
    TALK.write_text(talk_page(), "utf-8")
    LANGUAGE.write_text(keys.page(), "utf-8")
