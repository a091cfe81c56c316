"""A setting that is switched on or off: asked for in the words that the list of settings shows."""

from __future__ import annotations

import pytest

from sweeprig.bench.shop.config import COMMAND_LINE, check_value
from sweeprig.errors import ConfigError


@pytest.mark.parametrize(
    ("where", "what", "limit"),
    [
        (COMMAND_LINE, "This is no value for bell.", "yes or no"),
        ("a.toml", "a.toml: bell has a value of the wrong type.", "true or false"),
    ],
)
def test_a_switch_names_the_words_that_are_typed(where: str, what: str, limit: str) -> None:
    with pytest.raises(ConfigError) as raised:
        check_value("bell", "maybe", where)
    assert raised.value.what == what
    assert raised.value.limit == limit
