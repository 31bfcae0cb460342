"""The commands and their options; what they do stands in the rooms that they call."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated

import typer

from outcomes import __version__
from outcomes.cli.codes import REFUSED
from outcomes.cli.output import Output
from outcomes.errors import UsageError
from outcomes.vocabulary import CAUTION

HELP = f"""\b
Examples:
  outcomes demo                                     the whole way on an invented cohort
  outcomes new my_study --from PROTOCOL             a study folder with a data-entry workbook
  outcomes check my_study                           every finding about the data, with file, row and column
  outcomes analyse my_study                         scores, dose, measurement error, change
  outcomes report my_study --for conference         the finished forms

Outcome measures, training dose and honest reports: from a folder of spreadsheets to numbers that can be traced and
recomputed.

{CAUTION}"""

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100},
)


class Damage(StrEnum):
    """Faults that the demo plants in its own cohort."""

    CELLS = "cells"
    ALL = "all"


Folder = Annotated[Path, typer.Argument(metavar="FOLDER", help="Study folder.", show_default=False)]
File = Annotated[
    Path | None,
    typer.Option("--output", "-o", metavar="FILE", help="Write the data there instead of to standard output."),
]
Json = Annotated[bool, typer.Option("--json", help="Data as JSON.")]
Quiet = Annotated[bool, typer.Option("--quiet", "-q", help="No messages and no progress.")]
Debug = Annotated[bool, typer.Option("--debug", help="Print the trace of an error.")]
Settings = Annotated[
    list[str] | None,
    typer.Option(
        "--set",
        metavar="KEY=VALUE",
        help="Change one choice of the protocol for this run, such as analysis.alpha=0.1; may be repeated. "
        "The result says how it differs from the protocol.",
    ),
]


def _examples(*lines: str) -> str:
    return "\b\nExamples:\n" + "\n".join(f"  {line}" for line in lines) + "\n\n"


def _settings(pairs: list[str] | None) -> dict[str, str]:
    """Return KEY=VALUE words as a mapping.

    Raises
    ------
    UsageError
        A word without ``=``, or a key that is given twice.
    """
    settings: dict[str, str] = {}
    for pair in pairs or ():
        key, equals, value = pair.partition("=")
        if not equals or not key.strip():
            raise UsageError(f"--set {pair}: expected KEY=VALUE, such as analysis.alpha=0.1")
        if key.strip() in settings:
            raise UsageError(f"--set {key.strip()} is given twice")
        settings[key.strip()] = value.strip()
    return settings


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"outcomes {__version__}")
        raise typer.Exit


@app.callback(help=HELP)
def main(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and leave.")
    ] = False,
) -> None:
    """Hold the options that come before a command."""


@app.command(
    short_help="The whole way on an invented cohort.",
    help=_examples(
        "outcomes demo",
        "outcomes demo small --people 12 --seed 3",
        "outcomes demo groups --from wait_list",
        "outcomes demo twice --from test_retest",
        "outcomes demo faulty --damage all",
    )
    + "Write an invented cohort as an ordinary study folder and go the whole way: check, scores, dose, measurement "
    "error, analysis, conference report. A folder that holds an earlier demo is replaced whole; any other must be "
    "empty.",
)
def demo(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Where to write the study.")] = Path("demo_study"),
    people: Annotated[int, typer.Option(metavar="N", help="Participants.")] = 48,
    seed: Annotated[int, typer.Option(metavar="N", help="The same seed gives the same bytes.")] = 7,
    damage: Annotated[
        Damage | None,
        typer.Option(help="Plant faults: in cells, which are set aside or asked about; or also such as stop the run."),
    ] = None,
    protocol: Annotated[
        str,
        typer.Option(
            "--from",
            metavar="PROTOCOL",
            help="Ready-made protocol of the cohort: leg_cycling_16_weeks, wait_list (half of the people wait), or "
            "test_retest (everybody is measured twice, nobody trains).",
        ),
    ] = "leg_cycling_16_weeks",
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Write the synthetic cohort and go the whole way to the conference report."""
    from outcomes.cli.demo import run_demo

    run_demo(folder, people, seed, damage.value if damage else None, Output(None, as_json, quiet), protocol)


