"""Tests of live."""
