"""protocol.toml, version 1: every section and key, its type, its words, its default and the report line it answers."""

from __future__ import annotations

import hashlib
import json
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, PrivateAttr

from outcomes.toml_source import TomlSource
from outcomes.vocabulary import PLACE_PATTERN

KEY_PATTERN = f"^{PLACE_PATTERN}$"
TEXT_PATTERN = r"\S"
DAY_PATTERN = r"^\d{4}-\d{2}-\d{2}$"
HASH_PATTERN = r"^[0-9a-f]{64}$"
CURRENCY_PATTERN = r"^[A-Z]{3}$"

Text = Annotated[str, Field(pattern=TEXT_PATTERN)]
Key = Annotated[str, Field(pattern=KEY_PATTERN)]
AgreementWord = Literal[
    "correlations", "error", "limits", "limits ratio", "limits by size", "limits replicates", "limits pairs",
    "concordance", "kappa", "alpha", "precision", "items", "bootstrap",
]  # fmt: skip
Minutes = Annotated[float, Field(ge=0, le=600)]

STATEMENTS: dict[str, str] = {
    "eligibility": "Who could take part. Answers: participants, inclusion and exclusion.",
    "recruitment": "How, where and when people were found. Answers: participants, recruitment.",
    "allocation": "How people came into their group. Answers: design, allocation.",
    "blinding": "Who did not know group or visit. Answers: design, blinding.",
    "sample_size": "Why this many people. Answers: design, sample size.",
    "raters": "Who rates, with which training and practice. Answers: GRRAS 4, 12.",
    "rating_process": "How far apart the occasions are, and what raters knew of the earlier one. Answers: GRRAS 8.",
    "independence": "Whether one rating could know of another. Answers: GRRAS 9.",
    "practical_relevance": "What the error means for daily work. Answers: GRRAS 14.",
    "interests": "Competing interests of the authors. Answers: declarations.",
    "funding_role": "What the funder had a say in. Answers: declarations, role of the funder.",
    "data_access": "Whether and how data and code can be had. Answers: declarations, data availability.",
    "consent": "How consent was given. Answers: declarations, ethics.",
    "rationale": "Why this training, in one sentence. Answers: introduction; TIDieR 2.",
    "limitations": "What the author wants said besides the standing limits. Answers: discussion, limitations.",
    "involvement": "Who of those concerned helped to plan the study, or that nobody did. Answers: CONSORT 8.",
    "interim": "Whether anybody looked at results before the end, and rules for stopping. Answers: CONSORT 16b.",
    "next_step": "What is planned next, in plain words. Answers: funder, next step.",
    "conclusion": "The author's own last sentence. Answers: conclusion, after the standing one.",
    "deviations": "What was done otherwise than planned. Answers: methods, deviations; TIDieR 10.",
    "materials": "Ergometer, stimulator and electrodes, without brand where blinded. Answers: TIDieR 3, CERT 1.",
    "procedures": "What happens in a session, step by step. Answers: TIDieR 4, CERT 8.",
    "provider": "Who leads the sessions and with which training. Answers: TIDieR 5, CERT 2.",
    "delivery": "One person at a time or in groups. Answers: TIDieR 6, CERT 3.",
    "location": "Where sessions take place. Answers: TIDieR 7, CERT 12.",
    "supervision": "Who watches, and how closely. Answers: CERT 4.",
    "motivation": "How people were kept going. Answers: CERT 6.",
    "home_programme": "What was done at home. Answers: CERT 9.",
    "other_care": "Therapy and care besides the training. Answers: CERT 10.",
    "starting_level": "How the first load was chosen. Answers: CERT 15.",
    "tailoring": "What was fitted to the person, and how. Answers: TIDieR 9, CERT 14.",
    "fidelity": "How keeping to the plan was checked. Answers: TIDieR 11, CERT 16a.",
}
"""Keys of ``[statements]``: sentences of the author, printed as given; a missing one prints "not supplied"."""


