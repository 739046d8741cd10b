"""What the YAML parser stumbles over, said in our words and at the place where the cure is.

The parser names the place where it could not go on; the slip is often a line above. What stands around
tells which line is the odd one.
"""

from __future__ import annotations

import re

import yaml

from bot.authoring.problems import Place, Problem, problem

_SLIPS = (
    ("cannot start any token", "Y021"),
    ("sequence entries are not allowed", "Y021"),
    ("mapping keys are not allowed", "Y021"),
    ("expected chomping", "Y021"),
    ("expected indentation indicator", "Y021"),
    ("expected a comment or a line break", "Y021"),
    ("expected the node content", "Y021"),
    ("expected ',' or", "Y025"),
    ("could not find expected ':'", "Y026"),
    ("unknown escape character", "Y027"),
    ("expected escape sequence", "Y027"),
    ("expected a single document", "Y007"),
    ("expected <document start>", "Y023"),
    ("expected '<document start>'", "Y023"),
)
_KEY = re.compile(r"\s*(?:- )?[\w.-]+\s*:(?:\s|$)")
_OPENERS, _CLOSERS = "“„‟«", "”»"
_SHOWN = 50  # letters of a line that are repeated


def slip(
    file: str, text: str, error: yaml.MarkedYAMLError, quote: tuple[yaml.Mark, yaml.Mark] | None
) -> Problem:
    """One of the ordinary slips. `quote`: where the last quoted text began and ended, if it was long."""
    said = " ".join(filter(None, (error.context, error.problem)))
    mark = error.problem_mark or error.context_mark
    if mark is None:  # the parser always gives one of the two
        return problem(file, (1, 1), "Y029", said=said)
    if error.context_mark and "quoted scalar" in (error.context or "") and "escape" not in said:
        return problem(file, _place(error.context_mark), "Y022")
    if quote and quote[1].line == mark.line:  # the quote ran on to the next one, lines below
        return problem(file, _place(quote[0]), "Y022")
    lines = text.split("\n")
    return (
        _curly_around(file, lines, mark)
        or ("mapping values are not allowed" in said and _line_above(file, lines, mark))
        or (_is_list(error) and _mixed_list(file, lines, error))
        or _ordinary(file, text, error, said)
    )


def _ordinary(file: str, text: str, error: yaml.MarkedYAMLError, said: str) -> Problem:
    mark = error.problem_mark or error.context_mark
    assert mark is not None
    code, line = _code(text, said, mark), mark.line + 1
    where_cured = code in ("Y025", "Y026") or "block scalar" in said
    if where_cured and error.context_mark:
        mark = error.context_mark
    lines = text.split("\n")
    if code == "Y026":
        return problem(file, _place(mark), code, cure=_cure(lines, mark.line))
    if code == "Y025":
        return problem(file, _place(mark), code, what=_bracket(lines[mark.line][mark.column :], line))
    cure = _column(lines, mark.line) if code == "Y023" else ""
    return problem(file, _place(mark), code, said=said, character=_at(text, mark), cure=cure)


def _bracket(said: str, line: int) -> str:
    """What is wrong with a bracket; `said` is the rest of its line: open, or not to be told apart."""
    bare = re.sub(r"\s#.*", "", said)
    if all(bare.count(left) <= bare.count(right) for left, right in ("[]", "{}")):
        return "what stands in this bracket cannot be told apart"
    return f"the bracket opened here is not closed by line {line}"


def _code(text: str, said: str, mark: yaml.Mark) -> str:
    before = text[mark.index - mark.column : mark.index]
    if "\t" in (_at(text, mark), before[-1:]) and not before.strip():
        return "Y024"
    if "mapping values are not allowed" in said:
        # The first colon of its line is a key that stands too far right; a second one is text.
        return "Y020" if re.search(r":\s", before) else "Y023"
    if "expected <block end>" in said:
        return "Y028" if before.strip() else "Y023"
    return next((code for words, code in _SLIPS if words in said), "Y029")


# --- which line is the odd one ------------------------------------------------------------------


def _line_above(file: str, lines: list[str], mark: yaml.Mark) -> Problem | None:
    """The line above, where this one would do: it has no colon, or it does not stand under its neighbours."""
    here, above = mark.line, _neighbour(lines, mark.line, -1)
    if above is None or not _KEY.match(lines[here]):
        return None
    said = lines[above]
    glued = re.fullmatch(r"\s*(?:- )?[\w-]+(:)[^\s:/].*", said)
    if glued:
        return problem(file, (above + 1, glued.start(1) + 1), "Y026", cure=_cure(lines, above))
    if not re.search(r":(?:\s|$)", said) and not said.lstrip().startswith("- "):
        if _indent(said) == _indent(lines[here]):
            return problem(file, (above + 1, _indent(said) + 1), "Y026", cure=_cure(lines, above))
    elif _is_too_far_left(lines, above, here):
        cure = f": let it begin with {_spaces(_indent(lines[here]))}, as the line below it does"
        return problem(file, (above + 1, _indent(said) + 1), "Y023", cure=cure)
    return None


