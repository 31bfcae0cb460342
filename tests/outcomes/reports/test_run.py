"""Parameters are refused before a kernel starts; a failing cell is one line."""

from __future__ import annotations

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook

from outcomes.errors import OutcomesError, UsageError
from outcomes.reports import run

DECLARED = {"word_limit": 0, "paper": "A4", "public": False, "measure": ""}


def notebook(*sources, parameters="study = '.'\nword_limit = 0"):
    cells = [new_code_cell(parameters, metadata={"tags": ["parameters"]})] if parameters is not None else []
    return new_notebook(cells=cells + [new_code_cell(s) for s in sources])


def written(folder, book, name="conference.ipynb"):
    path = folder / name
    nbformat.write(book, path)
    return path


@pytest.mark.parametrize(
    ("given", "message"),
    [
        ({"word_limti": "200"}, "unknown parameter 'word_limti'; did you mean 'word_limit'"),
        ({"import os; os.abort(); a": "1"}, "is no name of a parameter"),
        ({"class": "1"}, "'class' is no name"),
        ({"Measure": "mas"}, "'Measure' is no name"),
        ({"word_limit": "abc"}, "word_limit: found 'abc', expected a whole number from 50 to 5000"),
        ({"word_limit": "-5"}, "found '-5'"),
        ({"word_limit": "49"}, "found '49'"),
        ({"paper": "A3"}, "paper: found 'A3', expected A4, Letter"),
        ({"public": "perhaps"}, "public: found 'perhaps', expected true or false"),
    ],
)
def test_a_wrong_parameter_is_refused(given, message):
    with pytest.raises(UsageError) as error:
        run.check_parameters(DECLARED, given)
    assert message in str(error.value)


def test_parameters_take_the_kind_of_their_defaults():
    given = {"word_limit": "200", "public": "true", "measure": "'; import os"}
    assert run.check_parameters(DECLARED, given) == {"word_limit": 200, "public": True, "measure": "'; import os"}


@pytest.mark.parametrize(
    ("parameters", "message"),
    [
        (None, "0 code cells with the tag 'parameters'"),
        ("x = open('f')", "cannot be read"),
        ("x = 1.5", "neither text, whole number nor True or False"),
        ("import os", "a line is no assignment"),
        ("x = (", "cannot be read"),
    ],
)
def test_a_cell_of_parameters_must_be_plain(parameters, message):
    with pytest.raises(UsageError, match=message.replace("(", r"\(").replace(")", r"\)")):
        run.declared_parameters(notebook(parameters=parameters), "conference.ipynb")


def test_two_cells_of_parameters_are_refused():
    book = notebook()
    book.cells.append(new_code_cell("a = 1", metadata={"tags": ["parameters"]}))
    with pytest.raises(UsageError, match="2 code cells"):
        run.declared_parameters(book, "conference.ipynb")


def test_a_file_that_is_no_notebook_is_refused(tmp_path):
    path = tmp_path / "conference.ipynb"
    path.write_text("not json")
    with pytest.raises(UsageError, match="is no notebook"):
        run.read_notebook(path)


def test_the_author_s_own_copy_is_preferred(tmp_path):
    assert run.find_notebook("conference", tmp_path).parent == run.notebooks_folder()
    (tmp_path / "notebooks").mkdir()
    own = written(tmp_path / "notebooks", notebook())
    assert run.find_notebook("conference", tmp_path) == own
    with pytest.raises(UsageError, match=r"no notebook nobody\.ipynb"):
        run.find_notebook("nobody", tmp_path)


def test_a_notebook_runs_in_a_fresh_kernel_of_this_interpreter(tmp_path):
    import sys

    path = written(tmp_path, notebook("import sys, os\nprint(sys.executable, os.getcwd(), word_limit)"))
    before = path.read_bytes()
    done = run.run_notebook(path, {"word_limit": 77}, folder=tmp_path)
    text = done.cells[-1].outputs[0]["text"].split()
    assert text == [sys.executable, str(tmp_path), "77"]
    assert path.read_bytes() == before


def test_a_tidied_notebook_has_no_time_path_or_random_id(tmp_path):
    path = written(tmp_path, notebook("import sys\nprint(1)\nsys.stderr.write('to standard error')"))
    texts = [nbformat.writes(run.run_notebook(path, {"word_limit": 60}, folder=tmp_path)) for _ in range(2)]
    assert texts[0] == texts[1]
    for word in ("start_time", "duration", "in.ipynb", "papermill", '"stderr"', "iopub"):
        assert word not in texts[0].replace("injected-parameters", "")


def test_a_failing_cell_is_one_line_without_a_trace(tmp_path):
    path = written(tmp_path, notebook("1 / 0"))
    with pytest.raises(OutcomesError) as error:
        run.run_notebook(path, {}, folder=tmp_path)
    assert "conference.ipynb: cell 2 failed with ZeroDivisionError: division by zero" in str(error.value)
    assert "Traceback" not in str(error.value)
    assert error.value.__suppress_context__


def test_our_own_error_keeps_its_words(tmp_path):
    path = written(tmp_path, notebook("from outcomes.errors import UsageError\nraise UsageError('no such measure')"))
    with pytest.raises(UsageError, match=r"^no such measure$"):
        run.run_notebook(path, {}, folder=tmp_path)


def test_a_long_temporary_folder_falls_back_to_tcp(tmp_path):
    deep = tmp_path / ("x" * 60) / ("y" * 60)
    manager = run._kernel_manager(deep)()
    assert manager.transport == "tcp"
    assert manager.kernel_spec.argv[1:3] == ["-m", "ipykernel_launcher"]


def test_markdown_is_no_cell_of_parameters():
    book = new_notebook(cells=[new_markdown_cell("x = 1", metadata={"tags": ["parameters"]})])
    with pytest.raises(UsageError, match="0 code cells"):
        run.declared_parameters(book, "conference.ipynb")
