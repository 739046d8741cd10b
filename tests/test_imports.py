"""Who may import whom, what the core may not touch, and words that have no place in the project."""

from __future__ import annotations

import ast
import codecs
import re
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent

# The table of DEVELOPERS.md: package or module -> what of ours it may import. The longest name wins.
MAY_IMPORT: dict[str, tuple[str, ...]] = {
    "bot.core": ("bot.core",),
    "bot.authoring": ("bot.core", "bot.authoring"),
    "bot.record": ("bot.core", "bot.record"),
    "bot.reports": ("bot.core", "bot.reports"),
    "bot.turn": (
        "bot.core",
        "bot.record",
        "bot.authoring.load",
        "bot.authoring.wording",
        "bot.reports.result",
        "bot.books",
        "bot.outcomes",
        "bot.sheets",
        "bot.sharing",
        "bot.linking",
        "bot.desks",
        "bot.publishing",
        "bot.trials",
        "bot.__version__",
    ),
    "bot.desks": (
        "bot.core",
        "bot.record",
        "bot.authoring.load",
        "bot.authoring.shelf",
        "bot.authoring.wording",
        "bot.reports.text",
        "bot.books",
        "bot.outcomes",
        "bot.sheets",
        "bot.sharing",
    ),
    "bot.sharing": ("bot.core", "bot.record", "bot.authoring.wording", "bot.bench"),
    "bot.linking": ("bot.core", "bot.record", "bot.sharing"),
    "bot.bench": ("bot.core", "bot.record"),
    "bot.publishing": ("bot.core", "bot.record", "bot.authoring"),
    "bot.trials": ("bot.core", "bot.record", "bot.authoring", "bot.publishing"),
    "bot.books": ("bot.core", "bot.record", "bot.reports"),
    "bot.outcomes": ("bot.core", "bot.record", "bot.authoring"),
    "bot.sheets": ("bot.core", "bot.record", "bot.reports", "bot.books"),
    "bot.channels": ("bot.turn", "bot.core.messages", "bot.core.events.Heard", "bot.channels"),
    "bot.channels.sms": (
        "bot.turn",
        "bot.core.messages",
        "bot.core.events.Heard",
        "bot.core.segments",
        "bot.channels",
    ),
    "bot.cli": ("bot",),
    "bot.cli_bikes": ("bot",),
    "bot.cli_files": (),
    "bot.cli_cases": ("bot",),
    "bot.cli_flows": ("bot",),
    "bot.cli_imagined": ("bot",),
    "bot.cli_outcomes": ("bot",),
    "bot.cli_publishing": ("bot",),
    "bot.cli_sharing": ("bot",),
    "bot.cli_words": ("bot",),
}

# Who may import which package of others.
OTHERS: dict[str, tuple[str, ...]] = {
    "numpy": ("bot.core", "bot.authoring"),
    "pydantic": ("bot.core", "bot.authoring", "bot.reports"),
    "pydantic_core": ("bot.core", "bot.authoring"),
    "yaml": ("bot.authoring",),
    "sqlite_utils": ("bot.record",),
    "sqlite3": ("bot.record", "bot.cli", "bot.channels.sms.engines"),
    "psycopg": ("bot.channels.sms.engines",),
    "telegram": ("bot.channels.telegram",),
    "PIL": ("bot.record", "bot.reports"),
    "matplotlib": ("bot.reports",),
    "typst": ("bot.reports",),
    "fontpkg": ("bot.reports",),
    "segno": ("bot.channels.telegram",),
    "gsm0338": ("bot.core.segments",),
    "anyascii": ("bot.core.segments",),
}

# The core is handed everything: no clock, no chance, no files, no network, no other program.
NOT_IN_CORE = {
    "asyncio", "glob", "http", "importlib", "io", "logging", "multiprocessing", "os", "pathlib",
    "random", "secrets", "shutil", "signal", "socket", "sqlite3", "subprocess", "sys", "tempfile",
    "threading", "time", "urllib", "uuid", "yaml",
}  # fmt: skip
NOT_CALLED_IN_CORE = {"open", "print", "input", "eval", "exec", "__import__", "now", "utcnow", "today"}


