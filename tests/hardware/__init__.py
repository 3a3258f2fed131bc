"""Tests of hardware."""