@app.command(
    short_help="A new study folder with a data-entry workbook.",
    help=_examples("outcomes new my_study --from leg_cycling_16_weeks", "outcomes new my_study --from plan.toml")
    + "Write the protocol, a data-entry workbook and the columns.csv that reads it back.",
)
def new(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="Folder to make.", show_default=False)],
    protocol: Annotated[
        str,
        typer.Option(
            "--from", metavar="PROTOCOL", help="A ready-made protocol by name, or a protocol.toml.", show_default=False
        ),
    ],
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Write a new study folder from a protocol."""
    from outcomes.cli.folders import make_study

    make_study(folder, protocol, Output(None, as_json, quiet))


@app.command(
    short_help="Seal the protocol.",
    help=_examples("outcomes freeze my_study")
    + "Write the day and the hash of the protocol into it. Whatever is changed later is printed as changed after "
    "freezing.",
)
def freeze(folder: Folder, as_json: Json = False, quiet: Quiet = False, debug: Debug = False) -> None:
    """Seal the protocol of a study."""
    from outcomes.cli.folders import seal_protocol

    seal_protocol(folder, Output(None, as_json, quiet))


@app.command(
    short_help="Read everything and list every finding.",
    help=_examples(
        "outcomes check my_study",
        "outcomes check my_study --mark",
        "outcomes check my_study --suggest -o my_study/columns.csv",
    )
    + "Read every table, list every finding with file, row and column, and write results/check. Exit 3 when a "
    "finding stops the run.",
)
def check(
    folder: Folder,
    suggest: Annotated[
        bool, typer.Option("--suggest", help="Instead, propose a columns.csv for headings that are not understood.")
    ] = False,
    mark: Annotated[
        bool, typer.Option("--mark", help="Also mark the findings in copies of the workbooks, in results/check.")
    ] = False,
    output: File = None,
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Read and check a study, or propose how its headings map."""
    from outcomes.cli.check import check_study, suggest_mapping

    if suggest:
        suggest_mapping(folder, Output(output, as_json, quiet))
    elif check_study(folder, Output(output, as_json, quiet), mark=mark):
        raise typer.Exit(REFUSED)


@app.command(
    short_help="The score of every measure, participant and visit.",
    help=_examples("outcomes score my_study", "outcomes score my_study -o scores.csv")
    + "Score every assessment: a value or the reason why there is none.",
)
def score(
    folder: Folder, output: File = None, as_json: Json = False, quiet: Quiet = False, debug: Debug = False
) -> None:
    """Score the assessments of a study."""
    from outcomes.cli.tables import print_scores

    print_scores(folder, Output(output, as_json, quiet))


@app.command(
    short_help="Planned and delivered training up to each visit.",
    help=_examples("outcomes dose my_study", "outcomes dose my_study --session S0012")
    + "Sum the planned and the delivered dose and write every table of it to results/dose; print the dose up to each "
    "visit, and how the programme was followed. With --session, print one session and draw its trace.",
)
def dose(
    folder: Folder,
    session: Annotated[
        str | None, typer.Option(metavar="ID", help="One session instead, as session_id or participant_id/session_id.")
    ] = None,
    output: File = None,
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Sum the dose of a study, or show one session."""
    from outcomes.cli.dose import print_dose

    print_dose(folder, session, Output(output, as_json, quiet))


@app.command(
    short_help="Carry out the protocol's plan and write the record.",
    help=_examples("outcomes analyse my_study", "outcomes analyse my_study --set analysis.alpha=0.1")
    + "Score, sum the dose, estimate measurement error and change, and write results/<id> with record.json.",
)
def analyse(
    folder: Folder,
    settings: Settings = None,
    output: File = None,
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Carry out the plan of a study's protocol."""
    from outcomes.cli.analyse import analyse_study

    analyse_study(folder, _settings(settings), Output(output, as_json, quiet))


@app.command(
    short_help="Finished forms for one reader.",
    help=_examples(
        "outcomes report my_study --for conference",
        "outcomes report my_study --for funder --public",
        "outcomes report my_study --for participant --who P07",
        "outcomes report my_study --for conference --set report.conference.words=200",
    )
    + "Write the finished forms for one reader from the latest record; runs the analysis first where there is none.",
)
def report(
    folder: Folder,
    reader: Annotated[
        str,
        typer.Option(
            "--for",
            metavar="READER",
            help="Who it is for: conference, funder, class or participant.",
            show_default=False,
        ),
    ],
    who: Annotated[str | None, typer.Option(metavar="ID", help="The participant, for a participant's page.")] = None,
    public: Annotated[bool, typer.Option("--public", help="Withhold small numbers as for publication.")] = False,
    settings: Settings = None,
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """Write the report for one reader."""
    from outcomes.cli.analyse import report_study

    report_study(folder, reader, _settings(settings), public, who, Output(None, as_json, quiet))


@app.command(
    short_help="The catalogue of measures, or one card.",
    help=_examples(
        "outcomes measures",
        "outcomes measures mas",
        "outcomes measures eq5d@three_levels",
        "outcomes measures --word girth",
    )
    + "List the measures, or print one with its rules, ranges and sources.",
)
def measures(
    key: Annotated[
        str | None, typer.Argument(metavar="KEY", help="Key of one measure, or KEY@VERSION.", show_default=False)
    ] = None,
    domain: Annotated[
        str | None, typer.Option(metavar="WORD", help="Only measures of this domain, such as spasticity.")
    ] = None,
    population: Annotated[
        str | None, typer.Option(metavar="WORD", help="Only measures used with these people, such as stroke.")
    ] = None,
    word: Annotated[str | None, typer.Option(metavar="WORD", help="Only measures with this word.")] = None,
    study: Annotated[
        Path | None, typer.Option(metavar="FOLDER", help="Also the definitions of this study's own measures folder.")
    ] = None,
    output: File = None,
    as_json: Json = False,
    quiet: Quiet = False,
    debug: Debug = False,
) -> None:
    """List the catalogue or print one card."""
    from outcomes.cli.catalogue import print_catalogue

    print_catalogue(
        key, {"domain": domain, "population": population, "word": word}, study, Output(output, as_json, quiet)
    )
