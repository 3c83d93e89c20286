"""The bench of tests/result_files.py, and people at it on the day its results come in."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest
from flask.testing import FlaskClient

from tests.makers import at
from tests.result_files import Bench, bench, bench_template
from tests.web.conftest import made_app, sign_in_as

__all__ = ["bench", "bench_template"]


@pytest.fixture(autouse=True)
def own_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Files between preview and import lie in the test's own folder."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))


@pytest.fixture
def at_bench(bench: Bench) -> Callable[[str], FlaskClient]:
    """at_bench("ana"): Ana at 1400, when the samples of the bench have been ground."""
    bench.season.clock = lambda: at(1400)
    app = made_app(bench.season, base_url="http://localhost")
    return lambda key: sign_in_as(app, key)