class Section(BaseModel):
    """Base of all sections: frozen; no unknown key; a text is never a number; no infinity and no nan."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


class StudyPlan(Section):
    """``[study]``: what the study is."""

    title: Text = Field(description="Title of the study. Answers: title of every page.")
    question: Text | None = Field(
        default=None,
        description="The one question, as a sentence. Answers: abstract, introduction; funder, first line.",
    )
    design: Literal["single arm", "parallel groups", "single case", "test-retest"] = Field(
        description="Design of the study. Answers: abstract, first line; chooses wording and checklist."
    )
    allocation: Literal["randomised", "not randomised"] | None = Field(
        default=None,
        description="Whether chance decided the group; only for parallel groups. Answers: design, allocation.",
    )
    setting: Text | None = Field(default=None, description="Kind of place, not its name. Answers: methods, setting.")
    funder: Text | None = Field(default=None, description="Who paid. Answers: declarations, funding.")
    registered_as: Text | None = Field(
        default=None, description="Registry and number. Answers: declarations, registration."
    )
    approved_by: Text | None = Field(default=None, description="Ethics approval. Answers: declarations, ethics.")
    synthetic: bool = Field(
        default=False, description='Whether the data are invented. Answers: "synthetic data" on every page and figure.'
    )


class GroupPlan(Section):
    """``[[groups]]``: one arm; only for parallel groups."""

    key: Key = Field(description="Word of participants.group. Answers: group part of every record key.")
    label: Text = Field(description="What readers see. Answers: every table and figure by group.")
    words: tuple[Text, ...] = Field(
        default=(), description="How the clinic types it. Answers: data, words that were mapped."
    )
    reference: bool = Field(
        default=False, description="Whether the other groups are compared with this one. Answers: methods, comparison."
    )
    trained: bool = Field(
        default=True,
        description="Whether the programme is for this group; false for one that waits: no session of it is planned "
        "and none counts as missed. Answers: planned dose by group.",
    )


class VisitPlan(Section):
    """``[[visits]]``: one visit at which measures are taken."""

    key: Key = Field(description="Word of assessments.visit. Answers: contrast part of every record key.")
    label: Text = Field(description="What readers see. Answers: every table and figure by visit.")
    week: Annotated[float, Field(ge=-52, le=520)] | None = Field(
        default=None,
        description="Planned week, counted from enrolment; leave out where none was planned. Answers: methods, visits.",
    )
    window_days: tuple[Annotated[int, Field(ge=0, le=365)], Annotated[int, Field(ge=0, le=365)]] | None = Field(
        default=None,
        description="[days before, days after] that still count as this visit. Answers: data, visits outside.",
    )
    when: Literal["baseline", "during", "end", "follow up"] = Field(
        description="Part of the study that the visit belongs to. Answers: dose since baseline; end and follow up."
    )

    @property
    def window(self) -> tuple[float, float] | None:
        """First and last day since enrolment that count as this visit; None where the protocol sets none."""
        if self.week is None or self.window_days is None:
            return None
        return self.week * 7 - self.window_days[0], self.week * 7 + self.window_days[1]


class MeasurePlan(Section):
    """``[[measures]]``: one measure that the study follows."""

    measure: Key = Field(description="Key of the measure's definition. Answers: measures, name and source.")
    version: Text | None = Field(
        default=None,
        description="Version of the definition; the newest if absent. Answers: measures, version.",
    )
    role: Literal["primary", "secondary", "exploratory"] = Field(
        description="Exactly one measure is primary; exploratory ones are never tested. Answers: primary outcome."
    )
    plain_name: Text | None = Field(
        default=None,
        description="What people outside the field call it, such as thigh size. Answers: funder and participant, name.",
    )
    scales: tuple[Key, ...] = Field(
        default=(), description="Scales of it; the main one if absent. Answers: outcomes, rows."
    )
    variant: Text | None = Field(
        default=None,
        description="The one variant that counts, such as a pace. Answers: outcomes, variant; never joined.",
    )
    bands: Text | None = Field(default=None, description="Set of bands to print. Answers: outcomes, words for a score.")
    places: tuple[Key, ...] = Field(
        default=(), description="Where on the body; all if absent. Answers: outcomes, place."
    )
    sides: tuple[Literal["left", "right", "both"], ...] = Field(
        default=(), description="Sides that are measured; left and right if absent. Answers: outcomes, side."
    )
    visits: tuple[Key, ...] = Field(
        default=(), description="Visits at which it is measured; all if absent. Answers: flow, planned measurements."
    )
    limbs: Literal["mean", "trained", "worse", "modelled"] | None = Field(
        default=None,
        description="How two limbs become one value of a person; mean if absent, an ordinal scale must choose "
        "(worse, trained). 'modelled' is the mean with a mixed model of every limb beside it. "
        "Answers: methods, unit of analysis.",
    )
    minimal_change: Literal["own", "published", "none"] = Field(
        default="none",
        description="Where the minimal detectable change comes from: the clinic's own repeats, a published value, or "
        "nowhere. Answers: people beyond measurement error, and its source.",
    )
    published: Text | None = Field(
        default=None,
        description='Key of the published value, with minimal_change = "published". Answers: the same line.',
    )
    acceptable_difference: Annotated[float, Field(gt=0, le=1_000_000)] | None = Field(
        default=None,
        description="Largest difference of two measurements of one person that would be acceptable in use, fixed "
        "beforehand, in the scale's unit. Answers: limits of agreement against it.",
    )
    hoped_for: Literal["increase", "decrease"] | None = Field(
        default=None,
        description="The study's hope, where the definition has no better direction. Answers: larger / within / "
        "smaller, and the hope beside it.",
    )
    percent: bool = Field(
        default=False,
        description="Whether the change is also given in percent; only for a ratio scale. Answers: outcomes, percent.",
    )
    reliable_change: Literal["none", "classic", "practice adjusted"] = Field(
        default="none",
        description="Reliable change index of every person, from the clinic's own repeats (minimal_change is own); "
        "with their mean change taken off as practice, or not. Answers: people with a reliable change.",
    )
    anchor: Key | None = Field(
        default=None,
        description="Measure of the people's own rating of change (such as grc), listed under [[measures]] too; its "
        "rating at the later compared visit says who calls the change important. Answers: important change.",
    )
    anchor_important: Annotated[float, Field(ge=-100, le=100)] | None = Field(
        default=None,
        description="Rating of the anchor from which a change counts as important, in its better direction. Answers: "
        "important change, anchor.",
    )
    anchor_slight: tuple[float, float] | None = Field(
        default=None,
        description="[lowest, highest] rating just above 'no change', for the mean change of those people. Answers: "
        "important change, mean-change method.",
    )
    distribution_based: bool = Field(
        default=False,
        description="Whether half a standard deviation of the first visit and one standard error of measurement are "
        "given; with an anchor they always stand beside it. Answers: important change, sizes without an anchor.",
    )
    entry_cut: float | None = Field(
        default=None,
        description="First value by which people were let in, in the scale's unit; leave out where it decided nothing. "
        "Answers: regression to the mean.",
    )
    entry_mean: float | None = Field(
        default=None,
        description="Mean of people like these without that cut-off, in the scale's unit. Answers: the change that "
        "selection alone would bring.",
    )
    cap: Annotated[float, Field(gt=0, le=3600)] | None = Field(
        default=None,
        description="Longest time that a timed test may take, declared beforehand. Answers: methods, cap.",
    )


class ChannelPlan(Section):
    """``[[training.channels]]``: one stimulation channel."""

    channel: Annotated[int, Field(ge=1, le=64)] = Field(
        description="Number of the channel. Answers: training, channels."
    )
    muscle: Key = Field(description="Muscle group, as in stimulation.muscle. Answers: training, muscles.")
    side: Literal["left", "right", "both"] = Field(description="Side of the body. Answers: training, sides.")


class TrainingPlan(Section):
    """``[training]``: the training protocol in the everyday sense (TIDieR 8, FITT)."""

    mode: Literal["legs", "arms", "both"] = Field(description="Limbs that cycle. Answers: training, type.")
    weeks: Annotated[int, Field(ge=1, le=520)] = Field(description="Length of the programme. Answers: training, weeks.")
    sessions_per_week: Annotated[float, Field(gt=0, le=21)] = Field(
        description="Planned sessions a week. Answers: training, frequency; planned sessions."
    )
    passive_minutes: Minutes | None = Field(
        default=None, description="Motor-driven warm-up; never counts as training. Answers: training, session parts."
    )
    ramp_minutes: Minutes | None = Field(
        default=None, description="Stimulation rising, motor helping; not active. Answers: training, session parts."
    )
    active_minutes: tuple[Minutes, ...] = Field(
        default=(),
        description="Planned active minutes a session, week by week; the last repeats; none planned if absent. "
        "Answers: training, time; planned active minutes.",
    )
    cooldown_minutes: Minutes | None = Field(default=None, description="Passive end. Answers: training, session parts.")
    cadence_rpm: Annotated[float, Field(gt=0, le=150)] | None = Field(
        default=None, description="Target cadence. Answers: training, intensity."
    )
    current_ma: tuple[Annotated[float, Field(ge=0, le=300)], Annotated[float, Field(ge=0, le=300)]] | None = Field(
        default=None, description="[lowest, highest] planned amplitude. Answers: training, stimulation."
    )
    pulse_width_us: Annotated[float, Field(ge=10, le=2000)] | None = Field(
        default=None, description="Pulse width. Answers: training, stimulation."
    )
    frequency_hz: Annotated[float, Field(ge=1, le=200)] | None = Field(
        default=None, description="Pulse frequency. Answers: training, stimulation."
    )
    progression: Text | None = Field(default=None, description="Rule by which load rises. Answers: TIDieR 9; CERT 7a.")
    modifications: Text | None = Field(default=None, description="What was changed on the way. Answers: TIDieR 10.")
    channels: tuple[ChannelPlan, ...] = Field(
        default=(), description="Stimulation channels. Answers: training, muscles."
    )


class DosePlan(Section):
    """``[dose]``: which training dose is summed, and over what time."""

    metrics: tuple[Literal["active_minutes", "work_kj", "charge_c"], ...] = Field(
        default=("active_minutes", "work_kj"),
        description="Doses that are related to change; charge needs the table stimulation. Answers: dose-response, "
        "rows.",
    )
    which: tuple[Literal["delivered", "planned"], ...] = Field(
        default=("delivered", "planned"),
        description="Whether what was delivered, what was planned, or both is related to change; planned dose is "
        "chosen less by the person. Answers: dose-response, rows.",
    )
    groups: Literal["each group", "group term"] = Field(
        default="each group",
        description="With parallel groups: an association within each group, or one with the group held constant; "
        "groups are never pooled without it. Answers: dose-response, groups.",
    )
    cumulate: Literal["to visit", "since last visit", "recent"] = Field(
        default="to visit", description="Time over which the dose of a visit is summed. Answers: methods, dose window."
    )
    recent_days: Annotated[int, Field(ge=1, le=365)] | None = Field(
        default=None, description='Length of the window with cumulate = "recent". Answers: methods, dose window.'
    )
    lag_days: Annotated[int, Field(ge=0, le=365)] = Field(
        default=0, description="Days before a visit whose sessions do not count yet. Answers: methods, dose window."
    )
    source: Literal["sessions", "traces"] = Field(
        default="sessions",
        description="What minutes and work come from; a session without a trace has none with traces. "
        "Answers: methods, dose source.",
    )
    gap_s: Annotated[float, Field(gt=0, le=3600)] = Field(
        default=5.0,
        description="Longest step between two samples of a trace that still is a recording. "
        "Answers: methods, dose source.",
    )
    cadence_floor_rpm: Annotated[float, Field(gt=0, le=150)] | None = Field(
        default=None,
        description="Cadence below which an active bout of a trace ends; none if absent. "
        "Answers: methods, dose source.",
    )
    gross_efficiency: Annotated[float, Field(gt=0, le=1)] | None = Field(
        default=None,
        description="Work over the energy that the body spends for it, an assumption of the author such as 0.08; no "
        "metabolic energy is given without it. Answers: energy and internal load.",
    )
    planned_until: Literal["withdrawal", "programme end"] = Field(
        default="withdrawal", description="Until when a person is planned for. Answers: methods, planned dose."
    )


class EventRule(Section):
    """``[[analysis.events]]``: what a change or event during the study does to values after it."""

    table: Literal["changes", "events"] = Field(description="Table of the event. Answers: methods, events.")
    kind: Key = Field(description="Its kind. Answers: methods, events.")
    strategy: Literal["whatever happened", "while unchanged", "excluded"] = Field(
        description="Values stand; values after it are left out; the person is left out. Answers: methods, events."
    )


class AnalysisPlan(Section):
    """``[analysis]``: what is compared, and how."""

    compare: tuple[Key, Key] | None = Field(
        default=None,
        description="[earlier visit, later visit] of the main comparison. Answers: primary outcome, contrast.",
    )
    alpha: Annotated[float, Field(gt=0, lt=0.5)] = Field(
        default=0.05, description="Intervals are of level 1 - alpha. Answers: every interval."
    )
    multiplicity: Literal["holm", "bh", "none"] = Field(
        default="holm", description="Adjustment of the secondary p values. Answers: methods, many outcomes."
    )
    effect_sizes: tuple[Literal["d_z", "hedges_g", "d_av", "d_rms", "d_rm", "d_before", "g_before"], ...] = Field(
        default=("d_z", "hedges_g", "d_av"),
        description="Standardised mean changes within a group that are given, by divisor. Answers: outcomes, effect "
        "sizes.",
    )
    group_spread: Literal["equal", "hc3"] = Field(
        default="equal",
        description="Standard errors of differences between groups: one residual variance, or one for each person "
        "(HC3). Answers: methods, comparison of groups.",
    )
    agreement: tuple[AgreementWord, ...] = Field(
        default=("correlations", "error", "limits", "concordance", "kappa", "alpha"),
        description="What is computed from repeat tests, as far as the scale allows it; standard error and "
        "detectable change always are. Limits of agreement: of differences (limits), of ratios, by regression on the "
        "size, of single readings of two occasions (replicates), of occasions taken two by two while the true value "
        "varies (pairs). kappa: kappas, AC1 and AC2 of grades; alpha: ordinal alpha of grades; precision: precision "
        "error and least significant change; items: Cronbach's alpha and omega of the items of a total, at the first "
        "compared visit or the first occasion; bootstrap: intervals by drawing people anew beside the exact ones. "
        "Answers: reliability, columns; what was asked besides.",
    )
    mdc_trials: Annotated[int, Field(ge=2, le=100)] | None = Field(
        default=None,
        description="Occasions that are averaged to one value, for the minimal detectable change of such a mean. "
        "Answers: what was asked besides.",
    )
    mdc_people: Annotated[int, Field(ge=2, le=100_000)] | None = Field(
        default=None,
        description="People whose mean change is looked at, for the minimal detectable change of a group; all "
        "retested people if absent. Answers: what was asked besides.",
    )
    retest_margin: Annotated[float, Field(gt=0, le=2)] = Field(
        default=0.25,
        description="Share of the minimal detectable change to within which it shall be known. Answers: reliability, "
        "people still to retest.",
    )
    missing: Literal["complete pairs"] = Field(
        default="complete pairs",
        description="Who is analysed: people with both compared values. Answers: methods, missing.",
    )
    min_people: Annotated[int, Field(ge=2, le=1000)] = Field(
        default=3, description="Fewest people for which a change is estimated. Answers: not estimable, with the reason."
    )
    visits_outside: Literal["keep", "drop"] = Field(
        default="keep", description="What happens to a visit outside its window. Answers: methods, visits."
    )
    report: Literal["all", "each group", "both"] = Field(
        default="all",
        description="For whom numbers are given; with parallel groups 'each group' if absent. Answers: group rows.",
    )
    seed: Annotated[int, Field(ge=0, le=2**31 - 1)] = Field(
        default=1, description="Seed of everything that draws random numbers. Answers: reproducibility line."
    )
    resamples: Annotated[int, Field(ge=100, le=1_000_000)] = Field(
        default=10_000, description="Bootstrap and permutation draws. Answers: methods, resampling."
    )
    recovery_months: Annotated[float, Field(ge=0, le=240)] = Field(
        default=18.0,
        description="Months since onset below which people may still recover by themselves. Answers: flags; the run "
        "without them.",
    )
    sensitivity: tuple[Literal["natural recovery", "same rater", "medicine unchanged"], ...] = Field(
        default=("natural recovery", "same rater", "medicine unchanged"),
        description="Runs beside the main one: without people early after onset, with one rater of both visits, "
        "without people whose medicine changed. Answers: the main number in other hands.",
    )
    events: tuple[EventRule, ...] = Field(default=(), description="Rules for events. Answers: methods, events.")


class IntakeRules(Section):
    """``[intake]``: how the clinic's files are written."""

    missing_words: tuple[Text, ...] = Field(
        default=(),
        description="Words besides empty and NA that mean missing, such as 999. Answers: data, missing words.",
    )
    date_format: Text | None = Field(
        default=None, description="How days are typed besides 2026-03-31, such as %d.%m.%Y. Answers: data, dates."
    )
    decimal: Literal[".", ","] = Field(default=".", description="Decimal mark of text files. Answers: data, numbers.")
    separator: Literal[",", ";", "\t", "|"] | None = Field(
        default=None, description="Column separator of text files; found in the header if absent. Answers: data, files."
    )
    encoding: Text | None = Field(
        default=None, description="Text encoding; UTF-8 if absent, another must be named. Answers: data, files."
    )
    header_row: Annotated[int, Field(ge=1, le=100)] = Field(
        default=1, description="Row of the headings, as the spreadsheet counts. Answers: data, files."
    )
    unit_row: Annotated[int, Field(ge=2, le=101)] | None = Field(
        default=None, description="Row below the headings that holds units and no data. Answers: data, files."
    )
    on_error: Literal["stop", "set_aside"] = Field(
        default="stop",
        description="Whether impossible values stop the run or become missing. Answers: data, set aside.",
    )


