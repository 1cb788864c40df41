"""The public face: what `import kitvalue` gives a notebook, and that it is found without loading pandas first."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

import kitvalue
from tests.shops import SAMPLE, run, sample_shop


def test_what_is_promised_is_there() -> None:
    assert kitvalue.__all__ == ["__version__", "fit_prices", "read_prices"]
    for name in kitvalue.__all__:
        assert getattr(kitvalue, name) is not None
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        kitvalue.nothing  # noqa: B018
    code = "import kitvalue, sys; print('pandas' in sys.modules)"
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert ran.stdout.strip() == "False"


def test_a_notebook_and_the_command_line_tell_one_fit(tmp_path: Path) -> None:
    results = kitvalue.fit_prices(kitvalue.read_prices(SAMPLE))
    told = run(sample_shop(tmp_path, fitted=False), "fit", "--json").data
    assert results.nobs == told["rows"]["used"]
    for term in told["terms"]:
        np.testing.assert_allclose(results.params[term["name"]], term["coefficient"], atol=1e-6)
