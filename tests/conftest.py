"""What holds for all tests."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from hypothesis import settings

# How long an example takes is the machine's business, and it may be busy.
settings.register_profile("calm", deadline=None)
settings.load_profile("calm")


@pytest.fixture(scope="session", autouse=True)
def _own_consent_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What tests allow a book lies in a folder of their own, not in the user's data."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("MULCHWRIGHT_CONSENT_FOLDER", str(tmp_path_factory.mktemp("consent")))
        yield


@pytest.fixture(scope="session", autouse=True)
def _own_learning_cache(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What tests learn from logbooks lies in a folder of their own, not in the user's cache."""
    from mulchwright.services.learning_cache import LearningCache

    with pytest.MonkeyPatch.context() as patch:
        cache = LearningCache(tmp_path_factory.mktemp("lessons"))
        patch.setattr("mulchwright.services.learning_cache._CACHE", cache)
        yield


@pytest.fixture(scope="session", autouse=True)
def _own_data_folder(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    """What the program keeps for a user outside the book lies in a folder of the tests, also for children."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("XDG_DATA_HOME", str(tmp_path_factory.mktemp("data")))
        yield
