"""The ledger of bottles: what went through them, tests, and how long they keep."""
