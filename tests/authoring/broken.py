# ruff: noqa: E501 - a table is read in rows
"""Flow files with one mistake each, as somebody makes them who does not program.

Each is the small flow that `flow new` writes with one edit. The line where the mistake must be shown and
the words that must be said there were written by hand, before the linter was asked.
"""

from __future__ import annotations

from dataclasses import dataclass

from bot.authoring import skeleton

NAME = "chain-comes-off"


@dataclass(frozen=True)
class Broken:
    """`find` (the first time that it stands there) becomes `put`; `line` is where it must be reported."""

    name: str
    find: str
    put: str
    line: int
    says: tuple[str, ...]

    @property
    def text(self) -> str:
        whole = skeleton.text(NAME)
        assert self.find in whole, self.find
        return whole.replace(self.find, self.put, 1)


def _b(name: str, find: str, put: str, line: int, *says: str) -> Broken:
    return Broken(name, find, put, line, says)


# --- what the file looks like: spaces, dashes, quotes, brackets ------------------------------------

FORM = (
    _b("a line one space too far right", "        short: turns\n", "         short: turns\n", 50, "column"),
    _b("a line one space too far left", "        short: turns\n", "       short: turns\n", 50, "column"),
    _b("a key at the edge of the page", "    kind: several\n", "kind: several\n", 90, "4 spaces"),
    _b("a question one step too far left", "  when-off:\n    kind: one\n", "when-off:\n    kind: one\n", 58,
       "'when-off'", "questions"),
    _b("a question one step too far right", "  when-off:\n    kind", "    when-off:\n    kind", 58,
       "'when-off'", "same column"),
    _b("four spaces where two are", "  chain-worn:\n    name: Chain and sprockets worn out\n",
       "    chain-worn:\n      name: Chain and sprockets worn out\n", 145, "'chain-worn'"),
    _b("a tab before a key", "    share: 45", "\tshare: 45", 141, "tab", "spaces"),
    _b("a tab after the spaces", "    share: 45", "  \t share: 45", 141, "tab", "spaces"),
    _b("no space after the colon", "    share: 45", "    share:45", 141, "space", "colon"),
    _b("no colon at all", "    share: 45", "    share 45", 141, "colon"),
    _b("equals instead of a colon", "    share: 45", "    share = 45", 141, "colon"),
    _b("semicolon instead of a colon", "    kind: look", "    kind; look", 115, "colon"),
    _b("a colon in a text", "ask: When did it come off?", "ask: Tell me: when did it come off?", 60,
       "colon", "quotes"),
    _b("a colon at the end of a text", "ask: When did it come off?", "ask: When did it come off, say:", 60,
       "colon", "quotes"),
    _b("a missing dash in a list", "  - chain jumps off\n", "  chain jumps off\n", 17, "'- '"),
    _b("no space after the dash", "  - chain jumps off\n", "  -chain jumps off\n", 17, "space", "'- chain jumps off'"),
    _b("a missing dash before a step", "      - do: Set the slack as the manual says.",
       "      do: Set the slack as the manual says.", 190, "'- '"),
    _b("a star instead of a dash", "  - chain jumps off\n", "  * chain jumps off\n", 17, "'- '"),
    _b("a quote that never closes", 'words: ["no", free, turns, rolls]', 'words: ["no, free, turns, rolls]', 52,
       "quote"),
    _b("a quote in front only", "short: When did it come off?", 'short: "When did it come off?', 61, "quote"),
    _b("a quoted word at the start of a text", "label: The wheel turns", 'label: "Free" means the wheel turns', 49,
       "quotes"),
    _b("an apostrophe as a quote", "label: The wheel turns", "label: 'It's free", 49, "quote"),
    _b("smart quotes around a word of a list", '["no", free', "[“no”, free", 52, "“", "straight"),
    _b("smart quotes around a text with a colon", "label: The wheel turns", "label: “Yes: the wheel turns”", 49,
       "straight quotes"),
    _b("a bracket that is not closed", "safety: [chain-free]  ", "safety: [chain-free", 24, "bracket", "close"),
    _b("a brace that is not closed", "shows: {off-under-load: seldom}", "shows: {off-under-load: seldom", 142,
       "bracket", "close"),
    _b("no comma between two", "hazard: {running: nothing, riding: engine}",
       "hazard: {running: nothing riding: engine}", 143, "comma"),
    _b("a question inside braces", "chain-kit: {name: Chain with both sprockets}",
       "chain-kit: {name: Chain with both sprockets?}", 186, "question mark", "quotes"),
    _b("a comma inside braces", "chain-kit: {name: Chain with both sprockets}",
       "chain-kit: {name: Chain, with both sprockets}", 186, "comma", "quotes"),
    _b("a text that starts with a percent sign", "label: The wheel turns", "label: %100 free", 49, "quotes"),
    _b("a text that starts with an at sign", "label: The wheel turns", "label: @home it turns", 49, "quotes"),
    _b("a hash in a text", "label: The wheel turns", "label: Sprocket #13 turns", 49, "quotes"),
    _b("a comment with slashes", "title: Chain comes off", "// the title\ntitle: Chain comes off", 11, "#"),
)  # fmt: skip

