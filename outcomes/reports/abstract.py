"""The abstract: sentences under the headings of the meeting, fitted to its word or character limit."""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from outcomes.reports import format as fmt
from outcomes.reports.facts import Facts, rows_of
from outcomes.reports.sentences import conference_sentences
from outcomes.reports.study_sentences import ledger
from outcomes.reports.wording import MUST, Sentence, causal_words, found_words

DEFAULT_WORDS = 250
DEFAULT_HEADINGS = ("Background", "Methods", "Results", "Conclusion")
SHORTEN_BEFORE = 4
"""Sentences of a smaller priority go only after those that must stand were shortened."""

ORDER = ("background", "objective", "methods", "results", "conclusion")

_PLACES: dict[int, tuple[int, ...]] = {
    1: (0, 0, 0, 0, 0),
    2: (0, 0, 0, 1, 1),
    3: (0, 0, 0, 1, 2),
    4: (0, 0, 1, 2, 3),
    5: (0, 1, 2, 3, 4),
}
"""Number of headings to the heading under which each part of `ORDER` stands; further headings are the author's."""


@dataclass(frozen=True, slots=True)
class Abstract:
    """An abstract fitted to its limit, with what was done to fit it and what is still to settle.

    Parameters
    ----------
    title : str
    sections : tuple of (str, str)
        Heading and text, in order.
    unit : {"words", "characters"}
        What the limit counts.
    used, limit : int
    left_out, shortened : tuple of str
        Names of the sentences that were dropped or shortened, in that order.
    to_cut : tuple of str
        Where even the sentences that must stand exceed the limit: which are longest.
    missing : tuple of (str, str)
        What is not reported, and the protocol field or table that would answer it.
    findings : tuple of str
        What the author should settle before handing it in.
    notes : tuple of str
        Lines that stand on every page and are no part of the abstract.
    """

    title: str
    sections: tuple[tuple[str, str], ...]
    unit: str
    used: int
    limit: int
    left_out: tuple[str, ...] = ()
    shortened: tuple[str, ...] = ()
    to_cut: tuple[str, ...] = ()
    missing: tuple[tuple[str, str], ...] = ()
    findings: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()

    @property
    def body(self) -> str:
        """Headings and text as they are pasted into a form."""
        return _joined(self.sections)

    @property
    def length_line(self) -> str:
        """How long it is, and what was done to make it so."""
        line = f"{fmt.number(self.used)} of {fmt.number(self.limit)} {self.unit}, headings counted, title not."
        if self.left_out:
            line += f" Left out: {'; '.join(self.left_out)}."
        if self.shortened:
            line += f" Shortened: {'; '.join(self.shortened)}."
        return line

    def to_text(self) -> str:
        """Return the text file: title, abstract, and below a line what is no part of it."""
        below = [self.length_line, *self.findings, *self.notes]
        first = [self.notes[0], ""] if self.notes and self.notes[0] == SYNTHETIC else []
        return "\n".join([*first, self.title, "", self.body, "", "-" * 20, *below]) + "\n"

    def to_dict(self) -> dict[str, Any]:
        """Return plain data for JSON."""
        return dataclasses.asdict(self)

    @classmethod
    def from_dict(cls, data: dict[str, Any]) -> Abstract:
        """Return the abstract that `to_dict` wrote."""
        pairs = {k: tuple((a, b) for a, b in data[k]) for k in ("sections", "missing")}
        lists = {k: tuple(data[k]) for k in ("left_out", "shortened", "to_cut", "findings", "notes")}
        return cls(**{**data, **pairs, **lists})


SYNTHETIC = "Synthetic data"

NOTHING = "Not reported."
"""Stands under a heading for which the record and the author say nothing."""


def count(text: str, unit: str) -> int:
    """Return the length as submission forms count it.

    Parameters
    ----------
    text : str
    unit : {"words", "characters"}
        Words are what stands between blanks, so "P = 0.01" is three; characters include blanks.

    Examples
    --------
    >>> count("n = 12 people", "words"), count("ab c", "characters")
    (4, 4)
    """
    return len(text.split()) if unit == "words" else len(text)


