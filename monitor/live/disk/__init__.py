"""Journals on the disk: written, made safe, found again."""