# --- words and figures ------------------------------------------------------------------------------

WORDS = (
    _b("a label without its text", "label: The wheel turns", "label:", 49, "'label'", "empty"),
    _b("a misspelt key", "    share: 45", "    shaer: 45", 141, "'shaer'", "did you mean 'share'"),
    _b("a key with a capital", "    share: 45", "    Share: 45", 141, "'Share'", "did you mean 'share'"),
    _b("a misspelt part", "remedies:\n", "remidies:\n", 160, "'remidies'", "did you mean 'remedies'"),
    _b("a misspelt cause", "{cause: chain-worn,", "{cause: chain-wron,", 107, "'chain-wron'",
       "did you mean 'chain-worn'"),
    _b("a misspelt remedy", "remedy: renew-chain", "remedy: renew-chian", 150, "'renew-chian'",
       "did you mean 'renew-chain'"),
    _b("an answer that shows a sign that does not exist", "shows: [off-under-load]", "shows: [under-load]", 71,
       "'under-load'", "did you mean 'off-under-load'"),
    _b("a sign in words of its own", "denies: [off-under-load]", "denies: [it does not climb]", 66,
       "'it does not climb'"),
    _b("a caution that is nowhere", "    shut_cautions: [moving-parts]", "    shut_cautions: [mind-fingers]", 84,
       "'mind-fingers'", "cautions"),
    _b("a tool that is nowhere", "    tools: [socket-set]\n    cautions: [moving-parts]\n    shut",
       "    tools: [hammer]\n    cautions: [moving-parts]\n    shut", 82, "'hammer'", "tools"),
    _b("an id with a space", "  off-under-load:\n", "  off under load:\n", 34, "'off under load'", "hyphens"),
    _b("an id with capitals", "  front-loose:\n", "  Front-Loose:\n", 151, "'Front-Loose'", "small letters"),
    _b("an id with an underscore", "  front-loose:\n", "  front_loose:\n", 151, "'front_loose'", "hyphens"),
    _b("a copied cause with the old id", "  front-loose:\n    name: Front sprocket loose on its shaft",
       "  chain-slack:\n    name: Front sprocket loose on its shaft", 151, "'chain-slack'", "line 139"),
    _b("a copied key", "    share: 45\n", "    share: 45\n    share: 40\n", 142, "'share'", "line 141"),
    _b("a wrong kind of question", "    kind: several", "    kind: multiple", 90, "'multiple'", "several"),
    _b("a word for how often that is none", "background: sometimes", "background: mostly", 36, "'mostly'", "usually"),
    _b("a chance in percent", "holds: usually", "holds: 80%", 213, "'80%'", "0.8"),
    _b("a chance of 100", "catches: 0.95, false_alarm: 0.05", "catches: 95, false_alarm: 0.05", 100, "95",
       "between 0 and 1"),
    _b("a chance with a comma", "background: sometimes", "background: 0,3", 36, "'0,3'", "0.3"),
    _b("minutes with a unit", "    minutes: 60", "    minutes: 60 min", 179, "60 min", "no unit"),
    _b("minutes in hours", "    minutes: 60", "    minutes: 1 hour", 179, "1 hour", "number"),
    _b("a number with a comma", "    minutes: 60", "    minutes: 1,5", 179, "1,5", "1.5"),
    _b("a number as a word", "    open: 5", "    open: five", 80, "five", "number"),
    _b("minutes below nothing", "    open: 5", "    open: -5", 80, "-5", "at least 0"),
    _b("a share in percent", "    share: 45", "    share: 45%", 141, "45%", "45"),
    _b("shares that add to 80", "    share: 45", "    share: 25", 236, "80", "100"),
    _b("minutes missing", "    minutes: 60\n", "", 177, "'minutes'", "missing", "add"),
    _b("a share missing", "    share: 45\n", "", 139, "'share'", "missing", "add"),
    _b("hand_over without minutes", "hand_over: {minutes: 300}", "hand_over: 300", 22, "'hand_over'", "300",
       "minutes"),
    _b("a key with nothing behind it", "    share: 45", "    share:", 141, "'share'", "number", "nothing"),
    _b("one word instead of a list", "    behind: [sprocket-cover]\n    cautions: [ignition-off, moving-parts]\n",
       "    behind: sprocket-cover\n    cautions: [ignition-off, moving-parts]\n", 120, "'behind'", "list",
       "[sprocket-cover]"),
    _b("a list instead of a block", "  chain-jammed:\n    means", "  - chain-jammed:\n    means", 31, "'- '"),
    _b("words with commas and no brackets", "words: [slack, loose, hangs]", "words: slack, loose, hangs", 103,
       "'words'", "list", "[slack, loose, hangs]"),
    _b("a block instead of a list", "    cleared_by: {any: [front-look.good, refit-sprocket, renew-chain]}",
       "    cleared_by: [front-look.good, refit-sprocket, renew-chain]", 232, "'cleared_by'", "a list"),
    _b("true with other words", "single_use: true", "single_use: yes", 208, "'single_use'", "true", "false"),
    _b("a price with its money", "{name: Chain with both sprockets}",
       "{name: Chain with both sprockets, price: 90 EUR}", 186, "'price'", "90 EUR", "no unit"),
)  # fmt: skip

