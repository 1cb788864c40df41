"""The parts of bench.py."""
