"""What an algorithm is given and what it gives back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Flags = NDArray[np.bool_]
    Texts = NDArray[np.object_]


@dataclass(frozen=True, slots=True)
class Given:
    """Answers of many people, by item.

    Parameters
    ----------
    value : dict of str to array of shape (n_readings, n_people)
        Numbers of the codes, or measured numbers; nan where there is no answer.
    absent : dict of str to array of the same shape
        0, or 1 + the index of the reason in ``vocabulary.ABSENT_WORDS``.
    options : dict of str to str
        Every option of the algorithm with the word that holds.
    """

    value: Mapping[str, Floats]
    absent: Mapping[str, NDArray[np.int8]]
    options: Mapping[str, str]

    def once(self, item: str) -> Floats:
        """Return the answers to an item that is asked once."""
        answers: Floats = self.value[item][0]
        return answers

    @property
    def people(self) -> int:
        """How many people there are."""
        return int(next(iter(self.value.values())).shape[1])


@dataclass(slots=True)
class Formed:
    """One scale of many people, as an algorithm forms it.

    Parameters
    ----------
    value : array of shape (n_people,)
        nan where no score may be formed.
    reason : array of str
        Why there is no score; where it is empty the missing items are named.
    explanation : array of str
        How the score was reached, in one line; may be empty.
    marks : list of (array of bool, str)
        Flags: whom they are set for, and their text.
    """

    value: Floats
    reason: Texts
    explanation: Texts
    marks: list[tuple[Flags, str]] = field(default_factory=list)

    @classmethod
    def empty(cls, people: int) -> Formed:
        """Return a scale without any score."""
        import numpy as np

        return cls(np.full(people, np.nan), np.full(people, "", dtype=object), np.full(people, "", dtype=object))

    def refuse(self, rows: Flags, reason: str) -> None:
        """Take the score away where `rows` holds and say why; an earlier reason stands."""
        import numpy as np

        self.value[rows] = np.nan
        self.explanation[rows] = ""
        self.reason[rows & (self.reason == "")] = reason

    def withdraw(self, rows: Flags) -> None:
        """Take score, reason and flags away where `rows` holds: what is wrong there is said elsewhere."""
        self.refuse(rows, "")
        self.reason[rows] = ""
        self.marks = [(flagged & ~rows, text) for flagged, text in self.marks]

    def mark(self, rows: Flags, text: str) -> None:
        """Set a flag where `rows` holds and there is a score."""
        import numpy as np

        self.marks.append((rows & ~np.isnan(self.value), text))


@dataclass(frozen=True, slots=True, kw_only=True)
class Algorithm:
    """One algorithm: what it reads, what it forms, and what may be chosen.

    Parameters
    ----------
    items : dict of str to tuple of float
        Every item it reads, with the numbers that its codes may have; an empty tuple for a measured number.
    scales : dict of str to tuple of str
        Every scale it can form, with the items that it depends on.
    run : callable
        From `Given` to each scale.
    decisions : tuple of str
        How it decides, in lines for the card.
    codes : dict of str to dict of str to float
        For a scale that takes few values: what each is called.
    options : dict of str to dict of str to str
        Option to its words, each with what it means; the first word holds where nothing is chosen.
    repeated : bool
        Whether the items are answered several times, such as goals.
    """

    items: Mapping[str, tuple[float, ...]]
    scales: Mapping[str, tuple[str, ...]]
    run: Callable[[Given], dict[str, Formed]]
    decisions: tuple[str, ...]
    codes: Mapping[str, Mapping[str, float]] = field(default_factory=dict)
    options: Mapping[str, Mapping[str, str]] = field(default_factory=dict)
    repeated: bool = False

    def form(
        self, keys: Sequence[str], value: Floats, absent: NDArray[np.int8], options: Mapping[str, str]
    ) -> dict[str, Formed]:
        """Return every scale.

        Parameters
        ----------
        keys : sequence of str
            Items of the first axis of the arrays.
        value, absent : array of shape (n_items, n_readings, n_people)
        options : dict of str to str
            What the definition chooses.
        """
        rows = {key: keys.index(key) for key in self.items}
        values, reasons = ({key: of[i] for key, i in rows.items()} for of in (value, absent))
        return self.run(Given(values, reasons, self.chosen(options)))

    def chosen(self, options: Mapping[str, str]) -> dict[str, str]:
        """Return every option with the word that holds."""
        return {name: options.get(name, next(iter(words))) for name, words in self.options.items()}