def _modules() -> list[Path]:
    return sorted((ROOT / "bot").rglob("*.py"))


def _name(path: Path) -> str:
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


def _imports(tree: ast.AST) -> Iterator[tuple[int, str]]:
    """Line and full name of all that is imported; `from a import b` counts as a.b."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"line {node.lineno}: say in full where it is imported from"
            yield from ((node.lineno, f"{node.module}.{alias.name}") for alias in node.names)


def _within(name: str, package: str) -> bool:
    return name == package or name.startswith(package + ".")


def _rule(module: str) -> tuple[str, ...]:
    fitting = [package for package in MAY_IMPORT if _within(module, package)]
    return MAY_IMPORT[max(fitting, key=len)] if fitting else ()


def _wrong_imports(module: str, source: str) -> list[str]:
    wrong = []
    for line, name in _imports(ast.parse(source)):
        top = name.partition(".")[0]
        if top == "bot" and not any(_within(name, allowed) for allowed in _rule(module)):
            wrong.append(f"{module}:{line}: may not import {name}")
        if top in OTHERS and not any(_within(module, who) for who in OTHERS[top]):
            wrong.append(f"{module}:{line}: {top} is not for this place")
        if _within(module, "bot.core") and top in NOT_IN_CORE:
            wrong.append(f"{module}:{line}: the core may not import {top}")
    return wrong


def _wrong_calls(module: str, source: str) -> list[str]:
    wrong = []
    for node in ast.walk(ast.parse(source)):
        if isinstance(node, ast.Call):
            called = node.func
            name = called.attr if isinstance(called, ast.Attribute) else getattr(called, "id", "")
            if name in NOT_CALLED_IN_CORE:
                wrong.append(f"{module}:{node.lineno}: the core may not call {name}()")
    return wrong


def test_every_module_keeps_to_the_table() -> None:
    wrong = [w for path in _modules() for w in _wrong_imports(_name(path), path.read_text("utf-8"))]
    assert not wrong, "\n".join(wrong)


def test_the_core_has_no_clock_and_no_files() -> None:
    core = [path for path in _modules() if _within(_name(path), "bot.core")]
    wrong = [w for path in core for w in _wrong_calls(_name(path), path.read_text("utf-8"))]
    assert core
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize(
    ("module", "source"),
    [
        ("bot.core.odds", "import random"),
        ("bot.core.odds", "from bot.record import store"),
        ("bot.core.odds", "from bot.turn import take"),
        ("bot.record.store", "import bot.authoring.load"),
        ("bot.channels.terminal", "from bot.core.flow import Flow"),
        ("bot.channels.terminal", "import sqlite_utils"),
        ("bot.turn", "from bot.authoring import lint"),
        ("bot.reports.text", "from bot.turn import take"),
    ],
)
def test_the_test_sees_a_wrong_import(module: str, source: str) -> None:
    assert _wrong_imports(module, source)


@pytest.mark.parametrize("source", ["datetime.now(UTC)", "open('x')", "date.today()"])
def test_the_test_sees_a_wrong_call(source: str) -> None:
    assert _wrong_calls("bot.core.odds", source)


def test_every_module_says_what_it_is_for() -> None:
    silent = [_name(path) for path in _modules() if not ast.get_docstring(ast.parse(path.read_text("utf-8")))]
    assert not silent


def _code_lines(tree: ast.Module, source: str) -> int:
    """Lines that are neither blank, comment nor docstring."""
    lines = {n for n, line in enumerate(source.split("\n"), 1) if line.strip() and line.strip()[0] != "#"}
    for node in ast.walk(tree):
        if isinstance(node, (ast.Module, ast.ClassDef, ast.FunctionDef)) and ast.get_docstring(node):
            said = node.body[0]
            lines -= set(range(said.lineno, (said.end_lineno or said.lineno) + 1))
    return len(lines)


def test_modules_and_functions_keep_their_size() -> None:
    """No file over 500 lines of code, no function over 60 lines with all that is in it."""
    big = []
    for path in _modules():
        source = path.read_text("utf-8")
        tree = ast.parse(source)
        if (size := _code_lines(tree, source)) > 500:
            big.append(f"{_name(path)}: {size} lines of code")
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                lines = (node.end_lineno or node.lineno) - node.lineno + 1
                if lines > 60:
                    big.append(f"{_name(path)}.{node.name}: {lines} lines")
    assert not big, "\n".join(big)


def test_no_module_has_a_name_that_says_nothing() -> None:
    empty = {"utils", "util", "helpers", "helper", "manager", "handler", "misc", "json", "types"}
    assert not [path for path in _modules() if path.stem in empty]


# --- words that have no place here ----------------------------------------------------------
# Written in ROT13, since this file is searched too: makers of motorcycles and of engines, hosts
# of package registries, folders of one machine, and working papers that are not part of this.

_WORDS = """
ubaqn lnznun xnjnfnxv fhmhxv xgz uhfdinean qhpngv ozj ncevyvn uneyrl cvnttvb furepb ebgnk
ynzoerggn mhaqncc tnftnf bffn ohygnpb zbagrfn ylpbzvat grkgeba
pynhqr naguebcvp bcranv pungtcg pbcvybg fhontrag
"""
_PARTS = """
clcv.bet clgubaubfgrq ertvfgel.acz pbaqn.nanpbaqn
gurbel.zq cynaare.zq qbznva.zq qbznva_erivrj.zq fglyr.zq gryrtenz.zq fzf.zq cubgb.zq qrfvta.zq frrq.zq
"""
_FOLDERS = "jbex gzc ebbg"


def _plain(secret: str) -> list[str]:
    return [codecs.decode(word, "rot13") for word in secret.split()]


def _banned() -> re.Pattern[str]:
    words, parts, folders = ("|".join(map(re.escape, _plain(s))) for s in (_WORDS, _PARTS, _FOLDERS))
    return re.compile(
        rf"\b(?:{words})\b|(?<![\w-])(?:{parts})|(?<![\w.$/}}*)\]])/(?:{folders})(?![\w-])",
        re.IGNORECASE,
    )


def _kept_files() -> list[Path]:
    """What is or would be in the repository; everything below the root where there is none."""
    command = ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"]
    listed = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    if listed.returncode == 0:
        found = [ROOT / name for name in listed.stdout.split("\0") if name]
    else:
        found = [p for p in ROOT.rglob("*") if not any(q.startswith(".") for q in p.relative_to(ROOT).parts)]
    return [path for path in found if path.is_file()]


def _readable(path: Path) -> str:
    try:
        return path.read_text("utf-8")
    except UnicodeDecodeError:
        return ""


def test_no_file_names_a_make_a_host_or_a_working_paper() -> None:
    banned, found = _banned(), []
    for path in _kept_files():
        for number, line in enumerate(_readable(path).split("\n"), 1):
            hit = banned.search(line)
            if hit:
                found.append(f"{path.relative_to(ROOT)}:{number}: {hit.group()!r}")
    assert not found, "\n".join(found)


def test_no_file_name_is_one_of_them() -> None:
    banned = _banned()
    assert not [path for path in _kept_files() if banned.search(path.name)]


@pytest.mark.parametrize(
    "secret",
    ["frr gurbel.zq 3", "n Ubaqn", "'/gzc/k'", "va /jbex/znva", "sebz clcv.bet/fvzcyr"],
)
def test_the_search_finds_what_it_is_for(secret: str) -> None:
    assert _banned().search(codecs.decode(secret, "rot13"))


@pytest.mark.parametrize(
    "word", ["the work done", "$work/clone", "a root of the thread", "home/work", "see mydomain.md"]
)
def test_the_search_leaves_ordinary_words_alone(word: str) -> None:
    assert not _banned().search(word)
