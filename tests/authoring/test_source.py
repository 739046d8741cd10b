"""The small part of YAML that flows may use, its places, and what is refused."""

from __future__ import annotations

import pytest

from bot.authoring import encoding, slips, source


def read(text: str | bytes) -> source.Source:
    return source.read(text.encode() if isinstance(text, str) else text, "f.yaml")


def refused(text: str | bytes) -> tuple[str, int, int]:
    """Code and place of the only problem."""
    found = read(text)
    assert found.data is None
    [problem] = found.problems
    return problem.code, problem.line, problem.column


# --- what people mean --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "said", ["yes", "no", "on", "off", "Yes", "1:30", "2026-05-01", "010", "1_000", "0x1f", ".5"]
)
def test_what_reads_like_text_stays_text(said: str) -> None:
    assert read(f"a: {said}").data == {"a": said}


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("true", True),
        ("false", False),
        ("null", None),
        ("~", None),
        ("", None),
        ("12", 12),
        ("-3", -3),
        ("0.5", 0.5),
    ],
)
def test_plain_values(said: str, meant: object) -> None:
    value = (read(f"a: {said}").data or {})["a"]
    assert value == meant
    assert type(value) is type(meant)


@pytest.mark.parametrize("key", ["yes", "no", "on", "1", "null", "true", "1.5", "1:30", "~"])
def test_keys_are_always_text(key: str) -> None:
    assert read(f"{key}: x").data == {key: "x"}


def test_yes_and_on_are_two_keys() -> None:
    assert read("yes: a\non: b\nno: c\n").data == {"yes": "a", "on": "b", "no": "c"}


def test_blocks_lists_and_folded_text() -> None:
    text = "a:\n  - x\n  - {b: 1}\nc: >-\n  two\n  lines\nd: |\n  kept\n"
    assert read(text).data == {"a": ["x", {"b": 1}], "c": "two lines", "d": "kept\n"}


# --- places -------------------------------------------------------------------------------------------


def test_places_of_keys_and_values() -> None:
    found = read("top:\n  - first\n  - {deep: 12}\nquoted: 'x'\n")
    assert found.spots[("top",)] == source.Spot((1, 1), (2, 3))
    assert found.spots[("top", 0)] == source.Spot((2, 5), (2, 5))
    assert found.spots[("top", 1, "deep")] == source.Spot((3, 6), (3, 12))
    assert found.spots[("quoted",)] == source.Spot((4, 1), (4, 9))


def test_a_path_that_is_not_there_is_at_its_parents_key() -> None:
    found = read("top:\n  inner: 1\n")
    assert found.place(("top", "missing", "deeper")) == (1, 1)
    assert found.place(("top", "inner")) == (2, 10)
    assert found.place(("top", "inner"), key=True) == (2, 3)
    assert found.place(("nowhere",)) == (1, 1)


def test_a_byte_order_mark_moves_nothing() -> None:
    found = read(b"\xef\xbb\xbfa: 1\n")
    assert found.data == {"a": 1}
    assert found.spots[("a",)].key == (1, 1)


def test_windows_line_ends_keep_the_lines() -> None:
    assert read("a: 1\r\nb: 2\r\n").spots[("b",)].value == (2, 4)


def test_letters_beyond_sixteen_bits_count_as_one_column() -> None:
    assert read("a: {'\U0001f527': 1, b: 2}").spots[("a", "b")].key == (1, 13)


# --- hostile files -------------------------------------------------------------------------------------


