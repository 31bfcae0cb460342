"""Counts of few people are withheld: the rule, and what is printed instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from outcomes.reports import format as fmt


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

    def parts(self, counts: Sequence[int], *, first: int | None = None) -> list[int | None]:
        """Return counts that add up to a known total, None where withheld, so that no subtraction brings one back.

        Parameters
        ----------
        counts : sequence of int
            All parts of one total that is printed.
        first : int, optional
            Position of the part that goes before the others when one more has to go; the smallest by default.

        Returns
        -------
        list of int or None
            Beside every count that is too small others go too, until at least two are withheld that together are no
            fewer than the minimum.

        Examples
        --------
        >>> SmallNumbers(5).parts([18, 20, 2]), SmallNumbers(5).parts([18, 20, 0])
        ([None, 20, None], [18, 20, 0])
        >>> SmallNumbers(5).parts([18, 20, 2], first=1)
        [18, None, None]
        """
        hidden = {i for i, n in enumerate(counts) if self.hides(n)}
        rest = sorted((i for i, n in enumerate(counts) if n and i not in hidden), key=lambda i: (i != first, counts[i]))
        for i in rest if hidden else ():
            if len(hidden) >= 2 and sum(counts[j] for j in hidden) >= self.minimum:
                break
            hidden.add(i)
        return [None if i in hidden else n for i, n in enumerate(counts)]
