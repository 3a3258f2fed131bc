"""An evening before its first film: when each bath begins and ends, which moments need hands, where two of them clash."""