class NotApplicable(Section):
    """``[[not_applicable]]``: a checklist item that does not apply."""

    guideline: Key = Field(description="Key of the guideline. Answers: checklist, item.")
    item: Text = Field(description="Item of it, such as 5b. Answers: checklist, item.")
    reason: Text = Field(description="Why it does not apply. Answers: checklist, reason.")


class HarmsPlan(Section):
    """``[harms]``: whether adverse events were collected."""

    collection: Literal["table", "none occurred", "not collected"] = Field(
        description="In the table events; asked for and none; not asked for. Answers: harms, in every report."
    )


class ConferencePlan(Section):
    """``[report.conference]``: form of the abstract; exactly one of words and characters."""

    words: Annotated[int, Field(ge=50, le=5000)] | None = Field(
        default=None, description="Word limit; 250 if neither limit is given. Answers: length line of the abstract."
    )
    characters: Annotated[int, Field(ge=300, le=30_000)] | None = Field(
        default=None, description="Character limit instead of words. Answers: length line of the abstract."
    )
    headings: tuple[Text, ...] = Field(
        default=("Introduction", "Methods", "Results", "Conclusion"),
        description="Headings, in order. Answers: abstract.",
    )
    title_words: Annotated[int, Field(ge=3, le=100)] = Field(
        default=20, description="Most words of the title. Answers: title check of the abstract."
    )
    figure_cm: Annotated[float, Field(ge=4, le=17)] = Field(
        default=8.0, description="Width of the figure in the document, in cm. Answers: figure of the abstract."
    )
    table: bool = Field(
        default=False,
        description="Whether a table of the outcomes stands in the document. Answers: table of the abstract.",
    )
    blind_words: tuple[Text, ...] = Field(
        default=(), description="Names that must not appear in a blinded text. Answers: blinding check of the abstract."
    )


