"""The long study of the way in: thousands of generated studies and damaged protocols, with a progress bar.

Run ``python tests/studies/intake_study.py [NUMBER] [PROCESSES]``; the result is written to ``intake_study.txt`` beside
this file after every batch. The inputs do not depend on the number of processes.
"""

from __future__ import annotations

import sys
import tempfile
import traceback
from collections import Counter
from pathlib import Path

from hypothesis import HealthCheck, Phase, given, seed, settings

HERE = Path(__file__).parent
sys.path.insert(0, str(HERE))
from intake_inputs import catalogue, check_protocol, check_study, damaged_protocol, studies  # noqa: E402

BATCH = 100
"""Inputs that share one seed, and after which the result is written; a quarter are protocols, half sound studies."""


def study_batch(number: int, size: int, kinds: tuple[str, ...], keep, known) -> None:
    """Check `size` generated studies of some kinds."""
    quiet = settings(
        max_examples=size,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )

    @seed(number)
    @quiet
    @given(generated=studies(kinds))
    def one(generated):
        keep("study", lambda: check_study(generated, known), generated)

    one()


class Result:
    """What became of every input, and every fault with its input."""

    def __init__(self) -> None:
        self.outcomes: Counter[str] = Counter()
        self.faults: list[str] = []

    def keep(self, kind: str, check, source: object) -> None:
        """Count what became of one input."""
        try:
            self.outcomes[f"{kind}: {check()}"] += 1
        except Exception:  # noqa: BLE001 - whatever is raised is the fault that is looked for
            self.outcomes[f"{kind}: FAULT"] += 1
            self.faults.append(f"{traceback.format_exc(limit=-4)}\n{source!r}")

    def lines(self) -> list[str]:
        """Return the result as text."""
        lines = [f"{sum(self.outcomes.values()):,} generated inputs, {len(self.faults)} faults", ""]
        lines += [f"{count:>7,}  {what}" for what, count in sorted(self.outcomes.items())]
        if not self.faults:
            lines += ["", "No traceback, both balances exact, no input changed, no number unlike its cell."]
        return lines


def batch(start: int, size: int) -> Result:
    """Check one batch of inputs, in a process of its own."""
    result = Result()
    with tempfile.TemporaryDirectory() as folder:
        known = catalogue(Path(folder))
        for one in range(size // 4):
            text = damaged_protocol(start + one)
            result.keep("protocol", lambda text=text: check_protocol(text), start + one)
        study_batch(start, size // 4, ("wild", "sane"), result.keep, known)
        study_batch(start + 1, size - size // 4 * 2, ("sound",), result.keep, known)
    return result


def main() -> int:
    """Run the study and write its result."""
    from joblib import Parallel, delayed
    from rich.progress import track

    number = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    processes = int(sys.argv[2]) if len(sys.argv) > 2 else 1
    result = Result()
    parts = [(start, min(BATCH, number - start)) for start in range(0, number, BATCH)]
    done = Parallel(n_jobs=processes, return_as="generator_unordered")(delayed(batch)(*part) for part in parts)
    for one in track(done, total=len(parts), description="generated inputs"):
        result.outcomes += one.outcomes
        result.faults += one.faults
        (HERE / "intake_study.txt").write_text("\n".join(result.lines()) + "\n", encoding="utf-8")
    print("\n".join([*result.lines(), *result.faults[:20]]))
    return 1 if result.faults else 0


if __name__ == "__main__":
    sys.exit(main())
