"""One error, or all of them in one go."""

import pickle

import pytest

from terrain.errors import MOST_TOLD, InputError, InputErrors, kept, refuse


def test_nothing_found_refuses_nothing():
    refuse([])


def test_one_is_raised_as_it_is_and_several_as_one():
    one, two = InputError("a", "it is wrong", "Mend it"), InputError("b", "it is too", "Mend it")
    with pytest.raises(InputError) as error:
        refuse([one, one])
    assert error.value is one
    with pytest.raises(InputErrors) as errors:
        refuse([one, two])
    assert str(errors.value) == "a: it is wrong. Mend it. b: it is too. Mend it."
    assert (errors.value.where, errors.value.each) == ("a", (one, two))
    assert str(pickle.loads(pickle.dumps(errors.value))) == str(errors.value)


def test_what_blocks_refuse_is_kept():
    found: list[InputError] = []
    for name in "abc":
        with kept(found):
            refuse([InputError(name, "it is wrong", "Mend it"), InputError(name, "and", "more")])
    assert [error.where for error in found] == ["a", "a", "b", "b", "c", "c"]
    with pytest.raises(ZeroDivisionError), kept(found):
        1 / 0  # noqa: B018


def test_a_list_without_end_is_cut():
    with pytest.raises(InputErrors) as errors:
        refuse([InputError(f"line {n}", "it is wrong", "Mend it") for n in range(40)])
    assert len(errors.value.each) == MOST_TOLD
    assert str(errors.value).endswith("; then look again, as 28 more faults were found.")
