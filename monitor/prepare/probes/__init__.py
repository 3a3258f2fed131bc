"""Probes before the film: comparing them, and learning lags."""
