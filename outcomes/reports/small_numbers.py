"""Counts of few people are withheld: the rule, and what is printed instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from outcomes.reports import format as fmt

NOT_SHOWN = "not shown"
"""In place of a count that would give a smaller one away."""


@dataclass(frozen=True, slots=True)
class SmallNumbers:
    """The smallest count of people that a report may print; zero may always be printed.

    Parameters
    ----------
    minimum : int
        1 prints everything.

    Notes
    -----
    How many people were enrolled, were seen, left and were analysed and how many adverse events there were is always
    printed, as every reporting guideline asks for it. The rule holds for what people were like, for how many of them
    something happened to, and for how they changed.
    """

    minimum: int

    @classmethod
    def of(cls, privacy: Mapping[str, Any], *, public: bool) -> SmallNumbers:
        """Return the rule of a protocol's ``[privacy]``."""
        key, default = ("public_minimum", 11) if public else ("internal_minimum", 5)
        return cls(int(privacy.get(key) or default))

    def hides(self, n: int) -> bool:
        """Return whether a count of `n` people is withheld."""
        return 0 < n < self.minimum

    @property
    def words(self) -> str:
        """What stands in place of a withheld count."""
        return f"fewer than {self.minimum}"

    @property
    def note(self) -> str:
        """The line below a table in which counts are withheld."""
        return f"Counts of {self.words} people, and those that would give them away, are not shown."

    def count(self, n: int) -> str:
        """Return the count, or the words that stand in its place.

        Examples
        --------
        >>> SmallNumbers(5).count(3), SmallNumbers(5).count(7), SmallNumbers(5).count(0)
        ('fewer than 5', '7', '0')
        """
        return self.words if self.hides(n) else fmt.number(n)

    def people(self, n: int) -> str:
        """Return the count with its noun."""
        return f"{self.count(n)} {'person' if n == 1 and not self.hides(n) else 'people'}"

    def share(self, n: int, of: int) -> str:
        """Return the count with what it is out of; the percentage only where the count is shown.

        Examples
        --------
        >>> SmallNumbers(5).share(3, 30), SmallNumbers(5).share(28, 30), SmallNumbers(5).share(30, 30)
        ('fewer than 5 of 30', 'all but fewer than 5 of 30', '30 of 30 (100%)')
        """
        if self.hides(n):
            return f"{self.words} of {fmt.number(of)}"
        return f"all but {self.words} of {fmt.number(of)}" if self.hides(of - n) else fmt.share(n, of)

    def texts(self, counts: Sequence[int], *, first: int | None = None) -> list[str]:
        """Return `parts` as they are printed: a number, "fewer than 5", or "not shown".

        Which of the withheld ones are small is not told where that alone would give one away.

        Examples
        --------
        >>> SmallNumbers(5).texts([18, 20, 2], first=1)
        ['18', 'not shown', 'fewer than 5']
        >>> SmallNumbers(11).texts([0, 1, 11])
        ['not shown', 'not shown', 'not shown']
        """
        parts = self.parts(counts, first=first)
        told = any(part is not None for part in parts)
        words = [self.words if told and self.hides(n) else NOT_SHOWN for n in counts]
        return [word if part is None else fmt.number(part) for word, part in zip(words, parts, strict=True)]

    def parts(self, counts: Sequence[int], *, first: int | None = None) -> list[int | None]:
        """Return counts that add up to a known total, None where withheld, so that no subtraction brings one back.

        Parameters
        ----------
        counts : sequence of int
            All parts of one total that is printed.
        first : int, optional
            Position of the part that goes before the others when one more has to go; the last by default. The order is
            fixed: one that followed the sizes would give them away.

        Returns
        -------
        list of int or None
            Beside every count that is too small others go too, until each small one could still be anything from 1 to
            one below the minimum; where that cannot be, all go.

        Examples
        --------
        >>> SmallNumbers(5).parts([18, 20, 2]), SmallNumbers(5).parts([18, 20, 0])
        ([18, None, None], [18, 20, 0])
        >>> SmallNumbers(5).parts([2, 20, 18], first=1)
        [None, None, 18]
        """
        hidden = {i for i, n in enumerate(counts) if self.hides(n)}
        rest = sorted((i for i, n in enumerate(counts) if n and i not in hidden), key=lambda i: (i != first, -i))
        for i in rest if hidden else ():
            if self.safe([counts[j] for j in hidden]):
                break
            hidden.add(i)
        if hidden and not self.safe([counts[j] for j in hidden]):
            return [None] * len(counts)
        return [None if i in hidden else n for i, n in enumerate(counts)]

    def safe(self, hidden: Sequence[int]) -> bool:
        """Return whether each small count among `hidden` could be any small count, their sum being known."""
        total, most = sum(hidden), self.minimum - 1
        small = sum(self.hides(n) for n in hidden)
        large = len(hidden) - small
        lowest = 1 if large else total - (small - 1) * most
        highest = total - (small - 1) - large * self.minimum
        return lowest <= 1 and highest >= most