class Cost(Section):
    """``[[report.funder.costs]]``: one cost that the clinic supplies."""

    label: Text = Field(description="What it paid for. Answers: funder, costs.")
    amount: Annotated[float, Field(ge=0)] = Field(description="Amount in the currency. Answers: funder, costs.")
    currency: Annotated[str, Field(pattern=CURRENCY_PATTERN)] = Field(
        description="Three capital letters (ISO 4217). Answers: funder, costs."
    )


class FunderPlan(Section):
    """``[report.funder]``: form of the funder's pages."""

    paper: Literal["A4", "Letter"] = Field(default="A4", description="Paper of printed pages. Answers: page size.")
    costs: tuple[Cost, ...] = Field(default=(), description="Costs; no cost line if absent. Answers: funder, costs.")


class ReportPlan(Section):
    """``[report]``: one table for each reader that needs one."""

    conference: ConferencePlan = Field(default=ConferencePlan(words=250), description="Abstract. Answers: its form.")
    funder: FunderPlan = Field(default=FunderPlan(), description="Funder's pages. Answers: their form.")
    beside_published: bool = Field(
        default=False,
        description="Whether published results of other people stand beside the study's own. Answers: that table.",
    )


class PrivacyRules(Section):
    """``[privacy]``: counts of fewer people than this are withheld."""

    internal_minimum: Annotated[int, Field(ge=1, le=1000)] = Field(
        default=5, description="Smallest count in reports that stay inside. Answers: small numbers."
    )
    public_minimum: Annotated[int, Field(ge=1, le=1000)] = Field(
        default=11, description="Smallest count in public reports. Answers: small numbers."
    )


