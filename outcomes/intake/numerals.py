"""Numbers from text: what is one, and what each thing that is none looks like."""

from __future__ import annotations

import re

NUMBER_PATTERN = re.compile(r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
COMMA_PATTERN = re.compile(r"[+-]?[0-9]*,[0-9]+")
THOUSANDS_PATTERN = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:,[0-9]{3})+(?:\.[0-9]+)?")
POINTED_PATTERN = re.compile(r"[+-]?[1-9][0-9]{0,2}(?:\.[0-9]{3})+")
"""What a thousands mark may be where the decimal mark is a comma: the point has two readings."""

POINTED_EXPECTED = "a number without a point; it could be a thousands mark, as the decimal mark is a comma"

_PROBLEMS: tuple[tuple[str, str, str], ...] = (
    ("formula_error", r"#.*", "a value; an error is not the same as empty"),
    ("censored", r"[<>≤≥]=? *[0-9.,]+", "a number; a limit of the device is none: leave it empty and say so in a note"),
    ("not_finite", r"[+-]?(?:inf|infinity|nan)|[+-]?[0-9.]+[eE][+]?[0-9]{3,}", "a finite number"),
    ("two_values", r"[0-9.,]+ ?[/;|] ?[0-9.,]+", "one value a cell; one side a row"),
    ("unit_in_cell", r"[+-]?[0-9.,]+ ?[^\W\d_%]+[0-9²/.]*|[0-9.,]+ ?%", "the number alone, without its unit"),
    ("clock", r"[0-9]{1,3}:[0-9]{2}(?::[0-9]{2})?", "one number; hours, minutes and seconds are not told apart in it"),
    ("missing_word", r"n[./]?[ad]\.?|none|null|\.|-+|missing|x|\?+", "a number, or an empty cell"),
)


def plain_number(text: str, decimal: str) -> str:
    """Return a number's text with a decimal point where the declared mark is a comma; any other text is unchanged.

    Examples
    --------
    >>> plain_number("41,5", ","), plain_number("41,5", ".")
    ('41.5', '41,5')
    """
    if decimal == "," and COMMA_PATTERN.fullmatch(text):
        return text.replace(",", ".")
    return text


def number_problem(text: str, decimal: str, unit: str = "") -> tuple[str, str]:
    """Return the rule that a text breaks as a number, and what would do.

    Examples
    --------
    >>> number_problem("40 cm", ".")[0], number_problem("<5", ".")[0], number_problem("1,234", ".")[0]
    ('unit_in_cell', 'censored', 'ambiguous_number')
    """
    what = f" in {unit}" if unit else ""
    if THOUSANDS_PATTERN.fullmatch(text):
        return "ambiguous_number", f"a number{what} without a comma; it could be a thousands mark or a decimal comma"
    if COMMA_PATTERN.fullmatch(text):
        return "decimal_comma", f"a number{what} with a decimal point"
    for rule, pattern, expected in _PROBLEMS:
        if re.fullmatch(pattern, text, flags=re.IGNORECASE):
            remedy = "; declare it under [intake] missing_words if it means missing" if rule == "missing_word" else ""
            return rule, expected + remedy
    if re.search(r"[0-9]", text):
        return "not_a_number", f"the number{what} alone; words and signs beside it belong in a note"
    return "not_a_number", f"a number{what}, or an empty cell"
