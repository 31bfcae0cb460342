"""Words that are no command, no option or no folder: exit 2, a text that helps, nothing written."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from outcomes import __version__
from outcomes.cli import failure
from outcomes.errors import DesignError, PrivacyError
from outcomes.vocabulary import CAUTION

COMMANDS = ("demo", "new", "freeze", "check", "score", "dose", "analyse", "report", "measures")
READING = ("check", "score", "dose", "analyse")
"""Commands that read a study folder and need nothing else."""


def one_line(text: str) -> str:
    return " ".join(text.split())


def test_help_carries_examples_the_caution_and_every_command(cli: Any) -> None:
    ran = cli("--help")
    assert ran.code == 0
    assert one_line(CAUTION) in one_line(ran.out)
    assert ran.out.index("Examples:") < ran.out.index("Options:")
    assert [word for word in COMMANDS if f"\n  {word} " in ran.out] == list(COMMANDS)


@pytest.mark.parametrize("command", COMMANDS)
def test_the_help_of_a_command_begins_with_examples(cli: Any, command: str) -> None:
    ran = cli(command, "--help")
    assert ran.code == 0
    assert ran.out.index("Examples:") < ran.out.index("Options:")
    assert f"  outcomes {command}" in ran.out
    assert "--quiet" in ran.out
    assert "--json" in ran.out
    assert "--debug" in ran.out


def test_the_version_is_printed(cli: Any) -> None:
    assert cli("--version").out == f"outcomes {__version__}\n"


def test_a_mistyped_command_gets_the_nearest_one(cli: Any) -> None:
    ran = cli("anlyse", "x")
    assert (ran.code, ran.out) == (2, "")
    assert "No such command 'anlyse'" in ran.err
    assert "'analyse'" in ran.err


@pytest.mark.parametrize("command", COMMANDS)
def test_a_mistyped_option_gets_the_nearest_one(cli: Any, command: str) -> None:
    ran = cli(command, "--quite")
    assert (ran.code, ran.out) == (2, "")
    assert "--quite" in ran.err
    assert "--quiet" in ran.err


@pytest.mark.parametrize("command", [*READING, "freeze", "report"])
def test_a_missing_folder_word_is_a_usage_fault(cli: Any, command: str) -> None:
    ran = cli(command)
    assert ran.code == 2
    assert "FOLDER" in ran.err


@pytest.mark.parametrize("command", READING)
def test_a_folder_that_is_not_there_is_named(cli: Any, command: str, tmp_path: Path) -> None:
    ran = cli(command, tmp_path / "nowhere")
    assert (ran.code, ran.out) == (2, "")
    assert f"{tmp_path / 'nowhere'} is not a folder" in ran.err
    assert not (tmp_path / "nowhere").exists()


@pytest.mark.parametrize("command", [*READING, "freeze"])
def test_a_folder_without_a_protocol_is_told_how_to_get_one(cli: Any, command: str, tmp_path: Path) -> None:
    ran = cli(command, tmp_path)
    assert (ran.code, ran.out) == (2, "")
    assert "holds no protocol.toml; 'outcomes new' writes one" in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_report_needs_results(cli: Any, tmp_path: Path) -> None:
    ran = cli("report", tmp_path, "--for", "conference")
    assert (ran.code, ran.out) == (2, "")
    assert str(tmp_path) in ran.err


def test_a_report_for_a_reader_that_does_not_exist_is_refused(cli: Any, demo_run: Any) -> None:
    ran = cli("report", demo_run[0], "--for", "confrence")
    assert (ran.code, ran.out) == (2, "")
    assert "'confrence'" in ran.err
    assert "conference" in ran.err


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--set", "analysis.alpha"], "expected KEY=VALUE"),
        (["--set", "=0.1"], "expected KEY=VALUE"),
        (["--set", "analysis.alpha=0.1", "--set", "analysis.alpha=0.2"], "is given twice"),
        (["--set", "analysis.alhpa=0.1"], "did you mean"),
    ],
)
def test_a_choice_that_is_no_choice_is_refused(cli: Any, study: Path, words: list[str], says: str) -> None:
    ran = cli("analyse", study, *words)
    assert ran.code in (2, 3)
    assert ran.out == ""
    assert says in ran.err
    assert not (study / "results" / "latest").exists()


def test_an_unknown_measure_gets_the_nearest_one(cli: Any) -> None:
    ran = cli("measures", "limb_grith")
    assert (ran.code, ran.out) == (2, "")
    assert "no measure 'limb_grith'; did you mean 'limb_girth'?" in ran.err


def test_a_protocol_that_does_not_exist_gets_the_nearest_one(cli: Any, tmp_path: Path) -> None:
    ran = cli("new", tmp_path / "s", "--from", "leg_cycling_16_wekks")
    assert (ran.code, ran.out) == (2, "")
    assert "did you mean 'leg_cycling_16_weeks'?" in ran.err
    assert not (tmp_path / "s").exists()


def test_a_session_that_does_not_exist_is_named(cli: Any, study: Path) -> None:
    ran = cli("dose", study, "--session", "none")
    assert (ran.code, ran.out) == (2, "")
    assert "has no session 'none'" in ran.err


def test_output_that_cannot_be_written_is_said(cli: Any, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    ran = cli("measures", "-o", tmp_path / "file" / "x.txt")
    assert ran.code == 2
    assert "cannot be written" in ran.err


# -------------------------------------------------------------------------------------------- faults of our own


def broken(*_: object, **__: object) -> None:
    raise KeyError("a fault\nof ours")


def test_a_fault_of_ours_is_one_line_and_the_trace_is_saved(
    cli: Any, study: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("outcomes.study.Study.open", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    ran = cli("analyse", study)
    assert (ran.code, ran.out) == (1, "")
    said, saved = ran.err.splitlines()
    assert said == "A fault in outcomes itself, not in your files: KeyError: 'a fault\\nof ours'"
    trace = next(tmp_path.glob("outcomes-trace-*.txt"))
    assert str(trace) in saved
    assert "Traceback" in trace.read_text(encoding="utf-8")


def test_debug_prints_the_trace_as_well(cli: Any, study: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setattr("outcomes.study.Study.open", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    ran = cli("analyse", study, "--debug")
    assert ran.code == 1
    assert "Traceback" in ran.err


def test_a_trace_that_cannot_be_saved_is_said(
    cli: Any, study: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setattr("outcomes.study.Study.open", broken)
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "gone"))
    ran = cli("check", study)
    assert ran.code == 1
    assert "with --debug prints it" in ran.err


@pytest.mark.parametrize(
    ("error", "code"), [(PrivacyError("fewer than 5 people"), 4), (DesignError("all values are equal"), 3)]
)
def test_each_refusal_has_its_exit_code(capsys: pytest.CaptureFixture[str], error: Exception, code: int) -> None:
    assert failure.explain(error, debug=False) == code
    assert capsys.readouterr().err == f"{error}\n"


def test_the_keyboard_stops_a_run_without_a_traceback(cli: Any, study: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def stopped(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("outcomes.study.Study.open", stopped)
    assert cli("check", study).code == 130


# --------------------------------------------------------------------------------------- a process of its own


def process(*words: str, **more: Any) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "outcomes", *words], capture_output=True, text=True, **more)


def test_the_module_is_the_command() -> None:
    done = process("--version")
    assert (done.returncode, done.stdout) == (0, f"outcomes {__version__}\n")


def test_no_colour_code_reaches_a_pipe() -> None:
    done = process("measures", "chek", env={"NO_COLOR": "1", "TERM": "xterm-256color"})
    assert done.returncode == 2
    assert "\x1b" not in done.stdout + done.stderr


def test_characters_that_a_console_lacks_do_not_stop_a_command() -> None:
    done = process("measures", "limb_girth", env={"PYTHONIOENCODING": "ascii"})
    assert done.returncode == 0, done.stderr
    assert "Traceback" not in done.stderr


def test_json_is_json_and_nothing_else(cli: Any) -> None:
    listed = json.loads(cli("measures", "--json").out)
    assert {"key", "version", "title", "construct", "source", "scales"} <= set(listed[0])
