"""Every key that a measure definition may have: its form, its meaning and its closed words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from outcomes.measures.algorithms import PREFIX
from outcomes.vocabulary import ABSENT_WORDS

Kind = Literal[
    "key", "keys", "text", "texts", "number", "numbers", "count", "flag", "range", "word", "words", "codes", "table",
    "tables", "value",
]  # fmt: skip
"""Form of a value: a key ``[a-z][a-z0-9_]*`` or a list of them; text; a number or a list of them; a whole number from
1; true or false; ``[low, high]`` with ``inf`` for an open end; one word of a closed list or several; codes with their
numbers; one table or several; a number, a list ``[low, high]`` or text."""

RULES = ("value", "recode", "sum", "mean", "largest", "trials", "ratio")
COMBINE = ("mean", "median", "best")
COMBINE_ON = ("readings", "scores")
LEVELS = ("ordinal", "interval", "ratio")
BETTER = ("higher", "lower", "none")
DIRECTIONS = ("increase", "decrease")
SEXES = ("female", "male")
NORMS = ("norm_interval", "norm_quartiles", "norm_upper_limit")
MISSING = ("no score", "mean of answered", "sum of answered")
FEWER = ("no score", "flag")
ENDS = ("closed", "low open", "high open", "open")
STATUSES = ("VERIFIED", "COMPUTED", "MEMORY", "COMMON PRACTICE")
"""How far a source was checked: seen in the text read; worked out from seen data; from memory; no source exists."""


@dataclass(frozen=True, slots=True)
class Field:
    """One key of a section: its form, meaning, whether it must be there, closed words, and what opens other words."""

    kind: Kind
    about: str
    required: bool = False
    words: tuple[str, ...] = ()
    prefix: str = ""


FIELDS: dict[str, dict[str, Field]] = {
    "": {
        "key": Field("key", "name of the measure; also the name of the file", True),
        "version": Field("text", "version of the measure; part of the key of every series", True),
        "title": Field("text", "name that readers see", True),
        "construct": Field("text", "what it measures", True),
        "source": Field("text", "publication of the measure, or 'common practice, no source'", True),
        "status": Field("word", "how far the source was checked", words=STATUSES),
        "domain": Field("texts", "domains such as 'body structure', 'activity', 'quality of life'"),
        "populations": Field("texts", "people for whom it is used"),
        "mode": Field("text", "who answers or measures"),
        "licence": Field("text", "what its owners allow"),
        "loinc": Field("text", "LOINC code, only where it was verified"),
        "traps": Field("texts", "mistakes that are often made with it"),
        "rows": Field("table", "place, side and trial of its rows, and the context that is never joined"),
        "options": Field("table", "option of an algorithm to the word that holds; the card names them"),
        "items": Field("tables", "what is answered or measured", True),
        "scales": Field("tables", "numbers that are formed", True),
        "bands": Field("tables", "published words for ranges of a scale"),
        "published": Field("tables", "published properties of the measurement"),
        "examples": Field("tables", "worked examples; each is a test"),
    },
    "rows": {
        "place": Field("keys", "where on the body; empty for a measure without places"),
        "landmarks": Field("table", "place to the landmark in words"),
        "side": Field("flag", "whether each side has its own row"),
        "trial": Field("table", "{ min, max } of readings that make one score"),
        "fewer": Field("word", "what fewer readings than min give; no score where absent", words=FEWER),
        "combine": Field("word", "how readings become one", words=COMBINE),
        "combine_on": Field("word", "whether readings are combined before or after scoring", words=COMBINE_ON),
        "if_spread_over": Field("number", "largest difference of readings above which 'then' replaces 'combine'"),
        "then": Field("word", "how readings become one where they lie further apart", words=COMBINE),
        "variant": Field("keys", "context items whose different answers are never joined"),
        "context": Field("keys", "context items that are kept beside the score"),
        "at_least": Field("count", "items of the whole form that must be answered for any score"),
        "absent_words": Field("table", "word typed as a response to the reason why there is none"),
    },
    "rows.trial": {
        "min": Field("count", "readings that one score needs"),
        "max": Field("count", "readings that one score may have", True),
    },
    "items": {
        "key": Field("key", "neutral name of the item"),
        "keys": Field("keys", "several items that are answered alike, instead of key"),
        "codes": Field("codes", "legal codes: a table of code to number, or a list of whole numbers"),
        "words": Field("keys", "legal words of a context item"),
        "range": Field("range", "hard range of a number; outside it the value is impossible"),
        "usual": Field("range", "usual range of a number; outside it the value is asked about"),
        "usual_at": Field("table", "place to its own usual range"),
        "free_text": Field("flag", "true for a context item that takes any text"),
        "unit": Field("text", "UCUM code"),
        "left_out_if": Field(
            "words",
            "why a missing rule may leave it out; for any reason where absent; never where empty",
            False,
            ABSENT_WORDS,
        ),
        "default": Field("number", "number that is taken, with a flag, where the item has no row"),
        "asked_if": Field("table", "{ item, and one of above, at_least, below, at_most }: else it is not asked"),
        "spellings": Field("table", "other spelling to the code or word it stands for"),
    },
    "asked_if": {
        "item": Field("key", "item that decides", True),
        "above": Field("number", "asked where its number is above this"),
        "at_least": Field("number", "asked where its number is this or above"),
        "below": Field("number", "asked where its number is below this"),
        "at_most": Field("number", "asked where its number is this or below"),
    },
    "scales": {
        "key": Field("key", "name of the scale", True),
        "main": Field("flag", "true for the one scale that stands for the measure"),
        "rule": Field("word", "how it is formed; algorithm:<name> for one in Python", True, RULES, PREFIX),
        "items": Field("keys", "items it is formed from; numerator and denominator for a ratio"),
        "scales": Field("keys", "scales above it that it is formed from, instead of items"),
        "recode": Field("table", "code to another number, for the rule recode"),
        "weights": Field("numbers", "for the rule sum: number that each of its items or scales is counted with"),
        "times": Field("keys", "for the rule sum: items (or scales) that multiply its items (or scales) one by one"),
        "range": Field("range", "smallest and largest possible value"),
        "unit": Field("text", "UCUM code; {score} where absent"),
        "level": Field("word", "level of measurement", True, LEVELS),
        "better": Field("word", "better direction", True, BETTER),
        "missing": Field("word", "what a missing item does; no score where absent", words=MISSING),
        "at_least": Field("count", "items that must be answered, where missing ones are allowed"),
        "total_only": Field("flag", "true where a score typed as a total is taken, and marked, if no item is there"),
        "withheld": Field("text", "why no score is formed yet: what of its rule must be checked first"),
        "unable": Field("number", "score of a person who was unable; no score where absent"),
        "factor": Field("number", "the formed number times this"),
        "offset": Field("number", "and then plus this"),
        "cap": Field("number", "by a published rule a formed number above this counts as this, flagged"),
        "combine": Field("word", "as in rows, for this scale only", words=COMBINE),
        "combine_on": Field("word", "as in rows, for this scale only", words=COMBINE_ON),
    },
    "bands": {
        "set": Field("key", "name of the set of bands", True),
        "scale": Field("key", "scale; the main one where absent"),
        "range": Field("range", "from and to", True),
        "ends": Field("word", "whether both ends belong to the band; closed where absent", words=ENDS),
        "label": Field("text", "published word for the range", True),
        "source": Field("text", "publication of the set", True),
        "status": Field("word", "how far the source was checked", words=STATUSES),
    },
    "published": {
        "key": Field("key", "name that a protocol gives to use the value", True),
        "scale": Field("key", "scale; the main one where absent"),
        "statistic": Field("key", "such as mdc95, mdc90, standard_error, mcid, icc, kappa", True),
        "value": Field("value", "the value as published", True),
        "unit": Field("text", "UCUM code; 1 for what has no dimension", True),
        "population": Field("text", "people it was found in", True),
        "people": Field("keys", "the same people in words, any of which a study's own must be, such as chronic_stroke"),
        "baseline": Field("range", "values before the change that it holds for"),
        "baseline_ends": Field("word", "whether both ends of baseline belong to it; closed where absent", words=ENDS),
        "direction": Field("word", "direction of change it holds for; both where absent", words=DIRECTIONS),
        "age_years": Field("range", "for a table of norms: first and last completed year of age that the row is for"),
        "sex": Field("word", "for a table of norms: sex that the row is for; either where absent", words=SEXES),
        "exceeded": Field("flag", "true where a change must be larger than the value; reaching it is enough else"),
        "variant": Field("text", "variant it holds for, as score_table writes it"),
        "stratum": Field("text", "range of baseline it holds for"),
        "unit_of_analysis": Field("text", "what one value is, such as 'one value' or 'mean of both sides'"),
        "method": Field("text", "how it was found"),
        "source": Field("text", "publication", True),
        "status": Field("word", "how far the source was checked", True, STATUSES),
    },
    "examples": {
        "given": Field("table", "answers by item; a list for several readings", True),
        "absent": Field("table", "item to the reason why it has no answer"),
        "context": Field("table", "context items with their words"),
        "expected": Field("table", "scale to its value, or to the reason as text where there is none"),
        "bands": Field("table", "scale to the labels of its bands by set"),
        "flags": Field("table", "scale to its list of flags"),
        "refused": Field("key", "item whose answer is refused, instead of expected"),
        "source": Field("text", "where the expected value comes from", True),
        "status": Field("word", "how far the source was checked", words=STATUSES),
    },
}
"""Every key of a definition by section; nothing else is allowed in one."""