def bomb() -> str:
    lines = ["a: &a [x, x, x, x, x, x, x, x, x]"]
    for n in range(1, 9):
        name, before = "abcdefghi"[n], "abcdefghi"[n - 1]
        lines.append(f"{name}: &{name} [{', '.join([f'*{before}'] * 9)}]")
    return "\n".join(lines)


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (bomb(), ("Y003", 1, 4)),
        ("a: &a [*a]", ("Y003", 1, 4)),
        ("a: 1\nb: *a", ("Y003", 2, 4)),
        ("base: &base {x: 1}\nc:\n  <<: *base\n", ("Y003", 1, 7)),
        ("a: !!python/object/apply:os.system ['true']", ("Y004", 1, 4)),
        ("a: !x y", ("Y004", 1, 4)),
        ("%TAG ! tag:x,2000:\n---\na: 1", ("Y011", 1, 1)),
        ("[" * 100_000, ("Y005", 1, 17)),
        ("{a: " * 600, ("Y005", 1, 4 * 16 + 1)),
        ("\n".join(" " * n + "a:" for n in range(600)), ("Y005", 17, 17)),
        ("- " * 5000, ("Y005", 1, 33)),
        ("? " * 5000, ("Y005", 1, 33)),
        ("a: [" + "x," * 30_000 + "]", ("Y006", 1, 4 + 1 + 2 * (20_000 - 3))),
        ("a: 1\n---\nb: 2\n", ("Y007", 2, 1)),
        ("a: 1\n...\n---\nb: 2\n", ("Y007", 3, 1)),
        ("a: 1\n" * 60_000, ("Y001", 1, 1)),
        (b"a: 1\nb: caf\xe9\n", ("Y002", 2, 7)),
        (b"\xff\xfea\x00:\x00", ("Y002", 1, 1)),
        ("a: 1\nb: x\x07y\n", ("Y014", 2, 5)),
        ("a: 1\nb: x\x85y\n", ("Y014", 2, 5)),
        ("a: x\u2028y\nb: 2\n", ("Y014", 1, 5)),
        ("a: x\u2029y\n", ("Y014", 1, 5)),
        ("a: x\ry\n", ("Y014", 1, 5)),
        ("a: x\u202ey\n", ("Y014", 1, 5)),
        ("", ("Y012", 1, 1)),
        ("# nothing\n\n", ("Y012", 1, 1)),
        ("just words", ("Y013", 1, 1)),
        ("- a\n- b\n", ("Y013", 1, 1)),
        ("a:\n\tb: 1\n", ("Y024", 2, 1)),
        ("a:\n    b: 1\n  c: 2\n", ("Y023", 3, 3)),
        ('a: "\\U00110000"', ("Y027", 1, 7)),
        ('a: "\\xq1"', ("Y027", 1, 7)),
        ("a: " + "w" * 240_000 + ": b", ("Y020", 1, 240_004)),
    ],
    ids=lambda v: repr(v)[:24] if isinstance(v, str | bytes) else v[0],
)
def test_hostile_or_broken_files_are_refused(text: str | bytes, expected: tuple[str, int, int]) -> None:
    assert refused(text) == expected


@pytest.mark.parametrize("text", ["[" * 100_000, "{a: " * 50_000, "- " * 100_000, bomb() + "x" * 100_000])
def test_a_hostile_file_is_not_read_through(text: str) -> None:
    """The scanner may look one thousand characters ahead, no more."""
    assert read(text).scanned < 1200


def test_the_deepest_allowed_and_one_more() -> None:
    """The file itself is one level, so fifteen brackets may follow; a plain value is none."""
    assert read("a: " + "[" * 15 + "x" + "]" * 15).problems == ()
    assert refused("a: " + "[" * 16 + "x" + "]" * 16) == ("Y005", 1, 19)


def test_the_most_values_and_one_more() -> None:
    most = source.MAX_VALUES - 3  # the file, the key and the list are values too
    assert read(f"a: [{'x,' * most}]").problems == ()
    assert refused(f"a: [{'x,' * (most + 1)}]")[0] == "Y006"


def test_the_biggest_file_and_one_byte_more() -> None:
    filled = "a: 1\n#".ljust(encoding.MAX_BYTES, ".")
    assert read(filled).data == {"a": 1}
    assert refused(filled + ".") == ("Y001", 1, 1)


@pytest.mark.parametrize("number", ["1e999", "9" * 31, "1" + "0" * 16, "-1e16"])
def test_numbers_that_nothing_can_hold(number: str) -> None:
    [problem] = read(f"a: {number}").problems
    assert (problem.code, problem.line, problem.column) == ("Y015", 1, 4)


@pytest.mark.parametrize("escape", [r"\0", r"\N", r"\L", r"\P", r"\x07", r"\ud800"])
def test_escapes_bring_in_nothing_hidden(escape: str) -> None:
    [problem] = read(f'a: "x{escape}y"').problems
    assert (problem.code, problem.line, problem.column) == ("Y014", 1, 4)


