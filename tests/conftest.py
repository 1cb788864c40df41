"""Settings that every test shares."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

# KITVALUE_EXAMPLES=100 draws so many examples where a test names no number of its own.
settings.register_profile(
    "kitvalue", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow],
    max_examples=int(os.environ.get("KITVALUE_EXAMPLES", "15")),
)  # fmt: skip
settings.load_profile("kitvalue")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # the program is started hundreds of times: keep what is compiled
