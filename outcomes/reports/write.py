"""Write one report: all its forms, whole or not at all."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from outcomes.errors import OutcomesError, UsageError, near_word
from outcomes.files import inside, sha256, whole_folder, write_whole

READERS = ("conference", "funder", "class", "participant")
"""Readers whose notebook and template exist."""

CHECKLIST = "checklist.csv"
"""Name of the file that says where each item of the guidelines is answered."""

PRINTED = ("funder", "participant")
"""Readers whose report is also a pdf."""

SHORTCUTS = {"report.conference.words": "word_limit", "report.funder.paper": "paper"}
"""Choices of the protocol that change no number, to the parameter of the notebook that stands for them."""

PLAN = {
    "dose_window": "dose.cumulate",
    "dose_lag": "dose.lag_days",
    "limbs": "measures.{measure}.limbs",
    "minimal_change": "measures.{measure}.minimal_change",
}
"""Parameters of the notebook that change the analysis, to the choice of the protocol that each stands for."""


def write_report(
    folder: str | Path,
    reader: str,
    *,
    settings: Mapping[str, str] | None = None,
    public: bool = False,
    who: str | None = None,
) -> list[Path]:
    """Write the forms of one report from a study's latest record.

    Parameters
    ----------
    folder : path
        The study folder. Where it has no results yet, it is analysed first.
    reader : str
        "conference", "funder", "class" or "participant".
    settings : mapping of str to str, optional
        Parameters of the notebook, such as ``{"word_limit": "200"}``, and choices of the protocol, such as
        ``{"analysis.alpha": "0.1"}``: these run the analysis again with that choice changed, into results of their own,
        and the report says so.
    public : bool
        No marks of persons, and the larger minimum of people.
    who : str, optional
        For the participant's page only.

    Returns
    -------
    list of Path
        The files in ``reports/<reader>/`` (``reports/participant/<who>/``), the one to open first at the front.

    Raises
    ------
    UsageError
        A reader, parameter or choice that does not exist or does not fit.
    OutcomesError
        A cell of the notebook failed. An earlier report is left as it was.
    """
    from outcomes.reports import run

    study = Path(folder)
    if reader not in READERS:
        raise UsageError(f"no report for '{reader}' in this version; there is one for {', '.join(READERS)}"
                         f"{near_word(reader, READERS)}")  # fmt: skip
    if not study.is_dir():
        raise UsageError(f"{study} is no folder")
    parameters, choices = _sorted_settings(settings or {})
    path = run.find_notebook(reader, study)
    declared = run.declared_parameters(run.read_notebook(path), path.name)
    given: dict[str, Any] = {**parameters, "public": public, "who": who or ""}
    checked = run.check_parameters(declared, {k: v for k, v in given.items() if v != declared.get(k)})
    checked, choices = _planned(study, checked, choices)
    results = _results(study, str(checked.get("record") or ""), choices)
    checked |= run.check_parameters(declared, {"study": "../..", "record": results.name, "reader": reader})
    notebook = run.run_notebook(path, checked, folder=results)
    target = inside(study, f"reports/{reader}")
    if reader == "participant":
        target /= file_name(who or "")
    with whole_folder(target) as partial:
        names = write_forms(notebook, reader, partial)
        if reader != "participant":
            write_whole(partial / CHECKLIST, checklist_csv(results / "record.json", reader))
            names.append(CHECKLIST)
    return [target / name for name in names]


def checklist_csv(record: Path, reader: str) -> str:
    """Return the checklist of the guidelines that a record's design picks, as csv."""
    from outcomes.analysis.write import csv_text
    from outcomes.reports.checklist import checklist
    from outcomes.result import Record

    return csv_text(checklist(Record.read(record), abstract=reader == "conference"))


def file_name(who: str) -> str:
    """Return a participant's id as the name of a folder: one that no system reads as a path, and no other id's.

    Examples
    --------
    >>> file_name("P07"), file_name("../P07")[:7]
    ('P07', '___P07-')
    """
    safe = "".join(c if c.isascii() and (c.isalnum() or c in "-_") else "_" for c in who)[:60]
    return safe if safe == who else f"{safe}-{sha256(who.encode('utf-8'))[:8]}"


def _sorted_settings(settings: Mapping[str, str]) -> tuple[dict[str, str], dict[str, str]]:
    """Return parameters of the notebook, and choices of the protocol (names with a dot)."""
    parameters: dict[str, str] = {}
    choices: dict[str, str] = {}
    for name, value in settings.items():
        known = SHORTCUTS.get(name, name)
        if known in ("study", "reader", "public", "who"):
            raise UsageError(
                f"'{known}' is not set but named: outcomes report FOLDER --for READER [--public] [--who ID]"
            )
        if known in parameters:
            raise UsageError(f"'{known}' is set twice")
        (choices if "." in known else parameters)[known] = value
    return parameters, choices


