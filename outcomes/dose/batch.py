"""A batch: the traces of whole sessions, one after the other, each in order of time."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from outcomes.errors import DesignError
from outcomes.vocabulary import TABLES

if TYPE_CHECKING:
    import numpy as np
    import pandas as pd
    from numpy.typing import ArrayLike, NDArray

    from outcomes.dose.timeline import Floats, Integers

PHASES = TABLES["traces"].by_name["phase"].words
"""Words of a declared phase; `Batch.phase` holds their positions."""

CHANNELS = tuple(column.name for column in TABLES["traces"].columns if column.kind == "number" and column.name != "t_s")
"""What a trace can hold beside time and phase."""

NO_PHASE = -1
"""Code of a sample whose phase nobody declared."""


@dataclass(frozen=True, slots=True)
class Batch:
    """Traces of whole sessions; build one with `Batch.of`, `batch_of_frame` or `one_session`.

    Parameters
    ----------
    participants, sessions : sequence of str, shape (n_sessions,)
        Whose session, and which.
    starts : array of int, shape (n_sessions + 1,)
        Session i holds the samples ``starts[i]:starts[i + 1]``, at least one.
    t_s : array of float, shape (n_samples,)
        Seconds from the start of the session, none missing, never falling within a session.
    channels : mapping of str to array of float
        Of `CHANNELS`, nan where missing; a channel that nobody recorded is absent.
    phase : array of int8 or None
        Position in `PHASES` of the declared phase, -1 where none is; None where no session declares any.
    """

    participants: Sequence[str]
    sessions: Sequence[str]
    starts: Integers
    t_s: Floats
    channels: Mapping[str, Floats]
    phase: NDArray[np.int8] | None

    @classmethod
    def of(
        cls,
        participants: Sequence[str],
        sessions: Sequence[str],
        starts: ArrayLike,
        t_s: ArrayLike,
        channels: Mapping[str, ArrayLike],
        phase: ArrayLike | None = None,
    ) -> Batch:
        """Return a checked batch.

        Raises
        ------
        DesignError
            Lengths that differ, a channel that does not exist, an empty session, a time that is missing or falls.
        """
        import numpy as np

        bounds, t = np.asarray(starts, dtype=np.int64), np.asarray(t_s, dtype=np.float64)
        values = {name: np.asarray(column, dtype=np.float64) for name, column in channels.items()}
        codes = None if phase is None else np.asarray(phase, dtype=np.int8)
        strange = [name for name in values if name not in CHANNELS]
        if strange:
            raise DesignError(f"a trace has no channel '{strange[0]}'")
        columns = [*values.values(), *(() if codes is None else (codes,))]
        if t.ndim != 1 or any(column.shape != t.shape for column in columns):
            raise DesignError("the channels of a trace differ in length")
        if len(bounds) != len(sessions) + 1 or len(participants) != len(sessions):
            raise DesignError("a batch needs one participant and one session id per session")
        if bounds[0] != 0 or bounds[-1] != len(t) or (np.diff(bounds) < 1).any():
            raise DesignError("a session of the batch holds no sample")
        batch = cls(participants, sessions, bounds, t, values, codes)
        batch.refuse_falling_times()
        return batch

    def refuse_falling_times(self) -> None:
        """Raise where a time is missing or falls within a session: one compare a sample."""
        import numpy as np

        with np.errstate(invalid="ignore"):
            wrong = ~(self.t_s[1:] >= self.t_s[:-1])
        wrong[self.starts[1:-1] - 1] = False
        at = np.flatnonzero(wrong | np.isnan(self.t_s[1:])) if len(wrong) else np.flatnonzero(np.isnan(self.t_s))
        if len(at) or (len(self.t_s) and np.isnan(self.t_s[0])):
            first = int(at[0]) + 1 if len(at) and len(wrong) else 0
            i = int(np.searchsorted(self.starts, first, side="right")) - 1
            raise DesignError(
                f"session {self.participants[i]}/{self.sessions[i]}: the time after {self.t_s[max(first - 1, 0)]:g} s "
                "is missing or falls; a trace must be in order of time"
            )

    def __len__(self) -> int:
        return len(self.sessions)

    def channel(self, name: str) -> Floats:
        """Return a channel, all nan where nobody recorded it."""
        import numpy as np

        found = self.channels.get(name)
        return np.full(len(self.t_s), np.nan) if found is None else found

    def part(self, low: int, high: int) -> Batch:
        """Return the sessions ``low:high``."""
        first, last = int(self.starts[low]), int(self.starts[high])
        cut = slice(first, last)
        return Batch(
            self.participants[low:high],
            self.sessions[low:high],
            self.starts[low : high + 1] - first,
            self.t_s[cut],
            {name: values[cut] for name, values in self.channels.items()},
            None if self.phase is None else self.phase[cut],
        )

    def blocks(self, samples: int) -> Iterator[Batch]:
        """Yield parts of whole sessions, of about so many samples each."""
        import numpy as np

        low = 0
        while low < len(self):
            end = int(self.starts[low]) + samples
            high = max(low + 1, int(np.searchsorted(self.starts, end, side="right")) - 1)
            yield self.part(low, high)
            low = high

    def session_of_sample(self) -> Integers:
        """Return the session of every sample."""
        import numpy as np

        return np.repeat(np.arange(len(self), dtype=np.int64), np.diff(self.starts))


def one_session(
    t_s: ArrayLike,
    *,
    participant_id: str = "",
    session_id: str = "",
    phase: Sequence[str] | None = None,
    **channels: ArrayLike,
) -> Batch:
    """Return a batch of one session.

    Parameters
    ----------
    t_s : array of shape (n_samples,)
        Seconds, in order; none missing.
    participant_id, session_id : str
    phase : sequence of str, optional
        Declared phase of every sample, a word of the vocabulary or empty.
    **channels : array of shape (n_samples,)
        ``power_w``, ``cadence_rpm``, ``left_power_w``, ``right_power_w``, ``current_ma``, ``heart_rate_bpm``; nan =
        missing.

    Returns
    -------
    Batch

    Raises
    ------
    DesignError
        As `Batch.of`, or a phase that is no word of the vocabulary.
    """
    import numpy as np

    t = np.asarray(t_s, dtype=np.float64)
    return Batch.of(
        [participant_id], [session_id], [0, len(t)], t, channels, None if phase is None else phase_codes(phase)
    )


def phase_codes(words: Sequence[object]) -> NDArray[np.int8]:
    """Return the codes of declared phases; -1 for a missing or empty word.

    Raises
    ------
    DesignError
        A word that is no phase.
    """
    import numpy as np

    known = {word: code for code, word in enumerate(PHASES)}
    texts = ["" if word is None or word != word else str(word) for word in words]
    strange = next((text for text in texts if text and text not in known), "")
    if strange:
        raise DesignError(f"'{strange}' is no phase of a session; expected one of {', '.join(PHASES)}")
    return np.array([known.get(text, NO_PHASE) for text in texts], dtype=np.int8)


def batch_of_frame(frame: pd.DataFrame) -> Batch:
    """Return the traces of a data frame as a batch, whatever the order of its rows.

    Parameters
    ----------
    frame : DataFrame
        Columns participant_id, session_id, t_s, and any of the channels and phase.

    Raises
    ------
    DesignError
        A session has a time that is missing, or a phase that is no word of the vocabulary.
    """
    import numpy as np

    ordered = frame.sort_values(["participant_id", "session_id", "t_s"], kind="stable")
    person, session = (ordered[name].astype("str").to_numpy() for name in ("participant_id", "session_id"))
    new = np.ones(len(ordered), dtype=np.bool_)
    new[1:] = (person[1:] != person[:-1]) | (session[1:] != session[:-1])
    first = np.flatnonzero(new)
    channels = {name: ordered[name].to_numpy(dtype=np.float64, na_value=np.nan) for name in CHANNELS if name in ordered}
    recorded = {name: values for name, values in channels.items() if not np.isnan(values).all()}
    phase = phase_codes(ordered["phase"].tolist()) if "phase" in ordered else None
    return Batch.of(
        person[first].tolist(),
        session[first].tolist(),
        np.append(first, len(ordered)),
        ordered["t_s"].to_numpy(dtype=np.float64, na_value=np.nan),
        recorded,
        phase if phase is not None and (phase != NO_PHASE).any() else None,
    )
