"""The English words of the book: what is done, what is found, and what only fills a sentence.

Words for metal and its forms follow the trade's usage (from memory, no source).
"""

from __future__ import annotations

import re

from bot.core.book_entries import Form, Metal


def words(text: str) -> frozenset[str]:
    return frozenset(text.split())


FILLER = words(
    "a an the my its it his her our this that and at of with on in to was is were are i we then also for by"
    " just had have has did been from h hour hours there as so but out up all today n"
) | {""}
# Words that are one slip from a word of the book and mean themselves.
_THEMSELVES = words(
    "drain drained flare blame round sound bound clear clears slack blank house chance fitter grease greased"
    " filler fillers shops clever sliver slivers silver braid train trains brain grand rides rider reader"
    " opener never lever metre medal petal places plate plates later niece pieces piston plugs plus paste"
    " taste haste waste taken shown showed chunky smelt smell stake brake oiler copied coper tinny"
    " lumpy grins"
    " charged charge cleaner creaned hairy harsh fitted filled rolled raced reset rested resets"
    " nothing noting"
    " screw screws meters magnets magnetic biggest filters motor miter black clean cleaned cleans white while"
)
MEANT = words(
    "change changed changes filter screen strainer flake flakes splinter splinters hairs grain grains chunk"
    " chunks paste magnetic magnet silver yellow bronze copper biggest largest hours meter found"
    " opened fitted"
    " nothing clean cleaned replaced plastic yesterday today pieces piece particles metal smear curls"
)
KNOWN = _THEMSELVES | MEANT

# --- what was found --------------------------------------------------------------------------

FORMS: dict[Form, str] = {
    "flake": r"(?:metal )?(?:flakes?|flecks?|glitter|sparkles?|platelets?)",
    "hair": r"hairs?|whiskers?",
    "splinter": r"splinters?|slivers?|shards?|needles?",
    "grain": r"(?:grains?|granules?)(?: (?:like|of) sand)?|grit|sand",
    "chunk": r"chunks?|lumps?|nuggets?|t(?:oo|ee)th",
    "curl": r"curls?|swarf|turnings?|shavings?|ribbons?",
    "smear": r"smears?",
    "paste": r"paste|sludge|fuzz|fines|mud|powder|dust|moustache",
}
BITS = r"pieces?|bits?|particles?|specks?|chips?|filings?|fragments?|crumbs?"
MASS = words("glitter grit sand swarf metal plastic debris rubber")
MANY: dict[str, int] = {  # more than this many; our own reading of the words, no source
    "several": 2, "some": 1, "lots": 5, "loads": 5, "many": 5, "plenty": 5, "heaps": 5, "handful": 4,
    "tons": 5, "dozens": 23, "hundreds": 199,
}  # fmt: skip
PINCH_OF_PIECES = 5  # "a pinch of flakes", "1 ml of grains": more than this many, and no more is known
METALS: dict[Metal, str] = {
    "silver": r"silver(?:y)?|shiny|bright",
    "grey": r"gr[ea]y(?:ish)?",
    "dark": r"dark|black(?:ish)?",
    "yellow": r"yellow(?:ish)?|gold(?:en)?|bronze|brass(?:y)?",
    "copper": r"copper(?:y)?|red(?:dish)?",
    "white": r"white(?:ish)?",
    "steel": r"steel|iron",
    "aluminium": r"alumini?um|alloy|alu",
}
SIZES = r"small|tiny|little|big|large|thin|fine|long|short|flat|hard|soft|sharp|very|loose|of"
SIZES = rf"{SIZES}|metal(?:lic)?|(?<!or )more"

# --- what was done ---------------------------------------------------------------------------

