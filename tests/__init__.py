"""Tests mirror the tree; nothing sleeps on the real clock; benchmarks print figures."""