def test_harmless_escapes_are_kept() -> None:
    assert read(r'a: "tab\there, line\nthere, \"quoted\""').data == {"a": 'tab\there, line\nthere, "quoted"'}


# --- ordinary slips ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("ask: Look: is it wet?\n", ("Y020", 1, 10)),
        ("a: 1\n   b: 2\n", ("Y023", 2, 5)),
        ("say: @ home\n", ("Y021", 1, 6)),
        ("say: `x`\n", ("Y021", 1, 6)),
        ("say: %x\n", ("Y021", 1, 6)),
        ("label: > 60 pieces\n", ("Y021", 1, 8)),
        ("label: - no\n", ("Y021", 1, 8)),
        ("label: ? no\n", ("Y021", 1, 8)),
        ("a: ]\n", ("Y021", 1, 4)),
        ('a: "no end\nb: 2\n', ("Y022", 1, 4)),
        ("a: 'no end\nb: 2\n", ("Y022", 1, 4)),
        ('a: "no end\nb: "x"\nc: 3\n', ("Y022", 1, 4)),
        ("a:\n  b: 1\n c: 2\n", ("Y023", 3, 2)),
        ("a: [x, y\nb: 2\n", ("Y025", 1, 4)),
        ("a: {x: 1 y: 2}\n", ("Y025", 1, 4)),
        ("a: 1\nsome words\nb: 2\n", ("Y026", 2, 1)),
        ('a: "C:\\dir"\n', ("Y027", 1, 8)),
        ("say: 'Don't touch'\n", ("Y028", 1, 11)),
        ('say: "Wait" a minute\n', ("Y028", 1, 13)),
        ("say: [see manual] then go\n", ("Y028", 1, 19)),
    ],
    ids=lambda v: v[:20].strip() if isinstance(v, str) else v[0],
)
def test_slips_are_told_in_our_words(text: str, expected: tuple[str, int, int]) -> None:
    assert refused(text) == expected


def test_the_parsers_own_words_are_the_last_resort() -> None:
    """No file is known that ends here; should there be one, it still has a place and a cure."""
    import yaml

    mark = yaml.Mark("f", 5, 1, 2, None, None)
    found = slips.slip("f.yaml", "a: 1\nb\n", yaml.MarkedYAMLError(None, None, "odd thing", mark), None)
    assert (found.code, found.line, found.column) == ("Y029", 2, 3)
    assert "odd thing" in found.text


def test_every_key_set_twice_is_named_with_its_first_line() -> None:
    found = read("a: 1\nb:\n  c: 1\n  c: 2\na: 3\n")
    assert [(p.code, p.line, p.column) for p in found.problems] == [("Y008", 4, 3), ("Y008", 5, 1)]
    assert ["line 3" in found.problems[0].text, "line 1" in found.problems[1].text] == [True, True]
    assert found.data == {"a": 1, "b": {"c": 1}}


def test_keys_that_are_lists_or_copies_are_refused() -> None:
    found = read("? [a, b]\n: 1\n<<: {c: 1}\n'<<': 2\n")
    assert [(p.code, p.line) for p in found.problems] == [("Y009", 1), ("Y010", 3)]
    assert found.data == {"<<": 2}


@pytest.mark.parametrize(
    ("text", "warned"),
    [
        ("a: bolt #3 is loose\n", True),
        ("a: bolt # a remark\n", False),
        ("a: 'bolt #3 is loose'\n", False),
        ("a: bolt#3\n", False),
        ("a: 5 #five\n", True),
        ("a: 5\n#five\n", False),
    ],
)
def test_text_cut_by_a_hash_is_warned_of(text: str, warned: bool) -> None:
    assert [p.code for p in read(text).problems] == (["Y016"] if warned else [])


def test_all_hidden_characters_are_named_at_once_up_to_a_limit() -> None:
    found = read("a: \x07\nb: \x08\n" + "c: \x07" * 40)
    assert len(found.problems) == 20
    assert [(p.line, p.column) for p in found.problems[:2]] == [(1, 4), (2, 4)]


def test_a_missing_space_after_a_colon_is_shown_on_its_own_line() -> None:
    """The parser stumbles one line later; the author's slip is here."""
    assert refused("answers:\n  all:\n    label:All cling\n    short: all\n") == ("Y026", 3, 10)
