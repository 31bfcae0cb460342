"""`outcomes measures`: the list by domain, population and word, and the whole card for readers and for programs."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest

from outcomes.measures import Catalogue

BETTER = {"higher": "higher is better", "lower": "lower is better", "none": "no better direction"}
KEYS = Catalogue.packaged().keys()


def listed(cli: Any, *words: str) -> set[str]:
    return {entry["key"] for entry in json.loads(cli("measures", *words, "--json").out)}


def test_the_list_is_narrowed_by_domain_population_and_word(cli: Any) -> None:
    assert listed(cli) == set(KEYS)
    fatigue = listed(cli, "--word", "fatigue")
    assert {"fss", "mfis"} <= fatigue
    assert "mas" not in fatigue
    structure = listed(cli, "--domain", "body structure")
    assert {"limb_girth", "bmd", "thigh_csa_housh"} <= structure
    assert "swls" not in structure
    stroke = listed(cli, "--population", "stroke")
    assert {"fma_motor", "nihss"} <= stroke
    assert "scim3" not in stroke
    both = listed(cli, "--population", "stroke", "--domain", "activity")
    assert both == stroke & listed(cli, "--domain", "activity")


@pytest.mark.parametrize("key", KEYS)
def test_a_card_for_programs_holds_the_whole_definition(cli: Any, key: str) -> None:
    definition = Catalogue.packaged().get(key)
    document = json.loads(cli("measures", key, "--json").out)
    assert document["versions"][0] == definition.version
    assert [item["key"] for item in document["items"]] == [item.key for item in definition.items]
    assert [scale["rule"] for scale in document["scales"]] == [scale.rule for scale in definition.scales]
    assert [value["source"] for value in document["published"]] == [value.source for value in definition.published]
    assert document["licence"] == definition.licence
    assert document["traps"] == list(definition.traps)


@pytest.mark.parametrize("key", KEYS)
def test_a_card_for_readers_says_all_that_the_definition_holds(cli: Any, key: str) -> None:
    definition = Catalogue.packaged().get(key)
    text = " ".join(cli("measures", key).out.split())

    def said(words: str) -> bool:
        return " ".join(words.split()) in text

    assert said(definition.title)
    assert said(f"Measures: {definition.construct}")
    assert said(f"Licence: {definition.licence}")
    assert said(f"[{definition.status}]")
    items = text.split(" Items ", 1)[1].split(" Scales ", 1)[0]
    assert {item.key for item in definition.items} <= set(re.findall(r"[a-z0-9_]+(?=[,:])", items))
    assert all(said(trap) for trap in definition.traps)
    for value in definition.published:
        assert said(f"{value.key}: {value.statistic}")
        assert said(f"({value.source}) [{value.status}]")
    for scale in definition.scales:
        assert said(
            {"higher": "higher is better", "lower": "lower is better", "none": "no better direction"}[scale.better]
        )
        assert not scale.withheld or said(f"NO SCORE IS FORMED: {scale.withheld}")


def test_another_version_has_a_card_of_its_own_and_is_named_on_that_of_the_current_one(cli: Any) -> None:
    assert "Other versions: outcomes measures barthel@collin1988" in cli("measures", "barthel").err
    text = cli("measures", "barthel@collin1988").out
    assert text.startswith("Barthel Index")
    assert "version collin1988)" in text.splitlines()[0]
    document = json.loads(cli("measures", "eq5d@three_levels", "--json").out)
    assert (document["version"], document["versions"]) == ("three_levels", ["five_levels", "three_levels"])
    refused = cli("measures", "barthel@collin1989")
    assert refused.code == 2
    assert (
        "barthel has no version 'collin1989'; known: mahoney1965, collin1988; did you mean 'collin1988'?" in refused.err
    )
