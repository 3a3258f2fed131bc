"""The logbook in STATE/logbook: notes on an evening, ticks of its checklist, the recipe chosen for next time; nothing a session reads."""