def build_abstract(facts: Facts, *, word_limit: int = 0) -> Abstract:
    """Write the abstract of a study.

    Parameters
    ----------
    facts : Facts
    word_limit : int
        Instead of the protocol's limit; 0 keeps it.

    Returns
    -------
    Abstract
        Within the limit, or with `to_cut` filled where the sentences that must stand exceed it.
    """
    plan = (facts.meta.get("report") or {}).get("conference") or {}
    unit, limit = "words", int(plan.get("words") or DEFAULT_WORDS)
    if plan.get("characters") and not word_limit:
        unit, limit = "characters", int(plan["characters"])
    headings = tuple(fmt.clean(h, 60) for h in plan.get("headings") or DEFAULT_HEADINGS)
    everything = conference_sentences(facts)
    kept, left_out, shortened = fit(everything, headings, unit, word_limit or limit)
    sections = arrange(kept, headings)
    draft = Abstract(
        title=facts.title, sections=sections, unit=unit, used=0, limit=word_limit or limit,
        left_out=left_out, shortened=shortened,
        missing=tuple((s.name, s.answer) for s in everything if s.answer),
        notes=page_notes(facts),
    )  # fmt: skip
    used = count(draft.body, unit)
    to_cut = _longest(kept, unit) if used > draft.limit else ()
    draft = dataclasses.replace(draft, used=used, to_cut=to_cut)
    return dataclasses.replace(draft, findings=tuple(findings(facts, draft, plan.get("blind_words") or ())))


def arrange(kept: Sequence[Sentence], headings: Sequence[str]) -> tuple[tuple[str, str], ...]:
    """Return heading and text of every section; sentences keep their order."""
    places = _PLACES[min(max(len(headings), 1), 5)]
    texts: list[list[str]] = [[] for _ in headings or ("",)]
    for part, place in zip(ORDER, places, strict=True):
        texts[place] += [s.text for s in kept if s.section == part]
    return tuple((h, " ".join(text) or NOTHING) for h, text in zip(headings or ("",), texts, strict=True))


def fit(
    everything: Sequence[Sentence], headings: Sequence[str], unit: str, limit: int
) -> tuple[list[Sentence], tuple[str, ...], tuple[str, ...]]:
    """Drop and shorten sentences until the abstract fits, least important first.

    Parameters
    ----------
    everything : sequence of Sentence
    headings : sequence of str
    unit : {"words", "characters"}
    limit : int

    Returns
    -------
    kept : list of Sentence
        In order; shortened ones carry their short text.
    left_out, shortened : tuple of str
        Names, least important first.

    Notes
    -----
    Sentences of priority `SHORTEN_BEFORE` and more go first, then those that must stand are shortened, then the rest
    goes, then those that must stand take their shortest form. What then fits again is put back, most important first.
    """
    forms = [s.text for s in everything]
    optional = sorted((i for i, s in enumerate(everything) if s.priority > MUST), key=lambda i: -everything[i].priority)
    must = [i for i, s in enumerate(everything) if s.priority == MUST]

    def over() -> bool:
        return count(_joined(arrange(_in_form(everything, forms), headings)), unit) > limit

    steps = [(i, "") for i in optional if everything[i].priority >= SHORTEN_BEFORE]
    steps += [(i, everything[i].short) for i in must if everything[i].short]
    steps += [(i, "") for i in optional if everything[i].priority < SHORTEN_BEFORE]
    steps += [(i, everything[i].brief) for i in reversed(must) if everything[i].brief]
    taken = []
    for i, form in steps:
        if over():
            taken.append((i, forms[i]))
            forms[i] = form
    for i, before in reversed(taken):
        for longer in (everything[i].text, before):
            kept, forms[i] = forms[i], longer
            if not over():
                break
            forms[i] = kept
    still = [i for i in dict.fromkeys(i for i, _ in taken) if forms[i] != everything[i].text]
    left_out = tuple(everything[i].name for i in still if not forms[i])
    return _in_form(everything, forms), left_out, tuple(everything[i].name for i in still if forms[i])


def _in_form(everything: Sequence[Sentence], forms: Sequence[str]) -> list[Sentence]:
    return [dataclasses.replace(s, text=form) for s, form in zip(everything, forms, strict=True) if form]


def _joined(sections: Iterable[tuple[str, str]]) -> str:
    return "\n\n".join(f"{heading}\n{text}" for heading, text in sections)


def _longest(kept: Iterable[Sentence], unit: str) -> tuple[str, ...]:
    by_length = sorted(kept, key=lambda s: -count(s.text, unit))[:4]
    return tuple(f"{s.name} ({count(s.text, unit)} {unit})" for s in by_length)


