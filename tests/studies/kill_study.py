"""Kill a run of ``check`` at random moments, many times, and look whether anything is half written or lost.

Run ``python tests/studies/kill_study.py [NUMBER]``; the result is written to ``kill_study.txt`` beside this file.
One process reads and writes one study folder again and again, with two states of one table in turn; it is killed, and
what stands in the folder must be whole files of either state. A folder that is replaced whole is killed likewise.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent

WORKER = """
import itertools, sys
from pathlib import Path
from outcomes.files import whole_folder, write_whole
from outcomes.intake import read_folder, write_check
from outcomes.measures import Catalogue
from protocols import packaged_path, read_protocol
folder = Path(sys.argv[1])
protocol, catalogue = read_protocol(packaged_path("arm_cycling_12_weeks")), Catalogue.packaged()
print("ready", flush=True)
for turn in itertools.count():
    write_whole(folder / "results" / "turn", str(turn))
    intake = read_folder(folder / ("one" if turn % 2 else "two"), protocol, catalogue)
    write_check(intake, folder)
    with whole_folder(folder / "results" / "whole") as place:
        for name in ("a", "b", "c"):
            write_whole(place / name, str(turn) * 1000)
"""

PEOPLE = "participant_id,age_years\n" + "".join(f"P{i:02d},{40 + i}\n" for i in range(40))


def prepared(folder: Path) -> dict[str, bytes]:
    """Write two small studies into a folder; return the bytes of their files."""
    for name, age in (("one", "400"), ("two", "soon")):
        (folder / name).mkdir()
        (folder / name / "participants.csv").write_text(PEOPLE + f"P99,{age}\n", encoding="utf-8")
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*.csv")}


def states(folder: Path) -> list[dict[str, bytes]]:
    """Return what ``results/check`` holds after a whole run on either study."""
    from outcomes.intake import read_folder, write_check
    from outcomes.measures import Catalogue
    from protocols import packaged_path, read_protocol

    protocol, catalogue = read_protocol(packaged_path("arm_cycling_12_weeks")), Catalogue.packaged()
    found = []
    for name in ("one", "two"):
        write_check(read_folder(folder / name, protocol, catalogue), folder)
        found.append({path.name: path.read_bytes() for path in (folder / "results" / "check").iterdir()})
        shutil.rmtree(folder / "results")
    return found


def look(folder: Path, whole: list[dict[str, bytes]], inputs: dict[str, bytes]) -> list[str]:
    """Return what is wrong in a folder after a kill."""
    faults = [f"input {name} changed" for name, raw in inputs.items() if (folder / name).read_bytes() != raw]
    check = folder / "results" / "check"
    for path in check.iterdir() if check.is_dir() else ():
        known = [state.get(path.name) for state in whole]
        if not path.name.startswith((".partial-", ".lock-")) and path.read_bytes() not in known:
            faults.append(f"{path.name} is neither state")
    place = folder / "results" / "whole"
    if place.is_dir():
        contents = {path.name: path.read_text() for path in place.iterdir()}
        if set(contents) != {"a", "b", "c"} or len(set(contents.values())) != 1:
            faults.append("a folder is half written")
    return faults


def kill_once(folder: Path, seconds: float) -> None:
    """Start the worker, wait until it works, and kill it after some seconds."""
    worker = subprocess.Popen([sys.executable, "-c", WORKER, str(folder)], stdout=subprocess.PIPE)
    assert worker.stdout is not None
    worker.stdout.readline()
    time.sleep(seconds)
    worker.kill()
    worker.wait()
    worker.stdout.close()


def run(number: int, seed: int = 7) -> list[str]:
    """Kill the worker `number` times; return every fault."""
    from rich.progress import track

    from outcomes.files import whole_folder

    rng, faults = random.Random(seed), []
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        inputs = prepared(folder)
        whole = states(folder)
        for turn in track(range(number), description="kills"):
            kill_once(folder, rng.uniform(0.0, 0.5))
            faults += [f"kill {turn}: {fault}" for fault in look(folder, whole, inputs)]
        with whole_folder(folder / "results" / "whole") as place:
            (place / "a").write_text("")
        left = [path.name for path in (folder / "results").glob(".partial-whole*")]
        faults += [f"left behind: {name}" for name in left]
    return faults


def main() -> int:
    """Run the study and write its result."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    faults = run(number)
    lines = [f"{number} kills at random moments, {len(faults)} faults", *faults]
    if not faults:
        lines.append("No input changed, no half file, no half folder, nothing left behind by the next run.")
    (HERE / "kill_study.txt").write_text("\n".join(lines) + "\n", encoding="utf-8")
    print("\n".join(lines))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