# --- what only shows across the flow -------------------------------------------------------------------

MEANING = (
    _b("a cause without remedy", "    remedy: refit-sprocket\n", "", 151, "'front-loose'", "remedy"),
    _b("a look that finds nothing that is there", "{cause: front-loose, catches", "{cause: loose-nut, catches", 133,
       "'loose-nut'"),
    _b("an answer that says nothing", "        shows: [off-under-load]\n", "", 66, "'off-under-load'", "show"),
    _b("a question that is asked and not written", "opening: [when-off]  ", "opening: [when-off, noise]  ", 25,
       "'noise'"),
    _b("a stop that nothing lifts", "    cleared_by: {any: [front-look.good, refit-sprocket, renew-chain]}",
       "    cleared_by: {}", 232, "lift"),
    _b("a stop lifted by a bad look", "front-look.good", "front-look.bad", 232, "'front-look.bad'", "good"),
    _b("a chain step without a caution", "    cautions: [ignition-off, moving-parts, stand]\n    steps:\n      - do: Loosen",
       "    steps:\n      - do: Loosen", 167, "caution", "chain"),
    _b("a sourced rule without source", "    basis: practice  ", "    basis: sourced  ", 233, "source"),
    _b("one answer twice", "      jammed:\n", "      free:\n", 53, "'free'", "line 48"),
    _b("a word for two answers", 'words: ["yes", wedged', 'words: ["no", wedged', 57, "'no'"),
    _b("a look behind a cover that is not there", "    behind: [sprocket-cover]\n    cautions: [ignition-off, moving",
       "    behind: [side-cover]\n    cautions: [ignition-off, moving", 120, "'side-cover'", "access"),
    _b("a second flow pasted below", "unlisted: {share: 10}", "unlisted: {share: 10}\n---\nlanguage: 1", 237,
       "one flow"),
)  # fmt: skip

BROKEN = (*FORM, *WORDS, *MEANING)