def _is_too_far_left(lines: list[str], above: int, here: int) -> bool:
    """Whether the line above juts out to the left between two lines that belong together."""
    before = _neighbour(lines, above, -1)
    left, right = _indent(lines[above]), _indent(lines[here])
    if before is None or left >= right:
        return False
    opens = re.fullmatch(r".*:\s*(?:#.*)?", lines[before]) is not None
    return _indent(lines[before]) == right or (opens and left <= _indent(lines[before]) < right)


def _is_list(error: yaml.MarkedYAMLError) -> bool:
    return "block collection" in (error.context or "") and "<block end>" in (error.problem or "")


def _mixed_list(file: str, lines: list[str], error: yaml.MarkedYAMLError) -> Problem | None:
    """A line without a dash beside lines with one. A dash before an empty 'word:' is the odd one."""
    first, odd = error.context_mark, error.problem_mark
    if first is None or odd is None or lines[odd.line][: odd.column].strip():
        return None
    if re.fullmatch(r"\s*- [\w.-]+:\s*(?:#.*)?", lines[first.line]):
        cure = f"take the '- ' away here, since line {odd.line + 1} has none"
        return problem(file, _place(first), "Y030", cure=cure)
    cure = (
        f"put '- ' in front here as in line {first.line + 1}, or move it to the left if the list ends above"
    )
    return problem(file, _place(odd), "Y030", cure=cure)


def _curly_around(file: str, lines: list[str], mark: yaml.Mark) -> Problem | None:
    """Curly quotes around the place where it stumbled: they were meant to keep the text together."""
    said = lines[mark.line] if mark.line < len(lines) else ""
    opens = next((n for n, letter in enumerate(said[: mark.column + 1]) if letter in _OPENERS), None)
    if opens is None or re.search(r"['\"]", said[:opens]):
        return None
    led = re.fullmatch(r"\s*(?:- )?(?:[\w-]+:\s+)?[\[{]?", said[:opens])
    return problem(file, (mark.line + 1, opens + 1), "Y017") if led else None


def curly(said: str) -> bool:
    """Whether a text begins or ends with curly quotes that were meant to enclose it."""
    inner = said[1:]
    if said[:1] and said[0] in _OPENERS:
        closes = next((n for n, letter in enumerate(inner) if letter in _CLOSERS + "“"), len(inner))
        return closes >= len(inner) - 1
    if said[:1] == "‘":
        return said[-1:] == "’" and len(said) > 1
    return bool(said) and said[-1] in _CLOSERS and not any(o in said for o in _OPENERS)


# --- what to do ------------------------------------------------------------------------------------


def _cure(lines: list[str], n: int) -> str:
    """What to do about a line that is no 'word: value' line, with the line as it is meant."""
    said = lines[n].strip()
    bare = said.lstrip("-–—•*·").strip()
    if said.startswith("//"):
        return f"a note for people starts with '#': '# {_short(said.lstrip('/').strip())}'"
    if _is_in_list(lines, n) and said.startswith("-"):
        return f"a space is missing after the dash: '- {_short(bare)}'"
    if _is_in_list(lines, n):
        return f"a line of this list starts with '- ': '- {_short(bare)}'"
    glued = re.match(r"([\w-]+):(\S.*)", said)
    if glued:
        return f"a space is missing after the colon: '{glued[1]}: {_short(glued[2])}'"
    other = re.match(r"([\w-]+)\s*[=;,]\s*(.*)", said) or re.match(r"([\w-]+)\s+(\S+)$", said)
    if other:
        return f"a colon and a space belong after the first word: '{other[1]}: {_short(other[2])}'"
    return "write 'word: value'; a note for people starts with '#'"


def _is_in_list(lines: list[str], n: int) -> bool:
    """Whether the line above or below, in the same column, is one of a list."""
    beside = (_neighbour(lines, n, -1), _neighbour(lines, n, 1))
    return any(
        lines[b].lstrip().startswith("- ") and _indent(lines[b]) == _indent(lines[n])
        for b in beside
        if b is not None
    )


def _column(lines: list[str], n: int) -> str:
    above = _neighbour(lines, n, -1)
    if n >= len(lines) or above is None or _indent(lines[above]) == _indent(lines[n]):
        return ""
    return (
        f": this one begins with {_spaces(_indent(lines[n]))}, line {above + 1} with {_indent(lines[above])}"
    )


def _neighbour(lines: list[str], n: int, step: int) -> int | None:
    """The next line up or down that is neither empty nor a note."""
    n += step
    while 0 <= n < len(lines):
        if lines[n].strip() and not lines[n].lstrip().startswith("#"):
            return n
        n += step
    return None


def _indent(line: str) -> int:
    return len(line) - len(line.lstrip(" "))


def _spaces(n: int) -> str:
    return "no space" if n == 0 else f"{n} space{'s' * (n != 1)}"


def _short(said: str) -> str:
    return said if len(said) <= _SHOWN else f"{said[:_SHOWN]}..."


def _place(mark: yaml.Mark) -> Place:
    return mark.line + 1, mark.column + 1


def _at(text: str, mark: yaml.Mark) -> str:
    return text[mark.index : mark.index + 1]