_CHANGED = r"(?:changed?|swapped|replaced|renewed|dropped|drained|did|done)"
_METER = r"(?:hour ?-?(?:meter|metre)|hours? counter|meter|metre)"
_ODOMETER = (
    r"(?:odometer|odo|speedo(?:meter)?|mileage counter|km counter)\b"
    r"(?! (?:cable|drive|sensor|magnet|mount|bracket|bulb|light|hub))"
)
_FITTED_NEW = r"\b(?:new|another|replaced|changed|fitted|reset|swapped|zeroed)\b[^,;]{0,16}\b"
_IS_NEW = r"\b (?:was |has been |got |is )?(?:replaced|changed|reset|swapped|renewed|new|zeroed|set back)"
_COVER = (
    r"(?:clutch|engine|valve|side|case|ignition|flywheel|stator|left|right|main|outer|inner|pump|cylinder)"
)
_WHICH = r"(?:(?:engine|gearbox|transmission|clutch|old|new|fresh|\d+ ?w ?-? ?\d+) )*"
_NO_OIL = r"\b(?! (?:filter|screen|pump|cooler|seal|line|hose)\b(?! and oil))"
_OIL_CHANGE = (
    rf"\b{_WHICH}oil (?:and filter |and (?:the )?screen |filter )?(?:was )?(?:service|{_CHANGED})\b",
    rf"\b(?:{_CHANGED}|change of|put in)(?: out)?(?: (?:the|my|its|all|both))* {_WHICH}oil{_NO_OIL}",
    rf"\b(?:new|fresh) {_WHICH}oil{_NO_OIL}",
    r"^\W*oil\b[^,;]{0,24}(?:\bfilter\b|\d+ ?w ?-?\d+)",
    r"\b\d+w-?\d+ and filter|\boil (?:and|\+|&|n) (?:the )?filter\b(?! (?:is|was|has))",
    rf"\b(?:filter and oil {_CHANGED}|{_CHANGED} (?:the )?filter and (?:the )?oil)\b",
)
KINDS: dict[str, re.Pattern[str]] = {
    name: re.compile(rf"(?:{pattern})")
    for name, pattern in {
        "meter": rf"{_FITTED_NEW}{_METER}\b|\b{_METER}{_IS_NEW}",
        "odometer": rf"{_FITTED_NEW}{_ODOMETER}|\b{_ODOMETER}{_IS_NEW}",
        "lab": r"\b(?:lab|laboratory|ppm|oil analysis|oil sample|oil report)\b",
        "oil_change": "|".join(_OIL_CHANGE),
        "ride": r"\b(?:rode|ridden|ride|riding|raced|race|trained|training|session|practice)\b",
        "work": r"\b(?:opened|removed|took|pulled|split|rebuilt|rebuild|replaced|repaired|adjusted"
        "|fixed|fitted"
        r"|installed|tightened|torqued|changed|swapped|renewed|cleaned|washed|checked|greased|lubed|serviced"
        r"|service|welded|honed|bled|shimmed|closed|mounted|wiped|topped|added"
        r"|put(?: in| on)?(?= (?:a |the )?new))\b",
        "look": r"\b(?:found|saw|seen|looked|look|checked|inspected|screen|plug|magnet|filter)\b",
    }.items()
}
LOOKED = re.compile(
    r"\b(?:found|saw|seen|looked(?: at| into| in)?|look(?: at| into)?|checked|check|inspected|pulled)\b"
)
LOOKED_FOR = re.compile(
    r"\b(?:look|looked|checked|check)(?: in| again)? for (?:any )?(?:metal|flakes?|bits)\b"
)
CLEANED_IT = re.compile(
    r"^\W*(?:cleaned|wiped|washed)(?: (?:it|them|all|everything|up|out|off|again|both))*\W*$"
)
WEAK_WORK = re.compile(
    r"^\W*(?:new|another)\b|^\W*(?:(?:the|my) )?[^\W\d_]+(?: [^\W\d_]+)? new\b(?= (?:at|@) )"
)
OIL_WAY = re.compile(r"\b(?:screen|strainer|gauze|mesh|(?<!air )filter|pan|magnet|(?<!spark )plug|sump)\b")
OPENED = re.compile(
    rf"\b(?:opened|removed|took|pulled|split|off)\b.*\b(?:{_COVER} (?:cover|case)|cover|cases?|engine|motor"
    r"|cylinder|head(?! ?(?:bearing|light))|gearbox|clutch|flywheel|basket)\b(?! (?:cable|lever|hose"
    r"|line|fluid|seat))"
    r"|\b(?:replaced|rebuilt|rebuild|fitted|put|new|renewed|changed|swapped|installed|repaired|fixed"
    r"|torqued|tightened"
    r"|shimmed|adjusted|honed)\b.*\b(?:clutch (?:plates?|basket|hub|springs?|pack|nut)|basket|hub nut"
    r"|primary nut"
    r"|lock ?washer|pistons?|(?:piston )?rings|top end|bottom end|crank\w*|big end|main bearings?"
    r"|cam(?:shaft| chain)?"
    r"|valves?|rockers?|gearbox|starter clutch|oil pump|water pump|kickstart|flywheel|stator|engine|motor)\b"
    r"(?! (?:cover bolts|cable|lever|hose|line|fluid|oil|guard|mounts?))"
)
IN_OIL = re.compile(
    r"\b(?:in|from|on|out of) (?:the |my |its )?(?:engine |drain )?(?:oil|sump|plug|screen|filter|pan)\b"
)
PLANNED = re.compile(
    r"\b(?:need(?:s|ing)?|going|gonna|want(?:s)?|will|ill|planning|plan|planned|must|have to|has to"
    r"|should|due"
    r"|tomorrow|next week|overdue|about to|got to|before i)\b"
)
DENIED = re.compile(
    r"\b(?:not|no|never|didnt|havent|hasnt|wasnt|without|cannot|cant|couldnt)(?: \w+){0,2} ?$"
)