class Seal(Section):
    """``[frozen]``: written by ``outcomes freeze``; not typed by hand."""

    on: Annotated[str, Field(pattern=DAY_PATTERN)] = Field(description="Day of sealing. Answers: protocol line.")
    sha256: Annotated[str, Field(pattern=HASH_PATTERN)] = Field(
        description="Hash of the plan on that day. Answers: 'changed after freezing', where it differs now."
    )


class Protocol(Section):
    """A whole protocol; read it with `protocols.read_protocol`, which also checks what one key says about another.

    Notes
    -----
    Optional single values that are absent are None, absent lists are empty, defaults are filled in.
    """

    schema_version: Literal[1] = Field(alias="schema", description="Version of this layout. Answers: protocol line.")
    study: StudyPlan = Field(description="What the study is. Answers: title and design.")
    groups: tuple[GroupPlan, ...] = Field(default=(), description="Arms, for parallel groups. Answers: group rows.")
    visits: tuple[VisitPlan, ...] = Field(
        default=(), description="Visits; none for test-retest. Answers: methods, visits."
    )
    measures: tuple[MeasurePlan, ...] = Field(description="What is measured. Answers: outcomes.")
    training: TrainingPlan | None = Field(
        default=None, description="Planned training. Answers: training; planned dose."
    )
    dose: DosePlan | None = Field(default=None, description="Dose that is summed. Answers: dose; dose-response.")
    analysis: AnalysisPlan = Field(default=AnalysisPlan(), description="What is compared. Answers: methods, analysis.")
    intake: IntakeRules = Field(default=IntakeRules(), description="How files are written. Answers: data.")
    statements: dict[str, Text] = Field(default={}, description="Sentences of the author, printed as given.")
    not_applicable: tuple[NotApplicable, ...] = Field(
        default=(), description="Items that do not apply. Answers: checklist."
    )
    harms: HarmsPlan = Field(description="Whether harms were collected. Answers: harms.")
    report: ReportPlan = Field(default=ReportPlan(), description="Form of reports. Answers: their form.")
    privacy: PrivacyRules = Field(default=PrivacyRules(), description="Small numbers. Answers: what is withheld.")
    frozen: Seal | None = Field(default=None, description="Seal of the plan. Answers: protocol line.")

    _source: TomlSource = PrivateAttr()

    @property
    def source(self) -> TomlSource:
        """The parsed file with the line of every key; the file's own text, without choices made for one run."""
        return self._source

    @property
    def sha256(self) -> str:
        """SHA-256 of the parsed file without ``[frozen]``, as canonical JSON (sorted keys, no blanks, UTF-8)."""
        content = {key: value for key, value in self._source.data.items() if key != "frozen"}
        return hashlib.sha256(canonical_json(content).encode("utf-8")).hexdigest()

    @property
    def changed_after_freezing(self) -> bool:
        """Whether the file was sealed and says something else now; layout and comments do not count."""
        return self.frozen is not None and self.frozen.sha256 != self.sha256


def canonical_json(content: Any) -> str:
    """Return JSON with sorted keys and no blanks.

    Examples
    --------
    >>> canonical_json({"b": 1, "a": [True, "x"]})
    '{"a":[true,"x"],"b":1}'
    """
    return json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
