"""Sentences told as one; what they must come to follows from the sentences themselves."""

from __future__ import annotations

from terrain.plan.safety.alike import skeleton, told_as_one


def test_figures_become_a_range_and_names_a_list():
    said = ['The furrow to "pear 2" runs at 1.49 m/s (4.9 ft/s); it stands 0.53 m/s (1.7 ft/s).',
            'The furrow to "pear 3" runs at 1.05 m/s (3.4 ft/s); it stands 0.53 m/s (1.7 ft/s).',
            'The furrow to "pear 4" runs at 1,240 m/s (9.1 ft/s); it stands 0.53 m/s (1.7 ft/s).']
    assert len({skeleton(s) for s in said}) == 1
    assert told_as_one(said) == (
        'The furrow to "pear 2" to "pear 4" runs at 1.05 to 1,240 m/s (3.4 to 9.1 ft/s); it stands '
        '0.53 m/s (1.7 ft/s).')
    assert told_as_one(said[:2]).startswith('The furrow to "pear 2" and "pear 3" runs')


def test_one_sentence_stays_as_it_is_and_other_words_are_not_alike():
    said = 'Full, it stands about 8 days at 1.3 mm/h (soil group C, FAO 56, 1998); test a "hole".'
    assert told_as_one([said]) == said
    assert skeleton("It holds 3 m.") != skeleton("It wants 3 m.")
    assert skeleton("m3 of water") == "m3 of water"  # a digit in a word is no figure