def page_notes(facts: Facts, *, plain: bool = False) -> tuple[str, ...]:
    """Return the lines that stand on every page: synthetic data, data date, software, what became of the data, caution.

    Parameters
    ----------
    facts : Facts
    plain : bool
        In words for readers outside the field.
    """
    meta = facts.meta
    lines = [SYNTHETIC] if facts.synthetic else []
    until = f"data until {fmt.clean(meta['data_until'], 40)}; " if meta.get("data_until") else ""
    lines.append(f"Study: {facts.title}; {until}outcomes {meta.get('software_version') or ''}".rstrip())
    lines += [f"Differs from protocol: {line}" for line in facts.changed_choices]
    if (meta.get("frozen") or {}).get("changed"):
        lines.append(f"The protocol was changed after freezing on {meta['frozen'].get('on')}.")
    lines += [line for line in (ledger(facts, plain=plain),) if line]
    answered = rows_of(facts.record, "decisions")
    if answered:
        aside = sum(row["decision"] == "set_aside" for row in answered)
        lines.append(f"Queries about the data that a reviewer answered: {len(answered)}; values set aside so: {aside}.")
    if meta.get("caution"):
        lines.append(str(meta["caution"]))
    return tuple(lines)


def running(facts: Facts) -> list[str]:
    """Return the lines that a printed page repeats at its foot: synthetic data, study, what differs, caution."""
    return [line for line in page_notes(facts) if line != ledger(facts) and not line.startswith("Queries about")]


def findings(facts: Facts, abstract: Abstract, blind_words: Sequence[str]) -> list[str]:
    """Return what the author should settle before handing the abstract in."""
    found: list[str] = []
    if abstract.to_cut:
        over = abstract.used - abstract.limit
        found.append(
            f"Too long by {fmt.number(over)} {abstract.unit} although only what must be said is left. "
            f"Longest: {', '.join(abstract.to_cut)}. Shorten by hand, or ask the meeting for more."
        )
    text = f"{abstract.title}\n{abstract.body}"
    names = found_words(text, [fmt.clean(w, 60) for w in blind_words])
    if names:
        found.append(f"Not blinded: the text contains {', '.join(names)}.")
    elif blind_words:
        found.append(
            f"Blinding: none of the {fmt.counted(len(blind_words), 'word')} in blind_words stands in the text."
        )
    if facts.design != "parallel groups" or facts.meta.get("allocation") != "randomised":
        causal = causal_words(text)
        if causal:
            found.append(
                f"The design shows no cause, but the title or a sentence of the author says: {', '.join(causal)}."
            )
    found += title_findings(facts, abstract.title)
    found += _open_data(facts)
    found += [f"Nothing stands under '{h}'." for h, text in abstract.sections if text == NOTHING]
    found += [f"Not reported: {name}; answered by {answer}." for name, answer in abstract.missing]
    return list(dict.fromkeys(found))


TITLE_WORDS = 20
"""Most words of a title where the protocol does not say; common practice, no source."""

DESIGN_WORDS = (
    "before", "after", "single", "uncontrolled", "randomised", "randomized", "groups", "retest", "reliability", "trial",
    "cohort", "case", "controlled",
)  # fmt: skip
"""Words of which a title should hold one, so that a reader knows the design."""


def title_findings(facts: Facts, title: str) -> list[str]:
    """Return what is to settle about the title: its length, its design word, a capital in every letter."""
    plan = (facts.meta.get("report") or {}).get("conference") or {}
    most = int(plan.get("title_words") or TITLE_WORDS)
    found = []
    if len(title.split()) > most:
        found.append(f"Title: {fmt.number(len(title.split()))} words, at most {most} are asked for.")
    if not found_words(title, DESIGN_WORDS):
        found.append("Title: it does not name the design, such as before and after, groups or test-retest.")
    if title.isupper():
        found.append("Title: all in capital letters.")
    return found


def _open_data(facts: Facts) -> list[str]:
    """Return what of the data is still open: values set aside and values asked about."""
    aside, asked = (facts.value("data", statistic) for statistic in ("cells_emptied", "queries"))
    lines = []
    if aside:
        lines.append(f"Set aside: {fmt.counted(int(aside), 'value')} could not be used; outcomes check lists them.")
    if asked:
        lines.append(
            f"Asked: {fmt.counted(int(asked), 'doubt')} about values that were kept; outcomes check lists them."
        )
    return lines
