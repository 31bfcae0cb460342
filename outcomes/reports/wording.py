"""A sentence of a report and the words that no report may use."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Section = Literal["background", "objective", "methods", "results", "conclusion"]

MUST = 0
"""Priority of a sentence that is never dropped."""


@dataclass(frozen=True, slots=True)
class Sentence:
    """One sentence of an abstract, filled in from the record.

    Parameters
    ----------
    name : str
        What it says, in one or two words; "left out" lists print it.
    section : str
        Part of the abstract that it stands in.
    text : str
        The whole sentence or sentences.
    priority : int
        0 is never dropped; of the others the largest goes first.
    short : str
        A shorter form, used where the limit asks for it; empty if there is none.
    answer : str
        Where the sentence says "not reported": the protocol field or table that would answer it.
    brief : str
        The shortest form, used where the limit is tighter still; empty if there is none.
    """

    name: str
    section: Section
    text: str
    priority: int = MUST
    short: str = ""
    answer: str = ""
    brief: str = ""


def not_reported(name: str, section: Section, answer: str, priority: int = MUST) -> Sentence:
    """Return the sentence that stands where the record cannot answer, naming what would.

    What need not be said has no text in the abstract and stands in the list of what is not reported only.
    """
    text = f"{name[0].upper()}{name[1:]}: not reported ({answer})." if priority == MUST else ""
    return Sentence(name, section, text, priority, answer=answer)


CAUSAL = (
    r"caus(?:e|es|ed|ing|al|ally)",
    r"because",
    r"due to",
    r"thanks to",
    r"effects?",
    r"effective(?:ly|ness)?",
    r"efficac(?:y|ious)",
    r"impact(?:s|ed)?",
    r"led to",
    r"leads to",
    r"lead to",
    r"result(?:s|ed)? in",
    r"produc(?:e|es|ed)",
    r"induc(?:e|es|ed)",
    r"improv(?:e|es|ed|ing|ement|ements)",
    r"benefit(?:s|ed)?",
    r"prov(?:e|es|ed|en)",
    r"works",
    r"responders?",
    r"trend(?:s|ed)? towards?",
    r"approach(?:ed|ing) significance",
)
"""Words that claim a cause or more than the data say (as patterns): no sentence of ours holds one of them."""

_CAUSAL = re.compile(rf"\b(?:{'|'.join(CAUSAL)})\b", re.IGNORECASE)


def causal_words(text: str) -> list[str]:
    """Return the words of `text` that claim a cause, in order, each once.

    Examples
    --------
    >>> causal_words("Cycling improved girth because of work.")
    ['improved', 'because']
    """
    return list(dict.fromkeys(match[0].lower() for match in _CAUSAL.finditer(text)))


def found_words(text: str, words: Iterable[str]) -> list[str]:
    """Return those of `words` that stand in `text` as whole words, whatever their case.

    Examples
    --------
    >>> found_words("The Riverside gym", ["riverside", "river"])
    ['riverside']
    """
    return [w for w in words if re.search(rf"(?<!\w){re.escape(w.strip())}(?!\w)", text, re.IGNORECASE) and w.strip()]


def sentence_of(text: str) -> str:
    """Return an author's own words as a sentence: with an end mark.

    Examples
    --------
    >>> sentence_of("Did it grow?"), sentence_of("Adults")
    ('Did it grow?', 'Adults.')
    """
    text = text.strip()
    return text if text.endswith((".", "?", "!", "…")) else f"{text}."