def _planned(
    study: Path, parameters: Mapping[str, Any], choices: Mapping[str, str]
) -> tuple[dict[str, Any], dict[str, str]]:
    """Return parameters and choices, with the choice of every parameter that changes the analysis.

    A parameter that says what the protocol says already changes nothing and is left out of both.
    """
    from protocols import read_protocol, with_choices

    wanted = {name: str(value) for name, value in parameters.items() if name in PLAN and value}
    kept = {name: value for name, value in parameters.items() if name not in PLAN}
    if not wanted or parameters.get("record"):
        return dict(parameters), dict(choices)
    protocol = read_protocol(study / "protocol.toml")
    primary = next((i for i, measure in enumerate(protocol.measures) if measure.role == "primary"), 0)
    keys = {name: PLAN[name].format(measure=parameters.get("measure") or primary) for name in wanted}
    for name, key in keys.items():
        if key in choices:
            raise UsageError(f"'{name}' and '{key}' are the same choice; set one of them")
    _, changes = with_choices(protocol, {keys[name]: value for name, value in wanted.items()})
    changed = {key for key, _, _ in changes}
    shown = {name: value for name, value in wanted.items() if keys[name] in changed}
    return {**kept, **shown}, {**choices, **{keys[name]: value for name, value in shown.items()}}


def _results(study: Path, record: str, choices: Mapping[str, str]) -> Path:
    """Return the folder of the record that is asked for; analyse where there is none or a choice is changed."""
    from outcomes.analysis import analyse, latest_results, write_results
    from outcomes.study import Study

    if record and choices:
        raise UsageError("a record is finished; choices of the protocol cannot be changed in it")
    if record:
        found = study / "results" / record
        if Path(record).name != record or not (found / "record.json").is_file():
            raise UsageError(f"there is no record '{record}' under {study / 'results'}")
        return found
    if choices or not (study / "results" / "latest").is_file():
        opened = Study.open(study, settings=choices or None)
        return write_results(opened, analyse(opened))
    return latest_results(study)


def write_forms(notebook: Any, reader: str, folder: Path) -> list[str]:
    """Write every form that an executed notebook gives, and return the names of the files."""
    import nbformat

    from outcomes.reports import page

    found = list(page.blocks_of(notebook))
    forms: dict[str, bytes | str] = {}
    if reader in PRINTED:
        forms["report.pdf"] = _pdf(notebook, reader)
    forms["report.html"] = page.render(notebook, reader)
    forms |= _abstract_forms(found)
    forms |= _figure_files([b for b in found if b["kind"] == "figure" or (b["kind"] == "abstract" and b["png"])])
    forms[f"{reader}.ipynb"] = nbformat.writes(notebook) + "\n"  # type: ignore[no-untyped-call]
    for name, content in forms.items():
        write_whole(folder / name, content)
    return list(forms)


def _pdf(notebook: Any, reader: str) -> bytes:
    from outcomes.reports import page
    from outcomes.reports.pdf import pdf

    head, _ = page.sections_of(notebook)
    return pdf(notebook, reader, until=str(head.get("until") or ""))


def _abstract_forms(blocks: list[dict[str, Any]]) -> dict[str, bytes | str]:
    """Return the abstract as document and text, its figure in the document."""
    from outcomes.reports.abstract import Abstract
    from outcomes.reports.documents import abstract_docx
    from outcomes.reports.tables import Table

    forms: dict[str, bytes | str] = {}
    outcomes = next((b for b in blocks if b["kind"] == "table" and b["name"] == "outcomes"), None)
    for block in (b for b in blocks if b["kind"] == "abstract"):
        abstract = Abstract.from_dict(block["abstract"])
        table = Table.from_dict(outcomes["table"]) if outcomes and block.get("table") else None
        size = float(block.get("figure_cm") or 8.0)
        picture = {"picture": block["png"], "caption": block["caption"], "alt": block["alt"]} if block["png"] else {}
        forms["abstract.docx"] = abstract_docx(abstract, **picture, width_cm=size, table=table)
        forms["abstract.txt"] = abstract.to_text()
    return forms


def _figure_files(figures: list[dict[str, Any]]) -> dict[str, bytes | str]:
    """Return every figure in two formats, with its text alternative."""
    names = [figure["name"] for figure in figures]
    if len(set(names)) < len(names):
        raise OutcomesError(f"two figures of the notebook have one name: {', '.join(names)}")
    forms: dict[str, bytes | str] = {}
    for figure in figures:
        for ending in ("svg", "png"):
            forms[f"figures/{figure['name']}.{ending}"] = figure[ending]
        forms[f"figures/{figure['name']}.txt"] = f"{figure['alt']}\n"
    return forms
