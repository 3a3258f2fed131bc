"""Tests of review."""
