"""Published properties of a measurement: used only where everything that they hold for matches."""

from __future__ import annotations

from typing import TYPE_CHECKING

from outcomes.errors import DesignError, near_word

if TYPE_CHECKING:
    from outcomes.measures.schema import Definition, PublishedValue


def published_value(
    definition: Definition,
    key: str | None,
    *,
    variant: str,
    unit_of_analysis: str,
    scale: str | None = None,
    statistic: str = "mdc95",
    stratum: str = "",
) -> PublishedValue:
    """Return a published value, if it holds for what the study measured.

    Parameters
    ----------
    definition : Definition
    key : str
        Key of the value in the definition.
    variant : str
        Variant of the study's scores, as `score_table` writes it.
    unit_of_analysis : str
        What one value of the study is: "one value", "mean of both sides", "worse side".
    scale : str, optional
        Scale of the study; the main one by default.
    statistic : str
        What the value is needed as.
    stratum : str
        Range of baseline of the people, where the value holds for one only.

    Returns
    -------
    PublishedValue
        Its `value` is a number.

    Raises
    ------
    DesignError
        No such value, or one that holds for another statistic, scale, variant, unit of analysis or stratum.

    Examples
    --------
    >>> from outcomes.measures import Catalogue
    >>> scim3 = Catalogue.packaged().get("scim3")
    >>> published_value(scim3, "small_change", variant="", unit_of_analysis="one value")
    Traceback (most recent call last):
        ...
    outcomes.errors.DesignError: the published value 'small_change' is a mcid, not a mdc95
    """
    known = [value.key for value in definition.published]
    found = next((value for value in definition.published if value.key == key), None)
    if found is None:
        raise DesignError(f"{definition.key} has no published value '{key or ''}'{near_word(key or '', known)}")
    name = f"the published value '{found.key}'"
    if found.statistic != statistic:
        raise DesignError(f"{name} is a {found.statistic}, not a {statistic}")
    if not isinstance(found.value, float):
        raise DesignError(f"{name} is not a single number")
    wanted = {
        "scale": scale or definition.main_scale.key,
        "variant": variant,
        "unit_of_analysis": unit_of_analysis,
        "stratum": stratum,
    }
    for field, of_study in wanted.items():
        published = getattr(found, field)
        if published != of_study:
            raise DesignError(
                f"{name} holds for the {field.replace('_', ' ')} '{published or 'not stated'}', "
                f"the study has '{of_study or 'none stated'}'"
            )
    return found