CHANGED = re.compile(r"\b(?:changed?|swapped|replaced|renewed|dropped|drained)\b")

# --- what is no line of the book ---------------------------------------------------------------

ASKS = re.compile(
    r"\?|^\W*(?:why|how|what|whats|when|where|which|who|is it|is this|are these|should|can|could|do i|does"
    r"|did i|any|help)\b|\b(?:what now|what next|any idea|help me|help|please advise|is that (?:bad"
    r"|normal|ok))\b"
)
COMPLAINT = re.compile(
    r"\b(?:slip\w*|drag\w*|grab\w*|knock\w*|rattl\w*|nois\w*|clank\w*|clunk\w*|clack\w*|grind\w*|whin\w*"
    r"|squeal\w*|tick(?:s|ing)|leak\w*|smok\w*|smell\w*|stall\w*|overheat\w*|boil\w*|seiz\w*|vibrat\w*"
    r"|wobbl\w*|shak\w*|misfir\w*|bog\w*|backfir\w*|kicks? back|jumps?|jumped|cuts? out"
    r"|covered in|lost power|no power"
    r"|light came on"
    r"|wont|will not|doesnt (?!stick|take)|does not (?!stick|take)|died|dies|dead|quit|broke|broken"
    r"|crack\w*|milky"
    r"|problem\w*|trouble\w*|wrong|worried|weird|strange|odd|bad|soft|spongy|low|too hot|hard to|cannot|cant"
    r"|keeps|stuck(?! to)|full of|fault\w*|fail(?:s|ed|ing)?|burnt|since)\b"
)
MENDED = re.compile(
    r"\b(?:fixed|repaired|cured|sealed|stopped|welded|mended)(?: (?:the|a|an|my|that|this"
    r"|oil|fuel|water|coolant|brake|small|old|annoying|exhaust|engine))* ?$"
)

# --- what a laboratory reports ---------------------------------------------------------------

ELEMENT_NAMES: dict[str, str] = {
    "Fe": "iron", "Cu": "copper", "Al": "aluminium aluminum alu", "Cr": "chromium chrome", "Pb": "lead",
    "Sn": "tin", "Si": "silicon", "Ni": "nickel", "Ag": "silver", "Ti": "titanium", "V": "vanadium",
    "Na": "sodium", "K": "potassium", "B": "boron", "Zn": "zinc", "P": "phosphorus phosphor",
    "Ca": "calcium", "Mg": "magnesium", "Mo": "molybdenum moly", "Mn": "manganese", "Ba": "barium",
    "Sb": "antimony", "Cd": "cadmium",
}  # fmt: skip
ELEMENTS: dict[str, str] = {
    said: symbol for symbol, names in ELEMENT_NAMES.items() for said in (symbol.lower(), *names.split())
}
