"""Tests of kitvalue, on one day."""

import datetime as dt

TODAY = dt.date(2026, 11, 25)
