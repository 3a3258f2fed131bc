"""Tests of monitor.prepare.lesson."""
