"""Fuzz of studies, in a process of its own where there are workers: checked path, and what is accepted runs."""

from hypothesis import given

from tests.experiments.test_fuzz import STUDIES, changed, fresh, many, room, study, tamed, timely, warm

__all__ = ["room", "warm"]  # fixtures


@many(130)
@given(config=changed(STUDIES))
def test_changed_studies(config, room):
    timely(lambda: study(config, fresh(room)))


@many(60)
@given(config=tamed(STUDIES))
def test_tame_studies(config, room):
    timely(lambda: study(config, fresh(room)))
