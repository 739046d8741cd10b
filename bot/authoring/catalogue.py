"""Every code that a flow's author can meet, with its one sentence.

A sentence says what is wrong with the value repeated, why it matters, and what to do. Codes are
never used twice: Y is the file itself, F its form, L what only shows across the whole flow, T its
translations.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Severity = Literal["error", "warning"]


@dataclass(frozen=True)
class Kind:
    """One entry of the catalogue. `rule` names the example file."""

    rule: str
    sentence: str
    severity: Severity = "error"


def _warn(rule: str, sentence: str) -> Kind:
    return Kind(rule, sentence, "warning")


_SOURCE = {
    "Y001": Kind(
        "too-big",
        "the file has {found} kB and may have {limit}; split the flow in two or shorten its texts",
    ),
    "Y002": Kind(
        "not-utf8",
        "{what}, so it cannot be read; save the file again as UTF-8 "
        "(in most editors: Save as, Encoding, UTF-8)",
    ),
    "Y003": Kind(
        "copied-name",
        "'{sign}' starts a name that copies, which a flow may not use; "
        "either write the text out again, or put text that starts with '{sign}' in quotes",
    ),
    "Y004": Kind(
        "tag",
        "text cannot start with '!' here; either leave it out, or put the text in quotes",
    ),
    "Y005": Kind("too-deep", "this is nested more than {limit} levels deep; nothing in a flow needs that"),
    "Y006": Kind("too-many-values", "more than {limit} values in one file; split the flow in two"),
    "Y007": Kind(
        "second-document",
        "a second flow starts here, and one file holds one flow; remove the '---', or put the rest in a file "
        "of its own",
    ),
    "Y008": Kind(
        "key-twice",
        "'{key}' is already set on line {line}; only one of the two can hold: remove or rename one",
    ),
    "Y009": Kind("key-not-text", "a list or block cannot stand before a colon; write a word there"),
    "Y010": Kind("merge-key", "'<<' copies another block, which a flow may not use; write the lines out"),
    "Y011": Kind("directive", "a line cannot start with '%'; remove it, or put the text in quotes"),
    "Y012": Kind("empty-file", "the file is empty; a flow starts with 'language: 1'"),
    "Y013": Kind("no-keys", "the file must be made of 'word: value' lines; start it with 'language: 1'"),
    "Y014": Kind(
        "hidden-character",
        "the character {character} may not stand in a flow: it cannot be seen, or it makes editors "
        "count lines differently; delete it",
    ),
    "Y015": Kind("huge-number", "the number {found} is not usable (up to {limit}, at most 30 digits)"),
    "Y016": _warn(
        "text-cut",
        "the text ends before this '#', the rest is a comment; either put the whole text in quotes, "
        "or put a space after '#' if a comment is meant",
    ),
    "Y017": Kind(
        "curly-quotes",
        "curly quotes like “ and ” are letters here and keep no text together; use straight quotes, \" or '",
    ),
    "Y018": Kind(
        "star-for-dash", "a line of a list starts with '- ', not with '*'; write a hyphen and a space"
    ),
    "Y019": Kind(
        "no-text",
        "this is {what} and no text; name the flow file itself, which is plain text with the end .yaml",
    ),
    "Y020": Kind(
        "colon-in-text",
        "a colon with a space after it, or at the end, cannot stand in a text without quotes; put the whole "
        "text in quotes",
    ),
    "Y021": Kind(
        "text-starts-badly",
        "text cannot start with '{character}' here, which has a meaning of its own; put the text in quotes",
    ),
    "Y022": Kind("open-quote", "the text that starts with this quote never ends; add the closing quote"),
    "Y023": Kind(
        "wrong-indent",
        "this line does not stand under its neighbours; lines of one block start in the same column{cure}",
    ),
    "Y024": Kind("tab", "a tab cannot indent; use spaces"),
    "Y025": Kind(
        "open-bracket",
        "{what}; put a comma between two things, and quotes around a text that has a comma, a colon, a "
        "question mark or a bracket in it",
    ),
    "Y026": Kind("no-colon", "this is no 'word: value' line; {cure}"),
    "Y027": Kind(
        "bad-escape",
        "a backslash has a meaning of its own in double quotes; put the text in single quotes",
    ),
    "Y028": Kind(
        "text-after-end",
        "something follows the end of a quoted text or bracket; put all of it in one pair of quotes",
    ),
    "Y029": Kind("not-yaml", "this cannot be read ({said}); compare it with a line that works"),
    "Y030": Kind("dash-missing", "some of these lines start with '- ' and some do not; {cure}"),
    "Y031": Kind(
        "odd-space",
        "this is a space of another kind, as web pages and word processors have it; delete it and type a "
        "space",
    ),
}

_FORM = {
    "F101": Kind("missing", "'{name}' is missing from {where}; add a line '{name}: ...'"),
    "F102": Kind("unknown-word", "'{name}' is not a word known {where}{hint}; rename or remove it"),
    "F103": Kind("wrong-choice", "'{found}' cannot be used for '{name}'; use {expected}{hint}"),
    "F104": Kind("wrong-kind", "'{found}' is not a kind of question; use {expected}{hint}"),
    "F105": Kind(
        "no-kind",
        "{where} does not say what kind of question it is; add 'kind:' with one, several, graded, "
        "number, look or note",
    ),
    "F106": Kind("not-text", "'{name}' must be text, found {found}; {cure}"),
    "F107": Kind("not-number", "'{name}' must be a number, found {found}; write it like {cure}, no unit"),
    "F108": Kind("text-too-long", "'{name}' may have {limit} characters and has {length}; shorten it"),
    "F109": Kind("not-block", "'{name}' must be a block of 'word: value' lines{words}, found {found}"),
    "F110": Kind("not-list", "'{name}' must be a list, found {found}; write {cure} or lines with '- '"),
    "F111": Kind(
        "not-true-false",
        "'{name}' must be true or false, found {found}; write one of the two, without quotes",
    ),
    "F112": Kind("empty-text", "'{name}' is empty; write the text or remove the line"),
    "F113": Kind(
        "wrong-form",
        "'{found}' has the wrong form for {where}; {cure}",
    ),
    "F114": Kind("too-few", "'{name}' needs at least {limit}, found {length}; add what is missing"),
    "F115": Kind("too-many", "'{name}' may have at most {limit}, found {length}; remove or split"),
    "F116": Kind("out-of-range", "'{name}' must be {limit}, found {found}"),
    "F117": Kind(
        "chance-word", "'{found}' is not a word for how often; use {expected}{hint}, or a number like {cure}"
    ),
    "F118": Kind(
        "chance-number",
        "'{name}' is a chance and lies between 0 and 1, found {found}; nothing is sure: write it like {cure}",
    ),
    "F119": Kind(
        "graded-sum", "the steps of '{name}' are 'of 100 bikes' and must add up to 100, found {found}"
    ),
    "F120": Kind(
        "condition",
        "'{name}' must be a sign, a check with its result ('filter.bad'), or one 'sign: step'",
    ),
    "F121": Kind(
        "not-whole", "'{name}' must be a whole number, found {found}; write it like {cure}, no unit"
    ),
    "F199": Kind("other-form", "'{name}': {said}"),
}


def _unknown(what: str, where: str) -> Kind:
    sentence = f"'{{id}}' is not {what}{{hint}}; either correct the name, or write it under '{where}'"
    return Kind(f"unknown-{where.replace('_', '-')}", sentence)


_REFERENCES = {
    "L101": Kind(
        "unknown-file",
        "'{id}' is not a file that a flow can use{hint}; only 'common' is, and it lies beside the flow",
    ),
    "L102": _unknown("a sign of this flow or of the common file", "signs"),
    "L103": _unknown("a cause of this flow", "causes"),
    "L104": _unknown("an access of this flow", "access"),
    "L105": _unknown("a caution", "cautions"),
    "L106": _unknown("a tool", "tools"),
    "L107": _unknown("a source", "sources"),
    "L108": _unknown("a remedy of this flow", "remedies"),
    "L109": _unknown("a second look of this flow", "second_looks"),
    "L110": _unknown("a trait", "traits"),
    "L111": Kind("unknown-answer", "'{id}' is not an answer of the trait '{trait}'{hint}; use {known}"),
    "L112": _unknown("something that is listed as normal", "normal"),
    "L113": _unknown("a question or check", "questions"),
    "L114": _unknown("a part of this remedy or access", "parts"),
    "L115": Kind(
        "unknown-result",
        "'{id}' is not a result of the {kind} '{ask}'{hint}; use {known}",
    ),
    "L116": Kind("unknown-step", "'{id}' is not a step of the sign '{sign}'{hint}; use {known}"),
    "L117": Kind(
        "unknown-end",
        "'{id}' is not something that '{ask}' can come to{hint}; use {known}",
    ),
    "L118": Kind(
        "cannot-clear",
        "'{id}' cannot lift a stop{hint}; use the good side of a look ('rod-play.good') or a remedy",
    ),
    "L119": Kind(
        "access-loop",
        "{loop}: none of these can ever be opened first; take one 'after' out",
    ),
    "L120": Kind(
        "same-id",
        "'{id}' is both a question and a check, so an answer could not be told apart; rename one",
    ),
    "L121": Kind(
        "step-needed",
        "'{id}' is a graded sign and is neither there nor not; write one 'sign: step' in a rule, and use "
        "a graded question to tell it",
    ),
    "L122": Kind("no-steps", "'{id}' has no steps; write it alone, without ': {step}'"),
    "L123": Kind(
        "empty-list", "'{id}' allows no answer at all, so it can never fit; list answers or remove it"
    ),
    "L124": Kind("twice", "'{id}' stands in this list twice, which would count it twice; remove one"),
    "L125": Kind(
        "asked-first",
        "'{id}' is asked before anything is opened but needs {need}; take it out of '{part}'",
    ),
    "L126": Kind("step-id-twice", "the id '{id}' is already used in this list; ids here must differ"),
}

_SIGNS = {
    "L201": _warn(
        "sign-without-weight",
        "no cause shows '{id}' and no rule uses it, so knowing it changes nothing; either say which "
        "causes show it, or remove it",
    ),
    "L202": Kind(
        "sign-never-told",
        "no answer tells whether '{id}' is there, so it stays unknown for ever; either let an answer show "
        "it, or mark it 'from_book: true'",
    ),
    "L203": _warn(
        "sign-never-shown",
        "answers deny '{id}' but none shows it; let the opposite answer show it",
    ),
    "L204": Kind(
        "answers-change-nothing",
        "all answers of '{id}' say the same about signs, so asking it is lost time; let them show or deny "
        "something, or remove the question",
    ),
    "L205": _warn(
        "answers-alike",
        "'{id}' says the same as '{other}'; make them one answer, or let them differ",
    ),
    "L206": Kind(
        "mark-changes-nothing", "the mark '{id}' neither shows a sign nor finds a cause; give it one"
    ),
    "L207": _warn(
        "answers-missing",
        "with '{cause}' the answers of '{id}' add up to {total} only, so some bikes have no fitting "
        "answer; either add the missing answer, or make it 'kind: several'",
    ),
    "L208": Kind("shown-and-denied", "'{id}' is both shown and denied by one answer; remove one"),
    "L209": Kind(
        "strength-steps",
        "'{sign}' has {steps} steps and this list has {found}; write one number for each step, adding "
        "up to 100",
    ),
    "L210": Kind(
        "strength-form",
        "'{sign}' {has}; write {cure}",
    ),
    "L211": Kind(
        "classes-differ",
        "the classes are {found} and the steps of '{sign}' are {steps}; use the same ids in the same order",
    ),
    "L212": Kind(
        "classes-do-not-rise",
        "'upto' of the class '{id}' {why}; give every class but the last a larger 'upto' than the one "
        "before, or none of them",
    ),
    "L213": Kind(
        "sign-not-graded",
        "'{sign}' has no steps, so it cannot be told by amounts; give it 'steps', or ask with 'kind: one'",
    ),
    "L214": Kind(
        "ranges-do-not-rise",
        "'upto' {found} does not lie above {before}, so the ranges overlap; write them from least to most",
    ),
    "L215": Kind(
        "range-outside",
        "{found} lies outside what is allowed ({low} to {high}), so no number reaches it; change one of them",
    ),
    "L216": Kind(
        "range-gap",
        "{what}, so some numbers belong to no range or to two; every range but the last has 'upto', the "
        "last has none",
    ),
    "L217": Kind(
        "range-without-step", "'{sign}' is graded, so each range needs 'step' and no shows or denies"
    ),
    "L218": Kind("step-without-sign", "'step' needs a graded sign; write 'sign:' on the question"),
}

_CAUSES = {
    "L301": Kind(
        "shares",
        "shares and 'unlisted' add up to {total} and must be 100, give or take 1; change one of them",
    ),
    "L302": _warn(
        "paired",
        "'paired' is {found}; over 11, three faults at once would pass one in a hundred, and only pairs "
        "are counted",
    ),
    "L303": _warn(
        "cause-without-look",
        "no look finds '{id}', so it can be suspected but never found; add a look, or let a mark find it",
    ),
    "L304": _warn(
        "causes-alike",
        "nothing tells '{id}' from '{other}': same looks and same signs, but other remedies; add a look "
        "or a sign for one of them",
    ),
    "L305": Kind(
        "no-way-on", "'{id}' has neither a remedy nor a second look, so the talk ends there; add one"
    ),
    "L306": Kind(
        "look-worthless",
        "it catches {catches} and is wrong {false_alarm}, so it says nothing about '{id}'; 'catches' must "
        "be the larger",
    ),
    "L307": _warn(
        "remedy-unused", "no cause is put right by '{id}'; name it as 'remedy' of a cause, or remove it"
    ),
    "L308": _warn("cause-without-sign", "'{id}' shows no sign, so no answer can speak for it; add 'shows'"),
    "L309": _warn("unused", "nothing in the flow uses '{id}' of {part}; use it or remove it"),
    "L310": Kind("no-currency", "a price stands here but the flow has no 'money'; add currency and as_of"),
}

_SAFETY = {
    "L401": Kind(
        "hazard-without-caution",
        "'{word}' can hurt ({hazard}) and no caution stands on this step; add one about {hazard}{such}",
    ),
    "L402": Kind(
        "only-notice",
        "'{word}' can hurt ({hazard}) and only a notice stands here; use caution, warning or danger{such}",
    ),
    "L403": _warn(
        "other-caution",
        "'{word}' can hurt ({hazard}) and the cautions here speak of something else; add one about "
        "{hazard}{such}",
    ),
    "L404": Kind(
        "no-bad-text", "the mark '{id}' of a check does not say what bad looks like; add 'looks_like'"
    ),
    "L405": Kind(
        "no-good-text", "the mark '{id}' of a check does not say what good looks like; add 'good_looks_like'"
    ),
    "L406": Kind(
        "no-source", "the basis is '{basis}' but no source is named; add 'source', or use 'practice'"
    ),
    "L407": Kind(
        "torque-bare",
        "the torque {value:g} {unit} is shown without {missing}, and a wrong guess breaks the thread; add it",
    ),
    "L408": Kind("figure-reversed", "'upto' {upto:g} lies below the value {value:g}; swap them"),
    "L409": Kind(
        "stop-for-ever",
        "nothing can lift this stop; name a clearing look or remedy, or write 'by: mechanic'",
    ),
    "L410": Kind(
        "weak-clearing",
        "'{id}' catches {catches} at best and a look that lifts a stop must catch 0.9; name a surer look",
    ),
    "L411": Kind("stop-never", "this stop can never be true: {why}"),
    "L412": Kind("look-when", "a look comes either 'after_minutes' or 'after_hours'; this one has {found}"),
    "L413": Kind(
        "ends-questions",
        "nothing is asked while this stop stands, so no look, no work and no mechanic can lift it; either "
        "let 'cleared_by' say 'by: doctor' alone, or take 'ends_questions' out",
    ),
}

_TEXTS = {
    "L501": Kind(
        "question-too-long", "the question has {length} characters and may have {limit}; shorten it"
    ),
    "L502": Kind(
        "step-too-long",
        "with its cautions this is {length} characters and may be {limit}; shorten it, or split the step",
    ),
    "L503": Kind(
        "question-not-one-sms",
        "as one text message, with heading and answers, this is {length} of {limit}; add or shorten 'short' "
        "of the question or its answers",
    ),
    "L504": Kind(
        "text-not-one-sms",
        "as one text message this is {length} of {limit}; {cure}",
    ),
    "L505": Kind("stop-too-long", "as text messages this stop is {length} of {limit}; {cure}"),
    "L506": Kind(
        "short-letters",
        "'{character}' is not in the alphabet of text messages and would halve what fits in one; replace it",
    ),
    "L507": Kind(
        "no-short",
        "'{character}' is not in the alphabet of text messages, so this text cannot go out as one; "
        "add a 'short' without it",
    ),
    "L508": Kind("too-many-answers", "'{id}' has {found} {what} and a message may have {limit}; split it"),
    "L509": Kind("word-twice", "'{word}' would mean both '{other}' and '{id}'; take it from one of them"),
    "L510": Kind(
        "phrase-claimed",
        "'{phrase}' is already told as '{other}'; told at any time it must mean one thing: remove one",
    ),
    "L511": Kind("reserved-id", "'{id}' has a meaning of its own in the talk; use another id"),
    "L512": Kind("reserved-word", "'{word}' orders the talk itself ('{control}'); use another word"),
    "L513": Kind("number-word", "'{word}' could be the number of another answer; write it as a word"),
}

_TRANSLATIONS = {
    "T101": _warn(
        "not-translated", "'{id}' is not translated in {where}; until it is, riders read the original"
    ),
    "T102": _warn(
        "outdated",
        "'{id}' was made from another text; read line {line} of {source}, then put it right and take the "
        "eight signs after its name away",
    ),
    "T103": _warn("no-original", "there is no text '{id}'{hint}; remove the line, or put its name right"),
    "T104": Kind(
        "names-differ", "'{id}' fills in {found} and the original {wanted}; write the names as they are there"
    ),
    "T105": Kind("translation-too-long", "'{id}' has {length} characters and may have {limit}; shorten it"),
    "T106": _warn("not-stamped", "'{id}' is new; run the command once more with --update to put it in use"),
    "T107": Kind("translation-form", "'{id}' is no text of its kind; write {wanted}, as the original has it"),
    "T108": _warn("numbers-differ", "'{id}' has other figures than the original, which has: {wanted}"),
    "T109": Kind("no-texts", "'{part}' must be made of 'name: text' lines, one for each text"),
}

CATALOGUE: dict[str, Kind] = {
    **_SOURCE,
    **_FORM,
    **_REFERENCES,
    **_SIGNS,
    **_CAUSES,
    **_SAFETY,
    **_TEXTS,
    **_TRANSLATIONS,
}
