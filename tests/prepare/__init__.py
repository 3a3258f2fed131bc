"""Tests of prepare."""
