from datetime import date

import pytest

from spraywindow.errors import InputError
from spraywindow.trees.stages import STAGES, Stage, parse_stage, stage_words


@pytest.mark.parametrize("text", ["bud swell", "Bud-Swell", " BBCH 51", "bbch51", "51", 51])
def test_words_and_codes_mean_the_same(text: str | int) -> None:
    assert parse_stage(text, date(2024, 1, 30)) == Stage(51, date(2024, 1, 30))


def test_every_word_leads_back_to_its_code() -> None:
    names = [name for stage in STAGES.values() for name in (stage.words, *stage.others)]
    assert len(names) == len(set(names))
    for code, stage in STAGES.items():
        assert stage_words(code) == stage.words
        for name in (stage.words, *stage.others, f"BBCH {code:02d}"):
            assert parse_stage(name).bbch == code


@pytest.mark.parametrize("text", ["mouse ear", "BBCH 52", "", "510", True, 51.5, None])
def test_unknown_stage_lists_the_words(text: object) -> None:
    with pytest.raises(InputError, match=r"block\.stage: unknown growth stage.*bud swell \(51\)"):
        parse_stage(text, where="block.stage")  # type: ignore[arg-type]


def test_a_code_without_words_is_no_stage() -> None:
    with pytest.raises(InputError, match="unknown growth stage"):
        Stage(52)


def test_people_read_words_before_the_code() -> None:
    assert str(Stage(1)) == "leaf bud swell (BBCH 01)"
