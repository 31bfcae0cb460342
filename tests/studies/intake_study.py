"""The long study of the way in: thousands of generated studies and damaged protocols, with a progress bar.

Run ``python tests/studies/intake_study.py [NUMBER]``; the result is written to ``intake_study.txt`` beside this file.
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

BATCH = 500
"""Inputs that share one seed."""


def run(number: int) -> tuple[Counter[str], list[str]]:
    """Check `number` inputs, of which one in five is a protocol; return what became of them and every fault."""
    from rich.progress import track

    outcomes: Counter[str] = Counter()
    faults: list[str] = []
    protocols = number // 5
    with tempfile.TemporaryDirectory() as folder:
        known = catalogue(Path(folder))
        for batch in track(range(0, number - protocols, BATCH), description="studies"):
            size = min(BATCH, number - protocols - batch)
            quiet = settings(
                max_examples=size, deadline=None, database=None, phases=[Phase.generate],
                suppress_health_check=list(HealthCheck),
            )  # fmt: skip

            @seed(batch)
            @quiet
            @given(generated=studies())
            def one(generated):
                keep(outcomes, faults, "study", lambda: check_study(generated, known), generated)

            one()
    for number_of in track(range(protocols), description="protocols"):
        text = damaged_protocol(number_of)
        keep(outcomes, faults, "protocol", lambda text=text: check_protocol(text), number_of)
    return outcomes, faults


def keep(outcomes: Counter[str], faults: list[str], kind: str, check, source: object) -> None:
    """Count what became of one input; a fault is kept with its input."""
    try:
        outcomes[f"{kind}: {check()}"] += 1
    except Exception:  # noqa: BLE001 - whatever is raised is the fault that is looked for
        outcomes[f"{kind}: FAULT"] += 1
        faults.append(f"{traceback.format_exc(limit=-4)}\n{source!r}")


def main() -> int:
    """Run the study and write its result."""
    number = int(sys.argv[1]) if len(sys.argv) > 1 else 20_000
    outcomes, faults = run(number)
    lines = [f"{sum(outcomes.values()):,} generated inputs, {len(faults)} faults", ""]
    lines += [f"{count:>7,}  {what}" for what, count in sorted(outcomes.items())]
    lines += [
        "",
        "No traceback, both balances exact, no input changed, no number unlike its cell." if not faults else "",
    ]
    (HERE / "intake_study.txt").write_text("\n".join(lines).rstrip() + "\n", encoding="utf-8")
    print("\n".join([*lines, *faults[:20]]))
    return 1 if faults else 0


if __name__ == "__main__":
    sys.exit(main())
