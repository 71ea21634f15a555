"""What a whole result must say of how it was made."""

from __future__ import annotations

import hashlib
from importlib.metadata import version
from typing import Any

import pytest

from penult.adapters.files.result_file import read_analysis
from penult.adapters.pose import MODEL_SHA256

pytestmark = pytest.mark.slow


def test_a_result_says_which_model_libraries_and_machine_made_it(small_job: Any) -> None:
    """T27: the same film gives other joints with another model, library or processor; a number can be traced to them."""
    method = read_analysis(small_job.result).method

    assert method["pose_model_sha256"] == MODEL_SHA256
    assert method["libraries"] == {n: version(n) for n in ("ai-edge-litert", "opencv-python", "av", "numpy", "scipy")}
    assert "Python" in method["machine"]
    assert method["calibration_sha256"] == hashlib.sha256(small_job.lane.read_bytes()).hexdigest()
