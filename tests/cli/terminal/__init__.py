"""Tests of what stands on a terminal before and during a session."""
