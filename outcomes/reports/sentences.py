"""The sentences of a conference report, chosen by the design of the study."""

from __future__ import annotations

from collections.abc import Iterator

from outcomes.reports import change_sentences, model_sentences, reliability_sentences, study_sentences
from outcomes.reports.facts import Facts
from outcomes.reports.wording import Sentence


def conference_sentences(facts: Facts) -> list[Sentence]:
    """Return every sentence that the record can fill, in the order in which an abstract says them.

    Parameters
    ----------
    facts : Facts

    Returns
    -------
    list of Sentence
        Single arm and single case: "changed" and "was associated with". Parallel groups: each group described, the
        difference between them compared, never one group's change by itself. Test-retest: reliability. What the record
        cannot answer is a sentence that says so and names the field or table that would.
    """
    return list(_retest(facts) if facts.design == "test-retest" else _before_after(facts))


def _before_after(facts: Facts) -> Iterator[Sentence]:
    yield from study_sentences.background(facts)
    yield from study_sentences.methods(facts)
    yield from study_sentences.people(facts)
    yield from study_sentences.dose(facts)
    yield from change_sentences.outcome(facts)
    yield from model_sentences.limbs(facts)
    yield from change_sentences.association(facts)
    yield from model_sentences.other_rules(facts)
    yield from change_sentences.other_outcomes(facts)
    yield from study_sentences.changed_meanwhile(facts)
    yield from study_sentences.harms(facts)
    yield from change_sentences.conclusion(facts)


def _retest(facts: Facts) -> Iterator[Sentence]:
    yield from study_sentences.background(facts)
    yield from study_sentences.methods(facts)
    yield from study_sentences.people(facts)
    yield from reliability_sentences.reliability(facts)
    yield from study_sentences.harms(facts)
    yield from reliability_sentences.conclusion(facts)
