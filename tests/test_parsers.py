"""Whatever others write, what reads it gives a value or refuses in its own words, and never breaks."""
import pytest
from hypothesis import given, settings

from tests.parsers import PARSERS


@pytest.mark.parametrize("name", PARSERS)
def test_no_input_breaks_what_reads(name: str) -> None:
    parser = PARSERS[name]

    @settings(max_examples=60)
    @given(parser.given)
    def held(given_: object) -> None:
        try:
            parser.read(given_)
        except parser.refuses as refusal:
            assert str(refusal)

    held()
