"""Settings that every test shares."""

from __future__ import annotations

import os

from hypothesis import HealthCheck, settings

settings.register_profile("kitvalue", derandomize=True, deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("kitvalue")
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # the program is started hundreds of times: keep what is compiled
