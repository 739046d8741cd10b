"""Numbers of phones, as ITU-T E.164 (clause 6.2.1) has them: a +, the code of the country, which never
begins with 0, and at most 15 digits in all. It has no least length; that shorter ones than 7 are short codes
or slips is common practice, no source.
"""

from __future__ import annotations

import re

_NUMBER = re.compile(r"\+[1-9][0-9]{6,14}")


def is_number(text: str) -> bool:
    """Whether a text is the number of a phone that can be written to; letters and short codes are not."""
    return _NUMBER.fullmatch(text) is not None
