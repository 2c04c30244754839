"""Module 2 keeps its promises."""

import pytest

from grader import catalogue
from tests.modules import proofs


@pytest.fixture(scope="module")
def m02():
    return catalogue.module("m02_dwell")


@pytest.fixture(scope="module")
def drawn(m02):
    return proofs.draws(m02, 300)
