"""While the film is in: clock, inbox, readers, player of cues, journal, resume, control socket, MQTT, daemon, rehearsal."""
