"""Rolling is tested under the shipped law, on steel that bends as the shipped runner does."""

import pytest

from sim.blade.section import Section
from sim.ice.contact import Law
from tests.cases import steel_of

HELD = Section(2.9e-3, 12.7e-3, height_m=0.025, span_m=0.075)


def held(recipe):
    """A blade in its holder, as the compiled functions read it."""
    return steel_of(recipe)._replace(rigidity=HELD.rigidity, span=HELD.span_m)


@pytest.fixture(scope="session")
def law():
    """The shipped law of contact."""
    return Law()


@pytest.fixture(scope="session")
def steel(single):
    return held(single)


@pytest.fixture(scope="session")
def zoned_steel(zoned):
    return held(zoned)
